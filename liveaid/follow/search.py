"""Where else the performer may be: places that what is heard would fit, and what each costs."""

from __future__ import annotations

import math
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
    """Guesses that leave the order for a place that a deck's gesture fits.

    Past its beginning no gesture tells the beat of a count by the clock: one is come to again
    only where that is likelier than any guess that is there.
    """
    for section in plan.sections[1:-1]:
        inside = [g for g in guesses if g.section == section.index and section.lead is None]
        if told.section == section.index and inside:
            continue
        for side in SIDES:
            gesture = heard.gestures[side]
            if gesture is None or not heard.telling[side]:
                continue
            at = _place(section, side, gesture, heard, numbers)
            if at is None:
                continue
            guess = _cheapest(plan, section, at, gesture, guesses, turn_s, heard, numbers)
            likelier = (
                _before(other, heard, guess.since_s, numbers) >= guess.score for other in inside
            )
            if guess.beat < numbers.first_beats or not any(likelier):
                yield guess


def places(
    section: PlanSection, heard: GestureHeard, numbers: Numbers
) -> list[tuple[float, float]]:
    """Beats of a section, and how doubtful each is, that what is heard would fit."""
    found = (
        _place(section, side, gesture, heard, numbers)
        for side, gesture in heard.gestures.items()
        if gesture is not None and heard.telling[side]
    )
    return [place for place in found if place is not None]


def _place(
    section: PlanSection, side: Side, gesture: Gesture, heard: GestureHeard, numbers: Numbers
) -> tuple[float, float] | None:
    """Beat and doubt at which a gesture fits a section; None where it doesn't."""
    part = section.parts[side]
    if side == section.lead:
        beat = section.read_beat(gesture.at_s)
        tells = gesture.kind == "runs" or (gesture.kind == "held" and heard.still_s > 0.0)
        inside = -numbers.draw_beats <= beat < section.beats and tells
        return (max(beat, 0.0), 0.0) if inside else None
    if section.lead is not None or part.hand != "works":
        return None
    if not part.from_s - numbers.from_cue_s <= gesture.from_s <= part.to_s:
        return None
    rate = heard.ratio / section.beat_s
    where_s = gesture.at_s if gesture.kind == "held" else gesture.from_s
    at_cue = abs(where_s - part.cue_s) < numbers.from_cue_s
    if gesture.kind == "held":
        return (0.0, numbers.held_doubt) if at_cue else None
    if _stopped(heard, numbers) and at_cue:
        return (heard.now_s - heard.stopped_s) * rate, numbers.release_doubt
    if gesture.news and at_cue:
        return min(gesture.age_s * rate, section.beats - 0.1), numbers.release_doubt
    return numbers.midway_at * section.beats, numbers.midway_doubt * section.beats


def _cheapest(
    plan: FollowPlan, section: PlanSection, at: tuple[float, float], gesture: Gesture,
    guesses: list[Guess], turn_s: float, heard: GestureHeard, numbers: Numbers,
) -> Guess:  # fmt: skip
    """The guess at a place, come to from whichever guess makes it cheapest."""
    begun_s = heard.now_s if gesture.kind == "held" else gesture.since_s
    if gesture.kind == "runs":
        # A record that ran into the passage came to it when it passed its first beat.
        begun_s = max(begun_s, heard.now_s - at[0] * section.beat_s / max(gesture.speed, 0.1))
    late = gesture.kind == "held" and heard.still_s > numbers.still_s
    stopped = late or _stopped(heard, numbers)
    ways = []
    for parent in guesses:
        beat, doubt, since_s, left_s = _come_to(plan, parent, section, at, begun_s, heard, numbers)
        score = _before(parent, heard, since_s, numbers)
        score -= price(plan, parent, section, beat, turn_s, numbers, stopped=stopped)
        score -= numbers.word if parent.stays and section.index != parent.section else 0.0
        if parent.over and left_s < parent.since_s + numbers.entered_s:
            # It left at the end: it did not go on beyond it first.
            beats_over = parent.beat - plan.at(parent.section).beats
            score += numbers.overtime + numbers.overtime_each * beats_over
        ways.append((score, parent, beat, doubt, since_s))
    score, base, beat, doubt, since_s = max(ways, key=lambda way: way[0])
    since_s = max(since_s, base.since_s)
    past = _before(base, heard, since_s, numbers) - base.price
    if base.section < 0 and section.lead is None and not late:
        beat, doubt = numbers.midway_at * section.beats, numbers.midway_doubt * section.beats
    guess = base.leap(section.index, beat, since_s, price=score - past, past=past, doubt=doubt)
    guess.ran, guess.late = gesture.kind == "runs", late
    return guess


def _come_to(
    plan: FollowPlan, parent: Guess, section: PlanSection, at: tuple[float, float],
    begun_s: float, heard: GestureHeard, numbers: Numbers,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Beat, doubt and since when a place is come to from a guess, and when that was left.

    Who left a set piece at its end begins a later one, counted by the clock, there and then.
    """
    (beat, doubt), left_s = at, begun_s
    midway = section.lead is None and beat > numbers.first_beats
    if midway and 0 <= parent.section < section.index:
        left = plan.at(parent.section)
        over_s = (parent.beat - left.beats) * left.beat_s / heard.ratio
        if parent.beat > left.beats - numbers.last_beats:
            over_s = max(over_s, 0.0)
            beat, doubt = over_s * heard.ratio / section.beat_s, numbers.release_doubt
            left_s = heard.now_s - over_s
            begun_s = max(begun_s, left_s)
    return beat, doubt, begun_s, left_s


def _before(guess: Guess, heard: GestureHeard, since_s: float, numbers: Numbers) -> float:
    """A guess's score as it was when a gesture began, or it was itself come to.

    What that gesture had told by then is in its past.
    """
    score, since_s = guess.price + guess.past, max(since_s, guess.since_s)
    for side, gesture in heard.gestures.items():
        if gesture is not None:
            age_s = gesture.told_s(guess.since_s, since_s)
            score += guess.votes[side].nats * likeness.weight(gesture, age_s, numbers)
    return score


def _stopped(heard: GestureHeard, numbers: Numbers) -> bool:
    return heard.now_s - heard.stopped_s < numbers.stop_heard_s


def price(
    plan: FollowPlan, parent: Guess, to: PlanSection, beat: float, turn_s: float, numbers: Numbers,
    *, stopped: bool = False,
) -> float:  # fmt: skip
    """What it costs, in nats, to leave the order from a guess for a beat of a section.

    `stopped`: both wait, or have just stopped, which is worth to beginning anew what it costs to
    count on.
    """
    here, there = parent.section, to.index
    anew = numbers.stop if stopped else 0.0
    if here < 0:
        midway = numbers.midway if to.lead is None and beat > numbers.first_beats else 0.0
        if there == 0 and beat < numbers.last_beats:
            return numbers.start
        if parent.lost_at < 0:
            return numbers.start_middle + midway + math.log(plan.pieces)
        on = there - parent.lost_at
        # What waits at a first beat begins anew; what goes on may have gone on to the next.
        far = abs(on) if beat < numbers.draw_beats else max(on - 1, -on)
        return numbers.back_in + midway + numbers.farther * math.log1p(far)
    if here == plan.pieces:
        return numbers.back_in if there == 0 else numbers.first
    section = plan.at(here)
    left = section.beats - parent.beat
    if there == here:
        begins = parent.beat < numbers.late_to_beats and beat < numbers.first_beats
        if section.lead and not parent.ran and begins:
            return numbers.late_start
        begins_anew = max(numbers.again - anew, 0.0)
        otherwise = begins_anew if beat < numbers.last_beats else numbers.slip
        turns = (beat - parent.beat) * section.beat_s / turn_s
        whole = round(turns)
        if to.lead and whole and abs(turns - whole) * turn_s < numbers.edge_s:
            slips = numbers.slip_turn + numbers.farther * math.log(abs(whole))
            return min(slips, otherwise)
        return otherwise
    if there == here + 1 and beat < numbers.first_beats:
        if parent.over:
            return 0.0
        early = numbers.next_early + numbers.next_bars * max(left, 0.0) / section.beats
        off = (left + beat) / (numbers.next_off_beats + parent.doubt)
        early = min(early, numbers.next_late * off * off)
        return min(early, numbers.ahead) if parent.beat < numbers.first_beats else early
    if there == here - 1 and beat < numbers.last_beats and parent.beat < numbers.first_beats:
        return numbers.again
    if there == 0 and beat < numbers.last_beats:
        return max(numbers.first - anew, 0.0)
    midway = numbers.midway if to.lead is None and beat > numbers.first_beats else 0.0
    early = 0.0 if left < numbers.last_beats else numbers.leaves
    far = max(there - here - 1, here - there, 1)
    way = numbers.ahead if there > here else numbers.back
    return midway + early + way + numbers.farther * math.log(far)
