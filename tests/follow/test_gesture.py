"""When a gesture begins, goes on and is taken up again: a deck that says just what it is told to.

The numbers stand here, so that another estimate of them changes nothing.
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from liveaid.follow.gesture import Gesture, Watch
from liveaid.follow.numbers import Numbers

N = Numbers(
    held_speed=0.0625, held_for_s=0.03125, held_moved_s=0.0625, run_off=0.125, run_for_s=0.125,
    slack_most=0.25, hand_for_s=0.0625, unclear_error=0.25, unclear_s=0.25, let_go_most_s=0.25,
    same_line_s=0.125, same_gap_s=0.5,
)  # fmt: skip
"""All exact in binary, so that a bound can be met exactly."""


def deck(speed=1.0, *, error=0.0, span_s=1.0, at_s=30.0, lines=0, began=(9.0, 29.0), jumped=False):
    found = None if speed is None else (speed, error)
    return SimpleNamespace(
        position_s=at_s, place=lambda now: at_s + 0.5, speed=lambda now: found, lines=lines,
        line=SimpleNamespace(span_s=span_s), line_began=began, jumped=jumped,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("speed", "error", "span_s", "kind"),
    [
        (None, 0.0, 1.0, None),
        # Held is slower than a sixteenth, told by more than a thirty-second of a second.
        (0.06, 0.0, 0.04, "held"), (-0.06, 0.0, 0.04, "held"), (0.0625, 0.0, 1.0, "hand"),
        (0.0, 0.0, 0.03125, None), (0.0, 0.0, 0.0624, "held"),
        # It runs within an eighth of its own speed, 1.5, and the speed's error, a quarter at most.
        (1.6, 0.0, 0.125, "runs"), (1.6, 0.0, 0.124, None), (1.625, 0.0, 1.0, "hand"),
        (1.4, 0.0, 1.0, "runs"), (1.375, 0.0, 1.0, "hand"), (1.7, 0.1, 1.0, "runs"),
        (1.87, 0.3, 1.0, "runs"), (1.875, 0.3, 1.0, "hand"),
        # A hand is told by a sixteenth of a second, where its speed is unclear by a quarter.
        (3.0, 0.25, 0.0625, "hand"), (3.0, 0.25, 0.06, None), (3.0, 0.26, 0.24, None),
        (3.0, 0.26, 0.25, "hand"), (-1.5, 0.0, 0.1, "hand"),
    ],
)  # fmt: skip
def test_what_a_line_tells(speed, error, span_s, kind):
    watch = Watch(deck(speed, error=error, span_s=span_s), N)
    begun = watch.look(10.0, 1.5, fresh=True, stands=False)
    assert begun is (kind is not None)
    assert watch.gesture == (kind and Gesture(kind, 9.0, 29.0, False, 10.0, 30.5, speed))
    assert watch.run is (watch.gesture if kind == "runs" else None)


def test_a_record_that_stands_unheard_is_held_where_it_was():
    watch = Watch(deck(3.0), N)
    assert watch.look(10.0, 1.0, fresh=False, stands=True)
    assert watch.gesture == Gesture("held", 9.0, 29.0, False, 10.0, 30.0, 0.0)
    watch = Watch(deck(3.0), N)
    assert not watch.look(10.0, 1.0, fresh=False, stands=False)
    watch.deck.position_s = None
    assert not watch.look(10.0, 1.0, fresh=True, stands=True)
    assert watch.gesture is None


def after(old, new, *, now=10.0, ratio=1.0, run=None, line=0):
    """The watch once a deck that did `old` up to 9.9 s does what `new` says."""
    watch = Watch(new, N, gesture=old, run=run, _line=line)
    begun = watch.look(now, ratio, fresh=True, stands=False)
    return begun, watch


def did(kind, at_s=30.0, since_s=5.0, now_s=9.9):
    return Gesture(kind, since_s, 20.0, True, now_s, at_s)


@pytest.mark.parametrize(
    ("old", "new", "goes_on"),
    [
        # Its place is told as 30.5; held within a sixteenth of where it was it is held on.
        (did("held", 30.5), deck(0.0, lines=1), True), (did("held", 30.44), deck(0.0), True),
        (did("held", 30.4375), deck(0.0), False), (did("held", 30.56), deck(0.0), True),
        (did("held", 30.5625), deck(0.0), False),
        # A hand moves on until the needle jumps; a run goes on along its line.
        (did("hand"), deck(3.0, lines=1), True), (did("hand"), deck(3.0, jumped=True), False),
        (did("runs"), deck(1.0), True), (did("runs"), deck(1.0, lines=1), False),
        (did("held", 30.5), deck(3.0), False), (did("hand"), deck(0.0), False),
    ],
)  # fmt: skip
def test_when_a_gesture_goes_on(old, new, goes_on):
    begun, watch = after(old, new)
    assert begun is not goes_on
    assert (watch.gesture is old) is goes_on
    assert (watch.gesture.now_s, watch.gesture.at_s) == (10.0, 30.5)


@pytest.mark.parametrize(("lines", "since_s", "from_s"), [(1, 9.0, 29.0), (0, 10.0, 30.5)])
def test_a_new_gesture_begins_with_its_line_or_now(lines, since_s, from_s):
    _, watch = after(did("hand"), deck(0.0, lines=lines))
    assert watch.gesture == Gesture("held", since_s, from_s, False, 10.0, 30.5, 0.0)
    assert watch._line == lines


@pytest.mark.parametrize(
    ("kind", "jumped", "held_s", "since_s", "from_s", "news"),
    [
        # Let go: the line's first point, 29.0 at 9 s, is so much later than where it was held.
        ("runs", False, 28.8, 8.9, 28.8, True), ("runs", False, 28.0, 8.75, 28.0, True),
        ("runs", False, 29.2, 9.0, 29.2, True), ("hand", False, 28.8, 9.0, 28.8, True),
        ("runs", True, 28.8, 9.0, 29.0, True),
    ],
)  # fmt: skip
def test_a_record_let_go_left_from_where_it_was_held(kind, jumped, held_s, since_s, from_s, news):
    """At twice the speed .2 s of record are a tenth of a second, and a quarter at most."""
    speed = 2.0 if kind == "runs" else 9.0
    begun, watch = after(did("held", held_s), deck(speed, lines=1, jumped=jumped), ratio=2.0)
    assert begun
    assert watch.gesture == Gesture(kind, pytest.approx(since_s), from_s, news, 10.0, 30.5, speed)
    assert not watch.deck.jumped


def test_only_what_was_held_is_let_go_and_only_on_a_line_of_its_own():
    _, watch = after(did("hand", 28.8), deck(1.0, lines=1))
    assert watch.gesture == Gesture("runs", 9.0, 29.0, False, 10.0, 30.5, 1.0)
    _, watch = after(did("held", 28.8), deck(1.0))
    assert watch.gesture == Gesture("runs", 10.0, 30.5, False, 10.0, 30.5, 1.0)
    _, watch = after(did("hand"), deck(0.0, lines=1, jumped=True))
    assert watch.gesture.news


@pytest.mark.parametrize(
    ("ran_at_s", "ended_s", "same"),
    [
        # At 10 s it is at 30.5. At twice the speed it would have come half a second of record on
        # in a quarter second: within an eighth of that it is the same run, for half a second.
        (30.0, 9.75, True), (30.12, 9.75, True), (30.125, 9.75, False), (29.88, 9.75, True),
        (29.875, 9.75, False), (29.6, 9.55, True), (29.5, 9.5, False),
    ],
)  # fmt: skip
def test_a_run_taken_up_again_on_its_old_line_is_the_same(ran_at_s, ended_s, same):
    run, hand = did("runs", ran_at_s, now_s=ended_s), did("hand", 30.2)
    begun, watch = after(hand, deck(2.0, lines=1, jumped=True), ratio=2.0, run=run)
    assert begun
    assert (watch.gesture is run) is same
    assert run.taken_up_s == (10.0 if same else float("-inf"))
    assert not watch.deck.jumped
    # The run that goes on itself, on a new line, has not begun.
    run = did("runs", ran_at_s, now_s=ended_s)
    begun, watch = after(run, deck(2.0, lines=1), ratio=2.0, run=run)
    assert begun is not same
    assert run.taken_up_s == float("-inf")


def test_a_record_held_on_a_runs_line_is_no_run():
    run = did("runs", 30.5)
    begun, watch = after(did("hand"), deck(0.0, lines=1), run=run)
    assert begun
    assert watch.gesture.kind == "held"
    assert watch.run is run
