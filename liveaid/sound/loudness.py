"""How loud a sound is: integrated loudness, loudness range and true peak, block by block.

Sources: ITU-R BS.1770-5 (K weighting, gating, true peak), EBU Tech 3341 (meters),
EBU Tech 3342 (loudness range). The K filter's coefficients for any rate come from pyloudnorm's
"DeMan" design, which meets the standard's 997 Hz sine; its default design does not.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pyloudnorm
import scipy.signal

from liveaid.sound.read import Samples

Powers = npt.NDArray[np.float64]

LOUDNESS_STEP_S = 0.1
"""Gating blocks of 400 ms overlap by 75 % (BS.1770-5 Annex 1), so energy is summed by 100 ms."""
GATE_STEPS = 4
RANGE_STEPS = 30
"""Loudness range looks through windows of 3 s (Tech 3342 section 3)."""
ABSOLUTE_GATE_LUFS = -70.0
OFFSET_LU = -0.691

_SURROUND = {4: (1.0, 1.0, 1.41, 1.41), 5: (1.0, 1.0, 1.0, 1.41, 1.41)}
"""Channel weights (BS.1770-5 table 3): left, right, centre, then those behind at +1.5 dB."""
_SURROUND_6 = (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)
"""The order of 5.1 in WAV: the fourth is the low-frequency channel, which does not count."""

TAPS = 24
"""Half length of the true peak interpolator, samples on either side."""
SPAN = 2 * TAPS
"""Samples that one place between two is worked out from."""
LOUDNESS_OVERSAMPLING = 4
ALL_BUT_SILENT = 1e-20
"""-400 dB, added to what is heard. In silence a filter's state falls to subnormal numbers, with
which a processor reckons some thirty times more slowly."""


class LoudnessMeter:
    """Hear the blocks of one sound, then ask."""

    def __init__(self, *, rate_hz: int, channels: int) -> None:
        self._rate_hz = rate_hz
        self._weights = channel_weights(channels)
        self._sections = k_weighting(rate_hz)
        self._state: npt.NDArray[np.float64] | None = None
        self._heard = 0
        self._steps = 0
        self._sums: list[Powers] = []
        self._open = 0.0  # energy of the step that is not yet full

    def hear(self, block: Samples) -> None:
        """The next (frames, channels)."""
        if self._state is None:
            # A steady offset is no sound: the filter starts as if it had always been there.
            settled = scipy.signal.sosfilt_zi(self._sections)
            self._state = settled[:, :, None] * block.mean(axis=0, dtype=np.float64)
        heard = block + ALL_BUT_SILENT
        weighted, self._state = scipy.signal.sosfilt(self._sections, heard, axis=0, zi=self._state)
        self._gather(np.square(weighted) @ self._weights)

    def _gather(self, power: Powers) -> None:
        """Sum power into steps of 100 ms; a step may begin in one block and end in the next."""
        step = self._rate_hz * LOUDNESS_STEP_S
        most = math.ceil((self._heard + len(power)) / step)
        edges = np.round(np.arange(self._steps + 1, most + 1) * step).astype(np.int64) - self._heard
        edges = edges[edges <= len(power)]
        self._steps += len(edges)
        sums = np.add.reduceat(power, np.concatenate([[0], edges[edges < len(power)]]))
        sums[0] += self._open
        full = len(edges)
        self._open = float(sums[full]) if full < len(sums) else 0.0
        self._sums.append(sums[:full])
        self._heard += len(power)

    def _windows(self, steps: int) -> Powers:
        """Mean power in every window of so many steps."""
        sums = np.concatenate(self._sums) if self._sums else np.zeros(0)
        if len(sums) < steps:
            return np.zeros(0)
        total = np.concatenate([[0.0], np.cumsum(sums)])
        # A difference of running sums may come out a hair below nothing.
        power = np.maximum(total[steps:] - total[:-steps], 0.0)
        return np.asarray(power / (steps * LOUDNESS_STEP_S * self._rate_hz))

    def integrated_lufs(self) -> float | None:
        """Gated loudness; None when the sound is shorter than 400 ms or below -70 LUFS."""
        power = self._windows(GATE_STEPS)
        power = power[power > _power(ABSOLUTE_GATE_LUFS)]
        if not len(power):
            return None
        return _lufs(power[power > power.mean() * 0.1].mean())  # the relative gate, -10 LU

    def range_lu(self) -> float:
        """Loudness range: from the 10th to the 95th percentile, gated at -70 LUFS and -20 LU."""
        power = self._windows(RANGE_STEPS)
        power = power[power > _power(ABSOLUTE_GATE_LUFS)]
        if not len(power):
            return 0.0
        power = power[power > power.mean() * 0.01]
        low, high = np.percentile(power, [10.0, 95.0], method="nearest")
        return _lufs(high) - _lufs(low)


class PeakMeter:
    """Hear the blocks of one sound, then ask for its true peak.

    Only where a sample comes within 4.4 dB of the peak so far is the curve between samples worked
    out: a curve that overshoots both of its neighbours by more is not met in recorded sound (the
    worst of EBU Tech 3341's tones overshoots by 3.01 dB).
    """

    NEAR = 0.6

    def __init__(self) -> None:
        self._tail: Samples | None = None
        self.peak = 0.0
        """Largest absolute value so far, between samples too; full scale is 1."""

    def hear(self, block: Samples) -> None:
        """The next (frames, channels)."""
        if self._tail is None:
            self._tail = np.zeros((SPAN, block.shape[1]), dtype=np.float32)
        whole = np.concatenate([self._tail, block])
        self._tail = whole[-SPAN:]
        self._look(whole)

    def _look(self, whole: Samples) -> None:
        size = np.abs(whole)
        self.peak = max(self.peak, float(size.max()))
        near = size[TAPS - 1 : -TAPS] > self.NEAR * self.peak
        for channel in range(whole.shape[1]):
            at = np.flatnonzero(near[:, channel])
            spans = np.lib.stride_tricks.sliding_window_view(whole[:, channel], SPAN)
            for few in np.array_split(at, len(at) // 65536 + 1):
                if len(few):
                    between = spans[few] @ INTERPOLATOR
                    self.peak = max(self.peak, float(np.abs(between).max()))

    def finish(self) -> None:
        """The end of the sound: what stands in the last samples."""
        if self._tail is not None:
            self.hear(np.zeros((SPAN, self._tail.shape[1]), dtype=np.float32))

    def dbtp(self) -> float | None:
        """True peak in dB of full scale; None for silence."""
        return 20.0 * math.log10(self.peak) if self.peak > 0 else None


def channel_weights(channels: int) -> npt.NDArray[np.float64]:
    """Weight of each channel's power; more than six channels count alike."""
    if channels == 6:
        return np.array(_SURROUND_6)
    return np.array(_SURROUND.get(channels, (1.0,) * channels))


def k_weighting(rate_hz: int) -> npt.NDArray[np.float64]:
    """The K filter as two second-order sections: a shelf for the head, then a high-pass."""
    # The shelf's corner must stay below half the rate of a very low-rated file.
    shelf_hz = min(1681.9744509555319, rate_hz * 0.45)
    shelf = pyloudnorm.IIRfilter(
        3.99984385397, 0.7071752369554193, shelf_hz, rate_hz, "high_shelf_DeMan"
    )
    pass_ = pyloudnorm.IIRfilter(
        0.0, 0.5003270373253953, 38.13547087613982, rate_hz, "high_pass_DeMan"
    )
    return np.array([[*shelf.b, *shelf.a], [*pass_.b, *pass_.a]], dtype=np.float64)


def interpolator(oversampling: int) -> Samples:
    """Windowed sinc at the places between two samples, (SPAN, oversampling - 1)."""
    places = np.arange(1, oversampling) / oversampling
    distance = np.arange(SPAN)[:, None] - (TAPS - 1) - places
    window = np.i0(9.0 * np.sqrt(np.maximum(0.0, 1.0 - (distance / TAPS) ** 2))) / np.i0(9.0)
    return np.asarray(np.sinc(distance) * window, dtype=np.float32)


INTERPOLATOR = interpolator(LOUDNESS_OVERSAMPLING)


def _power(lufs: float) -> float:
    return float(10.0 ** ((lufs - OFFSET_LU) / 10.0))


def _lufs(power: float) -> float:
    return float(OFFSET_LU + 10.0 * math.log10(power))
