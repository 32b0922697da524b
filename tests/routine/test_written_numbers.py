"""Numbers, bars and beats as a performer writes them and reads them back; arithmetic by hand."""

from __future__ import annotations

import pytest

from liveaid.routine.written_numbers import (
    LineError,
    bar_said,
    bars_said,
    evened,
    number,
    number_text,
    place_said,
    so_many,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2", 2.0), ("1.5", 1.5), ("3/2", 1.5), ("1 1/2", 1.5), (" 2. ", 2.0), ("+3", 3.0),
        ("-1 1/2", -1.5), ("- 1/2", -0.5), ("-2", -2.0), ("10/4", 2.5), ("4000", 4000.0),
    ],
)  # fmt: skip
def test_a_number_is_read_as_decimal_or_fraction(text: str, value: float):
    assert number(text, least=-4.0) == value


@pytest.mark.parametrize(
    ("text", "found", "would_do"),
    [
        ("4000.5", "4000.5", "a number from 0 to 4000 would do"),
        ("-1", "-1", "a number from 0 to 4000 would do"),
        ("1/0", "1/0", "a number such as 2, 1.5 or 1/2 would do"),
        ("two", "two", "a number such as 2, 1.5 or 1/2 would do"),
        ("", "nothing", "a number such as 2, 1.5 or 1/2 would do"),
    ],
)
def test_what_is_no_number_is_told(text: str, found: str, would_do: str):
    with pytest.raises(LineError) as error:
        number(text)
    assert (error.value.found, error.value.would_do) == (found, would_do)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (2.0, "2"), (0.5, "1/2"), (2.5, "2 1/2"), (1 / 3, "1/3"), (1 / 32, "1/32"),
        # 1/33 is no share of a beat: no metre has so many.
        (1 / 33, "0.0303030303"), (0.333, "0.333"), (0.3334, "0.3334"), (1.2345, "1.2345"),
    ],
)  # fmt: skip
def test_a_number_is_written_as_a_fraction_of_small_shares(value: float, text: str):
    assert number_text(value) == text


def test_what_is_a_fraction_but_for_rounding_is_that_fraction():
    assert evened(0.33333333333) == 1 / 3
    assert (evened(1.99999999999), evened(2.00000000001)) == (2, 2)
    assert isinstance(evened(2.00000000001), int)
    # Off by more than a thousand millionth it stays itself, to either side of the fraction.
    assert (evened(0.3333), evened(0.3334)) == (0.3333, 0.3334)
    assert (evened(1.9999), evened(2.0001)) == (1.9999, 2.0001)
    assert (evened(1 / 33), evened(1 / 32)) == (1 / 33, 1 / 32)


@pytest.mark.parametrize(
    ("bars", "said"), [(0.5, "1/2 bar"), (1, "1 bar"), (1.5, "1 1/2 bars"), (2, "2 bars")]
)
def test_bars_in_words(bars: float, said: str):
    assert bars_said(bars) == said


def test_things_are_many_unless_there_is_one():
    assert [so_many(n, "take") for n in (0, 1, 2)] == ["0 takes", "1 take", "2 takes"]


def test_bars_are_counted_from_one_and_what_comes_before_is_the_pick_up():
    assert [bar_said(bar) for bar in (-1, 0, 3)] == ["pick-up", "bar 1", "bar 4"]


@pytest.mark.parametrize(
    ("beat", "metre", "said"),
    [
        (0.0, 4, "bar 1 beat 1"),
        (3.5, 4, "bar 1 beat 4.5"),
        (4.0, 4, "bar 2 beat 1"),
        (8.25, 3, "bar 3 beat 3.25"),
        (-1.5, 4, "pick-up beat -1 1/2"),
        (-0.25, 4, "pick-up beat -1/4"),
    ],
)
def test_a_beat_is_counted_in_its_bar(beat: float, metre: int, said: str):
    assert place_said(beat, metre) == said
