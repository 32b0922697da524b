"""What a set piece is called and why, from acts worked out by hand: on each side of every limit.

Three set pieces of four bars at 100 BPM; a beat is 0.6 s, 16 beats 9.6 s. The limits are a
performer's: 0.025 of a beat for the mean of many acts, 0.1 for one act, 3 % of the tempo.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.act_score import ActScore, Played, WindScore
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.delays import Delays
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import FaderScore
from liveaid.practice.limits import Limits
from liveaid.practice.score import score_take
from liveaid.practice.visits import Visit
from liveaid.routine import Routine

MEASURED = Delays(measured=True)
BEAT_S = 0.6
ROUTINE = Routine.model_validate({"title": "T", "pieces": [
    {"name": name, "bars": 4, "tempo": 100, "count": "left",
     "left": {"hand": "runs", "at": 10.0 * n}, "right": {"hand": "works", "from": 100, "to": 101}}
    for n, name in enumerate(("Lids", "Pestle", "Awnings"))
]})  # fmt: skip


def act(beat, off_beats=0.0, outcome="heard", **more):
    """A right record's release, so many beats late."""
    times = {"due_s": beat * BEAT_S, "heard_s": (beat + off_beats) * BEAT_S}
    told = times if outcome == "heard" else {}
    return ActScore(**{"kind": "release", "side": "right", "beat": float(beat), "outcome": outcome,
                       "by": "left", "beat_s": BEAT_S, **told, **more})  # fmt: skip


def count_of(*tempos):
    """Sixteen beats, an even share at each tempo."""
    each = 16 // len(tempos)
    lengths = [60.0 / tempo for tempo in tempos for _ in range(each)]
    return BeatTimes(np.arange(17.0), np.concatenate([[0.0], np.cumsum(lengths)]), by="left")


def played(acts=(), *, piece=0, beats=(0.0, 16.0), count=None, winds=()):
    visit = Visit(piece, *beats, 9.6 * piece, 9.6 * (piece + 1))
    return Played(visit, tuple(acts), count, (), tuple(winds))


def score(*visits, **more):
    return score_take(ROUTINE, visits, **{"delays": MEASURED, **more})


def why(*acts, **more):
    """What keeps one set piece with these acts from being clean."""
    (piece,) = score(played(acts), **more).pieces
    assert (piece.verdict == "clean") == (piece.why == ())
    return list(piece.why)


@pytest.mark.parametrize(
    ("from_beat", "to_beat", "says"),
    [
        (0.0, 16.0, []),
        (0.9, 16.0, []),
        (1.0, 16.0, ["begun at bar 1 beat 2"]),
        (4.0, 16.0, ["begun at bar 2"]),
        (5.6, 16.0, ["begun at bar 2 beat 3"]),
        (0.0, 15.1, []),
        (0.0, 15.0, ["ended 1 beat early"]),
        (0.0, 14.0, ["ended 2 beats early"]),
        (0.0, 13.1, ["ended 3 beats early"]),
        (0.0, 13.0, ["ended 1 bar early"]),  # three quarters of a bar
        (0.0, 8.0, ["ended 2 bars early"]),
        (4.0, 12.0, ["begun at bar 2", "ended 1 bar early"]),
    ],
)
def test_what_was_not_gone_through_whole(from_beat, to_beat, says):
    acts = [act(beat) for beat in range(5, 12)]
    (piece,) = score(played(acts, beats=(from_beat, to_beat))).pieces
    assert (list(piece.why), piece.whole) == (says, not says)


@pytest.mark.parametrize(
    ("off_beats", "says"),
    [
        # Eight acts alike: 0.025 + 1.645 x 0.02 / sqrt(8) = 0.0366.
        (0.036, []),
        (0.037, ["releases late"]),
        (-0.036, []),
        (-0.037, ["releases early"]),
    ],
)
def test_late_or_early_all_through(off_beats, says):
    assert why(*(act(beat, off_beats) for beat in range(8))) == says


def test_one_act_may_be_a_tenth_of_a_beat_off():
    """Nine acts, one so much late and one as much early: they spread by 0.1 sqrt(2 / 8) = 0.05 of a
    beat, and 0.04 sqrt(15.507 / 8) = 0.0557 says nothing yet (chi-square table)."""

    def one(off_beats):
        return why(*(act(beat) for beat in range(7)), act(7, off_beats), act(8, -off_beats))

    assert one(0.0999) == []
    assert one(0.1001) == ["one release far off"]


def test_hands_to_and_fro_are_uneven():
    """Off by s one way and the other, eight acts: they spread by s sqrt(8 / 7). The limit for seven
    degrees of freedom is 0.04 sqrt(14.067 / 7) = 0.0567 (chi-square table): s is 0.0530."""

    def swing(s):
        return why(*(act(beat, s if beat % 2 else -s) for beat in range(8)))

    assert swing(0.0529) == []
    assert swing(0.0532) == ["releases uneven"]


@pytest.mark.parametrize(("kind", "slack"), [("release", 1.0), ("return", 1.5), ("stop", 2.0)])
def test_a_return_has_half_as_much_again_and_a_stop_twice(kind, slack):
    """One act: 0.025 + 1.645 x 0.02 = 0.0579 of a beat for a release."""
    assert why(act(0, slack * 0.0578, kind=kind)) == []
    assert why(act(0, slack * 0.0580, kind=kind)) == [f"{kind} late"]


def test_missed_and_added_acts_are_counted():
    acts = [act(beat) for beat in range(6)]
    assert why(*acts, act(6, outcome="missed")) == ["1 missed"]
    assert why(*acts, act(6, outcome="missed"), act(8, outcome="added")) == ["1 missed", "1 added"]
    one = Limits(missed=1, added=1)
    assert why(*acts, act(6, outcome="missed"), act(8, outcome="added"), limits=one) == []
    twice = [act(6, outcome="added"), act(9, outcome="added")]
    assert why(*acts, *twice, limits=one) == ["2 added"]


def test_a_whole_bar_left_out_is_told_as_one():
    acts = [act(beat) for beat in (0, 1, 2, 3)]
    gone = [act(beat, outcome="missed") for beat in (4, 6)]
    assert why(*acts, *gone) == ["bar 2 left out"]
    assert why(*acts, gone[0]) == ["1 missed"]
    other = [act(beat, outcome="added") for beat in (4.5, 5.5)]
    assert why(*acts, *gone, *other) == ["bar 2 improvised"]
    # One a quarter of a beat before a bar is that bar's.
    early = [act(beat, outcome="missed") for beat in (7.75, 9)]
    assert why(*acts, *early) == ["bar 3 left out"]


@pytest.mark.parametrize(
    ("turns", "says"),
    [
        (1, "right record 1 turn ahead of its cue"),
        (-1, "right record 1 turn behind its cue"),
        (2, "right record 2 turns ahead of its cue"),
    ],
)
def test_a_record_let_go_a_turn_off(turns, says):
    assert why(act(0), act(4, turns_off=turns)) == [says]


@pytest.mark.parametrize(
    ("tempo", "part", "says"),
    [
        (102.9, 1.0, []), (103.1, 1.0, ["too fast"]), (97.1, 1.0, []), (96.9, 1.0, ["too slow"]),
        # At 80 % of full tempo 80 BPM are asked for; 3 % of that are 2.4.
        (82.3, 0.8, []), (82.5, 0.8, ["too fast"]), (77.5, 0.8, ["too slow"]),
    ],
)  # fmt: skip
def test_the_tempo_is_held_to_what_was_asked_for(tempo, part, says):
    (piece,) = score(played([act(0)], count=count_of(tempo)), tempo_part=part).pieces
    assert list(piece.why) == says
    assert piece.tempo_bpm == pytest.approx(tempo)
    assert piece.tempo_percent == pytest.approx(100 * (tempo / (100 * part) - 1))
    assert piece.drift_percent == pytest.approx(0.0)


def test_a_tempo_that_rises_evenly_drifts_by_twice_what_its_halves_differ():
    """8 beats at 100 and 8 at 102 BPM: halves 2 % apart, 4 % from begin to end; 16 beats in
    8 x 0.6 + 8 / 1.7 = 9.5059 s are 100.99 BPM."""
    (piece,) = score(played([act(0)], count=count_of(100, 102))).pieces
    assert piece.drift_percent == pytest.approx(4.0)
    assert piece.tempo_bpm == pytest.approx(16 * 60 / (4.8 + 480 / 102))
    # Over less than two beats no tempo is told.
    (short,) = score(played([act(0)], beats=(0.0, 1.9), count=count_of(100))).pieces
    assert (short.tempo_bpm, short.drift_percent) == (None, None)
    (two,) = score(played([act(0)], beats=(0.0, 2.0), count=count_of(100))).pieces
    assert two.tempo_bpm == pytest.approx(100.0)


def wind(spare_beats):
    return WindScore(side="right", turns=3.0, due_s=9.6, ready_s=9.0, spare_beats=spare_beats)


@pytest.mark.parametrize(
    ("spare", "before", "says"),
    [
        # With no time asked for it may be late by as much as one act may.
        (-0.09, 0.0, []),
        (-0.11, 0.0, ["right record at its cue 0.1 beats late"]),
        (-2.04, 0.0, ["right record at its cue 2.0 beats late"]),
        (1.0, 1.0, []),
        (0.6, 1.0, ["right record at its cue only 0.6 beats before"]),
        (None, 0.0, ["right record not brought to its cue"]),
    ],
)
def test_when_a_record_stood_at_its_cue(spare, before, says):
    limits = Limits(wind_beats=before)
    (piece,) = score(played([act(0)], winds=[wind(spare)]), limits=limits).pieces
    assert list(piece.why) == says


def test_what_can_not_be_judged_is_not_called_clean():
    nothing = score(played())
    assert (nothing.verdict, nothing.pieces[0].why) == ("not judged", ("nothing to time",))
    # One act against a count that is not the hand's own clock: a delay, or the hand.
    one = score(played([act(0, 0.2)]), delays=Delays()).pieces[0]
    assert one.verdict == "not judged"
    assert one.why[0].startswith("too few acts to tell a delay from the hands")
    assert score(played(winds=[wind(2.0)])).verdict == "clean"


ALL = [played([act(0)], piece=n) for n in range(3)]


def test_a_run_through_is_every_set_piece_once_in_order_and_whole():
    whole = score(*ALL)
    assert (whole.run_through, whole.verdict, whole.skipped_pieces) == (True, "clean", ())
    cut = score(*ALL[:2], played([act(0)], piece=2, beats=(0.0, 12.0)))
    assert (cut.run_through, cut.verdict) == (False, "not clean")
    late = score(played([act(5)], piece=0, beats=(4.0, 16.0)), *ALL[1:])
    assert late.run_through is False
    # A cut in the middle is not clean, but the routine was gone through.
    inside = score(ALL[0], played([act(0)], piece=1, beats=(0.0, 12.0)), ALL[2])
    assert (inside.run_through, inside.verdict) == (True, "not clean")


def test_set_pieces_left_out_or_played_twice_are_named():
    left_out = score(ALL[0], ALL[2])
    assert (left_out.skipped_pieces, left_out.verdict) == ((1,), "not clean")
    assert left_out.run_through is False
    twice = score(ALL[1], ALL[1], ALL[2])
    assert (twice.repeated_pieces, twice.skipped_pieces) == ((1,), ())
    assert (twice.verdict, twice.run_through) == ("clean", False)


def test_a_stretch_is_told_by_the_whole_routines_bars():
    """It begins with the whole one's third set piece, of which two bars lie before it."""
    late = played([act(0), act(1, outcome="missed"), act(3, outcome="missed"), act(9)],
                  beats=(4.0, 12.0))  # fmt: skip
    (piece,) = score(late, first=2, gone_beats=[8]).pieces
    assert (piece.index, piece.bars_before) == (2, 2)
    assert [one.beat for one in piece.acts] == [8.0, 9.0, 11.0, 17.0]
    assert list(piece.why) == ["begun at bar 4", "ended 1 bar early", "2 missed"]


@pytest.mark.parametrize(
    ("off_beats", "verdict", "says"),
    [
        (0.2, "not judged", None),  # a delay can make that
        (-0.2, "not clean", "release early"),  # no delay makes it early
        (-0.09, "not judged", None),
    ],
)
def test_what_no_delay_can_make_is_the_hands_own(off_beats, verdict, says):
    """Against the click both delays make an act late. One act tells no shift."""
    (piece,) = score(played([act(0, off_beats, by="click")]), delays=Delays()).pieces
    assert piece.verdict == verdict
    assert says is None or piece.why == (says,)


def test_each_kind_of_act_has_its_figures():
    """Releases 0.02 and 0.04 of a beat late, mean 0.03, spread 0.02 / sqrt(2); a return on time."""
    acts = [act(0, 0.02), act(2, 0.04), act(3, kind="return"), act(6, outcome="missed")]
    release, back = score(played(acts)).pieces[0].kinds
    assert (release.kind, release.acts, release.free) == ("release", 2, 1)
    assert release.bias_beats == pytest.approx(0.03)
    assert release.spread_beats == pytest.approx(0.02 / np.sqrt(2))
    assert release.worst_beats == pytest.approx(0.04)
    assert (back.kind, back.acts, back.spread_beats) == ("return", 1, None)


def test_acts_whose_count_was_only_fitted_to_them_spread_but_are_neither_early_nor_late():
    """0.30 and 0.34 of a beat: 0.28 of it could be the count, 0.0283 is their spread."""
    loose = [act(0, 0.30, by=None), act(2, 0.34, by=None)]
    (kind,) = score(played(loose)).pieces[0].kinds
    assert (kind.acts, kind.bias_beats) == (2, None)
    assert kind.spread_beats == pytest.approx(0.04 / np.sqrt(2))
    assert score(played(loose[:1])).pieces[0].kinds == ()


def test_a_take_counts_what_its_set_pieces_do():
    first = played([act(0), act(4, outcome="missed"), act(9, outcome="added")])
    second = played([act(0), act(4, outcome="missed"), act(6, outcome="skipped")], piece=1)
    take = score(first, second)
    assert (take.heard, take.missed, take.added, take.skipped) == (2, 2, 1, 1)
    assert [(one.missed, one.added, one.skipped) for one in take.pieces] == [(1, 1, 0), (1, 0, 1)]


def test_a_shift_is_named_only_as_long_as_nobody_measured():
    """Eight releases 60 ms late against the left record."""
    late = played([act(beat, 0.1) for beat in range(8)])
    unknown = score(late, delays=Delays())
    assert unknown.shift.startswith("All through, the left deck is 60 ms early against the right")
    assert unknown.verdict == "clean"
    measured = score(late)
    assert (measured.shift, measured.verdict) == ("", "not clean")
    assert measured.bias_ms == pytest.approx(60.0)
    assert measured.bias_beats == pytest.approx(0.1)


def test_a_stretchs_cuts_are_told_by_the_whole_ones_beats():
    cuts = (CutScore(opens=True, beat=4.0, at_s=2.4, off_ms=3.0, room_beats=0.5),
            CutScore(opens=True, beat=None, at_s=3.0, off_ms=None))  # fmt: skip
    fader = FaderScore(side="right", heard=True, cuts=cuts)
    one = played([act(0)])
    (piece,) = score(Played(one.visit, one.acts, None, (fader,)), gone_beats=[8]).pieces
    assert [cut.beat for cut in piece.faders[0].cuts] == [12.0, None]
