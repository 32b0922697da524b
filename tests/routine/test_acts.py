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
    ActLine,
    LineError,
    Over,
    TurnLine,
    beat_of,
    number,
    read_act,
    read_turn,
)
from liveaid.routine.acts import Act, acts_of, fader_of
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


# --- one line -----------------------------------------------------------------------------------


def test_numbers_are_decimals_fractions_or_both():
    assert [number(text) for text in ("2", "1.5", "1/2", "1 1/2", "0")] == [2, 1.5, 0.5, 1.5, 0]
    for text in ("", "x", "1/0", "1/", "1 2", "-1", "5000", "1e3", "nan"):
        with pytest.raises(LineError):
            number(text)


@given(st.fractions(min_value=0, max_value=99, max_denominator=16))
def test_a_fraction_is_read_as_it_is_written(value: Fraction):
    assert number(str(value)) == float(value)


def test_a_line_stands_on_a_beat_from_0_or_in_a_bar_from_1():
    assert beat_of("0", metre=4) == 0.0
    assert beat_of("-1/2", metre=4) == -0.5
    assert beat_of("bar 1", metre=4) == 0.0
    assert beat_of("bar 3 beat 2 1/2", metre=4) == 9.5  # two bars of 4, and one beat and a half
    assert beat_of("bar 3", metre=3) == 6.0
    for key in ("bar 0", "bar 1 beat 5", "bar 1 beat 0", "bar", "two"):
        with pytest.raises(LineError):
            beat_of(key, metre=4)


def test_a_line_says_what_with_which_part_how_long_how_far_and_the_fader():
    text = "push yes of call for 1/2 over 1/4 turn open 0 to 1/8 and 1/4 to 3/8"
    assert read_act(text) == ActLine(
        name="push", part="yes", sound="call", beats=0.5, over=Over(0.25, "turns"),
        open=((0.0, 0.125), (0.25, 0.375)),
    )  # fmt: skip
    assert read_act("let go yes") == ActLine(name="let go", part="yes")
    assert read_act("set pitch -3.5") == ActLine(name="set pitch", percent=-3.5)
    assert read_act("flare no clicks 3 x2") == ActLine(name="flare", part="no", clicks=3, times=2)
    assert read_act("pull closed over 0.2 s") == ActLine(name="pull", open=(), over=Over(0.2, "s"))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "nothing"),
        ("push yes for", "nothing"),
        ("push yes for 0", "0"),
        ("push for 1 for 2", "for twice"),
        ("push over 2", "over 2"),
        ("push open 1", "open 1"),
        ("push open 1/2 to 1/4", "open 1/2 to 1/4"),
        ("push closed now", "closed now"),
        ("baby x0", "x0"),
        ("flare clicks 0", "clicks 0"),
        ("set pitch", "nothing"),
        ("baby of call", "of call"),
        ("baby yes loudly", "loudly"),
    ],
)
def test_a_line_that_cannot_be_meant_says_what_it_found(text: str, found: str):
    with pytest.raises(LineError) as caught:
        read_act(text)
    assert caught.value.found == found
    assert "would do" in caught.value.would_do


def test_a_turn_says_which_record_from_which_beat_to_which_and_the_way_back():
    assert read_turn("left 0 to 2") == TurnLine(side="left", to_beat=2.0)
    assert read_turn("right kick 1/2 to 1 1/2 of groove back wind x2") == TurnLine(
        side="right", part="kick", sound="groove", from_beat=0.5, to_beat=1.5, back="wind", times=2
    )
    assert read_turn("trade x4") == ActLine(name="trade", times=4)
    for text in ("left 2", "left 2 to 1", "left back home", "push yes"):
        with pytest.raises(LineError):
            read_turn(text)


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
