"""Errors of many acts as figures, and what they say against the limits, worked out by hand.

A beat is half a second; the limits are a performer's: .025 beats on the whole, .04 spread, .1 each.
"""

from __future__ import annotations

import math

import pytest

from liveaid.practice.act_score import ActScore
from liveaid.practice.limits import Limits
from liveaid.practice.shift import Shift, hands_own_s, offs, says, shift_s, shifts, without_shift_s
from liveaid.practice.timing import KindScore, Timing, faults_of, judged_of, timing

about = pytest.approx


def act(ms, by="click", *, side="left", kind="release", outcome="heard"):
    return ActScore(kind=kind, side=side, beat=0.0, outcome=outcome, heard_s=ms / 1000.0, due_s=0.0,
                    by=by, beat_s=0.5)  # fmt: skip


def test_errors_are_told_by_their_mean_and_their_spread_about_it():
    """10 late and 30 early against the click: 10 early, 20 off that each way. 100 and 140 late
    against nothing are 20 off their own mean: sqrt((400 + 400 + 400 + 400) / 2) = 28.28."""
    spread = math.sqrt(800.0)
    assert timing([act(10), act(-30), act(100, None), act(140, None)]) == Timing(
        heard=4, bias_ms=about(-10.0), spread_ms=about(spread), bias_beats=about(-0.02),
        spread_beats=about(spread / 500), worst_beats=about(0.28),
    )  # fmt: skip
    assert timing([act(10), act(-30), act(0, outcome="missed")]) == Timing(
        heard=2, bias_ms=about(-10.0), spread_ms=about(spread), bias_beats=about(-0.02),
        spread_beats=about(spread / 500), worst_beats=about(0.06),
    )  # fmt: skip
    assert timing([act(10)]) == Timing(
        heard=1, bias_ms=about(10.0), spread_ms=None, bias_beats=about(0.02), spread_beats=None,
        worst_beats=about(0.02),
    )  # fmt: skip
    assert timing([]) == Timing(heard=0, bias_ms=None, spread_ms=None)


def test_each_kind_of_act_is_judged_by_itself():
    """A return's slack is half as much again: 60 ms, .12 beats, count as .08."""
    acts = [act(-40), act(10), act(10, None), act(60, kind="return"), act(5, None, kind="stop")]
    release, back = judged_of(acts, Limits(), None)
    assert release == KindScore(
        kind="release", acts=3, bias_beats=about(-0.03), spread_beats=about(0.1 / math.sqrt(2)),
        free=1, worst_beats=about(0.08),
    )  # fmt: skip
    assert back == KindScore(
        kind="return", acts=1, bias_beats=about(0.08), spread_beats=None, worst_beats=about(0.08)
    )
    # Against nothing two of a kind tell by how much they are apart, one tells nothing.
    (two,) = judged_of([act(0, None), act(-20, None)], Limits(), None)
    assert two == KindScore(
        kind="release", acts=2, bias_beats=None, spread_beats=about(0.04 / math.sqrt(2)), free=1,
        worst_beats=about(0.04),
    )  # fmt: skip
    (missed,) = judged_of([act(0, outcome="missed")], Limits(), None)
    assert missed == KindScore(
        kind="release", acts=0, bias_beats=None, spread_beats=None, worst_beats=0.0
    )


@pytest.mark.parametrize(
    ("ms", "beats"),
    [
        # Early against the click no delay can make: beyond .1 of a beat, 50 ms, it tells.
        (-51, [-0.102]), (-50, []), (-49, []), (51, []), (250, []),
        # Later than a quarter of a second no sender is: 300 ms are 50 of the hands' own.
        (300, []), (301, [0.102]),
    ],
)  # fmt: skip
def test_of_a_delay_that_is_not_known_the_rest_tells(ms, beats):
    found = list(judged_of([act(ms)], Limits(), []))
    assert [one.bias_beats for one in found] == about(beats)


def judged(acts=4, bias=None, spread=None, worst=0.0, free=3, kind="release"):
    return KindScore(kind=kind, acts=acts, bias_beats=bias, spread_beats=spread, free=free,
                     worst_beats=worst)  # fmt: skip


def test_what_is_beyond_the_limits_in_words():
    """Just at a limit is within it."""
    limits, more = Limits(), 1.0001
    mean, spread = limits.bias_of(4, 0.03), limits.spread_of(3)
    for one, says_ in (
        (judged(bias=mean, spread=0.03), []), (judged(bias=-mean, spread=0.03), []),
        (judged(bias=mean * more, spread=0.03), ["releases late"]),
        (judged(bias=-mean * more, spread=0.03, worst=0.2), ["releases early"]),
        (judged(acts=1, bias=0.2, free=0), ["release late"]),
        (judged(bias=0.0, worst=0.1), []),
        (judged(bias=0.0, worst=0.1001), ["one release far off"]),
        (judged(worst=0.2, kind="stop"), ["one stop far off"]),
        (judged(spread=spread), []), (judged(spread=spread * more), ["releases uneven"]),
        (judged(bias=0.2, spread=0.5, kind="pull"), ["pulls late", "pulls uneven"]),
    ):  # fmt: skip
        assert list(faults_of(one, limits)) == says_, one


def shifted(ms, *, side="left", by="click", more=()):
    return shifts(offs([*[act(each, by, side=side) for each in ms], *more]))


def named(deck, against, late_ms, acts, *, told):
    return Shift(deck=deck, against=against, late_ms=about(late_ms), acts=acts, named=told)


def test_what_a_deck_is_late_by_on_the_whole_is_the_middle_of_its_errors():
    """Four acts at least. It is worth a word beyond 8 ms, and beyond three standard errors of a
    median: 10 to 40 spread by 1.4826 x 10 about 25, over sqrt(4) and times 1.253 that is 9.3."""
    assert shifted([20, 20, 20]) == ()
    assert shifted([8, 8, 8, 8]) == (named("left", "click", 8.0, 4, told=False),)
    assert shifted([8.1] * 4) == (named("left", "click", 8.1, 4, told=True),)
    assert shifted([10, 20, 30, 40]) == (named("left", "click", 25.0, 4, told=False),)
    assert shifted([13, 23, 33, 43]) == (named("left", "click", 28.0, 4, told=True),)
    # Against the click none is early by a delay; against a deck either may be, by .25 s at most.
    assert shifted([-20] * 4) == (named("left", "click", 0.0, 4, told=False),)
    assert shifted([400] * 4) == (named("left", "click", 250.0, 4, told=True),)
    assert shifted([-20] * 4, by="right") == (named("left", "right", -20.0, 4, told=True),)
    assert shifted([-400] * 4, by="right") == (named("left", "right", -250.0, 4, told=True),)
    # Right's acts against left's count are the same pair the other way round; its own tell nothing.
    more = [act(-30, "left", side="right"), act(9, "left"), act(9, None), act(0, outcome="missed")]
    assert shifted([20, 24, 28], by="right", more=more) == (
        named("left", "right", 26.0, 4, told=True),
    )


def test_a_shift_is_left_out_of_an_error():
    found = shifted([20] * 4, by="right")
    assert [shift_s(found, *pair) for pair in (
        ("left", "right"), ("right", "left"), ("left", "left"), ("left", None), ("left", "click"),
    )] == [about(0.02), about(-0.02), 0.0, 0.0, None]  # fmt: skip
    assert without_shift_s(act(50, "right"), found) == about(0.03)
    assert without_shift_s(act(50, "right"), None) == about(0.05)
    assert without_shift_s(act(50, "click"), found) is None
    assert without_shift_s(act(50, "right", outcome="missed"), found) is None
    own = [hands_own_s("right", "left", s) for s in (0.3, 0.2, -0.3)]
    assert own == [about(0.05), about(0.0), about(-0.05)]
    assert [hands_own_s("left", "click", s) for s in (0.3, -0.1)] == [about(0.05), about(-0.1)]


def test_a_shift_in_words():
    late, early = shifted([20] * 4), shifted([-30] * 5, by="right")
    assert says([*late, *early]) == (
        "All through, the left deck is 20 ms late against the click and the left deck is 30 ms"
        " early against the right deck: a delay on the way or a habit of the hands. Not held"
        " against the take; `liveaid rehearse --calibrate` tells which."
    )
    assert says(shifted([5] * 4)) == says(()) == ""
