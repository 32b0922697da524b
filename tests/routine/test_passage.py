"""Which uses share a stretch of a deck, and where each lies on it: worked out by hand."""

from types import SimpleNamespace

import pytest

from liveaid.record.places import SAME_S
from liveaid.routine.layout.angles import SAME_ANGLE_S, sticker_angles
from liveaid.routine.layout.deck import Grain, Laid, lay_out
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.layout.part_use import PartIn
from liveaid.routine.layout.passage import Passage, UseIn, passages_of, sharings, whole_of
from liveaid.routine.layout.uses import Use
from liveaid.routine.left import Left

STARTS_S = [10.0 * index for index in range(9)]
"""Each set piece lasts ten seconds."""


def segment(start_s=0.0, length_s=4.0, *, sound="a", speed=1.0, even=False):
    return Segment(sound=sound, speed=speed, start_s=start_s, length_s=length_s, even=even)


def held(piece, start_s=0.0, length_s=4.0, *, cue_s=0.0, left_s=None, sound="a", speed=1.0):
    """A span in a hand, which leaves the record `left_s` from its begin, or else at its cue."""
    left = Left(cue_s if left_s is None else left_s, runs=False)
    return Use(piece=piece, side="left", works=True, cue_offset_s=cue_s, left=left,
               segment=segment(start_s, length_s, sound=sound, speed=speed))  # fmt: skip


def runs(piece, start_s=0.0, length_s=4.0, *, left_s=None, cue_s=0.0, sound="a", speed=1.0):
    left = Left(length_s if left_s is None else left_s, runs=True)
    return Use(piece=piece, side="left", works=False, cue_offset_s=cue_s, left=left,
               segment=segment(start_s, length_s, sound=sound, speed=speed))  # fmt: skip


def passages(*uses, **facts):
    """Each passage's stretches (start, length, speed) and its uses (set piece, offset, arrives)."""
    materials = {
        name: Material(name=name, frames=600_000, rate_hz=1000, **facts) for name in ("a", "b")
    }
    return [
        (
            [(each.start_s, each.length_s, each.speed) for each in passage.segments],
            [(used.use.piece, used.offset_s, used.arrives) for used in passage.uses],
        )
        for passage in passages_of(uses, materials, STARTS_S)
    ]


def test_a_record_that_a_hand_left_at_the_next_cue_is_one_passage_with_it():
    """Left at 10.5 s of the sound. The second span begins at 10.3 with its cue at 10.5: .3 on; the
    third at 10.2: .3 on, and 4 s long, so that the passage grows from 4.0 to 4.3."""
    ((stretches, uses),) = passages(
        held(0, 10.0, cue_s=0.5), held(1, 10.3125, 3.0, cue_s=0.1875),
        held(2, 10.25, 4.0, cue_s=0.25),
    )  # fmt: skip
    assert uses == [(0, 0.0, False), (1, 0.3125, True), (2, 0.25, True)]
    assert stretches == [(10.0, 4.25, 1.0)]


def test_a_hand_that_leaves_a_record_away_from_its_cue_leaves_it_at_another_cue():
    ((_, uses),) = passages(held(0, left_s=1.0), held(1, 1.0, 2.0))
    assert uses == [(0, 0.0, False), (1, 1.0, True)]


@pytest.mark.parametrize(
    ("uses", "shared"),
    [
        # The sound there is at most SAME_S off, and as much more as the record runs faster.
        ((held(0), held(1, SAME_S)), True),
        ((held(0), held(1, 1.5 * SAME_S)), False),
        ((held(0, speed=2.0), held(1, 2 * SAME_S, speed=2.0)), True),
        ((held(0, speed=0.5), held(1, 0.9 * SAME_S, speed=0.5)), True),
        # The next span may begin a little before the passage, but less than SAME_S.
        ((held(0), held(1, cue_s=SAME_S / 2)), True),
        ((held(0), held(1, cue_s=SAME_S)), False),
        # Another speed: only where the sound ends, and not in a hand.
        ((held(0), held(1, speed=0.8)), False),
        ((held(0), runs(1, speed=0.8)), False),
        ((held(0, speed=2.0), held(1, speed=0.5)), False),
        ((runs(0), runs(1, 4.0, speed=0.8)), True),
        ((runs(0), held(1, 4.0, speed=0.8)), False),
        ((held(0, 0.0, SAME_S), runs(1, speed=0.8)), False),
        ((held(0, speed=0.8), held(1, speed=0.8)), True),
        # What is left running and has to be stopped: only at the passage's own cue.
        ((runs(0, left_s=0.0), held(2)), True),
        ((runs(0, left_s=0.5, cue_s=0.5), held(2, 0.5)), True),
        ((runs(0, left_s=0.0, cue_s=0.5), held(2)), False),
        ((runs(0, left_s=1.0), held(2, 1.0)), False),
        ((runs(0, left_s=SAME_S), held(2, SAME_S)), False),
        ((held(0), held(1, sound="b")), False),
    ],
)  # fmt: skip
def test_whether_a_record_stands_where_the_next_set_piece_wants_it(uses, shared):
    assert (len(passages(*uses)) == 1) is shared


def test_a_passage_grows_by_what_the_next_use_lacks():
    """Run for 4 s, then on for 3: 7 s at one speed, or a stretch more at another."""
    assert passages(runs(0), runs(1, 4.0, 3.0)) == [
        ([(0.0, 7.0, 1.0)], [(0, 0.0, False), (1, 4.0, True)])
    ]
    assert passages(runs(0, speed=0.8), runs(1, 3.2, 3.0, speed=0.8))[0][0] == [(0.0, 7.0, 0.8)]
    for one, other in ((1.0, 0.8), (2.0, 0.5)):
        end_s = 4.0 * one
        assert passages(runs(0, speed=one), runs(1, end_s, 3.0, speed=other))[0][0] == [
            (0.0, 4.0, one), (end_s, 3.0, other),
        ]  # fmt: skip
    assert passages(held(0, 0.0, SAME_S), held(1, 0.0, 2 * SAME_S))[0][0] == [(0.0, SAME_S, 1.0)]


def test_a_hand_s_parts_lie_with_silence_between_them():
    """The second half a second after the first; the third close to the second's end."""
    parts = tuple(
        PartIn(label=label, segment=segment(start_s, length_s), offset_s=at, begin_s=at)
        for label, start_s, length_s, at in (
            ("one", 7.0, 1.0, SAME_S), ("two", 3.0, 0.5, 1.5), ("three", 9.0, 1.0, 2.0 + SAME_S / 2)
        )
    )  # fmt: skip
    made = Use(piece=0, side="left", works=True, segment=segment(7.0, 3.0), parts=parts,
               left=Left(0.0, runs=False))  # fmt: skip
    (passage,) = passages_of([made], {}, STARTS_S)
    assert [(each.sound, each.start_s) for each in passage.segments] == [
        ("a", 7.0), ("", 0.0), ("a", 3.0), ("a", 9.0),
    ]  # fmt: skip
    assert passage.segments[1].length_s == pytest.approx(0.5 - SAME_S)
    assert passage.segments[1].speed == 1.0


def one(*stretches, uses=(0,)):
    return Passage("left", tuple(stretches), tuple(UseIn(held(piece), 0.0) for piece in uses))


@pytest.mark.parametrize(
    ("whole", "part", "at_s"),
    [
        (segment(4.0, 8.0, speed=1.25), segment(9.0, 2.0, speed=1.25), 4.0),  # 5 / 1.25
        (segment(0.0, 8.0), segment(6.0, 2.0), 6.0),  # to its very end
        (segment(0.0, 8.0), segment(6.0, 2.0 + 2 * SAME_S), None),
        (segment(SAME_S, 8.0), segment(0.0, 2.0), -SAME_S),
        (segment(2 * SAME_S, 8.0), segment(0.0, 2.0), None),
        (segment(0.0, 8.0, speed=0.8), segment(0.0, 2.0), None),
        (segment(0.0, 8.0, speed=2.0), segment(0.0, 2.0, speed=0.5), None),
        (segment(0.0, 8.0, speed=0.8), segment(4.0, 2.0, speed=0.8), 5.0),
        (segment(0.0, 8.0, sound="b"), segment(0.0, 2.0), None),
        (segment(0.0, 8.0, even=True), segment(0.0, 2.0), None),
    ],
)
def test_where_a_passage_holds_all_the_sound_of_another(whole, part, at_s):
    """Its uses come along, in the order of play."""
    found = sharings([one(part, uses=(1,)), one(whole, uses=(0, 2))])
    assert len(found) == (at_s is not None)
    for ((passage,),) in [[each] for each in found]:
        assert passage.segments == (whole,)
        assert [used.use.piece for used in passage.uses] == [0, 1, 2]
        assert [used.offset_s for used in passage.uses] == pytest.approx([0.0, at_s, 0.0])
    assert (whole_of(one(part), [one(whole)]) is not None) is (at_s is not None)


def test_a_part_after_a_silence_is_found_behind_it():
    """1 s of one sound, .5 s of silence, then 4 s of `a` from its 2nd second on: 3.0 is 2.5 on."""
    whole = one(segment(sound="b", length_s=1.0), segment(sound="", length_s=0.5), segment(2.0))
    ((shared,),) = sharings([whole, one(segment(3.0, 1.0), uses=(1,))])
    assert [used.offset_s for used in shared.uses] == [0.0, 2.5]


def test_of_passages_alike_the_first_is_kept():
    first, second = one(segment()), one(segment(0.0, 4.0 + SAME_S / 2), uses=(1,))
    assert [[each.segments for each in kept] for kept in sharings([first, second])] == [
        [first.segments]
    ]
    barely = one(segment(0.0, SAME_S)), one(segment(0.0, 2 * SAME_S), uses=(1,))
    assert [kept[0].segments for kept in sharings(barely)] == [barely[0].segments]


def test_the_longest_passage_that_holds_a_copy_s_sound():
    four, eight = one(segment()), one(segment(0.0, 8.0))
    other = one(segment(0.0, 20.0, sound="b"))
    part = one(segment(1.0, 2.0))
    assert whole_of(part, [part, four, eight, other]) is eight
    assert whole_of(part, [part, other]) is None
    assert whole_of(four, [four, one(segment(0.0, 4.0 + SAME_S / 2))]) is None
    assert whole_of(one(segment(0.0, SAME_S)), [one(segment(0.0, 2 * SAME_S))]) is None


# -- on the deck: 10 frames a millisecond, a turn of 1.8 s is 18,000 frames; .5 ms are 5, 20 ms 200


def deck(*made, sticker=True, gap_turns=1.0, angles=None):
    grain = Grain(rate_hz=10_000, turn_s=1.8, gap_turns=gap_turns, sticker=sticker)
    layout = lay_out("left", made, grain, angles or {})
    return [(laid.begin, laid.length) for laid in layout.laid], layout.frames, layout.order.wound


TWO = (
    Passage("left", (segment(0.0, 4.0),), (UseIn(held(0, cue_s=0.3, left_s=0.5), 0.0),)),
    Passage("left", (segment(0.0, 3.0, sound="b"),), (UseIn(held(1, cue_s=2.0), 0.0),)),
)


def test_one_passage_by_the_frame():
    """A turn of silence, then the cue 3,000 frames into the sound; a turn after the fade."""
    assert deck(TWO[0]) == ([(15_000, 40_000)], 15_000 + 40_000 + 200 + 18_000, 0)
    assert deck(TWO[0], sticker=False)[0] == [(15_000, 40_000)]
    assert deck() == ([], 18_000, 0)
    assert Laid(TWO[0], 15_000, 40_000).cue(10_000) == 18_000
    assert Grain(rate_hz=10_000, turn_s=1.8).side_s == 600.0


def test_two_passages_by_the_frame():
    """Before a cue 20,000 + 5 frames have to fit. Bare: the first takes 40,000 - 3,000 + 200 +
    18,000 + 20,005 = 75,205 from cue to cue, the second 30,000 - 20,000 + 38,205 = 48,205. The
    record is left 2,000 past the first cue: it is nearer to go back to a second cue that lies
    before (48,205 + 2,000) than on to one behind (73,205).

    By turns of 18,000: 20,005 is two, 48,205 three, so the cues are at 36,000 and 90,000.
    """
    assert deck(*TWO, sticker=False) == (
        [(5, 30_000), (20_005 + 48_205 - 3_000, 40_000)],
        20_005 + 48_205 - 3_000 + 40_000 + 18_200, 50_205,
    )  # fmt: skip
    assert deck(*TWO) == ([(16_000, 30_000), (87_000, 40_000)], 127_000 + 18_200, 56_000)


def test_a_cue_turned_on_by_an_angle_lies_so_much_later():
    """.45 s are 4,500 frames: 79,705 from cue to cue are five turns, as 75,205; turned by .9 s it
    is 84,205. The second, turned by 1.5 s: 63,205, four turns instead of three."""
    turned = {("left", 0): 0.45, ("left", 1): 1.5}
    laid, frames, wound = deck(*TWO, angles=turned)
    assert laid == [(36_000 + 15_000 - 20_000, 30_000), (108_000 + 4_500 - 3_000, 40_000)]
    assert frames == 109_500 + 40_000 + 18_200
    assert wound == 108_000 + 4_500 + 2_000 - (36_000 + 15_000)


def test_a_gap_that_is_no_whole_number_of_frames_is_rounded_up():
    """.3 turns are 5,400 frames; .30001 are 5,400.18."""
    gaps = [Grain(rate_hz=10_000, turn_s=1.8, gap_turns=gap).gap for gap in (0.0, 0.3, 0.30001)]
    assert gaps == [0, 5_400, 5_401]


def test_a_record_that_runs_on_unheard_to_its_cue_is_not_wound():
    """From 4 s to 6: there it is by itself; to 3 s a hand brings it back, one second."""
    for offset_s, wound in ((6.0, 0), (4.0, 0), (3.0, 10_000)):
        uses = (UseIn(runs(0), 0.0), UseIn(held(2), offset_s, arrives=True))
        assert deck(Passage("left", (segment(0.0, 10.0),), uses))[2] == wound


@pytest.mark.parametrize(
    ("offset_s", "arrives", "angles", "shared"),
    [
        (1.8, False, {}, 1),  # a turn on, as at the cue
        (1.0, False, {}, 0),
        (1.0, True, {}, 1),  # there by itself, at whichever angle
        (1.0, False, {0: 0.8}, 1),  # .8 + 1.0 is a turn
        (1.0, False, {0: 0.9}, 0),
        (1.0, False, {2: 1.0}, 1),  # asked for at that angle
        (1.0, False, {2: 2.8}, 1),
        (1.0, False, {0: 0.4, 2: 1.4}, 1),
        (1.0, True, {2: 0.4}, 0),
    ],
)
def test_a_use_moves_only_to_where_its_cue_comes_up_at_the_same_angle(
    offset_s, arrives, angles, shared
):
    """The first passage's own cue is .5 s into it. Its second use comes along when another copy of
    the whole takes it in; a cue must come up at its angle, 0 where none is asked for."""
    first = UseIn(held(0, cue_s=0.5), 0.0)
    moved = UseIn(held(2, 0.5), 0.5 + offset_s, arrives=arrives)
    whole = Passage("left", (segment(),), (first, UseIn(held(1, 0.5), 0.5, arrives=True)))
    copy = Passage("left", (segment(),), (moved,))
    grain = Grain(rate_hz=10_000, turn_s=1.8, side_s=1.0)  # too short: what can be shared is
    layout = lay_out(
        "left", [whole, copy], grain, {("left", piece): at for piece, at in angles.items()}
    )
    assert layout.shared == shared


def test_a_copy_is_kept_where_the_side_holds_it_and_it_winds_no_more():
    """The first one's record is left at its cue, where the third one wants it: no wind with one
    copy or with two lying on each other's place... but the side has to hold both."""
    made = [
        one(segment(0.0, 10.0)), one(segment(0.0, 10.0, sound="b"), uses=(2,)),
        one(segment(0.0, 10.0), uses=(4,)),
    ]  # fmt: skip
    grain = Grain(rate_hz=10_000, turn_s=1.8)
    frames = lay_out("left", made, grain).frames
    for most, shared in ((frames, 0), (frames - 1, 1)):
        short = Grain(rate_hz=10_000, turn_s=1.8, side_s=most / 10_000)
        assert lay_out("left", made, short).shared == shared


# -- angles of a juggle


def juggled(**by_piece):
    """A routine of so many set pieces of which some are juggled."""
    return SimpleNamespace(
        pieces=[SimpleNamespace(is_juggle=bool(int(each))) for each in by_piece["juggle"]]
    )


def on(side, *uses):
    """A passage by its uses: (set piece, deck second of its cue)."""
    return Passage(side, (segment(),), tuple(UseIn(held(piece), cue_s) for piece, cue_s in uses))


def test_the_deck_whose_copy_is_new_is_turned_to_the_other_s_angle():
    """Both cues at angle 0 in the first; in the second the left record comes up .75 s later, so the
    right one's copy does; that is used again 1.5 s on, .75 + 1.5 - 1.8 = .45 past a turn, to which
    the left one's new copy is turned in the third. The fourth, between settled ones, is left."""
    left = [on("left", (0, 0.5), (1, 1.25)), on("left", (2, 1.0), (3, 1.1))]
    right = [on("right", (0, 0.25)), on("right", (1, 0.0), (2, 1.5), (3, 1.6))]
    angles = sticker_angles(juggled(juggle="1111"), {"left": left, "right": right}, 1.8)
    assert angles == pytest.approx({("right", 1): 0.75, ("left", 2): 0.45})
    assert sticker_angles(juggled(juggle="0000"), {"left": left, "right": right}, 1.8) == {}
    assert sticker_angles(juggled(juggle="1111"), {"left": left, "right": []}, 1.8) == {}


@pytest.mark.parametrize(
    ("left", "right", "angles"),
    [
        # The right one is turned, unless it has more uses.
        ([(0, 0.0), (1, 0.75)], [(1, 0.0)], {("right", 1): 0.75}),
        ([(0, 0.0), (1, 0.75)], [(0, 0.0), (1, 0.25)], {("right", 0): 0.5}),
        ([(1, 0.0)], [(0, 0.0), (1, 0.75)], {("left", 1): 0.75}),
        # So little is no angle, at either side of a turn.
        ([(0, 0.0), (1, SAME_ANGLE_S)], [(1, 0.0)], {}),
        ([(0, 0.0), (1, -1e-9)], [(1, 0.0)], {}),
        ([(0, 0.0), (1, 1.7)], [(1, 0.0)], {("right", 1): 1.7}),
        ([(0, 0.0), (1, -2e-6)], [(1, 0.0)], {("right", 1): 1.799998}),
    ],
)
def test_which_copy_is_turned_and_by_how_much(left, right, angles):
    found = sticker_angles(
        juggled(juggle="01"), {"left": [on("left", *left)], "right": [on("right", *right)]}, 1.8
    )
    assert found == pytest.approx(angles)
