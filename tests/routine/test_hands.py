"""What written lines ask of two hands, beat by beat, against sums by hand.

Common practice, no source. 120 BPM: 0.5 s a beat. By liveaid/record/figures.py a hand needs 0.2 s,
0.4 beats, to come to a record, and 0.3 s, 0.6 beats, to set a pitch; a quarter turn's back-cue
takes 0.5 * 2 / 3.70044 = 0.2702 s, 0.54 beats (see test_check_acts).
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from liveaid.record.bring import bring
from liveaid.record.figures import figure
from liveaid.routine import hands as module
from liveaid.routine.acts import Act
from liveaid.routine.hands import Job, bring_s, crossfader_end, free_s, hands_beside, jobs, stays_of
from liveaid.routine.model import SIDES
from liveaid.routine.timeline import Moment
from liveaid.routine.way import changes

PLACES = {"yes": {"from": 10.0, "to": 10.45}}


@pytest.fixture
def scratched(routine, piece, rests):
    def make(lines, **more):
        worked = {"hand": "works", "from": 10.0, "to": 13.0, "acts": lines, "places": PLACES}
        return routine(piece(rests, worked, **more))

    return make


def test_strokes_with_the_fader_open_leave_the_other_hand_free_whatever_the_technique(
    scratched, span_texts
):
    # Push in beat 0, pull in beat 1, then nothing.
    r = scratched({0: "push yes for 1", 1: "pull for 1"}, technique="scratch")
    assert span_texts(r) == [(0, 2, "None", "works right"), (2, 16, "None", "None")]


def test_the_other_hand_is_at_the_fader_in_the_beats_in_which_lines_move_it(scratched, span_texts):
    # The pull of beat 1 is not to be heard: the fader shuts at 1, and opens for the push of beat 8,
    # while the record stands.
    r = scratched({0: "push yes for 1", 1: "pull for 1 closed", 8: "push yes for 1"})
    assert [s.start_beat for s in stays_of(r, 0) if s.place == "fader"] == [1.0, 8.0]
    # The hand comes to the push from beat 7.6 on.
    assert span_texts(r) == [
        (0, 1, "None", "works right"), (1, 2, "crossfader", "works right"),
        (2, 7, "None", "None"), (7, 8, "None", "works right"),
        (8, 9, "crossfader", "works right"), (9, 16, "None", "None"),
    ]  # fmt: skip


def test_a_record_is_brought_back_as_late_as_can_be(scratched, span_texts):
    # A quarter turn back to `yes` by beat 8: from 8 - 0.54 = 7.46 on, the hand coming from 7.06.
    r = scratched({0: "push yes for 1", 8: "push yes for 1"})
    brought = next(s for s in stays_of(r, 0) if "back-cue" in s.does)
    assert brought.start_beat == pytest.approx(8 - 0.5404, abs=1e-4)
    assert [(a, b) for a, b, _, right in span_texts(r) if right == "works right"] == [
        (0, 1),
        (7, 8),
        (8, 9),
    ]


def test_a_pitch_takes_its_hand_for_as_long_as_setting_it_takes(scratched, span_texts):
    # Let go at 0, its pitch set from beat 4 to 4.6: the hand is there for the let go, and in beats
    # 3 (from 3.6) and 4.
    r = scratched({0: "let go for 4", 4: "set pitch +2 for 4"})
    pitch = next(s for s in stays_of(r, 0) if s.place == "pitch")
    assert (pitch.start_beat, pitch.end_beat) == pytest.approx((4.0, 4.6))
    assert [(a, b) for a, b, _, right in span_texts(r) if right == "works right"] == [
        (0, 1),
        (3, 5),
    ]


@pytest.mark.parametrize(
    ("line", "free_s"),
    # Left is wound while right plays 16 beats of a push and a pull a beat. With the fader open, all
    # but beat 0 is free, in which it goes from left to right: 7.5 s. Where the pulls are shut out,
    # the fader is moved in every beat.
    [("baby yes for 1 x16", 7.5), ("forward yes for 1 x16", 0.0)],
)
def test_lines_say_how_long_a_hand_is_free_to_wind(routine, piece, runs, rests, line, free_s):
    worked = {"hand": "works", "from": 10.0, "to": 13.0, "acts": {0: line}, "places": PLACES}
    r = routine(piece(runs(10), rests), piece(rests, worked), piece(runs(9), rests))
    (wound,) = (move for move in changes(r) if move.side == "left" and move.before is not None)
    assert wound.free_s == pytest.approx(free_s)


def test_what_each_beat_asks_of_the_hands(routine, piece, runs, works, rests):
    """By the rules at the head of `routine/hands.py`; four bars at 120 BPM, 8 s."""
    cut, baby = {"technique": "cut"}, {"technique": "baby scratch"}
    w, struck = works(1, 2), works(1, 2, strokes=[4, 5.5])
    on, fader = "works left", "crossfader"

    def asked(*pieces, index=0, beats=(0,)):
        found = routine(*(piece(*each[:2], count="clock", **each[2]) for each in pieces))
        return [tuple(str(job) for job in jobs(found, index, beat)) for beat in beats]

    assert asked((w, rests, cut), beats=(0, 5)) == [(on, fader)] * 2
    assert asked((rests, w, cut)) == [("works right", fader)]
    assert asked((w, rests, baby), beats=(0, 5)) == [(on,)] * 2
    # Bare strokes: in their own beat and the one before.
    busy = (on, fader)
    assert asked((struck, rests, cut), beats=range(2, 7)) == [(), busy, busy, busy, ()]
    # A start beside a worked record leaves the fader to the hand that let go, unless a stroke is
    # written on that beat.
    assert asked((w, runs(8), cut), beats=(0, 1)) == [(on, "releases right"), busy]
    first = works(1, 2, strokes=[0.5])
    assert asked((first, runs(8), cut)) == [(on, "releases right", fader)]
    # Two that are worked take both hands; two that run one, unless both are just let go.
    assert asked((w, w, cut)) == [(on, "works right")]
    both = ("releases left", "releases right")
    assert asked((runs(0), runs(8), cut), beats=(0, 1)) == [both, ("channel faders",)]
    through = (runs(0), rests, cut), (runs(8), runs(30), cut)
    assert asked(*through, index=1) == [("releases right", "channel faders")]
    # Another deck is heard than before: the fader has to be moved over.
    other = (runs(0), rests, cut), (rests, runs(30), cut)
    assert asked(*other, index=1, beats=(0, 1)) == [("releases right", fader), ()]
    assert asked((runs(0), rests, cut), (runs(30), rests, cut), index=1) == [("releases left",)]
    # A record that runs on into another tempo has its pitch set; one of a sound has it in its file.
    for tempo, job in ((121, ("sets the left pitch",)), (120, ())):
        pair = (runs(0), rests, cut), (runs(8), rests, cut | {"tempo": tempo})
        assert asked(*pair, index=1) == [job]
    faster = (runs(0), rests, cut), (runs(8), rests, cut | {"tempo": 121})
    assert asked(*faster, index=1, beats=(1,)) == [()]


def test_a_job_is_told_in_words():
    told = [str(Job("needle", "left")), str(Job("winds", "right")), str(Job("pitch", "right"))]
    assert told == ["lifts the left needle", "winds right", "sets the right pitch"]


def test_at_which_end_of_the_fader_a_deck_is_heard(routine, piece, runs, rests):
    plain, turned = (
        routine(piece(runs(0), rests), performer={"hamster": on}).performer for on in (False, True)
    )
    assert [crossfader_end(plain, side) for side in SIDES] == ["left", "right"]
    assert [crossfader_end(turned, side) for side in SIDES] == ["right", "left"]


def test_a_hand_free_is_counted_by_the_beat(routine, piece, runs, works, rests):
    """Beside one record that is scratched with the fader both hands are busy; for its own record
    the hand on it is free. With the fader open one hand is free for 8 s."""
    whole = Moment(0, 0.0), Moment(0, 16.0)
    for technique, sides in (("cut", {None: 0.0, "left": 8.0, "right": 0.0}),
                             ("tear", {None: 8.0, "left": 8.0, "right": 8.0})):  # fmt: skip
        found = routine(piece(works(1, 2), rests, technique=technique))
        assert {side: free_s(found, *whole, side) for side in sides} == sides
        assert hands_beside(found, 0, 3, None) == (2 if technique == "cut" else 1)
    half = routine(piece(works(1, 2), rests, technique="tear"))
    assert free_s(half, Moment(0, 1.5), Moment(0, 4.0)) == pytest.approx(1.25)


def act(kind, beat, beats, from_s=10.0, to_s=10.0):
    return Act(kind=kind, side="left", piece=0, beat=beat, beats=beats, from_s=from_s, to_s=to_s)


@pytest.fixture
def stays(routine, piece, runs, rests, monkeypatch):
    """stays(act, ...): (place, beat, begin, end) of each, the left record's acts being these; 120
    BPM, 1.8 s a turn."""

    def of(*acts, edges=()):
        monkeypatch.setattr(
            module, "acts_of", lambda routine, index, side: acts if side == "left" else ()
        )
        monkeypatch.setattr(
            module, "fader_edges",
            lambda acts: [SimpleNamespace(beat=beat) for beat in edges] if acts else [],
        )  # fmt: skip
        made = routine(piece(runs(10), rests))
        return [
            (stay.place, stay.beat, stay.start_beat, stay.end_beat)
            for stay in stays_of.__wrapped__(made, 0)
        ]

    return of


def test_a_hand_is_at_a_record_for_as_long_as_an_act_lasts(stays):
    """To let go takes but a moment; a catch is part of what comes after it."""
    assert stays(
        act("push", 0.0, 1.0), act("catch", 1.0, 0.5), act("hold", 2.0, 0.0),
        act("let go", 3.0, 2.0),
    ) == [("left", 0.0, 0.0, 1.0), ("left", 3.0, 3.0, 3.0)]  # fmt: skip


def test_at_one_beat_the_record_comes_before_the_fader_and_one_move_is_told_once(stays):
    found = stays(act("push", 1.0, 1.0), edges=(1.0, 1.0 + 1e-9, 2.5, 0.5))
    assert [place for place, *_ in found] == ["fader", "left", "fader", "fader"]
    assert [beat for _, beat, *_ in found] == [0.5, 1.0, 1.0, 2.5]


def test_what_is_brought_is_brought_as_late_as_can_be(routine, piece, runs, rests, stays):
    """A record that ran is held first, past a catch; by the needle it takes the needle's time."""
    made = routine(piece(runs(10), rests))
    turn_s = made.turntable.turn_s
    wound = act("wind", 4.0, 8.0, 14.0, 14.0 - 2 * turn_s)
    lifted = act("needle", 4.0, 8.0, 14.0, 14.0 - 2 * turn_s)
    two = bring(-2.0, made.performer)
    runs_on = act("let go", 0.0, 4.0, 12.0, 14.0)
    hold_s = figure("hold_s")
    assert bring_s(made, (wound,), 0) == pytest.approx(two.by_hand_s)
    assert bring_s(made, (lifted,), 0) == pytest.approx(two.by_needle_s)
    assert bring_s(made, (runs_on, wound), 1) == pytest.approx(hold_s + two.by_hand_s)
    caught = act("catch", 4.0, 0.0, 14.0, 14.0)
    assert bring_s(made, (runs_on, caught, wound), 2) == pytest.approx(hold_s + two.by_hand_s)
    pushed = act("push", 3.0, 1.0, 13.0, 14.0)
    assert bring_s(made, (pushed, wound), 1) == pytest.approx(two.by_hand_s)
    ((place, beat, begin, end),) = stays(wound)
    assert (place, beat, end) == ("left", 4.0, 12.0)
    assert begin == pytest.approx(12.0 - two.by_hand_s / 0.5)
    short = act("wind", 4.0, 0.25, 14.0, 14.0 - 2 * turn_s)
    assert stays(short) == [("left", 4.0, 4.0, 4.25)]
