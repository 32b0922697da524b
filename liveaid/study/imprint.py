"""What a sound sounds like, small enough to keep by the hundred thousand: to find its like again.

Two looks. The timbre: mean and spread of the cepstra of the bands (Logan and Salomon, "A music
similarity function based on signal analysis", ICME 2001; Mandel and Ellis, ISMIR 2005), how level
comes and goes, and where the spectrum lies; each of the four weighs the same. The picture: how loud
each band is, 25 times a second, from the first sound on; two pictures are laid over each other by
normalised correlation at every shift and at the speeds of a pitch fader, so that gain, coding,
pitch and what was cut off hardly matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from liveaid.study.spectrum import BANDS, FRAMES_HZ, Floats, Spectrum

Picture = npt.NDArray[np.int8]

IMPRINT_CEPSTRA = 13
PICTURE_BANDS = 15
PICTURE_FRAMES = 256
"""Ten seconds: enough to know a song by, and 4 kB."""
PICTURE_RANGE_DB, PICTURE_STEP_DB = 40.0, 2 / 3
TIMBRE_RANGE_DB = 50.0
USUAL_VALUES = (
    21.0, 1.8, 12.0, -0.7, -0.2, -0.8, 1.5, -1.4, 0.2, 0.0, 0.2, -1.9, -1.9,
    13.4, 9.9, 6.6, 6.0, 4.9, 4.0, 3.7, 3.3, 3.5, 3.3, 2.8, 2.6, 2.4,
    -2.48, -1.91, -0.97, -0.39, -1.68, 7.28, -2.53,
)  # fmt: skip
SPREAD = (
    42.3, 25.9, 17.8, 13.9, 10.5, 8.8, 7.8, 7.3, 6.9, 6.8, 5.4, 5.2, 4.7,
    8.8, 6.5, 3.8, 3.8, 3.0, 2.0, 2.0, 1.8, 1.8, 1.9, 1.4, 1.6, 1.4,
    1.8, 1.31, 1.37, 1.33, 1.54, 1.02, 2.36,
)  # fmt: skip
"""Mean and standard deviation of each value over the 165 sounds of Debian's sonic-pi-samples."""
WEIGHT = np.repeat([13.0**-0.5, 13.0**-0.5, 5.0**-0.5, 2.0**-0.5], (13, 13, 5, 2))
FARTHEST = 6.0
"""Standard deviations from the usual at most."""
LEAST_SHARED = 0.5
"""Of the shorter picture, so much has to lie on the other."""


FADER_SPEEDS = (1.0, 0.98, 1.02, 0.96, 1.04, 0.94, 1.06, 0.92, 1.08)
"""At which a picture is laid over others: over the usual reach of a pitch fader, so close that ten
seconds drift apart by two frames at most at either end."""
DRIFTS_FRAMES = 50
"""In a picture shorter than two seconds no such speed moves anything by more than two frames."""


@dataclass(frozen=True, slots=True, eq=False)
class Imprint:
    """What one sound sounds like."""

    timbre: npt.NDArray[np.float16]
    """(33,): weighed so that plain distance tells how unlike two sounds are."""
    picture: Picture
    """(frames, PICTURE_BANDS): level in steps of PICTURE_STEP_DB about its mean."""

    @classmethod
    def from_bytes(cls, timbre: bytes, picture: bytes) -> Imprint:
        """The imprint whose two looks were kept with `tobytes`."""
        rows = np.frombuffer(picture, np.int8).reshape(-1, PICTURE_BANDS)
        return cls(np.frombuffer(timbre, np.float16), rows)


def take_imprint(spectrum: Spectrum) -> Imprint | None:
    """The imprint of a sound; None of silence."""
    power = spectrum.bands.sum(axis=1, dtype=np.float64)
    if not len(power) or power.max() <= 1e-10:
        return None
    values = np.concatenate([_colours(spectrum, power), _course(spectrum), _place(spectrum)])
    standard = np.clip((values - np.array(USUAL_VALUES)) / np.array(SPREAD), -FARTHEST, FARTHEST)
    return Imprint((standard * WEIGHT).astype(np.float16), _picture(spectrum, power))


def _colours(spectrum: Spectrum, power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Mean and spread of the cepstra, frames counting as they are loud."""
    loud = max(float(np.quantile(power, 0.9)) if len(power) > 10 else 0.0, power.max() / 4)
    floor = 10.0 ** (-TIMBRE_RANGE_DB / 10)
    log = 10.0 * np.log10(np.maximum(spectrum.bands * (BANDS / loud), floor))
    cepstra = scipy.fft.dct(log, axis=1, norm="ortho")[:, 1 : IMPRINT_CEPSTRA + 1]
    weight = np.sqrt(power)
    weight /= weight.sum()
    mean = weight @ cepstra
    return np.concatenate([mean, np.sqrt(weight @ np.square(cepstra - mean))])


def _course(spectrum: Spectrum) -> npt.NDArray[np.float64]:
    """How level comes and goes: the way to its peak, how long it stays within 6, 15 and 30 dB of
    it, where its middle lies; logs of seconds."""
    level = spectrum.level_db.astype(np.float64)
    level -= level.max()
    first = int(np.argmax(level > -25.0))
    power = 10.0 ** (level / 10.0)
    middle = float(np.arange(len(power)) @ power / power.sum()) - first
    stays = [float(np.sum(level > -below)) for below in (6.0, 15.0, 30.0)]
    frames = np.array([int(np.argmax(level)) - first, *stays, middle])
    return np.asarray(np.log(frames / FRAMES_HZ + np.array([0.01, 0.005, 0.01, 0.01, 0.01])))


def _place(spectrum: Spectrum) -> npt.NDArray[np.float64]:
    """Where the spectrum lies: its centre and the share of the bass."""
    return np.log([spectrum.centroid_hz + 1.0, spectrum.low_share + 1e-3])


def _picture(spectrum: Spectrum, power: npt.NDArray[np.float64]) -> Picture:
    floor = 10.0 ** (-PICTURE_RANGE_DB / 10)
    first = int(np.argmax(power > floor * power.max()))
    few = spectrum.bands[first : first + PICTURE_FRAMES]
    pairs = few.reshape(len(few), PICTURE_BANDS, -1).sum(axis=2, dtype=np.float64)
    level = 10.0 * np.log10(np.maximum(pairs * (PICTURE_BANDS / power.max()), floor))
    steps = np.round((level - level.mean()) / PICTURE_STEP_DB)
    return np.asarray(steps, dtype=np.int8)


def overlaid(picture: Picture, others: list[Picture]) -> npt.NDArray[np.float32]:
    """(others,): how well each lies on the picture at the best shift and speed, -1 to 1."""
    if not others:
        return np.zeros(0, dtype=np.float32)
    lengths = np.array([len(other) for other in others])
    longest = len(_at_speed(picture, min(FADER_SPEEDS)))
    size = scipy.fft.next_fast_len(longest + int(lengths.max()), real=True)
    theirs, within = _padded(others, size)
    looks = (theirs, within, np.square(theirs).sum(axis=2, keepdims=True))
    spectra = [scipy.fft.rfft(each, axis=1) for each in looks]
    best = np.full(len(others), -1.0, dtype=np.float32)
    for speed in FADER_SPEEDS if len(picture) >= DRIFTS_FRAMES else (1.0,):
        fit = _best_shift(_at_speed(picture, speed), lengths, spectra, size)
        best = np.maximum(best, fit)
    return best


def _at_speed(picture: Picture, speed: float) -> Picture:
    """The picture of the same sound on a record that turns so much faster."""
    frames = np.arange(round(len(picture) / speed)) * speed
    return picture[np.minimum(np.round(frames).astype(np.intp), len(picture) - 1)]


def _best_shift(
    picture: Picture,
    lengths: npt.NDArray[np.intp],
    spectra: Sequence[npt.NDArray[np.complex64]],
    size: int,
) -> npt.NDArray[np.float32]:
    """(others,): how well each lies on the picture at the best shift; `spectra` of the others,
    of where they are, and of their power."""
    mine, inside = _padded([picture], size)
    theirs, within, their_power = spectra
    shared = _shifted(inside, within)
    product = _shifted(mine, theirs)
    power = _shifted(np.square(mine).sum(axis=2, keepdims=True), within)
    power *= _shifted(inside, their_power)
    fit = product / np.sqrt(np.maximum(power, 1.0))
    least = LEAST_SHARED * np.minimum(lengths, len(picture)) - 0.1
    return np.asarray(np.where(shared >= least[:, None], fit, -1.0).max(axis=1), dtype=np.float32)


def _padded(pictures: list[Picture], size: int) -> tuple[Floats, Floats]:
    """(pictures, size, bands), filled with nothing, and (pictures, size, 1): 1 where something."""
    whole = np.zeros((len(pictures), size, PICTURE_BANDS), dtype=np.float32)
    inside = np.zeros((len(pictures), size, 1), dtype=np.float32)
    for row, there, picture in zip(whole, inside, pictures, strict=True):
        row[: len(picture)], there[: len(picture)] = picture, 1.0
    return whole, inside


def _shifted(a: Floats, spectrum: npt.NDArray[np.complex64]) -> Floats:
    """(rows, shifts): the inner product of a with what a spectrum is of, moved back by each
    shift."""
    size = a.shape[1]
    crossed = (scipy.fft.rfft(a, axis=1).conj() * spectrum).sum(axis=2)
    return np.asarray(scipy.fft.irfft(crossed, size, axis=1), dtype=np.float32)
