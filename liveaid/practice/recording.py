"""A take scored from the mixer's recording, held against the guide mix.

The guide mix is the routine as written at pitch 0, so a beat's place in it is known. Every beat
and every planned act is found in the recording; the beats that were heard give the count of each
set piece, and the acts are held against it, as with a position trace.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.practice.act_score import ActScore, Played
from liveaid.practice.align import ALIGN_QUIET_S, HeardMoment, align_within, sound_of
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.bed_alone import OverBed, bed_of, over_bed
from liveaid.practice.delays import Clock
from liveaid.practice.passages import Chunk, Found, chunks_of, found_in
from liveaid.practice.planned_acts import Planned, planned_events
from liveaid.practice.recorded_sound import (
    FINE_HOP_S,
    HEARING_RATE_HZ,
    HOP_S,
    at_common_rate,
    onset_bands,
)
from liveaid.practice.visits import Visit
from liveaid.routine import SIDES, Routine, Runs, Side
from liveaid.routine.timeline import lead_in_s

Floats = NDArray[np.float64]

_LONGEST_S = 1800.0
_RECORD_EVEN_S = 0.006
"""A running record's beats lie within 2 ms of an evenly changing tempo where they are heard; what a
crowd drowned and was taken for them by 8 and more (own mixes; a church full of claps)."""
_ACT_BEATS = 0.2
"""A half beat this near an act is heard by that act."""
_LEAST_BEATS = 4
_CLEAR = 0.65
"""Likeness to the record with the act, of a mixer's own recording: 0.69 at least; in halls with a
crowd 0.6 in half of all (mixes of tests/bench/recording.py, seeds 0 to 5)."""
_CLEAR_IN_PLACE = 0.18
"""Likeness of chunks that follow a set piece or lead to one, above what other sounds come to there
(see passages)."""
_STRAYS_S, _MOST_STRAYS_S = 0.020, 0.040
"""From a hand's other acts, where the recording is not clear. Acts that spread by more than the
first are no hand's, but the crowd's."""
_GOES_ON_S = 0.5
_TANGLED_SHARE = 0.3
"""So many acts off the same way make those on the count suspect (tuned on mixes of our own)."""
_TANGLED_S = 0.015
"""Acts off by more are told from the count's own sounds (the onset windows of align)."""


def read_sound(file: Path) -> tuple[Floats, int]:
    """Samples (frames, channels) and rate in hertz. LiveaidError when it can't be read whole."""
    try:
        with soundfile.SoundFile(file) as sound:
            if sound.frames > _LONGEST_S * sound.samplerate:
                raise LiveaidError(f"{file}: longer than half an hour; one take a file would do")
            samples = sound.read(dtype="float64", always_2d=True)
            cut = len(samples) < sound.frames
            rate = int(sound.samplerate)
    except (OSError, RuntimeError) as error:
        raise LiveaidError(f"{file}: can't be read ({error}); a WAV file would do") from error
    if cut or not len(samples):
        raise LiveaidError(f"{file}: cut short or empty; an undamaged copy would do")
    if not np.isfinite(samples).all():
        raise LiveaidError(f"{file}: holds samples that are no numbers; another copy would do")
    return samples, rate


def assess_recording(
    routine: Routine,
    guide: Floats,
    guide_hz: int,
    take: Floats,
    take_hz: int,
    decks: Mapping[Side, tuple[Floats, int]] | None = None,
) -> list[Played]:
    """Every set piece heard in the recording, in its order, with its acts; seconds of it.

    The recording may begin and end anywhere, repeat and leave out, and hold other things. `decks`
    are the deck files' samples and rates: by them what a hand does is told apart from the running
    record below it. Without them an act on a drum of the beat may be told by the drum.
    """
    sounds = [sound_of(guide, guide_hz), sound_of(take, take_hz)]
    fine = [onset_bands(sound, hop_s=FINE_HOP_S) for sound in sounds]
    bed = _bed(routine, decks, sounds[0]) if decks else None
    rough_guide, rough_take = (onset_bands(sound, hop_s=HOP_S) for sound in sounds)
    chunks = chunks_of(routine)
    # Both sounds have the same silence before them, so places shift alike; chunks tell the guide's.
    late = [
        replace(c, start_s=c.start_s + ALIGN_QUIET_S, end_s=c.end_s + ALIGN_QUIET_S) for c in chunks
    ]
    laid = found_in(rough_guide, rough_take, HOP_S, late)
    found = [replace(one, at_s=one.at_s - ALIGN_QUIET_S) for one in laid]
    played: list[Played] = []
    groups = _visits(found, chunks)
    for group in groups:
        last = played[-1] if played else None
        played.append(_played(routine, group, chunks, fine[0], fine[1], bed, last))
    around = zip(groups, [None, *played], played, [*played[1:], None], strict=False)
    return [one for group, before, one, after in around if _was_played(group, before, one, after)]


def _was_played(
    group: Sequence[Found], before: Played | None, one: Played, after: Played | None
) -> bool:
    """Whether a set piece that was found was played: by its beats or, where a hall drowned those,
    by its chunks, being in their place before or after another set piece."""
    places = _leads_to(before, one) + _leads_to(one, after)
    clear = statistics.fmean(chunk.likeness for chunk in group) >= _CLEAR_IN_PLACE
    return one.count is not None or places == 2 or (places == 1 and clear)


def _leads_to(one: Played | None, after: Played | None) -> bool:
    """Whether a set piece goes on in the routine's next one, as far as the time tells."""
    return (
        one is not None
        and after is not None
        and after.visit.piece == one.visit.piece + 1
        and abs(after.visit.start_s - one.visit.end_s) < _GOES_ON_S
    )


def _bed(routine: Routine, decks: Mapping[Side, tuple[Floats, int]], guide: Floats) -> Floats:
    """Onset bands of the running records alone, laid out as the guide with its silence before."""
    mono = {side: at_common_rate(*deck) for side, deck in decks.items()}
    quiet = round(ALIGN_QUIET_S * HEARING_RATE_HZ)
    alone = np.pad(bed_of(routine, mono, len(guide) - quiet), (quiet, 0))
    return onset_bands(alone, hop_s=FINE_HOP_S)


def _visits(found: Sequence[Found], chunks: Sequence[Chunk]) -> list[list[Found]]:
    """Chunks of one set piece that follow each other."""
    groups: list[list[Found]] = []
    for one in found:
        last = groups[-1][-1] if groups else None
        goes_on = last is not None and one.chunk == last.chunk + 1 and not chunks[one.chunk].first
        if not goes_on:
            groups.append([])
        groups[-1].append(one)
    return groups


def _played(
    routine: Routine,
    group: Sequence[Found],
    chunks: Sequence[Chunk],
    guide: Floats,
    take: Floats,
    bed: Floats | None,
    before: Played | None,
) -> Played:
    """One set piece; its acts are not heard where fewer than a third of its beats were."""
    piece = chunks[group[0].chunk].piece
    start_s = lead_in_s(routine) + sum(routine.piece_s(k) for k in range(piece))
    beat_s = routine.pieces[piece].beat_s
    from_beat, to_beat = (
        round((at - start_s) / beat_s)
        for at in (chunks[group[0].chunk].start_s, chunks[group[-1].chunk].end_s)
    )
    plan = [
        a for a in planned_events(routine) if a.piece == piece and from_beat <= a.beat <= to_beat
    ]
    halves = [from_beat + k / 2 for k in range(2 * (to_beat - from_beat))]
    wanted = sorted({*halves, *(act.beat for act in plan)})
    at = [start_s + beat * beat_s for beat in wanted]
    places = _places(group, chunks)
    heard = dict(zip(wanted, align_within(guide, take, at, *places), strict=True))
    count = _count_of(heard, [act.beat for act in plan], to_beat)
    if count is not None and count.by is None and bed is not None:
        alone = dict(zip(wanted, align_within(bed, take, at, *places), strict=True))
        count = _count_of(alone, [], to_beat) or count
    if count is None:
        there = Visit(piece, float(from_beat), float(to_beat), places[1][0], places[1][-1])
        return Played(there, tuple(_unheard(act, beat_s) for act in plan), None)
    due_s = _due_s(routine, before, piece, from_beat, count)
    visit = Visit(
        piece, float(from_beat), float(to_beat), count.when(from_beat), count.when(to_beat)
    )
    scored = list(_untangled([_act(act, heard[act.beat], count, due_s) for act in plan]))
    running = [side for side in SIDES if isinstance(routine.pieces[piece].plan(side), Runs)]
    if bed is not None and running:
        hands = [act for act in scored if act.side not in running and act.due_s is not None]
        told = {act: _over_bed(act, guide, bed, take, start_s, beat_s) for act in hands}
        known = _believed(told)
        scored = [_told_by(act, known[act]) if act in told else act for act in scored]
    return Played(visit, tuple(scored), count)


def _over_bed(
    act: ActScore, guide: Floats, bed: Floats, take: Floats, start_s: float, beat_s: float
) -> OverBed | None:
    """An act of a hand as it is heard over the running record; None where that drowns it."""
    at_s, due_s = (s + ALIGN_QUIET_S for s in (start_s + act.beat * beat_s, act.due_s or 0.0))
    return over_bed(guide, bed, take, at_s, due_s, beat_s / act.beat_s)


def _believed(told: Mapping[ActScore, OverBed | None]) -> Mapping[ActScore, OverBed | None]:
    """Without those that stray from a hand's other acts where the recording is not clear: there a
    word of the crowd is as good an act as any. On a clear one a slip is a slip."""
    late = [one.late_s for one in told.values() if one is not None]
    middle = statistics.median(late) if late else 0.0
    usual_s = 1.4826 * statistics.median(abs(s - middle) for s in late) if late else 0.0
    strays = min(max(_STRAYS_S, 3.0 * usual_s), _MOST_STRAYS_S) if usual_s <= _STRAYS_S else 0.0
    return {
        act: one
        if one is not None and (one.likeness >= _CLEAR or abs(one.late_s - middle) <= strays)
        else None
        for act, one in told.items()
    }


def _told_by(act: ActScore, one: OverBed | None) -> ActScore:
    if one is None or act.due_s is None:
        return replace(act, outcome="unheard", heard_s=None)
    return replace(act, outcome="heard", heard_s=act.due_s + one.late_s)


def _places(group: Sequence[Found], chunks: Sequence[Chunk]) -> tuple[list[float], list[float]]:
    """Seconds of the guide and of the recording that answer each other by the chunks found."""
    last = group[-1]
    end = chunks[last.chunk]
    here = [*(chunks[one.chunk].start_s for one in group), end.end_s]
    return here, [*(o.at_s for o in group), last.at_s + (end.end_s - end.start_s) / last.speed]


def _count_of(
    heard: Mapping[float, HeardMoment], acts: Sequence[float], to_beat: int
) -> BeatTimes | None:
    """The set piece's count from the half beats that no act falls on, or, where those are too few,
    from all: then being late on the whole can't be told. None when hardly any was heard, or what
    was lies too unevenly for a record's beats."""
    sure = [(beat, one.take_s) for beat, one in heard.items() if one.sure]
    beats = sum(beat == int(beat) for beat in heard)
    if len({int(beat) for beat, _ in sure}) < max(3, beats / 3):
        return None
    own = [pair for pair in sure if all(abs(pair[0] - act) > _ACT_BEATS for act in acts)]
    if len(own) < max(_LEAST_BEATS, beats / 6):
        return _curve(sure, float(to_beat), None)[0]
    count, spread_s = _curve(own, float(to_beat), "click")
    return count if spread_s <= _RECORD_EVEN_S else None


def _curve(
    sure: Sequence[tuple[float, float]], beats: float, by: Clock | None
) -> tuple[BeatTimes, float]:
    """An evenly changing tempo through the beats heard, strays left out, and their spread about it
    in seconds."""
    at, when = np.array(sorted(sure)).T
    keep = np.ones(len(at), bool)
    degree = 2 if len(at) >= 12 and np.ptp(at) >= 8 else 1
    for _ in range(4):
        curve = np.polyfit(at[keep], when[keep], degree)
        off = np.abs(when - np.polyval(curve, at))
        keep = off <= max(3 * 1.4826 * float(np.median(off)), 0.004)
    knots = np.arange(float(np.floor(at[0])), beats + 1.0, dtype=float)
    return BeatTimes(knots, np.polyval(curve, knots), by), 1.4826 * float(np.median(off))


def _untangled(acts: Sequence[ActScore]) -> Iterator[ActScore]:
    """Where many of a hand's acts are off the same way, those that seem exactly on the count were
    drowned by a sound of the count itself: not heard."""
    for act in acts:
        errors = [
            other.error_s
            for other in acts
            if (other.kind, other.side) == (act.kind, act.side) and other.error_s is not None
        ]
        late = [e for e in errors if e > _TANGLED_S], [e for e in errors if e < -_TANGLED_S]
        off = max(len(side) for side in late)
        drowned = act.error_s is not None and abs(act.error_s) < 0.5 * _TANGLED_S
        if drowned and off >= _LEAST_BEATS and off >= _TANGLED_SHARE * len(errors):
            yield replace(act, outcome="unheard", heard_s=None)
        else:
            yield act


def _due_s(
    routine: Routine, before: Played | None, piece: int, from_beat: int, count: BeatTimes
) -> float | None:
    """When the set piece's first beat was by the count of the one before, if it followed on."""
    if before is None or before.count is None or from_beat:
        return None
    beats = float(routine.beats(before.visit.piece))
    if before.visit.piece != piece - 1 or before.visit.to_beat < beats:
        return None
    due = before.count.when(beats)
    return due if abs(due - count.when(0.0)) < count.when(1.0) - count.when(0.0) else None


def _unheard(act: Planned, beat_s: float) -> ActScore:
    return ActScore(
        kind=act.kind, side=act.side, beat=act.beat, outcome="unheard", by=None,
        beat_s=beat_s,
    )  # fmt: skip


def _act(act: Planned, heard: HeardMoment, count: BeatTimes, due_s: float | None) -> ActScore:
    starts = act.kind == "start" and act.beat == 0.0
    # The first start of all has no count before it to be held against; and by a count drawn from
    # the acts themselves a hand that is late all through would seem to be early.
    due = due_s if starts else count.when(act.beat) if count.by is not None else None
    return ActScore(
        kind=act.kind, side=act.side, beat=act.beat,
        outcome="heard" if heard.sure else "unheard", by="click" if starts else count.by,
        heard_s=heard.take_s if heard.sure else None, due_s=due,
        beat_s=count.when(act.beat + 1) - count.when(act.beat),
    )  # fmt: skip
