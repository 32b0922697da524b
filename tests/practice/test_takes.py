"""Takes found by themselves and scored, against the simulator's own record of what it did."""

import statistics
from dataclasses import replace

import numpy as np
import pytest

from liveaid.practice.advice import advice
from liveaid.practice.aim import aim_of
from liveaid.practice.ladder import Ladder
from liveaid.practice.mixer_trace import FaderHeard, MixerHeard
from liveaid.practice.score import score_of
from liveaid.practice.take_line import verdict_line
from liveaid.practice.takes import _follows
from liveaid.practice.visits import Sure
from liveaid.simulate import Fault, Hands, Network

LEAD_S = 3.0


def heard_messages(performance, *, later_s=0.0):
    return [(m.now_s + later_s, m.side, m.position_s) for m in performance.messages]


def pieces_of(kept):
    return [visit.piece for visit in kept.visits]


def scored(aim, ended, counted_in_s):
    return score_of(aim, replace(ended, counted_in_s=counted_in_s))


def by_key(aim, score):
    """A take's acts as the simulator's are told apart, in the set pieces of what was practised."""
    return {
        (act.kind, act.side, piece.index - aim.first, round(act.beat, 3)): act
        for piece in score.pieces
        for act in piece.acts
        if act.outcome != "added"
    }


def key(event):
    return event.kind, event.side, event.piece, round(event.beat, 3)


@pytest.mark.parametrize(
    ("spread_ms", "bias_ms", "network"),
    [
        (5, 0, Network()),
        (20, 25, Network(rate_hz=100)),
        (60, -25, Network(loss=0.01, duplicates=0.01, reorder=0.01)),
    ],
)
def test_bias_and_spread_are_the_hands_own_and_every_missed_act_is_found(
    spice_row, performed, rehearsed, spread_ms, bias_ms, network
):
    spread_s, bias_s = spread_ms / 1e3, bias_ms / 1e3
    hands = Hands(timing_error_s=spread_s, stroke_error_s=spread_s, timing_bias_s=bias_s,
                  stroke_bias_s=bias_s, miss_rate=0.05)  # fmt: skip
    aim, true, heard, missed, found_missed, false = aim_of(spice_row, ""), [], [], 0, 0, 0
    for seed in range(2):
        played = performed(seed=seed, hands=hands, network=network)
        (ended,) = rehearsed(aim, heard_messages(played), count_in_bars=0)
        delay_s = network.delay_s + network.jitter_s
        score = scored(aim, ended, LEAD_S + delay_s)
        ours = by_key(aim, score)
        false += sum(act.outcome == "added" for act in score.acts)
        for event in played.events:
            act = ours[key(event)]
            # A return whose release was left out is no miss of its own.
            missed += event.missed and event.kind != "return"
            found_missed += event.missed and act.outcome == "missed"
            false += not event.missed and act.outcome == "missed"
            if act.error_s is not None and event.error_s is not None:
                true.append(1e3 * event.error_s)
                heard.append(1e3 * act.error_s)
    assert missed > 0
    assert found_missed == missed
    assert false <= 0.01 * len(true) + 1
    assert len(heard) > 100
    assert statistics.fmean(heard) == pytest.approx(statistics.fmean(true), abs=2.0)
    assert statistics.stdev(heard) == pytest.approx(statistics.stdev(true), abs=2.0)


def test_strokes_that_are_not_in_the_map_are_added(spice_row, performed, rehearsed):
    aim = aim_of(spice_row, "")
    played = performed(seed=5, hands=Hands(added_rate=0.3))
    (ended,) = rehearsed(aim, heard_messages(played), count_in_bars=0)
    acts = scored(aim, ended, LEAD_S).acts
    true = [event.actual_s for event in played.events if event.added]
    heard = [act.heard_s for act in acts if act.outcome == "added"]
    assert len(true) >= 2
    assert heard == pytest.approx(true, abs=0.02)


def test_a_whole_run_is_one_complete_take_of_all_set_pieces(spice_row, performed, rehearsed):
    played = performed()
    (ended,) = rehearsed(aim_of(spice_row, ""), heard_messages(played))
    assert ended.ended == "complete"
    assert pieces_of(ended) == [0, 1, 2, 3]
    assert ended.start_s == pytest.approx(LEAD_S, abs=0.5)
    assert ended.start_s + ended.duration_s == pytest.approx(played.truth.legs[-1].start_s, abs=0.5)


def test_a_take_of_too_many_messages_is_told_whole_and_less_finely(
    spice_row, performed, rehearsed, monkeypatch
):
    """Of 100 a second and deck a quarter or more is kept, evenly: a gap of .08 s at most."""
    monkeypatch.setattr("liveaid.practice.takes.TAKES_MOST", 3000)
    played = performed(network=Network(rate_hz=100))
    (ended,) = rehearsed(aim_of(spice_row, ""), heard_messages(played))
    assert ended.ended == "complete"
    assert pieces_of(ended) == list(range(len(spice_row.pieces)))
    decks = ended.trace.values()
    assert len(played.messages) > 6000
    assert sum(len(deck.now_s) for deck in decks) <= 3000
    assert max(np.diff(deck.now_s).max() for deck in decks) < 0.09


def test_a_mixer_that_tells_too_much_leaves_where_its_faders_stood(monkeypatch):
    monkeypatch.setattr("liveaid.practice.mixer_trace.MIXER_MOST", 10)
    mixer = MixerHeard()
    mixer.hear(FaderHeard(0.0, "left", 0.25))
    for step in range(1, 40):
        mixer.hear(FaderHeard(float(step), "crossfader", step / 40))
    told = mixer.between(0.0, 40.0)
    assert len(told) <= 12
    assert told[0] == FaderHeard(0.0, "left", 0.25)
    assert told[-1] == FaderHeard(39.0, "crossfader", 39 / 40)


def test_a_set_piece_left_out_is_told(spice_row, performed, rehearsed):
    aim = aim_of(spice_row, "")
    played = performed(faults=[Fault(kind="skip", piece=1)])
    (ended,) = rehearsed(aim, heard_messages(played))
    score = scored(aim, ended, LEAD_S)
    assert score.skipped_pieces == (1,)
    assert not score.clean


def test_a_take_given_up_is_abandoned_where_the_records_stopped(spice_row, performed, rehearsed):
    aim = aim_of(spice_row, "")
    messages = [m for m in heard_messages(performed()) if m[0] < 16.0]
    stand = {side: x for _, side, x in messages}
    messages += [(16.0 + k / 100, side, stand[side]) for k in range(500) for side in stand]
    (ended,) = rehearsed(aim, messages)
    assert ended.ended == "abandoned"
    assert pieces_of(ended) == [0, 1]
    assert ended.start_s + ended.duration_s == pytest.approx(16.0, abs=0.3)
    score = scored(aim, ended, None)
    assert not score.clean
    late = [act for act in score.pieces[1].acts if act.beat > 11]
    assert late
    assert {act.outcome for act in late} == {"skipped"}


@pytest.mark.parametrize(
    ("beats", "ended", "line"),
    [(12, "early", "not clean"), (13, "early", "not clean"), (8, "abandoned", "given up")],
)
def test_a_juggle_that_stops_in_its_last_bar_is_not_called_given_up(
    spice_row, performed, rehearsed, beats, ended, line
):
    """Mortar twins: four bars of four beats of 0.6 s; both records stand from a beat on."""
    aim = aim_of(spice_row, "Mortar twins")
    stop_s = LEAD_S + 0.6 * beats
    played = performed(aim.routine, seed=4)
    messages = [m for m in heard_messages(played) if m[0] < stop_s]
    stand = {side: x for _, side, x in messages}
    messages += [(stop_s + k / 100, side, stand[side]) for k in range(500) for side in stand]
    (found,) = rehearsed(aim, messages)
    assert found.ended == ended
    score = scored(aim, found, LEAD_S)
    assert score.pieces[0].why[0] == {
        12: "ended 1 bar early", 13: "ended 3 beats early", 8: "ended 2 bars early",
    }[beats]  # fmt: skip
    assert verdict_line(score, found.ended) == line


def test_records_that_only_wind_make_no_take(spice_row, rehearsed):
    way = [(k / 200, "left", 1.8 + 5 * (k / 200)) for k in range(600)]
    hold = [(3 + k / 200, "left", 16.8) for k in range(600)]
    assert rehearsed(aim_of(spice_row, ""), way + hold) == []


def test_one_set_piece_looped_is_a_take_each_time(spice_row, performed, rehearsed):
    aim = aim_of(spice_row, "Mortar twins")
    messages, starts, later_s = [], [], 0.0
    for seed in range(3):
        played = performed(aim.routine, seed=seed)
        messages += heard_messages(played, later_s=later_s)
        starts.append(later_s + LEAD_S)
        later_s += played.duration_s + 2.0
    found = rehearsed(aim, messages)
    assert [ended.ended for ended in found] == ["complete"] * 3
    assert [ended.start_s for ended in found] == pytest.approx(starts, abs=0.5)
    for ended, start_s in zip(found, starts, strict=True):
        score = scored(aim, ended, start_s + 0.002)
        assert score.missed == 0
        assert score.heard > 25


def test_the_ladder_climbs_on_clean_takes_only(spice_row, performed, rehearsed):
    aim = aim_of(spice_row, "Mortar twins")
    played = performed(aim_of(spice_row, "Mortar twins").routine, hands=Hands(timing_error_s=0.004))
    (ended,) = rehearsed(aim, heard_messages(played))
    clean = scored(aim, ended, LEAD_S + 0.002)
    assert clean.clean, clean.pieces[0].why
    slow = replace(ended, tempo_part=0.92, counted_in_s=LEAD_S)
    assert score_of(aim, slow).pieces[0].why == ("too fast",)
    ladder = Ladder(full_tempo_bpm=100, pitch_range_percent=8, up_after=1)
    assert ladder.after(clean=clean.clean).rung == 1


def test_without_a_count_in_a_juggle_has_spread_but_is_neither_early_nor_late(
    spice_row, performed, rehearsed
):
    aim = aim_of(spice_row, "Mortar twins")
    played = performed(aim_of(spice_row, "Mortar twins").routine, hands=Hands(timing_bias_s=0.2))
    (ended,) = rehearsed(aim, heard_messages(played))
    score = scored(aim, ended, None)
    assert score.bias_ms is None
    assert score.spread_ms == pytest.approx(20.0, abs=6.0)


def test_a_juggle_the_map_does_not_write_out_is_held_against_its_own_beats(
    routines, performed, rehearsed
):
    from liveaid.routine import load_routine

    four = load_routine(routines / "four.yaml")
    aim = aim_of(four, "Two woks")
    played = performed(aim.routine, seed=3)
    (ended,) = rehearsed(aim, heard_messages(played))
    score = scored(aim, ended, LEAD_S + 0.002)
    ours = by_key(aim, score)
    errors = [
        (event.error_s, ours[key(event)].error_s) for event in played.events if key(event) in ours
    ]
    assert len(errors) >= 0.95 * len(played.events)
    assert statistics.fmean(b - a for a, b in errors) == pytest.approx(0.0, abs=0.006)


@pytest.mark.parametrize(("deck", "turns"), [("right", 1), ("right", -1), ("left", -1)])
def test_a_record_set_a_turn_off_its_cue_is_named_and_its_acts_are_heard(
    spice_row, performed, rehearsed, deck, turns
):
    """A turn at 33 1/3 is 1.8 s. Of 19 strokes none is left out: they were made on the wrong part
    of the record, or over it."""
    aim = aim_of(spice_row, "Pestle")
    played = performed(aim.routine, seed=3, hands=Hands(timing_error_s=0.005, stroke_error_s=0.005))
    messages = [
        (at, side, place + (1.8 * turns if side == deck else 0.0))
        for at, side, place in heard_messages(played)
    ]
    (ended,) = rehearsed(aim, messages, count_in_bars=0)
    (piece,) = scored(aim, ended, LEAD_S + 0.002).pieces
    way = "ahead of" if turns > 0 else "behind"
    assert piece.why == (f"{deck} record 1 turn {way} its cue",)
    assert (piece.missed, piece.added) == (0, 0)
    assert abs(piece.bias_ms) < 5.0


def test_a_hand_that_does_nothing_has_left_its_acts_out_wherever_its_record_stands(
    spice_row, performed, rehearsed
):
    """The right record stands still a turn beyond its cue, which is no matter then."""
    aim = aim_of(spice_row, "Pestle")
    messages = [
        (at, side, 7.2 if side == "right" else place)
        for at, side, place in heard_messages(performed(aim.routine, seed=3))
    ]
    (ended,) = rehearsed(aim, messages, count_in_bars=0)
    (piece,) = scored(aim, ended, LEAD_S + 0.002).pieces
    assert {act.outcome for act in piece.acts if act.side == "right"} == {"missed"}
    assert piece.missed == 19
    assert not any("turn" in why for why in piece.why)
    told = advice(scored(aim, ended, LEAD_S + 0.002), metre=4)
    assert told == {
        "right": f"right hand, none of its {piece.missed} acts heard: see that its record stands "
        "at its cue"
    }


@pytest.mark.parametrize(
    ("piece", "beat", "now_s", "follows"),
    [
        (0, 8.99, 2.5, True), (0, 9.0, 2.5, False), (0, 7.01, 2.5, True), (0, 7.0, 2.5, False),
        (1, 0.99, 2.5, False), (1, 0.99, 6.5, False), (2, 0.0, 2.5, False), (0, 11.0, 4.01, False),
        (0, 11.0, 4.0, True),
    ],
)  # fmt: skip
def test_a_place_is_gone_on_to_within_a_beat_and_two_seconds(
    piece, beat, now_s, follows, spice_row
):
    """From beat 7 half a second on at .5 s a beat it is beat 8, after two seconds beat 11."""
    assert _follows(Sure(2.0, 0, 7.0, 0.5), Sure(now_s, piece, beat, 0.5), spice_row) is follows


@pytest.mark.parametrize(
    ("piece", "beat", "follows"),
    [(1, 0.0, True), (1, 0.99, True), (1, 1.0, False), (2, 0.0, False), (0, 0.0, False)],
)
def test_after_a_last_beat_comes_the_next_set_piece(piece, beat, follows, spice_row):
    """From a beat before the end half a second on it is the next one's first."""
    last = Sure(2.0, 0, spice_row.beats(0) - 1.0, 0.5)
    assert _follows(last, Sure(2.5, piece, beat, 0.5), spice_row) is follows
