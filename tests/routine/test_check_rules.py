"""Each rule of check against numbers worked by hand; sources beside them."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from liveaid.routine import Sound
from liveaid.routine.check import check, hand_plan, open_question
from liveaid.routine.check.key_rules import sounding_key
from liveaid.routine.check.time import minutes
from liveaid.routine.hands import crossfader_end
from liveaid.routine.harmony import meet


def said(routine, rule, **known):
    """Findings of one rule as (severity, piece, numbers)."""
    return [(f.severity, f.piece, dict(f.numbers)) for f in check(routine, **known)
            if f.rule == rule]  # fmt: skip


def words(routine, **known):
    return [f.says for f in check(routine, **known)]


@pytest.fixture
def steady(piece, runs, rests):
    """Two set pieces of 4 bars at 120 BPM: 16 s."""
    return [piece(runs(0), rests, technique="drop"), piece(runs(8), rests, technique="blend")]


# Time: 2 x 16 beats x 0.5 s = 16 s.


def test_a_routine_over_its_limit_is_an_error_with_bars_to_cut(routine, steady):
    r = routine(*steady, limit="0:15")
    error = next(f for f in check(r) if f.rule == "time")
    assert error.severity == "error"
    assert dict(error.numbers)["spare_s"] == pytest.approx(-1.0)
    # 1 s over is half a bar: 1 bar to cut; 16 / 15 = 6.7 % faster.
    assert "cut 1 bars" in error.way_out
    assert "6.7 % faster" in error.way_out


@pytest.mark.parametrize(
    ("limit", "severity"), [("0:16", "warning"), ("0:17", "remark"), ("1:00", "remark")]
)
def test_a_routine_that_just_fits_has_no_room_for_a_slow_evening(routine, steady, limit, severity):
    # 16 of 16 s: 0 % room; of 17 s: 1 s is 5.9 %.
    found = next(f for f in check(routine(*steady, limit=limit)) if f.rule == "time")
    assert found.severity == severity


def test_minutes_are_written_with_a_tenth_where_there_is_one():
    assert [minutes(s) for s in (0, 59.96, 61.5, 600)] == ["0:00", "1:00", "1:01.5", "10:00"]


def test_both_decks_at_rest_is_dead_air(routine, steady, piece, rests):
    r = routine(*steady, piece(rests, rests, bars=2))
    assert ("warning", 2, {"beats": 8.0, "seconds": 4.0}) in said(r, "time")


def test_silence_between_written_acts_is_dead_air(routine, steady, piece, works, rests):
    """A push of half a beat on beats 0 and 10 of 16: 9.5 and 5.5 beats of silence, at 120 BPM 4.75
    and 2.75 s. A push of half a beat on beat -4 of what follows parts the second into 1.5 and 3.5,
    each shorter than a bar."""
    pushes = works(0, 1, acts={"0": "push for 1/2", "10": "push for 1/2"})
    alone = routine(*steady, piece(rests, pushes))
    silent = [figures for _, at, figures in said(alone, "time") if at == 2]
    assert silent == [{"beats": 9.5, "seconds": 4.75}, {"beats": 5.5, "seconds": 2.75}]
    into = works(2, 3, acts={"-4": "push for 1/2", "0": "push for 16"})
    picked_up = routine(*steady, piece(rests, pushes), piece(into, rests))
    silent = [figures for _, at, figures in said(picked_up, "time") if at == 2]
    assert silent == [{"beats": 9.5, "seconds": 4.75}]


def test_a_break_of_one_bar_is_only_remarked(routine, steady, piece, rests):
    r = routine(*steady, piece(rests, rests, bars=1))
    assert ("remark", 2, {"beats": 4.0, "seconds": 2.0}) in said(r, "time")


def test_a_gap_between_strokes_is_dead_air_where_nothing_else_sounds(routine, piece, works, rests):
    # stroke on beat 0, span 1 s = 2 beats; next on beat 10: silent from beat 2 for 8 beats, 4 s.
    r = routine(piece(works(0, 1, strokes=[0, 10, 12, 14]), rests))
    assert ("warning", 0, {"beats": 8.0, "seconds": 4.0}) in said(r, "time")


def test_strokes_beyond_the_set_piece_are_refused(routine, piece, works, rests):
    with pytest.raises(ValidationError) as caught:
        routine(piece(works(0, 1, strokes=[0, 15.5, 16, 17]), rests))
    faults = caught.value.errors()[0]["ctx"]["faults"]
    assert [path for path, _ in faults] == [("pieces", 0, "left", "strokes", n) for n in (2, 3)]
    assert faults[0][1] == "a beat below 16, the set piece's length, would do"


# Hands.


def test_a_worked_record_takes_its_own_hand_and_the_crossfader_the_other(
    span_texts, routine, piece, works, rests
):
    assert span_texts(routine(piece(rests, works(0, 1)))) == [(0, 16, "crossfader", "works right")]


def test_an_open_fader_leaves_the_other_hand_free(span_texts, routine, piece, works, rests):
    r = routine(piece(works(0, 1), rests, technique="Baby scratch"))
    assert span_texts(r) == [(0, 16, "works left", "None")]


def test_a_juggle_takes_both_hands(span_texts, routine, piece, works):
    assert span_texts(routine(piece(works(0, 1), works(0, 1)))) == [
        (0, 16, "works left", "works right")
    ]


def test_a_record_takes_a_hand_only_while_it_is_let_go(span_texts, routine, piece, runs, rests):
    assert span_texts(routine(piece(runs(0), rests))) == [
        (0, 1, "releases left", "None"),
        (1, 16, "None", "None"),
    ]


def test_a_tempo_step_of_a_record_that_runs_through_takes_a_hand_at_the_pitch(
    span_texts, routine, piece, runs, rests
):
    r = routine(piece(runs(0), rests), piece(runs(8), rests, tempo=124))
    assert (0, 1, "sets the left pitch", "None") in span_texts(r)


def test_winding_is_planned_into_free_beats(routine, piece, runs, rests):
    # left from 18 s to 9 s: 2.1667 s = 4.33 beats: 5 beats from the rest's second one; in the first
    # the right record is let go and the fader moved.
    r = routine(piece(runs(10), rests), piece(rests, runs(0)), piece(runs(9), rests))
    wound = [b for b in hand_plan(r) if str(b.left) == "winds left"]
    assert [(b.piece, b.from_beat) for b in wound] == [(1, 1), (1, 2), (1, 3), (1, 4), (1, 5)]


def test_a_plain_start_asks_for_no_third_hand(routine, piece, works, runs):
    assert not [f for f in said(routine(piece(runs(0), works(0, 1))), "hands") if f[1] == 0]
    assert not [f for f in said(routine(piece(runs(0), runs(0))), "hands") if f[1] == 0]


def test_dropping_one_record_on_a_written_stroke_of_the_other_asks_for_a_third_hand(
    routine, piece, works, runs
):
    r = routine(piece(runs(0), works(0, 1, strokes=[0, 8])))
    assert ("remark", 0, {"hands": 3, "beats": 1}) in said(r, "hands")


def test_hamster_turns_the_crossfader_round(routine, steady):
    plain, hamster = routine(*steady), routine(*steady, performer={"hamster": True})
    assert crossfader_end(plain.performer, "left") == "left"
    assert crossfader_end(hamster.performer, "left") == "right"
    assert not any("hamster" in text for text in words(plain))
    assert any("right end" in text for text in words(hamster))


def test_one_hand_at_work_for_over_a_minute_is_a_matter_for_care(routine, piece, works, rests):
    # 31 bars of 2 s = 62 s, then 29 bars: 58 s.
    long, short = (routine(piece(works(0, 1), rests, bars=bars)) for bars in (31, 29))
    assert ("remark", 0, {"worked_s": 62.0}) in said(long, "hands")
    assert not any("clinician" in f.way_out for f in check(short))


def test_a_bar_of_rest_ends_the_count_of_work(routine, piece, works, rests):
    # Twice 20 bars, 80 s in all, with a bar in between.
    two = [piece(works(0, 1), rests, bars=20), piece(works(0, 1), rests, bars=20)]
    rested = routine(two[0], piece(rests, rests, bars=1), two[1])
    assert not any("clinician" in f.way_out for f in check(rested))
    assert any("clinician" in f.way_out for f in check(routine(*two)))


# Tempo: 100 * (to / from - 1); 12 * log2(1.08) = 1.332 semitones (equal temperament, ISO 16).


def test_a_step_within_the_fader_costs_its_semitones(routine, piece, runs, rests):
    r = routine(piece(runs(0), rests, tempo=100), piece(rests, runs(0), tempo=108))
    [(severity, index, figures)] = said(r, "tempo")
    assert (severity, index) == ("remark", 1)
    assert figures["step_percent"] == pytest.approx(8.0)
    assert figures["semitones"] == pytest.approx(1.332, abs=5e-4)


def test_a_step_beyond_the_fader_is_a_warning(routine, piece, runs, rests):
    pieces = [piece(runs(0), rests, tempo=100), piece(rests, runs(0), tempo=108.1)]
    assert [s for s, _, _ in said(routine(*pieces), "tempo")] == ["warning"]
    wide = routine(*pieces, turntable={"pitch_range": 10})
    assert [s for s, _, _ in said(wide, "tempo")] == ["remark"]


def test_a_step_read_in_half_time_says_so(routine, piece, runs, rests):
    # 92 to 140 counted as 70: 70 / 92 - 1 = -23.9 %, 12 * log2(70 / 92) = -4.73 semitones.
    r = routine(piece(runs(0), rests, tempo=92), piece(rests, runs(0), tempo=140))
    [(severity, _, figures)] = said(r, "tempo")
    assert (severity, figures["reading"]) == ("warning", 2.0)
    assert figures["step_percent"] == pytest.approx(-23.913, abs=1e-3)
    assert any(
        "92 to 140 BPM, counted in double time as 70, is -23.9 % of pitch (-4.73 semitones)" in text
        for text in words(r)
    )


def test_double_tempo_needs_no_pitch_but_is_told(routine, piece, runs, rests):
    r = routine(piece(runs(0), rests, tempo=70), piece(rests, runs(0), tempo=140))
    [(severity, _, figures)] = said(r, "tempo")
    assert (severity, figures["step_percent"]) == ("remark", 0.0)


def test_a_sound_stretched_beyond_four_times_cannot_be_made(routine, piece, runs, rests):
    sounds = {"s": {"file": "s.wav", "tempo": 29, "stretch": True, "licence": "CC0-1.0"}}
    r = routine(piece(runs(0, sound="s"), rests, tempo=120), sounds=sounds)
    assert [(s, i) for s, i, _ in said(r, "tempo")] == [("error", 0)]


# Keys: 5.946 % is one semitone, 2 ** (1 / 12) = 1.05946 (ISO 16).


def keyed(routine, piece, runs, left, right, tempo=100):
    sounds = {
        "a": {"file": "a.wav", "licence": "CC0-1.0", **left},
        "b": {"file": "b.wav", "licence": "CC0-1.0", **right},
    }
    return routine(piece(runs(0, sound="a"), runs(0, sound="b"), tempo=tempo), sounds=sounds)


def test_a_sound_played_5946_per_cent_fast_sounds_a_semitone_up(routine, piece, runs):
    r = keyed(routine, piece, runs, {"tempo": 100, "key": "A minor"},
              {"tempo": 105.946, "key": "Bb minor"}, tempo=105.946)  # fmt: skip
    left, right = sounding_key(r, 0, "left"), sounding_key(r, 0, "right")
    assert (str(left.key), left.moved_semitones) == ("A minor", pytest.approx(1.0, abs=1e-4))
    met = meet(left, right)
    assert (met.relation, met.fifths) == ("same key", 0)
    assert met.cents_off == pytest.approx(0.0, abs=0.01)
    assert said(r, "keys") == []


def test_eight_per_cent_apart_is_a_third_of_a_semitone_out_of_tune(routine, piece, runs):
    # 1.332 semitones: to the nearest whole one 33 cents.
    r = keyed(routine, piece, runs, {"tempo": 100, "key": "A minor"},
              {"tempo": 108, "key": "Bb minor"}, tempo=108)  # fmt: skip
    [(severity, _, figures)] = said(r, "keys")
    assert severity == "warning"
    assert figures["cents"] == pytest.approx(-33.2, abs=0.1)  # right lies below left


def test_a_stretched_sound_keeps_its_key(routine, piece, runs):
    r = keyed(routine, piece, runs, {"tempo": 100, "key": "A minor", "stretch": True},
              {"tempo": 108, "key": "C major"}, tempo=108)  # fmt: skip
    left, right = sounding_key(r, 0, "left"), sounding_key(r, 0, "right")
    assert left.moved_semitones == 0.0
    # C major moved by 12 * log2(108 / 108) = 0: the relative major of A minor.
    assert meet(left, right).relation == "relative major and minor"


def test_keys_a_tritone_apart_rub(routine, piece, runs):
    # C to F# is six steps on the circle of fifths, as far as can be.
    same = {"tempo": 100}
    r = keyed(routine, piece, runs, {**same, "key": "C major"}, {**same, "key": "F# major"})
    [(severity, _, figures)] = said(r, "keys")
    assert (severity, figures["fifths"]) == ("warning", 6)


def test_tunings_forty_cents_apart_are_told_by_check(routine, piece, runs):
    r = keyed(routine, piece, runs, {"tempo": 100, "key": "A minor"},
              {"tempo": 100, "key": "A minor", "tuning": 40})  # fmt: skip
    [(severity, _, figures)] = said(r, "keys")
    assert (severity, figures["cents"]) == ("warning", pytest.approx(40.0))


def test_one_sound_on_both_decks_is_in_tune_with_itself(routine, piece, runs):
    sounds = {"a": {"file": "a.wav", "licence": "CC0-1.0"}}
    r = routine(piece(runs(0, sound="a"), runs(0, sound="a")), sounds=sounds)
    assert said(r, "keys") == []


# Energy.


def arc(routine, piece, runs, rests, *levels):
    return routine(*(
        piece(runs(8 * i), rests, part=part, energy=energy, technique=str(i))
        for i, (part, energy) in enumerate(levels)
    ))  # fmt: skip


def test_a_climax_that_is_not_the_peak_is_a_warning(routine, piece, runs, rests):
    r = arc(routine, piece, runs, rests, ("intro", 2), ("story", 5), ("climax", 4), ("outro", 2))
    assert ("warning", 1, {"energy": 5, "climax_energy": 4}) in said(r, "energy")


def test_a_good_arc_draws_no_remark(routine, piece, runs, rests):
    r = arc(routine, piece, runs, rests, ("intro", 2), ("story", 3), ("climax", 5), ("outro", 3))
    assert said(r, "energy") == []


def test_parts_out_of_order_and_missing_are_told(routine, piece, runs, rests):
    r = arc(routine, piece, runs, rests, ("outro", 2), ("story", 3))
    assert [(s, i) for s, i, _ in said(r, "energy")] == [("warning", 1), ("remark", None)]
    assert "no intro and no climax" in words(r)


def test_an_early_peak_is_remarked(routine, piece, runs, rests):
    r = arc(routine, piece, runs, rests, ("climax", 5), ("climax", 3), ("climax", 3), ("climax", 3))
    assert ("remark", 0, {"share": 0.0}) in said(r, "energy")


def idea(*wants):
    return {"wants": list(wants)}


def test_each_wish_of_the_idea_needs_a_set_piece_of_its_own(routine, piece, runs, rests):
    wish = {"part": "intro", "energy": 2}
    pieces = [piece(runs(0), rests, part="intro", energy=2)]
    one, two = (routine(*pieces, idea=idea(*[wish] * count)) for count in (1, 2))
    assert not any("the idea wants" in text for text in words(one))
    assert sum("the idea wants" in text for text in words(two)) == 1


def test_a_picky_wish_is_not_robbed_by_an_easy_one(routine, piece, runs, rests):
    # Both wishes fit the first set piece, only the easy one the second: both can be filled.
    pieces = [piece(runs(0), rests, part="story", bars=4), piece(runs(8), rests, part="story")]
    pieces[1]["bars"] = 8
    r = routine(*pieces, idea=idea({"part": "story"}, {"part": "story", "bars": 4}))
    assert not any("the idea wants" in text for text in words(r))


def test_an_unfilled_wish_names_the_nearest_and_what_it_lacks(routine, piece, runs, rests):
    r = routine(
        piece(runs(0), rests, part="intro"),
        idea=idea({"part": "intro", "kind": "a cappella", "tempo_from": 130}),
    )
    [text] = [text for text in words(r) if "the idea wants" in text]
    assert "no a cappella in it" in text
    assert "it is at 120 BPM" in text


# Variety.


def test_one_technique_for_most_of_the_routine_is_remarked(routine, piece, runs, rests):
    names = ["scratch", "scratch", "drop"]
    r = routine(*(piece(runs(8 * i), rests, technique=n) for i, n in enumerate(names)))
    [(severity, _, figures)] = said(r, "variety")
    assert (severity, figures["share"]) == ("remark", pytest.approx(2 / 3))


def test_three_in_a_row_are_told_where_they_start(routine, piece, runs, rests):
    names = ["drop", "blend", "blend", "blend", "drop"]
    r = routine(*(piece(runs(8 * i), rests, technique=n) for i, n in enumerate(names)))
    assert ("remark", 1, {"count": 3}) in said(r, "variety")


# Reach.


def test_a_set_piece_beyond_the_side_cannot_be_played(routine, piece, runs, rests):
    # starts at 595 s, lasts 8 s: needed up to 603 s of 600 s.
    pieces = [piece(runs(595), rests)]
    assert said(routine(*pieces), "reach") == [("error", 0, {"last_s": 603.0, "side_s": 600.0})]
    assert said(routine(*pieces, turntable={"side": "12:00"}), "reach") == []


def test_a_set_piece_beyond_its_file_is_told_with_the_bar(routine, piece, runs, rests):
    # from 10 s, 2 s a bar: the file's end at 15 s falls in bar 3.
    findings = check(routine(piece(runs(10), rests)), deck_s={"left": 15.0})
    error = next(f for f in findings if f.rule == "reach")
    assert (error.severity, error.bar, error.side) == ("error", 3, "left")


def test_a_sound_that_ends_too_soon_is_told_in_bars(routine, piece, runs, rests):
    # 100 BPM: 2.4 s a bar; 12.1 s less 0.1 s is 5 bars; 2 bars in leaves 3 of 4.
    sounds = {"s": {"file": "s.wav", "tempo": 100, "first_beat": 0.1}}
    r = routine(piece(runs(0, sound="s", bars_in=2), rests), sounds=sounds)
    [(severity, _, figures)] = said(r, "reach", sound_s={"s": 12.1})
    assert severity == "error"
    assert figures == {"has_bars": pytest.approx(3.0), "bars": 4}


def two_sounds(routine, piece, runs, rests, first, second, **more):
    sounds = {"a": {"file": "a.wav"}, "b": {"file": "b.wav"}}
    return routine(piece(first, rests), piece(second, rests, **more), sounds=sounds)


def test_two_sounds_cannot_lie_on_the_same_seconds(routine, piece, runs, rests):
    # a: 0 to 8 s; b from 6 s: 2 s shared.
    r = two_sounds(routine, piece, runs, rests, runs(0, sound="a"), runs(6, sound="b"))
    assert ("error", 1, {"overlap_s": 2.0, "other_set_piece": 0}) in said(r, "reach")


def test_the_same_passage_twice_is_a_refrain(routine, piece, runs, rests):
    r = two_sounds(routine, piece, runs, rests, runs(0, sound="a"), runs(0, sound="a"))
    assert said(r, "reach") == []


def test_one_sound_at_two_places_of_itself_is_told(routine, piece, runs, rests):
    r = two_sounds(routine, piece, runs, rests, runs(0, sound="a"), runs(4, sound="a", bars_in=1))
    assert [s for s, _, _ in said(r, "reach")] == ["error"]


def test_one_passage_at_two_tempi_is_told(routine, piece, runs, rests):
    r = routine(piece(runs(0), rests), piece(runs(0), rests, tempo=100))
    assert [(s, i) for s, i, _ in said(r, "reach")] == [("warning", 1)]


def test_a_cue_outside_its_span_is_told(routine, piece, works, rests):
    r = routine(piece(works(4, 5, cue=7), rests))
    assert said(r, "reach") == [("warning", 0, {"cue_s": 7.0, "from_s": 4.0, "to_s": 5.0})]


def test_a_span_close_to_another_sound_has_no_room_to_overshoot(routine, piece, works, rests):
    # 0.36 s is 0.2 turns; 0.54 s is 0.3 turns.
    def apart(gap):
        sounds = {"a": {"file": "a.wav"}, "b": {"file": "b.wav"}}
        return routine(
            piece(works(0, 1, sound="a"), rests), piece(works(1 + gap, 3, sound="b"), rests),
            sounds=sounds,
        )  # fmt: skip

    assert any("overshoots" in text for text in words(apart(0.36)))
    assert not any("overshoots" in text for text in words(apart(0.54)))


# Clearance: identifiers of the SPDX licence list; usual caution, no legal advice.


@pytest.mark.parametrize(
    ("fields", "open_"),
    [
        ({}, True),
        ({"source": "a record"}, True),
        ({"licence": "CC0-1.0"}, False),
        ({"licence": "own recording"}, False),
        ({"licence": "CC-BY-4.0"}, True),
        ({"licence": "CC-BY-4.0", "source": "field tape, own archive"}, False),
        ({"licence": "CC-BY-NC-4.0", "source": "x"}, True),
        ({"licence": "all rights reserved", "cleared": True}, False),
        ({"licence": "CC0-1.0", "cleared": False}, True),
        ({"licence": "all rights reserved"}, True),
    ],
)
def test_what_is_not_settled_is_said(fields, open_):
    assert (open_question(Sound(file="s.wav", **fields)) is not None) is open_


def test_only_sounds_in_use_are_asked_about(routine, piece, runs, rests):
    sounds = {"used": {"file": "u.wav"}, "unused": {"file": "n.wav"}}
    r = routine(piece(runs(0, sound="used"), rests), sounds=sounds)
    [finding] = [f for f in check(r) if f.rule == "clearance"]
    assert (finding.severity, finding.piece) == ("warning", 0)
    assert finding.says.startswith("used:")
    assert "licensed professional" in finding.way_out
