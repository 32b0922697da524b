"""What is said of a change, figure by figure, and where a word takes the place of a figure."""

from types import SimpleNamespace

import pytest

from liveaid.routine import Routine
from liveaid.routine.check import change_rules as module

ROUTINE = Routine.model_validate({
    "title": "T",
    "pieces": [
        {"name": name, "bars": 4, "tempo": 120, "left": {"hand": "runs", "at": at}}
        for name, at in (("One", 0.0), ("Two", 17.0))
    ],
})  # fmt: skip
"""Four bars at 120 BPM are 8 s."""


def move(**changes):
    """Left is wound 5 turns on to 17 s within 2 s, with a hand for all of it; 1.5 s are needed."""
    known = {
        "side": "left", "before": 0, "after": 1, "turns": 5.0, "cue_s": 17.0,
        "by_hand_s": 1.5, "by_needle_s": 4.0, "needed_s": 1.5, "spare_beats": 1.0,
        "available_s": 2.0, "available_beats": 4.0, "free_s": 2.0, "give_s": 0.0,
        "leave_early_beats": 0.0, "come_late_beats": 0.0, "verdict": "tight",
        "beat_due": lambda routine: 0.0,
    }  # fmt: skip
    return SimpleNamespace(**known | changes)


@pytest.mark.parametrize(
    ("turns", "said"),
    [(None, "?"), (0.5, "+0.50"), (-0.994, "-0.99"), (0.996, "+1.0"), (-0.996, "-1.0"),
     (12.34, "+12.3"), (0.0, "+0.00")],
)  # fmt: skip
def test_turns_are_told_to_a_tenth_and_finer_below_one(turns, said):
    assert module.turns_text(move(turns=turns)) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(3.14, "3.1"), (0.4, "0.4"), (0.051, "0.1"), (0.05, "0.1"), (0.049, "0.05"), (0.04, "0.04"),
     (0.0051, "0.01"), (0.005, "0.01"), (0.0049, "less than 0.01"), (0.0, "less than 0.01")],
)  # fmt: skip
def test_an_amount_is_never_told_as_nothing(value, said):
    assert module.amount(value) == said


WOUND = "left must be wound +5.0 turns to 17.00 s (turn 9, sticker at 160°): "


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "1.5 s by hand; it is silent for 2.0 s (4 beats)"),
        ({"by_needle_s": 1.5}, "1.5 s by hand; it is silent for 2.0 s (4 beats)"),
        ({"by_needle_s": 1.25},
         "1.5 s by hand, 1.2 s by the needle; it is silent for 2.0 s (4 beats)"),
        ({"available_s": 0.0}, "1.5 s by hand; it sounds right up to the change"),
        ({"available_s": 0.04, "available_beats": 0.08, "free_s": 0.0},
         "1.5 s by hand; it sounds right up to the change"),
        ({"available_s": 0.05, "available_beats": 0.1},
         "1.5 s by hand; it is silent for 0.1 s (0.1 beats)"),
        ({"available_s": 0.3, "available_beats": 0.6, "free_s": 0.3},
         "1.5 s by hand; it is silent for 0.3 s (0.6 beats)"),
        ({"free_s": 1.0}, "1.5 s by hand; it is silent for 2.0 s (4 beats), but a hand is free for"
                          " only 1.0 s of it"),
        ({"free_s": 2.0 - 1e-12}, "1.5 s by hand; it is silent for 2.0 s (4 beats)"),
    ],
)  # fmt: skip
def test_a_wind_is_told_by_its_way_its_time_and_the_hands(changes, said):
    """17 s are 9.444 turns of 1.8 s: .444 of a turn are 160 degrees."""
    assert module._what(ROUTINE, move(**changes)) == f"{WOUND}{said}"


@pytest.mark.parametrize(
    ("changes", "lacks"),
    [
        ({"free_s": 1.0}, True),
        ({"free_s": 2.0}, False),
        ({"free_s": 2.0 - 1e-10}, False),
        ({"free_s": 1.0, "needed_s": None}, False),
        ({"free_s": 1.0, "needed_s": 2.0}, True),
        ({"free_s": 1.0, "needed_s": 2.0 + 1e-10}, True),
        ({"free_s": 1.0, "needed_s": 2.1}, False),
    ],
)
def test_whether_only_a_hand_is_lacking(changes, lacks):
    assert module._no_hand(move(**changes)) is lacks


def findings(judge, *moves, **patched):
    """(severity, piece, what is said, the way out) of the findings."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "changes", lambda routine: list(moves))
        for name, value in patched.items():
            patch.setattr(module, name, value)
        return [(f.severity, f.piece, f.says, f.way_out) for f in judge(ROUTINE)]


@pytest.mark.parametrize(
    ("changes", "severity", "says", "way_out"),
    [
        ({"spare_beats": 1.0}, "warning", "1.0 beats to spare, below the margin of 2",
         "practise this change by itself, or put the cue nearer"),
        ({"spare_beats": 0.0}, "warning", "0.0 beats to spare, below the margin of 2",
         "practise this change by itself, or put the cue nearer"),
        ({"spare_beats": -0.5}, "warning", "0.5 beats short",
         "start from the near end: the other deck carries the music"),
        ({"spare_beats": -0.5, "leave_early_beats": 4.0, "come_late_beats": 2.5}, "warning",
         "0.5 beats short",
         "leave up to 4 beats early or come in up to 2.5 beats late: the other deck carries the"
         " music"),
        ({"spare_beats": -0.5, "come_late_beats": 2.5}, "warning", "0.5 beats short",
         "come in up to 2.5 beats late: the other deck carries the music"),
        ({"verdict": "impossible", "spare_beats": -3.0}, "error", "3.0 beats too few",
         "put the cue within 2.0 turns, or let left rest 3.0 beats longer before it"),
        ({"verdict": "impossible", "spare_beats": -3.0, "free_s": 0.05, "available_s": 0.05,
          "available_beats": 0.1}, "error", "3.0 beats too few",
         "put the cue within 0.1 turns, or let left rest 3.0 beats longer before it"),
        ({"verdict": "impossible", "spare_beats": -3.0, "free_s": 0.04, "available_s": 0.04,
          "available_beats": 0.1}, "error", "3.0 beats too few",
         "put the cue where the record stands when it falls silent, or let left rest 3.0 beats"
         " longer before it"),
        ({"verdict": "impossible", "spare_beats": -3.0, "free_s": 1.0}, "error",
         "3.0 beats too few",
         "play the other record with the fader open for that long and say so in `technique`, or"
         " write its `strokes` with room between them"),
    ],
)  # fmt: skip
def test_a_change_that_is_tight_or_impossible_says_what_would_do(changes, severity, says, way_out):
    """A hand winds as many turns here as it has seconds."""
    given = move(**changes)
    told = findings(module.judge_changes, given, turns_in=lambda free_s, performer: free_s)
    assert told == [(severity, 1, f"{module._what(ROUTINE, given)}: {says}", way_out)]


@pytest.mark.parametrize("verdict", ["easy", "runs on", "set before"])
def test_of_a_change_that_can_be_made_nothing_is_said(verdict):
    assert findings(module.judge_changes, move(verdict=verdict)) == []


HANDS_LACK = "a technique with an open fader, or strokes with room between them, frees one"
LIES_THERE = "the cue must lie where {0} ends, or left must rest a few beats before it"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"free_s": 0.51}, None),
        ({"free_s": 0.3, "give_s": 0.25}, None),
        ({"free_s": 0.5, "available_s": 0.5},
         ("left goes on from One with another sound and no time to wind",
          LIES_THERE.format("One"))),
        ({"free_s": 0.25, "give_s": 0.25, "available_s": 0.6},
         ("left is silent for 0.6 s after One, but no hand is free", HANDS_LACK)),
        ({"free_s": 0.0, "available_s": 0.0, "before": 1},
         ("left goes on from Two with another sound and no time to wind",
          LIES_THERE.format("Two"))),
        ({"free_s": 0.0, "available_s": 0.0, "before": None},
         ("left goes on from One with another sound and no time to wind",
          LIES_THERE.format("One"))),
    ],
)  # fmt: skip
def test_what_has_no_seconds_yet_is_told_by_the_time_there_will_be(changes, said):
    """With more than half a second a record can be brought somewhere."""
    told = findings(module.judge_changes, move(verdict="not placed", **changes), move(verdict="x"))
    *warned, remark = told
    assert warned == ([("warning", 1, *said)] if said else [])
    assert remark == (
        "remark", None,
        "1 of 2 changes have no deck-file seconds yet: how far the records must be wound cannot be"
        " judged", "render the deck files and check decks/routine.yaml",
    )  # fmt: skip


def test_a_finding_brings_the_figures_that_are_known():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "changes", lambda routine: [move(by_needle_s=4.0)])
        (told,) = module.judge_changes(ROUTINE)
    assert dict(told.numbers) == pytest.approx({
        "available_s": 2.0, "available_beats": 4.0, "free_s": 2.0, "turns": 5.0, "by_hand_s": 1.5,
        "by_needle_s": 4.0, "needed_s": 1.5, "cue_s": 17.0, "spare_beats": 1.0,
        "sticker_degrees": 160.0,
    })  # fmt: skip
    bare = module._figures(ROUTINE, move(cue_s=None, turns=None, needed_s=None))
    assert set(bare) == {
        "available_s", "available_beats", "free_s", "by_hand_s", "by_needle_s", "spare_beats",
    }  # fmt: skip


@pytest.mark.parametrize(("more", "said"), [(0, ""), (1, "; so do 1 more beats")])
def test_a_beat_that_asks_for_a_third_hand_is_told_with_how_many_more_do(more, said):
    """Of the second set piece; what is free is no job."""

    def job(task, words):
        return type("Job", (), {"task": task, "__str__": lambda self: words})()

    left, fader = job("works", "works left"), job("crossfader", "crossfader")
    beats = [
        SimpleNamespace(piece=1, from_beat=2.0 + n, left=left, right=None, over=(fader,))
        for n in range(more + 1)
    ]
    beats += [SimpleNamespace(piece=1, from_beat=9.0, left=left, right=None, over=())]
    told = findings(module.judge_hands, hand_plan=lambda routine: beats)
    assert told == [(
        "remark", 1, f"beat 3.0 asks for 2 hands: works left, crossfader{said}",
        "write the strokes out with room between them, or use a technique with an open fader",
    )]  # fmt: skip
    lets_go = [SimpleNamespace(**vars(beats[0]) | {"over": (job("releases", "releases right"),)})]
    ((*_, way_out),) = findings(module.judge_hands, hand_plan=lambda routine: lets_go)
    assert way_out == "let the record go first; the first stroke comes a beat later"
