"""Strokes on the drums of a running record: told by themselves, or not heard. Own sounds."""

import numpy as np
import pytest

from liveaid.practice.bed_alone import bed_of, over_bed
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
