"""The finer look at soft material, against the sums it is told by and cases worked out by hand."""

import itertools

import numpy as np
import pytest
import scipy.signal

from liveaid.study.onsets import Onsets
from liveaid.study.soft import sharpened, soft_onsets, soft_rise
from liveaid.study.spectrum import GROUPS, HOP, RATE_HZ


def quarter_tones(power):
    """(windows, bands): numpy's bins between edges a quarter-tone apart from 60 Hz to 6 kHz, 24 to
    each of log2(100) = 6.64 octaves; bands without a bin are left out."""
    edges, hz = np.geomspace(60.0, 6000.0, 160), np.fft.rfftfreq(2048, 1.0 / RATE_HZ)
    inside = [(low < hz) & (hz <= high) for low, high in itertools.pairwise(edges)]
    return np.array([power[:, bins].sum(axis=1) for bins in inside if bins.any()]).T


def rise_written_out(mono):
    """Windows of 2048 about every 440th sample; of ln(1 + power over what lies 50 dB below the loud
    fifth) what is more than in this band and its neighbours one window before, one window after;
    each a mean in decades, over four groups with as many bands each."""
    hann = scipy.signal.windows.hann(2048, sym=True)
    padded = np.concatenate([np.zeros(1024), mono, np.zeros(1024)])
    starts = range(0, len(mono) + 1, 4 * HOP)
    spectra = [np.fft.rfft(padded[start : start + 2048] * hann) for start in starts]
    bands = quarter_tones(np.abs(np.array(spectra)) ** 2)
    total = bands.sum(axis=1)
    loud = total[total >= np.quantile(total, 0.8)].mean() / bands.shape[1]
    log = np.log(1.0 + bands / loud * 1e5)
    rise = np.zeros((len(log), GROUPS))
    for window in range(1, len(log) - 1):
        before = np.pad(log[window - 1], 1)
        widest = np.max([before[:-2], before[1:-1], before[2:]], axis=0)
        more = np.maximum(log[window + 1] - widest, 0.0)
        rise[window] = [part.sum() for part in np.array_split(more, GROUPS)]
    return rise / np.log(10.0) / bands.shape[1]


def test_a_new_pitch_rises_in_bands_of_a_quarter_tone():
    """Notes of five partials and a little noise; every value stands for four hops."""
    at_s = np.arange(3 * RATE_HZ + 77) / RATE_HZ
    hz = np.select([at_s < 0.9, at_s < 2.0], [110.0, 165.0], 440.0)
    turns = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    mono = 0.1 * sum(np.sin(partial * turns) / partial for partial in range(1, 6))
    mono += np.random.default_rng(1).normal(0.0, 1e-4, len(mono))
    found = soft_rise(mono.astype(np.float32))
    wanted = np.repeat(rise_written_out(mono), 4, axis=0)[: len(mono) // HOP + 1]
    assert found.shape == wanted.shape == (len(mono) // HOP + 1, GROUPS)
    assert found == pytest.approx(wanted, abs=2e-3)
    assert wanted.max() > 0.1


def test_what_is_softer_than_any_sample_of_24_bits_does_not_rise():
    """As much below 1e-14 in each of its bands as an even share of it allows."""
    noise = np.random.default_rng(1).normal(0.0, 1.0, RATE_HZ // 4).astype(np.float32)
    assert not soft_rise(noise * np.float32(0)).any()
    assert soft_rise(noise * np.float32(0)).shape == (len(noise) // HOP + 1, GROUPS)
    power = np.abs(np.fft.rfft(noise[:2048] * np.hanning(2048))) ** 2
    band = quarter_tones(power[None]).mean()
    for times, rises in ((0.3, False), (3.0, True)):
        scale = np.float32(np.sqrt(times * 1e-14 / band))
        assert soft_rise(noise * scale).any() == rises


def test_a_soft_beginning_lies_where_its_window_does():
    """A rise in the windows about frames 80 and 160, half a frame later: 80.5 and 160.5 times 110
    samples."""
    rise = np.zeros((400, GROUPS), np.float32)
    rise[80:84] = (0.1, 0.2, 0.3, 0.4)
    rise[160:164] = (0.4, 0.0, 0.1, 0.2)
    found = soft_onsets(rise)
    assert found.times_s == pytest.approx([80.5 * 110 / 22050, 160.5 * 110 / 22050])
    assert found.strength == pytest.approx([1.0, 0.7])
    assert found.groups.tolist() == rise[[80, 160]].tolist()


def onsets(*times_s):
    strength = np.linspace(0.5, 1.0, len(times_s)).astype(np.float32)
    return Onsets(np.array(times_s), strength, np.tile(strength[:, None], GROUPS))


@pytest.mark.parametrize(
    ("sharp_s", "sharpened_s"),
    [
        # 59 ms before and 29 ms after are beside; the third is moved by the middle of both, -15 ms.
        ((0.941, 2.029), (0.941, 2.029, 2.985)),
        ((0.941, 2.031), (0.941, 1.941, 2.941)),
        ((0.939, 2.029), (1.029, 2.029, 3.029)),
        # The third has two beside it: of nearly the same strength the nearer one.
        ((2.95, 3.002), (1.002, 2.002, 3.002)),
        ((0.939, 2.031), (1.0, 2.0, 3.0)),
        ((), (1.0, 2.0, 3.0)),
    ],
)
def test_soft_beginnings_are_taken_to_the_attack_beside_them(sharp_s, sharpened_s):
    soft = onsets(1.0, 2.0, 3.0)
    found = sharpened(soft, onsets(*sharp_s))
    assert found.times_s == pytest.approx(sharpened_s)
    assert (found.strength is soft.strength, found.groups is soft.groups) == (True, True)
