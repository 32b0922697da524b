"""The order of passages along a deck, against every order tried one by one."""

from itertools import pairwise, permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.routine.layout.winding import Wind, best_order


def walked(order, widths, winds):
    """Frames wound, by walking: each slot laid out, each change measured along the record."""
    begin, at = {}, 0
    for passage in order:
        begin[passage] = at
        at += widths[passage]
    return sum(abs((begin[w.go_to] + w.cue_at) - (begin[w.come_from] + w.left_at)) for w in winds)


def least(widths, winds):
    return min(walked(order, widths, winds) for order in permutations(range(len(widths))))


@st.composite
def decks(draw, most=7):
    widths = draw(st.lists(st.integers(2, 40), min_size=1, max_size=most))
    index = st.integers(0, len(widths) - 1)
    stops = draw(st.lists(index, min_size=1, max_size=12))
    winds = []
    for a, b in pairwise(stops):
        left = draw(st.integers(0, widths[a] - 1))
        cue = draw(st.sampled_from([0, 0, 0, min(3, widths[b] - 1)]))
        winds.append(Wind(a, left, b, cue))
    return widths, winds


@settings(max_examples=60)
@given(decks())
def test_no_order_winds_less_than_the_one_found(deck):
    widths, winds = deck
    found = best_order(widths, winds)
    assert found.exact
    assert sorted(found.order) == list(range(len(widths)))
    assert found.wound == walked(found.order, widths, winds) == least(widths, winds)


@settings(max_examples=40)
@given(decks(most=6))
def test_beyond_the_exact_limit_the_bound_holds_and_the_search_starts_from_the_order_of_play(deck):
    widths, winds = deck
    found = best_order(widths, winds, exact_limit=0)
    assert not found.exact
    assert found.bound <= least(widths, winds) <= found.wound
    assert found.wound <= walked(range(len(widths)), widths, winds)


def test_two_passages_played_in_turn_lie_next_to_each_other():
    # Worked by hand: from the end of 0 (at 8 of 10) to the begin of 1 is 2; back from 1's begin
    # to 0's begin is 10. A third passage between them would add its 50 to both.
    winds = [Wind(0, 8, 1), Wind(1, 0, 0)]
    found = best_order([10, 10, 50], winds)
    assert found.wound == 12
    assert abs(found.order.index(0) - found.order.index(1)) == 1


def test_sixteen_passages_are_weighed_exactly():
    widths = [7] * 16
    winds = [Wind(i, 5, i + 1) for i in range(15)]
    found = best_order(widths, winds)
    assert found.exact
    assert found.wound == 15 * 2  # each change: the 2 frames left of its slot


def test_a_deck_with_nothing_on_it_winds_nothing():
    assert best_order([], []).wound == 0
