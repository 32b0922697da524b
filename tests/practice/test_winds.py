"""Records brought to their cues: when they stood there, by hand, against when they were due.

100 BPM, a beat is 0.6 s. Stalls lasts two bars, 4.8 s, and is counted by the left record, let go
at 10 s of the trace: the right record is due at 14.8 s, 20 s into its file. It is wound there from
2 s at 6 s of record a second, and is ready within 0.15 s of the cue: 0.15 / 6 = 0.025 s before it
stands there.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.act_score import Played
from liveaid.practice.advice import advice
from liveaid.practice.assess import assess
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.limits import LEVELS
from liveaid.practice.score import score_take
from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Visit
from liveaid.practice.winds import winds_of
from liveaid.routine import Routine
from liveaid.routine.way import changes

ROUTINE = Routine.model_validate({"title": "Wound", "pieces": [
    {"name": "Stalls", "bars": 2, "tempo": 100, "count": "left", "left": {"hand": "runs", "at": 4},
     "right": {"hand": "works", "from": 2, "to": 3}},
    {"name": "Awnings", "bars": 2, "tempo": 100, "count": "right", "left": {"hand": "rests"},
     "right": {"hand": "runs", "at": 20}},
]})  # fmt: skip
VISITS = [Visit(0, 0.0, 8.0, 10.0, 14.8), Visit(1, 0.0, 8.0, 14.8, 19.6)]


def trace(stands_s: float | None, let_go_s: float):
    """The right record stands at its cue from a moment on, and runs for two bars from another."""
    t = np.arange(8.0, 21.0, 0.005)
    left = np.clip(4.0 + t - 10.0, 4.0, 12.8)
    right = np.full(len(t), 2.0)
    if stands_s is not None:
        right = np.minimum(20.0, 20.0 - 6.0 * (stands_s - t)).clip(2.0)
        right += np.clip(t - let_go_s, 0.0, 4.8)
    return {"left": DeckTrace(t, left), "right": DeckTrace(t, right)}


def scored(stands_s, let_go_s=14.8, level="performer"):
    played = assess(ROUTINE, trace(stands_s, let_go_s), VISITS)
    return score_take(ROUTINE, played, limits=LEVELS[level])


def test_a_record_that_stands_there_two_beats_before_is_in_time():
    score = scored(13.6)
    (wind,) = score.pieces[1].winds
    assert (wind.side, wind.turns) == ("right", pytest.approx(18 / 1.8))
    assert wind.due_s == pytest.approx(14.8, abs=0.01)
    assert wind.ready_s == pytest.approx(13.575, abs=0.003)
    assert wind.spare_beats == pytest.approx(1.225 / 0.6, abs=0.02)
    assert score.pieces[1].verdict == "clean"
    assert score.pieces[0].winds == ()


def test_how_long_before_is_the_performers_to_say():
    """0.5 s before it is due are 0.8 beats, with the 0.025 s of its reach 0.9: no competitor's."""
    assert scored(14.3).pieces[1].verdict == "clean"
    late = scored(14.3, level="competitor").pieces[1]
    assert late.why == ("right record at its cue only 0.9 beats before",)


def test_a_record_that_comes_late_is_told_and_what_to_do_about_it():
    """It stands there at 15.4 s, one beat late, and is let go a little after."""
    score = scored(15.4, let_go_s=15.5)
    assert "right record at its cue 1.0 beats late" in score.pieces[1].why
    assert score.pieces[1].verdict == "not clean"
    told = advice(score, metre=4)["right"]
    assert told == (
        "right hand, at its cue for Awnings 1.0 beats late: leave sooner, or wind faster"
    )


def test_a_record_never_brought_is_told():
    assert "right record not brought to its cue" in scored(None).pieces[1].why


def test_a_set_piece_entered_by_itself_asks_for_no_wind():
    played = assess(ROUTINE, trace(13.6, 14.8), VISITS[1:])
    assert played[0].winds == ()


def test_a_pick_up_wants_its_record_before_its_set_piece():
    """Bells begins at 19.6 s with a push two beats ahead of it: due at 19.6 - 1.2 = 18.4 s."""
    counting = {"bars": 2, "tempo": 100, "count": "left"}
    pieces = [
        {"name": name, **counting, "left": {"hand": "runs", "at": at}, "right": right}
        for name, at, right in (
            ("Stalls", 4.0, {"hand": "works", "from": 2, "to": 3}),
            ("Awnings", 8.8, {"hand": "rests"}),
            ("Bells", 13.6, {"hand": "works", "from": 20, "to": 22, "acts": {-2: "push for 2"}}),
        )
    ]
    routine = Routine.model_validate({"title": "Ahead", "pieces": pieces})
    t = np.arange(8.0, 26.0, 0.005)
    right = np.minimum(20.0, 20.0 - 6.0 * (17.0 - t)).clip(2.0)
    right += np.interp(t, [18.4, 19.6], [0.0, 0.45])
    decks = {"left": DeckTrace(t, np.clip(4.0 + t - 10.0, 4.0, 18.4)), "right": DeckTrace(t, right)}
    visits = [Visit(i, 0.0, 8.0, 10.0 + 4.8 * i, 14.8 + 4.8 * i) for i in range(3)]
    score = score_take(routine, assess(routine, decks, visits), limits=LEVELS["performer"])
    (wind,) = score.pieces[2].winds
    assert wind.due_s == pytest.approx(18.4, abs=0.01)
    assert {m.side: m.beat_due(routine) for m in changes(routine) if m.after == 2}["right"] == -2.0


def test_a_record_pushed_on_to_its_next_cue_after_its_last_act_is_nothing_added():
    """Twins ends with the right record's two beats, in which left is pushed on from 11.2 to 15 s,
    inside its own span."""
    juggle = {0: "left 0 to 2", 2: "right 0 to 2", 4: "left 0 to 2", 6: "right 0 to 2"}
    twins = {
        s: {"hand": "works", "from": at, "to": at + 6} for s, at in (("left", 10), ("right", 20))
    }
    routine = Routine.model_validate({"title": "On", "pieces": [
        {"name": "Twins", "bars": 2, "tempo": 100, "count": "clock", "juggle": juggle, **twins},
        {"name": "Bells", "bars": 2, "tempo": 100, "count": "left",
         "left": {"hand": "runs", "at": 15}, "right": {"hand": "rests"}},
    ]})  # fmt: skip
    t = np.arange(8.0, 21.0, 0.005)
    turn = (0.0, 1.2, 1.7, 2.4, 3.6)  # let go, taken, back at the cue, let go again, taken
    left = np.interp(t, [*(10.0 + x for x in turn), 13.65, 14.5, 14.8, 19.6],
                     [10, 11.2, 10, 10, 11.2, 11.2, 15, 15, 19.8])  # fmt: skip
    right = np.interp(t, [11.2 + x for x in turn], [20, 21.2, 20, 20, 21.2])
    decks = {"left": DeckTrace(t, left), "right": DeckTrace(t, right)}
    visits = [Visit(0, 0.0, 8.0, 10.0, 14.8), Visit(1, 0.0, 8.0, 14.8, 19.6)]
    score = score_take(routine, assess(routine, decks, visits), limits=LEVELS["performer"])
    assert (score.added, score.missed) == (0, 0)
    assert [piece.verdict for piece in score.pieces] == ["clean", "clean"]


# The same by hand, message by message: a beat of 0.6 s, the record due at 14.8 s, its cue at 20 s.


def brought(*messages):
    """One wind as scored from (second, position) of the right record."""
    t, x = (np.array(each, float) for each in zip(*messages, strict=True))
    beats = np.arange(9.0)
    played = [
        Played(visit, (), BeatTimes(beats, visit.start_s + 0.6 * beats, by="left"))
        for visit in VISITS
    ]
    still = DeckTrace(np.array([9.0, 20.0]), np.array([4.0, 12.8]))
    found = winds_of(ROUTINE, {"left": still, "right": DeckTrace(t, x)}, played)
    return None if 1 not in found else found[1][0]


@pytest.mark.parametrize(
    ("messages", "ready_s"),
    [
        # From 18 s to 20 s in 1 s: within 0.15 s of the cue after 1.85 of 2 s of record.
        ([(12.0, 18.0), (13.0, 20.0), (15.0, 20.0)], 12.925),
        ([(12.0, 22.0), (13.0, 20.0), (15.0, 20.0)], 12.925),
        # There, away again, and back: the last time counts.
        ([(11.0, 20.0), (12.0, 22.0), (13.0, 20.0), (15.0, 20.0)], 12.925),
        # There all the time.
        ([(11.0, 20.1), (13.0, 20.0), (15.0, 20.0)], 11.0),
        # There just as it is due, and not before; then only later.
        ([(14.0, 18.0), (14.8, 19.9), (15.0, 20.0)], 14.0 + 0.8 * 1.85 / 1.9),
        ([(14.0, 18.0), (14.9, 18.0), (15.9, 20.0)], 15.825),
        # The record is let go on time though it stood elsewhere: it passes the cue later.
        ([(14.0, 18.0), (15.0, 19.0), (16.0, 20.0), (17.0, 21.0)], 15.85),
        # Four beats, 2.4 s, after it was due nobody brings it any more.
        ([(14.0, 18.0), (17.2, 20.0)], 14.0 + 3.2 * 1.85 / 2.0),
        ([(14.0, 18.0), (17.21, 20.0)], None),
        ([(14.0, 18.0), (15.0, 18.0)], None),
    ],
)
def test_from_when_a_record_stood_at_its_cue(messages, ready_s):
    wind = brought(*messages)
    assert (wind.due_s, wind.side) == (pytest.approx(14.8), "right")
    if ready_s is None:
        assert (wind.ready_s, wind.spare_beats) == (None, None)
    else:
        assert wind.ready_s == pytest.approx(ready_s)
        assert wind.spare_beats == pytest.approx((14.8 - ready_s) / 0.6)


def test_a_deck_that_was_not_heard_has_no_wind():
    wind = brought((1.0, 18.0), (2.0, 18.0))
    assert wind.ready_s is None
