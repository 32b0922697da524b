"""What the letters of a word sound like, roughly enough to find the word in speech.

Six sounds are told apart: a vowel, a sonorant (m, l, r, w), a hiss (s, sh), a breath (f, th, h), a
stop (p, t, k) and the pause between words. Spelling is read as most languages in Latin letters do;
what is not a Latin letter counts as a vowel.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

VOWEL, SONORANT, HISS, BREATH, STOP, PAUSE = "vowel", "sonorant", "hiss", "breath", "stop", "pause"

SOUND_EDGES_HZ = (500.0, 1500.0, 3500.0)
"""Between the four bands that tell the sounds apart: voicing, two formants, hiss."""
SOUND_FLOOR_DB = -50.0
"""Nothing in a band is softer, against the loud passages of the sound."""


@dataclass(frozen=True, slots=True)
class BandLevels:
    """How a sound lies in the four bands, in dB against the loud passages."""

    mean_db: tuple[float, float, float, float]
    deviation_db: tuple[float, float, float, float]


SOUND_LEVELS = {
    VOWEL: BandLevels((-5.1, -15.8, -27.5, -31.4), (5.1, 9.0, 6.9, 5.6)),
    SONORANT: BandLevels((-5.5, -22.3, -35.8, -37.2), (5.9, 11.8, 9.5, 7.3)),
    HISS: BandLevels((-28.4, -38.0, -29.4, -17.6), (17.3, 11.5, 12.1, 8.9)),
    BREATH: BandLevels((-26.9, -37.3, -36.6, -33.6), (15.2, 10.0, 7.3, 8.2)),
    STOP: BandLevels((-25.1, -36.5, -36.6, -35.5), (15.0, 11.7, 9.8, 10.1)),
    PAUSE: BandLevels((-38.6, -44.0, -44.5, -43.5), (12.7, 7.7, 7.0, 8.4)),
}
SOUND_LASTS = {VOWEL: 9.0, SONORANT: 8.6, HISS: 10.4, BREATH: 7.1, STOP: 6.7}
"""How long each lasts against the others."""
SOUND_LASTS_STRAY = 0.5
"""Standard deviation of a duration's logarithm. All three were learnt and are judged by
`tests/bench/words.py`, from phones with known times."""

_TWO = {"sh": HISS, "ch": HISS, "th": BREATH, "ph": BREATH, "ng": SONORANT, "ck": STOP}
_ONE = {
    **dict.fromkeys("aeiouy", VOWEL),
    **dict.fromkeys("mnlrw", SONORANT),
    **dict.fromkeys("szjxc", HISS),
    **dict.fromkeys("fvh", BREATH),
    **dict.fromkeys("ptkbdgq", STOP),
}
_SILENT_E = re.compile(r"(?<=[aeiouy][^aeiouy])e$|(?<=[aeiouy][^aeiouy]{2})e$")
_READ = re.compile(r"sh|ch|th|ph|ng|ck|[aeiouy]+|([^aeiouy])\1*")


def sounds_of(word: str) -> tuple[str, ...]:
    """The sounds of a word in order; a word without letters is one vowel.

    Vowels side by side are one, as are doubled consonants; a last e after a vowel and one or two
    consonants is silent.
    """
    letters = "".join(letter for letter in word.lower() if letter.isalnum())
    plain = unicodedata.normalize("NFKD", _SILENT_E.sub("", letters))
    letters = re.sub(r"^y(?=[aeiou])", "w", "".join(some for some in plain if some.isalnum()))
    read = (match.group() for match in _READ.finditer(letters))
    return tuple(_TWO.get(some) or _ONE.get(some[0], VOWEL) for some in read) or (VOWEL,)
