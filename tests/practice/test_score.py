"""A take's score from visits, acts and counts made by hand: three set pieces, two bars each."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice import score as scoring
from liveaid.practice.act_score import ActScore, Played, WindScore
from liveaid.practice.aim import Aim
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.delays import Delays
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import FaderScore
from liveaid.practice.limits import LEVELS
from liveaid.practice.score import score_take
from liveaid.practice.visits import Visit
from liveaid.routine.load import read_routine

ROUTINE = read_routine(b"""
title: Stalls
metre: 4
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 2.0}}
  - {name: Two, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 20.0}}
  - {name: Three, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 40.0}}
""")
KNOWN = Delays(measured=True)


def act(beat, ms=0.0, *, outcome="heard", kind="release", by="click", side="right", **more):
    heard_s = 0.5 * beat + ms / 1000.0 if outcome in ("heard", "added") else None
    return ActScore(kind=kind, side=side, beat=float(beat), outcome=outcome, heard_s=heard_s,
                    due_s=0.5 * beat, by=by, beat_s=0.5, **more)  # fmt: skip


EVEN = tuple(act(beat) for beat in range(8))


def played(piece=0, acts=EVEN, *, from_beat=0.0, to_beat=8.0, tempos=(120.0, 120.0), **more):
    """Gone through from beat to beat, its first four beats at one tempo, the others at another."""
    first, second = (60.0 / tempo for tempo in tempos)
    count = BeatTimes(
        np.array([0.0, 4.0, 8.0]), np.array([0.0, 4 * first, 4 * (first + second)]), "left"
    )
    visit = Visit(piece, from_beat, to_beat, 0.0, 4.0)
    return Played(visit, tuple(acts), more.pop("count", count), **more)


def scored(*gone, **how):
    return score_take(ROUTINE, gone, **{"delays": KNOWN, **how})


def piece(*acts, **how):
    """Verdict and reasons of a set piece."""
    given = {key: how.pop(key) for key in ("limits", "tempo_part", "delays") if key in how}
    (one,) = scored(played(acts=acts or EVEN, **how), **given).pieces
    return one.verdict, one.why


@pytest.mark.parametrize(
    ("tempos", "part", "bpm", "percent", "drift"),
    [
        ((120.0, 120.0), 1.0, 120.0, 0.0, 0.0),
        # Eight beats in 2 + 1.6 s: 133.33 BPM, 11.11 % above 120; the second half 25 % faster, an
        # even change of twice that.
        ((120.0, 150.0), 1.0, 133.333, 11.111, 50.0), ((120.0, 96.0), 1.0, 106.667, -11.111, -40.0),
        ((96.0, 96.0), 0.8, 96.0, 0.0, 0.0), ((120.0, 120.0), 0.8, 120.0, 25.0, 0.0),
    ],
)  # fmt: skip
def test_the_tempo_held_against_the_one_asked_for(tempos, part, bpm, percent, drift):
    (one,) = scored(played(tempos=tempos), tempo_part=part).pieces
    assert (one.tempo_bpm, one.tempo_percent, one.drift_percent) == pytest.approx(
        (bpm, percent, drift), abs=1e-3
    )


def test_of_less_than_two_beats_or_without_a_count_no_tempo_is_told():
    for how, told in (({"to_beat": 2.0}, True), ({"to_beat": 1.9}, False), ({"count": None}, False),
                      ({"from_beat": 6.0}, True), ({"from_beat": 6.1}, False)):  # fmt: skip
        (one,) = scored(played(**how)).pieces
        assert (one.tempo_bpm is not None) is told, how
        assert (one.drift_percent is not None) is told, how


@pytest.mark.parametrize(
    ("how", "why"),
    [
        # A performer's 3 %; just 3 % is within a limit of it.
        ({"tempos": (123.5, 123.5)}, []), ({"tempos": (123.7, 123.7)}, ["too fast"]),
        ({"tempos": (116.3, 116.3)}, ["too slow"]), ({"tempos": (116.5, 116.5)}, []),
        # From beat 1 on it is told where it was begun, from a beat before its end how much is left.
        ({"from_beat": 0.9}, []), ({"from_beat": 1.0}, ["begun at bar 1 beat 2"]),
        ({"from_beat": 4.2}, ["begun at bar 2"]), ({"from_beat": 5.6}, ["begun at bar 2 beat 3"]),
        ({"to_beat": 7.1}, []), ({"to_beat": 7.0}, ["ended 1 beat early"]),
        ({"to_beat": 5.6}, ["ended 2 beats early"]), ({"to_beat": 5.0}, ["ended 1 bar early"]),
        ({"to_beat": 5.1}, ["ended 3 beats early"]), ({"to_beat": 0.5}, ["ended 2 bars early"]),
    ],
)  # fmt: skip
def test_what_keeps_a_set_piece_from_being_clean(how, why):
    (one,) = scored(played(**how)).pieces
    assert (list(one.why), one.verdict) == (why, "not clean" if why else "clean")
    assert one.whole is not any(word in " ".join(why) for word in ("begun", "ended"))


def test_acts_that_were_missed_added_or_let_go_turns_off():
    missed, added = act(3, outcome="missed"), act(3.5, outcome="added")
    assert piece(*EVEN, missed) == ("not clean", ("1 missed",))
    assert piece(*EVEN, added, added) == ("not clean", ("2 added",))
    assert piece(*EVEN, missed, limits=LEVELS["beginner"]) == ("clean", ())
    assert piece(*EVEN, added, added, limits=LEVELS["beginner"]) == ("not clean", ("2 added",))
    ahead, behind = replace(EVEN[0], turns_off=1), replace(EVEN[0], turns_off=-2)
    assert piece(ahead, *EVEN[1:]) == ("not clean", ("right record 1 turn ahead of its cue",))
    assert piece(behind, *EVEN[1:]) == ("not clean", ("right record 2 turns behind its cue",))
    late = WindScore(side="left", turns=2.0, due_s=1.0, ready_s=1.5, spare_beats=-1.0)
    assert piece(winds=(late,)) == ("not clean", ("left record at its cue 1.0 beats late",))


def test_what_cannot_be_judged_says_why():
    """One act late by what may be a delay; none; a wind done in time is enough to be clean."""
    unsure = {"delays": Delays()}
    assert piece(act(0, 30), **unsure) == (
        "not judged",
        ("too few acts to tell a delay from the hands: `liveaid rehearse --calibrate` does",),
    )
    assert piece(act(0, outcome="skipped"), **unsure) == ("not judged", ("nothing to time",))
    done = WindScore(side="left", turns=2.0, due_s=1.0, ready_s=0.5, spare_beats=1.0)
    assert piece(act(0, outcome="skipped"), winds=(done,)) == ("clean", ())


def test_a_take_of_several_set_pieces():
    bad, none = (
        played(1, [*EVEN, act(3, outcome=o), act(4, outcome="skipped")])
        for o in ("missed", "added")
    )
    whole = scored(played(0), bad, played(2))
    assert (whole.verdict, whole.run_through, whole.skipped_pieces, whole.repeated_pieces) == (
        "not clean", True, (), (),
    )  # fmt: skip
    assert (whole.heard, whole.missed, whole.added, whole.skipped) == (24, 1, 0, 1)
    assert (scored(none).added, scored(none).missed) == (1, 0)
    assert scored(played(0), played(1), played(2)).verdict == "clean"
    left_out = scored(played(0), played(2))
    assert (left_out.verdict, left_out.run_through, left_out.skipped_pieces) == (
        "not clean",
        False,
        (1,),
    )
    again = scored(played(0), played(1), played(1), played(2))
    assert (again.run_through, again.repeated_pieces, again.verdict) == (False, (1,), "clean")
    for first, last in (({"from_beat": 1.0}, {}), ({}, {"to_beat": 7.0})):
        assert not scored(played(0, **first), played(1), played(2, **last)).run_through
    assert not scored(played(1), played(2)).run_through
    empty = scored()
    assert (empty.verdict, empty.run_through, empty.pieces) == ("not judged", False, ())


def test_a_take_is_clean_when_something_in_it_was_judged_and_all_of_that_was_clean():
    for verdicts, whole in (
        (["clean", "not judged"], "clean"), (["not judged"], "not judged"), ([], "not judged"),
        (["clean", "not clean", "not judged"], "not clean"),
    ):  # fmt: skip
        assert scoring._together(verdicts) == whole


def test_a_delay_is_left_out_until_it_was_measured():
    late = [played(0, [act(beat, 60) for beat in range(8)])]
    known, unknown = scored(*late), scored(*late, delays=Delays())
    assert (known.verdict, known.pieces[0].why, known.shift) == (
        "not clean",
        ("releases late",),
        "",
    )
    assert (unknown.verdict, unknown.pieces[0].why) == ("clean", ())
    assert unknown.shift.startswith("All through, the right deck is 60 ms late against the click")
    assert known.shifts == unknown.shifts
    assert (unknown.bias_ms, unknown.delays.measured) == (pytest.approx(60.0), False)


def test_of_a_stretch_places_and_beats_are_told_as_the_whole_ones():
    """The set piece is the fourth of the whole routine, and two of its bars come before."""
    cut = CutScore(opens=True, beat=1.0, at_s=1.0, off_ms=0.0)
    more = CutScore(opens=True, beat=None, at_s=2.0, off_ms=None)
    one = played(faders=(FaderScore(side="right", heard=True, cuts=(cut, more)),), to_beat=4.0)
    (told,) = scored(one, first=3, gone_beats=(8,)).pieces
    assert (told.index, told.bars_before, told.name) == (3, 2, "One")
    assert [each.beat for each in told.acts] == [8.0 + beat for beat in range(8)]
    assert [each.beat for each in told.faders[0].cuts] == [9.0, None]
    begun = scored(played(from_beat=4.0), first=3, gone_beats=(8,)).pieces[0]
    assert begun.why == ("begun at bar 4",)
    assert scored(played(0), played(1), played(2), first=3).run_through
    assert scored(played(0), played(2), first=3).skipped_pieces == (4,)


def test_a_kept_take_is_scored_by_its_decks_delays_and_what_was_aimed_at(monkeypatch):
    """At .69 of full tempo on decks made for .92 it was meant for three quarters of theirs."""
    asked = []
    late = SimpleNamespace(
        corrected=lambda trace: ("in time", trace), heard_s=lambda at_s: at_s + 0.5,
        corrected_mixer=lambda mixer: ("in time", mixer),
    )  # fmt: skip
    kept = SimpleNamespace(delays=late, tempo_part=0.69, decks_part=0.92, trace="trace",
                           visits="visits", mixer="mixer", counted_in_s=3.0)  # fmt: skip
    whole = scored(played(0))
    monkeypatch.setattr(
        scoring, "assess", lambda *what, **how: asked.append((what, how)) or "played"
    )
    monkeypatch.setattr(
        scoring, "score_take", lambda *what, **how: asked.append((what, how)) or whole
    )
    monkeypatch.setattr(scoring, "advice", lambda _, metre: {"left": f"{metre}"})
    aim = Aim(routine=ROUTINE, piece="Two", first=1, gone_beats=(4,), limits=LEVELS["beginner"])
    assert scoring.score_of(aim, kept, earlier=("off",)) == replace(whole, advice={"left": "4"})
    part = pytest.approx(0.75)
    assert asked == [
        ((ROUTINE, ("in time", "trace"), "visits"),
         {"mixer": ("in time", "mixer"), "counted_in_s": 3.5, "tempo_part": part, "stops": False}),
        ((ROUTINE, "played"),
         {"limits": LEVELS["beginner"], "delays": late, "earlier": ("off",), "first": 1,
          "gone_beats": (4,), "tempo_part": part}),
    ]  # fmt: skip
    scoring.score_of(Aim(routine=ROUTINE), kept)
    assert asked[2][1]["stops"] is True
