"""Where passages lie on a deck: the sticker rule, the silences, the side's length."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.record.platter import sticker_degrees
from liveaid.routine import Routine
from liveaid.routine.layout.deck import HEAD_S, TAIL_S, Grain, lay_out
from liveaid.routine.layout.lay import grain_of, lay_out_decks
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.layout.part_use import unplaced
from liveaid.routine.layout.passage import passages_of
from liveaid.routine.layout.placed import placed_routine
from liveaid.routine.layout.uses import Use, uses_of
from liveaid.routine.left import Left

RATE_HZ = 44_100
TURN_S = 1.8


def use(piece, sound="a", *, works=False, start_s=0.0, length_s=4.0, speed=1.0, offset_s=0.0):
    return Use(
        piece=piece,
        side="left",
        works=works,
        segment=Segment(sound=sound, speed=speed, start_s=start_s, length_s=length_s),
        cue_offset_s=offset_s,
        left=Left(offset_s, runs=False) if works else Left(length_s, runs=True),
    )


def material(name="a", **more):
    return Material(name=name, frames=600 * RATE_HZ, rate_hz=RATE_HZ, **more)


MATERIALS = {name: material(name) for name in "abc"}
STARTS_S = [10.0 * index for index in range(40)]


def laid_out(uses, grain=None):
    passages = passages_of(uses, MATERIALS, STARTS_S)
    return lay_out("left", passages, grain or Grain(rate_hz=RATE_HZ, turn_s=TURN_S))


# 60 / (100/3) s and 60 / 45 s a turn, times the rate: 1.8 s and 1.3333 s are whole frames.
@pytest.mark.parametrize(
    ("turn_s", "rate_hz", "frames"),
    [
        (60 / (100 / 3), 44_100, 79_380),
        (60 / (100 / 3), 48_000, 86_400),
        (60 / 45, 44_100, 58_800),
        (60 / 45, 48_000, 64_000),
    ],
)
def test_a_turn_is_a_whole_number_of_frames_at_both_speeds(turn_s, rate_hz, frames):
    grain = Grain(rate_hz=rate_hz, turn_s=turn_s)
    assert [grain.turn_frame(n) for n in (1, 2, 1000)] == [frames, 2 * frames, 1000 * frames]


@st.composite
def routines(draw):
    """Uses of one deck as a routine makes them: some pieces skipped, sounds shared or not."""
    uses, piece = [], 0
    for _ in range(draw(st.integers(1, 9))):
        piece += draw(st.integers(0, 2))
        works = draw(st.booleans())
        length = draw(st.floats(0.2, 12.0))
        uses.append(
            use(
                piece,
                draw(st.sampled_from("abc")),
                works=works,
                start_s=draw(st.sampled_from([0.0, 4.0, 8.0, 20.0])),
                length_s=length,
                speed=draw(st.sampled_from([0.8, 1.0, 1.25])),
                offset_s=draw(st.sampled_from([0.0, 0.1])) if works else 0.0,
            )
        )
        piece += 1
    return uses


@st.composite
def grains(draw):
    return Grain(
        rate_hz=draw(st.sampled_from([44_100, 48_000])),
        turn_s=draw(st.sampled_from([1.8, 60 / 45, 60 / 78, 60 / 16])),
        gap_turns=draw(st.sampled_from([0.0, 0.3, 1.0, 2.5])),
        sticker=draw(st.booleans()),
        side_s=draw(st.sampled_from([20.0, 600.0])),
    )


@settings(max_examples=60)
@given(routines(), grains())
def test_sounds_lie_apart_by_the_gap_and_every_cue_is_placed(uses, grain):
    layout = laid_out(uses, grain)
    rate = grain.rate_hz
    head, tail = round(HEAD_S * rate), round(TAIL_S * rate)
    assert sorted(u.use.piece for laid in layout.laid for u in laid.passage.uses) == [
        u.piece for u in uses
    ]
    for before, after in zip(layout.laid, layout.laid[1:], strict=False):
        silence = (after.begin - head) - (before.end + tail)
        assert silence >= grain.gap
    first, last = layout.laid[0], layout.laid[-1]
    assert first.begin >= head
    assert first.cue(rate) >= grain.gap
    assert layout.frames >= last.end + tail + grain.gap


@settings(max_examples=60)
@given(routines(), grains())
def test_the_sticker_stands_at_the_same_angle_at_every_cue_that_is_wound_to(uses, grain):
    layout = laid_out(uses, replace(grain, sticker=True))
    for laid in layout.laid:
        turns = laid.cue(grain.rate_hz) / grain.rate_hz / grain.turn_s
        off_degrees = abs(turns - round(turns)) * 360.0
        # Half a frame of rounding, at the slowest platter here, is 0.003 degrees.
        assert off_degrees < 0.01


@settings(max_examples=40)
@given(routines(), grains())
def test_the_record_is_found_where_the_sound_of_each_set_piece_is(uses, grain):
    """A use's own sound lies under it: the passage's second there is the use's second."""
    for passage in passages_of(uses, MATERIALS, STARTS_S):
        for used in passage.uses:
            at, sound_s = 0.0, None
            for segment in passage.segments:
                if at - 1e-3 <= used.offset_s <= at + segment.length_s:
                    sound_s = segment.start_s + (used.offset_s - at) * segment.speed
                at += segment.length_s
            assert sound_s == pytest.approx(used.use.segment.start_s, abs=1e-3)
            assert used.offset_s + used.use.segment.length_s <= passage.length_s + 1e-3


def test_a_record_that_runs_on_is_one_passage_with_no_wind():
    layout = laid_out([use(0, length_s=10.0), use(1, start_s=10.0, length_s=10.0)])
    assert len(layout.laid) == 1
    assert layout.order.wound == 0
    assert layout.laid[0].passage.length_s == pytest.approx(20.0)


def test_a_record_let_run_through_a_rest_is_one_passage():
    layout = laid_out([use(0, length_s=10.0), use(2, start_s=20.0, length_s=10.0)])
    assert len(layout.laid) == 1
    assert layout.laid[0].passage.length_s == pytest.approx(30.0)


def test_a_record_stopped_for_a_rest_finds_its_next_cue_by_the_sticker():
    layout = laid_out([use(0, length_s=10.0), use(2, start_s=10.0, length_s=10.0)])
    assert len(layout.laid) == 2
    assert layout.order.wound > 0


def test_a_record_that_runs_into_a_faster_set_piece_changes_speed_at_the_joint():
    uses = [use(0, length_s=10.0), use(1, start_s=10.0, length_s=5.0, speed=1.1)]
    (laid,) = laid_out(uses).laid
    assert [segment.speed for segment in laid.passage.segments] == [1.0, 1.1]
    assert [segment.start_s for segment in laid.passage.segments] == [0.0, 10.0]


def test_a_hand_that_works_a_cue_again_after_a_rest_does_not_wind():
    uses = [use(0, works=True, length_s=2.0), use(3, works=True, length_s=2.0)]
    layout = laid_out(uses)
    assert len(layout.laid) == 1
    assert layout.order.wound == 0


def test_a_record_is_wound_from_its_cue_and_not_from_where_its_sound_begins():
    """Worked from a cue one second into five, or from the begin of four: what lies after the cue is
    the same, and so is the way from it to the next."""
    wound = [
        laid_out(
            [use(0, works=True, length_s=length_s, offset_s=offset_s), use(1, "b")]
        ).order.wound
        for length_s, offset_s in ((5.0, 1.0), (4.0, 0.0))
    ]
    assert wound[0] == wound[1] > 0


def test_a_refrain_gets_a_copy_of_its_own_next_to_the_hand():
    uses = [use(0, length_s=10.0), use(2, "b", length_s=10.0), use(4, length_s=10.0)]
    layout = laid_out(uses)
    assert len(layout.laid) == 3
    assert layout.shared == 0
    # 10 s is 5.56 turns; the next cue with a turn of silence between is at the 7th: 1.44 turns.
    assert layout.order.wound == 2 * (7 * 79_380 - 441_000)


def test_refrains_share_a_copy_when_the_side_is_short():
    uses = [use(0, length_s=10.0), use(2, "b", length_s=10.0), use(4, length_s=10.0)]
    side_s = 30.0
    layout = laid_out(uses, Grain(rate_hz=RATE_HZ, turn_s=TURN_S, side_s=side_s))
    assert layout.shared == 1
    assert len(layout.laid) == 2
    assert layout.frames <= side_s * RATE_HZ


def test_copies_are_given_up_where_sharing_winds_less():
    # Two spans of a minute and two of 2 s, worked by turns. With one of each, the short one lies
    # before the long one, and every wind is the short one's slot: 2 s + 1.8 s of silence = 2.1,
    # so 3 turns; any second copy of the long one would put a minute of record between them.
    uses = [
        use(2 * n, "ab"[n % 2], works=True, length_s=60.0 if n % 2 == 0 else 2.0) for n in range(4)
    ]
    layout = laid_out(uses)
    assert (layout.shared, len(layout.laid)) == (2, 2)
    assert layout.order.wound == 3 * 3 * 79_380


def held_at(at_s, worked):
    """A use after which the hand holds the record there."""
    return replace(worked, left=Left(at_s, runs=False))


def test_what_was_juggled_is_left_running_from_the_same_place():
    # The hand ends 1 s past the cue. 8 s of the sound hold the 4 s juggled: one second back, where
    # a copy of its own would be 4 s + 1.8 s of silence = 3.2, so 4 turns on, less the second.
    layout = laid_out([held_at(1.0, use(0, works=True)), use(2, length_s=8.0)])
    assert (layout.shared, len(layout.laid), layout.laid[0].passage.length_s) == (1, 1, 8.0)
    assert [used.use.piece for used in layout.laid[0].passage.uses] == [0, 2]
    assert layout.order.wound == 44_100


@pytest.mark.parametrize(("start_s", "shared"), [(1.8, 1), (2.0, 0)])
def test_a_place_within_another_stretch_is_shared_where_the_sticker_tells_it(start_s, shared):
    # A turn is 1.8 s: there the sticker stands as at the cue; at 2.0 s it is 40 degrees on.
    later = use(2, works=True, start_s=start_s, length_s=1.5)
    layout = laid_out([held_at(1.0, use(0, works=True)), later])
    assert layout.shared == shared
    # 0.8 s ahead; else the copy lies before: 1.5 s + 1.8 s of silence = 2 turns, and the 1 s back.
    assert layout.order.wound == (35_280 if shared else 2 * 79_380 + 44_100)


def test_both_decks_of_a_juggle_come_up_at_one_sticker_angle():
    # Left runs 4 bars at 96 BPM, 10 s, into the juggle: 10 / 1.8 = 5.5556 turns, 200 degrees.
    plans = [
        ({"hand": "runs", "sound": "a"}, {"hand": "rests"}),
        ({"hand": "works", "sound": "a", "bars_in": 4}, {"hand": "works", "sound": "a",
                                                         "bars_in": 4}),
    ]  # fmt: skip
    pieces = [
        {"name": f"P{number}", "bars": 4, "tempo": 96, "left": left, "right": right}
        for number, (left, right) in enumerate(plans)
    ]
    routine = Routine.model_validate(
        {"title": "T", "sounds": {"a": {"file": "a.wav"}}, "pieces": pieces}
    )
    materials = {"a": material(tempo_bpm=96.0, gridded=True)}
    uses, faults = uses_of(routine, materials)
    assert not faults
    # A hand works two bars of what is on a grid: 8 beats at 96 BPM are 5 s of the 10 s it has.
    assert [one.segment.length_s for one in uses["right"]] == pytest.approx([5.0])
    layouts = lay_out_decks(routine, uses, materials, grain_of(routine))
    files = {"a": "a.wav"}
    placed = placed_routine(
        routine, layouts, rate_hz=RATE_HZ, decks=routine.decks, files=files
    ).pieces[1]
    angles = [
        sticker_degrees(placed.plan(side).cue_s, routine.turntable.rpm)
        for side in ("left", "right")
    ]
    assert angles == pytest.approx([200.0, 200.0], abs=0.01)


def test_a_deck_too_long_for_its_side_says_so_by_its_length():
    layout = laid_out([use(0, length_s=40.0)], Grain(rate_hz=RATE_HZ, turn_s=TURN_S, side_s=30.0))
    assert layout.frames > 30.0 * RATE_HZ


def test_a_loop_comes_round_into_the_next_set_piece():
    loop = {"a": Material(name="a", frames=4 * RATE_HZ, rate_hz=RATE_HZ, loop_beats=8)}
    uses = [use(0, length_s=10.0), use(1, start_s=2.0, length_s=10.0)]
    (passage,) = passages_of(uses, loop, STARTS_S)
    assert passage.length_s == pytest.approx(20.0)
    # 10 s into a loop of 4 s is 2 s into it, where the second set piece asks it to be.
    assert len(passage.segments) == 1


def test_a_placed_map_has_each_cue_and_span_in_seconds_of_the_deck_file():
    """A span of 2 s with its cue 0.25 s on, whole turns from the file's begin, where the sticker
    stands; a record that runs has its second alone."""
    plan = {"hand": "works", "sound": "a"}
    plans = (plan, {"hand": "runs", "sound": "b"})
    pieces = [{"name": f"P{n}", "bars": 1, "tempo": 120, "left": p} for n, p in enumerate(plans)]
    sounds = {name: {"file": f"{name}.wav"} for name in "ab"}
    routine = Routine.model_validate({"title": "T", "sounds": sounds, "pieces": pieces})
    for offset_s in (0.25, 0.0):
        layout = laid_out([use(0, works=True, length_s=2.0, offset_s=offset_s),
                           use(1, "b", length_s=2.0)])  # fmt: skip
        placed = placed_routine(
            routine, {"left": layout}, rate_hz=RATE_HZ, decks=routine.decks,
            files={"a": "x.wav", "b": "y.wav"},
        )  # fmt: skip
        worked, ran = (piece.left for piece in placed.pieces)
        begins = {laid.passage.uses[0].use.piece: laid.begin / RATE_HZ for laid in layout.laid}
        own = begins[0] + offset_s if offset_s else None
        assert (worked.from_s, worked.to_s) == pytest.approx((begins[0], begins[0] + 2.0))
        assert worked.own_cue_s == (None if own is None else pytest.approx(own))
        turns = worked.cue_s / TURN_S
        assert turns == pytest.approx(round(turns), abs=1e-4)
        assert ran.at_s == pytest.approx(begins[1])
        assert [sound.file for sound in placed.sounds.values()] == ["x.wav", "y.wav"]


def test_a_cue_further_in_than_a_record_stands_is_another_passage():
    """Held at its cue, at the passage's begin, the record stands on second 20 of the sound; a hand
    that wants that second half a second into its span would need sound before the begin."""
    first = use(0, works=True, start_s=20.0, length_s=2.0)
    at_once = use(1, works=True, start_s=20.0, length_s=2.0)
    further = use(1, works=True, start_s=19.5, length_s=2.0, offset_s=0.5)
    assert len(passages_of([first, at_once], MATERIALS, STARTS_S)) == 1
    assert len(passages_of([first, further], MATERIALS, STARTS_S)) == 2


def test_only_a_hand_with_parts_is_laid_anew():
    parts = {"yes": {"from": 1.0, "to": 1.2}}
    worked = {"hand": "works", "from": 1.0, "to": 2.0, "sound": "a"}
    plans = ({"hand": "runs", "at": 3.0, "sound": "a"}, worked, worked | {"places": parts})
    routine = Routine.model_validate({
        "title": "T", "sounds": {"a": {"file": "a.wav"}},
        "pieces": [{"name": f"P{n}", "bars": 1, "tempo": 120, "left": plan}
                   for n, plan in enumerate(plans)],
    })  # fmt: skip
    assert [unplaced(routine, n, "left") is routine for n in range(3)] == [True, True, False]
    anew = unplaced(routine, 2, "left")
    assert (anew.pieces[2].left.places, anew.pieces[2].left.from_s) == ({}, None)
    assert anew.pieces[:2] == routine.pieces[:2]
