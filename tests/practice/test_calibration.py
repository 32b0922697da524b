"""Delays told apart from records let go to a click, the truth known."""

import numpy as np
import pytest

from liveaid.practice.calibrating import Calibrating
from liveaid.practice.calibration import after_clicks, calibrated, enough, late_of, let_go_s
from liveaid.practice.count_in import CountIn
from liveaid.practice.trace import trace_of
from liveaid.stage.osc import Heard

HABIT_S = -0.025
CLICK_S = 0.030
DELAY_S = {"left": 0.048, "right": 0.009}


def let_go(side, count, rng, *, first=2, times=12):
    """Messages of a record held, let go at each other click, stopped and brought back."""
    found, noise = [], rng.normal(0, 0.008, times)
    for k, off in enumerate(noise - noise.mean()):
        click = count.start_s + (first + 3 * k) * count.beat_s
        go = click + CLICK_S + HABIT_S + off
        for t in np.arange(click - 1.1, click + 1.25, 0.005):
            run = min(max(0.0, t - go), 0.9)
            back = np.clip((t - click - 0.95) / 0.25, 0, 1)
            x = 5.0 + run * (1 - back)
            found.append((t + DELAY_S[side] + rng.exponential(0.0008), side, x))
    return found


def test_each_decks_delay_is_told_within_3_ms_and_the_click_has_the_habit_in_it():
    rng, count = np.random.default_rng(3), CountIn(3.0, 0.8, 400, 4)
    trace = trace_of(let_go("left", count, rng) + let_go("right", count, rng, first=60))
    errors = {side: after_clicks(let_go_s(trace[side]), count) for side in ("left", "right")}
    taps = [count.start_s + k * 0.8 + CLICK_S + HABIT_S + 0.006 * (-1) ** k for k in range(12)]
    found = calibrated({**errors, "click": after_clicks(taps, count)})
    delays = found.delays
    assert found.apart
    assert delays.measured
    # The hands' noise has mean 0 here; messages are under way 0.8 ms more on the mean.
    assert delays.left_s == pytest.approx(0.0488, abs=0.003)
    assert delays.right_s == pytest.approx(0.0098, abs=0.003)
    assert delays.click_s == pytest.approx(CLICK_S + HABIT_S, abs=0.001)
    assert found.late["left"].sure_s < 0.005


def test_without_taps_the_sum_of_both_is_kept_as_the_decks():
    found = calibrated({"left": [0.050] * 8, "right": [0.020] * 8})
    assert not found.apart
    assert (found.delays.left_s, found.delays.click_s) == (pytest.approx(0.050), 0.0)


def test_what_was_meant_for_a_click_by_hand():
    """Clicks at 10.0, 10.8, 11.6: 150 ms early is early, 450 late late, 550 late meant for none."""
    count = CountIn(10.0, 0.8, 3, 4)
    found = after_clicks([9.85, 11.25, 12.15, 9.0, 99.0], count)
    assert found == pytest.approx([-0.15, 0.45])


def test_an_uneven_hand_is_no_calibration_and_a_stray_is_left_out():
    assert late_of([0.0, 0.1, -0.1, 0.15, -0.15, 0.2, -0.12]) is None
    assert late_of([0.01] * 5) is None
    for stray in (0.300, -0.300):
        late = late_of([0.040, 0.042, 0.038, 0.041, 0.039, 0.040, stray])
        assert (late.late_s, late.acts) == (pytest.approx(0.040), 6)


def test_goes_are_asked_for_until_the_delay_is_known_within_3_ms_and_no_more_than_30():
    """Twelve goes of -5, -2, 2, 5 ms in turn: s = 4.0 ms, 4.0 / sqrt(12) = 1.2 ms, enough. Of -12,
    -4, 4, 12 ms s is 9.1 ms: after 28 it is 9.1 / sqrt(28) = 1.7 ms, and 30 have to do."""
    even = [0.001 * ms for ms in (-5, -2, 2, 5) * 3]
    assert not enough(even[:11])
    assert enough(even)
    wide = [0.001 * ms for ms in (-12, -4, 4, 12) * 8]
    assert not enough(wide[:12])
    assert not enough(wide[:28])
    assert enough(wide[:30])


def test_the_watcher_goes_from_left_to_right_to_taps_and_hands_over():
    """Told over the stage's own calls, time passed in; the clicks begin 3 s after the start."""
    now, found, said = [0.0], [], []
    watcher = Calibrating(found.append, told=said.append, clock=lambda: now[0])
    rng, count = np.random.default_rng(5), CountIn(3.0, 0.8, 400, 4)
    for side, first in (("left", 2), ("right", 100)):
        for at, deck, x in sorted(let_go(side, count, rng, first=first, times=31)):
            now[0] = at
            watcher.heard(Heard("position", deck, x, at))
    assert watcher.status()["rehearsal"]["calibration"]["task"] == "mixer"
    for k in range(200, 213):
        # Thrown across in 20 ms, half-way by the habit after the click is heard; 12 ms on the way.
        middle = 3.0 + k * 0.8 + CLICK_S + HABIT_S + 0.012
        for step in range(5):
            now[0] = middle + 0.005 * (step - 2)
            place = step / 4 if k % 2 else 1 - step / 4
            watcher.heard(Heard("crossfader", None, place, now[0]))
    assert watcher.status()["rehearsal"]["calibration"]["task"] == "click"
    for k in range(220, 233):
        now[0] = 3.0 + k * 0.8 + CLICK_S + HABIT_S
        assert watcher.told_word("mark", None)
    assert len(found) == 1
    assert found[0].delays.left_s == pytest.approx(0.0488, abs=0.004)
    assert found[0].delays.mixer_s == pytest.approx(0.012, abs=0.003)
    assert not watcher.told_word("keep", None)
