"""Where each record was at any moment of a take, and how far the mixer let it through, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.take_places import let_through, places_at
from liveaid.practice.trace import DeckTrace

NONE = np.zeros(0)


def through(side, *told, at_s, hamster=False):
    mixer = [FaderHeard(*one) for one in told]
    return let_through(mixer, side, np.array(at_s), hamster=hamster).tolist()


@pytest.mark.parametrize(
    ("place", "left", "right"),
    [
        # Shut for the first three hundredths, then open over a tenth of its way.
        (0.0, 1.0, 0.0), (0.03, 1.0, 0.0), (0.08, 1.0, 0.5), (0.13, 1.0, 1.0), (0.5, 1.0, 1.0),
        (0.92, 0.5, 1.0), (0.97, 0.0, 1.0), (1.0, 0.0, 1.0),
    ],
)  # fmt: skip
def test_how_far_a_crossfader_lets_each_deck_through(place, left, right):
    told = (1.0, "crossfader", place)
    assert through("left", told, at_s=[0.5, 2.0]) == pytest.approx([left, left])
    assert through("right", told, at_s=[0.5, 2.0]) == pytest.approx([right, right])
    assert through("left", told, at_s=[2.0], hamster=True) == pytest.approx([right])
    assert through("right", told, at_s=[2.0], hamster=True) == pytest.approx([left])


def test_a_deck_is_as_loud_as_its_own_level_behind_the_crossfader():
    assert through("left", at_s=[0.0, 9.0]) == [1.0, 1.0]
    assert through("left", (1.0, "left", 0.6), at_s=[0.0, 9.0]) == pytest.approx([0.6, 0.6])
    assert through("right", (1.0, "left", 0.6), at_s=[0.0]) == [1.0]
    half = (1.0, "crossfader", 0.08)
    assert through("right", half, (1.0, "right", 0.6), at_s=[2.0]) == pytest.approx([0.3])


def test_between_messages_close_together_a_fader_moved_and_else_it_stood():
    """A twentieth of a second: 40 ms apart it went evenly, 60 ms apart it jumped as told."""
    close = [(1.0, "left", 0.0), (1.04, "left", 0.8)]
    assert through("left", *close, at_s=[0.9, 1.01, 1.02, 1.03, 2.0]) == pytest.approx(
        [0.0, 0.2, 0.4, 0.6, 0.8]
    )
    apart = [(1.0, "left", 0.0), (1.06, "left", 0.8), (1.08, "left", 0.4)]
    assert through("left", *apart, at_s=[1.03, 1.057, 1.059, 1.06, 1.07]) == pytest.approx(
        [0.0, 0.0, 0.4, 0.8, 0.6]
    )


def placed(t, x, at_s):
    deck = DeckTrace(np.asarray(t, float), np.asarray(x, float))
    return places_at(deck, np.asarray(at_s, float), pitch_range_percent=8.0)


def test_a_deck_that_told_little_stands_or_goes_straight():
    assert placed(NONE, NONE, [0.0, 1.0]).tolist() == [0.0, 0.0]
    assert placed([1.0], [5.0], [0.0, 2.0]).tolist() == [5.0, 5.0]
    assert placed([1.0, 2.0], [5.0, 6.0], [0.0, 1.5, 9.0]).tolist() == [5.0, 5.5, 6.0]


def test_a_running_record_lies_on_its_line_and_a_moved_one_on_a_smooth_way():
    """Messages 1.5 ms late by chance. A running record is told to .2 ms, a hand's way, a sine of
    .2 s to and fro, to 3 ms; each on its own side of a needle set elsewhere."""
    rng = np.random.default_rng(6)
    t = np.arange(0.0, 6.0, 0.01)
    late = t + 0.0015 * rng.standard_normal(len(t))

    def true(at):
        hand = 3.0 + 0.2 * np.sin(2 * np.pi * 1.5 * (at - 2.0))
        return np.where(at < 2.0, 1.0 + at, np.where(at < 4.0, hand, 40.0 + at))

    at_s = np.arange(0.2, 5.8, 0.0037)
    off = np.abs(placed(np.sort(late), true(t), at_s) - true(at_s))
    runs = (at_s < 1.9) | (at_s > 4.1)
    hand = (at_s > 2.1) & (at_s < 3.9)
    assert off[runs].max() < 4e-4
    assert off[hand].max() < 5e-3
    assert np.sqrt(np.mean(off[hand] ** 2)) < 2e-3
