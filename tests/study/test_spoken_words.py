"""Speech cut into words: which way they are found, and where one that is placed begins with force.

How a dip parts two words is held by `test_worked.py`.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import spoken_words
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, GROUPS, RATE_HZ
from liveaid.study.spoken_words import SpokenWord, find_words


def heard(*pieces):
    """A spectrum of so many decibels for so many seconds each, and as much sound."""
    level = np.concatenate([np.full(round(s * FRAMES_HZ), db, np.float32) for db, s in pieces])
    return np.zeros(round(len(level) / FRAMES_HZ * RATE_HZ), np.float32), level


def onsets(times_s, strength):
    strengths = np.float32(strength)
    return Onsets(np.array(times_s), strengths, np.tile(strengths[:, None], GROUPS))


WORDS_AT = ((0.5, 0.9), (0.95, 1.4))


@pytest.fixture
def placing(monkeypatch):
    """placing(named_fits): words are placed at WORDS_AT; a name's only where it fits. Back comes
    what was asked for."""
    asked = []

    def of(named_fits=True):
        monkeypatch.setattr(spoken_words, "band_powers", lambda mono: mono)
        monkeypatch.setattr(spoken_words, "speech_of", lambda bands: len(bands))
        monkeypatch.setattr(
            spoken_words, "placed", lambda speech, said: asked.append(("said", said)) or WORDS_AT
        )
        monkeypatch.setattr(
            spoken_words,
            "placed_if_said",
            lambda speech, said: (
                asked.append(("named", said)) or (WORDS_AT if named_fits else None)
            ),
        )
        return asked

    return of


SPEECH = ((-100, 0.5), (0, 0.9), (-100, 0.5))


@pytest.mark.parametrize(
    ("text", "named", "fits", "asked", "texts"),
    [
        ("Hot - nuts!", "ya oh", True, [("said", ["Hot", "nuts!"])], ["Hot", "nuts!"]),
        ("", "ya oh", True, [("named", ["ya", "oh"])], ["ya", "oh"]),
        ("", "ya oh", False, [("named", ["ya", "oh"])], [""]),
        ("?!", "-", True, [], [""]),
        ("", "", True, [], [""]),
    ],
)
def test_words_are_placed_where_a_text_tells_them_and_cut_where_none_does(
    placing, text, named, fits, asked, texts
):
    told = placing(fits)
    mono, level = heard(*SPEECH)
    none = onsets([], [])
    found = find_words(mono, SimpleNamespace(level_db=level), none, text, named=named)
    assert told == asked
    assert [word.text for word in found] == texts
    if len(found) == 2:
        assert [(word.begin_s, word.end_s) for word in found] == list(WORDS_AT)


def test_silence_has_no_words_whatever_is_said_of_it(placing):
    told = placing()
    mono, level = heard((-100, 1.0))
    none = onsets([], [])
    assert find_words(mono, SimpleNamespace(level_db=level), none, "hey", named="ya") == ()
    assert told == []


def test_a_word_that_goes_on_ends_with_the_sound():
    """102 frames are 11,220 samples: .50885 s."""
    mono, level = heard((-100, 0.2), (0, 0.3))
    (word,) = find_words(mono, SimpleNamespace(level_db=level), onsets([], []))
    assert word.end_s == pytest.approx(len(level) / FRAMES_HZ, abs=1e-4)
    assert word.end_s <= len(mono) / RATE_HZ


@pytest.mark.parametrize(
    ("times_s", "strength", "attack_s"),
    [
        # From 20 ms before its begin to 60 ms after, the strongest.
        ([0.479, 0.561], [1.0, 1.0], 0.5),
        ([0.481, 0.561], [1.0, 9.0], 0.481),
        ([0.479, 0.559], [9.0, 1.0], 0.559),
        ([0.49, 0.52, 0.55], [1.0, 3.0, 2.0], 0.52),
    ],
)
def test_a_words_attack_is_the_strongest_onset_about_its_begin(times_s, strength, attack_s):
    heard_at = onsets(times_s, strength)
    assert spoken_words._attack(heard_at, 0.5, 0.9) == attack_s
    # Of a word of 100 ms none counts that lies 45 ms before its end or later.
    short = onsets([0.554, 0.556], [1.0, 9.0])
    assert spoken_words._attack(short, 0.5, 0.6) == 0.554


def dips_written_out(phrase):
    """Frames as soft as any within 18 (90 ms) on either side, no nearer to the ends and to the one
    before; of those that lie 9 dB below the lower of the loudest on either side."""
    softest = [
        at for at in range(18, len(phrase) - 18) if phrase[at] == min(phrase[at - 18 : at + 19])
    ]
    apart = [at for at, before in zip(softest, [-18, *softest], strict=False) if at - before >= 18]
    edges = [0, *apart, len(phrase)]
    found = []
    for before, at, after in zip(edges, apart, edges[2:], strict=False):
        if min(max(phrase[before:at]), max(phrase[at:after])) - phrase[at] >= 9:
            found.append(at)
    return found


def test_dips_are_the_softest_frames_of_ninety_milliseconds_either_way():
    """Whole decibels, drawn, so that many are alike; phrases of all lengths and ten frames more
    before them; some dips lie as near as they may to either end and to one another."""
    rng = np.random.default_rng(8)
    count = 0
    for length in (5, 35, 36, 37, 38, 60, *[400] * 10):
        level = np.repeat(rng.integers(-16, 1, 210), rng.integers(1, 9, 210)).astype(float)[:420]
        level[10 + np.array([18, 36, 54]).clip(max=length - 1)] -= 9.0
        level[max(10 + length - 19, 0)] -= 20.0
        told = spoken_words._dips(level, 10 / FRAMES_HZ, (10 + length) / FRAMES_HZ)
        wanted = dips_written_out(level[10 : 10 + length].tolist())
        assert [round(at * FRAMES_HZ) - 10 for at in told] == wanted
        count += len(wanted)
    assert count > 20


def test_a_pause_between_two_words_is_as_long_as_it_is_silent():
    """200 frames at 0 dB, forty about the middle at -31: each word ends and begins there, where
    it is less than 30 dB below the loudest; a dip of -29 is no silence, one at the edge ends."""
    level = np.zeros(200)
    level[80:120] = -31.0
    span = (0.0, 200 / FRAMES_HZ)
    cut = spoken_words._cut(span, [100 / FRAMES_HZ], level)
    frames = np.array(cut) * FRAMES_HZ
    assert frames == pytest.approx(np.array([(0, 79), (120, 200)]))
    level[80:120] = -29.0
    frames = np.array(spoken_words._cut(span, [100 / FRAMES_HZ], level)) * FRAMES_HZ
    assert frames == pytest.approx(np.array([(0, 100), (100, 200)]))
    level[:] = -31.0
    level[100] = 0.0
    inner = (50 / FRAMES_HZ, 150 / FRAMES_HZ)
    assert np.array(spoken_words._silence(level, 60 / FRAMES_HZ, inner)) * FRAMES_HZ == (
        pytest.approx([50, 100])
    )
    assert np.array(spoken_words._silence(level, 140 / FRAMES_HZ, inner)) * FRAMES_HZ == (
        pytest.approx([100, 149])
    )


def test_a_spoken_word_may_have_no_text():
    assert SpokenWord(0.1, 0.2, 0.3).text == ""
