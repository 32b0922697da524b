"""Strokes inside a span: pushed forward at a beat, or let run for a moment, and pulled back."""

from __future__ import annotations

from collections.abc import Sequence

from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.line import MotionLine
from liveaid.simulate.turns import TurnStroke
from liveaid.simulate.turntable import RELEASE_S

_GAP_S = 0.06
"""The least time between two strokes of one hand."""


def scratch(
    hand: DeckHand, leg: Leg, strokes: Sequence[TurnStroke], *, until_beat: float, home_s: float
) -> None:
    """Play the strokes from where the record stands, back at `home_s` after each."""
    end_s = leg.worked(hand.side).to_s or 0.0
    acts = _acts(hand, leg, strokes, home_s)
    ends = [*(begins for begins, _ in acts), leg.count.when(until_beat)][1:]
    places = [s.place_s if s and s.place_s is not None else home_s for _, s in acts]
    backs = [*places, home_s][1:]
    for (begins, stroke), ends_s, back_to_s in zip(acts, ends, backs, strict=True):
        hand.record.go_on(begins)
        begins = hand.record.now_s
        beat = leg.count.at(begins) if stroke is None else stroke.beat
        if stroke is None or stroke.planned:
            planned = None if stroke is None else leg.count.when(beat)
            hand.note(
                "stroke", leg, beat,
                planned_s=planned, actual_s=begins, onset_s=begins, cue_s=home_s,
            )  # fmt: skip
        room_s = max(end_s - hand.record.x_s, 0.05)
        _stroke(hand, leg, max(ends_s - begins, _GAP_S), room_s, back_to_s)


def _acts(
    hand: DeckHand, leg: Leg, strokes: Sequence[TurnStroke], home_s: float
) -> list[tuple[float, TurnStroke | None]]:
    """When each stroke is to be made, missed ones left out, added ones (None) put in."""
    acts: list[tuple[float, TurnStroke | None]] = []
    times = [leg.count.when(stroke.beat) for stroke in strokes]
    gaps = [b - a for a, b in zip(times, [*times[1:], *times[-1:]], strict=True)]
    for stroke, planned, gap_s in zip(strokes, times, gaps, strict=True):
        error_s = hand.stroke_s(planned)
        miss, add = hand.rng.random(2)
        if stroke.planned and miss < hand.hands.miss_rate:
            hand.note("stroke", leg, stroke.beat, planned_s=planned, cue_s=home_s)
            continue
        earliest = acts[-1][0] + _GAP_S if acts else hand.record.now_s
        acts.append((max(planned + error_s, earliest), stroke))
        if stroke.planned and add < hand.hands.added_rate and gap_s > 0.25:
            acts.append((acts[-1][0] + 0.5 * gap_s, None))
    return acts


def _stroke(hand: DeckHand, leg: Leg, gap_s: float, room_s: float, back_to_s: float) -> None:
    """One stroke from where the record stands, and back within the gap to the next."""
    record, rng = hand.record, hand.rng
    begins = record.now_s
    rate = leg.count.rate_at(begins) * leg.beat_s
    if gap_s > 0.5 and room_s > 0.3 and rng.random() < 0.35:
        # Back at four times the speed it ran takes a quarter as long again, and a little.
        runs_s = min(room_s / rate, (gap_s - 0.12) / 1.3) * float(rng.uniform(0.6, 1.0))
        record.let_go(MotionLine(begins + 0.5 * RELEASE_S, record.x_s, rate))
        record.take(begins + runs_s)
    else:
        push_s = min(0.45 * gap_s, float(rng.uniform(0.07, 0.22)))
        way_s = min(room_s, 3.5 * push_s) * float(rng.uniform(0.5, 1.0))
        record.stroke(record.x_s + max(way_s + hand.hands.reach_s(rng), 0.02), push_s)
    left_s = begins + gap_s - record.now_s - 0.005
    back_s = max(min(left_s, float(rng.uniform(0.12, 0.25))), 0.02)
    record.stroke(max(back_to_s + hand.hands.reach_s(rng), 0.0), back_s)
