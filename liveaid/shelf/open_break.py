"""An open break as a sound of its own: a part of a file, found and fitted like any other sound.

Nothing is copied: it lies where its record lies, and all its facts are cut from that one's study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study

FEWEST_OWN_BEATS = 8
"""With fewer beats than these a break is told by one grid, though its record is followed."""
WHOLE_WITHIN = 0.05
"""Bars: nearer to a whole number of beats a break comes round like a loop."""


def open_breaks(sound: ShelfSound) -> list[ShelfSound]:
    """Every open break of a sound, in order, as a sound of its own."""
    if sound.study is None or sound.part is not None:
        return []
    found = sound.study.breaks()
    return [
        replace(
            sound,
            hash=f"{sound.hash}{number:02x}",
            part=(f"break-{number}" if len(found) > 1 else "break", begin_s, end_s),
            study=_alone(sound.study, begin_s, end_s, bars),
        )
        for number, (begin_s, end_s, bars) in enumerate(found[:255], 1)
    ]


def _alone(study: Study, begin_s: float, end_s: float, bars: float) -> Study:
    """The facts of a stretch of bars by itself, its seconds counted from its begin."""
    lasts_s = end_s - begin_s
    beats = bars * (study.metre or 4)
    own = tuple(max(at - 0.02, 0.0) for at in _within(study.beats_s, begin_s - 0.02, end_s - 0.02))
    follows = len(own) >= FEWEST_OWN_BEATS
    periods = sorted(b - a for a, b in pairwise(own))
    return replace(
        study,
        duration_s=lasts_s,
        frames_declared=round(lasts_s * study.sample_rate_hz),
        frames_read=round(lasts_s * study.sample_rate_hz),
        faults=(),
        silence_start_s=0.0,
        silence_end_s=0.0,
        tempo=60.0 * beats / lasts_s,
        tempo_alternative=None,
        tempo_rival=None,
        first_beat=max(own[0], 0.0) if own else 0.0,
        first_downbeat=0.0 if study.first_downbeat is not None else None,
        steady=study.steady or not follows,
        tempo_drift_percent=100.0 * (periods[-1] / periods[0] - 1.0) / 2 if follows else 0.0,
        beats_s=own if follows else (),
        tempo_curve=(),
        tempo_change="",
        loop_beats=round(beats) if abs(beats - round(beats)) < WHOLE_WITHIN else None,
        key=None,
        key_confidence=0.0,
        onsets_s=_within(study.onsets_s, begin_s, end_s),
        phrases_s=((0.0, lasts_s),),
        voice=0.0,
        sections=((0.0, lasts_s, "drums alone", bars),),
        kind="instrumental",
        imprint=None,
    )


def _within(times_s: Sequence[float], begin_s: float, end_s: float) -> tuple[float, ...]:
    return tuple(time - begin_s for time in times_s if begin_s <= time < end_s)
