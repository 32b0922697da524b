"""Readiness that does not come by looking often enough, and that ages."""

import math

import numpy as np
import pytest

from liveaid.practice.ready import AGES_DAYS, ENOUGH, Attempted, clean_needed, evidence, odds

DAY_S = 86400.0
NOW = 1_800_000_000.0


def made(cleans, *, days_ago=0.0):
    return [Attempted(NOW - days_ago * DAY_S, clean) for clean in cleans]


def test_odds_by_hand():
    """All of k clean at level 0.5: ((1 - 0.5^(k+1)) / (k+1)) / 0.5 / 0.5^k; k = 1: 1.5."""
    assert odds(1, 0, 0.5) == pytest.approx(1.5)
    assert odds(3, 0, 0.5) == pytest.approx((1 - 1 / 16) / 4 / 0.5 / (1 / 8))
    # One failed: integral of 1 - p over 0.5..1 is 1/8, over 0.5, over 0.5: a half.
    assert odds(0, 1, 0.5) == pytest.approx(0.5)


@pytest.mark.parametrize("per_day", [10, 150])
def test_a_true_60_percent_is_called_ready_in_at_most_5_of_100(per_day):
    """Looked at after every take for 150 takes; Ville 1939: at most 1 in 20, for ever."""
    rng, ready = np.random.default_rng(7), 0
    for _ in range(150):
        takes = []
        for k, clean in enumerate(rng.random(150) < 0.6):
            at = NOW + (k // per_day) * DAY_S + k
            takes.append(Attempted(at, bool(clean)))
            if evidence(takes, 0.6, now=at) >= ENOUGH:
                ready += 1
                break
    # 150 at 5 %: 7.5, and two standard deviations (2.7 each) more by chance.
    assert ready <= 13


def test_who_is_clean_nearly_always_is_ready_in_reach():
    assert evidence(made([True] * 10), 0.6, now=NOW) < ENOUGH
    assert evidence(made([True] * 11), 0.6, now=NOW) > ENOUGH
    assert clean_needed(made([True] * 7), 0.6, now=NOW) == 4


def test_bad_first_weeks_are_not_dragged_along():
    early = [take for day in range(14, 0, -1) for take in made([False] * 8, days_ago=day)]
    assert clean_needed(early, 0.6, now=NOW) < 24


def test_readiness_ages():
    takes = made([True] * 15, days_ago=3)
    assert evidence(takes, 0.6, now=NOW) > ENOUGH
    assert evidence(takes, 0.6, now=NOW + (AGES_DAYS - 2) * DAY_S) == 0.0


def test_failed_takes_take_it_away_again():
    takes = made([True] * 12)
    assert evidence(takes, 0.6, now=NOW) > ENOUGH
    assert evidence(takes + made([False] * 4), 0.6, now=NOW) < ENOUGH
    assert math.isfinite(evidence(made([True] * 5000), 0.6, now=NOW))
