"""Changes judged: which record must be wound how far by when, and whether two hands can do it."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.record.bring import turns_in
from liveaid.record.platter import sticker_degrees, sticker_place
from liveaid.routine.check.findings import Finding, Severity, found
from liveaid.routine.check.hand_plan import hand_plan
from liveaid.routine.hands import Job
from liveaid.routine.model import Routine
from liveaid.routine.way import Change, changes

LEAST_CHANGE_S = 0.5
"""With less than this no record is brought anywhere worth going (common practice, no source)."""


def judge_changes(routine: Routine) -> Iterator[Finding]:
    """An error for each change two hands cannot make, a warning for each that is tight."""
    moves = changes(routine)
    for move in moves:
        if move.verdict == "impossible":
            yield _impossible(routine, move)
        elif move.verdict == "tight":
            yield _tight(routine, move)
        elif move.verdict == "not placed":
            yield from _not_placed(routine, move)
    waiting = sum(move.verdict == "not placed" for move in moves)
    if waiting:
        yield found(
            routine, "remark", "winding",
            f"{waiting} of {len(moves)} changes have no deck-file seconds yet: how far the records"
            " must be wound cannot be judged",
            "render the deck files and check decks/routine.yaml", numbers={"changes": waiting},
        )  # fmt: skip


def judge_hands(routine: Routine) -> Iterator[Finding]:
    """A remark for each set piece in which some beat asks for a third hand."""
    for index in range(len(routine.pieces)):
        over = [beat for beat in hand_plan(routine) if beat.piece == index and beat.over]
        if not over:
            continue
        first = over[0]
        wanted = [job for job in (first.left, first.right, *first.over) if job is not None]
        does = ", ".join(map(str, wanted))
        yield found(
            routine, "remark", "hands",
            f"beat {first.from_beat + 1} asks for {len(wanted)} hands: {does}"
            + (f"; so do {len(over) - 1} more beats" if len(over) > 1 else ""),
            _hands_way_out(wanted), piece=index, beat=first.from_beat,
            numbers={"hands": len(wanted), "beats": len(over)},
        )  # fmt: skip


def _hands_way_out(wanted: list[Job]) -> str:
    if any(job.task == "releases" for job in wanted):
        return "let the record go first; the first stroke comes a beat later"
    return "write the strokes out with room between them, or use a technique with an open fader"


def cue_text(routine: Routine, cue_s: float, *, short: bool = False) -> str:
    """A cue as the performer finds it: second, turn from the file's start, sticker angle."""
    whole, degrees = sticker_place(cue_s, routine.turntable.rpm)
    if short:
        return f"{whole} {degrees:3d}°"
    return f"{cue_s:.2f} s (turn {whole}, sticker at {degrees}°)"


def turns_text(move: Change) -> str:
    """Signed turns of a change, finer below a turn."""
    if move.turns is None:
        return "?"
    return f"{move.turns:+.2f}" if abs(move.turns) < 0.995 else f"{move.turns:+.1f}"


def amount(value: float) -> str:
    """A positive figure to a tenth; finer where that would say 0.0."""
    if value >= 0.05:
        return f"{value:.1f}"
    return f"{value:.2f}" if value >= 0.005 else "less than 0.01"


def _figures(routine: Routine, move: Change) -> dict[str, float]:
    told = (
        "available_s", "available_beats", "free_s", "turns", "by_hand_s", "by_needle_s",
        "needed_s", "cue_s", "spare_beats",
    )  # fmt: skip
    figures = {name: value for name in told if (value := getattr(move, name)) is not None}
    if move.cue_s is not None:
        figures["sticker_degrees"] = sticker_degrees(move.cue_s, routine.turntable.rpm)
    return figures


def _what(routine: Routine, move: Change) -> str:
    """The sentence both verdicts start with: distance, cue, times."""
    assert move.cue_s is not None
    assert move.by_hand_s is not None
    assert move.by_needle_s is not None
    hand, needle = move.by_hand_s, move.by_needle_s
    quicker = f"{hand:.1f} s by hand"
    if needle < hand:
        quicker += f", {needle:.1f} s by the needle"
    time = f"it is silent for {move.available_s:.1f} s ({move.available_beats:.3g} beats)"
    if move.available_s < 0.05:
        time = "it sounds right up to the change"
    elif move.free_s < move.available_s - 1e-9:
        time += f", but a hand is free for only {move.free_s:.1f} s of it"
    return (
        f"{move.side} must be wound {turns_text(move)} turns to {cue_text(routine, move.cue_s)}: "
        f"{quicker}; {time}"
    )


def _no_hand(move: Change) -> bool:
    return (
        move.free_s < move.available_s - 1e-9
        and move.needed_s is not None
        and (move.needed_s <= move.available_s + 1e-9)
    )


def _impossible(routine: Routine, move: Change) -> Finding:
    says = f"{_what(routine, move)}: {amount(-(move.spare_beats or 0.0))} beats too few"
    if _no_hand(move):
        out = (
            "play the other record with the fader open for that long and say so in `technique`,"
            " or write its `strokes` with room between them"
        )
    else:
        out = _nearer(routine, move)
    return _finding(routine, move, "error", says, out)


def _tight(routine: Routine, move: Change) -> Finding:
    spare = move.spare_beats or 0.0
    if spare >= 0:
        says = (
            f"{_what(routine, move)}: {spare:.1f} beats to spare, below the margin of "
            f"{routine.performer.margin_beats:g}"
        )
        out = "practise this change by itself, or put the cue nearer"
        return _finding(routine, move, "warning", says, out)
    says = f"{_what(routine, move)}: {amount(-spare)} beats short"
    return _finding(routine, move, "warning", says, _give_text(move))


def _give_text(move: Change) -> str:
    ways = []
    if move.leave_early_beats:
        ways.append(f"leave up to {move.leave_early_beats:g} beats early")
    if move.come_late_beats:
        ways.append(f"come in up to {move.come_late_beats:g} beats late")
    return f"{' or '.join(ways) or 'start from the near end'}: the other deck carries the music"


def _nearer(routine: Routine, move: Change) -> str:
    """What would make an impossible change possible, with its figures."""
    reach = turns_in(move.free_s, routine.performer)
    ways = []
    if reach >= 0.05:
        ways.append(f"put the cue within {reach:.1f} turns")
    else:
        ways.append("put the cue where the record stands when it falls silent")
    short = amount(-(move.spare_beats or 0.0))
    ways.append(f"or let {move.side} rest {short} beats longer before it")
    return ", ".join(ways)


def _not_placed(routine: Routine, move: Change) -> Iterator[Finding]:
    """What can be said of a change before its seconds are known: the time there will be."""
    if move.free_s + move.give_s > LEAST_CHANGE_S:
        return
    name = routine.pieces[move.before or 0].name
    if move.available_s > LEAST_CHANGE_S:
        says = (
            f"{move.side} is silent for {move.available_s:.1f} s after {name}, but no hand is free"
        )
        out = "a technique with an open fader, or strokes with room between them, frees one"
    else:
        says = f"{move.side} goes on from {name} with another sound and no time to wind"
        out = f"the cue must lie where {name} ends, or {move.side} must rest a few beats before it"
    yield _finding(routine, move, "warning", says, out)


def _finding(routine: Routine, move: Change, severity: Severity, says: str, out: str) -> Finding:
    return found(
        routine, severity, "winding", says, out, piece=move.after,
        beat=move.beat_due(routine), side=move.side, numbers=_figures(routine, move),
    )  # fmt: skip
