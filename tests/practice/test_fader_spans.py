"""When the fader was open over a take, as written and as the mixer told it."""

import pytest

from liveaid.practice.fader_spans import heard_open, written_open
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.visits import Visit
from liveaid.routine import Routine


@pytest.fixture(scope="module")
def opened_twice() -> Routine:
    """Pushed over one beat with the fader open for its first and its third quarter."""
    right = {
        "hand": "works", "from": 10.0, "to": 11.4, "places": {"yes": {"from": 10.0, "to": 10.3}},
        "acts": {"bar 2": "push yes for 1 open 0 to 1/4 and 1/2 to 3/4"},
    }  # fmt: skip
    left = {"hand": "runs", "at": 2.0}
    piece = {"name": "P", "bars": 4, "tempo": 120, "count": "left", "right": right, "left": left}
    return Routine.model_validate({"title": "T", "pieces": [piece]})


def fader(*places):
    """The crossfader thrown over at these seconds, from the left on: 10 ms a throw."""
    heard = []
    for k, at_s in enumerate(places):
        begin, end = (0.0, 1.0) if k % 2 == 0 else (1.0, 0.0)
        heard += [FaderHeard(at_s - 0.005, "crossfader", begin)]
        heard += [FaderHeard(at_s + 0.005, "crossfader", end)]
    return tuple(heard)


def test_what_is_written_open_lies_in_the_takes_own_time(opened_twice):
    """By hand: 16 beats in 10 s are 0.625 s a beat; beat 4 comes at 102.5, and a quarter lasts
    0.15625 s."""
    visit = Visit(0, 0.0, 16.0, 100.0, 110.0)
    assert written_open(opened_twice, visit, "right") == (
        (pytest.approx(102.5), pytest.approx(102.65625)),
        (pytest.approx(102.8125), pytest.approx(102.96875)),
    )
    assert written_open(opened_twice, visit, "left") == ()
    half = Visit(0, 4.125, 4.5, 100.0, 100.375)  # begun within the first opening, left before more
    assert written_open(opened_twice, half, "right") == ((100.0, pytest.approx(100.125)),)


def test_what_was_open_goes_from_throw_to_throw():
    right = heard_open(fader(2.0, 2.5, 4.0), "right", hamster=False, start_s=0.0, end_s=5.0)
    assert right == ((pytest.approx(2.0), pytest.approx(2.5)), (pytest.approx(4.0), 5.0))
    left = heard_open(fader(2.0, 2.5, 4.0), "left", hamster=False, start_s=0.0, end_s=5.0)
    assert left == ((0.0, pytest.approx(2.0)), (pytest.approx(2.5), pytest.approx(4.0)))
    assert heard_open((), "left", hamster=False, start_s=0.0, end_s=5.0) == ()
