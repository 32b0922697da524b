"""Keys that sound together, at the pitch they really have once brought to tempo."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.record.platter import semitones
from liveaid.routine.check.findings import Finding, Severity, found
from liveaid.routine.harmony import Pitched, meet, retunings
from liveaid.routine.keys import parse_key
from liveaid.routine.model import SIDES, Routine, Side


def sounding_key(routine: Routine, index: int, side: Side) -> Pitched | None:
    """A deck's key in a set piece as it is heard at real pitch.

    Moved by 12 * log2(ratio) when it is brought to tempo by resampling, not when it is stretched.
    None when the deck rests or the key, or the tempo it would move from, is not known.
    """
    plan = routine.pieces[index].plan(side)
    if plan.sound is None:
        return None
    sound = routine.sounds[plan.sound]
    if sound.key is None:
        return None
    key = parse_key(sound.key)
    if sound.stretch:
        return Pitched(key, sound.tuning_cents)
    if sound.tempo_bpm is None:
        return None
    moved = semitones(routine.pieces[index].tempo_bpm / sound.tempo_bpm)
    return Pitched(key, sound.tuning_cents, moved)


def judge_keys(routine: Routine) -> Iterator[Finding]:
    """Each set piece in which two keys sound together: out of tune, rubbing, or fine."""
    for index in range(len(routine.pieces)):
        left, right = (sounding_key(routine, index, side) for side in SIDES)
        if left is not None and right is not None and not _one_sound(routine, index):
            yield from _together(routine, index, left, right)
    yield from _unknown(routine)


def _one_sound(routine: Routine, index: int) -> bool:
    """Whether both decks play one sound: two copies at one tempo are in one key, whichever."""
    left, right = (routine.pieces[index].plan(side).sound for side in SIDES)
    return left is not None and left == right


def _together(routine: Routine, index: int, left: Pitched, right: Pitched) -> Iterator[Finding]:
    meeting = meet(left, right)
    what = f"{left} against {right}"
    figures = {
        "cents": meeting.cents_off,
        "fifths": meeting.fifths,
        "left_semitones": left.shift_semitones,
        "right_semitones": right.shift_semitones,
    }
    if meeting.tuned != "in tune":
        severity: Severity = "warning" if meeting.tuned == "out of tune" else "remark"
        yield found(
            routine, severity, "keys", f"{what}: {abs(meeting.cents_off):.0f} cents out of tune",
            _in_tune(left, right), piece=index, numbers=figures,
        )  # fmt: skip
    if meeting.rubs:
        yield found(
            routine, "warning", "keys", f"{what}: {meeting.relation}, they rub",
            "keep one of them short and rhythmic, filter it, or choose another sound with fit",
            piece=index, numbers=figures,
        )  # fmt: skip


def _in_tune(left: Pitched, right: Pitched) -> str:
    """The nearest moves that end in tune and in a key that goes with the other."""
    side, moves = (
        ("right", retunings(left, right))
        if abs(right.shift_semitones) >= abs(left.shift_semitones)
        else ("left", retunings(right, left))
    )
    ways = [f"{move.percent:+.1f} % makes {side} {move.key} ({move.relation})" for move in moves]
    return (
        f"in tune: {', '.join(ways)}, but off the beat unless the tempo moves too;"
        " or `stretch: yes` keeps a key"
    )


def _unknown(routine: Routine) -> Iterator[Finding]:
    """Set pieces in which two sounds meet and one of their keys cannot be told."""
    open_ones = [
        index
        for index, piece in enumerate(routine.pieces)
        if all(piece.plan(side).sound for side in SIDES)
        and not _one_sound(routine, index)
        and any(
            sounding_key(routine, index, side) is None and _tonal(routine, index, side)
            for side in SIDES
        )
    ]
    if open_ones:
        names = ", ".join(routine.pieces[index].name for index in open_ones)
        yield found(
            routine, "remark", "keys", f"two sounds meet but a key or tempo is not known: {names}",
            "gather studies keys, or write `key:` and `tempo:` beside the sound",
            numbers={"set_pieces": len(open_ones)},
        )  # fmt: skip


def _tonal(routine: Routine, index: int, side: Side) -> bool:
    name = routine.pieces[index].plan(side).sound
    return name is not None and routine.sounds[name].kind not in ("sample", "effect")
