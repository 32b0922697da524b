"""Planned and heard assigned to each other: the cheapest way, and only then, by trying all."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.practice.match import match, match_by_habit

TIMES = st.lists(st.floats(0, 3).map(lambda x: round(x, 3)), max_size=5, unique=True).map(sorted)


def cost(planned, heard, pairs, window):
    alone = len(planned) + len(heard) - 2 * len(pairs)
    return sum(abs(planned[i] - heard[j]) for i, j in pairs) + alone * window / 2


def every_way(planned, heard, window):
    """All order-keeping pairings, by brute force: the outside check for the dynamic programme."""
    for size in range(min(len(planned), len(heard)) + 1):
        for left in itertools.combinations(range(len(planned)), size):
            for right in itertools.combinations(range(len(heard)), size):
                pairs = list(zip(left, right, strict=True))
                if all(abs(planned[i] - heard[j]) <= window for i, j in pairs):
                    yield pairs


@given(TIMES, TIMES, st.floats(0.05, 1.0))
def test_no_other_way_of_pairing_is_cheaper(planned, heard, window):
    found = match(planned, heard, window_s=window)
    best = min(cost(planned, heard, pairs, window) for pairs in every_way(planned, heard, window))
    assert cost(planned, heard, found.pairs, window) == pytest.approx(best)


@given(TIMES, TIMES, st.floats(0.05, 1.0))
def test_every_act_is_paired_missed_or_added_exactly_once(planned, heard, window):
    found = match(planned, heard, window_s=window)
    assert sorted([i for i, _ in found.pairs] + list(found.missed)) == list(range(len(planned)))
    assert sorted([j for _, j in found.pairs] + list(found.added)) == list(range(len(heard)))
    assert list(found.pairs) == sorted(found.pairs)


def test_a_left_out_act_is_missed_and_its_neighbours_stay():
    planned = [0.0, 0.5, 1.0, 1.5]
    found = match(planned, [0.03, 1.04, 1.49], window_s=0.3)
    assert found.pairs == ((0, 0), (2, 1), (3, 2))
    assert found.missed == (1,)


def test_an_act_too_many_is_added():
    assert match([0.0, 1.0], [0.01, 0.5, 1.02], window_s=0.3).added == (1,)


def test_a_steady_hand_that_leaves_one_out_and_adds_another_is_told_apart():
    planned = [float(k) for k in range(14)]
    heard = [k + 0.02 for k in range(14) if k != 4] + [4.21]
    assert match(planned, sorted(heard), window_s=0.3).missed == ()  # by the window alone: one late
    found = match_by_habit(planned, sorted(heard), window_s=0.3)
    assert (found.missed, found.added) == ((4,), (4,))


def test_a_hand_that_strays_by_ten_ms_did_not_mean_what_came_a_seventh_of_a_second_off():
    """Twenty acts half a second apart, 40 or 60 ms late by turns. The eighth is left out, and one
    comes 150 ms after it was due: six spreads of 14.8 ms about the habit are 89 ms, so .1 s."""
    planned = [0.5 * n for n in range(20)]
    heard = [at + (0.04 if n % 2 else 0.06) for n, at in enumerate(planned)]
    heard[7] = planned[7] + 0.2
    found = match_by_habit(planned, heard, window_s=0.25)
    assert (found.missed, found.added) == ((7,), (7,))


def test_no_window_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        match([0.0], [0.0], window_s=0.0)
