"""Every free number of the follower in one table, with what it was estimated from.

Nats are natural logarithms of likelihood ratios; a price is paid once for leaving the order.
`tests/bench/follower_numbers.py` estimates them again.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """Scores, prices and times."""

    # How a record looks.
    held_speed: float = 0.07
    run_off: float = 0.14
    run_for_s: float = 0.1
    same_line_s: float = 0.12
    same_gap_s: float = 0.45
    near_cue_s: float = 0.25
    # A deck that runs, in nats.
    place_s: float = 0.08
    place_stray: float = 0.03
    stray_s: float = 300.0
    caught: float = -3.5
    caught_at_end: float = -0.5
    stopped: float = -5.0
    stopped_after_s: float = 0.5
    waiting: float = -0.7
    late_after_s: float = 0.5
    late_each_s: float = -1.0
    nudged: float = -1.0
    pushed: float = -4.5
    # A deck that is worked.
    let_go: float = 0.6
    inside: float = 0.4
    span_s: float = 2.0
    at_cue: float = 0.6
    idle_after_s: float = 4.0
    idle_each_s: float = -0.5
    idle_least: float = -2.0
    in_hand: float = 0.5
    held_away: float = -5.0
    past_end: float = -2.0
    past_end_fall: float = -4.0
    outside: float = -8.0
    hand_away: float = -4.0
    # A deck that rests.
    left_on_beats: float = 6.0
    listens_s: float = 2.2
    listens_before_s: float = 1.2
    fall: float = -1.5
    least: float = -6.0
    starts: float = -1.0
    listens: float = 0.6
    listens_near_s: float = 0.25
    runs_away: float = -4.0
    gone_on: float = -1.0
    made_ready: float = 0.3
    not_ready: float = -1.0
    # How much a gesture weighs.
    full_s: float = 0.35
    news_full_s: float = 0.15
    more_each_s: float = 2.0
    most: float = 5.0
    most_held: float = 2.0
    fade_s: float = 5.0
    # Prices of leaving the order.
    start: float = 0.0
    start_middle: float = 3.0
    next_early: float = 5.0
    next_bars: float = 3.0
    next_late: float = 1.0
    again: float = 7.0
    slip_turn: float = 5.0
    slip: float = 7.0
    leaves: float = 2.0
    ahead: float = 6.0
    ahead_each: float = 0.3
    back: float = 6.5
    back_each: float = 0.4
    first: float = 8.0
    lost: float = 7.0
    lost_runs: float = -2.5
    lost_else: float = -0.8
    midway: float = 2.0
    stop: float = 6.0
    late_start: float = 1.0
    change_over: float = 0.5
    change_over_s: float = 0.2
    overtime: float = 1.0
    overtime_each: float = 3.0
    after_stop: float = 0.5
    stop_s: float = 4.0
    count_stands_s: float = 4.5
    # Looking for others.
    contradicted: float = -2.5
    contradicted_s: float = 0.05
    guesses: int = 8
    settled_s: float = 2.0
    renamed: float = 1.0
    sharpness: float = 1.0
    modest: float = 0.9
    floor: float = 0.002
    word: float = 20.0
    stays: float = -0.5
    twins: float = 2.0


USUAL = Numbers()
