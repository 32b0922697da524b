"""Two sounds heard together as two decks would play them: one file to listen to before buying in.

Both run at the pitches of their meeting, bar line on bar line, the other brought to this sound's
loudness; nothing is stretched, so the keys are those the turntables will give.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from liveaid.errors import LiveaidError
from liveaid.files.aside import write_aside
from liveaid.fit.fit import Fit, sure_bar_line_s
from liveaid.routine.layout.evened import evened
from liveaid.sound.read import open_sound
from liveaid.study.facts import Study

Stereo = npt.NDArray[np.float32]

AUDITION_RATE_HZ = 44_100
BARS = 8
"""Bars that are heard: a phrase and its answer."""
PEAK = 10.0 ** (-1.0 / 20.0)
"""Full scale less 1 dB (EBU R 128's limit for true peaks, taken for samples here)."""
SETTLE = 256
"""Frames on either side of a piece that is resampled by itself."""
FADE_S = 0.02
"""At the end, so that the cut is not heard as a click."""


@dataclass(frozen=True, slots=True)
class ToHear:
    """A sound to be heard: its file, its facts, and where in the file it begins if it is a part."""

    file: str
    study: Study
    from_s: float = 0.0


def audition(mine: ToHear, theirs: ToHear, fit: Fit) -> Stereo:
    """The two together, shape (frames, 2) at RATE_HZ. Unreadable when a file cannot be read.

    Without a common beat the other comes in at its own speed on the first bar line.
    """
    sound, other = mine.study, theirs.study
    mine_percent = fit.meeting.sound_percent if fit.meeting else 0.0
    other_percent = fit.meeting.other_percent if fit.meeting else 0.0
    tempo_bpm = fit.meeting.tempo_bpm if fit.meeting else sound.tempo or 90.0
    lasts_s = BARS * (sound.metre or 4) * 60.0 / tempo_bpm
    lead_s = fit.pickup_beats * 60.0 / ((other.tempo or tempo_bpm) * (1.0 + other_percent / 100.0))
    under = _played(mine, mine_percent, from_s=_bar_line_s(sound), lasts_s=lasts_s)
    starts_s = _bar_line_s(other) - lead_s * (1.0 + other_percent / 100.0)
    over = _played(theirs, other_percent, from_s=starts_s, lasts_s=lasts_s + lead_s)
    lead = round(lead_s * AUDITION_RATE_HZ)
    mix = np.zeros((lead + round(lasts_s * AUDITION_RATE_HZ), 2), dtype=np.float32)
    _add(mix, under, lead, 1.0)
    _add(mix, over, 0, 10.0 ** (-(fit.loudness_lu or 0.0) / 20.0))
    fade = round(FADE_S * AUDITION_RATE_HZ)
    mix[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)[:, None]
    return mix * np.float32(PEAK / max(PEAK, float(np.abs(mix).max())))


def write_audition(mix: Stereo, path: Path) -> None:
    """Write it as 16-bit WAV, whole or not at all. LiveaidError when it cannot be written."""
    wav = io.BytesIO()
    soundfile.write(wav, mix, AUDITION_RATE_HZ, "PCM_16", format="WAV")
    try:
        write_aside(path, wav.getvalue())
    except OSError as error:
        raise LiveaidError(f"{path}: cannot be written: {error}") from error


def _bar_line_s(study: Study) -> float:
    """Where a sound is let go: its first bar line if that is sure, else its first beat, else its
    first sound."""
    for place in (sure_bar_line_s(study), study.first_beat):
        if place is not None:
            return place
    return study.silence_start_s


def _played(heard: ToHear, percent: float, *, from_s: float, lasts_s: float) -> Stereo:
    """A sound from a place on at a pitch, shape (frames, 1 or 2), as long as it lasts; a loop comes
    round, and a tempo that moves is ridden so that it keeps its mean."""
    speed, study = 1.0 + percent / 100.0, heard.study
    with open_sound(heard.file) as reader:
        samples, rate = np.concatenate([*reader]), reader.rate_hz
    begin = round(heard.from_s * rate)
    samples = samples[begin : begin + math.ceil(study.duration_s * rate)]
    stereo = samples[:, :2]
    followed = evened(study.beats_s, study.tempo) if study.tempo else None
    if followed is not None:
        start_s = followed.to_even(from_s)
        return np.concatenate(
            [
                _piece(stereo, rate, first_s, piece_s, even_s / speed)
                for first_s, piece_s, even_s in followed.stretches(start_s, lasts_s * speed)
            ]
        )
    first = max(0, round(from_s * rate))
    wanted = math.ceil(lasts_s * speed * rate)
    if study.loop_beats and len(stereo):
        places = (first + np.arange(wanted)) % len(stereo)
        stereo = stereo[places]
    else:
        stereo = stereo[first : first + wanted]
    # Played so much faster, the same samples last so much less: resampled from a higher rate.
    return np.asarray(soxr.resample(stereo, rate * speed, AUDITION_RATE_HZ), dtype=np.float32)


def _piece(stereo: Stereo, rate: int, from_s: float, piece_s: float, lasts_s: float) -> Stereo:
    """A piece of a sound made to last so long; what it had before and after lets it settle."""
    ratio = lasts_s / piece_s * AUDITION_RATE_HZ / rate
    begin, end = from_s * rate, (from_s + piece_s) * rate
    first, stop = math.floor(begin) - SETTLE, math.ceil(end) + SETTLE
    inside = stereo[max(first, 0) : max(stop, 0)]
    ahead = max(-first, 0)
    wide = np.pad(inside, ((ahead, 0), (0, 0)))
    made = soxr.resample(wide, 1.0, ratio)
    skip = round((begin - first) * ratio)
    return np.asarray(made[skip : skip + round(lasts_s * AUDITION_RATE_HZ)], dtype=np.float32)


def _add(mix: Stereo, samples: Stereo, at: int, gain: float) -> None:
    room = mix[at : at + len(samples)]
    room += np.float32(gain) * samples[: len(room)]
