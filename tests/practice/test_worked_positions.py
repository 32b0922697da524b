"""Small positions written out, and the milliseconds worked out beside them.

Messages come every 5 ms without jitter, so what is read off them has to be what was put in.
"""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import pytest

from liveaid.practice.beat_times import BeatTimes, beats_of_hands, beats_of_record
from liveaid.practice.care import DayOfHands, today
from liveaid.practice.hear import near, releases, strokes, takes_of_hand
from liveaid.practice.motion import motion
from liveaid.practice.records import NoteRow, TakeRow
from liveaid.practice.review_json import care_json, plain_json, take_json
from liveaid.practice.take_score import TakeScore
from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Sure, visits
from liveaid.practice.weeks import Day, Week, WeeksOf
from liveaid.practice.wilson import clean_rate
from liveaid.routine import Routine

MS = 0.001


def record(*bends: tuple[float, float]) -> DeckTrace:
    """Straight ways between (time, place) bends, a message every 5 ms."""
    at, place = np.array(bends).T
    t = np.arange(at[0], at[-1], 0.005)
    return DeckTrace(t, np.interp(t, at, place))


def does(deck: DeckTrace) -> list[str]:
    return [phase.does for phase in motion(deck).phases]


# --- motion ---------------------------------------------------------------------------------------


def test_a_record_stands_runs_and_stands():
    """Stands at 2.0 up to 1.0 s, runs 2 s of record in 2 s, stands at 4.0."""
    made = motion(record((0, 2), (1, 2), (3, 4), (4, 4)))
    long = [phase for phase in made.phases if phase.end_s - phase.start_s > 0.1]
    assert [phase.does for phase in long] == ["stands", "runs", "stands"]
    assert (long[1].start_s, long[1].end_s) == (
        pytest.approx(1, abs=0.03),
        pytest.approx(3, abs=0.03),
    )
    assert (long[0].to_s, long[2].from_s) == (
        pytest.approx(2, abs=0.02),
        pytest.approx(4, abs=0.02),
    )
    assert made.interval_s == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("speed", "what"),
    [(0.0, "stands"), (0.10, "stands"), (0.14, "moves"), (0.78, "moves"), (0.82, "runs"),
     (1.0, "runs"), (1.18, "runs"), (1.22, "moves"), (-1.0, "moves"), (3.0, "moves")],
)  # fmt: skip
def test_what_a_speed_is(speed, what):
    """Below 0.12 it stands; the fader's 8 % and 0.12 beside the platter's own speed it runs."""
    assert does(record((0, 20), (2, 20 + 2 * speed))) == [what]


def test_a_wider_fader_lets_a_faster_record_run():
    made = motion(record((0, 20), (2, 22.44)), pitch_range_percent=16.0)  # 1.22 within 1.28
    assert [phase.does for phase in made.phases] == ["runs"]


def test_a_cue_called_up_is_a_jump_and_a_hands_wind_is_none():
    """0.5 s of record between two messages; a wind of 6 a second does 0.03 s in 5 ms."""
    t = np.arange(0.0, 4.0, 0.005)
    jumped = motion(DeckTrace(t, np.where(t < 2.0, 10 + t, 30.0 + t)))
    assert [(p.does, p.jumped) for p in jumped.phases] == [("runs", False), ("runs", True)]
    assert jumped.phases[1].from_s == pytest.approx(32.0, abs=1e-6)
    assert jumped.phases[1].start_s == pytest.approx(2.0, abs=1e-6)
    wound = motion(record((0, 5), (1, 5), (2, 11), (3, 11)))
    assert not any(phase.jumped for phase in wound.phases)


def test_seven_messages_are_too_few_and_eight_are_enough():
    t = np.arange(7) * 0.05
    assert motion(DeckTrace(t, 1 + t)).phases == ()
    t = np.arange(8) * 0.05
    assert [phase.does for phase in motion(DeckTrace(t, 1 + t)).phases] == ["runs"]


def test_one_message_that_is_wrong_makes_no_movement():
    """A single one 0.4 s of record away, between neighbours 5 ms apart."""
    t = np.arange(0.0, 2.0, 0.005)
    x = 10 + t
    x[200] += 0.4
    assert does(DeckTrace(t, x)) == ["runs"]


# --- hear -----------------------------------------------------------------------------------------


def test_a_release_and_a_taking_to_the_millisecond():
    """Let go from 2.0 at 1.0 s. Taken at 3.0 s, it slows evenly to a stand in 40 ms: 20 ms on."""
    t = np.arange(0.0, 4.0, 0.005)
    u = np.clip(t - 3.0, 0.0, 0.04)
    x = 2 + np.clip(t - 1.0, 0.0, 2.0) + u - u * u / 0.08
    made = motion(DeckTrace(t, x))
    (one,) = releases(made)
    assert one.line.when(2.0) == pytest.approx(1.0, abs=MS)
    assert one.line.speed == pytest.approx(1.0, abs=1e-3)
    assert one.from_s == pytest.approx(2.0, abs=0.02)
    assert takes_of_hand(made) == [pytest.approx(3.0, abs=2 * MS)]


def test_a_release_reads_back_to_its_cue_at_its_own_pitch():
    """At +4 % it passes 2.52 half a second after 2.0: 0.52 / 1.04."""
    (one,) = releases(motion(record((0, 2), (1, 2), (3, 4.08), (4, 4.08))))
    assert one.line.when(2.0) == pytest.approx(1.0, abs=MS)
    assert one.line.when(2.52) == pytest.approx(1.5, abs=MS)


def test_near_is_within_so_much_of_the_cue_either_way():
    found = releases(motion(record((0, 2), (1, 2), (3, 4), (4, 4))))
    assert [len(near(found, cue, within_s=0.3)) for cue in (1.6, 1.75, 2.25, 2.4)] == [0, 1, 1, 0]


def push(at: float, lasts: float, way: float, t: np.ndarray) -> np.ndarray:
    u = np.clip((t - at) / lasts, 0.0, 1.0)
    return way * (3 * u**2 - 2 * u**3)


def test_pushes_begin_where_they_were_begun_and_go_as_far():
    """0.2 s forward from 1.0 s, back, and 0.3 s forward from 2.0 s; 0.02 s at 3.0 s is none."""
    t = np.arange(0.0, 4.0, 0.005)
    x = 5 + push(1, 0.2, 0.2, t) - push(1.5, 0.2, 0.2, t) + push(2, 0.3, 0.3, t)
    x += push(3, 0.2, 0.02, t)
    made = motion(DeckTrace(t, x))
    first, second = strokes(made, start_s=0.0, end_s=2.9)
    assert (first.at_s, second.at_s) == (pytest.approx(1, abs=3 * MS), pytest.approx(2, abs=3 * MS))
    assert (first.from_s, first.way_s) == (pytest.approx(5, abs=MS), pytest.approx(0.2, abs=MS))
    assert second.from_s == pytest.approx(5, abs=MS)
    assert [s.at_s for s in strokes(made, start_s=1.5, end_s=2.9)] == [second.at_s]
    assert [s.at_s for s in strokes(made, start_s=0.0, end_s=1.5)] == [first.at_s]


# --- beat_times -----------------------------------------------------------------------------------


def test_beats_between_and_beyond_the_knots():
    """0.5 s, then 0.6 s a beat. Both ends go on as they were."""
    count = BeatTimes(np.array([0.0, 1, 2]), np.array([10.0, 10.5, 11.1]))
    assert [count.when(b) for b in (-1, 0.5, 1.5, 3)] == pytest.approx([9.5, 10.25, 10.8, 11.7])
    assert [count.beat_at(t) for t in (9.5, 10.8, 11.7)] == pytest.approx([-1, 1.5, 3])
    assert count.tempo_bpm(0, 1) == pytest.approx(120)
    assert count.tempo_bpm(0, 2) == pytest.approx(60 * 2 / 1.1)


def counted(deck: DeckTrace, start_s: float, end_s: float) -> BeatTimes | None:
    return beats_of_record(
        motion(deck), by="left", at_s=8.0, beat_s=0.5, beats=8, start_s=start_s, end_s=end_s
    )


def test_a_running_record_is_the_count():
    """Let go at 100 s from 8.0, 120 BPM: beat 6 at 103 s; at -4 %, 6 * 0.5 / 0.96 = 3.125 s on."""
    even = counted(record((99, 8), (100, 8), (104, 12), (105, 12)), 100, 104)
    assert [even.when(b) for b in (0, 1, 6)] == pytest.approx([100, 100.5, 103], abs=MS)
    slow = counted(record((99, 8), (100, 8), (104, 11.84), (105, 11.84)), 100, 104)
    assert slow.when(6) == pytest.approx(103.125, abs=MS)
    assert slow.tempo_bpm(1, 6) == pytest.approx(115.2, abs=0.05)
    assert slow.by == "left"


def test_a_record_heard_for_a_moment_is_no_count():
    deck = record((99, 8), (100, 8), (104, 12), (105, 12))
    assert counted(deck, 101, 101.3) is None
    assert counted(deck, 101, 101.5) is not None


def hands(start_s: float | None, late_s: float) -> BeatTimes:
    acts = [(float(beat), 50 + 0.6 * beat + late_s) for beat in range(8)]
    return beats_of_hands(
        by=None, start_s=start_s, about_s=50.0, beat_s=0.6, beats=8, lines=(), acts=acts
    )


def test_hands_that_are_late_all_through_do_not_shift_a_count_that_was_told():
    """A beat is 0.6 s. 20 ms late: against a told start, all late; without one, the count is."""
    assert [hands(50.0, 0.02).when(b) for b in (0, 3)] == pytest.approx([50, 51.8], abs=MS)
    assert [hands(None, 0.02).when(b) for b in (0, 3)] == pytest.approx([50.02, 51.82], abs=MS)
    assert (
        beats_of_hands(by=None, start_s=None, about_s=50.0, beat_s=0.6, beats=8, lines=(), acts=())
        is None
    )


# --- visits ---------------------------------------------------------------------------------------


def three() -> Routine:
    """Three set pieces of 16 beats at 120 BPM, 8 s each, on the left record at 10, 30 and 50."""
    pieces = [
        {"name": f"P{k}", "bars": 4, "tempo": 120, "count": "left", "right": {"hand": "rests"},
         "left": {"hand": "runs", "at": at}} for k, at in enumerate((10.0, 30.0, 50.0))
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": pieces})


def played(*at_s: float) -> dict[str, DeckTrace]:
    """Eight seconds from each place, from 100 s on; the right record says nothing."""
    t = np.arange(100.0, 100.0 + 8 * len(at_s), 0.05)
    x = np.array(at_s)[((t - 100) // 8).astype(int)] + (t - 100) % 8
    return {"left": DeckTrace(t, x), "right": DeckTrace(np.empty(0), np.empty(0))}


def sure(piece: int, from_beat: float, to_beat: float) -> list[Sure]:
    """The follower's word each half beat, where set piece k begins at 100 + 8 k s."""
    beats = np.arange(from_beat, to_beat + 0.25, 0.5)
    return [Sure(100 + 8 * piece + beat / 2, piece, float(beat), 0.5) for beat in beats]


def told(found) -> list[tuple[int, float, float, float, float]]:
    return [
        (v.piece, v.from_beat, v.to_beat, pytest.approx(v.start_s), pytest.approx(v.end_s))
        for v in found
    ]


WHOLE = [(0, 0, 16, 100, 108), (1, 0, 16, 108, 116), (2, 0, 16, 116, 124)]


def test_what_lies_before_the_first_sure_place_is_filled_in():
    assert told(visits(three(), sure(2, 5, 15.5), played(10, 30, 50), 100, 124)) == WHOLE
    elsewhere = visits(three(), sure(2, 5, 15.5), played(70, 30, 50), 100, 124)
    assert told(elsewhere) == WHOLE[1:]
    began_late = visits(three(), sure(2, 5, 15.5), played(10, 30, 50), 107, 124)
    assert told(began_late) == WHOLE[1:]


def test_what_lies_between_two_sure_places_is_filled_in_where_the_record_was():
    places = [*sure(0, 1, 15.5), *sure(2, 1, 15.5)]
    assert told(visits(three(), places, played(10, 30, 50), 100, 124)) == WHOLE
    assert told(visits(three(), places, played(10, 70, 50), 100, 124)) == [WHOLE[0], WHOLE[2]]


def test_what_lies_after_the_last_sure_place_is_filled_in_to_the_end():
    """Stopped at 112 s: 4 s into the second, which is 8 beats."""
    found = visits(three(), sure(0, 1, 15.5), played(10, 30, 50), 100, 112)
    assert told(found) == [WHOLE[0], (1, 0, 8, 108, 112)]


def test_a_visit_given_up_ends_where_it_was_last_sure():
    """Beat 6 at 103 s. Under a beat from the end it counts as gone to its end, a beat does not."""
    for to_beat, ends in ((6, (6, 103)), (15, (15, 107.5)), (15.5, (16, 108))):
        found = visits(three(), sure(0, 1, to_beat), played(10), 100, 100 + to_beat / 2)
        assert told(found) == [(0, 0, ends[0], 100, ends[1])]


def test_a_set_piece_come_into_at_its_second_beat_began_before_it_was_made_out():
    """Under two beats in, it began at its first; from beat 5 on, the record elsewhere, there."""
    assert told(visits(three(), sure(0, 1.5, 6), played(70), 100, 103)) == [(0, 0, 6, 100, 103)]
    assert told(visits(three(), sure(0, 5, 9), played(70), 100, 104.5)) == [(0, 5, 9, 102.5, 104.5)]


def test_a_place_held_for_under_a_beat_was_never_played():
    """One word of the last set piece within the first is dropped."""
    stray = [Sure(104.25, 2, 3.0, 0.5)]
    places = [*sure(0, 1, 8), *stray, *sure(0, 9, 15.5), *sure(1, 1, 15.5)]
    assert told(visits(three(), places, played(10, 30), 100, 116)) == WHOLE[:2]


# --- report ---------------------------------------------------------------------------------------


def test_noise_of_the_day():
    """NIOSH 98-126: 85 dBA for 8 h is 100 %, 3 dB halves the time: 94 dBA for 1.5 h is 150 %."""
    told = care_json(DayOfHands(5400.4, 94.0))
    assert (told["hands_on_s"], told["dose_percent"]) == (5400, pytest.approx(150, abs=1))
    assert "noise" not in care_json(DayOfHands(5400.4))


def test_a_rate_with_its_interval():
    """Wilson 1927, 8 of 10, z 1.96: z^2/n = 0.384, centre 0.992 / 1.384 = 0.717, half width
    sqrt(0.16 * 0.384 + 0.0369) / 1.384 = 0.227."""
    assert plain_json(clean_rate(8, 10)) == {"clean": 8, "of": 10, "low": 0.49, "high": 0.943}


def test_the_words_that_pages_read_of_weeks_days_and_notes_stay():
    """Wilson, 2 of 3: z^2/n = 1.28, centre 1.307 / 2.28 = 0.573, half width
    sqrt(0.2222 * 1.28 + 0.41) / 2.28 = 0.365."""
    week = Week(monday=date(2026, 3, 2), takes=4, rate=clean_rate(2, 3), bias_ms=1.236,
                spread_ms=None, tempo_part=0.9412)  # fmt: skip
    assert plain_json(WeeksOf(name="Lids", weeks=(week,), plateau="no gain")) == {
        "name": "Lids", "plateau": "no gain",
        "weeks": [{"monday": "2026-03-02", "takes": 4, "clean": 2, "of": 3, "low": 0.208,
                   "high": 0.939, "bias_ms": 1.24, "spread_ms": None, "tempo_part": 0.94}],
    }  # fmt: skip
    day = Day(day=date(2026, 3, 5), what=("run-through", "Lids"), takes=4, why="as it will be")
    assert plain_json(day) == {
        "day": "2026-03-05", "what": ["run-through", "Lids"], "takes": 4, "why": "as it will be",
    }  # fmt: skip
    note = plain_json(NoteRow(at=0.0, take=7, aim="Lids", text="mark: Lids"))
    assert datetime.fromisoformat(note.pop("at")).timestamp() == 0.0
    assert note == {"take": 7, "aim": "Lids", "text": "mark: Lids"}


def piece(name, why):
    """As one that was written before tempo and acts were."""
    none = {"heard": 0, "missed": 0, "added": 0, "skipped": 0, "bias_ms": None, "spread_ms": None}
    return {"index": 0, "name": name, "clean": not why, "why": why, "whole": True,
            "tempo_percent": None, "drift_percent": None, **none}  # fmt: skip


def test_one_takes_line():
    row = TakeRow(id=7, at=0.0, aim="", ended="complete", duration_s=12.3456, tempo_part=0.94321,
                  clean=False, run_through=True, first_piece=0)  # fmt: skip
    score = TakeScore.from_json({
        "verdict": "not clean", "heard": 9, "bias_ms": 4.0, "spread_ms": 9.0, "missed": 1,
        "added": 2, "skipped": 3, "run_through": True,
        "pieces": [piece("A", ["1 missed", "too fast"]), piece("B", [])],
    })  # fmt: skip
    line = take_json(row, score)
    assert (line["number"], line["piece"], line["duration_s"], line["tempo_part"]) == (
        7,
        None,
        12.35,
        0.9432,
    )
    assert [
        line[name] for name in ("heard", "bias_ms", "spread_ms", "missed", "added", "skipped")
    ] == [9, 4.0, 9.0, 1, 2, 3]
    assert line["why"] == ["A: 1 missed, too fast"]
    assert (line["faders"], line["said"]) == ({}, None)
    assert len(today(0.0)) == len("1970-01-01")
