"""Set pieces that end within a bar, and pick-ups before the routine's first beat, worked by hand.

No source but arithmetic: beats = bars x metre; seconds = beats x 60 / BPM.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pythonosc.osc_bundle import OscBundle

from liveaid.follow import Follower
from liveaid.follow.plan import plan_of
from liveaid.practice.act_score import ActScore
from liveaid.practice.count_in import first_cues
from liveaid.practice.losses import bar_losses
from liveaid.practice.passages import chunks_of
from liveaid.practice.stretch import cut, stretch
from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.render.acts_picture import acts_pictures
from liveaid.render.guide import guide_frames, guide_mix
from liveaid.routine import Routine, RoutineError
from liveaid.routine.acts import acts_of
from liveaid.routine.check import check
from liveaid.routine.coming import Coming, calls
from liveaid.routine.draft_text import pieces_text
from liveaid.routine.edits import edits
from liveaid.routine.load import read_routine
from liveaid.routine.save import routine_text
from liveaid.routine.timeline import lead_in_s, starts_s
from liveaid.routine.way import changes
from liveaid.stage.outline import outline
from liveaid.stage.prompt_osc import next_bar_bundle

PLACES = {"yes": {"from": 20.0, "to": 20.3}, "hey": {"from": 20.45, "to": 20.75}}
WORKED = {"hand": "works", "from": 20.0, "to": 20.75, "places": PLACES}
TEXT = """title: T
sounds: {tram: {file: t.wav, tempo: 120}}
pieces:
  - name: A
    bars: 2 1/2
    tempo: 120
    count: left
    left: {hand: runs, sound: tram, at: 2}
  - name: B
    bars: 1.5
    tempo: 120
    count: left
    left: {hand: runs, sound: tram, bars_in: 2 1/2, at: 7}
"""


def routine_of(*pieces: dict, **more: object) -> Routine:
    named = [{"name": f"P{k}", "tempo": 120, **piece} for k, piece in enumerate(pieces)]
    return Routine.model_validate({"title": "T", "pieces": named, **more})


def counted(bars: object, at: float = 2.0, **more: object) -> dict:
    return {"bars": bars, "count": "left", "left": {"hand": "runs", "at": at}, **more}


@pytest.fixture(scope="module")
def halves() -> Routine:
    """10, 6 and 3 beats of 0.5 s: 5, 3 and 1.5 s; the left record runs through all of them."""
    return routine_of(counted("2 1/2"), counted(1.5, 7.0), counted("3/4", 10.0))


@pytest.mark.parametrize(
    ("bars", "metre", "beats", "begun"),
    [
        ("2 1/2", 4, 10, 3),
        (2.5, 4, 10, 3),
        ("1/4", 4, 1, 1),
        ("5/2", 4, 10, 3),
        ("1 1/3", 3, 4, 2),
        (1.0 / 3.0, 3, 1, 1),
        ("3 5/7", 7, 26, 4),
        ("2.50", 2, 5, 3),
        (8, 3, 24, 8),
    ],
)
def test_bars_with_a_part_of_one_are_whole_beats(bars, metre, beats, begun):
    routine = routine_of({"bars": bars}, metre=metre)
    assert (routine.beats(0), routine.bar_count(0)) == (beats, begun)
    assert routine.piece_s(0) == pytest.approx(beats * 0.5)


@pytest.mark.parametrize(
    ("bars", "would_do"),
    [
        ("2.3", "whole beats of 4 in a bar, 2 1/4 or 2 1/2, would do"),  # 9.2 beats: 9 or 10
        ("1/8", "whole beats of 4 in a bar, 1/4, would do"),  # half a beat: 1
        ("2 1/3", "whole beats of 4 in a bar, 2 1/4 or 2 1/2, would do"),  # 9.33 beats
        ("2 bars", "bars such as 8 or 2 1/2 would do"),
        ("0", "more than 0 would do"),
        ("1/0", "bars such as 8 or 2 1/2 would do"),
    ],
)
def test_other_bars_are_refused_by_line_with_what_would_do(bars, would_do):
    with pytest.raises(RoutineError) as caught:
        read_routine(TEXT.replace("2 1/2\n", f"{bars}\n", 1).encode())
    assert [(p.line, p.field, p.found, p.would_do) for p in caught.value.problems] == [
        (5, "pieces[0].bars", bars, would_do)
    ]


def test_the_map_is_written_as_a_person_would():
    routine = read_routine(TEXT.encode())
    text = routine_text(routine)
    assert "bars: 2 1/2\n" in text
    assert "bars: 1 1/2\n" in text
    assert "bars_in: 2 1/2" in text
    assert read_routine(text.encode()) == routine
    assert "    bars: 2 1/2" in list(pieces_text([(routine.pieces[0], "why")]))
    longer = read_routine(TEXT.replace("2 1/2\n", "2 3/4\n", 1).encode())
    assert [str(edit) for edit in edits(routine, longer)] == [
        "set piece 1 A: bars was 2 1/2, now 2 3/4"
    ]


def test_a_record_runs_on_into_the_set_piece_after_a_half_bar():
    """Before a render by bars (2 1/2 in), after it by seconds: 2 + 10 x 0.5 = 7."""
    placed = read_routine(TEXT.encode())
    plain = read_routine(TEXT.replace(", at: 2}", "}").replace(", at: 7}", "}").encode())
    for routine in (placed, plain):
        assert [move.way for move in changes(routine)][1] == "runs on"
    other = read_routine(
        TEXT.replace(", at: 2}", "}").replace("in: 2 1/2, at: 7", "in: 2").encode()
    )
    assert [move.way for move in changes(other)][1] != "runs on"


def test_set_pieces_follow_one_another_by_beats_and_seconds(halves):
    assert starts_s(halves) == pytest.approx((0.0, 5.0, 8.0, 9.5))
    told = outline(halves)
    assert [one["from_beat"] for one in told["pieces"]] == [0, 10, 16]
    assert [one["bars"] for one in told["pieces"]] == [2.5, 1.5, 0.75]
    assert (told["beats"], told["seconds"]) == (19, 9.5)


@pytest.mark.parametrize(
    ("heard_s", "piece", "bar", "beat", "bars_left", "beats_left"),
    [
        (2.0, 0, 1, 1, 3, 10.0),
        (4.0, 0, 2, 1, 2, 6.0),  # 4 beats on
        (6.0, 0, 3, 1, 1, 2.0),  # 8 beats on: the half bar
        (6.75, 0, 3, 2, 1, 0.5),
        (7.25, 1, 1, 1, 2, 5.5),
        (9.0, 1, 2, 1, 1, 2.0),  # 4 beats on in P1
        (10.25, 2, 1, 1, 1, 2.5),
    ],
)
def test_bars_and_beats_left_are_told(halves, heard_s, piece, bar, beat, bars_left, beats_left):
    follower, prompt = Follower(halves), None
    for step in range(round((heard_s - 1.4) * 50) + 1):  # from 0.6 s before the first beat
        now = 0.02 * step
        follower.hear("left", position=1.4 + now, now=now)
        prompt = follower.prompt(now=now)
    assert prompt is not None
    assert (prompt.piece.index, prompt.bar, prompt.bars_left) == (piece, bar, bars_left)
    assert prompt.beat == beat
    assert prompt.beats_left == pytest.approx(beats_left, abs=0.1)


def test_the_next_bar_after_a_half_bar_is_the_next_set_pieces_first(halves):
    """Beat 9.5 of 10 at 120 BPM: the next set piece begins 0.25 s later; beat 7.5: bar 3 does."""
    follower = Follower(halves)
    for step in range(200):
        follower.hear("left", position=1.4 + 0.02 * step, now=0.02 * step)
    prompt = replace(follower.prompt(now=3.98), state="following", tempo=120.0)
    last = replace(prompt, beat_position=9.5, bar=3, beat=2)
    within = replace(prompt, beat_position=7.5, bar=2, beat=4)
    for one, told in ((last, (1, 2, 120.0)), (within, (3, 1, 120.0))):
        bundle = OscBundle(next_bar_bundle(one, 4, 1_700_000_000.0))
        assert [tuple(message.params) for message in bundle] == [told]
        assert bundle.timestamp == pytest.approx(1_700_000_000.25, abs=1e-6)


def test_what_does_not_fit_in_a_half_bar_is_refused():
    """2 1/2 bars are beats 0 to 10: a baby of a beat may begin on 9, not on 9.5."""
    fits = {**WORKED, "acts": {"bar 3 beat 2": "baby yes"}}
    assert acts_of(routine_of(counted("2 1/2", right=fits)), 0, "right")[-1].end_beat == 10.0
    over = routine_text(routine_of(counted("2 1/2", right=fits))).replace("bar 3 beat 2", "9.5")
    with pytest.raises(RoutineError) as caught:
        read_routine(over.encode())
    (problem,) = caught.value.problems
    assert problem.would_do == "an end at or before beat 10, the set piece's length, would do"


def test_stretches_of_a_half_bar(halves):
    """Bars 2 to 3 of 2 1/2: beats 4 to 10, so 6; the last two bars begun of it likewise."""
    within = stretch(halves, "bars 2 to 3 of P0")
    (piece,) = cut(halves, within).pieces
    assert (piece.bars, piece.left.at_s) == (1.5, 2.0 + 4 * 0.5)
    before, after = cut(halves, stretch(halves, "from P0 into P1")).pieces
    assert (before.bars, before.left.at_s, after.bars) == (1.5, 4.0, 1.5)
    assert stretch(halves, "bars 3 to 4 of P0") is None


def test_chunks_and_bars_of_practice(halves):
    """A half bar at the end goes with the two bars before it; pictures have a column a bar."""
    long = routine_of(counted("4 1/2"))  # 18 beats: 9 s
    assert [(c.start_s, c.end_s) for c in chunks_of(long)] == [(0.0, 4.0), (4.0, 9.0)]
    assert [(c.start_s, c.end_s) for c in chunks_of(halves)] == [(0, 5), (5, 8), (8, 9.5)]
    events = (
        ActScore(kind="stroke", side="left", beat=9.0, outcome="heard", heard_s=5.01, due_s=5.0),
        ActScore(kind="stroke", side="left", beat=0.0, outcome="missed"),
    )
    counts = {"heard": 1, "missed": 1, "added": 0, "skipped": 0, "bias_ms": 10.0, "spread_ms": 0.0}
    piece = PieceScore(
        index=0, name="P0", verdict="clean", why=(), whole=True, tempo_percent=None,
        drift_percent=None, acts=events, **counts,
    )  # fmt: skip
    score = TakeScore(verdict="clean", run_through=True, pieces=(piece,), **counts)
    off, missed, acts = bar_losses(halves, [score])
    assert len(acts) == 3 + 2 + 1
    assert (list(acts[:3]), round(off[2], 6), missed[0]) == ([1.0, 0.0, 1.0], 10.0, 1.0)


def test_check_counts_a_half_bar_as_half(halves):
    sounds = {"tram": {"file": "t.wav", "tempo": 120, "first_beat": 0.0}}
    piece = counted("2 1/2") | {"left": {"hand": "runs", "sound": "tram", "at": 2.0}}
    found = check(routine_of(piece, sounds=sounds), sound_s={"tram": 4.0})  # 2 bars of 2 s
    (short,) = [one for one in found if "bars left" in one.says]
    assert short.says == "tram has 2.0 bars left from there; the set piece lets it run for 2 1/2"
    assert short.bar == 3


# --- pick-ups into the routine ----------------------------------------------------------------


@pytest.fixture(scope="module")
def picked_up() -> Routine:
    """A push of half a beat on beat -1.5, 0.75 s before the first beat; 2 1/2 bars in all."""
    acts = {"-1 1/2": "push yes for 1/2", "0": "baby hey"}
    return routine_of(counted("2 1/2", right={**WORKED, "acts": acts}), counted(1, 7.0))


def test_a_routine_may_start_with_a_pick_up(picked_up):
    first, brought, baby = acts_of(picked_up, 0, "right")[:3]
    assert (first.kind, first.beat, first.end_beat) == ("push", -1.5, -1.0)
    assert (brought.kind, brought.beat, brought.end_beat) == ("wind", -1.0, 0.0)
    assert (baby.beat, baby.from_s) == (0.0, 20.45)
    assert lead_in_s(picked_up) == pytest.approx(1.5 * 0.5)
    assert lead_in_s(routine_of(counted(1))) == 0.0
    assert not [one for one in check(picked_up) if one.severity == "error"]
    by_hand = [move for move in changes(picked_up) if move.side == "right"]
    assert [(move.way, move.due.beat, move.cue_s) for move in by_hand] == [
        ("set before", -1.5, 20.0)
    ]
    assert [one["in_beats"] for one in Coming(picked_up).after(0, -2.0)] == [0.5, 2.0]


def test_the_guide_begins_with_the_pick_up(picked_up):
    """0.75 s + (10 + 4) beats of 0.5 s + 0.5 s of silence; the left record from 0.75 s on."""
    frames = round((0.75 + 7.0 + 0.5) * 8000)
    assert guide_frames(picked_up, rate_hz=8000) == frames

    def read(side, frame, count):
        at = (frame + np.arange(count)) / 8000.0
        tone = 0.2 * np.sin(2 * np.pi * 1000.0 * at)
        # The left record is heard on the left, the right one on the right.
        return np.stack([tone * (side == "left"), tone * (side == "right")], 1).astype(np.float32)

    mix = guide_mix(picked_up, read, rate_hz=8000)
    left_s, heard_s = (np.flatnonzero(np.abs(mix[:, side]) > 0.02) / 8000.0 for side in (0, 1))
    assert left_s[0] == pytest.approx(0.75, abs=0.005)
    assert left_s[-1] == pytest.approx(0.75 + 5.0 + 2.0, abs=0.005)
    assert heard_s[0] == pytest.approx(0.0, abs=0.05)  # a push from rest is soft at first
    assert not ((heard_s > 0.25 + 0.01) & (heard_s < 0.75 - 0.01)).any()
    assert heard_s[-1] == pytest.approx(0.75 + 0.5, abs=0.05)
    assert [chunk.start_s for chunk in chunks_of(picked_up)] == [0.75, 5.75]


def test_the_sheets_picture_begins_with_the_pick_up(picked_up):
    """Beats -2 to 10 at 36 units each; the push is drawn half a beat from the left edge."""
    picture = acts_pictures(picked_up, 0)
    assert 'viewBox="-2 -2 436 ' in picture
    assert '<polyline points="18.0,' in picture
    assert "bars 1 to 3" in picture


def test_every_room_waits_for_the_record_where_its_first_act_begins():
    """`hey`, at 20.45 s, comes first though the span begins with `yes`: no `cue:` says so."""
    routine = routine_of(counted(2, right={**WORKED, "acts": {"0": "baby hey"}}))
    assert first_cues(routine) == {"left": 2.0, "right": 20.45}
    assert plan_of(routine).at(0).parts["right"].cue_s == 20.45
    assert plan_of(routine).at(-1).parts["right"].next_cue_s == 20.45


def test_a_juggle_in_lines_tells_every_record_let_go():
    """Two beats each, twice: left on 0 and 4, right on 2 and 6."""
    figures = {"trade": {"beats": 4, "juggle": {"0": "left 0 to 2", "2": "right 0 to 2"}}}
    sides = {
        side: {"hand": "works", "from": at, "to": at + 4.0}
        for side, at in (("left", 10.0), ("right", 20.0))
    }
    routine = routine_of({"bars": 2, "juggle": {"0": "trade x2"}, **sides}, figures=figures)
    assert [(one.side, one.beat) for one in calls(routine, 0)] == [
        ("left", 0.0), ("right", 2.0), ("left", 4.0), ("right", 6.0),
    ]  # fmt: skip
    parts = plan_of(routine).at(0).parts
    assert (parts["left"].strokes, parts["right"].strokes) == ((0.0, 4.0), (2.0, 6.0))
