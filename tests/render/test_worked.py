"""What the render draws and looks through, in small worked cases."""

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from scipy.signal.windows import kaiser

from liveaid.render import hand_heard
from liveaid.render.guide import CEILING_DBTP, MARGIN_DB, below_ceiling
from liveaid.render.outcome import DeckMade, Rendered
from liveaid.render.picture import _hands, _tick_s
from liveaid.render.to_tempo import _later


def test_the_window_is_kaisers_with_beta_9():
    """Reference: scipy.signal.windows.kaiser over 16 frames either side of its middle."""
    table = np.interp(np.arange(17.0), hand_heard._WINDOW_AT, hand_heard._WINDOW)
    assert table == pytest.approx(kaiser(33, 9.0)[16:], abs=1e-9)


# Twelve marks at most: 60 s hold twelve steps of 5 s, 61 s need steps of 10 s, and so on.
@pytest.mark.parametrize(
    ("length_s", "step_s"),
    [(12, 1), (60, 5), (61, 10), (150, 15), (360, 30), (361, 60), (1440, 120), (1441, 600)],
)
def test_time_is_marked_in_round_steps_a_dozen_at_most(length_s, step_s):
    assert _tick_s(length_s) == step_s


def test_each_hand_s_name_stands_in_the_middle_of_its_row():
    """Rows one high: the right hand's from 0 to 1, the left's from 1 to 2."""
    axes = Figure().add_subplot()
    _hands(axes, [])
    places = zip(axes.get_yticks(), axes.get_yticklabels(), strict=True)
    named = {label.get_text(): at for at, label in places}
    assert named == {"left hand": 1.5, "right hand": 0.5}
    assert axes.get_ylim() == (-0.05, 2.05)


def test_the_report_tells_turns_to_the_thousandth_and_seconds_to_the_tenth_of_a_millisecond():
    deck = DeckMade(
        side="left", file=Path("left.wav"), length_s=10.00004, cues=2, winds=1,
        wound_turns=2.50049, least_turns=1.00051, shared=0,
    )  # fmt: skip
    rendered = Rendered(
        routine=Path("routine.yaml"), guide=Path("guide.wav"), sheet=Path("sheet.html"),
        decks=(deck,), cuts=(), guide_s=12.34567, rate_hz=44100, remarks=(), set_aside=(),
    )  # fmt: skip
    told = rendered.to_json()
    assert told["guide"] == {"file": "guide.wav", "length_s": 12.3457}
    assert told["decks"]["left"] == {
        "file": "left.wav", "length_s": 10.0, "cues": 2, "winds": 1,
        "wound_turns": 2.5, "least_turns": 1.001, "shared": 0,
    }  # fmt: skip


def test_a_mix_is_turned_down_as_a_whole_to_the_ceiling_and_never_up():
    """997 Hz at twice full scale and at a tenth of it; reference for the peak: its amplitude."""
    time_s = np.arange(44100) / 44100
    sine = np.stack([np.sin(2 * np.pi * 997.0 * time_s)] * 2, axis=1).astype(np.float32)
    made = below_ceiling(2.0 * sine)
    assert 20 * np.log10(np.abs(made).max()) == pytest.approx(CEILING_DBTP - MARGIN_DB, abs=0.02)
    for soft in (0.1 * sine, 0.0 * sine):
        assert below_ceiling(soft) is soft


@pytest.mark.parametrize("by", [0.5, -0.3])
def test_a_sound_comes_a_part_of_a_frame_later_as_a_sine_does(by):
    """5 kHz at 44.1 kHz; the middle, where the 64 frames of the filter are all there."""
    frames = np.arange(1000)
    step = 2 * np.pi * 5000.0 / 44100
    sine = np.stack([np.sin(step * frames)] * 2, axis=1).astype(np.float32)
    later = _later(sine, by)[100:-100, 0]
    assert later == pytest.approx(np.sin(step * (frames - by))[100:-100], abs=2e-4)
