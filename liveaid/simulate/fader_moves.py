"""What the mixer says meanwhile: the crossfader and both levels, whenever they change.

The crossfader tells where it stands, 0 at its left end and 1 at its right. There the left and the
right deck are heard, or with a reversed one (hamster) the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple, TypeAlias

from numpy.random import Generator

from liveaid.routine import SIDES, Routine, Side, other_side
from liveaid.routine.acts import fader_of, written_out
from liveaid.routine.timeline import pick_up_beats
from liveaid.simulate.course import Leg
from liveaid.simulate.human_hands import Hands
from liveaid.simulate.turns import JuggleTurn

Control: TypeAlias = Literal["crossfader", "left", "right"]
_FADE_S = 0.04
_FADE_STEPS = 4
_SAME_BEAT = 1e-6
_BEFORE_S = 0.1
"""A deck is brought up so much before its pick-up (common practice, no source)."""


class MixerMessage(NamedTuple):
    """A fader at a new place: the crossfader, 0 at its left end, or a side's level."""

    now_s: float
    control: Control
    value: float


def mixer_messages(
    routine: Routine,
    legs: Sequence[Leg],
    turns: Mapping[int, Sequence[JuggleTurn]],
    hands: Hands,
    rng: Generator,
) -> tuple[MixerMessage, ...]:
    """The fader moves of a performance from time 0 on: decks that rest are closed, a juggle is cut
    from side to side, a scratch now and then cut off, and where acts are written out, as they say.
    """
    wishes: list[tuple[float, Control, float]] = []
    for index, leg in enumerate(legs):
        sounds: dict[Side, bool] = {side: leg.plan(side).hand != "rests" for side in SIDES}
        up_s = _comes_up_s(routine, leg)
        wishes += [
            (up_s if sounds[side] else leg.start_s, side, float(sounds[side])) for side in SIDES
        ]
        if leg.piece is not None and any(written_out(leg.piece, side) for side in SIDES):
            wishes += _written(routine, leg, legs[index - 1] if index else None)
        elif leg.juggles:
            wishes += [
                (leg.count.when(turn.from_beat), "crossfader", _toward(turn.side))
                for turn in turns[index]
            ]
        elif any(sounds.values()):
            side: Side = "left" if sounds["left"] else "right"
            stands = 0.5 if all(sounds.values()) else _toward(side)
            wishes.append((leg.start_s, "crossfader", stands))
            wishes += _cuts(leg, stands, rng)
    moves = _moves(sorted(wishes), hands, rng)
    return tuple(map(_reversed, moves) if routine.performer.hamster else moves)


def _reversed(move: MixerMessage) -> MixerMessage:
    """The same heard through a reversed crossfader."""
    return move._replace(value=1.0 - move.value) if move.control == "crossfader" else move


def _comes_up_s(routine: Routine, leg: Leg) -> float:
    """When the decks of a leg are brought up: as it begins, or a moment before its pick-up."""
    if leg.piece is None or leg.from_beat > 0.0:
        return leg.start_s
    early = pick_up_beats(routine, leg.index)
    return leg.count.when(-early) - _BEFORE_S if early else leg.start_s


def _written(routine: Routine, leg: Leg, before: Leg | None) -> list[tuple[float, Control, float]]:
    """Where the fader stands over a leg whose acts are written out: the decks that are open. In its
    pick-up a record that runs in the leg before is heard on."""
    faders = fader_of(routine, leg.index)
    beats = {leg.from_beat, *(beat for spans in faders.values() for span in spans for beat in span)}
    wishes: list[tuple[float, Control, float]] = []
    for beat in sorted(beats):
        if not leg.from_beat <= max(beat, 0.0) < leg.to_beat:
            continue
        heard = [
            side
            for side, spans in faders.items()
            if any(start - _SAME_BEAT <= beat < end - _SAME_BEAT for start, end in spans)
        ]
        if beat < 0.0 and before is not None:
            heard += [side for side in before.runs if side not in heard]
        if heard:
            stands = 0.5 if len(heard) == 2 else _toward(heard[0])
        elif leg.juggles:
            continue  # left where it is: the record it is open to stands
        else:
            stands = _toward(_shut_toward(leg))
        wishes.append((leg.count.when(beat), "crossfader", stands))
    return wishes


def _shut_toward(leg: Leg) -> Side:
    """Where the fader goes to be silent: away from the deck that is worked."""
    return next((side for side in SIDES if leg.plan(side).hand != "works"), "left")


def _cuts(leg: Leg, stands: float, rng: Generator) -> list[tuple[float, Control, float]]:
    """A scratched deck is closed on every other beat or so, for about a quarter of one."""
    scratched = next((side for side in SIDES if leg.plan(side).hand == "works"), None)
    if scratched is None:
        return []
    wishes: list[tuple[float, Control, float]] = []
    for beat in range(math.ceil(leg.from_beat), math.floor(leg.to_beat)):
        if rng.random() < 0.5:
            closes, opens = beat + 0.5, beat + float(rng.uniform(0.7, 0.9))
            closed = _toward(other_side(scratched))
            wishes.append((leg.count.when(closes), "crossfader", closed))
            wishes.append((leg.count.when(opens), "crossfader", stands))
    return wishes


def _toward(side: Side) -> float:
    return 0.0 if side == "left" else 1.0


def _moves(
    wishes: Sequence[tuple[float, Control, float]], hands: Hands, rng: Generator
) -> list[MixerMessage]:
    """Each change as a few steps over a short fade; what stands before time 0 is said at 0."""
    now: dict[Control, float] = {}
    moves: list[MixerMessage] = []
    nexts = _nexts(wishes)
    for (planned_s, control, value), next_s in zip(wishes, nexts, strict=True):
        fade_s = min(_FADE_S, 0.4 * (next_s - planned_s))
        start_s = planned_s + hands.fader_error_s * float(rng.standard_normal()) - 0.5 * fade_s
        was = now.get(control)
        now[control] = value
        if was is None or start_s < 0.0:
            moves.append(MixerMessage(max(start_s, 0.0), control, value))
        elif was != value:
            moves += [
                MixerMessage(
                    start_s + fade_s * step / _FADE_STEPS,
                    control,
                    was + (value - was) * step / _FADE_STEPS,
                )
                for step in range(1, _FADE_STEPS + 1)
            ]
    return sorted(moves, key=lambda move: move.now_s)


def _nexts(wishes: Sequence[tuple[float, Control, float]]) -> list[float]:
    """When each wish's control is moved next: a hand is quicker where the next move is near."""
    nexts, coming = [], dict[Control, float]()
    for planned_s, control, _ in reversed(wishes):
        nexts.append(max(coming.get(control, math.inf), planned_s + 0.01))
        coming[control] = planned_s
    return nexts[::-1]
