"""A take scored from the mixer's recording, held against the guide mix.

The guide mix is the routine as written at pitch 0, so a beat's place in it is known. Every beat
and every planned act is found in the recording; the beats that were heard give the count of each
set piece, and the acts are held against it, as with a position trace.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from liveaid.errors import LiveaidError
from liveaid.practice.act_score import ActScore, Played
from liveaid.practice.align import HeardMoment, align
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.events import Planned, planned_events
from liveaid.practice.visits import Visit
from liveaid.routine import Routine

Floats = NDArray[np.float64]

_LONGEST_S = 1800.0


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
    routine: Routine, guide: Floats, guide_hz: int, take: Floats, take_hz: int
) -> list[Played]:
    """Every set piece of the recording with its acts; times in seconds of the recording."""
    starts = np.concatenate(
        [[0.0], np.cumsum([routine.piece_s(k) for k in range(_count(routine))])]
    )
    plan = planned_events(routine)
    beats = [(k, float(b)) for k in range(_count(routine)) for b in range(routine.beats(k) + 1)]
    wanted = [*beats, *((act.piece, act.beat) for act in plan)]
    moments = [starts[k] + beat * 60.0 / routine.pieces[k].tempo_bpm for k, beat in wanted]
    length_s = len(guide) / guide_hz
    heard = align(guide, guide_hz, take, take_hz, [min(m, length_s) for m in moments])
    told = dict(zip(wanted, heard, strict=True))
    played: list[Played] = []
    for piece in range(_count(routine)):
        visit = _played(routine, piece, told, plan, played[-1] if played else None)
        if visit is not None:
            played.append(visit)
    return played


def _count(routine: Routine) -> int:
    return len(routine.pieces)


def _played(
    routine: Routine,
    piece: int,
    told: dict[tuple[int, float], HeardMoment],
    plan: Sequence[Planned],
    before: Played | None,
) -> Played | None:
    """One set piece; None when fewer than a third of its beats were heard."""
    beats = routine.beats(piece)
    sure = [
        (float(b), told[piece, float(b)].take_s) for b in range(beats) if told[piece, float(b)].sure
    ]
    if len(sure) < max(3, beats / 3):
        return None
    grid = _grid(sure, float(beats))
    follows = before is not None and before.visit.piece == piece - 1 and before.count is not None
    due_s = (
        before.count.when(float(routine.beats(piece - 1)))
        if follows and before and before.count
        else None
    )
    visit = Visit(piece, 0.0, float(beats), grid.when(0.0), grid.when(float(beats)))
    acts = tuple(
        _act(act, told[piece, act.beat], grid, due_s) for act in plan if act.piece == piece
    )
    return Played(visit, acts, grid)


def _grid(sure: Sequence[tuple[float, float]], beats: float) -> BeatTimes:
    """The set piece's count: an evenly changing tempo through the beats heard, strays left out."""
    at, when = np.array(sure).T
    keep = np.ones(len(at), bool)
    degree = 2 if len(at) >= 12 else 1
    for _ in range(4):
        curve = np.polyfit(at[keep], when[keep], degree)
        off = np.abs(when - np.polyval(curve, at))
        keep = off <= max(3 * 1.4826 * float(np.median(off)), 0.004)
    knots = np.arange(beats + 1.0)
    return BeatTimes(knots, np.polyval(curve, knots), "click")


def _act(act: Planned, heard: HeardMoment, grid: BeatTimes, due_s: float | None) -> ActScore:
    starts = act.kind == "start" and act.beat == 0.0
    # The first start of all has no count before it to be held against.
    due = due_s if starts else grid.when(act.beat)
    beat_s = grid.when(act.beat + 1) - grid.when(act.beat)
    return ActScore(
        kind=act.kind, side=act.side, piece=act.piece, beat=act.beat,
        outcome="heard" if heard.sure else "missed",
        heard_s=heard.take_s if heard.sure else None, due_s=due, beat_s=beat_s, by="click",
    )  # fmt: skip
