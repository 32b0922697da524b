"""Tempo steps from set piece to set piece against the pitch fader, and sounds against theirs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from liveaid.record.platter import semitones
from liveaid.routine.check.findings import Finding, Severity, found
from liveaid.routine.harmony import READING_WORDS, TempoStep, tempo_step
from liveaid.routine.left import runs_through
from liveaid.routine.model import SIDES, Routine, Side, Sound

STEADY_PERCENT = 0.05
"""A step smaller than this is none."""
FAR_SEMITONES = 3.0
"""A sound moved further than this by resampling no longer sounds like itself (common practice)."""
STRETCH_RANGE = (0.25, 4.0)
"""Factors within which a sound can be stretched."""


def beyond_fader(routine: Routine, step_percent: float) -> bool:
    """Whether a step is out of the pitch fader's reach; one that just meets it is not."""
    return abs(step_percent) > routine.turntable.pitch_range_percent + 1e-9


def judge_tempo(routine: Routine) -> Iterator[Finding]:
    """Each tempo step: within the fader's reach, what it costs in key, or out of reach."""
    for index in range(1, len(routine.pieces)):
        before, after = routine.pieces[index - 1].tempo_bpm, routine.pieces[index].tempo_bpm
        step = tempo_step(before, after)
        if abs(step.percent) >= STEADY_PERCENT or step.reading != 1:
            yield _step(routine, index, step)


def _step(routine: Routine, index: int, change: TempoStep) -> Finding:
    reach = routine.turntable.pitch_range_percent
    through = [side for side in SIDES if (index, side) in runs_through(routine)]
    before, after = routine.pieces[index - 1].tempo_bpm, routine.pieces[index].tempo_bpm
    step, key = change.percent, change.semitones
    read = ""
    if change.reading != 1:
        counted = after / float(change.reading)
        read = f", counted in {READING_WORDS[change.reading]} as {counted:g},"
    says = f"{before:g} to {after:g} BPM{read} is {step:+.1f} % of pitch ({key:+.2f} semitones)"
    figures = {
        "step_percent": step, "range_percent": reach, "semitones": key,
        "reading": float(change.reading),
    }  # fmt: skip
    deck = " and ".join(through)
    if beyond_fader(routine, step):
        says += f", beyond the fader's ±{reach:g} %"
        if through:
            says += f"; {deck} runs through and cannot follow by hand"
            out = "let the deck file make the step, or change to the other deck here"
        else:
            out = f"cut on the beat, or keep the tempo within {_within(before, reach)} BPM"
        return found(routine, "warning", "tempo", says, out, piece=index, numbers=figures)
    out = f"to meet it, bring the record that is going out to {step:+.1f} % before the change"
    if through:
        says += f"; {deck} runs through, so a hand is needed at its pitch unless its file steps"
    return found(routine, "remark", "tempo", says, out, piece=index, numbers=figures)


def _within(bpm: float, reach: float) -> str:
    return f"{bpm * (1 - reach / 100):.1f} to {bpm * (1 + reach / 100):.1f}"


def judge_sounds(routine: Routine) -> Iterator[Finding]:
    """Sounds whose own tempo is far from the set piece's, or not known."""
    unknown: set[str] = set()
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            name = piece.plan(side).sound
            if name is None:
                continue
            sound = routine.sounds[name]
            if sound.tempo_bpm is None:
                unknown |= {name} if sound.kind not in ("sample", "effect") else set()
            else:
                yield from _sound(routine, index, side, name, sound)
    if unknown:
        yield found(
            routine, "remark", "tempo", f"tempo not known: {', '.join(sorted(unknown))}",
            "gather studies them, or write `tempo:` beside the sound",
            numbers={"sounds": len(unknown)},
        )  # fmt: skip


def _sound(routine: Routine, index: int, side: Side, name: str, sound: Sound) -> Iterator[Finding]:
    assert sound.tempo_bpm is not None
    ratio = routine.pieces[index].tempo_bpm / sound.tempo_bpm
    shift = semitones(ratio)
    says = f"{name} goes from {sound.tempo_bpm:g} to {routine.pieces[index].tempo_bpm:g} BPM"
    figures = {"ratio": ratio, "semitones": 0.0 if sound.stretch else shift}
    if sound.stretch and not STRETCH_RANGE[0] <= ratio <= STRETCH_RANGE[1]:
        says += f", a stretch by {ratio:.2f}; {STRETCH_RANGE[0]:g} to {STRETCH_RANGE[1]:g} would do"
        out = "use it at half or double tempo, or choose another sound"
        yield _of(routine, "error", says, out, index, side, figures)
    elif not sound.stretch and abs(shift) > FAR_SEMITONES:
        says += f", which moves it {shift:+.1f} semitones"
        out = "`stretch: yes` keeps its key; or choose a sound nearer in tempo"
        yield _of(routine, "warning", says, out, index, side, figures)


def _of(
    routine: Routine, severity: Severity, says: str, out: str, index: int, side: Side,
    figures: Mapping[str, float],
) -> Finding:  # fmt: skip
    return found(routine, severity, "tempo", says, out, piece=index, side=side, numbers=figures)
