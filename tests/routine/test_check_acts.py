"""Acts judged against physics worked out by hand: just possible and just impossible side by side.

120 BPM: 0.5 s a beat. 33 1/3 turns a minute: 1.8 s of record a turn. The hand, by the table in
liveaid/record/figures.py: a = 80 turns/s2, v = 4.5 turns/s, reach 0.75 turns, 7 strokes/s, 3 turns/s
winding, 0.5 s settling at a turn, 0.035 s to hold a running record, 0.15 s from a hand's own record
to the fader and back, 0.2 s elsewhere.

    least time of a stroke over d turns, rest to rest, half of it speeding up, half of it braking:
        2 sqrt(d / a)        as long as sqrt(d a) <= v: d <= 4.5^2 / 80 = 0.253 turns
        d / v + v / a        beyond: d / 4.5 + 0.05625
    bringing over d turns: 0.5 log2(12 d + 1) / log2(13) within reach, log2(13) = 3.70044
        d / 3 more beyond, and of the settling no more than 0.5
"""

# ruff: noqa: E501 (the cases are tables, a case a line)
from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from liveaid.record.figures import FIGURES
from liveaid.record.strokes import stroke_place, stroke_s
from liveaid.routine import Routine
from liveaid.routine.check import check, fastest
from liveaid.routine.check.act_rules import demands_of
from liveaid.routine.check.demands import Demand
from liveaid.routine.written_numbers import bar_said, place_said

PARTS = {
    # Two words a quarter turn apart: 0.45 s from the end of `a` to the begin of `b`.
    "a": {"from": 10.0, "to": 10.45},
    "b": {"from": 10.9, "to": 11.35},
}


def scratch(acts: dict[Any, str], **more: Any) -> Routine:
    """Left runs, right is worked: its span 10 s to 13 s of the deck file."""
    right = {"hand": "works", "from": 10.0, "to": 13.0, "acts": acts, "places": PARTS}
    piece = {
        "name": "P",
        "bars": 8,
        "tempo": 120,
        "right": right,
        "left": {"hand": "runs", "at": 0},
    }
    return Routine.model_validate({"title": "T", "pieces": [piece], **more})


def juggle(lines: dict[Any, str], **more: Any) -> Routine:
    sides = {
        side: {"hand": "works", "from": at, "to": at + 8.0}
        for side, at in (("left", 10.0), ("right", 20.0))
    }
    piece = {"name": "J", "bars": 4, "tempo": 120, "juggle": lines, **sides}
    return Routine.model_validate({"title": "T", "pieces": [piece], **more})


def of_kind(routine: Routine, kind: str) -> list[Demand]:
    return [each for each in demands_of(routine, 0) if each.kind == kind]


CASES: list[tuple[str, dict[Any, str], str, str, float, float]] = [
    # name, acts, kind, verdict, needs, has (seconds unless the kind is reach, fader or pitch)
    # -- a stroke in its time: 2 sqrt(d / 80) or d / 4.5 + 0.05625
    ("1/10 turn in 0.075 s", {0: "push over 1/10 turn for 0.15"}, "stroke", "tight", 0.0707, 0.075),
    ("1/10 turn in 0.07 s", {0: "push over 1/10 turn for 0.14"}, "stroke", "impossible", 0.0707, 0.07),
    ("1/4 turn in 0.115 s", {0: "push over 1/4 turn for 0.23"}, "stroke", "tight", 0.1118, 0.115),
    ("1/4 turn in 0.11 s", {0: "push over 1/4 turn for 0.22"}, "stroke", "impossible", 0.1118, 0.11),
    ("1/4 turn in 0.25 s", {0: "push over 1/4 turn for 1/2"}, "stroke", "easy", 0.1118, 0.25),
    ("1/2 turn in 0.17 s", {0: "push over 1/2 turn for 0.34"}, "stroke", "tight", 0.1674, 0.17),
    ("1/2 turn in 0.165 s", {0: "push over 1/2 turn for 0.33"}, "stroke", "impossible", 0.1674, 0.165),
    ("3/4 turn in 0.225 s", {0: "push over 3/4 turn for 0.45"}, "stroke", "tight", 0.2229, 0.225),
    ("3/4 turn in 0.22 s", {0: "push over 3/4 turn for 0.44"}, "stroke", "impossible", 0.2229, 0.22),
    # a word of 0.45 s is a quarter turn
    ("a word in a quarter beat", {0: "push a for 1/4"}, "stroke", "easy", 0.1118, 0.125),
    ("a word in an eighth", {0: "push a for 1/8"}, "stroke", "impossible", 0.1118, 0.0625),
    # -- pulled out of a running record: 0.035 s more to hold it
    ("caught running, in time", {0: "let go for 1", 1: "pull over 1/4 turn for 0.3"}, "stroke", "tight", 0.1468, 0.15),
    ("caught running, too soon", {0: "let go for 1", 1: "pull over 1/4 turn for 0.28"}, "stroke", "impossible", 0.1468, 0.14),
    # -- reach: turns one way without letting go
    ("within reach", {0: "push over 3/4 turn for 1"}, "reach", "tight", 0.75, 0.75),
    ("beyond reach", {0: "push over 4/5 turn for 1"}, "reach", "impossible", 0.8, 0.75),
    ("two pushes on end within", {0: "push over 1/4 turn for 1", 1: "push over 2/5 turn for 1"}, "reach", "easy", 0.65, 0.75),
    ("two pushes on end beyond", {0: "push over 2/5 turn for 1", 1: "push over 2/5 turn for 1"}, "reach", "impossible", 0.8, 0.75),
    # -- strokes in a row: 1 / 7 = 0.1429 s each, there and back
    ("scribble at 6.67 a second", {0: "scribble a for 1.2 x3"}, "strokes in a row", "tight", 0.1429, 0.15),
    ("scribble at 7.27 a second", {0: "scribble a for 1.1 x3"}, "strokes in a row", "impossible", 0.1429, 0.1375),
    # 24 beats of it last 12 s: over 8 s, so 0.8 * 7 = 5.6 a second, 0.1786 s each
    ("kept up fresh", {0: "scribble a for 1.5 x4"}, "strokes in a row", "easy", 0.1429, 0.1875),
    ("kept up for 12 s", {0: "scribble a for 1.5 x16"}, "strokes in a row", "tight", 0.1786, 0.1875),
    ("not kept up for 10 s", {0: "scribble a for 1.4 x15"}, "strokes in a row", "impossible", 0.1786, 0.175),
    # -- from the end of `a` to the begin of `b`, a quarter turn: 0.5 * 2 / 3.70044 = 0.2702
    ("a quarter turn on in 0.28 s", {0: "push a for 1/2", "1.06": "push b for 1/2"}, "way between", "tight", 0.2702, 0.28),
    ("a quarter turn on in 0.27 s", {0: "push a for 1/2", "1.04": "push b for 1/2"}, "way between", "impossible", 0.2702, 0.27),
    ("no time between at all", {0: "push a for 1/2", "1/2": "push b for 1/2"}, "way between", "impossible", 0.2702, 0.0),
    # from the begin of `a` after a baby to `b`: 0.9 s of record, half a turn: 0.5 * 2.8074 / 3.70044
    ("half a turn on in 0.38 s", {0: "baby a", "1.76": "push b for 1/2"}, "way between", "tight", 0.3793, 0.38),
    ("half a turn on in 0.375 s", {0: "baby a", "1.75": "push b for 1/2"}, "way between", "impossible", 0.3793, 0.375),
    # the needle: 3 s, then 2 turns by hand: 0.6667 + 0.5
    ("the needle in 4.2 s", {0: "push a for 1/2", 1: "needle b for 8.4"}, "way between", "tight", 4.1667, 4.2),
    ("the needle in 4.1 s", {0: "push a for 1/2", 1: "needle b for 8.2"}, "way between", "impossible", 4.1667, 4.1),
    # -- the fader: 8 openings a second with a finger, 20 with several in turn
    ("7.7 openings a second", {0: "push a for 1.04 cuts 4"}, "fader", "tight", 0.125, 0.13),
    ("8.3 openings a second", {0: "push a for 0.96 cuts 4"}, "fader", "impossible", 0.125, 0.12),
    ("16 in a crab", {0: "crab a for 1"}, "fader", "easy", 0.05, 0.0625),
    ("22 in a crab", {0: "crab a for 0.72"}, "fader", "impossible", 0.05, 0.045),
    # -- pitch: the fader reaches 8 %, and takes 0.3 s to set
    ("pitch within the fader", {0: "set pitch +8", 1: "let go"}, "pitch", "tight", 8.0, 8.0),
    ("pitch beyond the fader", {0: "set pitch -9", 1: "let go"}, "pitch", "impossible", 9.0, 8.0),
    ("pitch set in 0.35 s", {0: "set pitch +2 for 0.7", 1: "let go"}, "setting the pitch", "easy", 0.3, 0.35),
    ("pitch set in 0.25 s", {0: "set pitch +2 for 1/2", 1: "let go"}, "setting the pitch", "impossible", 0.3, 0.25),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case[0])
def test_a_scratch_is_judged_as_worked_out_by_hand(case):
    _, acts, kind, verdict, needs, has = case
    found = of_kind(scratch(acts), kind)
    hardest = max(found, key=lambda each: (round(each.needs, 9), -each.has))
    if kind == "strokes in a row" and len(found) > 1:
        hardest = found[-1] if found[-1].needs > found[0].needs else found[0]
    assert hardest.needs == pytest.approx(needs, abs=1e-4)
    assert hardest.has == pytest.approx(has, abs=1e-4)
    assert hardest.verdict == verdict


JUGGLES: list[tuple[str, dict[Any, str], str, str, float, float]] = [
    # Left runs 2 beats, 1 s of record, 0.5556 turns; held in 0.035 s, brought back in
    # 0.5 * log2(7.6667) / 3.70044 = 0.3971: 0.4321 s in all.
    ("back in 2 beats", {0: "left 0 to 2", 2: "right 0 to 2", 4: "left 0 to 2"}, "return", "easy", 0.4321, 1.0),
    ("back in 0.88 beats", {0: "left 0 to 2", 2: "right 0 to 1", "2.88": "left 0 to 1"}, "return", "tight", 0.4321, 0.44),
    ("back in 0.86 beats", {0: "left 0 to 2", 2: "right 0 to 1", "2.86": "left 0 to 1"}, "return", "impossible", 0.4321, 0.43),
    # 3 beats are 0.8333 turns, beyond reach: 0.035 + 0.2778 + 0.5 * log2(11) / 3.70044
    ("wound back in 0.8 s", {0: "left 0 to 3", 3: "right 0 to 1", "4.6": "left 0 to 1"}, "return", "tight", 0.7802, 0.8),
    ("wound back in 0.775 s", {0: "left 0 to 3", 3: "right 0 to 1", "4.55": "left 0 to 1"}, "return", "impossible", 0.7802, 0.775),
    # A beat earlier: 1 beat is 0.2778 turns: 0.035 + 0.5 * log2(4.3333) / 3.70044 = 0.035 + 0.2859
    ("to a beat earlier", {0: "left 0 to 2", 2: "right 0 to 1", 3: "left 1 to 2"}, "return", "easy", 0.3209, 0.5),
    ("too soon to a beat earlier", {0: "left 0 to 2", 2: "right 0 to 1", "2.64": "left 1 to 2"}, "return", "impossible", 0.3209, 0.32),
    # -- let go at once
    ("both let go at once", {0: "left 0 to 2 x2", "0 ": "right 0 to 2"}, "let go", "impossible", 0.05, 0.0),
    # -- the left hand moves the fader as the right one lets go, and then has to be at its record,
    # 0.15 s away, in time to bring it back: 2 beats of 0.5 s less 0.4321 s, or 1 beat less 0.3209 s
    ("the fader, then back 2 beats", {0: "left 0 to 2", 2: "right 0 to 2", 4: "left 0 to 2"}, "hands", "easy", 0.15, 0.5679),
    ("the fader, then back 1 beat", {0: "left 0 to 1", 1: "right 0 to 1", 2: "left 0 to 1"}, "hands", "easy", 0.15, 0.1791),
    # half a beat, 0.1389 turns: 0.25 less 0.035 + 0.5 * log2(2.6667) / 3.70044 = 0.1912 + 0.035
    ("the fader, then back half a beat", {0: "left 0 to 1/2", "1/2": "right 0 to 1/2", 1: "left 0 to 1/2"}, "hands", "impossible", 0.15, 0.0238),
]  # fmt: skip


@pytest.mark.parametrize("case", JUGGLES, ids=lambda case: case[0])
def test_a_juggle_is_judged_as_worked_out_by_hand(case):
    _, lines, kind, verdict, needs, has = case
    found = of_kind(juggle(lines), kind)
    worst = max(found, key=lambda each: each.needs - each.has)
    assert worst.needs == pytest.approx(needs, abs=1e-4)
    assert worst.has == pytest.approx(has, abs=1e-4)
    assert worst.verdict == verdict


def beats_traded(tempo: float, beats: str = "1", **more: Any) -> Routine:
    """Each record plays so many beats while the other is brought back."""
    trade = {"beats": f"{beats}", "juggle": {0: f"left 0 to {beats}"}}
    figures = {"one": trade, "other": {**trade, "juggle": {0: f"right 0 to {beats}"}}}
    step = {"1": 1, "2": 2, "1/2": 0.5}[beats]
    lines = {n * step: "other" if n % 2 else "one" for n in range(8)}
    routine = juggle(lines, figures=figures, **more)
    piece = routine.pieces[0].model_copy(update={"tempo_bpm": tempo})
    return routine.model_copy(update={"pieces": (piece,)})


@pytest.mark.parametrize(
    ("tempo", "beats", "more", "playable"),
    [
        # A beat of T = 60 / BPM is T / 1.8 turns. The hand has T, for 0.15 s from the fader to its
        # record, 0.035 s to hold it and 0.5 log2(12 T / 1.8 + 1) / 3.70044 to bring it back.
        (96, "1", {}, True),  # 0.15 + 0.035 + 0.3200 = 0.5050 of 0.6250
        (120, "1", {}, True),  # 0.15 + 0.035 + 0.2857 = 0.4707 of 0.5
        (130, "1", {}, True),  # 0.15 + 0.035 + 0.2739 = 0.4589 of 0.4615
        (133, "1", {}, False),  # 0.15 + 0.035 + 0.2706 = 0.4556 of 0.4511
        (220, "1", {}, False),  # 0.15 + 0.035 + 0.2019 = 0.3869 of 0.2727
        (120, "2", {}, True),  # 0.15 + 0.035 + 0.3971 = 0.5821 of 1
        # Half a beat at 100 BPM is 0.3 s, 0.1667 turns: 0.15 + 0.035 + 0.2142 = 0.3992; hands that
        # settle in 0.3 s and need 0.1 s to the fader: 0.1 + 0.035 + 0.1285 = 0.2635.
        (100, "1/2", {}, False),
        (100, "1/2", {"performer": {"settle_time": 0.3, "fader_move": 0.1}}, True),
    ],
)
def test_a_beat_juggle_is_played_up_to_what_hands_can(tempo, beats, more, playable):
    demands = demands_of(beats_traded(tempo, beats, **more), 0)
    told = [each.beat for each in demands if each.kind == "hands" and "back-cue" in each.says]
    step = {"1": 1.0, "2": 2.0, "1/2": 0.5}[beats]  # told where the record's run ends, as written
    assert told == pytest.approx([step * n for n in range(1, len(told) + 1)])
    assert len([each for each in demands if each.kind == "hands"]) >= 6
    assert all(each.verdict != "impossible" for each in demands) == playable


def test_the_way_to_the_fader_is_the_performers_own():
    lines = {0: "left 0 to 1", 1: "right 0 to 1", 2: "left 0 to 1"}
    quick = of_kind(juggle(lines, performer={"fader_move": 0.05}), "hands")
    assert {each.needs for each in quick} == {0.05}
    with pytest.raises(ValueError, match="fader_move"):
        juggle(lines, performer={"fader_move": -1})


def test_the_numbers_above_are_those_of_the_table():
    wanted = {
        "hand_turns_per_s2": 80.0, "hand_turns_per_s": 4.5, "reach_turns": 0.75,
        "strokes_per_s": 7.0, "wind_turns_per_s": 3.0, "settle_s": 0.5, "hold_s": 0.035,
        "hand_move_s": 0.2, "fader_move_s": 0.15, "taps_per_s": 8.0, "rolled_taps_per_s": 20.0, "set_pitch_s": 0.3,
        "tiring_s": 8.0, "tired_share": 0.8, "needle_s": 3.0, "needle_turns": 2.0,
    }  # fmt: skip
    assert {name: FIGURES[name].value for name in wanted} == wanted
    assert all(FIGURES[name].source for name in wanted)


def test_the_least_stroke_is_half_speeding_up_and_half_braking():
    # 0.2 turns at 80 turns/s2: 0.1 turns in t/2 = sqrt(2 * 0.1 / 80) = 0.05 s, and as long again.
    assert stroke_s(0.2, turns_per_s=4.5, turns_per_s2=80) == pytest.approx(0.1)
    # At 45 BPM's worth of way the speed is reached: 0.9 / 4.5 + 4.5 / 80.
    assert stroke_s(0.9, turns_per_s=4.5, turns_per_s2=80) == pytest.approx(0.25625)


def test_an_unhurried_stroke_is_flash_and_hogans():
    """Flash and Hogan 1985: half way at half time, fastest there, 1.875 times the mean."""
    share = np.linspace(0.0, 1.0, 10_001)
    place = stroke_place(share)
    speed = np.gradient(place, share)
    assert place[[0, 5000, 10_000]] == pytest.approx([0.0, 0.5, 1.0])
    assert speed.max() == pytest.approx(1.875, abs=1e-6)
    assert speed[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-6)


def test_a_third_hand_is_told():
    routine = scratch({0: "transform a for 4"})
    left = {"hand": "works", "from": 30.0, "to": 31.0, "acts": {0: "push over 1/4 turn for 4"}}
    piece = routine.pieces[0].model_dump(by_alias=True) | {"left": left}
    routine = Routine.model_validate({"title": "T", "pieces": [piece]})
    # The fader is shut at half a beat, 0.25 s; the right hand is at its record until 1.0 s, the fader
    # being 0.15 s away: 0.25 - 1.0 = -0.75 s is all it has for that.
    worst = next(each for each in of_kind(routine, "hands") if each.verdict == "impossible")
    assert (worst.needs, worst.has) == (pytest.approx(0.15), pytest.approx(-0.75))
    assert "fader" in worst.says


def findings_of(routine: Routine, rule: str = "acts") -> list[Any]:
    return [finding for finding in check(routine) if finding.rule == rule]


def test_42_strokes_a_second_are_no_strokes():
    strokes = [n * 2 / 42 for n in range(42)]  # 0.5 s a beat: 42 in 2 beats
    right = {"hand": "works", "from": 10.0, "to": 13.0, "strokes": strokes}
    piece = {"name": "P", "bars": 4, "tempo": 120, "right": right}
    found = findings_of(Routine.model_validate({"title": "T", "pieces": [piece]}))
    assert [f.severity for f in found] == ["error"]
    assert found[0].says.startswith(
        "beat 1: strokes come 42.0 times a second, and a hand keeps up 7"
    )


def test_a_juggle_written_as_strokes_let_go_at_once_is_no_juggle():
    sides = {
        side: {"hand": "works", "from": 10.0, "to": 12.0, "strokes": [0, 4, 8]}
        for side in ("left", "right")
    }
    piece = {"name": "J", "bars": 4, "tempo": 120, **sides}
    found = findings_of(Routine.model_validate({"title": "T", "pieces": [piece]}))
    told = [f for f in found if "let go at once" in f.says]
    assert [(f.severity, f.bar, dict(f.numbers)["beat"]) for f in told] == [
        ("error", 1, 0.0), ("error", 2, 4.0), ("error", 3, 8.0),
    ]  # fmt: skip


def test_a_finding_names_bar_beat_needs_and_has():
    (found,) = findings_of(scratch({"bar 2 beat 3": "push over 1/4 turn for 0.22"}))
    assert (found.severity, found.piece, found.bar, found.side) == ("error", 0, 2, "right")
    assert found.says == "beat 3: the push goes over 0.25 turns; needs 0.112 s, has 0.110 s"
    assert dict(found.numbers) == pytest.approx(
        {"beat": 6.0, "needs": 0.1118, "has": 0.11}, abs=1e-4
    )
    assert found.way_out


def test_the_fastest_tempo_is_set_by_the_tightest_act():
    # A quarter turn in half a beat: 0.5 * 60 / T = 0.1118 at T = 268.3. From the end of `a` to `b`
    # in one beat: 60 / T = 0.27024 at T = 222.0, which is the slower, and beyond 8 % of pitch.
    (told,) = fastest(scratch({0: "push a for 1/2", "1 1/2": "push b for 1/2"}))
    assert told.fastest_bpm == pytest.approx(222.02, abs=0.05)
    assert told.demand is not None
    assert (told.demand.kind, told.demand.beat) == ("way between", 0.5)
    assert not told.within_pitch
    assert place_said(told.demand.beat, 4) == "bar 1 beat 1.5"
    assert (bar_said(2), bar_said(-1)) == ("bar 3", "pick-up")
    assert place_said(-0.5, 3) == "pick-up beat -1/2"  # one line for README's `-1 1/2: push`
    (plain,) = fastest(scratch({0: "hold"}))
    assert plain.fastest_bpm is None


@pytest.mark.parametrize("case", [*CASES, *JUGGLES], ids=lambda case: case[0])
def test_at_its_fastest_tempo_a_set_piece_is_just_possible(case):
    """The records as they lie, played faster: what is written at that tempo is found possible, at a
    thousandth above it is not."""
    make = juggle if case in JUGGLES else scratch
    routine = make(case[1])
    (told,) = fastest(routine)
    if told.fastest_bpm is None or not 20 <= told.fastest_bpm * 1.001 <= 300 or make is juggle:
        return
    for factor, possible in ((0.999, True), (1.001, False)):
        piece = routine.pieces[0].model_copy(update={"tempo_bpm": told.fastest_bpm * factor})
        faster = routine.model_copy(update={"pieces": (piece,)})
        timed = [
            each for each in demands_of(faster, 0) if each.unit == "s" and each.kind != "hands"
        ]
        if told.demand and told.demand.kind != "hands" and "let go" not in str(case[1]):
            assert all(each.verdict != "impossible" for each in timed) == possible


def test_a_performers_own_hands_go_before_the_table():
    acts = {0: "push over 1/2 turn for 1"}
    assert not findings_of(scratch(acts))
    assert findings_of(scratch(acts, performer={"reach": 0.4}))[0].severity == "error"


def test_a_hand_that_goes_to_the_pitch_takes_the_way_across():
    # It pushes until 0.5 s and sets the pitch at 0.6 s: 0.1 s of the 0.2 s it needs, or of its own.
    acts = {0: "push over 1/4 turn for 1", 1.2: "set pitch +2", 3: "let go"}
    left = {"hand": "works", "from": 30.0, "to": 32.0, "acts": {0: "push over 1/4 turn for 4"}}

    def hands(**more: Any) -> list[Demand]:
        piece = scratch(acts).pieces[0].model_dump(by_alias=True) | {"left": left}
        told = of_kind(Routine.model_validate({"title": "T", "pieces": [piece], **more}), "hands")
        return [each for each in told if "pitch fader" in each.says.split(" to ")[-1]]

    (across,) = hands()
    assert (across.needs, across.has) == (pytest.approx(0.2), pytest.approx(0.1))
    (own,) = hands(performer={"hand_move": 0.1})
    assert (own.needs, own.verdict) == (pytest.approx(0.1), "tight")
