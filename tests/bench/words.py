"""Words of a known text: how near they are found, and what their sounds are like, learnt again.

Run by hand: python tests/bench/words.py [--learn]
Each word's begin against where the synthesiser says it put it; beside it words of even length a
letter between the same pauses, as a look-up would lay them. Learnt from eight sentences of two of
flite's voices, plain, with noise and in a room; judged on nine other sentences of those voices and
two others, and on espeak-ng's, which are built otherwise. Phones are known to flite alone, words to
both. Needs flite and espeak-ng with its library (Debian: flite, espeak-ng).
"""

from __future__ import annotations

import argparse
import ctypes
import re
import subprocess
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import scipy.signal
import soundfile

from liveaid.sound.read import Samples
from liveaid.study.letter_sounds import BREATH, HISS, PAUSE, SONORANT, STOP, VOWEL
from liveaid.study.measure import studied_mono
from liveaid.study.onsets import find_onsets
from liveaid.study.phrases import find_phrases
from liveaid.study.spectrum import FRAMES_HZ, RATE_HZ, analyse, band_powers
from liveaid.study.spoken_words import find_words
from liveaid.study.words_placed import PLACED_FRAMES, heard_db

LEARNT = (
    "All aboard. Last ferry. Mind the rope.",
    "Hot chestnuts! Two for one, come and see.",
    "Listen. The river is rising tonight, and the lanterns are out.",
    "Who wants noodles? Fresh noodles, all night long.",
    "Step back from the edge of the quay.",
    "One more time, from the very top. Are you ready?",
    "Rain again. Close the shutters, count the till, go home.",
    "Fish, rice, pepper, salt.",
)
JUDGED = (
    "Good evening. The market opens at nine.",
    "Put your hands together for the lantern maker!",
    "Sugar cane, ginger tea, and everything you can carry.",
    "Nobody leaves before the last song.",
    "Watch the steam. Watch the fire. Now!",
    "I saw you yesterday under the bridge, counting coins.",
    "Keep it moving, keep it moving, keep it moving.",
    "Did you hear that drum across the water?",
    "Ladies and gentlemen, the night is young.",
)
LEARNT_VOICES, OTHER_VOICES = ("slt", "rms"), ("awb", "kal16")
ESPEAK_VOICES = ("en-us", "en-gb", "en-us+f3")
NEAR_S = 0.06
PHONES = {
    **dict.fromkeys(["m", "n", "ng", "l", "r", "w", "y"], SONORANT),
    **dict.fromkeys(["s", "z", "sh", "zh", "ch", "jh"], HISS),
    **dict.fromkeys(["f", "v", "th", "dh", "hh", "h"], BREATH),
    **dict.fromkeys(["p", "t", "k", "b", "d", "g"], STOP),
    "pau": PAUSE,
}
Words = list[tuple[str, float]]
"""Each word with the second it begins at."""


def plain(mono: Samples) -> Samples:
    return mono


def noisy(mono: Samples) -> Samples:
    """With white noise 20 dB below it."""
    noise = np.random.default_rng(1).standard_normal(len(mono))
    return np.asarray(mono + noise * np.sqrt(np.mean(mono**2)) / 10.0, dtype=np.float32)


def in_a_room(mono: Samples) -> Samples:
    """With half a second of reverberation, by noise that dies away."""
    count = RATE_HZ // 2
    noise = np.random.default_rng(2).standard_normal(count)
    echo = 0.08 * noise * np.exp(-6.9 * np.arange(count) / count)
    echo[0] = 1.0
    return np.asarray(scipy.signal.fftconvolve(mono, echo), dtype=np.float32)


WORN = (plain, noisy, in_a_room)


def flite(*said: str) -> str:
    return subprocess.run(["flite", *said], capture_output=True, text=True, check=True).stdout


@cache
def phones_in(voice: str, word: str) -> int:
    """Phones of a word said alone."""
    said = flite("-voice", voice, "-t", word, "-ps", "-o", "none").split()
    return sum(phone != "pau" for phone in said)


def by_flite(text: str, voice: str, file: Path) -> tuple[list[tuple[str, float, float]], Words]:
    """Phones with begin and end, and words; no words where a phone more or less is said in a row
    than alone."""
    told = flite("-voice", voice, "-t", text, "-psdur", "-o", str(file))
    ends = [(phone, float(end)) for phone, end in re.findall(r"([a-z@]+):([0-9.]+)", told)]
    begins = [0.0, *(end for _, end in ends)]
    phones = [(phone, begin, end) for (phone, end), begin in zip(ends, begins, strict=False)]
    sounding = [begin for phone, begin, _ in phones if phone != "pau"]
    words = text.split()
    counts = [phones_in(voice, word) for word in words]
    if sum(counts) != len(sounding):
        return phones, []
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    return phones, [(word, sounding[at]) for word, at in zip(words, first, strict=True)]


class _Event(ctypes.Structure):
    """espeak-ng's event, as its public header speak_lib.h lays it out."""

    _fields_ = (
        ("type", ctypes.c_int),
        ("identifier", ctypes.c_uint),
        ("text_position", ctypes.c_int),
        ("length", ctypes.c_int),
        ("audio_position", ctypes.c_int),
        ("sample", ctypes.c_int),
        ("user_data", ctypes.c_void_p),
        ("name", ctypes.c_char * 8),
    )


_CALLBACK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(_Event)
)
_SYNCHRONOUS, _WORD, _RATE = 2, 1, 1


class Espeak:
    """espeak-ng through its library, which tells at which sample each word begins."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL("libespeak-ng.so.1")
        self._rate_hz = self._library.espeak_Initialize(_SYNCHRONOUS, 0, None, 0)
        self._samples: list[Samples] = []
        self._begins: list[tuple[int, int, int]] = []
        self._callback = _CALLBACK(self._heard)
        self._library.espeak_SetSynthCallback(self._callback)

    def _heard(self, wave, count, events) -> int:  # type: ignore[no-untyped-def]
        if wave and count:
            self._samples.append(np.ctypeslib.as_array(wave, (count,)).astype(np.float32) / 2**15)
        at = 0
        while events[at].type:
            event = events[at]
            if event.type == _WORD:
                self._begins.append((event.text_position - 1, event.length, event.sample))
            at += 1
        return 0

    def say(self, text: str, voice: str, rate: int, file: Path) -> Words:
        """The words whose begins are told; several said as one are told as the first."""
        self._samples, self._begins = [], []
        self._library.espeak_SetVoiceByName(voice.encode())
        self._library.espeak_SetParameter(_RATE, rate, 0)
        spoken = text.encode() + b"\0"
        self._library.espeak_Synth(spoken, len(spoken), 0, 1, 0, 1, None, None)
        soundfile.write(file, np.concatenate(self._samples), self._rate_hz)
        told = {position: sample / self._rate_hz for position, _, sample in self._begins}
        at, words = 0, []
        for word in text.split():
            words.append((word, told.get(at, np.nan)))
            at += len(word) + 1
        return words


def cases(file: Path) -> Iterator[tuple[str, str, Words]]:
    """What is judged: the kind of voice, the text and its words; the sound is in the file."""
    for kind, voices in (("voices learnt", LEARNT_VOICES), ("other voices", OTHER_VOICES)):
        for voice in voices:
            for text in JUDGED:
                if words := by_flite(text, voice, file)[1]:
                    yield kind, text, words
    espeak = Espeak()
    for voice in ESPEAK_VOICES:
        for rate in (130, 160, 190):
            for text in JUDGED:
                yield "espeak-ng", text, espeak.say(text, voice, rate, file)


def even(mono: Samples, text: str) -> list[float]:
    """Begins of words that last as long as they are spelt, over all that sounds: the baseline."""
    spectrum = analyse(mono)
    spans = find_phrases(spectrum.level_db, find_onsets(mono, spectrum), len(mono) / RATE_HZ)
    letters = np.array([len(word) for word in text.split()], dtype=float)
    lasts = np.array([end - begin for begin, end in spans])
    begins = np.concatenate([[0.0], np.cumsum(letters)[:-1]]) / letters.sum() * lasts.sum()
    span = np.minimum(np.searchsorted(np.cumsum(lasts), begins, side="right"), len(spans) - 1)
    before = np.concatenate([[0.0], np.cumsum(lasts)])
    return [spans[at][0] + begin - before[at] for at, begin in zip(span, begins, strict=True)]


def judge() -> None:
    errors: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "said.wav"
        for kind, text, words in cases(file):
            clean = studied_mono(file)
            for wear in WORN:
                mono = wear(clean)
                spectrum = analyse(mono)
                onsets = find_onsets(mono, spectrum)
                found = [word.begin_s for word in find_words(mono, spectrum, onsets, text)]
                errors[kind, wear.__name__] += [
                    (found[at] - begin, plainly - begin)
                    for at, ((_, begin), plainly) in enumerate(
                        zip(words, even(mono, text), strict=True)
                    )
                    if np.isfinite(begin)
                ]
    print(f"{'voices':15}{'sound':12}{'words':>6}{'near':>7}{'median ms':>11}{'even: near':>12}")
    for (kind, wear), rows in errors.items():
        off = np.abs(np.array(rows))
        near = (off <= NEAR_S).mean(axis=0)
        median_ms = 1000 * np.median(off[:, 0])
        print(f"{kind:15}{wear:12}{len(rows):6}{near[0]:7.2f}{median_ms:11.0f}{near[1]:12.2f}")
    print(f"near: within {1000 * NEAR_S:.0f} ms of where the synthesiser put the word's begin")


def learn() -> None:
    """The tables of letter_sounds."""
    lasts: dict[str, list[float]] = defaultdict(list)
    steps: dict[str, list[np.ndarray]] = defaultdict(list)
    step_hz = FRAMES_HZ / PLACED_FRAMES
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "said.wav"
        for voice in LEARNT_VOICES:
            for text in LEARNT:
                phones, _ = by_flite(text, voice, file)
                for wear in WORN:
                    heard = heard_db(band_powers(wear(studied_mono(file)))[::PLACED_FRAMES])
                    for phone, begin, end in phones:
                        lasts[PHONES.get(phone, VOWEL)].append(np.log((end - begin) * step_hz))
                        some = heard[int(begin * step_hz) + 1 : int(end * step_hz)]
                        steps[PHONES.get(phone, VOWEL)].append(some)
    for sound in (VOWEL, SONORANT, HISS, BREATH, STOP, PAUSE):
        all_steps = np.concatenate(steps[sound])
        mean = ", ".join(f"{value:.1f}" for value in all_steps.mean(axis=0))
        deviation = ", ".join(f"{value:.1f}" for value in np.sqrt(all_steps.var(axis=0) + 2.0))
        print(f"    {sound.upper()}: BandLevels(({mean}), ({deviation})),")
    print("steps by sound, and the spread of their logarithm:")
    for sound in (VOWEL, SONORANT, HISS, BREATH, STOP):
        print(
            f"    {sound.upper()}: {np.exp(np.mean(lasts[sound])):.1f}, {np.std(lasts[sound]):.2f}"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--learn", action="store_true", help="print the table of sounds anew")
    learn() if parser.parse_args().learn else judge()
