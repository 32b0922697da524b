"""When the fader was open over a take, as written and as the mixer told it; and the picture."""

import io

import numpy as np
import pytest
from PIL import Image

from liveaid.practice.aim import Aim
from liveaid.practice.fader_spans import heard_open, written_open
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.take_picture import take_picture
from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Visit
from liveaid.routine import Routine

RIGHT = (31, 95, 122)
"""The right record's ink in the picture."""


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


def test_the_takes_picture_has_both_beneath_the_records_place(opened_twice):
    """The right record's ink at the foot of its own part, only where the mixer told of it."""
    now_s = np.arange(100.0, 108.0, 0.01)
    trace = {
        "left": DeckTrace(now_s, 2.0 + (now_s - 100.0)),
        "right": DeckTrace(now_s, np.full(len(now_s), 10.2)),
    }
    shown = {}
    for told, mixer in (("mixer", fader(102.0, 103.0)), ("none", ())):
        kept = Kept(
            title="T", at=1000.0, aim="", ended="complete", duration_s=8.0, tempo_part=1.0,
            start_s=100.0, counted_in_s=None, visits=(Visit(0, 0.0, 16.0, 100.0, 108.0),),
            trace=trace, mixer=mixer,
        )  # fmt: skip
        aim = Aim(routine=opened_twice)
        png = take_picture(opened_twice, kept, score_of(aim, kept))
        pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
        shown[told] = int((np.abs(pixels - RIGHT).sum(axis=2) < 30).sum())
    assert shown["mixer"] > shown["none"] + 500
