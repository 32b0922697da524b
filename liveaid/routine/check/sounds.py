"""What keeps the routine's sounds from being laid on the decks: files, lengths, tempos unknown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from liveaid.routine.check.findings import Finding, found
from liveaid.routine.left import runs_through
from liveaid.routine.model import SIDES, Routine, Runs, Side
from liveaid.routine.problems import Hindrance
from liveaid.routine.source import field_name


def judge_faults(
    routine: Routine,
    faults: Iterable[Hindrance],
    told: Sequence[Finding],
    line_of: Callable[[tuple[str | int, ...]], int] | None = None,
) -> Iterator[Finding]:
    """An error for each sound that cannot be had, and for what render would refuse beyond.

    Where every cue has its second on deck files that are there, a sound is not needed to play: a
    warning. So is a deck file that is not here: it may be where the decks are. What another rule
    has told of the same place is not told again. `line_of`: the map's line of a field.
    """
    for fault in faults:
        piece, side = _place(fault)
        if any((f.severity, f.piece, f.side) == ("error", piece, side) for f in told):
            continue
        held = fault.path[0] == "sounds" and routine.placed
        warns = held or fault.path[0] == "decks"
        yield found(
            routine, "warning" if warns else "error", "sounds", _says(fault, line_of),
            f"{fault.would_do}; the deck files there are hold all that is played, a new render"
            " needs it" if held else fault.would_do,
            piece=piece, side=side,
        )  # fmt: skip


def _says(fault: Hindrance, line_of: Callable[[tuple[str | int, ...]], int] | None) -> str:
    if fault.path[0] in ("sounds", "decks") and line_of is not None:
        return f"line {line_of(fault.path)}: {field_name(fault.path)}: found {fault.found}"
    name = fault.path[1] if fault.path[0] == "sounds" else fault.path[-1]
    return fault.found if str(name) in fault.found else f"{name}: {fault.found}"


def judge_unstudied(routine: Routine, names: Sequence[str]) -> Iterator[Finding]:
    """A remark for sounds of which nothing is known yet, so that nothing could be laid out."""
    if names:
        yield found(
            routine, "remark", "sounds",
            f"not studied yet: {', '.join(names)}; so where the cues will lie is not known",
            "`liveaid gather` on their folder, or `tempo:` and `first_beat:` beside the sound",
            numbers={"sounds": len(names)},
        )  # fmt: skip


SOUNDS_CUT_S = 0.1
"""A phrase that has this little left, or has only just begun, is not heard as cut (common practice,
no source)."""


def judge_phrases(
    routine: Routine, phrases: Mapping[str, Sequence[tuple[float, float]]]
) -> Iterator[Finding]:
    """A warning for each record that runs and is taken away in the middle of a phrase.

    `phrases`: seconds from and to of each phrase of the sounds that are spoken or sung.
    """
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            plan = piece.plan(side)
            if not isinstance(plan, Runs) or (index + 1, side) in runs_through(routine):
                continue
            ends_s = _ends_s(routine, index, plan)
            for begin_s, end_s in phrases.get(plan.sound or "", ()):
                if ends_s is not None and begin_s + SOUNDS_CUT_S < ends_s < end_s - SOUNDS_CUT_S:
                    yield _cut(routine, index, side, plan, end_s - ends_s)


def _ends_s(routine: Routine, index: int, plan: Runs) -> float | None:
    """Second of the sound at which a set piece ends that lets it run; None: tempo not known."""
    sound = routine.sounds[plan.sound] if plan.sound else None
    if sound is None or sound.tempo_bpm is None or sound.loop:
        return None
    beats = plan.bars_in * routine.metre + routine.beats(index)
    return (sound.first_beat_s or 0.0) + beats * 60.0 / sound.tempo_bpm


def _cut(routine: Routine, index: int, side: Side, plan: Runs, left_s: float) -> Finding:
    sound = routine.sounds[plan.sound or ""]
    beats = left_s * (sound.tempo_bpm or 0.0) / 60.0
    return found(
        routine, "warning", "sounds",
        f"{plan.sound} is cut {left_s:.1f} s before its phrase ends ({beats:.1f} beats)",
        "a bar more or less, another `bars_in`, or let it run on into the next set piece",
        piece=index, beat=routine.beats(index) - 1.0, side=side,
        numbers={"left_s": left_s, "left_beats": beats},
    )  # fmt: skip


def _place(fault: Hindrance) -> tuple[int | None, Side | None]:
    """The set piece and deck a fault belongs to, where it belongs to one."""
    if fault.path[0] != "pieces" or len(fault.path) < 2:
        return None, None
    side = next((each for each in SIDES if each in fault.path), None)
    return (fault.path[1] if isinstance(fault.path[1], int) else None), side
