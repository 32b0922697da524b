"""Whether every passage lies on its record, in its file and by itself: each finding by hand.

Set pieces of four bars at 120 BPM, 8 s of record; a turn is 1.8 s.
"""

from __future__ import annotations

import pytest

from liveaid.routine import Routine
from liveaid.routine.check.reach import judge_overlaps, judge_reach, judge_sound_lengths

SOUNDS = {
    "a": {"file": "a.wav", "tempo": 120},
    "b": {"file": "b.wav", "tempo": 100},
    "c": {"file": "c.wav"},
    "round": {"file": "r.wav", "tempo": 120, "loop": True},
}


def routine_of(*lefts, **more) -> Routine:
    """Each with what the left hand does, and a tempo where it is another."""
    pieces = [
        {"name": f"P{n}", "bars": 4, "tempo": 120, "left": left} | own
        for n, (left, own) in enumerate(
            each if isinstance(each, tuple) else (each, {}) for each in lefts
        )
    ]
    return Routine.model_validate({"title": "T", "sounds": SOUNDS, "pieces": pieces, **more})


def runs(at=None, sound=None, bars_in=0):
    return {"hand": "runs", "at": at, "sound": sound, "bars_in": bars_in}


def works(start, end, sound=None, **more):
    return {"hand": "works", "from": start, "to": end, "sound": sound, **more}


def told(findings):
    return [
        (f.severity, f.piece, f.bar, f.side, f.says,
         {name: pytest.approx(value, abs=1e-4) for name, value in f.numbers})
        for f in findings
    ]  # fmt: skip


# -- two on the same seconds


@pytest.mark.parametrize(
    ("first", "second", "severity", "says", "overlap_s"),
    [
        (runs(0, "a"), runs(7, "b"), "error", "left has a (P0) and b on the same 1.00 s", 1.0),
        (runs(7, "a"), runs(0, "b"), "error", "left has a (P0) and b on the same 1.00 s", 1.0),
        (works(2, 4, "a"), runs(3, "b"), "error", "left has a (P0) and b on the same 1.00 s", 1.0),
        (runs(0, "a"), runs(7, "a"), "error",
         "left has a at two different places (P0) on the same 1.00 s", 1.0),
        (runs(7, "a"), runs(0, "a"), "error",
         "left has a at two different places (P0) on the same 1.00 s", 1.0),
        # More than half a thousandth apart.
        (runs(0, "a"), (runs(0, "a"), {"tempo": 120.1}), "warning",
         "left is said to run at 120 (P0) and 120.1 BPM on the same 7.99 s", 8 * 120 / 120.1),
        ((runs(0), {"tempo": 121}), runs(0), "warning",
         "left is said to run at 121 (P0) and 120 BPM on the same 7.93 s", 8 * 120 / 121),
    ],
)  # fmt: skip
def test_two_set_pieces_cannot_have_the_same_seconds(first, second, severity, says, overlap_s):
    assert told(judge_overlaps(routine_of(first, second))) == [
        (severity, 1, 1, "left", says, {"overlap_s": overlap_s, "other_set_piece": 0})
    ]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (runs(0, "a"), runs(0, "a")),  # a refrain
        (runs(0, "a"), runs(7, "a", bars_in="7/2")),  # 7 s in: the same place of the sound
        (runs(0, "a"), (runs(0, "a"), {"tempo": 120.05})),  # half a thousandth
        (works(2, 3, "a"), runs(1, "a")),  # a worked span is a part of it
        (works(2, 3, "a"), (works(2, 3, "a"), {"tempo": 90})),
        (runs(0, "a"), (works(2, 3, "a"), {"tempo": 90})),
        (runs(0), runs(7)),  # nothing says that they are two sounds
        (runs(0, "a"), runs(7)),
        (runs(0, "a"), runs(7.96, "b")),  # 0.04 s
        (runs(0, "a"), runs(8.2, "b")),
    ],
)
def test_what_two_set_pieces_may_share(first, second):
    assert told(judge_overlaps(routine_of(first, second))) == []


@pytest.mark.parametrize(
    ("first", "second", "gap_s", "turns"),
    [
        (runs(0, "a"), works(8.2, 9, "b"), 0.2, "0.11"),
        (works(8.2, 9, "b"), runs(0, "a"), 0.2, "0.11"),
        (works(2, 3, "a"), works(3.44, 4, "b"), 0.44, "0.24"),
        (works(2, 3, "a"), works(2.96, 4, "b"), 0.0, "0.00"),
    ],
)
def test_beside_a_worked_span_a_quarter_turn_is_left_free(first, second, gap_s, turns):
    assert told(judge_overlaps(routine_of(first, second))) == [
        ("remark", 1, 1, "left",
         f"left: only {turns} turns between this and P0; a hand that overshoots is heard",
         {"gap_turns": gap_s / 1.8, "gap_s": gap_s})
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (works(2, 3, "a"), works(3.46, 4, "b")),  # 0.2556 turns
        (works(2, 3, "a"), works(3.1, 4, "a")),
        (runs(0, "a"), runs(8.1, "b")),
    ],
)
def test_what_may_lie_side_by_side(first, second):
    assert told(judge_overlaps(routine_of(first, second))) == []


# -- beyond the record, the file, the span or the sound


def test_a_passage_beyond_the_side_and_the_files_end_is_told_with_its_bar():
    """From 13 s to 21. Of a file of 17 s four are left, 8 beats: it ends in bar 3."""
    routine = routine_of(runs(13.0, "a"), turntable={"side": "0:20"})
    side, file = told(judge_reach(routine, {"left": 17.0}))
    assert side == (
        "error", 0, 1, "left", "left is needed up to 21.0 s; the record's side lasts 20 s (0:20)",
        {"last_s": 21.0, "side_s": 20.0},
    )  # fmt: skip
    assert file == (
        "error", 0, 3, "left", "left is needed up to 21.0 s, but its file ends at 17.0 s",
        {"last_s": 21.0, "file_s": 17.0},
    )  # fmt: skip
    assert [row[2] for row in told(judge_reach(routine, {"left": 5.0}))][1] == 1
    # The last of 16 beats at the latest.
    assert [row[2] for row in told(judge_reach(routine, {"left": 20.9}))][1] == 4
    assert len(told(judge_reach(routine, {"left": 20.96}))) == 1
    assert told(judge_reach(routine_of(runs(12.0), turntable={"side": "0:20"}), {})) == []


def test_a_worked_span_beyond_its_file_is_told_at_its_begin():
    (row,) = told(judge_reach(routine_of(works(10.0, 12.0, "a")), {"left": 11.9}))
    assert row[2:] == (
        1, "left", "left is needed up to 12.0 s, but its file ends at 11.9 s",
        {"last_s": 12.0, "file_s": 11.9},
    )  # fmt: skip


@pytest.mark.parametrize(("cue", "last_s"), [(13.0, 13.0), (9.0, 12.0)])
def test_a_cue_outside_its_span_is_told(cue, last_s):
    file, outside = told(judge_reach(routine_of(works(10.0, 12.0, cue=cue)), {"left": 11.0}))
    assert file[5]["last_s"] == last_s
    assert outside == (
        "warning", 0, 1, "left",
        f"left's cue at {cue:.2f} s lies outside its span 10.00 to 12.00 s",
        {"cue_s": cue, "from_s": 10.0, "to_s": 12.0},
    )  # fmt: skip
    for inside in (10.0, 12.0):
        assert told(judge_reach(routine_of(works(10.0, 12.0, cue=inside)), {})) == []


def test_what_is_not_placed_yet_has_to_fit_on_a_side_each_passage_once():
    side = {"turntable": {"side": "0:20"}}
    three = (runs(sound="a"), runs(sound="a", bars_in=4), runs(sound="a", bars_in=8))
    assert told(judge_reach(routine_of(*three, **side), {})) == [
        ("error", None, None, "left",
         "left needs at least 24 s of record; the side lasts 20 s",
         {"needed_s": 24.0, "side_s": 20.0})
    ]  # fmt: skip
    twice = (runs(sound="a"), runs(sound="a"), runs(sound="a", bars_in=4))
    assert told(judge_reach(routine_of(*twice, **side), {})) == []
    unnamed = (runs(), runs(), runs())
    assert len(told(judge_reach(routine_of(*unnamed, **side), {}))) == 1
    tempi = (runs(sound="a"), (runs(sound="a"), {"tempo": 121}), (runs(sound="a"), {"bars": 5}))
    assert [row[5]["needed_s"] for row in told(judge_reach(routine_of(*tempi, **side), {}))] == [
        8 + 8 * 120 / 121 + 10
    ]


@pytest.mark.parametrize(
    ("plan", "sound_s", "first_beat", "has", "bar"),
    [
        (runs(0, "a"), 6.0, 0.0, 3.0, 4),  # two seconds a bar: 12 beats on, bar 4
        (runs(0, "a"), 6.0, 1.0, 2.5, 3),
        (runs(0, "a", bars_in=2), 6.0, 0.0, 1.0, 2),
        (runs(0, "a", bars_in=9), 6.0, 0.0, 0.0, 1),
        (runs(0, "a"), 7.88, 0.0, 3.94, 4),
        (runs(0, "b"), 6.0, 0.0, 2.5, 3),  # at 100 BPM a bar is 2.4 s
        (runs(0, "c"), 6.0, 0.0, 3.0, 4),  # by the set piece's tempo
    ],
)
def test_a_sound_that_ends_too_soon_is_told_with_the_bars_it_has(
    plan, sound_s, first_beat, has, bar
):
    name = plan["sound"]
    sounds = SOUNDS | {name: SOUNDS[name] | {"first_beat": first_beat}}
    routine = routine_of(plan, sounds=sounds)
    assert told(judge_sound_lengths(routine, {name: sound_s})) == [
        ("error", 0, bar, "left",
         f"{name} has {has:.1f} bars left from there; the set piece lets it run for 4",
         {"has_bars": has, "bars": 4.0})
    ]  # fmt: skip


def test_a_sound_that_lasts_goes_round_or_is_worked_is_not():
    routine = routine_of(runs(0, "a"), runs(8, "round"), works(20, 21, "a"), runs(40, "b"))
    assert told(judge_sound_lengths(routine, {"a": 7.92, "round": 1.0})) == []
