"""False starts and good runs are takes of their own; bars played otherwise are named once."""

import sys
from pathlib import Path

import numpy as np
import pytest

from liveaid.practice import breaks as breaking
from liveaid.practice.act_score import ActScore
from liveaid.practice.aim import aim_of
from liveaid.practice.bars import other_bars
from liveaid.practice.breaks import STOPPED_S, Break, breaks, stopped_s
from liveaid.practice.motion import Phase
from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Sure
from liveaid.routine import Routine
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


# One record by hand: let go at 2 s from 10 s of its file, stopped at 6 s, brought back, let go
# again at 9 s. 120 BPM, a beat is 0.5 s; the other record stands all the time.

STALLS = Routine.model_validate({"title": "Stalls", "pieces": [
    {"name": "Lids", "bars": 8, "tempo": 120, "count": "left",
     "left": {"hand": "runs", "at": 10}, "right": {"hand": "rests"}},
    {"name": "Pestle", "bars": 8, "tempo": 120, "count": "clock",
     "left": {"hand": "works", "from": 10, "to": 30},
     "right": {"hand": "works", "from": 0, "to": 9}},
]})  # fmt: skip
BEFORE = Sure(5.9, 0, 7.8, 0.5)
STILL = ((0.0, 5.0), (20.0, 5.0))


def broken_off(*sures, left=None, right=STILL, back_to=10.0):
    """The breaks found; records as (second, position) with straight ways between."""
    t = np.arange(0.0, 14.0, 0.01)
    there = back_to + 4
    left = left or (
        (0, 10), (2, 10), (6, 14), (6.8, 14), (8, back_to), (9, back_to), (13, there), (14, there),
    )  # fmt: skip
    decks = {
        side: DeckTrace(t, np.interp(t, *np.transpose(points)))
        for side, points in (("left", left), ("right", right))
    }
    return [(round(one.start_s, 1), round(one.end_s, 1)) for one in breaks(STALLS, decks, sures)]


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        # A second after the new start it is at beat 2: begun at 0, 7.8 beats back.
        (BEFORE, Sure(10.0, 0, 2.0, 0.5), True),
        # At beat 8.5: begun at 6.5, 1.3 beats back; at 8.2, 1.6 back.
        (BEFORE, Sure(10.0, 0, 8.5, 0.5), False),
        (BEFORE, Sure(10.0, 0, 8.2, 0.5), True),
        # At 100 BPM a second is 1.67 beats: at 8.2 it was begun at 6.53.
        (BEFORE, Sure(10.0, 0, 8.2, 0.6), False),
        # In the next set piece: 32 beats further.
        (BEFORE, Sure(10.0, 1, 2.0, 0.5), False),
        # Where the follower was just after it stopped still tells; what it takes that for later
        # does not, nor what it says in the first moment of the new start.
        (Sure(6.2, 0, 7.8, 0.5), Sure(10.0, 0, 2.0, 0.5), True),
        (Sure(6.4, 0, 7.8, 0.5), Sure(10.0, 0, 2.0, 0.5), False),
        (BEFORE, Sure(9.2, 0, 9.0, 0.5), True),
        (BEFORE, Sure(9.4, 0, 9.0, 0.5), False),
        # Not sure again for eight seconds: the record itself was brought back.
        (BEFORE, Sure(16.9, 0, 30.0, 0.5), False),
        (BEFORE, Sure(17.1, 0, 30.0, 0.5), True),
        (BEFORE, None, True),
        (None, Sure(10.0, 0, 2.0, 0.5), False),
    ],
)
def test_a_take_is_broken_off_where_it_begins_again_from_earlier(before, after, found):
    sures = [one for one in (before, after) if one]
    assert broken_off(*sures) == ([(6.0, 9.0)] if found else [])


@pytest.mark.parametrize(("back_to", "found"), [(13.4, True), (13.8, False), (14.0, False)])
def test_a_record_is_brought_back_by_a_third_of_a_second(back_to, found):
    assert broken_off(BEFORE, back_to=back_to) == ([(6.0, 9.0)] if found else [])


def test_where_hands_work_both_records_being_brought_back_is_no_break():
    assert broken_off(Sure(5.9, 1, 7.8, 0.5)) == []


@pytest.mark.parametrize(
    ("right", "found"),
    [
        # The other record is pushed about all the while, or all but 0.1 s, or stands half a second.
        (((0, 5), (5, 5), (8, 8), (11, 5), (14, 5)), False),
        (((0, 5), (5, 5), (6.2, 8), (6.3, 8), (11, 5), (14, 5)), False),
        (((0, 5), (5, 5), (6.1, 8), (6.7, 8), (11, 5), (14, 5)), True),
    ],
)
def test_both_records_stand_in_a_break(right, found):
    assert bool(broken_off(BEFORE, right=right)) is found


@pytest.mark.parametrize(("stop_s", "found"), [(0.3, False), (0.6, True)])
def test_a_short_stop_is_a_turn_of_a_juggle(stop_s, found):
    back = 6.0 + stop_s
    left = (
        (0, 10),
        (2, 10),
        (6, 14),
        (back - 0.001, 14),
        (back, 10),
        (13, 23 - back),
        (14, 23 - back),
    )
    assert bool(broken_off(BEFORE, left=left)) is found


def test_when_a_take_that_began_anew_was_broken_off():
    """Its last record stopped at 6 s; begun anew 0.3 s later that was no stop."""
    t = np.arange(0.0, 14.0, 0.01)
    left = np.interp(t, [0, 2, 6, 8, 9, 13], [10, 10, 14, 10, 10, 14])
    decks = {"left": DeckTrace(t, left), "right": DeckTrace(t, np.full(len(t), 5.0))}
    assert stopped_s(STALLS, decks, 9.0) == pytest.approx(6.0, abs=0.05)
    assert stopped_s(STALLS, decks, 6.3) == 6.3
    assert stopped_s(STALLS, decks, 1.0) == 1.0


def phase(does, start_s, end_s, from_s=0.0, to_s=0.0):
    return Phase(does, start_s, end_s, from_s, to_s, 0, 0, False)


def test_only_what_turns_by_itself_for_a_while_counts():
    """.15 s: less is a hand's move; a record that stands or is moved does not turn."""
    held = phase("runs", 0.0, 0.15), phase("runs", 1.0, 1.14), phase("moves", 2.0, 3.0)
    assert breaking._runs({"left": held, "right": ()}) == {"left": [held[0]], "right": []}


def test_a_gap_is_where_no_record_turns_for_four_tenths_of_a_second():
    """Of both records' spells together, one within another, and ones that touch."""
    runs = {
        "left": [phase("runs", 0.0, 4.0), phase("runs", 1.0, 2.0), phase("runs", 6.0, 7.0)],
        "right": [phase("runs", 4.0, 5.0), phase("runs", 7.39, 8.0), phase("runs", 8.5, 9.0)],
    }
    assert breaking._gaps(runs) == [Break(5.0, 6.0), Break(8.0, 8.5)]
    just = {"left": [phase("runs", -1.0, 0.0), phase("runs", STOPPED_S, 1.0)]}
    assert breaking._gaps(just) == [Break(0.0, STOPPED_S)]


def test_how_long_both_records_stand_in_a_gap():
    """The longest time together; one that reaches beyond the gap counts as far as it goes."""
    gap = Break(2.0, 5.0)
    left = (phase("stands", 0.0, 3.0), phase("moves", 3.0, 3.2), phase("stands", 3.2, 9.0))
    right = (phase("stands", 2.5, 3.5), phase("stands", 4.1, 4.9), phase("stands", 5.0, 8.0))
    assert breaking._stood_s({"left": left, "right": right}, gap) == pytest.approx(0.8)
    assert breaking._stood_s({"left": left}, gap) == pytest.approx(1.8)
    assert breaking._stood_s({"right": right[2:]}, gap) == 0.0
    assert breaking._stood_s({"left": left, "right": ()}, gap) == 0.0
    assert breaking._stood_s({"left": (phase("stands", 0.0, 2.0),)}, gap) == 0.0


@pytest.mark.parametrize(
    ("before", "after", "back"),
    [
        # It stopped at 14.0: turning again from below 13.65 it was brought back.
        ((4.0, 14.0), (5.0, 13.64), True), ((4.0, 14.0), (5.0, 13.66), False),
        ((4.0, 14.0), (5.0, 15.0), False),
        # What ends in the gap, or begins in it, is neither before nor after.
        ((4.009, 14.0), (4.991, 13.0), True), ((4.011, 14.0), (5.0, 13.0), False),
        ((4.0, 14.0), (4.989, 13.0), False),
    ],
)  # fmt: skip
def test_a_record_went_back_that_turns_again_from_earlier(before, after, back):
    """A gap from 4 to 5 s; of several runs the last before and the first after it tell."""
    runs = [
        phase("runs", 1.0, 2.0, 30.0, 31.0), phase("runs", 3.0, before[0], 13.0, before[1]),
        phase("runs", after[0], 6.0, after[1], 15.0), phase("runs", 7.0, 8.0, 1.0, 2.0),
    ]  # fmt: skip
    if before[0] > 4.01:
        runs = runs[1:]
    if after[0] < 4.99:
        runs = runs[:-1]
    assert breaking._went_back(runs, Break(4.0, 5.0)) is back
    assert not breaking._went_back(runs[:1], Break(4.0, 5.0))
    assert not breaking._went_back([], Break(4.0, 5.0))


def test_a_break_off_was_as_the_last_record_stopped_before_the_new_start(monkeypatch):
    """What began to turn less than .4 s before the new start is that start."""
    found = (phase("runs", 0.0, 5.0), phase("runs", 6.0, 7.0), phase("runs", 9.61, 11.0))
    monkeypatch.setattr(breaking, "_phases", lambda *_: {"left": found, "right": found[:1]})
    assert [stopped_s(None, None, end_s) for end_s in (10.0, 7.4, 7.39, 5.41)] == [
        7.0, 7.0, 7.39, 5.0,
    ]  # fmt: skip
