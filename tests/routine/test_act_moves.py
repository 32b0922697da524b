"""Lines worked out in time, each move of a deck written down by hand."""

from __future__ import annotations

from itertools import pairwise

import pytest

from liveaid.routine import Routine
from liveaid.routine.act_line import Over
from liveaid.routine.act_moves import Move, let_go_spans, moves_of

SOUNDS = {
    "call": {"file": "c.wav", "tone": "A4",
             "parts": {"yes": {"from": 1, "to": 2}, "tone": {"from": 2, "to": 9}}},
}  # fmt: skip


def works(**plan):
    return {"hand": "works", "sound": "call", **plan}


def routine_of(figures=None, **piece) -> Routine:
    """Two bars of four at 120 BPM."""
    whole = {"name": "P", "bars": 2, "tempo": 120, **piece}
    return Routine.model_validate(
        {"title": "T", "sounds": SOUNDS, "figures": figures or {}, "pieces": [whole]}
    )


def acts(lines, figures=None):
    """The moves of a right deck's lines, and what is wrong in them."""
    found = moves_of(routine_of(figures, right=works(acts=lines)), 0, "right")
    return found.moves, [(fault.found, fault.would_do) for fault in found.faults]


def move(kind, beat, beats, key, **more):
    return Move(kind=kind, beat=beat, beats=beats, path=("pieces", 0, "right", "acts", key), **more)


def test_lines_become_moves_in_order_of_beat():
    lines = {
        "4": "set pitch +2.5",
        "0": "push yes over 1/4 turn for 1/2 open 1/8 to 1/4 rolled",
        "2": "let go yes for 1 x2",
    }
    assert acts(lines) == (
        [
            move("push", 0.0, 0.5, "0", part="yes", over=Over(0.25, "turns"),
                 open=((0.125, 0.25),), rolled=True),
            move("let go", 2.0, 1.0, "2", part="yes"),
            move("let go", 3.0, 1.0, "2", part="yes"),
            move("set pitch", 4.0, None, "4", percent=2.5),
        ],
        [],
    )  # fmt: skip


def test_repeats_need_a_length_and_parts_a_name_that_is_there():
    assert acts({"0": "push yes x2"}) == (
        [], [("x2 without `for`", "`for` so many beats beside it would do")],
    )  # fmt: skip
    assert acts({"0": "push no"}) == ([], [("no", "one of yes, tone would do")])
    assert acts({"0": "push yes x1"}) == ([move("push", 0.0, None, "0", part="yes")], [])


FIGURES = {
    "cry": {
        "beats": 2,
        "acts": {
            "0": "push for 1/2 cuts 2",
            "1/2": "pull for 1/2 clicks 1",
            "1": "hold for 1 open 1/4 to 1/2",
        },
    },
}


def cry(beat, scale, key, *, cuts=2, clicks=1, part="yes", figure="cry", rolled=False):
    """The figure's three moves by hand: taps open for half of each slot; a click shuts for a
    quarter of one sounding, half of it to either side of the boundary."""
    slot, sounding = 0.5 * scale / cuts, 0.5 * scale / (clicks + 1)
    shut = 0.125 * sounding
    at = beat + 0.5 * scale
    taps = tuple((beat + n * slot, beat + n * slot + slot / 2) for n in range(cuts))
    bounds = [at + n * sounding for n in range(clicks + 2)]
    heard = tuple(
        (a + (shut if n else 0.0), b - (shut if n < clicks else 0.0))
        for n, (a, b) in enumerate(pairwise(bounds))
    )
    more = {"figure": figure, "rolled": rolled}
    return [
        move("push", beat, 0.5 * scale, key, part=part, open=taps, **more),
        move("pull", at, 0.5 * scale, key, open=heard, **more),
        move(
            "hold",
            beat + scale,
            scale,
            key,
            open=((beat + 1.25 * scale, beat + 1.5 * scale),),
            **more,
        ),
    ]


def near(found, expected):
    """The same moves, beats but for rounding."""

    def rounded(m):
        spans = m.open and tuple(tuple(round(x, 9) for x in span) for span in m.open)
        return [(name, spans if name == "open" else getattr(m, name)) for name in m.__slots__]

    assert [rounded(m) for m in found] == [rounded(m) for m in expected]


@pytest.mark.parametrize(
    ("line", "moves"),
    [
        ("cry yes", cry(1.0, 1.0, "1")),
        ("cry yes for 1", cry(1.0, 0.5, "1")),
        ("cry yes for 1/2 x3",
         [*cry(1.0, 0.25, "1"), *cry(1.5, 0.25, "1"), *cry(2.0, 0.25, "1")]),
        ("cry yes cuts 4 clicks 3 rolled", cry(1.0, 1.0, "1", cuts=4, clicks=3, rolled=True)),
        ("cry yes of call", cry(1.0, 1.0, "1")),
    ],
)  # fmt: skip
def test_a_figure_is_worked_out_on_the_part_as_long_and_as_often_as_its_line_says(line, moves):
    found, faults = acts({"1": line}, FIGURES)
    near(found, moves)
    assert faults == []


def test_a_figure_in_a_figure_keeps_what_the_line_that_calls_it_says():
    """Twice as long: the inner one begins 1 * 2 beats in and lasts 2 * 2. The part, the taps, the
    clicks and the fingers come from the outer line unless the inner one says its own."""
    figures = {"cry": FIGURES["cry"], "outer": {"beats": 3, "acts": {"1": "cry"}}}
    found, _ = acts({"0": "outer yes for 6 cuts 3 clicks 2 rolled"}, figures)
    near(found, cry(2.0, 2.0, "0", cuts=3, clicks=2, rolled=True))
    figures["outer"]["acts"] = {"1": "cry tone cuts 5 clicks 4 for 1"}
    found, _ = acts({"0": "outer yes for 6 cuts 3 clicks 2"}, figures)
    near(found, cry(2.0, 1.0, "0", cuts=5, clicks=4, part="tone"))


def test_only_what_sounds_is_tapped_or_clicked_and_only_for_a_known_time():
    lines = {"0": "hold for 1 cuts 2", "1": "push yes cuts 2", "2": "catch for 1 clicks 2"}
    assert [m.open for m in acts(lines)[0]] == [None, None, None]


def test_a_figure_that_calls_itself_ends():
    figures = {"round": {"beats": 2, "acts": {"0": "push yes for 1", "1": "round"}}}
    assert acts({"0": "round"}, figures)[0] == [
        move("push", 0.0, 1.0, "0", part="yes", figure="round")
    ]


def test_a_record_let_go_runs_until_the_other_deck_or_the_time_to_bring_it_back():
    # At twice the speed back, 3 beats are 2 out and 1 back; the other deck comes at 4.
    assert let_go_spans([0.0, 3.0], [0.0, 3.0, 4.0], end=8.0, back=2.0) == [(0.0, 2.0), (3.0, 4.0)]
    assert let_go_spans([1.0, 4.0, 7.0], [], end=8.0, back=2.0) == [
        (1.0, 3.0),
        (4.0, 6.0),
        (7.0, 8.0),
    ]
    assert let_go_spans([0.0, 4.0], [1.0], end=8.0, back=3.0) == [(0.0, 1.0), (4.0, 8.0)]


# --- a juggle -----------------------------------------------------------------------------------


def juggle(lines, figures=None):
    plan = works(**{"from": 10, "to": 14})
    routine = routine_of(figures, juggle=lines, left=plan, right=plan)
    return {side: moves_of(routine, 0, side).moves for side in ("left", "right")}


def turned(key, *moves, figure=""):
    path = ("pieces", 0, "juggle", key)
    return [
        Move(kind=kind, beat=beat, beats=beats, part=part, at_beats=at, figure=figure, path=path)
        for kind, beat, beats, part, at in moves
    ]


def test_turns_are_let_go_taken_and_brought_back_the_way_they_say():
    lines = {
        "0": "left yes 1 to 2 back needle x2",  # each a beat long, one after the other
        "2": "right",  # until the next turn
        "3": "left 0 to 1 back runs on",
        "5": "right 1/2 to 1 1/2 back wind",
        "7": "right yes of call",  # until the end: nothing comes back
    }
    assert juggle(lines) == {
        "left": [
            *turned("0", ("let go", 0.0, 1.0, "yes", 1.0), ("catch", 1.0, 0.0, None, 0.0)),
            *turned("0", ("let go", 1.0, 1.0, "yes", 1.0), ("catch", 2.0, 0.0, None, 0.0),
                    ("needle", 2.0, 1.0, None, 0.0)),
            *turned("3", ("let go", 3.0, 1.0, "", 0.0)),
        ],
        "right": [
            *turned("2", ("let go", 2.0, 1.0, "", 0.0), ("catch", 3.0, 0.0, None, 0.0),
                    ("back-cue", 3.0, 2.0, None, 0.0)),
            *turned("5", ("let go", 5.0, 1.0, "", 0.5), ("catch", 6.0, 0.0, None, 0.0),
                    ("wind", 6.0, 1.0, None, 0.0)),
            *turned("7", ("let go", 7.0, 1.0, "yes", 0.0)),
        ],
    }  # fmt: skip


def test_a_figure_of_turns_is_swapped_by_its_line_and_back_again_by_a_second():
    figures = {
        "trade": {"beats": 2, "juggle": {"0": "left 0 to 1 x2"}},
        "cross": {"beats": 4, "juggle": {"0": "trade", "2": "trade swapped"}},
    }
    kinds = {}
    for line in ("cross yes", "cross yes swapped"):
        kinds[line] = {
            side: [(m.kind, m.beat, m.beats, m.part, m.figure) for m in moves if m.kind == "let go"]
            for side, moves in juggle({"0": line}, figures).items()
        }
    first = [("let go", 0.0, 1.0, "yes", "trade"), ("let go", 1.0, 1.0, "yes", "trade")]
    second = [("let go", 2.0, 1.0, "yes", "trade"), ("let go", 3.0, 1.0, "yes", "trade")]
    assert kinds == {
        "cross yes": {"left": first, "right": second},
        "cross yes swapped": {"left": second, "right": first},
    }
    # For twice as long each turn is twice as long and as late.
    longer = juggle({"0": "trade for 4"}, figures)["left"]
    assert [(m.kind, m.beat, m.beats) for m in longer] == [
        ("let go", 0.0, 2.0), ("catch", 2.0, 0.0), ("let go", 2.0, 2.0), ("catch", 4.0, 0.0),
    ]  # fmt: skip


def test_a_slip_of_the_pen_ends_after_twenty_thousand_turns():
    """256 times 256 would be 65,536. Each but the last is let go and caught."""
    figures = {
        "few": {"beats": 1, "juggle": {"0": "left"}},
        "many": {"beats": 1, "juggle": {"0": "few x256"}},
    }
    spans = works(**{"from": 10, "to": 14})
    routine = routine_of(figures, bars=2, juggle={"0": "many x256"}, left=spans, right=spans)
    assert sum(m.kind == "let go" for m in moves_of(routine, 0, "left").moves) == 20_001


# --- strokes and notes --------------------------------------------------------------------------


def test_strokes_are_let_go_taken_and_brought_back():
    """Brought back at the speed at which records are wound back: the share of the time left."""
    plans = {"left": works(**{"from": 10, "to": 14}, strokes=[0, 6]),
             "right": works(**{"from": 10, "to": 14}, strokes=[5])}  # fmt: skip
    routine = routine_of(**plans)
    back = routine.back_speed
    out = min(6 * back / (1 + back), 5.0)

    def at(place):
        return {"path": ("pieces", 0, "left", "strokes", place)}

    assert moves_of(routine, 0, "left").moves == [
        Move(kind="let go", beat=0.0, beats=out, part="", **at(0)),
        Move(kind="catch", beat=out, beats=0.0, **at(0)),
        Move(kind="back-cue", beat=out, beats=6.0 - out, **at(0)),
        Move(kind="let go", beat=6.0, beats=2.0, part="", **at(1)),
    ]


def notes(**plan):
    found = moves_of(routine_of(right=works(**plan)), 0, "right")
    path = ("pieces", 0, "right", "notes")
    assert {m.path for m in found.moves} <= {path}
    told = [(m.kind, m.beat, m.beats, m.part, m.open, m.percent, m.figure) for m in found.moves]
    return told, [(fault.path == path, fault.found) for fault in found.faults]


A_UP = 100 * (2 ** (1 / 12) - 1)
"""A semitone in per cent of speed (ISO 16)."""


def test_notes_by_the_fader_are_one_record_let_go_and_pitches_set():
    told, faults = notes(notes={"0": "A4 for 1", "2": "A#4", "6": "A4 for 1"})
    assert [(*each[:5], each[6]) for each in told] == [
        ("let go", 0.0, 2.0, "tone", ((0.0, 1.0),), "A4"),
        ("set pitch", 2.0, 4.0, None, ((2.0, 6.0),), "A#4"),
        ("set pitch", 6.0, 1.0, None, ((6.0, 7.0),), "A4"),
    ]
    assert [each[5] for each in told] == pytest.approx([0.0, A_UP, 0.0])
    assert faults == []


def test_notes_laid_out_are_each_let_go_and_caught():
    assert notes(notes={"0": "A4 for 1", "2": "A#4"}, tones="laid") == (
        [
            ("let go", 0.0, 1.0, "A4", None, None, "A4"),
            ("catch", 1.0, 0.0, None, None, None, "A4"),
            ("let go", 2.0, 3.0, "A#4", None, None, "A#4"),  # half of the 6 beats left
            ("catch", 5.0, 0.0, None, None, None, "A#4"),
        ],
        [],
    )


def test_notes_that_cannot_be_played_are_told():
    assert notes(notes={"0": "H4"}) == ([], [(True, "H4")])
    assert notes(sound=None, notes={"0": "A4"}) == ([], [(True, "no sound, which has no tone")])
