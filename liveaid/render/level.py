"""Loudness levelled by ITU-R BS.1770, true peak kept below a ceiling.

A passage is brought to the wanted loudness by one gain. Where its peaks would then pass the
ceiling, the peaks alone are turned down, over a few milliseconds, by as much as MOST_LIMITED_DB;
what cannot be had even so stays quieter, and says so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveaid.render.edges import Samples
from liveaid.render.limiter import (
    decibels,
    limited,
    peak_by_frame,
    ratio,
    true_peak_db,
    turned_down,
)
from liveaid.render.passage_level import Level
from liveaid.sound.loudness import LoudnessMeter

LOUDNESS_LUFS = -18.0
"""Where every passage is levelled to: the reference level of ReplayGain 2.0, which leaves most
recorded music's peaks as they are."""
CEILING_DBTP = -1.0
"""Highest true peak, after EBU R 128 (2020), which asks for -1 dBTP at most."""
MARGIN_DB = 0.2
"""Kept below the ceiling: what the limiter's own look between samples may miss."""
MOST_LIMITED_DB = 9.0
"""The most that peaks are turned down; beyond it a sound would lose its attack."""
BLOCK_S = 0.4
"""Length of a gating block in BS.1770; a shorter sound is measured repeated."""
BLOCK_FRAMES = 1 << 16
CLOSE_LU = 0.05
"""Loudness is right when it is this close."""
TRIES = 6
"""Steps towards it, at most; two or three do."""


def levelled(sound: Samples, *, rate_hz: int, wanted_lufs: float) -> tuple[Samples, Level]:
    """The sound at the wanted loudness with its true peak below the ceiling, and what it took."""
    if not np.any(sound):
        return sound, Level(None, None, 0.0, 0.0)
    peaks = peak_by_frame(sound, above=float(np.abs(sound).max()))
    peak, loudness = decibels(float(peaks.max())), loudness_lufs(sound, rate_hz=rate_hz)
    if loudness is None:
        loudness = wanted_lufs  # below the absolute gate: left as quiet as it is
    ceiling = CEILING_DBTP - MARGIN_DB
    most = ceiling + MOST_LIMITED_DB - peak
    gain = min(wanted_lufs - loudness, most)
    if peak + gain <= ceiling:
        return sound * ratio(gain), Level(loudness + gain, peak + gain, gain, 0.0)
    # What a decibel more than the first guess would bring up to the ceiling.
    peaks = peak_by_frame(sound, above=float(ratio(ceiling - gain - 1.0)))
    gain = _gain_for(sound, peaks, gain, most, rate_hz, wanted_lufs, ceiling)
    return turned_up(sound, gain, rate_hz=rate_hz)


def turned_up(sound: Samples, gain_db: float, *, rate_hz: int) -> tuple[Samples, Level]:
    """The sound with this gain and its true peak below the ceiling, and the level that gives."""
    if not np.any(sound):
        return sound, Level(None, None, gain_db, 0.0)
    louder = sound * ratio(gain_db)
    made, after = limited(louder, rate_hz=rate_hz, ceiling_dbtp=CEILING_DBTP - MARGIN_DB)
    before = after if made is louder else true_peak_db(louder)
    return made, Level(loudness_lufs(made, rate_hz=rate_hz), after, gain_db, before - after)


def _gain_for(
    sound: Samples,
    peaks: NDArray[np.float64],
    gain: float,
    most: float,
    rate_hz: int,
    wanted_lufs: float,
    ceiling: float,
) -> float:
    """The gain, up to `most`, after which the limited sound is as loud as wanted."""
    before: tuple[float, float] | None = None
    for _ in range(TRIES):
        made = turned_down(
            sound * ratio(gain), peaks * ratio(gain), float(ratio(ceiling)), rate_hz=rate_hz
        )
        now = loudness_lufs(made, rate_hz=rate_hz)
        short = 0.0 if now is None else wanted_lufs - now
        if abs(short) < CLOSE_LU or (short > 0.0 and gain >= most):
            break
        # A dB of gain gives less than an LU where peaks are turned down: how much, the last two
        # tries tell.
        slope = 1.0 if before is None else (before[1] - short) / (gain - before[0])
        before = gain, short
        gain = min(gain + short / min(1.0, max(0.2, slope)), most)
    return gain


def loudness_lufs(sound: Samples, *, rate_hz: int) -> float | None:
    """Integrated loudness; None for what is below the absolute gate.

    A sound shorter than one gating block is measured end to end with itself, since alone it has
    no loudness by the standard.
    """
    block = round(BLOCK_S * rate_hz)
    repeats = 1 if len(sound) >= block else -(-block // max(len(sound), 1)) + 1
    meter = LoudnessMeter(rate_hz=rate_hz, channels=2)
    whole = np.tile(sound, (repeats, 1)) if repeats > 1 else sound
    for begin in range(0, len(whole), BLOCK_FRAMES):
        meter.hear(whole[begin : begin + BLOCK_FRAMES])
    return meter.integrated_lufs()
