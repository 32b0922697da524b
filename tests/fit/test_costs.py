"""What each difference costs and how it is told, worked by hand.

Costs run from 0 to 1; points are 100 x weight x cost. Weights: pitch, reading and beat .15 each,
key .25, kind and energy .10, length and loudness .05.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.fit.costs import costs_of
from liveaid.fit.fit import fits
from liveaid.fit.why import length_words, percent, phrase_words, reading, reasons, relation_words
from liveaid.routine.harmony import Pitched, meet, meet_keys
from liveaid.routine.keys import EVERY_KEY, parse_key
from liveaid.routine.model import Turntable
from liveaid.shelf.crate_facts import facts_of


@pytest.fixture(scope="module")
def fitted(sound):
    """One fit of a sound with another, by their facts."""

    def one(mine, theirs, **how):
        (fit,) = fits(sound(**mine), {"x": sound(**theirs)}, **how)
        return fit

    return one


@pytest.fixture(scope="module")
def costs(fitted):
    return lambda mine, theirs, **how: {
        each.term: each.cost for each in fitted(mine, theirs, **how).costs
    }


def test_a_whole_tone_of_pitch_costs_all_of_its_share(costs):
    # 96 / 92: 12 log2(1.0434783) = 0.73681 semitones of 2; 107 / 92 = 2.6151 semitones: all of it.
    assert costs({"tempo": 96.0}, {"tempo": 92.0})["pitch"] == pytest.approx(0.36840, abs=1e-4)
    assert costs({"tempo": 92.0}, {"tempo": 96.0})["pitch"] == pytest.approx(0.36840, abs=1e-4)
    assert costs({"tempo": 107.0}, {"tempo": 92.0})["pitch"] == 1.0


@pytest.mark.parametrize(
    ("mine", "other", "cost"), [(92.0, 92.0, 0.0), (92.0, 46.0, 0.5), (46.0, 92.0, 0.5),
                                (92.0, 138.0, 1.0), (138.0, 92.0, 1.0)],
)  # fmt: skip
def test_half_time_costs_half_and_three_to_two_all(costs, mine, other, cost):
    assert costs({"tempo": mine}, {"tempo": other})["reading"] == cost


def test_a_drift_of_two_per_cent_costs_all_and_the_one_that_drifts_more_counts(costs):
    drifting = {"tempo_drift_percent": -1.0}
    assert costs(drifting, {})["beat"] == costs({}, drifting)["beat"] == 0.5
    assert costs({"tempo_drift_percent": 0.4}, drifting)["beat"] == 0.5
    assert costs({}, {"tempo_drift_percent": 3.0})["beat"] == 1.0
    # Sure by .8 and .5: .4 of the cost of .5, and .6 of what may be hidden: .2 + .6 = .8.
    doubtful = costs({"tempo_confidence": 0.8}, {**drifting, "tempo_confidence": 0.5})
    assert doubtful["beat"] == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("other", "cost"),
    [("A minor", 0.0), ("C major", 0.05), ("A major", 0.4), ("E minor", 0.15),
     ("B minor", 0.5), ("Bb minor", 1.0)],
)  # fmt: skip
def test_keys_cost_by_their_steps(costs, other, cost):
    assert costs({}, {"key": other})["key"] == pytest.approx(cost)


def test_out_of_tune_costs_from_what_is_heard_to_a_quarter_tone(costs):
    # (27.5 - 5) / (50 - 5) = .5 of what is left; the same for a tuning below.
    assert costs({}, {"tuning_cents": 27.5})["key"] == pytest.approx(0.5)
    assert costs({"tuning_cents": 27.5}, {})["key"] == pytest.approx(0.5)
    # A fifth: .15 + .85 x .5 = .575. Sure by .6: .345 + .4 = .745.
    off = {"key": "E minor", "tuning_cents": -27.5, "key_confidence": 0.6}
    assert costs({}, off)["key"] == pytest.approx(0.745)
    assert costs({}, {"key": None})["key"] == 0.0


@pytest.mark.parametrize("apart", [-3.4, -0.3, 0.0, 0.2, 1.0, 11.6])
def test_every_two_keys_cost_what_they_cost_in_a_routine(sound, apart):
    """The ranking of a whole crate, key by key against `harmony`."""
    mine = sound(key="C# minor", tuning_cents=-20.0)
    crate = facts_of([sound(key=str(key), tuning_cents=30.0) for key in EVERY_KEY])
    ratio = np.full(len(EVERY_KEY), 2 ** (apart / 12))
    for locked in (False, True):
        found = costs_of(facts_of([mine]), crate, ratio, 1.0, key_locked=locked)["key"]
        kept = 0.0 if locked else apart
        one = Pitched(parse_key("C# minor"), tuning_cents=-20.0)
        assert found == pytest.approx(
            [meet(one, Pitched(key, 30.0, kept)).cost for key in EVERY_KEY], abs=1e-9
        )


def test_kinds_cost_as_in_the_table_as_far_as_they_are_sure(costs):
    # Two instrumentals .4; sure by .5 each: .25 x .4 + .75 x 1 = .85.
    assert costs({}, {})["kind"] == pytest.approx(0.4)
    half = {"kind_confidence": 0.5}
    assert costs(half, half)["kind"] == pytest.approx(0.85)


def test_energy_costs_a_quarter_a_step_and_loudness_a_twelfth_an_lu(costs):
    assert costs({"energy": 1}, {"energy": 4})["energy"] == 0.75
    assert costs({}, {"loudness_lufs": -18.0})["loudness"] == 0.5
    assert costs({}, {"loudness_lufs": -3.0})["loudness"] == 0.75
    assert costs({}, {"loudness_lufs": -25.0})["loudness"] == 1.0
    assert costs({}, {"loudness_lufs": None})["loudness"] == 1.0


@pytest.mark.parametrize(
    ("mine", "theirs", "cost"),
    [
        ({"loop_beats": 16}, {"loop_beats": 4}, 0.0),
        ({"loop_beats": 4}, {"loop_beats": 16}, 0.0),
        ({"loop_beats": 16}, {"loop_beats": 12}, 1.0),
        ({"loop_beats": 16}, {}, 0.5),
        ({"loop_beats": 16, "metre": 4}, {"loop_beats": 16, "metre": 3}, 1.0),
        ({"metre": None}, {"metre": 3}, 0.5),
        # 8 beats at 92 are 4 of the other at 46: its loop of 4 is the same length.
        ({"loop_beats": 8, "tempo": 92.0}, {"loop_beats": 4, "tempo": 46.0}, 0.0),
        ({"loop_beats": 6, "tempo": 92.0}, {"loop_beats": 4, "tempo": 46.0}, 1.0),
    ],
)
def test_loops_that_do_not_meet_cost(costs, mine, theirs, cost):
    assert costs(mine, theirs)["length"] == cost


def test_points_add_up_to_what_the_score_lacks(fitted):
    # Half time 7.5, E minor 3.75, two instrumentals 4, two steps of energy 5, 6 LU 2.5, no loops
    # 2.5: 25.25 off.
    fit = fitted({"tempo": 92.0}, {"tempo": 46.0, "key": "E minor", "energy": 5,
                                   "loudness_lufs": -18.0})  # fmt: skip
    points = {cost.term: cost.points for cost in fit.costs if cost.points}
    assert points == pytest.approx(
        {"reading": 7.5, "key": 3.75, "kind": 4.0, "energy": 5.0, "length": 2.5, "loudness": 2.5}
    )
    assert fit.score == pytest.approx(74.75)


def told(sound, fitted, mine, theirs, **how):
    fit = fitted(mine, theirs)
    return dict(reasons(sound(**mine), sound(**theirs), fit, Turntable(**how)))


def test_the_reasons_give_the_numbers_a_performer_sets(sound, fitted):
    said = told(sound, fitted, {"tempo": 96.0, "energy": 2}, {
        "tempo": 92.0, "key": "E minor", "tuning_cents": 30.0, "loudness_lufs": -18.0,
        "phrases_s": ((0.0, 12.0),),
    })  # fmt: skip
    # Shared: sqrt(96 / 92) = 1.0215078: up 2.15 %, and 92 / 96 x that = .978945: down 2.11 %.
    assert said["pitch"] == (
        "the other deck alone +4.35 %, or this deck alone -4.17 %, or shared: this -2.11 %, the"
        " other +2.15 %; 92.00 BPM comes to 96.00"
    )
    assert said["reading"] == "beat on beat"
    assert said["energy"] == "from 2 to 3 of 5"
    # .7368 semitones and 30 cents are 1.0368: F minor, 4 cents above. F against A: 4 fifths.
    assert "the pitch moves it +0.74 semitones; tuned +30 cents apart" in said["key"]
    assert "heard as F minor +4 ct: 4 fifths apart" in said["key"]
    assert "with the key kept E minor +30 ct: a fifth apart; confidence 1.00" in said["key"]
    # The other is 6 LU quieter: 6 dB up, its peak of -3 goes to +3 dBTP.
    assert said["loudness"] == (
        "-6.0 LU; the other's gain +6.0 dB, peak then +3.0 dBTP, above -1: take this deck down"
        " instead"
    )
    # A bar of four at 96 is 2.5 s, 2.608696 s of a record 4.348 % up: 60 s are 23, 12 s are 4.6.
    assert said["length"] == "23.00 bars; phrases of 4.6 bars"


def test_what_no_deck_reaches_alone_is_told_with_both(sound, fitted):
    said = told(sound, fitted, {"tempo": 100.0}, {"tempo": 86.0})
    # sqrt(100 / 86) = 1.0783277; 86 x that = 92.736.
    assert said["pitch"] == (
        "neither deck alone reaches it within ±8 %, or shared: this -7.26 %, the other +7.83 %;"
        " 86.00 BPM comes to 92.74; 100.00 here to 92.74"
    )


@pytest.mark.parametrize(
    ("theirs", "term", "said"),
    [
        # 92 / 96 is -4.17 % and .74 semitones down; 92 / 91.99 is +.01 %, .002 semitones.
        ({"tempo": 91.99}, "pitch", "the other deck alone +0.01 %, or this deck alone -0.01 %, or"
         " shared: this -0.01 %, the other +0.01 %; 91.99 BPM comes to 92.00"),
        ({"tempo": 92.001}, "pitch", "none needed: 92.00 BPM to 92.00"),
        ({"tempo": 96.0}, "pitch", "the other deck alone -4.17 %, or this deck alone +4.35 %, or"
         " shared: this +2.15 %, the other -2.11 %; 96.00 BPM comes to 92.00"),
        ({"tempo": 96.0}, "key", "A minor against A minor; the pitch moves it -0.74 semitones;"
         " heard as Ab minor +26 ct: 5 fifths apart; with the key kept A minor: same key;"
         " confidence 1.00"),
        ({"tempo": 91.9}, "key", "A minor against A minor; the pitch moves it +0.02 semitones;"
         " heard as A minor +2 ct: same key; with the key kept A minor: same key;"
         " confidence 1.00"),
        ({"key": None}, "key", "the other has no key: nothing to clash"),
        ({"tempo": None}, "reading", "no beats to count together"),
        ({"tempo": None}, "beat", "it has no tempo: no beats to match, cue it by hand"),
        # 92 BPM are 4 beats in 2.608696 s, 1.449 turns of 1.8 s at 33 1/3.
        ({}, "beat", "this 92.00 BPM, confidence 1.00; the other 92.00 BPM, confidence 1.00; a bar"
         " is 1.449 turns of the other's platter"),
        # 6 s are 2.3 bars. Of nine phrases of a bar eight are told.
        ({"phrases_s": ((0.0, 240 / 92),) * 8, "duration_s": 6.0}, "length",
         "2.30 bars; phrases of 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0 bars"),
        ({"phrases_s": ((0.0, 240 / 92),) * 9, "duration_s": 6.0}, "length",
         "2.30 bars; phrases of 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0 ... bars"),
        ({"loop_beats": 8, "duration_s": 6.0}, "length", "2.30 bars"),
        ({"metre": 3, "duration_s": 6.0}, "length", "2.30 bars; 3 beats in a bar against 4"),
        ({"metre": None, "duration_s": 6.0}, "length", "2.30 bars"),
        ({"loudness_lufs": 0.5, "true_peak_dbtp": 1.0}, "loudness", "+12.5 LU; the other's gain"
         " -12.5 dB, more than a mixer's gain usually gives, peak then -11.5 dBTP"),
    ],
)  # fmt: skip
def test_every_term_is_told_by_its_numbers(sound, fitted, theirs, term, said):
    assert told(sound, fitted, {}, theirs)[term] == said


def test_what_this_sound_has_and_the_other_has_not(sound, fitted):
    said = told(sound, fitted, {"key": None, "loop_beats": 8}, {"duration_s": 6.0})
    assert said["key"] == "this sound has no key: nothing to clash"
    assert said["length"] == "2.30 bars"
    said = told(sound, fitted, {"loop_beats": 8}, {"loop_beats": 12, "duration_s": 6.0})
    assert said["length"] == "2.30 bars; a loop of 12 beats against 8"
    # Without a tempo here a bar is one of the other's own.
    said = told(sound, fitted, {"tempo": None}, {"duration_s": 6.0})
    assert said["length"] == "2.30 bars of its own"


def test_nothing_to_set_is_said_so(sound, fitted):
    said = told(sound, fitted, {"tempo": 92.0}, {"tempo": 184.0, "loudness_lufs": -11.0})
    assert said["pitch"] == "none needed: 184.00 BPM to 184.00"
    # One LU louder: down 1 dB, from -3 to -4 dBTP.
    assert said["loudness"] == "+1.0 LU; the other's gain -1.0 dB, peak then -4.0 dBTP"
    assert said["key"].startswith("A minor against A minor; not moved; heard as A minor")


@pytest.mark.parametrize(
    ("mine", "other", "said"),
    [
        (92.0, 184.0, "two beats of the other to one of this one"),
        (92.0, 46.0, "two beats of this one to one of the other"),
        (92.0, 138.0, "three beats of the other to two of this one"),
        (138.0, 92.0, "three beats of this one to two of the other"),
    ],
)
def test_which_beats_meet_which(sound, fitted, mine, other, said):
    assert told(sound, fitted, {"tempo": mine}, {"tempo": other})["reading"] == said


def test_a_guess_is_called_one(sound, fitted):
    said = told(sound, fitted, {"kind_confidence": 0.49}, {
        "tempo_confidence": 0.4, "tempo_alternative": 184.0, "tempo_rival": 61.3,
        "tempo_drift_percent": -0.1,
        "key_confidence": 0.49, "kind_confidence": 0.5,
    })  # fmt: skip
    assert "the other 92.00 BPM, confidence 0.40 (or 184.00 or 61.30), drifts" in said["beat"]
    assert "drifts -0.1 %" in said["beat"]
    assert "this 92.00 BPM, confidence 1.00;" in said["beat"]
    assert said["key"].endswith("confidence 0.49, a guess")
    assert said["kind"] == "instrumental (a guess) with instrumental"


def test_a_gain_no_mixer_gives_is_told(sound, fitted):
    said = told(sound, fitted, {}, {"loudness_lufs": -24.5, "true_peak_dbtp": None})
    assert said["loudness"] == (
        "-12.5 LU; the other's gain +12.5 dB, more than a mixer's gain usually gives"
    )
    just = told(sound, fitted, {}, {"loudness_lufs": -24.0, "true_peak_dbtp": None})
    assert just["loudness"] == "-12.0 LU; the other's gain +12.0 dB"  # of up to 12, as said there
    assert told(sound, fitted, {}, {"loudness_lufs": None})["loudness"] == "not known"


def test_short_words_for_tables(fitted):
    assert [percent(value) for value in (4.347, -0.004, 0.005, -7.5)] == [
        "+4.35 %", "0 %", "+0.01 %", "-7.50 %",
    ]  # fmt: skip
    assert [length_words(s) for s in (0.0, 59.96, 83.25, 600.0)] == [
        "0:00.0", "1:00.0", "1:23.2", "10:00.0",
    ]  # fmt: skip
    a = parse_key("A minor")
    heard = [relation_words(meet_keys(a, parse_key(k), apart_semitones=c / 100))
             for k, c in (("C major", 0.0), ("E minor", 12.0), ("G major", -0.4))]  # fmt: skip
    assert heard == ["relative", "a fifth +12 ct", "fifth, other mode"]
    assert [reading(fitted({"tempo": 92.0}, {"tempo": t}).meeting) for t in (92, 184, 46, 138)] == [
        "same", "double", "half", "3 to 2",
    ]  # fmt: skip
    assert reading(None) == "-"
    # A bar of four at 92 is 2.608696 s: 4, 2 and 3 bars, the middle one 3.
    phrases = tuple((0.0, bars * 240 / 92) for bars in (4, 2, 3))
    assert phrase_words(fitted({}, {"phrases_s": phrases})) == "3 x 3.0"
    assert phrase_words(fitted({}, {})) == "-"


def test_without_a_metre_a_bar_has_four_beats(fitted):
    # 60 s at 90 BPM are 90 beats, 22.5 bars of 4; with a tempo on neither or one side alike.
    bars = {"tempo": 90.0, "metre": None}
    loose = {"tempo": None, "metre": None, "kind": "a cappella"}
    assert fitted(bars, bars).length_bars == pytest.approx(22.5)
    assert fitted(bars, loose).length_bars == pytest.approx(22.5)
    assert fitted(loose, bars).length_bars == pytest.approx(22.5)
    assert fitted(loose, loose).length_bars is None
    # With three beats to this sound's bar 30; without its tempo the other's own bars count.
    assert fitted({**bars, "metre": 3}, bars).length_bars == pytest.approx(30.0)
    assert fitted(loose, {**bars, "metre": 3}).length_bars == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("metre", "before_s", "beats"),
    [
        (4, 2.0, 3.0),  # 2 s at 90 BPM are 3 beats
        (3, 2.0, 0.0),  # a whole bar of three: on the bar line before
        (None, 2.0, 3.0),
        (None, 8 / 3, 0.0),  # four beats
        (4, -0.5, 0.0),
    ],
)
def test_a_pick_up_is_shorter_than_a_bar(fitted, metre, before_s, beats):
    voice = {"tempo": 90.0, "metre": metre, "first_downbeat": 5.0,
             "phrases_s": ((5.0 - before_s, 9.0),)}  # fmt: skip
    assert fitted({"tempo": 90.0}, voice).pickup_beats == pytest.approx(beats)


def test_a_cent_of_tuning_is_told_and_less_is_not(sound, fitted):
    assert "tuned +1 cents apart" in told(sound, fitted, {}, {"tuning_cents": 1.0})["key"]
    assert "tuned -1 cents apart" in told(sound, fitted, {"tuning_cents": 1.0}, {})["key"]
    assert "tuned" not in told(sound, fitted, {}, {"tuning_cents": 0.9})["key"]
