"""What the mixer says meanwhile: the crossfader and both levels, whenever they change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple, TypeAlias

from numpy.random import Generator

from liveaid.routine import SIDES, Side
from liveaid.simulate.course import Leg
from liveaid.simulate.turns import Turn

Control: TypeAlias = Literal["crossfader", "left", "right"]
_FADE_S = 0.04
_FADE_STEPS = 4


class MixerMessage(NamedTuple):
    """A fader at a new place: the crossfader, 0 where only left is heard, or a side's level."""

    now_s: float
    control: Control
    value: float


def mixer_messages(
    legs: Sequence[Leg], turns: Mapping[int, Sequence[Turn]], rng: Generator
) -> tuple[MixerMessage, ...]:
    """The fader moves of a performance from time 0 on: decks that rest are closed, a juggle is cut
    from side to side, with a hand's 10 ms of spread (common practice, no source)."""
    wishes: list[tuple[float, Control, float]] = []
    for index, leg in enumerate(legs):
        sounds: dict[Side, bool] = {side: leg.plan(side).hand != "rests" for side in SIDES}
        wishes += [(leg.start_s, side, float(sounds[side])) for side in SIDES]
        if leg.juggles:
            wishes += [
                (leg.count.when(turn.from_beat), "crossfader", _toward(turn.side))
                for turn in turns[index]
            ]
        elif any(sounds.values()):
            both = all(sounds.values())
            open_side: Side = "left" if sounds["left"] else "right"
            wishes.append((leg.start_s, "crossfader", 0.5 if both else _toward(open_side)))
    return tuple(_moves(sorted(wishes), rng))


def _toward(side: Side) -> float:
    return 0.0 if side == "left" else 1.0


def _moves(wishes: Sequence[tuple[float, Control, float]], rng: Generator) -> list[MixerMessage]:
    """Each change as a few steps over a short fade; what stands before time 0 is said at 0."""
    now: dict[Control, float] = {}
    moves: list[MixerMessage] = []
    for planned_s, control, value in wishes:
        start_s = planned_s + 0.01 * float(rng.standard_normal()) - 0.5 * _FADE_S
        was = now.get(control)
        now[control] = value
        if was is None or start_s < 0.0:
            moves.append(MixerMessage(max(start_s, 0.0), control, value))
        elif was != value:
            moves += [
                MixerMessage(
                    start_s + _FADE_S * step / _FADE_STEPS,
                    control,
                    was + (value - was) * step / _FADE_STEPS,
                )
                for step in range(1, _FADE_STEPS + 1)
            ]
    return sorted(moves, key=lambda move: move.now_s)
