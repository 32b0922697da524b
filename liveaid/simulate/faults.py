"""What goes wrong in a performance: the kinds, and one drawn at random where it can happen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias, get_args

from numpy.random import Generator

from liveaid.errors import LiveaidError
from liveaid.routine import Piece, Routine, Side
from liveaid.routine.left import Left, by_itself

FaultKind: TypeAlias = Literal[
    "skip",
    "repeat",
    "early",
    "late",
    "needle-jump",
    "wrong-cue",
    "drop-out",
    "restart",
    "middle",
    "platter-stop",
]
FAULT_KINDS: tuple[FaultKind, ...] = get_args(FaultKind)


class FaultError(LiveaidError, ValueError):
    """The fault cannot happen there, or nowhere in this routine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One mishap; what is None is drawn from the performance's seed.

    skip: `piece` is left out. repeat: it is played twice. early: it is left at `beat`. late: it
    goes on for `by` beats. needle-jump: the needle on the deck with the count jumps `by` seconds
    of record at `beat`. wrong-cue: the deck with the count starts from set piece `to_piece`'s cue
    and is put right at `beat`. drop-out: nothing is heard of deck `side`, else of the one with the
    count, for `by` seconds from `beat` on. restart: all stops at `beat`, and after `by` seconds
    begins anew. middle: it is heard from `beat` of `piece` on only. platter-stop: the platter of
    the deck with the count is braked at `beat` and stands for `by` seconds.
    """

    kind: FaultKind
    piece: int | None = None
    beat: float | None = None
    by: float | None = None
    side: Side | None = None
    to_piece: int | None = None

    def __post_init__(self) -> None:
        if self.kind not in FAULT_KINDS:
            raise FaultError(f"no fault {self.kind!r}; one of {', '.join(FAULT_KINDS)} would do")


@dataclass(frozen=True, slots=True)
class Happened:
    """A fault with all its figures, and the time it broke the routine's course."""

    fault: Fault
    at_s: float
    until_s: float
    """When the course was whole again: equal to `at_s` for a plain leap from place to place."""


def draw_fault(kind: FaultKind, routine: Routine, rng: Generator) -> Fault:
    """A fault of one kind, somewhere it can happen. FaultError when there is no such place."""
    return settle(Fault(kind=kind), routine, rng)


def settle(fault: Fault, routine: Routine, rng: Generator) -> Fault:
    """The fault with every figure its kind needs. FaultError when it cannot happen there."""
    pieces = [
        index
        for index in range(len(routine.pieces))
        if fault.piece in (None, index) and _can(fault, routine, index)
    ]
    if not pieces:
        where = "in this routine" if fault.piece is None else f"in set piece {fault.piece}"
        raise FaultError(f"{fault.kind}: cannot happen {where}; {_NEEDS[fault.kind]}")
    piece = int(rng.choice(pieces))
    return _with_figures(replace(fault, piece=piece), routine, piece, rng)


_NEEDS: dict[FaultKind, str] = {
    "skip": "a set piece with one before it and one after it would do",
    "repeat": "any set piece would do",
    "early": "a set piece of 3 beats or more with one after it would do",
    "late": "a set piece whose record does not run on into the next would do",
    "needle-jump": "a set piece with a count on a deck and over 4 turns long would do",
    "wrong-cue": "a set piece with a count on a deck that starts there, and another cue, would do",
    "drop-out": "a set piece with a count on a deck would do",
    "restart": "any set piece would do",
    "middle": "any set piece would do",
    "platter-stop": "a set piece with a count on a deck and over 8 beats long would do",
}


def _can(fault: Fault, routine: Routine, index: int) -> bool:
    piece, last = routine.pieces[index], len(routine.pieces) - 1
    counted = piece.count != "clock"
    match fault.kind:
        case "skip":
            return 0 < index < last
        case "early":
            return index < last and routine.beats(index) >= 3
        case "late":
            return index < last and not runs_on(routine, index)
        case "needle-jump":
            return counted and routine.piece_s(index) > 4.0 * routine.turntable.turn_s
        case "wrong-cue":
            starts = index == 0 or not runs_on(routine, index - 1)
            return counted and starts and bool(_other_cues(routine, index))
        case "drop-out":
            return counted or fault.side is not None
        case "platter-stop":
            return counted and routine.beats(index) > 8
        case _:
            return True


def _with_figures(fault: Fault, routine: Routine, piece: int, rng: Generator) -> Fault:
    beats, turn_s = routine.beats(piece), routine.turntable.turn_s
    match fault.kind:
        case "early":
            return _filled(fault, beat=_beat(rng, 1, max(1, beats - routine.metre)))
        case "late":
            return _filled(fault, by=float(rng.integers(1, routine.metre + 1)))
        case "needle-jump":
            beat = float(rng.uniform(0.45, 0.55)) * beats
            turns = float(rng.choice([-1, 1])) * float(rng.integers(1, 3))
            return _filled(fault, beat=beat, by=turns * turn_s)
        case "wrong-cue":
            other = int(rng.choice(_other_cues(routine, piece)))
            return _filled(fault, to_piece=other, beat=_beat(rng, 1, min(4, beats - 1)))
        case "drop-out":
            lasts = float(rng.uniform(2.0, 8.0))
            beat = float(rng.uniform(0.0, 0.75)) * beats
            return _filled(fault, beat=beat, by=lasts)
        case "restart":
            beat, by = float(rng.uniform(0.1, 0.9)) * beats, float(rng.uniform(2.0, 5.0))
            return _filled(fault, beat=beat, by=by)
        case "middle":
            return _filled(fault, beat=float(rng.uniform(0.0, 0.9)) * beats)
        case "platter-stop":
            beat, by = _beat(rng, 2, beats - 5), float(rng.uniform(0.5, 3.0))
            return _filled(fault, beat=beat, by=by)
        case _:
            return fault


def _filled(fault: Fault, **figures: float | int) -> Fault:
    """The fault with these figures where it has none of its own."""
    return replace(
        fault,
        **{k: v for k, v in figures.items() if getattr(fault, k) is None},  # type: ignore[arg-type]
    )


def _beat(rng: Generator, low: int, high: int) -> float:
    return float(rng.integers(low, max(low, high) + 1))


def runs_on(routine: Routine, index: int) -> bool:
    """Whether the record with the next set piece's count just runs on from this one into it."""
    after = routine.pieces[index + 1]
    return after.count != "clock" and goes_on(
        routine.pieces[index], float(routine.beats(index)), after, 0.0, after.count
    )


def goes_on(
    piece: Piece,
    to_beat: float,
    after: Piece,
    from_beat: float,
    side: Side,
    *,
    rests_s: float = 0.0,
) -> bool:
    """Whether a record runs from a beat of one set piece into a beat of another without a hand.

    `rests_s`: seconds of record between the two in which it runs unheard.
    """
    here, there = piece.plan(side), after.plan(side)
    if here.hand != "runs" or there.hand != "runs" or here.at_s is None or there.at_s is None:
        return False
    ends_s = here.at_s + to_beat * piece.beat_s
    wants_s = there.at_s + from_beat * after.beat_s
    return by_itself(Left(ends_s, runs=True), wants_s, rests_s=rests_s)


def _other_cues(routine: Routine, index: int) -> list[int]:
    """Set pieces whose cue on the counted deck is another one, over a beat away."""
    side = routine.pieces[index].count
    if side == "clock":
        return []
    cue = routine.pieces[index].plan(side).cue_s or 0.0
    cues = [(other, piece.plan(side).cue_s) for other, piece in enumerate(routine.pieces)]
    return [other for other, its in cues if its is not None and abs(its - cue) > 1.0]
