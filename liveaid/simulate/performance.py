"""A whole performance from a section map and a seed: messages, faders, truth, events."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator

from liveaid.errors import LiveaidError
from liveaid.routine import SIDES, Routine, Side, other_side
from liveaid.routine.timeline import lead_in_s
from liveaid.simulate.course import Leg, lay_course, shifted
from liveaid.simulate.events import Event
from liveaid.simulate.fader_moves import MixerMessage, mixer_messages
from liveaid.simulate.faults import Fault, FaultError, Happened, settle
from liveaid.simulate.human_hands import Hands
from liveaid.simulate.line import Array
from liveaid.simulate.network import Dead, Messages, Network, transmit
from liveaid.simulate.performer import DeckCourse
from liveaid.simulate.steps import Step, pause, plain_steps, with_fault
from liveaid.simulate.track import Track
from liveaid.simulate.truth import Truth, sample_truth
from liveaid.simulate.turns import JuggleTurn, juggle_turns
from liveaid.simulate.turntable import MOTOR_START_S, MOTOR_STOP_S


class NotPlacedError(LiveaidError):
    """The section map does not say where on the decks its cues are."""


@dataclass(frozen=True, slots=True)
class Performance:
    """One performance: what a listener is sent, and what was really played."""

    routine: Routine
    messages: Messages
    mixer: tuple[MixerMessage, ...]
    truth: Truth
    events: tuple[Event, ...]
    """In the order of their planned times; those before time 0 are left out."""
    faults: tuple[Happened, ...]
    seed: int
    duration_s: float


def perform(
    routine: Routine,
    *,
    seed: int,
    faults: Sequence[Fault] = (),
    hands: Hands | None = None,
    network: Network | None = None,
    start_piece: int = 0,
    start_beat: float = 0.0,
    lead_s: float = 1.0,
    truth_hz: float = 250.0,
) -> Performance:
    """The routine performed once; the same arguments give the same performance.

    Begins `lead_s` before the first beat with both records at their cues, or, with `start_piece`
    or `start_beat` above 0, at once in the middle of things. Time 0 is the first thing heard.
    NotPlacedError without deck-file seconds; FaultError for a fault that cannot happen.
    """
    if not routine.placed:
        raise NotPlacedError(
            f"{routine.title}: not placed, some cues have no deck-file second; "
            "`liveaid render` would do, first"
        )
    hands, network = hands or Hands(), network or Network()
    settled = [
        settle(f, routine, stream(seed, f"fault {i} {f.kind}")) for i, f in enumerate(faults)
    ]
    for fault in settled:
        if fault.kind == "middle":
            start_piece, start_beat = fault.piece or 0, fault.beat or 0.0
    legs = _course(routine, settled, hands, seed, start_piece, start_beat, lead_s)
    turns = _turns(legs, seed)
    tracks, events = _play(routine, legs, turns, hands, seed)
    until_s = legs[-1].end_s
    happened = [
        what for fault in settled if (what := _happened(fault, legs)) and what.until_s >= 0.0
    ]
    network = replace(network, dead=(*network.dead, *_dead(happened)))
    return Performance(
        routine=routine,
        messages=transmit(tracks, network, until_s=until_s, rng=stream(seed, "network")),
        mixer=mixer_messages(routine, legs, turns, hands, stream(seed, "mixer")),
        truth=sample_truth(legs, tracks, until_s=until_s, rate_hz=truth_hz),
        events=events,
        faults=tuple(happened),
        seed=seed,
        duration_s=until_s,
    )


def _course(
    routine: Routine,
    faults: Sequence[Fault],
    hands: Hands,
    seed: int,
    piece: int,
    beat: float,
    lead_s: float,
) -> tuple[Leg, ...]:
    """The legs, with time 0 at the first thing heard."""
    if not 0 <= piece < len(routine.pieces) or not 0.0 <= beat < routine.beats(piece):
        raise ValueError(f"no place {piece}, beat {beat:g} in {routine.title}")
    middle = piece > 0 or beat > 0.0
    steps: list[Step] = [
        pause(max(lead_s, 0.2, lead_in_s(routine) + 0.2)),
        *plain_steps(routine, first=max(piece - 1, 0)),
        pause(1.0),
    ]
    for fault in faults:
        steps = with_fault(steps, fault, routine)
    legs = lay_course(routine, steps, hands, stream(seed, "course"))
    if not middle:
        return legs
    first = next((leg for leg in legs if leg.index == piece and leg.to_beat > beat), None)
    if first is None:
        raise FaultError(f"beat {beat:g} of set piece {piece} is not played with these faults")
    return shifted(legs, -first.count.when(max(beat, first.from_beat)))


def _turns(legs: Sequence[Leg], seed: int) -> dict[int, list[JuggleTurn]]:
    """The turns of every juggle: the deck begins that is free, and did not play last."""
    rng, turns = stream(seed, "turns"), dict[int, list[JuggleTurn]]()
    last: Side | None = None
    for index, leg in enumerate(legs):
        if not leg.juggles:
            playing = [side for side in SIDES if leg.plan(side).hand == "runs"]
            last = playing[0] if playing else None
            continue
        first = other_side(last) if last else SIDES[int(rng.integers(2))]
        turns[index] = juggle_turns(leg, first, _busy(legs, index), rng)
        last = turns[index][-1].side if turns[index] else None
    return turns


def _busy(legs: Sequence[Leg], index: int) -> Side | None:
    """The deck that begins on another cue as the leg ends."""
    after = legs[index + 1] if index + 1 < len(legs) else None
    if after is None or after.juggles:
        return None
    return next((side for side in SIDES if side in after.anew), None)


def _play(
    routine: Routine,
    legs: Sequence[Leg],
    turns: dict[int, list[JuggleTurn]],
    hands: Hands,
    seed: int,
) -> tuple[dict[Side, Track], tuple[Event, ...]]:
    """Both hands, each with its own chance."""
    tracks: dict[Side, Track] = {}
    events: list[Event] = []
    for side in SIDES:
        rng = stream(seed, f"{side} hand")
        tracks[side], acts = DeckCourse(side, routine, legs, turns, hands, rng).play()
        events += acts
    heard = [event for event in events if _time_s(event) >= 0.0]
    return tracks, tuple(sorted(heard, key=lambda event: (_time_s(event), event.side)))


def _time_s(event: Event) -> float:
    return event.planned_s if event.planned_s is not None else event.actual_s or 0.0


def _happened(fault: Fault, legs: Sequence[Leg]) -> Happened | None:
    """When the fault broke the course; None when another one took its place away."""
    if fault.kind == "middle":
        return Happened(fault, 0.0, 0.0)
    for leg in legs:
        if fault.kind == "platter-stop" and leg.how == "brake" and leg.index == fault.piece:
            lasts_s = MOTOR_STOP_S + (fault.by or 0.0) + MOTOR_START_S
            return Happened(fault, leg.start_s, leg.start_s + lasts_s)
        for mark in leg.step.marks:
            if mark.fault is fault:
                at = leg.start_s if mark.from_beat is None else leg.count.when(mark.from_beat)
                if fault.kind == "drop-out":
                    return Happened(_sided(fault, leg), at, at + (fault.by or 0.0))
                until = at if mark.to_beat is None else leg.count.when(mark.to_beat)
                lasts = leg.piece is None or fault.kind == "late"
                return Happened(fault, at, leg.end_s if lasts else until)
    return None


def _sided(fault: Fault, leg: Leg) -> Fault:
    """The drop-out with its deck: its own, else the one that carries the count."""
    if fault.side is not None or leg.piece is None or leg.piece.count == "clock":
        return fault
    return replace(fault, side=leg.piece.count)


def _dead(happened: Sequence[Happened]) -> list[Dead]:
    return [
        Dead(what.fault.side, what.at_s, what.until_s)
        for what in happened
        if what.fault.kind == "drop-out" and what.fault.side is not None
    ]


def stream(seed: int, name: str) -> Generator:
    """The generator of one named part, independent of the others: another network leaves the
    hands alone."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def truth_record(performance: Performance, *, rate_hz: float = 50.0) -> dict[str, Any]:
    """JSON-ready: the events, the faults, and piece, beat and both positions at even times.

    Seconds count from the first thing sent. `piece` is -1 and `beat` null outside the routine.
    """
    truth = performance.truth
    times = np.arange(0.0, performance.duration_s, 1.0 / rate_hz)
    piece, beat = truth.places(times)
    return {
        "title": performance.routine.title,
        "seed": performance.seed,
        "duration_s": round(performance.duration_s, 3),
        "faults": [
            {**asdict(what.fault), "at_s": what.at_s, "until_s": what.until_s}
            for what in performance.faults
        ],
        "events": [
            {**asdict(event), "error_s": event.error_s, "missed": event.missed}
            for event in performance.events
        ],
        "times_s": _rounded(times),
        "piece": piece.tolist(),
        "beat": [None if np.isnan(b) else b for b in _rounded(beat)],
        "left_s": _rounded(truth.position_s("left", times)),
        "right_s": _rounded(truth.position_s("right", times)),
    }


def _rounded(values: Array) -> list[float]:
    return np.round(values, 5).tolist()  # type: ignore[no-any-return]
