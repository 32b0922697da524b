"""False starts and good runs are takes of their own; bars played otherwise are named once."""

import sys
from pathlib import Path

import pytest

from liveaid.practice.act_score import ActScore
from liveaid.practice.aim import aim_of
from liveaid.practice.bars import other_bars
from liveaid.simulate import Hands

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "bench"))
from takes import own, stopped_and_begun_anew

LEAD_S = 2.0


@pytest.mark.parametrize(("at_s", "stop_s"), [(12.0, 0.5), (24.0, 1.0)])
def test_a_false_start_and_the_good_run_after_it_are_two_takes(
    spice_row, performed, rehearsed, at_s, stop_s
):
    from liveaid.simulate import perform

    aim = aim_of(spice_row, "")
    first, good = (perform(spice_row, seed=k, lead_s=LEAD_S, hands=Hands()) for k in (3, 4))
    messages, starts_s = stopped_and_begun_anew(first, good, at_s=LEAD_S + at_s, stop_s=stop_s)
    found = rehearsed(aim, messages, count_in_bars=0)
    assert [one.ended for one in found] == ["abandoned", "complete"]
    assert own(found, starts_s, 4)
    assert found[0].start_s + found[0].duration_s == pytest.approx(LEAD_S + at_s, abs=0.3)


def test_a_record_that_was_only_held_up_and_goes_on_is_one_take(spice_row, rehearsed):
    """Both records stand for a second in the middle, and run on from where they stood."""
    aim, messages = aim_of(spice_row, "Lids"), []
    for k in range(int(10.5 / 0.005)):
        now = k * 0.005
        played = min(max(0.0, now - 2.0), 3.0) + max(0.0, now - 6.0)
        messages += [(now, "left", 1.8 + min(played, 7.3)), (now, "right", 5.4)]
    found = rehearsed(aim, messages, count_in_bars=0)
    assert len(found) == 1


def bar_acts(outcomes, bar):
    return [
        ActScore(kind="stroke", side="left", beat=4.0 * bar + k, outcome=outcome, by="right")
        for k, outcome in enumerate(outcomes)
    ]


def test_a_bar_left_out_and_one_improvised_are_named_as_bars():
    acts = [
        *bar_acts(["heard"] * 4, 0),
        *bar_acts(["missed"] * 4, 1),
        *bar_acts(["missed"] * 2 + ["added"] * 2, 2),
        *bar_acts(["missed", "heard", "heard", "heard"], 3),
        *bar_acts(["missed"], 4),
    ]
    assert other_bars(acts, 4) == {1: "left out", 2: "improvised"}
