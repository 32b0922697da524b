"""How well one deck's gesture fits a place, in nats.

Zero is what an unremarkable gesture earns; a release from the cue earns most. The figures are
differences of log likelihoods: only what one place earns above another counts.
"""

from __future__ import annotations

import math

from liveaid.follow.gesture import Gesture
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import DeckPart

ROOT = math.sqrt(2.0 * math.pi)


def normal(off: float, width: float) -> float:
    """The normal density."""
    z = off / width
    return math.exp(-0.5 * z * z) / (width * ROOT) if abs(z) < 30.0 else 0.0


def runs(
    part: DeckPart, gesture: Gesture, off_s: float, ran: bool, ending: bool, late_s: float,
    numbers: Numbers,
) -> float:  # fmt: skip
    """A deck that is to run. `off_s` is how far the record is from where the beat says.

    `late_s`: how long it has waited while the other deck was moved.
    """
    if gesture.kind == "runs":
        on_place = (1.0 - numbers.place_stray) * normal(off_s, numbers.place_s)
        return math.log(on_place + numbers.place_stray / numbers.stray_s)
    near = abs(off_s) < 2.0 * numbers.near_cue_s
    brief = near and gesture.age_s < numbers.stopped_after_s
    if gesture.kind == "held":
        if not ran and abs(gesture.at_s - part.cue_s) < numbers.near_cue_s:
            late = numbers.late_each_s * max(late_s - numbers.late_after_s, 0.0)
            return max(numbers.waiting + late, numbers.stopped)
        if ending:
            return numbers.caught_at_end
        if at_another_cue(part, gesture.at_s, numbers):
            return numbers.outside
        return numbers.caught if brief else numbers.stopped
    return numbers.nudged if brief else numbers.pushed


def works(
    part: DeckPart, gesture: Gesture, alone_s: float, beat: float, left: float, numbers: Numbers
) -> float:
    """A deck that a hand is to work, `alone_s` while the other deck was moved, and its beats."""
    at_s, leaving = gesture.at_s, left < min(numbers.leaving_beats, beat)
    beyond_s = max(part.from_s - at_s, at_s - part.to_s, 0.0)
    if gesture.kind == "runs":
        if beyond_s > numbers.edge_s:
            past = at_s > part.to_s and gesture.from_s <= part.to_s
            fall = numbers.past_end + numbers.past_end_fall * (beyond_s - numbers.edge_s)
            return max(fall, numbers.outside) if past else numbers.outside
        from_cue = numbers.let_go * normal(gesture.from_s - part.cue_s, numbers.place_s)
        kept_s = at_s - max(gesture.from_s, part.from_s) - numbers.juggle_run_s
        kept = numbers.kept_each_s * max(kept_s, 0.0) if part.juggled else 0.0
        return math.log(from_cue + numbers.inside / numbers.span_s) + kept
    if gesture.kind == "held":
        idle = numbers.idle_each_s * max(alone_s - numbers.idle_after_s, 0.0)
        idle = max(idle, numbers.idle_least)
        if abs(at_s - part.cue_s) < numbers.near_cue_s:
            return numbers.at_cue + idle
        if beyond_s < numbers.edge_s:
            return idle
        if near_next(part, at_s, numbers) and (leaving or beat > numbers.leaving_beats):
            return 0.0 if leaving else numbers.gone_on
        return numbers.outside if at_another_cue(part, at_s, numbers) else numbers.held_away
    if beyond_s < numbers.edge_s:
        return numbers.in_hand
    low, high = sorted((at_s, gesture.from_s))
    reach_s = numbers.hand_reach_s
    begun_there = low < part.to_s + reach_s and high > part.from_s - reach_s
    on_way = leaving or (begun_there and beyond_s < numbers.hand_far_s)
    return 0.0 if on_way and gesture.age_s < numbers.hand_lasts_s else numbers.hand_away


def rests(
    part: DeckPart, gesture: Gesture, entered_s: float, beats_in: float, numbers: Numbers
) -> float:
    """A deck that rests: running on from before, being wound, listened to at its next cue."""
    if gesture.kind != "runs":
        if near_next(part, gesture.at_s, numbers):
            return numbers.made_ready
        if math.isfinite(beats_in):
            stood = gesture.since_s < entered_s - numbers.entered_s and gesture.kind == "held"
            return 0.0 if stood and beats_in < numbers.left_on_beats else -numbers.made_ready
        return numbers.not_ready if math.isnan(part.left_to_s) else 0.0  # over: it stands anywhere
    if gesture.since_s < entered_s - numbers.entered_s:
        over = (beats_in - numbers.left_on_beats) * numbers.left_on_beat_s
        return max(numbers.fall * max(over, 0.0), numbers.left_on_least)
    early_s = part.next_cue_s - gesture.from_s
    likely = math.exp(numbers.runs_away)
    if math.isfinite(early_s):
        likely += numbers.listens * normal(early_s, numbers.listens_near_s)
        likely += numbers.plays_up if 0.0 < early_s < numbers.plays_up_s else 0.0
    begun = math.log(likely)
    if math.isfinite(beats_in):
        over = gesture.age_s - numbers.listens_s
    else:
        over, begun = gesture.age_s - numbers.listens_before_s, begun + numbers.starts
    return max(begun + numbers.fall * max(over, 0.0), numbers.least)


def at_another_cue(part: DeckPart, at_s: float, numbers: Numbers) -> bool:
    """Whether a record stands at a cue of another set piece: no lifted needle gets there."""
    return any(
        abs(at_s - cue_s) < numbers.near_cue_s and abs(cue_s - part.cue_s) > numbers.edge_s
        for cue_s in part.cues_s
    )


def near_next(part: DeckPart, at_s: float, numbers: Numbers) -> bool:
    """Whether a record is by its next cue; False where there is none."""
    return abs(at_s - part.next_cue_s) < 2.0 * numbers.near_cue_s


def weight(gesture: Gesture, age_s: float, numbers: Numbers) -> float:
    """How much a gesture counts that has gone on so long: 1 soon, slowly more."""
    if age_s <= 0.0:
        return 0.0
    full_s = numbers.news_full_s if gesture.news else numbers.full_s
    if age_s < full_s:
        return age_s / full_s
    most = numbers.most if gesture.kind == "runs" else numbers.most_held
    return min(1.0 + (age_s - full_s) / numbers.more_each_s, most)
