"""Strokes on the drums of a running record: told by themselves, or not heard. Own sounds."""

import numpy as np
import pytest

from liveaid.practice.bed_alone import OverBed, bed_of, over_bed
from liveaid.practice.recorded_sound import FINE_HOP_S, onset_bands
from liveaid.routine.load import read_routine

RATE = 24000
DUE_S = 2.0


def sounds(stroke_level, late_s=0.0):
    """Four seconds of drums, one every half second, and a stroke due on the fifth."""
    rng = np.random.default_rng(5)
    t = np.arange(round(0.2 * RATE)) / RATE
    drum = np.sin(2 * np.pi * (150 * t + 2 * (1 - np.exp(-30 * t)))) * np.exp(-14 * t)
    bed = 0.001 * rng.standard_normal(4 * RATE)
    for at_s in np.arange(0.5, 3.6, 0.5):
        bed[round(at_s * RATE) :][: len(t)] += 0.5 * drum
    tone = sum(np.sin(2 * np.pi * 300 * n * t) / n for n in (1, 2, 3, 5, 8)) * np.exp(-8 * t)
    mix = bed.copy()
    mix[round((DUE_S + late_s) * RATE) :][: len(t)] += stroke_level * tone
    return mix, bed


def late_s(stroke_level, late_s, *, played_level=None):
    guide, bed = sounds(stroke_level)
    take, _ = sounds(stroke_level if played_level is None else played_level, late_s)
    bands = [onset_bands(sound, hop_s=FINE_HOP_S) for sound in (guide, bed, take)]
    told = over_bed(*bands, DUE_S, DUE_S, 1.0)
    return None if told is None else told.late_s


@pytest.mark.parametrize("late", [0.0, 0.030])
def test_a_stroke_on_a_drum_is_told_where_it_came(late):
    assert late_s(0.8, late) == pytest.approx(late, abs=0.004)


def test_a_stroke_that_the_drum_drowns_or_that_never_came_is_not_told():
    assert late_s(0.002, 0.030) is None
    assert late_s(0.8, 0.0, played_level=0.0) is None


def test_the_bed_is_the_running_deck_from_its_cue():
    """100 BPM, four beats a bar: 2.4 s a set piece; the second runs on the right deck from 5 s."""
    routine = read_routine(
        b"title: Two stalls\npieces:\n"
        b"  - {name: Lids, bars: 1, tempo: 100, count: left, left: {hand: runs, at: 1.8}}\n"
        b"  - {name: Pestle, bars: 1, tempo: 100, count: right, right: {hand: runs, at: 5.0}}\n"
    )
    seconds = np.arange(10 * RATE) / RATE
    bed = bed_of(routine, {"left": seconds, "right": 100 + seconds}, round(5.3 * RATE))
    at = [round(s * RATE) for s in (0.0, 2.39, 2.41, 4.79, 4.9)]
    assert bed[at] == pytest.approx([1.8, 4.19, 105.01, 107.39, 0.0], abs=1e-3)


def by_lags(guide, bed, take, at_ms, due_ms, speed):
    """The same worked out lag by lag, a millisecond each: the beat as loud as it is or the act so
    late, whichever is louder, beside what is heard from 110 ms before to 130 ms after; what is
    more than 70 ms from the middle of it, at 10 ms, counts by a bell of 25 ms. Returns the
    likeness without the act, and with it 90 ms early to 90 ms late."""
    about = np.arange(-110, 131)
    weight = np.array([np.exp(-((max(abs(ms - 10) - 70, 0) / 25) ** 2)) for ms in about])
    heard = take[[round(due_ms + ms / speed) for ms in about]]
    act = {
        ms: np.where(guide[at_ms + ms] > bed[at_ms + ms] + 0.3, guide[at_ms + ms], 0.0)
        for ms in range(-25, 81)
    }

    def alike(late_ms):
        there = bed[at_ms + about]
        for ms, risen in act.items() if late_ms is not None else ():
            if -110 <= ms + late_ms <= 130:
                there[ms + late_ms + 110] = np.maximum(there[ms + late_ms + 110], risen)
        covers = np.cov(there.T, heard.T, aweights=weight)
        both, one, other = covers[:3, 3:], covers[:3, :3], covers[3:, 3:]
        return np.trace(both) / np.sqrt(np.trace(one) * np.trace(other))

    return alike(None), [alike(late_ms) for late_ms in range(-90, 91)]


@pytest.mark.parametrize(
    ("late_ms", "loud", "speed"),
    [
        (0, 3.0, 1.0),
        (37, 3.0, 1.0),
        (-88, 2.0, 1.0),
        (20, 2.0, 1.04),
        (60, 0.9, 1.0),
        (0, 0.2, 1.0),
    ],
)
def test_an_act_is_told_where_it_explains_clearly_more_than_the_beat(late_ms, loud, speed):
    """Onsets made up in three bands: the beat's drum at 0 and 70 ms, the act's own beside them."""
    rng = np.random.default_rng(4)
    bell = np.hanning(9)[:, np.newaxis]
    bed = 0.05 * rng.random((900, 3))
    for at in (250, 400, 470, 600):
        bed[at - 4 : at + 5] += 2.0 * bell * [1.0, 0.3, 0.1]
    guide, take = bed.copy(), bed.copy()
    for at, bands in ((397, [0.1, 1.0, 0.6]), (440, [0.0, 0.3, 0.9])):
        guide[at - 4 : at + 5] = np.maximum(guide[at - 4 : at + 5], loud * bell * bands)
        take[at + late_ms - 4 : at + late_ms + 5] += loud * bell * bands
    alone, lags = by_lags(guide, bed, take, 400, 400, speed)
    best = int(np.argmax(lags))
    others = max(value for k, value in enumerate(lags) if abs(k - best) > 8)
    told = bool(lags[best] - alone >= 0.03 and lags[best] - others >= 0.03)
    assert told is (loud > 0.5)
    wanted = OverBed(pytest.approx((best - 90) / 1000 / speed), pytest.approx(lags[best], rel=1e-4))
    assert over_bed(guide, bed, take, 0.4, 0.4, speed) == (wanted if told else None)


def test_a_bed_ends_with_what_it_is_laid_out_for_and_needs_its_deck_file():
    """Worked decks, decks without a file and a file that ends too soon leave silence."""
    routine = read_routine(
        b"title: Two stalls\npieces:\n"
        b"  - {name: Lids, bars: 1, tempo: 100, count: left, left: {hand: runs, at: 1.8},\n"
        b"     right: {hand: works, from: 5.0, to: 6.0, strokes: [0]}}\n"
        b"  - {name: Pestle, bars: 1, tempo: 100, count: right, right: {hand: runs, at: 5.0}}\n"
    )
    ones = np.ones(3 * RATE)
    bed = bed_of(routine, {"left": ones}, 4 * RATE)
    assert bed.sum() == pytest.approx(1.2 * RATE)  # from 1.8 s to the file's end
    assert bed_of(routine, {"left": ones}, RATE).tolist() == [1.0] * RATE
    assert bed_of(routine, {"right": np.ones(9 * RATE)}, 4 * RATE).sum() == pytest.approx(
        1.6 * RATE
    )
