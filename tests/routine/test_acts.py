"""Acts worked out by hand: beats, seconds of record, fader; and what is wrong, by its line."""

from __future__ import annotations

import gc
import weakref
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine import Problem, Routine, RoutineError
from liveaid.routine.act_line import (
    number,
)
from liveaid.routine.acts import (
    Act,
    acts_of,
    fader_of,
    joined,
    sounds_used,
    sounds_worked,
    written_acts,
)  # fmt: skip
from liveaid.routine.figure_book import trade_figures
from liveaid.routine.load import read_routine
from liveaid.routine.save import routine_text

# 120 BPM: half a second a beat. `yes` is 0.2 s from its attack, `no` 0.3 s.
MAP = """\
title: T
sounds:
  call:
    file: call.wav
    kind: a cappella
    parts:
      yes: {from: 1.0, to: 1.25, attack: 1.05}
      no: {from: 2.0, to: 2.3}
  groove: {file: groove.wav, kind: instrumental, tempo: 120}
figures:
  cry: {beats: 2, acts: {0: baby yes for 1/2, 1: chirp no}}
  cry-less: {like: cry, but: {1: }}
  cry-more: {like: cry, but: {1: tear no}}
  trade: {beats: 4, juggle: {0: left 0 to 2, 2: right 0 to 2}}
pieces:
  - name: Before
    bars: 1
    tempo: 120
  - name: A
    bars: 4
    tempo: 120
    right: {hand: works, acts: {ACTS}}
"""
JUGGLE = """\
title: T
figures:
  trade: {beats: 4, juggle: {0: left 0 to 2, 2: right 0 to 2}}
pieces:
  - name: J
    bars: 2
    tempo: 120
    juggle: {ACTS}
    left: {hand: works, from: 10, to: 12}
    right: {hand: works, from: 20, to: 22}
"""


def with_acts(acts: str, text: str = MAP) -> Routine:
    return read_routine(text.replace("{ACTS}", f"{{{acts}}}").encode())


def right(acts: str) -> list[Act]:
    return list(acts_of(with_acts(acts), 1, "right"))


def brief(acts: list[Act]) -> list[tuple[object, ...]]:
    return [
        (act.kind, act.beat, act.beats, round(act.from_s, 6), round(act.to_s, 6)) for act in acts
    ]


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(RoutineError) as caught:
        read_routine(text.encode())
    return caught.value.problems


# --- one number ---------------------------------------------------------------------------------


@given(st.fractions(min_value=0, max_value=99, max_denominator=16))
def test_a_fraction_is_read_as_it_is_written(value: Fraction):
    assert number(str(value)) == float(value)


# --- a plan -------------------------------------------------------------------------------------


def test_a_baby_goes_out_over_the_part_from_its_attack_and_back():
    acts = right("0: baby yes")
    # The part's begin lies at the span's begin; its attack 0.05 s on, its end 0.25 s on.
    assert brief(acts) == [("push", 0.0, 0.5, 0.05, 0.25), ("pull", 0.5, 0.5, 0.25, 0.05)]
    assert [act.open for act in acts] == [((0.0, 0.5),), ((0.5, 1.0),)]
    assert [act.part for act in acts] == ["yes", "yes"]


def test_for_scales_all_of_a_figure():
    acts = right("1: chirp yes for 2")
    assert brief(acts) == [("push", 1.0, 1.0, 0.05, 0.25), ("pull", 2.0, 1.0, 0.25, 0.05)]
    # Closed for the last quarter of the way out and the first quarter of the way back.
    assert [act.open for act in acts] == [((1.0, 1.75),), ((2.25, 3.0),)]


def test_two_parts_lie_apart_and_the_record_is_brought_from_one_to_the_other():
    acts = right("0: forward yes, 2: let go no for 1/2")
    # An hour of the clock face is 0.15 s. `yes` ends 0.25 s in; 0.06 s of silence at least; the
    # attack of `yes` stands at hour 0, so `no` at 0.05 + 2 * 0.15 = 0.35 s.
    assert brief(acts) == [
        ("push", 0.0, 0.5, 0.05, 0.25),
        ("pull", 0.5, 0.5, 0.25, 0.05),
        ("wind", 1.0, 1.0, 0.05, 0.35),
        ("let go", 2.0, 0.5, 0.35, 0.6),
    ]
    assert not acts[2].written
    assert not acts[2].heard


def test_a_figure_of_ones_own_repeats_and_is_varied():
    plain, less, more = (
        [(a.figure, a.beat) for a in right(f"0: {name}") if a.written and a.kind == "push"]
        for name in ("cry", "cry-less", "cry-more")
    )
    assert plain == [("baby", 0.0), ("chirp", 1.0)]
    assert less == [("baby", 0.0)]
    assert more == [("baby", 0.0), ("tear", 1.0)]
    twice = [a.beat for a in right("0: cry x3") if a.written and a.kind == "push"]
    assert twice == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]


def test_clicks_shut_an_open_fader_and_cuts_open_a_closed_one():
    push = right("0: flare yes for 2 clicks 3")[0]
    # One beat out; 3 clicks make 4 soundings of 1/4 beat; each click shuts 1/16 about a boundary.
    assert push.open == ((0.0, 7 / 32), (9 / 32, 15 / 32), (17 / 32, 23 / 32), (25 / 32, 1.0))
    push = right("0: transform yes for 2")[0]
    assert push.open == ((0.0, 0.25), (0.5, 0.75))  # two taps of half a beat, open for half of each


def test_a_record_let_go_runs_as_its_pitch_says_until_its_part_is_over():
    acts = right("0: set pitch +5, 1: let go no")
    # 0.3 s at 1.05: 0.2857 s, 0.5714 beats.
    assert acts[1].beats == pytest.approx(0.3 / 1.05 / 0.5)
    assert acts[1].to_s - acts[1].from_s == pytest.approx(0.3)
    assert acts[1].speed == 1.05


def test_a_pick_up_begins_before_the_first_beat():
    assert brief(right("-1/2: push yes for 1/2, 0: pull for 1/2"))[:2] == [
        ("push", -0.5, 0.5, 0.05, 0.25),
        ("pull", 0.0, 0.5, 0.25, 0.05),
    ]


def test_a_juggle_lets_go_takes_and_brings_back_each_record():
    routine = with_acts("0: trade, 4: left 1 to 2, 5: right 0 to 1 back wind, 6: left", JUGGLE)
    assert brief(list(acts_of(routine, 0, "left"))) == [
        ("let go", 0.0, 2.0, 10.0, 11.0),
        ("catch", 2.0, 0.0, 11.0, 11.0),
        ("back-cue", 2.0, 2.0, 11.0, 10.5),  # to where the next turn begins: beat 1 of the record
        ("let go", 4.0, 1.0, 10.5, 11.0),
        ("catch", 5.0, 0.0, 11.0, 11.0),
        ("back-cue", 5.0, 1.0, 11.0, 10.0),
        ("let go", 6.0, 2.0, 10.0, 11.0),
    ]
    assert brief(list(acts_of(routine, 0, "right")))[3:] == [
        ("let go", 5.0, 1.0, 20.0, 20.5),
        ("catch", 6.0, 0.0, 20.5, 20.5),
    ]
    assert fader_of(routine, 0) == {
        "left": ((0.0, 2.0), (4.0, 5.0), (6.0, 8.0)),
        "right": ((2.0, 4.0), (5.0, 6.0)),
    }


def test_strokes_are_acts_too():
    text = JUGGLE.replace("    juggle: {ACTS}\n", "").replace("to: 12", "to: 12, strokes: [0, 4]")
    text = text.replace("to: 22", "to: 22, strokes: [2, 6]")
    acts = acts_of(read_routine(text.encode()), 0, "left")
    assert brief(list(acts)) == [
        ("let go", 0.0, 2.0, 10.0, 11.0),
        ("catch", 2.0, 0.0, 11.0, 11.0),
        ("back-cue", 2.0, 2.0, 11.0, 10.0),
        ("let go", 4.0, 2.0, 10.0, 11.0),
        ("catch", 6.0, 0.0, 11.0, 11.0),
    ]


def test_every_figure_that_comes_along_is_played_within_its_own_beats_and_part():
    for name, figure in trade_figures().items():
        acts = [act for act in right(f"0: {name} no") if act.written]
        assert figure.says, name
        assert max(act.end_beat for act in acts) == pytest.approx(figure.beats or 0.0), name
        assert acts[0].from_s == pytest.approx(acts[-1].to_s), f"{name} ends where it began"
        for act in acts:
            assert all(act.beat <= a < b <= act.end_beat + 1e-9 for a, b in act.open), name


@given(
    st.lists(
        st.tuples(
            st.sampled_from(sorted(trade_figures())),
            st.sampled_from(["yes", "no"]),
            st.sampled_from(["1/2", "1", "2"]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_acts_go_on_from_where_the_last_one_left_the_record(calls: list[tuple[str, str, str]]):
    lines = ", ".join(
        f"{2 * n}: {f} {part} for {beats}" for n, (f, part, beats) in enumerate(calls)
    )
    acts = right(lines)
    for before, after in pairwise(acts):
        assert after.from_s == pytest.approx(before.to_s)
        assert after.beat >= before.end_beat - 1e-9


def test_what_is_written_back_reads_as_the_same_routine():
    for routine in (with_acts("0: cry x2, 4: cry-less"), with_acts("0: trade x2", JUGGLE)):
        again = read_routine(routine_text(routine).encode())
        assert again == routine
        assert acts_of(again, 0, "left") == acts_of(routine, 0, "left")


# --- each act whole -------------------------------------------------------------------------------

SPAN = """\
title: T
performer: {needle_time: 0.2}
pieces:
  - name: A
    bars: 4
    tempo: 120
    right: {hand: works, from: 10, to: 13, acts: {ACTS}}
"""


def span(acts: str) -> list[Act]:
    return list(acts_of(with_acts(acts, SPAN), 0, "right"))


def test_what_each_act_does_in_a_bare_span():
    """3 s of record from 10 on, half a second a beat, a turn of 1.8 s."""
    acts = span(
        "0: push, 1: pull over 0.2 s for 1, 2: push over 1/2 for 1, 3: hold, 4: spin back,"
        " 5: needle, 6: let go, 7: catch, 8: wind over 1 turn, 8.5: back-cue over 1 beat for 1/2,"
        " 9: back-cue, 10: set pitch +2, 11: let go for 2, 13: set pitch -4,"
        " 14: spin back over 1/4 turn for 1/2, 14.5: catch"
    )
    assert brief(acts) == [
        ("push", 0.0, 0.5, 10.0, 10.45),  # a quarter turn in half a beat
        ("pull", 1.0, 1.0, 10.45, 10.25),
        ("push", 2.0, 1.0, 10.25, 11.15),  # half a turn: the span is longer
        ("hold", 3.0, 1.0, 11.15, 11.15),
        ("spin back", 4.0, 1.0, 11.15, 7.55),  # two turns
        ("needle", 5.0, 0.4, 7.55, 10.0),  # 0.2 s
        ("let go", 6.0, 1.0, 10.0, 10.5),
        ("catch", 7.0, 0.0, 10.5, 10.5),
        ("wind", 8.0, 0.5, 10.5, 12.3),
        ("back-cue", 8.5, 0.5, 12.3, 11.8),
        ("back-cue", 9.0, 1.0, 11.8, 10.0),
        ("set pitch", 10.0, 1.0, 10.0, 10.0),
        ("let go", 11.0, 2.0, 10.0, 11.02),  # a second at 1.02
        ("set pitch", 13.0, 1.0, 11.02, 11.5),
        ("spin back", 14.0, 0.5, 11.5, 11.05),
        ("catch", 14.5, 0.0, 11.05, 11.05),
    ]
    assert [act.open for act in acts if act.heard] == [
        ((0.0, 0.5),), ((1.0, 2.0),), ((2.0, 3.0),), ((4.0, 5.0),), ((6.0, 7.0),),
        ((11.0, 13.0),), ((13.0, 14.0),), ((14.0, 14.5),),
    ]  # fmt: skip
    assert [act.speed for act in acts] == [1.0] * 11 + [1.02] * 2 + [0.96] * 3
    assert {act.part for act in acts} == {None}
    assert all(act.written for act in acts)


def test_an_act_without_a_length_has_its_own_up_to_the_next():
    acts = span("0: spin back, 1/2: push over 0.1 s, 3/4: wind, 1: needle, 1 1/4: hold, 15: let go")
    assert brief(acts) == [
        ("spin back", 0.0, 0.5, 10.0, 6.4),
        ("push", 0.5, 0.25, 6.4, 6.5),
        ("wind", 0.75, 0.25, 6.5, 10.0),
        ("needle", 1.0, 0.25, 10.0, 10.0),  # of the 0.4 it takes
        ("hold", 1.25, 13.75, 10.0, 10.0),
        ("let go", 15.0, 1.0, 10.0, 10.5),  # until the set piece is over
    ]
    assert brief(span("0: let go")) == [("let go", 0.0, 6.0, 10.0, 13.0)]  # until the span is
    # No stroke is shorter than nothing: one written at the beat of the next is half a beat.
    assert brief(span("0: push over 0.1 s, bar 1: pull over 0.1 s"))[0][2] == 0.5


def test_a_bare_stroke_goes_no_further_than_a_short_span():
    short = SPAN.replace("to: 13", "to: 10.3")
    assert brief(list(acts_of(with_acts("0: push", short), 0, "right"))) == [
        ("push", 0.0, 0.5, 10.0, 10.3)
    ]
    # Half of a span that is shorter than a turn is half of the span.
    assert brief(list(acts_of(with_acts("0: push over 1/2", short), 0, "right"))) == [
        ("push", 0.0, 0.5, 10.0, 10.15)
    ]


def test_a_record_spun_or_brought_back_stops_at_its_begin():
    acts = right("0: push yes for 1/2, 1: back-cue over 1 turn, 2: spin back over 1 turn for 1")
    assert brief(acts)[1:] == [("back-cue", 1.0, 1.0, 0.25, 0.0), ("spin back", 2.0, 1.0, 0.0, 0.0)]


def test_acts_on_parts_go_from_attack_to_end_or_as_far_as_said():
    acts = right(
        "0: push yes over 1/2 for 1/2, 1: push over 1/8 beat for 1/2, 2: pull yes for 1,"
        " 3: pull over 0.05 s for 1/2, 4: wind, 5: hold, 6: pull no for 1/2, 8: wind yes,"
        " 9: back-cue over 0.1 s, 10: push for 1/2"
    )
    # `yes` lies at 0 with its attack at 0.05 and its end at 0.25, `no` from 0.35 to 0.65.
    assert [(*row, act.part, act.sound) for row, act in zip(brief(acts), acts, strict=True)] == [
        ("push", 0.0, 0.5, 0.05, 0.15, "yes", "call"),
        ("push", 1.0, 0.5, 0.15, 0.2125, "yes", "call"),
        ("wind", 1.5, 0.5, 0.2125, 0.25, "yes", "call"),
        ("pull", 2.0, 1.0, 0.25, 0.05, "yes", "call"),
        ("pull", 3.0, 0.5, 0.05, 0.0, "yes", "call"),
        ("wind", 4.0, 1.0, 0.0, 0.65, "yes", "call"),
        ("hold", 5.0, 1.0, 0.65, 0.65, "yes", "call"),
        ("pull", 6.0, 0.5, 0.65, 0.35, "no", "call"),
        ("wind", 8.0, 1.0, 0.35, 0.05, "yes", "call"),
        ("back-cue", 9.0, 1.0, 0.05, 0.0, "yes", "call"),
        ("push", 10.0, 0.5, 0.0, 0.25, "yes", "call"),
    ]


def test_back_to_the_same_part_is_a_back_cue_and_to_another_a_wind():
    acts = right(
        "0: push yes for 1/2, 2: push yes for 1/2, 3: push no for 1/2, 4: pull yes for 1/2"
    )
    assert [act for act in acts if not act.written] == [
        Act(kind=kind, side="right", piece=1, beat=beat, beats=beats, part=part, sound="call",
            from_s=pytest.approx(a), to_s=pytest.approx(b), written=False,
            path=("pieces", 1, "right", "acts", key))
        for kind, beat, beats, part, a, b, key in (
            ("back-cue", 0.5, 1.5, "yes", 0.25, 0.05, "2"),
            ("wind", 2.5, 0.5, "no", 0.25, 0.35, "3"),
            ("wind", 3.5, 0.5, "yes", 0.65, 0.25, "4"),
        )
    ]  # fmt: skip


def test_a_record_stands_at_its_first_part_though_its_pitch_is_set_first():
    assert brief(right("0: set pitch +5, 1: push yes for 1/2")) == [
        ("set pitch", 0.0, 1.0, 0.05, 0.05), ("push", 1.0, 0.5, 0.05, 0.25),
    ]  # fmt: skip


def test_an_act_says_where_it_ends_how_far_it_goes_and_what_follows_it():
    first, second, third = right("0: pull yes for 1/2, 1/2: push for 1/4, 1: pull for 1/4 closed")
    assert (first.end_beat, second.end_beat) == (0.5, 0.75)
    assert [round(act.way_s, 9) for act in (first, second)] == [-0.2, 0.2]
    assert [act.heard for act in (first, third)] == [True, False]
    assert second.follows(first)
    assert not third.follows(second)


def test_spans_that_touch_are_joined():
    assert joined([(2, 3), (0, 1), (1, 1.5), (0.2, 0.7), (3.1, 4)]) == (
        (0, 1.5), (2, 3), (3.1, 4),
    )  # fmt: skip


BOTH = """\
title: T
sounds:
  call: {file: call.wav, parts: {yes: {from: 1.0, to: 1.25}}}
  bell: {file: bell.wav, parts: {ding: {from: 0, to: 1}}}
  groove: {file: groove.wav, kind: instrumental, tempo: 120}
pieces:
  - name: A
    bars: 1
    tempo: 120
    left: {hand: runs, sound: groove}
    right: {hand: works, sound: call, acts: {0: push yes for 1/2, 2: push ding for 1}}
  - name: B
    bars: 1
    tempo: 120
    left: {hand: works, sound: groove, strokes: [0, 2]}
    right: {hand: works, sound: call}
"""


def test_which_sounds_a_deck_plays_and_when_its_fader_is_open():
    routine = read_routine(BOTH.encode())
    plans = [(piece.left, piece.right) for piece in routine.pieces]
    assert sounds_used(routine) == {
        "groove": [(0, "left", plans[0][0]), (1, "left", plans[1][0])],
        "call": [(0, "right", plans[0][1]), (1, "right", plans[1][1])],
        "bell": [(0, "right", plans[0][1])],
    }
    assert sounds_worked(routine, 0, "right") == ("call", "bell")
    assert fader_of(routine, 0) == {"left": ((0.0, 4.0),), "right": ((0.0, 0.5), (2.0, 3.0))}
    assert fader_of(routine, 1)["right"] == ((0.0, 4.0),)
    kinds = [[a.kind for a in written_acts(routine, n, "right")] for n in (0, 1)]
    assert kinds == [["push", "wind", "push"], []]
    assert written_acts(routine, 1, "left") == ()  # bare strokes are not written out
    assert len(acts_of(routine, 1, "left")) > 0


@pytest.mark.parametrize(
    ("acts", "found", "would_do"),
    [
        ("0: push yes over 0.22 s", "push at beat 0 over 0.22 s, with 0.2 s of yes ahead of it",
         "a shorter `over`, or the part named again to begin it anew, would do"),
        ("0: pull yes over 0.26 s", "pull at beat 0 over 0.26 s, with 0.25 s of yes behind it",
         "a shorter `over`, or the part named again to begin it anew, would do"),
        ("0: push yes for 1, 1: push for 1/2",
         "push at beat 1 over 0 s, with 0 s of yes ahead of it",
         "a shorter `over`, or the part named again to begin it anew, would do"),
        ("0: let go yes for 1/2",
         "let go at beat 0 for 0.5, 0.05 s past the end of yes",
         "`for 0.4` or less, or a longer part, would do"),
        ("0: set pitch +25, 1: let go yes for 1/2",
         "let go at beat 1 for 0.5, 0.11 s past the end of yes",
         "`for 0.32` or less, or a longer part, would do"),
        ("0: let go yes for 1/4, 1/4: set pitch +0 for 1/4",
         "set pitch at beat 0.25 for 0.25, 0.05 s past the end of yes",
         "`for 0.15` or less, or a longer part, would do"),
        ("0: push for 1/2, 1: push yes for 1/2", "push on no part", "one of yes would do"),
        ("0: push yes for 1, 1/2: pull yes for 1/4",
         "pull at beat 0.5, while push lasts from 0 to 1",
         "beat 1 or later, or `for 0.5` before it, would do"),
        ("16: push yes", "push from beat 16 to 16",
         "an end at or before beat 16, the set piece's length, would do"),
        ("15: push yes for 1 1/4", "push from beat 15 to 16.25",
         "an end at or before beat 16, the set piece's length, would do"),
        ("-4 1/2: push yes for 1/2", "push at beat -4.5", "a beat from -4 on would do"),
    ],
)  # fmt: skip
def test_acts_that_cannot_be_done_are_told(acts: str, found: str, would_do: str):
    problem = the_problem(acts)
    assert (problem.found, problem.would_do) == (found, would_do)


def test_a_record_that_ran_out_is_told_for_every_act_it_goes_on_in():
    acts = "0: let go yes for 1/4, 1/4: set pitch +0 for 1/4, 1/2: set pitch +0 for 1/4"
    assert [(p.found, p.would_do) for p in problems_of(MAP.replace("{ACTS}", f"{{{acts}}}"))] == [
        (f"set pitch at beat {beat} for 0.25, {past} s past the end of yes",
         f"`for {least}` or less, or a longer part, would do")
        for beat, past, least in (("0.5", "0.18", "0"), ("0.25", "0.05", "0.15"))
    ]  # fmt: skip


def test_what_can_just_be_done_is_not():
    for acts in (
        "0: push yes over 0.2 s", "0: pull yes over 0.25 s", "0: let go yes for 0.47",
        "15: push yes for 1", "-4: push yes for 1/2", "0: push yes for 1, 1: pull for 1",
    ):  # fmt: skip
        assert with_acts(acts)


def test_a_stroke_beyond_a_bare_span_is_told():
    problem = the_problem("0: push over 4 s", SPAN)
    assert problem.found == "push at beat 0 over 4 s, with 3 s of the span ahead of it"


def test_a_pick_up_into_a_deck_that_does_not_rest_is_told_and_one_before_all_is_not():
    text = MAP.replace("    bars: 1\n", "    bars: 1\n    right: {hand: runs, sound: groove}\n")
    problem = the_problem("-1: push yes for 1/2", text)
    assert problem.would_do == ("a beat from 0 on would do: the right deck does not rest before it")
    assert with_acts("-8: push over 0.1 s", SPAN)


# --- bad input, by its line ----------------------------------------------------------------------


def the_problem(acts: str, text: str = MAP) -> Problem:
    found = problems_of(text.replace("{ACTS}", f"{{{acts}}}"))
    assert len(found) == 1, found
    return found[0]


def test_an_unknown_word_is_told_with_what_it_may_have_been():
    problem = the_problem("0: bayb yes")
    assert (problem.line, problem.field) == (22, "pieces[1].right.acts.0")
    assert problem.found == "bayb"
    assert problem.would_do.startswith("did you mean baby? one of these would do: push, pull,")


def test_an_unknown_part_is_told_with_the_parts_there_are():
    problem = the_problem("0: baby yse")
    assert problem.found == "yse"
    assert problem.would_do == "one of yes, no would do"


def test_acts_that_overlap_on_one_hand_are_told_with_beats():
    problem = the_problem("0: baby yes, 1/2: push no for 1/4")
    assert problem.line == 22
    assert problem.found == "push at beat 0.5, while pull lasts from 0.5 to 1"
    assert problem.would_do == "beat 1 or later would do"
    problem = the_problem("0: push yes for 1, 1/2: push no for 1/4")
    assert problem.would_do == "beat 1 or later, or `for 0.5` before it, would do"


def test_an_act_beyond_its_set_piece_is_told():
    problem = the_problem("15 1/2: baby yes")
    assert problem.found == "pull from beat 16 to 16.5"
    assert problem.would_do == "an end at or before beat 16, the set piece's length, would do"


def test_a_stroke_with_no_way_left_is_told():
    problem = the_problem("0: push yes for 1/2, 1: push for 1/2")
    assert problem.found == "push at beat 1 over 0 s, with 0 s of yes ahead of it"


def test_a_pick_up_needs_silence_before_it():
    problem = the_problem("-5: push yes for 1/2")
    assert problem.would_do == "a beat from -4 on would do"  # the set piece before has 4 beats


def test_a_figure_that_calls_itself_is_told_with_the_way_round():
    text = MAP.replace("  cry:", "  round: {beats: 1, acts: {0: about}}\n  cry:")
    text = text.replace("  cry:", "  about: {beats: 1, acts: {0: round}}\n  cry:")
    found = problems_of(text.replace("{ACTS}", "{0: baby yes}"))
    assert [(p.line, p.field, p.found) for p in found] == [
        (11, "figures.round", "round calls about calls round"),
        (12, "figures.about", "about calls round calls about"),
    ]
    text = MAP.replace("{like: cry, but: {1: }}", "{like: cry-less}")
    found = problems_of(text.replace("{ACTS}", "{0: baby yes}"))
    assert [p.found for p in found] == ["cry-less like cry-less"]


def test_a_figure_line_beyond_its_beats_and_one_of_the_other_kind_are_told():
    text = MAP.replace("1: chirp no", "2: chirp no")
    found = problems_of(text.replace("{ACTS}", "{0: baby yes}"))
    assert (found[0].line, found[0].found) == (11, "beat 2 of cry, which lasts 2")
    problem = the_problem("0: trade")
    assert problem.found == "trade, a figure of both decks"
    problem = the_problem("0: baby", JUGGLE)
    assert problem.found == "baby, a figure of one deck"


def test_a_part_that_ends_before_it_begins_and_an_attack_outside_it_are_told():
    text = MAP.replace("{ACTS}", "{0: baby no}")
    found = problems_of(text.replace("to: 2.3", "to: 1.9"))
    assert (found[0].line, found[0].field) == (8, "sounds.call.parts.no.to")
    found = problems_of(text.replace("attack: 1.05", "attack: 1.5"))
    assert [(p.field, p.found) for p in found] == [("sounds.call.parts.yes.attack", "1.5")]


def test_a_part_called_like_a_word_that_acts_use_is_told():
    found = problems_of(MAP.replace("{ACTS}", "{0: baby no}").replace("yes:", "for:"))
    assert (found[0].line, found[0].field, found[0].would_do) == (
        7,
        "sounds.call.parts.for",
        "another name than for would do: acts use this word",
    )


def test_one_name_in_two_sounds_has_to_say_which():
    text = MAP.replace("tempo: 120}\n", "tempo: 120, parts: {yes: {from: 0, to: 1}}}\n", 1)
    problem = the_problem("0: baby yes", text)
    assert problem.would_do == "yes of call or yes of groove would do"
    assert with_acts("0: baby yes of call", text)


def test_strokes_and_acts_or_a_juggle_on_a_deck_that_rests_are_told():
    problem = the_problem("0: trade", JUGGLE.replace("to: 12}", "to: 12, strokes: [0]}"))
    assert problem.would_do == "either it or left's own strokes or acts would do"
    found = problems_of(
        JUGGLE.replace("{ACTS}", "{0: trade}").replace("works, from: 10, to: 12", "rests")
    )
    assert found[0].would_do == "the left deck rests here; works would do"


def test_a_map_is_worked_out_once_and_a_changed_one_anew():
    plan = {"hand": "works", "from": 10.0, "to": 13.0, "acts": {0: "push over 1/4 turn"}}
    tree = {"title": "T", "pieces": [{"name": "P", "bars": 1, "tempo": 120, "right": plan}]}
    routine, alike = Routine.model_validate(tree), Routine.model_validate(tree)
    acts = acts_of(routine, 0, "right")
    assert acts_of(routine, 0, "right") is acts
    assert acts_of(alike, 0, "right") == acts
    # A quarter turn is 0.45 s at 33 1/3; at 45 turns a minute a turn is 60 / 45 s, so 0.3333 s.
    faster = routine.model_copy(
        update={"turntable": routine.turntable.model_copy(update={"rpm": 45.0})}
    )
    assert acts[0].way_s == pytest.approx(0.45)
    assert acts_of(faster, 0, "right")[0].way_s == pytest.approx(1 / 3)
    assert acts_of(routine, 0, "right")[0].way_s == pytest.approx(0.45)


def test_what_is_worked_out_goes_with_its_map():
    """A map edited over and over while it is performed leaves none of its editions behind."""
    plan = {"hand": "works", "from": 10.0, "to": 13.0, "acts": {0: "push over 1/4 turn"}}
    tree = {"title": "T", "pieces": [{"name": "P", "bars": 1, "tempo": 120, "right": plan}]}
    edition = Routine.model_validate(tree)
    gone, acts = weakref.ref(edition), acts_of(edition, 0, "right")
    assert acts_of(edition, 0, "right") is acts
    held = len(gc.get_referrers(acts))
    del edition
    assert gone() is None
    assert len(gc.get_referrers(acts)) == held - 1
