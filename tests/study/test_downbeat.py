"""Bar lines: what tells them, against the sums they are told by and cases worked out by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
import scipy.spatial.distance

from liveaid.study.downbeat import _change, _metre, _repeats, beat_accents, find_bars
from liveaid.study.spectrum import FRAMES_HZ, GROUPS, RATE_HZ


def by_semitone(piece):
    """The power of numpy's bins from 54 to 2422 Hz, added up by the nearest semitone above the
    lowest of them."""
    power = np.abs(np.fft.rfft(piece, 8192)) ** 2
    added = {}
    for number in range(20, 900):
        semitone = round(12 * np.log2(number / 20))
        added[semitone] = added.get(semitone, 0.0) + power[number]
    return [added[semitone] for semitone in sorted(added)]


@pytest.mark.parametrize(
    ("beat_s", "window"),
    [(0.25, 5512), (0.5, 8192)],  # .25 s are 5512.5 samples; no more than 8192 are looked at
)
def test_the_change_of_harmony_is_the_angle_between_a_beats_spectrum_and_the_one_before(
    beat_s, window
):
    """1 - cosine (scipy's) of ln(1 + 100 times the power over the mean of all). The first beat has
    none before it: it counts as the others do in the mean. The sound ends within the last beat."""
    beats_s = 0.1 + beat_s * np.arange(9)
    at_s = np.arange(round((0.1 + 8.5 * beat_s) * RATE_HZ)) / RATE_HZ
    hz = np.take([220.0, 330.0, 262.0, 220.0, 440.0], ((at_s - 0.1) // beat_s).astype(int) % 5)
    mono = np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ)
    mono = (mono + np.random.default_rng(1).normal(0.0, 0.01, len(mono))).astype(np.float32)
    rows = []
    for beat in beats_s:
        piece = mono[int(beat * RATE_HZ) :][:window].astype(float)
        rows.append(by_semitone(piece * np.hanning(window)[: len(piece)]))
    power = np.array(rows)
    log = np.log(1 + 100 * power / power.mean())
    change = [scipy.spatial.distance.cosine(log[at], log[at - 1]) for at in range(1, 9)]
    assert _change(mono, beats_s) == pytest.approx([np.mean(change), *change], abs=1e-4)
    assert max(change) > 0.05


def test_an_accent_is_what_strikes_and_what_changes_each_in_its_own_spread():
    """Strikes of the bass at 1, 2, 3, 4 times: mean 2.5, spread sqrt(1.25) = 1.118. Silence
    never changes, and what is alike throughout tells nothing."""
    beats_s = np.arange(1.0, 5.0)
    rise = np.zeros((round(6 * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(beats_s * FRAMES_HZ).astype(int), 0] = (1, 2, 3, 4)
    rise[:, 1] = 9.0  # what is no bass
    told = beat_accents(np.zeros(6 * RATE_HZ, np.float32), SimpleNamespace(rise=rise), beats_s)
    assert told == pytest.approx([-1.3416, -0.4472, 0.4472, 1.3416], abs=1e-4)
    rise[:, 0] = 1.0
    told = beat_accents(np.zeros(6 * RATE_HZ, np.float32), SimpleNamespace(rise=rise), beats_s)
    assert told.tolist() == [0.0, 0.0, 0.0, 0.0]


def test_beats_at_either_end_of_a_sound_strike_within_it():
    """Frames from two before to three after; the last beat's lie behind the end."""
    beats_s = np.array([0.0, 1.0, 2.0, 3.0])
    rise = np.zeros((round(3 * FRAMES_HZ), GROUPS), np.float32)
    rise[1, 0] = rise[-1, 0] = 2.0
    told = beat_accents(np.zeros(4 * RATE_HZ, np.float32), SimpleNamespace(rise=rise), beats_s)
    assert told == pytest.approx([1.0, -1.0, -1.0, 1.0])


def test_accents_come_back_after_one_bar_and_after_two():
    """1, 0, 0, 2, 0, 0, 3: products three apart 2 + 6 in 4, six apart 3 in 1; their mean 2.5 over
    the power 14 / 7 = 2. Four apart: nothing in 3; eight apart there is nothing to compare."""
    accent = np.array([1.0, 0.0, 0.0, 2.0, 0.0, 0.0, 3.0])
    assert _repeats(accent, 3) == pytest.approx((8 / 4 + 3 / 1) / 2 / 2.0)
    assert _repeats(np.zeros(30), 3) == 0.0


@pytest.mark.parametrize(("loop_beats", "metre"), [(None, 3), (24, 3), (27, 3), (28, 4), (32, 4)])
def test_a_loop_of_no_whole_number_of_threes_has_four_in_a_bar(loop_beats, metre):
    accent = np.tile([2.0, -1.0, -1.0], 10)
    assert _metre(accent, loop_beats) == metre
    assert _metre(accent[:24], loop_beats) == metre
    assert _metre(accent[:23], loop_beats) == 4


def test_a_long_sound_is_told_by_its_first_600_beats():
    """The bass strikes on the third of every four of 600, on the second of the 1,000 after them."""
    beats_s = 0.5 + 0.5 * np.arange(1600)
    rise = np.zeros((round(802 * FRAMES_HZ), GROUPS), np.float32)
    strikes_s = np.concatenate([beats_s[2:600:4], beats_s[601::4]])
    rise[np.round(strikes_s * FRAMES_HZ).astype(int), 0] = 1.0
    found = find_bars(np.zeros(802 * RATE_HZ // 8, np.float32), SimpleNamespace(rise=rise), beats_s)
    assert (found.metre, found.first) == (4, 2)


def test_bars_are_told_from_eight_beats_on():
    """Of fewer only a loop of fours is, by half a guess (`test_worked.py`)."""
    beats_s = 0.5 + 0.5 * np.arange(8)
    rise = np.zeros((round(6 * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(beats_s[1::4] * FRAMES_HZ).astype(int), 0] = 1.0
    found = find_bars(np.zeros(6 * RATE_HZ, np.float32), SimpleNamespace(rise=rise), beats_s)
    assert (found.metre, found.first) == (4, 1)
