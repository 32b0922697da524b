"""Words of a known text, found by what their letters sound like."""

import numpy as np
import pytest

from liveaid.study import words_placed
from liveaid.study.letter_sounds import (
    BREATH,
    HISS,
    PAUSE,
    SONORANT,
    SOUND_LEVELS,
    STOP,
    VOWEL,
    sounds_of,
)
from liveaid.study.spectrum import BANDS
from liveaid.study.words_placed import placed, placed_if_said, speech_of

BAND_OF = (0, 14, 20, 25)
"""A band of the spectrum in each of the four: 100, 760, 2000 and 4600 Hz or so."""


@pytest.mark.parametrize(
    ("word", "sounds"),
    [
        ("fish", (BREATH, VOWEL, HISS)),
        ("Ferry!", (BREATH, VOWEL, SONORANT, VOWEL)),  # two r are one
        ("rope", (SONORANT, VOWEL, STOP)),  # the last e is silent
        ("the", (BREATH, VOWEL)),  # and here it is all there is
        ("you", (SONORANT, VOWEL)),
        ("chestnuts", (HISS, VOWEL, HISS, STOP, SONORANT, VOWEL, STOP, HISS)),
        ("café", (HISS, VOWEL, BREATH, VOWEL)),  # an accent changes no sound
        ("42", (VOWEL, VOWEL)),
        ("...", (VOWEL,)),
    ],
)
def test_letters_tell_their_sounds(word, sounds):
    """Spelling of English, from memory."""
    assert sounds_of(word) == sounds


def speech(*sounds):
    """What is heard of sounds that each last so many steps of 10 ms, two frames a step."""
    frames = np.zeros((2 * sum(steps for _, steps in sounds), BANDS), dtype=np.float32)
    at = 0
    for sound, steps in sounds:
        for band, level_db in zip(BAND_OF, SOUND_LEVELS[sound].mean_db, strict=True):
            frames[at : at + 2 * steps, band] = 10 ** (level_db / 10)
        at += 2 * steps
    return speech_of(frames)


SILENT = (PAUSE, 30)
TEA = ((STOP, 6), (VOWEL, 20))
SEE = ((HISS, 12), (VOWEL, 18))


def test_words_lie_where_their_sounds_are():
    """Steps of 10 ms counted by hand: 30 of pause, 26 of tea, 30 of see, 30 of pause."""
    spans = placed(speech(SILENT, *TEA, *SEE, SILENT), ["tea", "see"])
    assert np.array(spans) == pytest.approx(np.array([(0.30, 0.56), (0.56, 0.86)]), abs=0.015)


def test_a_name_is_taken_unless_its_letters_backwards_are_heard_sooner():
    """ "wow" reads alike both ways, "see" does not."""
    wow = speech(SILENT, (SONORANT, 9), (VOWEL, 9), (SONORANT, 9), SILENT)
    assert np.array(placed_if_said(wow, ["wow"])) == pytest.approx(
        np.array([(0.3, 0.57)]), abs=0.015
    )
    assert placed_if_said(speech(SILENT, *SEE, SILENT), ["see"]) is not None
    assert placed_if_said(speech(SILENT, *reversed(SEE), SILENT), ["see"]) is None


@pytest.mark.parametrize(
    ("named", "steps", "taken"),
    [
        # A sonorant's 8.6 steps twice and a vowel's 9 are 26.2: .55 to 2.4 times so many.
        (["wow"], 14, False),
        (["wow"], 15, True),
        (["wow"], 62, True),
        (["wow"], 63, False),
        # With a stop's 6.7 and a vowel's 9 before it 41.9: .55 to 1.6 times.
        (["tea", "low"], 23, False),
        (["tea", "low"], 24, True),
        (["tea", "low"], 67, True),
        (["tea", "low"], 68, False),
    ],
)
def test_a_name_is_taken_where_it_lasts_as_long_as_it_would(named, steps, taken):
    """The steps that are no pause, the last vowel as long as is left."""
    tea = ((STOP, 5), (VOWEL, 5)) * (len(named) - 1)
    heard = (*tea, (SONORANT, 4), (VOWEL, steps - 8 - 5 * len(tea)), (SONORANT, 4))
    assert (placed_if_said(speech(SILENT, *heard, SILENT), named) is not None) == taken


def test_a_pause_parts_where_the_text_has_a_mark():
    """The same with 40 steps of pause between; it belongs to neither word."""
    heard = speech(SILENT, *TEA, (PAUSE, 40), *SEE, SILENT)
    for text in (["tea.", "see"], ["tea", "see"]):
        spans = placed(heard, text)
        assert np.array(spans) == pytest.approx(np.array([(0.30, 0.56), (0.96, 1.26)]), abs=0.015)


def test_what_cannot_be_said_in_the_time_is_not_placed(monkeypatch):
    """A pause, a stop, a vowel and a pause want a step each."""
    assert placed(speech((STOP, 2), (VOWEL, 2)), ["tea"]) is not None
    assert placed(speech((STOP, 1), (VOWEL, 2)), ["tea"]) is None
    monkeypatch.setattr(words_placed, "MOST_CELLS", 10)
    assert placed(speech(SILENT, *TEA, SILENT), ["tea"]) is None


@pytest.mark.parametrize(
    ("text", "nats_of_pause", "rests"),
    [
        (["ah,", "ah"], -3.0, True),  # a pause too few would cost 4
        (["ah,", "ah"], -5.0, False),
        (["ah", "ah"], 3.0, False),  # a pause too many costs 4
        (["ah", "ah"], 5.0, True),
    ],
)
def test_a_pause_too_many_or_too_few_costs_four_nats(text, nats_of_pause, rests):
    """All steps fit all sounds alike but one, the only one at which a pause could be."""
    row = words_placed._row(text)
    between = [at for at, sound in enumerate(row.sounds) if sound == PAUSE][1]
    likelihood = np.zeros((30, len(row.sounds)))
    likelihood[:, between] = -100.0
    likelihood[15, between] = nats_of_pause
    lasting = np.zeros((len(row.sounds), words_placed.MOST_STEPS))
    assert (between in words_placed._likeliest(row, likelihood, lasting)[0]) == rests


def test_a_sound_is_as_likely_as_it_lasts_near_its_usual_time():
    """A vowel's 9 and a stop's 6.7 steps said in 31: both 1.975 times as long, 17.8 and 13.2. Of
    49 steps for 17.8 the logarithm is 1.014, 2.03 deviations of a half: 2.06 nats. A pause lasts
    as it likes."""
    vowel, stop, pause = words_placed._lasting([VOWEL, STOP, PAUSE], sounding=31)
    assert 1 + int(np.argmax(vowel)) == 18
    assert 1 + int(np.argmax(stop)) == 13
    assert vowel[48] == pytest.approx(-2.06, abs=0.005)
    assert not pause.any()


def test_a_sound_longer_than_is_looked_at_is_followed_to_its_end():
    """A vowel sung for two seconds, 200 steps where 60 are told apart, then another word."""
    spans = placed(speech(SILENT, (STOP, 6), (VOWEL, 200), *SEE, SILENT), ["tea", "see"])
    assert np.array(spans) == pytest.approx(np.array([(0.30, 2.36), (2.36, 2.66)]), abs=0.015)
