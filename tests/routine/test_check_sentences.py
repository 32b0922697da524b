"""What check says of one set piece, sentence by sentence, just within and just beyond each limit.

A set piece lasts four bars at 120 BPM: 16 beats of 0.5 s, 8 s. All sums by hand; the limits
themselves are common practice, no source, where `check` says so.
"""

from __future__ import annotations

import pytest

from liveaid.routine.arc import off_arc_by_piece
from liveaid.routine.check import check, hand_spans
from liveaid.routine.problems import Hindrance


def told(routine, rule):
    """What is said by one rule: severity, set piece, sentence, way out."""
    found = (each for each in check(routine) if each.rule == rule)
    return [(each.severity, each.piece, each.says, each.way_out) for each in found]


@pytest.fixture
def rising(routine, piece, runs, rests):
    """rising([(part, energy), ...], ...): a set piece each, left let run all through."""

    def make(*parts, bars=None, **more):
        pieces = [
            piece(runs(8.0 * n), rests, name=f"P{n}", part=part, energy=energy, technique=f"t{n}",
                  bars=bars[n] if bars else 4)
            for n, (part, energy) in enumerate(parts)
        ]  # fmt: skip
        return routine(*pieces, **more)

    return make


ALL_PARTS = [("intro", 2), ("story", 3), ("climax", 5), ("outro", 2)]


# The energy arc.


def test_parts_out_of_order_are_named_where_they_come(rising):
    back = rising(("intro", 2), ("climax", 5), ("story", 4), ("outro", 3))
    after = "arrange finds an order that keeps the parts"
    assert ("remark", 2, "story comes after climax", after) in told(back, "energy")
    late = rising(("intro", 2), ("story", 3), ("outro", 4), ("climax", 5))
    assert told(late, "energy") == [("warning", 3, "climax comes after outro", after)]


def test_two_set_pieces_of_one_part_are_in_order(rising):
    assert told(rising(*ALL_PARTS[:2], *ALL_PARTS[1:3], ("outro", 3)), "energy") == []


def test_missing_parts_are_counted(rising):
    (found,) = [f for f in check(rising(("intro", 3), ("outro", 2))) if f.rule == "energy"]
    assert found.says == "no story and no climax"
    assert dict(found.numbers) == {"missing": 2}


@pytest.mark.parametrize(
    ("energies", "says"),
    [
        ((3, 3, 3), "every set piece has energy 3: no arc"),
        ((3, 3, 4), None),
        ((4, 4), None),  # two are no arc yet
    ],
)
def test_a_flat_arc_is_told_from_three_set_pieces_on(rising, energies, says):
    parts = ["intro", "story", "climax"]
    found = told(rising(*zip(parts, energies, strict=False)), "energy")
    flat = [each[2] for each in found if "no arc" in each[2]]
    assert flat == ([says] if says else [])


@pytest.mark.parametrize("story", [5, 4])
def test_a_climax_may_share_the_peak(rising, story):
    found = told(rising(("intro", 3), ("story", story), ("climax", 5), ("outro", 3)), "energy")
    assert not any("climax reaches" in each[2] for each in found)


def test_a_peak_before_the_climax_is_named(rising):
    found = told(rising(("intro", 2), ("story", 5), ("climax", 4), ("outro", 3)), "energy")
    assert (
        "warning", 1, "energy 5 here, but the climax reaches only 4",
        "hold this one back, or make it the climax",
    ) in found  # fmt: skip


@pytest.mark.parametrize(
    ("bars", "says"),
    [
        # The peak is P1, after 4 of 16 bars, 5 of 10, 4 of 10.
        ((4, 4, 4, 4), "the peak (energy 5) is over in the first half: it starts at 25 %"),
        ((5, 2, 2, 1), None),
        ((4, 2, 2, 2), "the peak (energy 5) is over in the first half: it starts at 40 %"),
    ],
)
def test_a_peak_in_the_first_half_is_remarked(rising, bars, says):
    parts = [("intro", 3), ("climax", 5), ("climax", 4), ("outro", 3)]
    found = told(rising(*parts, bars=bars), "energy")
    assert [each[2] for each in found if "peak" in each[2]] == ([says] if says else [])


def test_the_last_of_two_peaks_counts_and_three_set_pieces_have_no_halves(rising):
    twice = rising(("intro", 3), ("climax", 5), ("climax", 5), ("outro", 3))
    assert not any("peak" in each[2] for each in told(twice, "energy"))
    short = rising(("climax", 5), ("outro", 4), ("outro", 3))
    assert not any("peak" in each[2] for each in told(short, "energy"))


@pytest.mark.parametrize(("after", "falls"), [(2, True), (3, False)])
def test_a_fall_of_three_levels_is_deep(rising, after, falls):
    found = told(rising(("intro", 3), ("story", 4), ("climax", 5), ("outro", after)), "energy")
    out = "wanted as a surprise? else put a set piece between"
    assert found == ([("remark", 3, "energy falls from 5 to 2", out)] if falls else [])


def test_a_rise_is_no_fall(rising):
    assert told(rising(("intro", 1), ("story", 4), ("climax", 5), ("outro", 3)), "energy") == []


def test_how_far_each_set_piece_is_from_the_arc(rising):
    # Middles of two alike: at 1/4 the arc is halfway from 2 to 3, at 3/4 it is 5/6 from 3 to 5.
    off = off_arc_by_piece(rising(("intro", 1), ("outro", 5)))
    assert off == [pytest.approx(1.5), pytest.approx(5 - (3 + 2 * 5 / 6))]
    # Three wants of 1, 4 and 2 at 1/6, 1/2 and 5/6 of the time: in the middle 4 is wanted.
    wants = [{"part": part, "energy": energy} for part, energy in
             (("intro", 1), ("story", 4), ("outro", 2))]  # fmt: skip
    own = rising(("intro", 3), ("story", 3), ("outro", 3), idea={"wants": wants})
    assert off_arc_by_piece(own) == [pytest.approx(2.0), pytest.approx(1.0), pytest.approx(1.0)]


# What the idea wants.

SOUNDS = {
    "bell": {"file": "bell.wav", "kind": "instrumental", "tempo": 120, "key": "A minor"},
    "call": {"file": "call.wav", "kind": "a cappella", "tempo": 120, "key": "C major"},
}


@pytest.mark.parametrize(
    ("want", "says"),
    [
        ({"energy": 4}, None),  # one off will do
        ({"energy": 2}, None),
        ({"energy": 5}, "story at energy 5; nearest is P: its energy is 3"),
        ({"energy": 1}, "story at energy 1; nearest is P: its energy is 3"),
        ({"part": "outro"}, "outro at energy 3; nearest is P: it is story"),
        ({"kind": "instrumental"}, None),
        ({"kind": "a cappella"},
         "story at energy 3 with a cappella; nearest is P: no a cappella in it"),
        ({"bars": 4}, None),
        ({"bars": 8}, "story at energy 3 of 8 bars; nearest is P: it has 4 bars"),
        ({"tempo_from": 120}, None),
        ({"tempo_to": 120}, None),
        ({"tempo_from": 121},
         "story at energy 3 from 121 to 300 BPM; nearest is P: it is at 120 BPM"),
        ({"tempo_to": 119}, "story at energy 3 from 20 to 119 BPM; nearest is P: it is at 120 BPM"),
        ({"key": "A minor"}, None),
        ({"key": "C major"}, "story at energy 3 in C major; nearest is P: nothing in C major"),
    ],
)  # fmt: skip
def test_a_wish_is_filled_or_told_with_what_is_in_its_way(routine, piece, runs, rests, want, says):
    idea = {"wants": [{"part": "story", "energy": 3, **want}]}
    own = piece(runs(0, sound="bell"), rests, part="story", energy=3)
    found = told(routine(own, sounds=SOUNDS, idea=idea), "energy")
    wishes = [each[2] for each in found if "wants" in each[2]]
    assert wishes == ([f"the idea wants {says}"] if says else [])


def test_the_nearest_set_piece_lacks_the_least_and_the_wish_is_numbered(rising):
    idea = {"wants": [{"part": "story", "energy": 3}, {"part": "outro", "energy": 5, "bars": 2}]}
    # The second wish: P0 lacks part and energy, P1 part, energy and bars are 2: part and energy;
    # P2 is an outro of 2 bars at energy 3: the energy alone.
    found = check(rising(("intro", 1), ("story", 3), ("outro", 3), bars=(4, 2, 2), idea=idea))
    (wish,) = [each for each in found if "wants" in each.says]
    assert wish.says == (
        "the idea wants outro at energy 5 of 2 bars; nearest is P2: its energy is 3"
    )
    assert dict(wish.numbers) == {"want": 2}


# Variety.


@pytest.mark.parametrize(
    ("bars", "says"),
    [
        ((3, 3, 4), None),  # 6 of 10 bars is the limit itself
        ((4, 3, 4), ["drop fills 64 % of the routine"]),  # 7 of 11
        ((4, 4), None),  # two set pieces are too few to say
    ],
)
def test_one_technique_for_more_than_three_fifths(routine, piece, runs, rests, bars, says):
    techniques = ("Drop", " drop", "blend")
    pieces = [
        piece(runs(8.0 * n), rests, name=f"P{n}", technique=techniques[n], bars=count)
        for n, count in enumerate(bars)
    ]
    found = [each[2] for each in told(routine(*pieces), "variety") if "fills" in each[2]]
    assert found == (says or [])


@pytest.mark.parametrize(
    ("techniques", "says"),
    [
        (("a", "b", "b", "b", "c"), [("remark", 1, "b 3 times in a row from here")]),
        (("a", "b", "b", "c"), []),
        (("a", "a", "a", "a"), [("remark", 0, "a 4 times in a row from here")]),
        (("a", "", "", "", "b"), []),
    ],
)
def test_how_often_a_technique_comes_in_a_row(routine, piece, runs, rests, techniques, says):
    pieces = [
        piece(runs(8.0 * n), rests, name=f"P{n}", technique=technique)
        for n, technique in enumerate(techniques)
    ]
    found = told(routine(*pieces), "variety")
    assert [each[:3] for each in found if "in a row" in each[2]] == says


@pytest.mark.parametrize(
    ("sides", "says"),
    [
        ("rrr", ["only the right record is ever worked, for 24 s"]),
        ("lll", ["only the left record is ever worked, for 24 s"]),
        ("rr", []),
        ("rrl", []),
    ],
)
def test_one_side_that_is_never_worked(routine, piece, works, runs, sides, says):
    pieces = [
        piece(runs(0), works(20, 22), name=f"P{n}") if side == "r"
        else piece(works(20, 22), runs(0), name=f"P{n}", count="right")
        for n, side in enumerate(sides)
    ]  # fmt: skip
    found = told(routine(*pieces), "variety")
    assert [each[2] for each in found if "ever worked" in each[2]] == says


def test_what_belongs_right_after_another_is_told_where_that_is(routine, piece, runs, rests):
    a, b = piece(runs(0), rests, name="A"), piece(runs(8), rests, name="B")
    pair = routine(piece(runs(16), rests, name="C", follows="B"), a, b)
    assert [each for each in told(pair, "variety") if "belongs" in each[2]] == [
        (
            "warning",
            0,
            "belongs right after B, which is set piece 3",
            "arrange brings them together",
        )
    ]


# How busy the hands are.


def test_a_minute_of_work_is_within_and_a_beat_more_is_not(routine, piece, works, rests):
    # 120 beats of 0.5 s are 60 s; with 31 bars, 124 beats, 62 s.
    def strained(bars):
        found = told(routine(piece(works(0, 2), rests, bars=bars)), "hands")
        return [each[2] for each in found if "without a bar's rest" in each[2]]

    assert strained(30) == []
    assert strained(31) == ["the left hand works for 62 s without a bar's rest"]


def test_a_rest_is_a_bar_long(routine, piece, works, runs, rests):
    def strained(rest_bars):
        pieces = (
            piece(works(0, 2), rests, bars=16),
            piece(rests, runs(0), bars=rest_bars, count="right"),
            piece(works(0, 2), rests, bars=16),
        )  # fmt: skip
        found = told(routine(*pieces), "hands")
        return [each[2] for each in found if "bar's rest" in each[2]]

    # Twice 32 s: with three beats of rest between them they are one stretch of 64 s.
    assert strained(0.75) == ["the left hand works for 64 s without a bar's rest"]
    assert strained(1) == []


# Time.


@pytest.mark.parametrize(
    ("limit", "said"),
    [
        # The routine takes 16 s.
        ("0:20", ("remark", "the routine takes 0:16 of 0:20: 4.0 s to spare", "")),
        # 5 s are 2.5 bars of 2 s; 16 is less than 0.8 x 21 = 16.8.
        ("0:21", ("remark", "the routine takes 0:16 of 0:21: 5.0 s to spare",
                  "2 more bars would fit")),
        ("0:16", ("warning",
                  "the routine takes 0:16 of 0:16: 0.0 s to spare; played 0.0 % slow it would be"
                  " over", "a bar or two less would leave room for a slow evening")),
        # 16 / 15 is 6.7 % faster, within 8; 16 / 14 is 14.3 %, beyond.
        ("0:15", ("error", "the routine takes 0:16, 1.0 s over the limit of 0:15",
                  "cut 1 bars, or play all of it 6.7 % faster")),
        ("0:14", ("error", "the routine takes 0:16, 2.0 s over the limit of 0:14", "cut 1 bars")),
        ("0:13", ("error", "the routine takes 0:16, 3.0 s over the limit of 0:13", "cut 2 bars")),
    ],
)  # fmt: skip
def test_the_time_against_the_limit(routine, piece, runs, rests, limit, said):
    r = routine(piece(runs(0), rests), piece(runs(8), rests), limit=limit)
    assert [(a, c, d) for a, _, c, d in told(r, "time")] == [said]


def test_a_pitch_that_just_reaches_the_limit_is_offered(routine, piece, runs, rests):
    # 30 bars of 2 s are 60 s against 48: 25 % faster is all that this fader has.
    r = routine(piece(runs(0), rests, bars=30), limit="0:48", turntable={"pitch_range": 25})
    assert told(r, "time")[0][3] == "cut 6 bars, or play all of it 25.0 % faster"


@pytest.mark.parametrize(
    ("strokes", "said"),
    [
        # 2 s of span are 4 beats: from 0 to 4, and from the second stroke on.
        ([0, 4, 8, 12], []),
        ([0, 4, 12], [("remark", 0, "dead air: nothing sounds for 4 beats (2.0 s)", "")]),
        ([0, 4, 11, 12], []),  # 3 beats
        ([0, 9, 12], [("warning", 0, "dead air: nothing sounds for 5 beats (2.5 s)",
                       "let a record run through, or keep it to a bar as a break")]),
    ],
)  # fmt: skip
def test_dead_air_begins_at_a_bar(routine, piece, works, rests, strokes, said):
    r = routine(piece(works(10, 12, strokes=strokes), rests))
    assert [each for each in told(r, "time") if "dead air" in each[2]] == said


# Changes. Left is let run from 10 s to 18 s, rests, and is wanted at its cue; a turn is 1.8 s.


def wound(routine, piece, runs, rests, *, bars, cue, **more):
    return routine(
        piece(runs(10), rests), piece(rests, runs(0), bars=bars, count="right"),
        piece(runs(cue), rests), **more,
    )  # fmt: skip


def test_a_tight_wind_is_told_with_its_sums(routine, piece, runs, rests):
    """8 beats of rest, both hands taken in the first: 3.5 s free. 5 turns forward take 5 / 3 s to
    wind and 0.5 s to settle, 2.1667 s: 1.3333 s or 2.667 beats are left, below a margin of 3. The
    needle takes 3 s and winds 2 turns: 3 + 2 / 3 + 0.5 s. 27 s are 15 turns of 1.8 s."""
    r = wound(routine, piece, runs, rests, bars=2, cue=27.0, performer={"margin_beats": 3})
    assert told(r, "winding") == [(
        "warning", 2,
        "left must be wound +5.0 turns to 27.00 s (turn 15, sticker at 0°): 2.2 s by hand; it is"
        " silent for 4.0 s (8 beats), but a hand is free for only 3.5 s of it: 2.7 beats to spare,"
        " below the margin of 3",
        "practise this change by itself, or put the cue nearer",
    )]  # fmt: skip


def test_a_wind_that_is_impossible_says_what_would_do(routine, piece, runs, rests):
    """4 beats of rest, 3 of them free: 1.5 s, in which 3 turns are wound and settled (1 + 0.5 s).
    10 turns back take 10 / 3 + 0.5 = 3.8333 s, by the needle 4.1667: 2.3333 s or 4.667 beats more.
    """
    r = wound(routine, piece, runs, rests, bars=1, cue=0.0)
    assert told(r, "winding") == [(
        "error", 2,
        "left must be wound -10.0 turns to 0.00 s (turn 0, sticker at 0°): 3.8 s by hand; it is"
        " silent for 2.0 s (4 beats), but a hand is free for only 1.5 s of it: 4.7 beats too few",
        "put the cue within 3.0 turns, or let left rest 4.7 beats longer before it",
    )]  # fmt: skip


def test_the_needle_is_named_where_it_is_quicker(routine, piece, runs, rests):
    """60 turns by hand are 20.5 s; by the needle 4.1667 s, 0.6667 more than the 3.5 s there are."""
    r = wound(routine, piece, runs, rests, bars=2, cue=126.0)
    ((_, _, says, _),) = told(r, "winding")
    assert "20.5 s by hand, 4.2 s by the needle; it is silent for 4.0 s (8 beats)" in says
    assert says.endswith(": 1.3 beats too few")


def test_a_change_without_a_rest_says_so(routine, piece, runs, rests):
    """Half a turn on at once: 0.5 log2(7) / log2(13) = 0.379 s, 0.76 beats, none of them there."""
    r = routine(piece(runs(10), rests), piece(runs(18.9), rests))
    assert told(r, "winding") == [(
        "error", 1,
        "left must be wound +0.50 turns to 18.90 s (turn 10, sticker at 180°): 0.4 s by hand; it"
        " sounds right up to the change: 0.8 beats too few",
        "put the cue where the record stands when it falls silent, or let left rest 0.8 beats"
        " longer before it",
    )]  # fmt: skip


def test_what_is_not_placed_is_told_by_the_time_there_will_be(routine, piece, runs, rests):
    def winding(rest_bars):
        between = [piece(rests, runs(), bars=rest_bars, count="right")] if rest_bars else []
        r = routine(piece(runs(), rests, name="A"), *between, piece(runs(), rests))
        return [each for each in told(r, "winding") if each[0] == "warning"]

    assert winding(0) == [(
        "warning", 1, "left goes on from A with another sound and no time to wind",
        "the cue must lie where A ends, or left must rest a few beats before it",
    )]  # fmt: skip
    # A bar of rest: the first of its beats takes both hands, three are free.
    assert winding(1) == []


def test_no_hand_is_free_where_both_are_at_work(routine, piece, runs, works, rests):
    """Left is silent for 8 s; right is scratched all through, which takes both hands."""
    pieces = (piece(runs(), rests, name="A"), piece(rests, works()), piece(runs(), rests))
    assert (
        "warning", 2, "left is silent for 8.0 s after A, but no hand is free",
        "a technique with an open fader, or strokes with room between them, frees one",
    ) in told(routine(*pieces), "winding")  # fmt: skip


def test_a_beat_that_asks_for_three_hands_is_told_with_what_they_do(routine, piece, works, runs):
    # Left is let go on the first beat, on which right has a stroke: a hand each, and the fader.
    r = routine(piece(runs(0), works(20, 21, strokes=[0, 8])))
    assert [each for each in told(r, "hands") if "asks for" in each[2]] == [(
        "remark", 0, "beat 1 asks for 3 hands: releases left, works right, crossfader",
        "let the record go first; the first stroke comes a beat later",
    )]  # fmt: skip


def test_the_plan_of_the_hands_as_plain_data(routine, piece, runs, rests):
    """Two beats at 60 BPM from 8 s on: 1 s each."""
    r = routine(piece(runs(10), rests), piece(runs(18), rests, tempo=60, bars=0.5))
    first, *_, last = [span.to_json() for span in hand_spans(r)]
    assert first == {
        "piece": 0, "from_beat": 0, "to_beat": 1, "start_s": 0.0, "end_s": 0.5,
        "left_hand": "releases left", "right_hand": None, "third_hand": [],
    }  # fmt: skip
    assert last == {
        "piece": 1, "from_beat": 1, "to_beat": 2, "start_s": 9.0, "end_s": 10.0,
        "left_hand": None, "right_hand": None, "third_hand": [],
    }  # fmt: skip
    pitch = next(span for span in hand_spans(r) if span.piece == 1)
    assert (str(pitch.left), pitch.busy) == ("sets the left pitch", 1)


def test_how_busy_the_hands_are_in_all(routine, piece, runs, works, rests):
    """8 s of scratching takes two hands, 8 s of a record that runs one in its first beat: with the
    fader, since another deck is heard, two. So 8.5 s of 16 both, none 7.5: 53 and 47 %."""
    r = routine(piece(works(0, 2), rests), piece(rests, runs(0), count="right"))
    assert ("both hands busy 53 % of the time, one 0 %, none 47 %") in [
        each[2] for each in told(r, "hands")
    ]


# Tempo.


@pytest.mark.parametrize(
    ("after", "said"),
    [
        (120.05, None),  # 0.0417 % is no step
        (120.1, "120 to 120.1 BPM is +0.1 % of pitch (+0.01 semitones)"),  # 0.083 %
        (119.9, "120 to 119.9 BPM is -0.1 % of pitch (-0.01 semitones)"),
        (240, "120 to 240 BPM, counted in double time as 120, is +0.0 % of pitch"
              " (+0.00 semitones)"),
    ],
)  # fmt: skip
def test_a_tempo_step_is_told_from_a_twentieth_of_a_per_cent(
    routine, piece, runs, rests, after, said
):
    r = routine(piece(runs(0), rests), piece(rests, runs(8), tempo=after, count="right"))
    assert [each[2] for each in told(r, "tempo")] == ([said] if said else [])


def test_a_step_beyond_the_fader_is_told_with_what_is_within(routine, piece, runs, rests):
    # 120 to 135 is 12.5 %, 12 log2(1.125) = 2.04 semitones. 120 x 0.92 and x 1.08.
    cut = routine(piece(runs(0), rests), piece(rests, runs(8), tempo=135, count="right"))
    says = "120 to 135 BPM is +12.5 % of pitch (+2.04 semitones), beyond the fader's ±8 %"
    assert told(cut, "tempo") == [
        ("warning", 1, says, "cut on the beat, or keep the tempo within 110.4 to 129.6 BPM")
    ]
    # A record that runs through: it is at 8 s as the first set piece ends.
    through = routine(piece(runs(0), rests), piece(runs(8), rests, tempo=135))
    assert told(through, "tempo") == [
        ("warning", 1, f"{says}; left runs through and cannot follow by hand",
         "let the deck file make the step, or change to the other deck here")
    ]  # fmt: skip


def test_a_step_that_a_hand_can_make_names_the_deck_that_runs_through(routine, piece, runs, rests):
    r = routine(piece(rests, runs(0), count="right"),
                piece(rests, runs(8), tempo=126, count="right"))  # fmt: skip
    assert told(r, "tempo") == [
        ("remark", 1,
         "120 to 126 BPM is +5.0 % of pitch (+0.84 semitones); right runs through, so a hand is"
         " needed at its pitch unless its file steps",
         "to meet it, bring the record that is going out to +5.0 % before the change")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("tempo", "stretch", "said"),
    [
        # Three semitones are 2 ** (3 / 12) = 1.1892: 120 / 1.1892 = 100.908.
        (100.92, False, None),
        (100.9, False, "a goes from 100.9 to 120 BPM, which moves it +3.0 semitones"),
        (142.7, False, None),
        (142.8, False, "a goes from 142.8 to 120 BPM, which moves it -3.0 semitones"),
        (30.0, True, None),
        (29.9, True, "a goes from 29.9 to 120 BPM, a stretch by 4.01; 0.25 to 4 would do"),
        (300.0, True, None),
    ],
)
def test_how_far_a_sound_is_moved(routine, piece, runs, rests, tempo, stretch, said):
    sounds = {"a": {"file": "a.wav", "tempo": tempo, "stretch": stretch}}
    r = routine(piece(runs(0, sound="a"), rests), sounds=sounds)
    found = [each[2] for each in told(r, "tempo")]
    assert found == ([said] if said else [])


def test_a_stretched_sound_moves_no_semitones(routine, piece, runs, rests):
    sounds = {"a": {"file": "a.wav", "tempo": 25, "stretch": True}}
    (found,) = [f for f in check(routine(piece(runs(0, sound="a"), rests), sounds=sounds))
                if f.rule == "tempo"]  # fmt: skip
    assert dict(found.numbers) == {"ratio": pytest.approx(4.8), "semitones": 0.0}


@pytest.mark.parametrize(
    ("kind", "said"),
    [("instrumental", ["tempo not known: a"]), ("effect", []), ("sample", [])],
)
def test_a_tempo_that_is_not_known_is_asked_for_where_there_is_one(
    routine, piece, runs, rests, kind, said
):
    sounds = {"a": {"file": "a.wav", "kind": kind}}
    r = routine(piece(runs(0, sound="a"), rests), sounds=sounds)
    assert [each[2] for each in told(r, "tempo")] == said


# Keys.


def keyed(routine, piece, runs, left, right):
    """Two sounds at the tempo they are played at, each with its key and tuning in cents."""
    sounds = {
        name: {"file": f"{name}.wav", "kind": "instrumental", "tempo": 120, "key": key,
               "tuning": cents}
        for name, (key, cents) in (("l", left), ("r", right))
    }  # fmt: skip
    pieces = piece(runs(0, sound="l"), runs(0, sound="r"))
    return told(routine(pieces, sounds=sounds), "keys")


def test_the_deck_that_is_farther_off_its_key_is_the_one_to_move(routine, piece, runs):
    """30 cents: 2 ** (-0.30 / 12) - 1 = -1.72 %. Up: a major or minor key apart from C by two
    fifths at most and nearest above, D, is 170 cents away: 2 ** (1.70 / 12) - 1 = +10.32 %."""
    out = (
        "in tune: -1.7 % makes {0} C major (same key), +10.3 % makes {0} D major (2 fifths apart),"
        " but off the beat unless the tempo moves too; or `stretch: yes` keeps a key"
    )
    assert keyed(routine, piece, runs, ("C major", 0), ("C major", 30)) == [
        ("warning", 0, "C major against C major +30 cents: 30 cents out of tune",
         out.format("right"))
    ]  # fmt: skip
    assert keyed(routine, piece, runs, ("C major", 30), ("C major", 0)) == [
        ("warning", 0, "C major +30 cents against C major: 30 cents out of tune",
         out.format("left"))
    ]  # fmt: skip
    # Left is 20 cents flat, right 10 sharp: again 30, and left to be moved up by 30.
    ((_, _, _, way),) = keyed(routine, piece, runs, ("C major", -20), ("C major", 10))
    assert way.startswith("in tune: +1.7 % makes left C major (same key)")


@pytest.mark.parametrize(
    ("cents", "severity"),
    [(11, None), (13, "remark"), (24, "remark"), (26, "warning"), (-13, "remark")],
)
def test_out_of_tune_by_how_much(routine, piece, runs, cents, severity):
    found = keyed(routine, piece, runs, ("C major", 0), ("C major", cents))
    assert [each[0] for each in found] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("kind", "key", "said"),
    [("instrumental", None, True), ("effect", None, False), ("instrumental", "C major", False)],
)
def test_a_key_that_is_not_known_is_asked_for_where_two_sounds_meet(
    routine, piece, runs, kind, key, said
):
    sounds = {
        "l": {"file": "l.wav", "tempo": 120, "key": "C major"},
        "r": {"file": "r.wav", "tempo": 120, "kind": kind, "key": key},
    }
    r = routine(piece(runs(0, sound="l"), runs(0, sound="r"), name="Q"), sounds=sounds)
    says = "two sounds meet but a key or tempo is not known: Q"
    assert [each[2] for each in told(r, "keys")] == ([says] if said else [])


# Reach. A set piece that runs from 10 s uses 10 to 18 s of its deck.


def reach(routine, **known):
    found = (each for each in check(routine, **known) if each.rule == "reach")
    return [(each.severity, each.piece, each.bar, each.says, each.way_out) for each in found]


@pytest.mark.parametrize(("at", "said"), [(592.0, False), (592.1, True)])
def test_the_side_of_a_record_lasts_ten_minutes(routine, piece, runs, rests, at, said):
    far = (
        "error", 0, 1, "left is needed up to 600.1 s; the record's side lasts 600 s (10:00)",
        "lay it nearer the start, or set `turntable: {side: m:ss}` to what your record holds",
    )  # fmt: skip
    assert reach(routine(piece(runs(at), rests))) == ([far] if said else [])


@pytest.mark.parametrize(
    ("file_s", "bar", "says"),
    [
        (18.0, None, None),
        (17.96, None, None),  # within ten degrees, 0.05 s
        (17.9, 4, "left is needed up to 18.0 s, but its file ends at 17.9 s"),
        (13.9, 2, "left is needed up to 18.0 s, but its file ends at 13.9 s"),
        (14.0, 3, "left is needed up to 18.0 s, but its file ends at 14.0 s"),
        (9.0, 1, "left is needed up to 18.0 s, but its file ends at 9.0 s"),
    ],
)
def test_a_file_that_ends_too_soon_is_told_by_the_bar(
    routine, piece, runs, rests, file_s, bar, says
):
    found = reach(routine(piece(runs(10), rests)), deck_s={"left": file_s})
    out = "render the deck files again, or shorten the set piece"
    assert found == ([("error", 0, bar, says, out)] if says else [])


def test_a_worked_span_beyond_its_file_is_told_from_its_begin(routine, piece, works, rests):
    ((_, _, bar, says, _),) = reach(
        routine(piece(works(10, 14), rests)), deck_s={"left": 13.0}
    )  # fmt: skip
    assert (bar, says) == (1, "left is needed up to 14.0 s, but its file ends at 13.0 s")


def test_what_runs_on_one_deck_must_fit_on_its_side(routine, piece, runs, rests):
    """Two set pieces of 8 s; a side of 15 s holds one. One passage of a sound twice is one."""

    def needed(side, first, second, **more):
        r = routine(piece(first, rests), piece(second, rests, **more),
                    sounds={"a": {"file": "a.wav"}}, turntable={"side": side})  # fmt: skip
        return [each[3] for each in reach(r)]

    says = "left needs at least 16 s of record; the side lasts 15 s"
    assert needed("0:15", runs(), runs()) == [says]
    assert needed("0:16", runs(), runs()) == []
    assert needed("0:15", runs(sound="a"), runs(sound="a")) == []
    assert needed("0:15", runs(sound="a"), runs(sound="a", bars_in=4)) == [says]


@pytest.mark.parametrize(
    ("sound", "seconds", "says"),
    [
        # 2 s a bar at 120 BPM, four bars from the first beat on; 0.05 of a bar may be lacking.
        ({"tempo": 120}, 8.0, None),
        ({"tempo": 120}, 7.92, None),
        ({"tempo": 120}, 7.88, "a has 3.9 bars left from there; the set piece lets it run for 4"),
        ({"tempo": 120, "first_beat": 1.0}, 8.0,
         "a has 3.5 bars left from there; the set piece lets it run for 4"),
        ({"tempo": 60}, 8.0, "a has 2.0 bars left from there; the set piece lets it run for 4"),
        ({}, 4.0, "a has 2.0 bars left from there; the set piece lets it run for 4"),
        ({"tempo": 120, "first_beat": 9.0}, 8.0,
         "a has 0.0 bars left from there; the set piece lets it run for 4"),
        ({"tempo": 120, "loop": True}, 2.0, None),
    ],
)  # fmt: skip
def test_how_many_bars_a_sound_has_left(routine, piece, runs, rests, sound, seconds, says):
    r = routine(piece(runs(sound="a"), rests), sounds={"a": {"file": "a.wav", **sound}})
    assert [each[3] for each in reach(r, sound_s={"a": seconds})] == ([says] if says else [])


def two(routine, piece, rests, first, second, **more):
    sounds = {"a": {"file": "a.wav"}, "b": {"file": "b.wav"}}
    r = routine(piece(first, rests, name="A"), piece(second, rests, name="B", **more),
                sounds=sounds)  # fmt: skip
    return [(each[0], each[3]) for each in reach(r)]


def test_what_lies_on_the_same_seconds_is_told(routine, piece, runs, works, rests):
    """A uses 10 to 18 s."""

    def at(second, **more):
        return two(routine, piece, rests, runs(10, sound="a"), second, **more)

    assert at(runs(18, sound="b")) == []
    assert at(runs(17.96, sound="b")) == []  # within ten degrees
    both = "left has a (A) and b on the same 0.06 s"
    assert at(runs(17.94, sound="b")) == [("error", both)]
    assert at(runs(4, sound="b")) == [("error", "left has a (A) and b on the same 2.00 s")]
    # Twelve is one bar on in a sound that began at 10 s: the same record.
    assert at(runs(12, sound="a", bars_in=1)) == []
    assert at(runs(12, sound="a", bars_in=2)) == [
        ("error", "left has a at two different places (A) on the same 6.00 s")
    ]
    assert at(works(12, 14, sound="a", bars_in=2)) == []  # a hand may be anywhere in it
    slower = "left is said to run at 120 (A) and 110 BPM on the same 8.00 s"
    assert at(runs(10, sound="a"), tempo=110) == [("warning", slower)]
    assert at(runs(10, sound="a"), tempo=120.05) == []
    assert at(works(10, 12, sound="a"), tempo=110) == []


@pytest.mark.parametrize(
    ("gap_s", "said"),
    [(0.44, "0.24"), (0.46, None), (0.0, "0.00"), (-0.04, "0.00")],  # 0.05 s over is beside it
)
def test_a_quarter_turn_is_left_beside_a_worked_record(
    routine, piece, runs, works, rests, gap_s, said
):
    says = f"left: only {said} turns between this and A; a hand that overshoots is heard"
    found = [("remark", says)] if said else []
    here, there = works(10, 12, sound="a"), runs(12 + gap_s, sound="b")
    assert two(routine, piece, rests, here, there) == found
    assert two(routine, piece, rests, here, runs(12 + gap_s, sound="a")) == []
    # Where both run no hand overshoots.
    assert two(routine, piece, rests, runs(2, sound="a"), runs(10 + gap_s, sound="b")) == []


# Phrases and sounds that cannot be had.


@pytest.mark.parametrize(
    ("begin_s", "end_s", "said"),
    [
        # At 120 BPM four bars from the first beat at 1 s end at 9 s of the sound.
        (7.0, 9.5, "a is cut 0.5 s before its phrase ends (1.0 beats)"),
        (7.0, 9.09, None),  # a tenth of a second is not heard as cut
        (7.0, 9.11, "a is cut 0.1 s before its phrase ends (0.2 beats)"),
        (8.91, 12.0, None),
        (8.89, 12.0, "a is cut 3.0 s before its phrase ends (6.0 beats)"),
    ],
)
def test_a_phrase_that_is_cut(routine, piece, runs, rests, begin_s, end_s, said):
    sounds = {"a": {"file": "a.wav", "tempo": 120, "first_beat": 1.0}}
    r = routine(piece(runs(0, sound="a"), rests), sounds=sounds)
    found = [each for each in check(r, phrases={"a": [(begin_s, end_s)]}) if each.rule == "sounds"]
    assert [each.says for each in found] == ([said] if said else [])
    assert all(each.bar == 4 for each in found)


def missing(routine, *path, found="gone", line=None):
    """What is said of one thing that cannot be had: severity, set piece, deck, says, way out."""
    fault = Hindrance(path, found, "another would do")
    line_of = None if line is None else (lambda _: line)
    told_ = [each for each in check(routine, faults=[fault], line_of=line_of)
             if each.rule == "sounds"]  # fmt: skip
    return [(each.severity, each.piece, each.side, each.says, each.way_out) for each in told_]


def test_a_sound_that_is_missing_is_an_error_until_the_deck_files_hold_it(
    routine, piece, runs, rests
):
    sounds = {"bell": {"file": "bell.wav"}}
    open_ = routine(piece(runs(sound="bell"), rests), sounds=sounds)
    placed = routine(piece(runs(0, sound="bell"), rests), sounds=sounds)
    path = ("sounds", "bell", "file")
    assert missing(open_, *path) == [("error", None, None, "bell: gone", "another would do")]
    assert missing(open_, *path, found="no bell.wav")[0][3] == "no bell.wav"
    assert missing(open_, *path, line=7)[0][3] == "line 7: sounds.bell.file: found gone"
    held = "another would do; the deck files there are hold all that is played, a new render"
    held += " needs it"
    assert missing(placed, *path) == [("warning", None, None, "bell: gone", held)]
    assert missing(open_, "decks", "left", "file", line=3) == [
        ("warning", None, None, "line 3: decks.left.file: found gone", "another would do")
    ]


def test_what_a_set_piece_lacks_is_told_of_its_deck_once(routine, piece, runs, rests):
    near, far = (routine(piece(runs(at), rests), piece(rests, runs(0))) for at in (0, 599))
    assert missing(near, "pieces", 0, "left", "tempo") == [
        ("error", 0, "left", "tempo: gone", "another would do")
    ]
    assert missing(near, "pieces", 0, "left", "tempo", line=3)[0][3] == "tempo: gone"
    # Beyond the record's side already: not said again of that deck, but of others.
    assert missing(far, "pieces", 0, "left", "tempo") == []
    assert [each[:3] for each in missing(far, "pieces", 1, "right", "tempo")] == [
        ("error", 1, "right")
    ]
    assert [each[:3] for each in missing(far, "pieces", 0, "tempo")] == [("error", 0, None)]


def test_a_wind_for_which_only_a_hand_is_lacking_says_how_to_free_one(
    routine, piece, runs, works, rests
):
    """Left is silent for 8 s while right is scratched with both hands; 5 turns would take 2.1667 s,
    4.33 beats."""
    r = routine(piece(runs(10), rests), piece(rests, works(30, 32)), piece(runs(27), rests))
    (said,) = [each for each in told(r, "winding") if each[0] == "error"]
    assert said[2].endswith(
        "2.2 s by hand; it is silent for 8.0 s (16 beats), but a hand is free for only 0.0 s of it:"
        " 4.3 beats too few"
    )
    assert said[3] == (
        "play the other record with the fader open for that long and say so in `technique`, or"
        " write its `strokes` with room between them"
    )


def test_hands_at_a_stroke_are_there_a_beat_before(routine, piece, works, rests):
    """One stroke on beat 8: beats 7 and 8, from 3.5 s to 4.5 s, the fader in the other hand."""
    r = routine(piece(rests, works(10, 12, strokes=[8])))
    free, busy, after = [span.to_json() for span in hand_spans(r)]
    assert busy == {
        "piece": 0, "from_beat": 7, "to_beat": 9, "start_s": 3.5, "end_s": 4.5,
        "left_hand": "crossfader", "right_hand": "works right", "third_hand": [],
    }  # fmt: skip
    assert (free["from_beat"], free["to_beat"], free["right_hand"]) == (0, 7, None)
    assert (after["start_s"], after["end_s"], after["to_beat"]) == (4.5, 8.0, 16)


def test_strokes_that_leave_no_hand_are_to_be_written_with_room(routine, piece, works, runs):
    """Left goes on by itself but changes its pitch; right is scratched: three hands in the first
    beat, and none of them lets a record go."""
    r = routine(piece(runs(10), works(30, 32)), piece(runs(18), works(30, 32), tempo=114))
    assert [each for each in told(r, "hands") if "asks for" in each[2]] == [(
        "remark", 1, "beat 1 asks for 3 hands: sets the left pitch, works right, crossfader",
        "write the strokes out with room between them, or use a technique with an open fader",
    )]  # fmt: skip
