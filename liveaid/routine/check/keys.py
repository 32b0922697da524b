"""Keys that sound together, at the pitch they really have once brought to tempo."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.record.platter import semitones
from liveaid.routine.check.findings import Finding, found
from liveaid.routine.keys import Key, fifths_apart, parse_key, relation, shifted
from liveaid.routine.model import SIDES, Rests, Routine, Side

SOUR_CENTS = 25.0
"""Two records further out of tune than this are plainly heard (a quarter of a semitone; the ear
tells 5 to 10 cents apart in good conditions, from memory)."""
UNEASY_CENTS = 12.0
FAR_FIFTHS = 2
"""More steps than this on the circle of fifths rub when they sound together."""


def sounding_key(routine: Routine, index: int, side: Side) -> tuple[Key, float] | None:
    """A deck's key in a set piece as its sound has it, and the semitones it is moved by.

    12 * log2(ratio) when it is brought to tempo by resampling, 0 when it is stretched.
    None when the deck rests or the key, or the tempo it would move from, is not known.
    """
    plan = routine.pieces[index].plan(side)
    if isinstance(plan, Rests) or plan.sound is None:
        return None
    sound = routine.sounds[plan.sound]
    if sound.key is None:
        return None
    if sound.stretch:
        return parse_key(sound.key), 0.0
    if sound.tempo_bpm is None:
        return None
    return parse_key(sound.key), semitones(routine.pieces[index].tempo_bpm / sound.tempo_bpm)


def how_they_meet(a: tuple[Key, float], b: tuple[Key, float]) -> tuple[str, int, float]:
    """Two moved keys: their relation, steps on the circle of fifths, and cents out of tune."""
    apart = a[1] - b[1]
    whole = round(apart)
    moved = shifted(a[0], whole)
    return relation(moved, b[0]), fifths_apart(moved, b[0]), 100.0 * (apart - whole)


def judge_keys(routine: Routine) -> Iterator[Finding]:
    """Each set piece in which two keys sound together: out of tune, rubbing, or fine."""
    for index in range(len(routine.pieces)):
        left, right = (sounding_key(routine, index, side) for side in SIDES)
        if left is not None and right is not None:
            yield from _together(routine, index, left, right)
    yield from _unknown(routine)


def _together(
    routine: Routine, index: int, left: tuple[Key, float], right: tuple[Key, float]
) -> Iterator[Finding]:
    name, fifths, cents = how_they_meet(left, right)
    what = f"{_moved(left)} against {_moved(right)}"
    moves = {"left_semitones": left[1], "right_semitones": right[1]}
    figures = {"cents": cents, "fifths": fifths, **moves}
    if abs(cents) >= UNEASY_CENTS:
        yield found(
            routine, "warning" if abs(cents) >= SOUR_CENTS else "remark", "keys",
            f"{what}: {abs(cents):.0f} cents out of tune",
            _in_tune(left, right, cents), piece=index, bar=1, numbers=figures,
        )  # fmt: skip
    if fifths > FAR_FIFTHS and not name.startswith("parallel"):
        yield found(
            routine, "warning", "keys", f"{what}: {name}, they rub",
            "keep one of them short and rhythmic, filter it, or choose another sound with fit",
            piece=index, bar=1, numbers=figures,
        )  # fmt: skip
    elif abs(cents) < UNEASY_CENTS:
        says = f"{what}: {name}"
        yield found(routine, "remark", "keys", says, piece=index, bar=1, numbers=figures)


def _moved(key: tuple[Key, float]) -> str:
    return f"{key[0]} {key[1]:+.2f}" if abs(key[1]) >= 0.005 else str(key[0])


def _in_tune(left: tuple[Key, float], right: tuple[Key, float], cents: float) -> str:
    """The nearest retuning that closes the gap, on the side that is moved."""
    side = "left" if abs(left[1]) >= abs(right[1]) else "right"
    move = -cents if side == "left" else cents
    ratio = 100.0 * (2.0 ** (move / 1200.0) - 1.0)
    return f"{side} {ratio:+.1f} % of pitch would be in tune; or `stretch: yes` keeps a key"


def _unknown(routine: Routine) -> Iterator[Finding]:
    """Set pieces in which two sounds meet and one of their keys cannot be told."""
    open_ones = [
        index
        for index, piece in enumerate(routine.pieces)
        if all(getattr(piece.plan(side), "sound", None) for side in SIDES)
        and piece.left.hand != "rests"
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
    name = getattr(routine.pieces[index].plan(side), "sound", None)
    return name is not None and routine.sounds[name].kind not in ("sample", "effect")
