"""What kept takes of the whole routine say of the performer, for the follower to start from.

Takes that the performer dropped are left out, and set pieces that were written otherwise when they
were played: what was played then leads nowhere in this map. Whether a take's told confidence was
right is not learnt: what a take went through is known by the follower's own word, which would only
be taught to trust itself.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path

from liveaid.follow import Habits
from liveaid.follow.habits import PieceGone, seen, together
from liveaid.practice.hear import near, releases
from liveaid.practice.motion import motion
from liveaid.practice.reading import TakeReader
from liveaid.practice.schema import StoreError
from liveaid.practice.visits import Visit
from liveaid.routine import SIDES, Routine, Works
from liveaid.routine.digest import piece_digest

LONG_BEATS = 8
"""A whole visit of so many beats tells the pitch."""
MEANT_S = 0.3
"""A record let go within so many seconds of its cue was meant to be let go there."""
LOOKED_INTO = 12
"""The latest takes, whose messages are gone through too; of the others only the order counts."""


def learnt(file: Path, routine: Routine) -> Habits | None:
    """The performer's habits by the takes in a file; None where none is of this map.

    StoreError when the file is none of takes, or can't be read.
    """
    if not file.is_file():
        return None
    digests = {str(k): piece_digest(routine, k) for k in range(len(routine.pieces))}
    beats = [float(routine.beats(k)) for k in range(len(routine.pieces))]
    takes: list[Habits] = []
    with TakeReader(file) as reader:
        for whole in reader.wholes():
            visits = [
                visit
                if whole.played.get(place := str(visit.piece)) == digests.get(place, "")
                else None
                for visit in whole.visits
            ]
            gone = [None if visit is None else _gone(routine, visit) for visit in visits]
            if not any(gone):
                continue
            off_s = _off_cues(routine, visits, reader, whole.id) if len(takes) < LOOKED_INTO else []
            takes.append(seen(gone, beats, off_cue_s=off_s))
    return together(takes) if takes else None


def _gone(routine: Routine, visit: Visit) -> PieceGone:
    """What one visit tells; its pitch where a record that turns by itself tells the beat."""
    piece, beats = routine.pieces[visit.piece], float(routine.beats(visit.piece))
    whole = visit.from_beat == 0 and visit.to_beat == beats and beats >= LONG_BEATS
    if not (whole and piece.running and visit.end_s > visit.start_s):
        return PieceGone(visit.piece, visit.to_beat)
    percent = 100.0 * (routine.piece_s(visit.piece) / (visit.end_s - visit.start_s) - 1.0)
    reach = routine.turntable.pitch_range_percent + 2.0
    return PieceGone(visit.piece, visit.to_beat, percent if abs(percent) <= reach else None)


def _off_cues(
    routine: Routine, visits: Sequence[Visit | None], reader: TakeReader, number: int
) -> list[float]:
    """How far from its cue each worked record was when it was let go; none of a spoiled take."""
    with contextlib.suppress(StoreError):
        trace = reader.kept(number).trace
        found = {side: releases(motion(trace[side])) for side in SIDES}
        return [
            release.from_s - plan.cue_s
            for visit in visits
            if visit is not None
            for side in SIDES
            if isinstance(plan := routine.pieces[visit.piece].plan(side), Works)
            and plan.cue_s is not None
            for release in near(found[side], plan.cue_s, within_s=MEANT_S)
            if visit.start_s - 0.3 <= release.start_s < visit.end_s
        ]
    return []
