"""Where else the performer may be: places that what is heard would fit, and what each costs."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.follow import likeness
from liveaid.follow.gesture import Gesture
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import FollowPlan, PlanSection
from liveaid.routine import SIDES, Side


def found(
    plan: FollowPlan, heard: GestureHeard, told: Guess, guesses: list[Guess], turn_s: float,
    numbers: Numbers,
) -> Iterator[Guess]:  # fmt: skip
    """Guesses that leave the order for a place that a deck's gesture fits."""
    for section in plan.sections[1:-1]:
        inside = [g for g in guesses if g.section == section.index and section.lead is None]
        if told.section == section.index and inside:
            continue
        for side in SIDES:
            gesture = heard.gestures[side]
            if gesture is None or not heard.telling[side]:
                continue
            at = _place(section, side, gesture, heard)
            if at is not None and (at[0] < 2.0 or not inside):
                yield _cheapest(plan, section, at, gesture, guesses, turn_s, heard, numbers)


def places(section: PlanSection, heard: GestureHeard) -> list[tuple[float, float]]:
    """Beats of a section, and how doubtful each is, that what is heard would fit."""
    found = (
        _place(section, side, gesture, heard)
        for side, gesture in heard.gestures.items()
        if gesture is not None and heard.telling[side]
    )
    return [place for place in found if place is not None]


def _place(
    section: PlanSection, side: Side, gesture: Gesture, heard: GestureHeard
) -> tuple[float, float] | None:
    """Beat and doubt at which a gesture fits a section; None where it doesn't."""
    part = section.parts[side]
    if side == section.lead:
        beat = section.read_beat(gesture.at_s)
        tells = gesture.kind == "runs" or (gesture.kind == "held" and heard.still_s > 0.0)
        inside = -0.5 <= beat < section.beats and tells
        return (max(beat, 0.0), 0.0) if inside else None
    if section.lead is not None or part.hand != "works":
        return None
    if not part.from_s - 0.1 <= gesture.from_s <= part.to_s:
        return None
    rate = heard.ratio / section.beat_s
    at_cue = abs((gesture.at_s if gesture.kind == "held" else gesture.from_s) - part.cue_s) < 0.15
    if gesture.kind == "held":
        return (0.0, 0.5) if at_cue else None
    if _stopped(heard) and at_cue:
        return (heard.now_s - heard.stopped_s) * rate, 0.3
    if gesture.news and at_cue:
        return min(gesture.age_s * rate, section.beats - 0.1), 0.3
    return 0.4 * section.beats, 0.3 * section.beats


def _cheapest(
    plan: FollowPlan, section: PlanSection, at: tuple[float, float], gesture: Gesture,
    guesses: list[Guess], turn_s: float, heard: GestureHeard, numbers: Numbers,
) -> Guess:  # fmt: skip
    """The guess at a place, come to from whichever guess makes it cheapest."""
    beat, doubt = at
    since_s = heard.now_s if gesture.kind == "held" else gesture.since_s
    score, base = max(
        (
            (
                _before(parent, heard, since_s, numbers)
                - price(plan, parent, section, beat, turn_s, numbers)
                * _discount(plan, parent, section, beat, gesture, heard, numbers)
                - (numbers.word if parent.stays and section.index != parent.section else 0.0),
                parent,
            )
            for parent in guesses
        ),
        key=lambda pair: pair[0],
    )
    past = _before(base, heard, since_s, numbers) - base.price
    guess = Guess(
        section.index, beat, since_s, score - past, past, doubt, ran=gesture.kind == "runs"
    )
    guess.late = gesture.kind == "held" and heard.still_s > 1.0
    if base.section < 0 and section.lead is None and not guess.late:
        guess.beat, guess.doubt = 0.4 * section.beats, 0.3 * section.beats
    return guess


def _before(guess: Guess, heard: GestureHeard, since_s: float, numbers: Numbers) -> float:
    """A guess's score as it was when a gesture began."""
    score = guess.price + guess.past
    for side, gesture in heard.gestures.items():
        if gesture is not None:
            age_s = since_s - max(gesture.since_s, guess.since_s)
            score += guess.votes[side].nats * likeness.weight(gesture, age_s, numbers)
    return score


def _stopped(heard: GestureHeard) -> bool:
    return heard.now_s - heard.stopped_s < 3.0


def _discount(
    plan: FollowPlan,
    parent: Guess,
    to: PlanSection,
    beat: float,
    gesture: Gesture,
    heard: GestureHeard,
    numbers: Numbers,
) -> float:
    """Part of the price where both decks changed place at once, or after a stop."""
    if not plan.is_piece(parent.section):
        return 1.0
    if _stopped(heard) and beat < 2.5:
        return numbers.after_stop
    if gesture.kind != "runs":
        return 1.0
    lead = plan.at(parent.section).lead
    if lead is None or to.lead is None or lead == to.lead or not gesture.news:
        return 1.0
    kind, ended_s = heard.ended.get(lead, ("", -1e9))
    together = kind == "runs" and abs(ended_s - gesture.since_s) < numbers.change_over_s
    return numbers.change_over if together else 1.0


def price(
    plan: FollowPlan, parent: Guess, to: PlanSection, beat: float, turn_s: float, numbers: Numbers
) -> float:
    """What it costs, in nats, to leave the order from a guess for a beat of a section."""
    here, there = parent.section, to.index
    if here < 0:
        midway = numbers.midway if to.lead is None and beat > 2.5 else 0.0
        return numbers.start if there == 0 and beat < 1.5 else numbers.start_middle + midway
    if here == plan.pieces:
        return numbers.start_middle if there == 0 else numbers.first
    section = plan.at(here)
    left = section.beats - parent.beat
    if there == here:
        if section.lead and not parent.ran and beat < 2.5:
            return numbers.late_start
        off_s = (beat - parent.beat) * section.beat_s
        turns = off_s / turn_s
        one_turn = abs(turns) > 0.5 and abs(turns - round(turns)) * turn_s < 0.3
        return (
            numbers.slip_turn
            if one_turn and to.lead
            else numbers.again
            if beat < 1.5
            else numbers.slip
        )
    if there == here + 1 and beat < 2.5:
        share = max(left, 0.0) / section.beats
        if parent.over:
            return 0.0
        ends = left < 1.5 + parent.doubt or (parent.again and parent.beat < 8.0)
        if ends:
            return numbers.next_late
        early = numbers.next_early + numbers.next_bars * share
        skipped = numbers.ahead + numbers.ahead_each * 2
        return min(early, skipped) if parent.beat < 2.5 else early
    if there == here - 1 and beat < 1.5 and parent.beat < 2.5:
        return numbers.again
    if there == 0 and beat < 1.5:
        return numbers.first
    midway = numbers.midway if to.lead is None and beat > 2.5 else 0.0
    ahead = numbers.ahead + numbers.ahead_each * (there - here)
    back = numbers.back + numbers.back_each * (here - there - 1)
    early = 0.0 if left < 1.5 else numbers.leaves
    return midway + early + (ahead if there > here else back)
