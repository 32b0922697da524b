"""What a recording's score is made of, each step by hand: seconds and beats made up, none heard.

The bounds are the module's own, tuned on mixes; the cases lie just within and just beyond them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from liveaid.errors import LiveaidError
from liveaid.practice import recording as parts
from liveaid.practice.act_score import ActScore, Played
from liveaid.practice.align import HeardMoment
from liveaid.practice.beat_times import BeatTimes
from liveaid.practice.bed_alone import OverBed
from liveaid.practice.passages import Chunk, Found, chunks_of
from liveaid.practice.planned_acts import Planned
from liveaid.practice.recording import read_sound
from liveaid.practice.visits import Visit
from liveaid.routine.load import read_routine


def even(first_s, beat_s=0.6, by="click", beats=16):
    """A count from second `first_s` on."""
    knots = np.arange(beats + 1.0)
    return BeatTimes(knots, first_s + beat_s * knots, by)


def moments(beats, sure, *, stray_s=0.0):
    """Half beats at 2 s and 0.6 s a beat, those in `sure` just heard: late and early by turns."""
    halves = [k / 2 for k in range(2 * beats)]
    return {
        beat: HeardMoment(0.0, 2.0 + 0.6 * beat + stray_s * (-1) ** k, likeness)
        for k, beat in enumerate(halves)
        for likeness in [0.45 if beat in sure else 0.449]
    }


def halves(first, last):
    return [k / 2 for k in range(2 * first, 2 * last)]


def test_a_count_is_drawn_through_the_half_beats_heard_to_the_set_pieces_end():
    count = parts._count_of(moments(16, halves(1, 16)), [], 16)
    assert count.by == "click"
    assert count.beats.tolist() == list(range(1, 17))
    assert count.times_s == pytest.approx([2.0 + 0.6 * beat for beat in range(1, 17)])


@pytest.mark.parametrize(
    ("beats", "sure", "acts", "by"),
    [
        # A third of the beats, and three: fewer were hardly heard.
        (16, halves(0, 5), (), None), (16, halves(0, 6), (), "click"),
        (6, halves(0, 2), (), None), (6, halves(0, 3), (), "click"),
        # Half beats within a fifth of an act are the act's; of the others a sixth, and four.
        (6, halves(0, 3), (1.0, 2.5), "click"), (6, halves(0, 3), (0.0, 1.0, 2.5), "acts"),
        (6, halves(0, 3), (0.19, 1.19, 2.31), "acts"),
        (6, halves(0, 3), (0.21, 1.21, 2.29), "click"),
        (30, halves(0, 10), (*halves(0, 7), 7.5), "click"),
        (30, halves(0, 10), halves(0, 8), "acts"),
    ],
)  # fmt: skip
def test_how_much_has_to_be_heard_for_a_count(beats, sure, acts, by):
    """ "acts": drawn through all, so that nothing tells whether a hand is late on the whole."""
    count = parts._count_of(moments(beats, sure), acts, beats)
    assert (None if count is None else count.by or "acts") == by


@pytest.mark.parametrize(("stray_s", "told"), [(0.0040, True), (0.0042, False)])
def test_beats_that_lie_unevenly_are_no_records(stray_s, told):
    """Spread 1.4826 times the median: 5.9 and 6.2 ms, where 6 are let pass."""
    count = parts._count_of(moments(16, halves(0, 16), stray_s=stray_s), [], 16)
    assert (count is not None) is told


def bowed(beats):
    """A thousandth of a second more by each beat's square."""
    return [(float(beat), 0.001 * beat**2) for beat in beats]


def test_twelve_beats_over_eight_tell_a_change_of_tempo():
    twelve = [0, 1, 2, 3, 4, 5, 6, 7, 7.25, 7.5, 7.75, 8]
    for beats in (range(12), twelve):
        count, spread_s = parts._curve(bowed(beats), 16.0, "left")
        assert count.by == "left"
        assert count.beats.tolist() == list(range(17))
        assert count.times_s == pytest.approx([0.001 * beat**2 for beat in range(17)], abs=1e-9)
        assert spread_s == pytest.approx(0.0, abs=1e-9)


def test_fewer_or_nearer_beats_tell_one_tempo():
    """The line through the squares of 0 to 10 is 10 b - 15; they are off by 6 in the middle."""
    count, spread_s = parts._curve(bowed(range(11)), 10.0, None)
    assert count.times_s == pytest.approx([0.010 * beat - 0.015 for beat in range(11)])
    assert spread_s == pytest.approx(1.4826 * 0.006)
    near = [0, 1, 2, 3, 4, 5, 6, 7, 7.25, 7.5, 7.75, 7.9]
    count, _ = parts._curve(bowed(near), 10.0, None)
    assert np.diff(count.times_s, 2) == pytest.approx([0.0] * 9, abs=1e-12)


@pytest.mark.parametrize(("off_s", "left_out"), [(0.5, True), (-0.5, True), (0.0039, False)])
def test_a_beat_that_is_far_off_bends_no_count(off_s, left_out):
    """Of beats that lie exactly even, 4 ms off is as even as any."""
    beats = [(float(beat), 0.6 * beat) for beat in range(11)]
    beats[5] = (5.0, 3.0 + off_s)
    count, _ = parts._curve(beats, 10.0, None)
    assert (count.when(5.0) == pytest.approx(3.0, abs=1e-9)) is left_out


def act(beat, *, late_s=None, kind="stroke", side="right", outcome="heard"):
    due_s = 10.0 + beat
    return ActScore(kind=kind, side=side, beat=beat, outcome=outcome, beat_s=0.6, by="click",
                    heard_s=None if late_s is None else due_s + late_s, due_s=due_s)  # fmt: skip


@pytest.mark.parametrize(
    ("late_s", "others", "heard"),
    [
        (0.0074, (0.016,) * 4, False), (0.0076, (0.016,) * 4, True),
        (-0.0074, (0.016,) * 4, False), (-0.0076, (-0.016,) * 4, True),
        (0.0, (-0.016,) * 4, False), (0.0, (0.0151,) * 4, False), (0.0, (0.0149,) * 4, True),
        (0.0, (-0.0151,) * 4, False), (0.0, (-0.0149,) * 4, True),
        (0.0, (0.016,) * 3, True), (0.0, (0.016,) * 3 + (-0.016,) * 3, True),
        # Four of thirteen are three in ten, of fourteen fewer; its own error counts.
        (0.0, (0.016,) * 4 + (0.008,) * 8, False), (0.0, (0.016,) * 4 + (0.008,) * 9, True),
    ],
)  # fmt: skip
def test_an_act_on_the_count_is_not_believed_where_many_are_off_one_way(late_s, others, heard):
    acts = [act(float(k), late_s=late) for k, late in enumerate((late_s, *others))]
    told = list(parts._untangled(acts))
    assert told[0] == (acts[0] if heard else replace(acts[0], outcome="unheard", heard_s=None))
    assert told[1:] == acts[1:]


def test_other_hands_and_other_kinds_of_act_say_nothing_of_it():
    late = [act(float(k), late_s=0.03, side="left") for k in range(4)]
    late += [act(float(k), late_s=0.03, kind="release") for k in range(4)]
    missed = act(9.0, outcome="missed")
    assert list(parts._untangled([act(8.0, late_s=0.0), missed, *late])) == [
        act(8.0, late_s=0.0), missed, *late,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("stray_s", "usual", "likeness", "believed"),
    [
        # A hand that does not stray: 20 ms. On a clear recording a slip is a slip.
        (0.0199, 0.0, 0.64, True), (0.0201, 0.0, 0.64, False), (0.2, 0.0, 0.65, True),
        (-0.0199, 0.0, 0.64, True), (-0.0201, 0.0, 0.64, False),
        # Three times a hand's own spread: of 10 ms 30, of 15 ms 40 at most; beyond 20 nothing.
        (0.0299, 0.010, 0.64, True), (0.0301, 0.010, 0.64, False),
        (0.0399, 0.015, 0.64, True), (0.0401, 0.015, 0.64, False),
        (0.0399, 0.0199, 0.64, True), (0.001, 0.0201, 0.64, False), (0.001, 0.0201, 0.65, True),
    ],
)  # fmt: skip
def test_what_strays_from_a_hands_other_acts_is_the_crowds(stray_s, usual, likeness, believed):
    """Ten others lie as far off 50 ms to both sides as makes their spread the usual one."""
    off = usual / 1.4826
    others = {act(float(k)): OverBed(0.05 + off * (-1) ** k, 0.9) for k in range(10)}
    odd, drowned = act(20.0), act(21.0)
    told = {**others, act(11.0): OverBed(0.05, 0.9), odd: OverBed(0.05 + stray_s, likeness)}
    told |= {act(12.0): OverBed(0.05 - stray_s, 0.9), drowned: None}
    if usual:
        told |= {act(13.0): OverBed(0.05 + off, 0.9), act(14.0): OverBed(0.05 - off, 0.9)}
    found = parts._believed(told)
    assert (found[odd] == told[odd]) is believed
    assert found[odd] is None or believed
    assert found[drowned] is None
    assert all(found[each] == told[each] for each in others)


def test_an_act_over_a_record_is_heard_so_late_or_not_at_all():
    one = act(4.0, late_s=0.2)
    assert parts._told_by(one, OverBed(0.03, 0.9)) == act(4.0, late_s=0.03)
    assert parts._told_by(one, None) == act(4.0, outcome="unheard")
    nowhere = replace(one, due_s=None)
    assert parts._told_by(nowhere, OverBed(0.03, 0.9)) == replace(
        nowhere, outcome="unheard", heard_s=None
    )


def visit(piece, start_s, end_s, to_beat=16.0):
    return Visit(piece, 0.0, to_beat, start_s, end_s)


def test_a_set_piece_goes_on_from_the_last_by_its_count():
    """16 beats of .6 s from 2 s on end at 11.6 s; it begins within a beat of its own of that."""
    routine = read_routine(MAP.encode())
    before = Played(visit(0, 2.0, 11.6), (), even(2.0))

    def due(first_s=11.65, piece=1, from_beat=0, last=before, beat_s=0.5):
        return parts._due_s(routine, last, piece, from_beat, even(first_s, beat_s))

    assert due() == pytest.approx(11.6)
    assert (due(12.09), due(11.11)) == (pytest.approx(11.6), pytest.approx(11.6))
    assert (due(12.11), due(11.09)) == (None, None)
    assert (due(piece=2), due(from_beat=1), due(last=None)) == (None, None, None)
    assert due(last=replace(before, count=None)) is None
    assert due(last=replace(before, visit=visit(0, 2.0, 11.0, 15.0))) is None


MAP = """
title: Spice row
pieces:
  - {name: Lids, bars: 4, tempo: 100, count: left, left: {hand: runs, at: 1.8}}
  - {name: Pestle, bars: 4, tempo: 100, count: right, right: {hand: runs, at: 1.8}}
  - {name: Lids down, bars: 4, tempo: 100, count: left, left: {hand: runs, at: 40.0}}
"""


def played(piece, start_s, end_s, count=None):
    return Played(visit(piece, start_s, end_s), (), count)


@pytest.mark.parametrize(
    ("before", "after", "likeness", "was"),
    [
        (None, None, 0.9, False),
        # In its place behind or before another, and alike enough; at both nothing else is asked.
        ((0, 9.51), None, 0.18, True), ((0, 9.51), None, 0.179, False),
        ((0, 9.49), None, 0.9, False), ((0, 10.51), None, 0.9, False),
        ((0, 9.5), None, 0.9, False), ((0, 10.49), None, 0.2, True), (None, (2, 20.49), 0.18, True),
        (None, (2, 20.51), 0.9, False), (None, (3, 20.0), 0.9, False),
        ((1, 10.0), None, 0.9, False), ((0, 10.0), (2, 20.0), 0.0, True),
    ],
)  # fmt: skip
def test_a_set_piece_whose_beats_were_drowned_was_played_in_its_place(before, after, likeness, was):
    one = played(1, 10.0, 20.0)
    group = [Found(2, 10.0, 1.0, likeness - 0.1), Found(3, 15.0, 1.0, likeness + 0.1)]
    before = before and played(before[0], 0.0, before[1])
    after = after and played(after[0], after[1], 30.0)
    assert parts._was_played(group, before, one, after) is was
    assert parts._was_played(group, None, played(1, 10.0, 20.0, even(10.0)), None)


CHUNKS = [
    Chunk(0, 10.0, 14.0, True), Chunk(0, 14.0, 19.0, False), Chunk(1, 19.0, 23.0, True),
    Chunk(1, 23.0, 27.0, False),
]  # fmt: skip


def test_chunks_of_one_set_piece_that_follow_each_other_are_one_visit():
    def found(*chunks):
        return [Found(chunk, 5.0 * k, 1.0, 0.8) for k, chunk in enumerate(chunks)]

    def groups(*chunks):
        return [[one.chunk for one in group] for group in parts._visits(found(*chunks), CHUNKS)]

    assert groups(0, 1, 2, 3) == [[0, 1], [2, 3]]
    assert groups(1, 1, 3, 0, 3) == [[1], [1], [3], [0], [3]]
    assert groups() == []


def test_places_of_the_guide_and_the_recording_answer_each_other():
    """The last chunk, 5 s of guide, is 4 s of a recording that goes a quarter faster."""
    group = [Found(0, 100.0, 1.2, 0.8), Found(1, 103.4, 1.25, 0.8)]
    assert parts._places(group, CHUNKS) == ([10.0, 14.0, 19.0], [100.0, 103.4, 107.4])


def test_an_act_answers_to_its_count_and_a_start_to_the_one_before():
    heard, faint = HeardMoment(0.0, 12.0, 0.45), HeardMoment(0.0, 12.0, 0.44)
    stroke = Planned(piece=0, kind="stroke", side="right", beat=8.0)
    start = replace(stroke, kind="start", beat=0.0)
    told = ActScore(kind="stroke", side="right", beat=8.0, outcome="heard", by="click",
                    heard_s=12.0, due_s=pytest.approx(11.8), beat_s=pytest.approx(0.6))  # fmt: skip
    assert parts._act(stroke, heard, even(7.0), 3.0) == told
    assert parts._act(stroke, faint, even(7.0), 3.0) == replace(
        told, outcome="unheard", heard_s=None
    )
    own = even(7.0, by=None)
    assert parts._act(stroke, heard, own, 3.0) == replace(told, by=None, due_s=None)
    first = replace(told, kind="start", beat=0.0, due_s=3.0)
    assert parts._act(start, heard, own, 3.0) == first
    assert parts._act(replace(start, beat=8.0), heard, own, 3.0) == replace(
        first, beat=8.0, by=None, due_s=None
    )


def test_half_an_hour_is_read_and_a_second_more_is_not(tmp_path):
    """At two samples a second."""
    for seconds in (1800, 1801):
        soundfile.write(tmp_path / f"{seconds}.wav", np.full(2 * seconds, 0.25), 2)
    samples, rate_hz = read_sound(tmp_path / "1800.wav")
    assert (samples.shape, samples.max(), rate_hz) == ((3600, 1), 0.25, 2)
    with pytest.raises(LiveaidError, match="longer than half an hour"):
        read_sound(tmp_path / "1801.wav")
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 1)), 100)
    with pytest.raises(LiveaidError, match="cut short or empty"):
        read_sound(tmp_path / "none.wav")
    soundfile.write(tmp_path / "odd.wav", np.array([0.0, np.nan]), 100, subtype="FLOAT")
    with pytest.raises(LiveaidError, match="samples that are no numbers"):
        read_sound(tmp_path / "odd.wav")


PESTLE = """
title: Spice row
metre: 4
pieces:
  - {name: Lids, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 1.8}}
  - name: Pestle
    bars: 4
    tempo: 120
    count: left
    left: {hand: runs, at: 20.0}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3.5, 9, 11.5, 14]}
"""
GUIDE, TAKE, BED = (np.zeros((1, 1)) for _ in range(3))


def whole_piece(monkeypatch, *, heard_s, found, text=PESTLE, bed=None, before=None, told=None):
    """Pestle by chunks found from 50 s on, at 1.25 times the speed: .4 s a beat.

    `heard_s` answers when a guide's second was heard in the take, from which bands; None: not.
    """
    routine = read_routine(text.encode())
    asked = []

    def align(guide, take, at, here, there):
        asked.append((guide is BED, list(at), here, there))
        times = [heard_s(second, guide is BED) for second in at]
        return [HeardMoment(second, time or 0.0, 0.0 if time is None else 0.9)
                for second, time in zip(at, times, strict=True)]  # fmt: skip

    def over(guide, alone, take, at_s, due_s, speed):
        asked.append((at_s, due_s, speed))
        return told

    monkeypatch.setattr(parts, "align_within", align)
    monkeypatch.setattr(parts, "over_bed", over)
    chunks = chunks_of(routine)
    return parts._played(routine, found, chunks, GUIDE, TAKE, bed, before), asked


def straight(second, of_bed):
    return 50.0 + (second - 4.0) / 1.25


WHOLE = [Found(1, 50.0, 1.25, 0.8), Found(2, 53.2, 1.25, 0.8)]


def stroke(beat, due_s, late_s=0.0, outcome="heard"):
    return ActScore(
        kind="stroke", side="right", beat=float(beat), outcome=outcome, by="click",
        due_s=pytest.approx(due_s), beat_s=pytest.approx(0.4),
        heard_s=pytest.approx(due_s + late_s) if outcome == "heard" else None,
    )  # fmt: skip


def test_a_set_piece_is_heard_at_every_half_beat_and_every_act(monkeypatch):
    """Pestle begins at 4 s of the guide. Its stroke on 3.5 comes 20 ms late; its start, on time,
    has nothing before it."""

    def late(second, of_bed):
        return straight(second, of_bed) + (0.02 if second == 4.0 + 0.5 * 3.5 else 0.0)

    one, ((of_bed, at, here, there),) = whole_piece(monkeypatch, heard_s=late, found=WHOLE)
    assert not of_bed
    assert at == [4.0 + 0.25 * k for k in range(33)]  # the last is its stop
    assert (here, there) == ([4.0, 8.0, 12.0], [50.0, 53.2, pytest.approx(56.4)])
    assert one.visit == Visit(1, 0.0, 16.0, pytest.approx(50.0), pytest.approx(56.4))
    start = ActScore(kind="start", side="left", beat=0.0, outcome="heard", by="click",
                     heard_s=pytest.approx(50.0), beat_s=pytest.approx(0.4))  # fmt: skip
    assert list(one.acts) == [
        start, stroke(1, 50.4), stroke(3.5, 51.4, 0.02), stroke(9, 53.6), stroke(11.5, 54.6),
        stroke(14, 55.6), replace(stroke(16, 56.4), kind="stop", side="left"),
    ]  # fmt: skip
    before = played(0, 46.8, 50.0, even(46.79, 0.4))
    before = replace(before, visit=visit(0, 46.8, 50.0, 8.0))
    again, _ = whole_piece(monkeypatch, heard_s=late, found=WHOLE, before=before)
    assert again.acts[0] == replace(start, due_s=pytest.approx(49.99))


def test_of_a_part_only_its_own_acts_are_asked_for(monkeypatch):
    """Its second half: beats 8 to 16, and 53.2 s where it begins."""
    one, ((_, at, here, there),) = whole_piece(monkeypatch, heard_s=straight, found=WHOLE[1:])
    assert (at[0], at[-1], len(at)) == (8.0, 12.0, 17)
    assert (here, there) == ([8.0, 12.0], [53.2, pytest.approx(56.4)])
    assert one.visit == Visit(1, 8.0, 16.0, pytest.approx(53.2), pytest.approx(56.4))
    assert [act.beat for act in one.acts] == [9.0, 11.5, 14.0, 16.0]


def test_what_hands_do_over_a_record_is_told_beside_it(monkeypatch):
    """Guide second and due time with the silence of .3 s before both; 1.25 times as fast."""
    one, (_, *asked) = whole_piece(
        monkeypatch, heard_s=straight, found=WHOLE[:1], bed=BED, told=OverBed(0.03, 0.9)
    )
    assert asked == [
        (pytest.approx(4.8), pytest.approx(50.7), pytest.approx(1.25)),
        (pytest.approx(6.05), pytest.approx(51.7), pytest.approx(1.25)),
    ]
    assert list(one.acts[1:]) == [stroke(1, 50.4, 0.03), stroke(3.5, 51.4, 0.03)]
    assert one.acts[0].outcome == "heard"
    drowned, _ = whole_piece(monkeypatch, heard_s=straight, found=WHOLE[:1], bed=BED)
    assert [act.outcome for act in drowned.acts] == ["heard", "unheard", "unheard"]


def test_where_acts_lie_on_every_beat_the_record_alone_gives_the_count(monkeypatch):
    """Strokes on every half beat; the records alone are heard 10 ms later. Where they are not, the
    count is drawn from the acts, and nobody knows what they are late by."""
    strokes = ", ".join(f"{k / 2:g}" for k in range(16))
    text = PESTLE.replace("1, 3.5, 9, 11.5, 14", strokes).replace("bars: 4", "bars: 2")
    found = [Found(1, 50.0, 1.25, 0.8)]

    def later(second, of_bed):
        return straight(second, of_bed) + 0.01 * of_bed

    def without(second, of_bed):
        return None if of_bed else straight(second, of_bed)

    one, _ = whole_piece(monkeypatch, heard_s=later, found=found, text=text, bed=BED)
    assert (one.count.by, one.count.when(2.0)) == ("click", pytest.approx(50.81))
    one, _ = whole_piece(monkeypatch, heard_s=without, found=found, text=text, bed=BED)
    assert (one.count.by, one.count.when(2.0)) == (None, pytest.approx(50.8))
    one, asked = whole_piece(monkeypatch, heard_s=later, found=found, text=text)
    assert (one.count.by, len(asked)) == (None, 1)


def test_where_no_beat_is_heard_the_chunks_tell_when_it_was(monkeypatch):
    one, _ = whole_piece(monkeypatch, heard_s=lambda *_: None, found=WHOLE[:1])
    assert one.count is None
    assert one.visit == Visit(1, 0.0, 8.0, 50.0, pytest.approx(53.2))
    assert list(one.acts) == [
        ActScore(kind=kind, side=side, beat=beat, outcome="unheard", beat_s=0.5)
        for kind, side, beat in (("start", "left", 0.0), ("stroke", "right", 1.0),
                                 ("stroke", "right", 3.5))
    ]  # fmt: skip
