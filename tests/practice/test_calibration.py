"""Delays told apart from records let go to a click, the truth known."""

import numpy as np
import pytest

from liveaid.practice.calibrating import Calibrating
from liveaid.practice.calibration import (
    GOES,
    PUSHES,
    after_bars,
    after_clicks,
    calibrated,
    late_of,
    let_go_s,
    says,
)
from liveaid.practice.count_in import CountIn
from liveaid.practice.trace import trace_of
from liveaid.stage.osc import Heard

HABIT_S = -0.025
CLICK_S = 0.030
DELAY_S = {"left": 0.048, "right": 0.009}


def let_go(side, count, rng, *, first=1, times=12):
    """Messages of a record held, let go at each other bar, stopped and brought back."""
    found, noise = [], rng.normal(0, 0.008, times)
    for k, off in enumerate(noise - noise.mean()):
        click = count.start_s + (first + 2 * k) * 4 * count.beat_s
        go = click + CLICK_S + HABIT_S + off
        for t in np.arange(click - 1.1, click + 1.25, 0.005):
            run = min(max(0.0, t - go), 0.9)
            back = np.clip((t - click - 0.95) / 0.25, 0, 1)
            x = 5.0 + run * (1 - back)
            found.append((t + DELAY_S[side] + rng.exponential(0.0008), side, x))
    return found


def pushed(side, count, rng, *, times):
    """Messages of a record scratched to the click, 0.2 s forward and 0.2 s back, evenly turned;
    12 ms later by habit than a record is let go."""
    noise = rng.normal(0, 0.006, times)
    at = [count.start_s + (4 + k) * count.beat_s for k in range(times)] + noise - noise.mean()
    at += CLICK_S + HABIT_S + 0.012
    found = []
    for go, after in zip(at, [*at[1:], at[-1] + count.beat_s], strict=True):
        for t in np.arange(go, after, 0.005):
            x = 5.0 + 0.125 * (1 - np.cos(2 * np.pi * (t - go) / (after - go)))
            found.append((t + DELAY_S[side] + rng.exponential(0.0008), side, x))
    return found


def test_each_decks_delay_is_told_within_3_ms_and_the_click_has_the_habit_in_it():
    rng, count = np.random.default_rng(3), CountIn(3.0, 0.4, 400, 4)
    trace = trace_of(let_go("left", count, rng) + let_go("right", count, rng, first=30))
    errors = {side: after_bars(let_go_s(trace[side]), count) for side in ("left", "right")}
    taps = [count.start_s + k * 1.6 + CLICK_S + HABIT_S + 0.006 * (-1) ** k for k in range(12)]
    found = calibrated({**errors, "click": after_bars(taps, count)})
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


def test_what_was_meant_for_a_bar_by_hand():
    """Bars at 10.0, 10.8, 11.6: 150 ms early is early, 450 late late, 550 late meant for none."""
    count = CountIn(10.0, 0.2, 12, 4)
    found = after_bars([9.85, 11.25, 12.15, 9.0, 99.0], count)
    assert found == pytest.approx([-0.15, 0.45])


def test_what_was_meant_for_a_click_where_all_are_about_so_late():
    """Clicks 0.4 s apart: at 350 ms late 10.36 is 360 ms after one, no 40 before the next; 11.0 is
    as near as can be to 10.8 (200 late, 150 off) and not to 10.4 (600 late)."""
    found = after_clicks([10.36, 11.0, 9.0], CountIn(10.0, 0.4, 100, 4), about_s=0.35)
    assert found == pytest.approx([0.36, 0.2])


def test_an_uneven_hand_is_no_calibration_and_a_stray_is_left_out():
    assert late_of([0.0, 0.1, -0.1, 0.15, -0.15, 0.2, -0.12]) is None
    assert late_of([0.01] * 5) is None
    for stray in (0.300, -0.300):
        late = late_of([0.040, 0.042, 0.038, 0.041, 0.039, 0.040, stray])
        assert (late.late_s, late.acts) == (pytest.approx(0.040), 6)


# -5, -2, 2, 5 ms in turn, three times: s = sqrt(174 / 11) = 3.977 ms. Put in order of time as
# written, each is unlike the one before (r = 0), in rising order alike (r = 132 / 174 = 0.76).
IN_TURN = [0.001 * ms for ms in (-5, -2, 2, 5) * 3]


def test_a_mean_is_as_sure_as_its_goes_are_independent_by_hand():
    """3.977 / sqrt(12) = 1.148 ms. r is seen too small by (1 + 4 r) / 12: 0 is 0.083, and
    sqrt(1.083 / 0.917) x 1.148 = 1.248; 0.76 would be 1.09 and is 0.8: sqrt(1.8 / 0.2) is 3."""
    assert late_of(IN_TURN).sure_s == pytest.approx(0.001248, abs=1e-6)
    assert late_of(sorted(IN_TURN)).sure_s == pytest.approx(0.003444, abs=1e-6)


def test_goes_are_asked_for_until_the_delay_is_known_and_no_more_than_40():
    """Of -10, -4, 4, 10 ms in turn (s = 7.95) 12 leave 7.95 / sqrt(12) x 1.087 = 2.5 ms, 20 leave
    7.81 / sqrt(20) x 1.051 = 1.84; of twice as much 40 have to do."""
    assert not GOES.enough(IN_TURN[:11])
    assert GOES.enough(IN_TURN)
    wide = [0.001 * ms for ms in (-10, -4, 4, 10) * 10]
    assert not GOES.enough(wide[:12])
    assert GOES.enough(wide[:20])
    wider = [2 * error_s for error_s in wide]
    assert not GOES.enough(wider[:39])
    assert GOES.enough(wider)


def test_pushes_go_on_until_they_tell_the_decks_apart_within_3_ms():
    assert not PUSHES.enough((IN_TURN * 10)[:119])
    assert PUSHES.enough(IN_TURN * 10)
    # In blocks: r is seen as 1 and held at 0.8, so 120 are worth 13: 3 x 3.8 / sqrt(120) = 1.04 ms.
    assert not PUSHES.enough([error for error in sorted(IN_TURN) for _ in range(10)])


def test_what_pushes_say_the_decks_differ_by_by_hand():
    """Goes 50 and 20 ms late, pushes 65 and 30, all equally sure, v: the decks differ by 30 or by
    35, so 32.5, each giving way by a quarter of the 5; sure to sqrt(2 v 2 v / 4 v) = 1.248 ms."""
    goes = {"left": [0.050 + e for e in IN_TURN], "right": [0.020 + e for e in IN_TURN]}
    pushes = {"left": [0.065 + e for e in IN_TURN], "right": [0.030 + e for e in IN_TURN]}
    found = calibrated(goes, pushes)
    assert found.delays.left_s == pytest.approx(0.05125)
    assert found.delays.right_s == pytest.approx(0.01875)
    assert found.differ_sure_s == pytest.approx(0.001248, abs=1e-6)
    assert found.late["left"].sure_s == pytest.approx(0.001248 * 0.75**0.5, abs=1e-6)
    assert "left against right, which most acts are told by: give or take 2.4 ms" in says(found)
    assert calibrated(goes).differ_sure_s == pytest.approx(0.001248 * 2**0.5, abs=1e-6)


def test_the_watcher_goes_through_its_tasks_and_hands_over():
    """Told over the stage's own calls, time passed in; each task's clicks begin 3 s after it."""
    now, found, said = [0.0], [], []
    watcher = Calibrating(found.append, told=said.append, clock=lambda: now[0])
    rng = np.random.default_rng(5)

    def status():
        return watcher.status()["rehearsal"]

    def count():
        """The clicks from the bar after now on."""
        told = status()["count_in"]
        bar_s = told["metre"] * told["beat_s"]
        start_s = told["start_s"] + bar_s * max(0.0, (now[0] - told["start_s"]) // bar_s + 1)
        return CountIn(start_s, told["beat_s"], told["beats"], told["metre"])

    def tell(messages):
        for at, deck, x in sorted(messages):
            now[0] = at
            watcher.heard(Heard("position", deck, x, at))

    for side in ("left", "right"):
        assert f"Let the {side} record go" in status()["calibration"]["says"]
        tell(let_go(side, count(), rng, times=25))
        assert f"Scratch the {side} record" in status()["calibration"]["says"]
        scratched = sorted(pushed(side, count(), rng, times=135))
        tell(scratched[: len(scratched) // 2])
        assert status()["calibration"]["so_far"].endswith("of 120")
        tell(scratched[len(scratched) // 2 :])
    assert status()["calibration"]["task"] == "mixer"
    clicks = count()
    for k in range(2, 15):
        # Thrown across in 20 ms, half-way by the habit after the click is heard; 12 ms on the way.
        middle = clicks.start_s + k * 1.6 + CLICK_S + HABIT_S + 0.012
        for step in range(5):
            now[0] = middle + 0.005 * (step - 2)
            place = step / 4 if k % 2 else 1 - step / 4
            watcher.heard(Heard("crossfader", None, place, now[0]))
    assert status()["calibration"]["task"] == "click"
    clicks = count()
    for k in range(2, 14):
        now[0] = clicks.start_s + k * 1.6 + CLICK_S + HABIT_S
        assert watcher.told_word("mark", None)
    assert len(found) == 1
    delays = found[0].delays
    # Told apart by what the pushes say; each by the goes, whose noise has mean 0 here.
    assert delays.left_s - delays.right_s == pytest.approx(0.039, abs=0.001)
    assert delays.left_s == pytest.approx(0.0488, abs=0.004)
    assert delays.mixer_s == pytest.approx(0.012, abs=0.003)
    assert found[0].differ_sure_s < 0.0015
    assert not watcher.told_word("keep", None)


def watching(now):
    """A watcher whose clock is `now[0]`, what it told and what it was done with."""
    said, done = [], []
    return Calibrating(done.append, told=said.append, clock=lambda: now[0]), said, done


def test_what_a_page_is_told_of_a_calibration():
    """Its clicks begin 3 s after it, 150 BPM in bars of four: at 8.5 s, 2.5 s on, it is at 7."""
    now = [3.0]
    watcher, *_ = watching(now)
    now[0] = 8.50004
    whole = watcher.status()["rehearsal"]
    count_in, pause, calibration = (whole.pop(key) for key in ("count_in", "break", "calibration"))
    assert whole == {
        "now_s": 8.5, "piece": "Calibration", "phase": "count-in", "at_cue": {}, "bars_left": None,
        "takes": 0, "clean": 0, "tempo": 150.0, "ladder": None, "last": None, "noise": None,
        "kept": True, "error": None,
    }  # fmt: skip
    assert count_in == {"start_s": 6.0, "beat_s": 0.4, "beats": 3600, "metre": 4, "beat": 7}
    assert (pause["due"], pause["hands_on_s"], pause["after_s"]) == (False, 0, 1500)
    assert calibration == {
        "task": "left", "done": 0, "so_far": "0 of 12",
        "says": "Let the left record go on a high click, stop it, bring it back, and again",
    }  # fmt: skip


def test_how_far_a_task_has_come_in_words():
    watcher, *_ = watching([0.0])
    even, uneven = ([0.01 * (-1) ** k * size for k in range(12)] for size in (1, 12))
    for errors, so_far in (
        (even[:11], "11 of 12"),
        (even, f"12 done, known within {1960 * late_of(even).sure_s:.1f} ms; on until 3.7 ms, or"
               " 40 are done"),
        (uneven, "12 done, but too uneven: listen for a while, then go on"),
    ):  # fmt: skip
        watcher._errors[watcher._task] = errors
        assert watcher.status()["rehearsal"]["calibration"]["so_far"] == so_far


def test_what_is_left_out_word_by_word_begins_anew_where_nothing_was_measured():
    now = [0.0]
    watcher, said, done = watching(now)
    for at in range(1, 7):
        now[0] = float(at)
        assert watcher.told_word("next", None)
        assert watcher.status()["rehearsal"]["count_in"]["start_s"] == at + 3.0
    assert [one.split()[0] for one in said] == ["Scratch", "Let", "Scratch", "Throw", "Tap", "Too"]
    assert said[1:3] == [
        "Let the right record go on a high click, stop it, bring it back, and again",
        "Scratch the right record: push on each click, pull back between",
    ]
    assert said[-1] == "Too uneven to tell a delay by. Once more, from the left record on"
    assert (done, watcher.status()["rehearsal"]["calibration"]["task"]) == ([], "left")
    assert watcher.told_word("mark", None)  # counts for the taps alone
    assert watcher.status()["rehearsal"]["calibration"]["done"] == 0


def test_only_the_record_asked_for_is_heard():
    watcher, *_ = watching([0.0])
    watcher.heard(Heard("position", "right", 1.0, 0.1))
    watcher.heard(Heard("crossfader", None, 1.0, 0.1))
    assert (watcher._heard, watcher._fader) == ([], [])
    watcher.heard(Heard("position", "left", 1.0, 0.1))
    assert watcher._heard == [(0.1, "left", 1.0)]
    # Looked at each half second; what is older than 2.5 s is told no more.
    for k in range(2, 101):
        watcher.heard(Heard("position", "left", 1.0, k / 10))
    assert watcher._heard[0][0] == pytest.approx(7.2, abs=0.45)
    assert watcher._settled_s == pytest.approx(8.2, abs=0.45)
