"""One sentence a hand, from acts worked out by hand."""

import dataclasses
from dataclasses import replace

import pytest

from liveaid.practice.act_score import ActScore, WindScore
from liveaid.practice.advice import advice
from liveaid.practice.aim import aim_of
from liveaid.practice.delays import Delays
from liveaid.practice.score import score_of
from liveaid.practice.shift import offs, shifts
from liveaid.practice.take_score import PieceScore, TakeScore

KNOWN = Delays(measured=True)
JITTER_MS = (-4, 0, 0, 4)


def acts_of(late_ms, *, side="right", kind="release", beats=range(16), by="click"):
    """An act on each beat, late by late_ms(beat of the bar from 1), a little to and fro."""
    return [
        ActScore(kind=kind, side=side, beat=float(beat), outcome="heard", by=by,
                 beat_s=0.6, due_s=beat * 0.6,
                 heard_s=beat * 0.6 + (late_ms(beat % 4 + 1) + JITTER_MS[k // 4 % 4]) / 1000)
        for k, beat in enumerate(beats)
    ]  # fmt: skip


def told(acts, delays=KNOWN, winds=()):
    """What is advised after a take of one set piece with these acts and winds."""
    figures = {"heard": len(acts), "missed": 0, "added": 0, "skipped": 0, "verdict": "clean",
               "bias_ms": 0.0, "spread_ms": 0.0}  # fmt: skip
    piece = PieceScore(index=0, name="Lids", whole=True, tempo_percent=None, drift_percent=None,
                       acts=tuple(acts), winds=tuple(winds), **figures)  # fmt: skip
    score = TakeScore(pieces=(piece,), run_through=False, delays=delays,
                      shifts=shifts(offs(acts)), **figures)  # fmt: skip
    return advice(score, metre=4)


def test_the_beats_that_are_late_are_named_and_what_to_do():
    assert told(acts_of(lambda beat: 20 if beat in (2, 4) else 0)) == {
        "right": "right hand, beats 2 and 4, 20 ms late: let go sooner"
    }


@pytest.mark.parametrize(
    ("kind", "late_ms", "says"),
    [
        ("release", 25, "letting go, 25 ms late: let go sooner"),
        ("release", -25, "letting go, 25 ms early: let go later"),
        ("stroke", 25, "strokes, 25 ms late: push sooner"),
        ("return", 25, "taking back, 25 ms late: take it back sooner"),
        ("return", -25, "taking back, 25 ms early: leave it running longer"),
    ],
)
def test_what_is_off_all_through_is_said_of_all(kind, late_ms, says):
    acts = acts_of(lambda beat: late_ms, kind=kind, side="left")
    assert told(acts) == {"left": f"left hand, {says}"}


def test_nothing_is_said_where_the_acts_do_not_carry_it():
    assert told(acts_of(lambda beat: 6)) == {}  # 1 % of the beat: nobody hears it
    assert told(acts_of(lambda beat: 40, beats=range(0, 12, 4))) == {}  # three acts are no habit
    assert told([]) == {}


def test_beats_are_not_named_that_are_off_no_more_than_the_others():
    """14 ms early on 2 and 4 and 8 on 1 and 3, bars to and fro by 12: each beat spreads by 12.5 ms.
    The mean of 2 and 4 is 14 / 12.5 x sqrt(32) = 6.3 standard errors from none, but only 6 / 12.5 x
    sqrt(16) = 1.9 from that of 1 and 3; all together are 11 ms early, not worth a word at 600."""
    ever = [
        dataclasses.replace(act, heard_s=act.heard_s + (-1) ** bar * 0.012)
        for bar in range(16)
        # 4 ms earlier each: the first bar's to and fro.
        for act in acts_of(lambda beat: -10 if beat in (2, 4) else -4, kind="stroke",
                           beats=range(4 * bar, 4 * bar + 4))
    ]  # fmt: skip
    assert told(ever) == {}


def test_a_hand_that_is_early_in_one_bar_and_late_in_the_next_is_uneven():
    """Off by s one way and the other, 16 acts: they spread by s sqrt(16 / 15) = 1.033 s. At 30 ms
    of a 600 ms beat that is 5.2 %, beyond 4; at 20 ms 3.4 %."""

    def bar_by_bar(off_ms):
        early = [*range(4), *range(8, 12)]
        late = [*range(4, 8), *range(12, 16)]
        return told([*acts_of(lambda beat: -off_ms, beats=early),
                     *acts_of(lambda beat: off_ms, beats=late)])  # fmt: skip

    assert bar_by_bar(30)["right"].endswith("31 ms about the beat: slower, until even")
    assert bar_by_bar(20) == {}


def test_a_delay_that_nobody_measured_is_no_advice():
    assert told(acts_of(lambda beat: 30), delays=Delays()) == {}
    late = told(acts_of(lambda beat: 30 + (20 if beat == 2 else 0), beats=range(32)),
                delays=Delays())  # fmt: skip
    assert late == {"right": "right hand, beat 2, 20 ms late: let go sooner"}


def test_what_was_left_out_is_said_by_bar_and_beat():
    acts = acts_of(lambda beat: 0)
    gone = ActScore(kind="release", side="right", beat=9.0, outcome="missed", by="click")
    assert told([*acts, gone]) == {"right": "right hand, bar 3 beat 2 left out"}
    ahead = dataclasses.replace(gone, beat=-1.5)
    assert told([*acts, ahead]) == {"right": "right hand, pick-up beat -1 1/2 left out"}


def test_simulated_late_hands_are_told_so(spice_row, performed, rehearsed):
    from liveaid.simulate import Hands

    aim = aim_of(spice_row, "Mortar twins")
    aim = type(aim)(**{**{f: getattr(aim, f) for f in aim.__slots__}, "delays": KNOWN})
    hands = Hands(timing_error_s=0.008, timing_bias_s=0.040)
    played = performed(aim_of(spice_row, "Mortar twins").routine, seed=3, hands=hands)
    messages = [(m.now_s, m.side, m.position_s) for m in played.messages]
    (ended,) = rehearsed(aim, messages, count_in_bars=0)
    found = score_of(aim, replace(ended, counted_in_s=3.002)).advice
    assert set(found) == {"left", "right"}
    assert all("late:" in said for said in found.values())


def alike(off_ms, **how):
    """Acts that are all so much late, without any to and fro."""
    return [
        dataclasses.replace(act, heard_s=act.due_s + off_ms / 1000)
        for act in acts_of(lambda beat: 0, **how)
    ]


@pytest.mark.parametrize(
    ("off_ms", "says"),
    [
        (11.9, {}),  # 2 % of 600 ms are 12
        (12.1, {"right": "right hand, letting go, 12 ms late: let go sooner"}),
        (-12.1, {"right": "right hand, letting go, 12 ms early: let go later"}),
    ],
)
def test_a_fiftieth_of_a_beat_is_worth_a_word(off_ms, says):
    assert told(alike(off_ms)) == says


def test_four_acts_are_enough_where_they_are_sure():
    """No hand is steadier than 1 % of the beat, 6 ms: 12 ms of 4 acts are 12 / 6 x 2 = 4 standard
    errors; 9.95 would be 3.3. Three acts are no habit."""
    assert told(alike(20, beats=range(4)))["right"].startswith("right hand, letting go, 20 ms late")
    assert told(alike(12.1, beats=range(4)))["right"].startswith("right hand, letting go, 12 ms")
    assert told(alike(20, beats=range(3))) == {}


def test_the_beats_that_are_early_are_named_as_well():
    assert told(acts_of(lambda beat: -20 if beat in (2, 4) else 0)) == {
        "right": "right hand, beats 2 and 4, 20 ms early: let go later"
    }
    three = told(acts_of(lambda beat: 20 if beat != 3 else -20, kind="stroke"))
    assert three == {"right": "right hand, beats 1, 2 and 4, 20 ms late: push sooner"}


def test_of_two_habits_the_surer_is_told():
    """Strokes 20 ms late, releases 40: both steady to 6 ms at best, so the releases are surer."""
    both = [*alike(20, kind="stroke"), *alike(40, kind="release")]
    assert told(both)["right"].startswith("right hand, letting go, 40 ms late")
    assert told(both[::-1])["right"].startswith("right hand, letting go, 40 ms late")


def wound(spare_beats, side="left"):
    return WindScore(side=side, turns=2.0, due_s=9.0, ready_s=9.0, spare_beats=spare_beats)


@pytest.mark.parametrize(
    ("spares", "says"),
    [
        ([-0.09], None),
        ([-0.11], "0.1 beats late"),
        ([-0.5, -2.0, -1.0], "2.0 beats late"),  # the latest of them
        ([3.0, None], None),
    ],
)
def test_a_record_that_came_late_to_its_cue_goes_before_all(spares, says):
    found = told(alike(30, side="left"), winds=[wound(spare) for spare in spares])["left"]
    late = f"left hand, at its cue for Lids {says}: leave sooner, or wind faster"
    assert found == (late if says else "left hand, letting go, 30 ms late: let go sooner")


def test_the_other_hands_late_record_is_not_this_ones():
    assert told([], winds=[wound(-1.0, side="right")]).keys() == {"right"}


def test_what_was_left_out_is_counted():
    acts = alike(0)
    gone = [
        ActScore(kind="release", side="right", beat=float(beat), outcome="missed", by="click")
        for beat in (17, 18, 19, 20)
    ]
    assert told([*acts, *gone[:2]])["right"] == "right hand, bar 5 beat 2 and 1 more left out"
    assert told(gone)["right"] == (
        "right hand, none of its 4 acts heard: see that its record stands at its cue"
    )
    assert told(gone[:3])["right"] == "right hand, bar 5 beat 2 and 2 more left out"


def test_eight_acts_that_spread_are_uneven():
    """30 ms early in one bar and late in the next, four acts each: 32 ms about the beat, 30
    sqrt(8 / 7). Six acts are too few to say."""
    early, late = range(4), range(4, 8)
    acts = [*alike(-30, beats=early), *alike(30, beats=late)]
    assert told(acts)["right"] == (
        "right hand, letting go uneven, 32 ms about the beat: slower, until even"
    )
    assert told([*acts[:3], *acts[4:7]]) == {}
