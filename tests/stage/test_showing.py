"""When the prompt is worked out anew: the clock is moved by hand, no timer has to come."""

import asyncio
from types import SimpleNamespace

import pytest

from liveaid.stage import showing as module
from liveaid.stage.osc import Heard
from liveaid.stage.showing import Showing, ShowRests


def at(now_s, side="left", what="position"):
    return [Heard(what, side, 1.0, now_s)]


def test_a_deck_that_says_something_after_a_twentieth_of_a_second_ends_a_rest():
    rests = ShowRests()
    assert rests.ended_by(at(1.0))
    assert not rests.ended_by(at(1.046875))
    assert not rests.ended_by(at(1.09375))
    assert rests.ended_by(at(1.15625))  # a sixteenth later
    assert rests.ended_by(at(1.15625, "right"))
    assert rests.ended_by(at(1.15625, "left", "speed"))
    assert rests.ended_by([*at(1.15625), *at(1.5, "right")])
    assert not rests.ended_by([])


class Asked:
    """A follower that counts what it is asked, and a lamp that waits for a moment."""

    def __init__(self, make_prompt):
        self.told, self.wakes, self.wake_s, self.lamp_s = make_prompt(), 0, None, None
        self.shown, self.due_s = [], "unset"

    def prompt(self, now):
        return self.told

    def wake_at(self):
        self.wakes += 1
        return self.wake_s


@pytest.fixture
def on(monkeypatch, make_prompt):
    """on(body): body(showing, asked, clock) in a loop, the clock at 100 s and standing."""

    def run(body):
        async def go():
            clock = SimpleNamespace(now=100.0)
            monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: clock.now))
            asked = Asked(make_prompt)
            timer = SimpleNamespace(set=lambda due_s: setattr(asked, "due_s", due_s))
            monkeypatch.setattr(module, "OnTime", lambda call, early_s: timer)
            showing = Showing(
                asked, shown=lambda prompt, now, turned: asked.shown.append((now, turned)),
                lamp_due_s=lambda: asked.lamp_s, catch_up=lambda: None,
            )  # fmt: skip
            body(showing, asked, clock)
            showing.stop()

        asyncio.run(go())

    return run


def test_positions_that_stream_in_are_shown_fifty_times_a_second(on):
    """10 ms after the last one a look is put off; 20 ms after it is due."""

    def body(showing, asked, clock):
        for clock.now, count in ((100.0, 1), (100.01, 1), (100.015, 1), (100.03125, 2)):
            showing.heard(at(clock.now))
            assert len(asked.shown) == count

    on(body)


def test_what_was_put_off_is_shown_when_twenty_milliseconds_are_over(on, monkeypatch):
    later = []

    def body(showing, asked, clock):
        timer = SimpleNamespace(cancel=lambda: later.append("off"))
        loop = SimpleNamespace(call_later=lambda s, call: later.append(round(s, 6)) or timer)
        monkeypatch.setattr(module.asyncio, "get_running_loop", lambda: loop)
        showing.heard(at(100.0))
        for clock.now in (100.005, 100.01):
            showing.heard(at(clock.now))
        assert later == [0.015]
        showing.show()
        assert later == [0.015, "off"]

    on(body)


def test_after_a_rest_it_is_shown_at_once(on):
    def body(showing, asked, clock):
        showing.heard(at(100.0))
        clock.now = 100.01
        showing.heard(at(100.01, "right"))
        assert len(asked.shown) == 2

    on(body)


@pytest.mark.parametrize(("since_s", "shown"), [(0.03125, 1), (0.09375, 1), (0.125, 2)])
def test_in_a_flood_it_is_shown_ten_times_a_second(on, since_s, shown):
    def body(showing, asked, clock):
        showing.heard(at(100.0))
        clock.now += since_s
        showing.heard(at(clock.now), behind=True)
        assert len(asked.shown) == shown

    on(body)


def test_what_turned_is_said_and_the_next_beat_looked_up(on, make_prompt):
    """At each beat, and every 50 ms in between."""

    def body(showing, asked, clock):
        for now_s, beat, turned, wakes in (
            (100.0, 2, True, 1), (100.03125, 2, False, 1), (100.046875, 3, True, 2),
            (100.0625, 3, False, 2), (100.109375, 3, False, 3),
        ):  # fmt: skip
            clock.now, asked.told = now_s, make_prompt(beat=beat)
            showing.show()
            assert asked.shown[-1] == (now_s, turned)
            assert asked.wakes == wakes
        assert showing.prompt is asked.told

    on(body)


@pytest.mark.parametrize(
    ("wake_s", "lamp_s", "due_s"),
    [
        (100.5, None, 100.5), (None, 100.25, 100.25), (100.5, 100.25, 100.25), (None, None, None),
        (100.0005, None, 100.001), (99.0, None, 100.001),
    ],
)  # fmt: skip
def test_one_timer_for_the_next_beat_and_the_lamp_kept_back(on, wake_s, lamp_s, due_s):
    """Never sooner than a millisecond: a beat that is due already is not asked for in a circle."""

    def body(showing, asked, clock):
        asked.wake_s, asked.lamp_s = wake_s, lamp_s
        showing.show()
        assert asked.due_s == (None if due_s is None else pytest.approx(due_s))

    on(body)


def test_a_beat_that_has_come_is_looked_up_anew(on):
    def body(showing, asked, clock):
        asked.wake_s = 100.03125
        showing.show()
        clock.now, asked.wake_s = 100.03125, 100.5
        showing.show()
        assert (asked.wakes, asked.due_s) == (2, 100.5)

    on(body)
