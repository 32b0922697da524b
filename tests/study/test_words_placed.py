"""Words of a known text, found by what their letters sound like."""

import itertools

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
from liveaid.study.spectrum import BANDS, band_edges_hz
from liveaid.study.words_placed import Speech, heard_db, placed, placed_if_said, speech_of

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
    assert len(vowel) == 60  # what lasts longer is as likely as that


def test_a_sound_longer_than_is_looked_at_is_followed_to_its_end():
    """A vowel sung for two seconds, 200 steps where 60 are told apart, then another word."""
    spans = placed(speech(SILENT, (STOP, 6), (VOWEL, 200), *SEE, SILENT), ["tea", "see"])
    assert np.array(spans) == pytest.approx(np.array([(0.30, 2.36), (2.36, 2.66)]), abs=0.015)


def test_a_texts_sounds_are_one_row_with_pauses_that_cost_four_nats_where_no_mark_is():
    """ "ah, ah see": going into the pause behind "ah," costs nothing, going past it 4; the second
    "ah" the other way round. None may be missed at either end."""
    row, no = words_placed._row(["ah,", "a", "see"]), -np.inf
    assert row.sounds == [PAUSE, VOWEL, BREATH, PAUSE, VOWEL, PAUSE, HISS, VOWEL, PAUSE]
    assert row.words == [0, 0, 0, 1, 1, 2, 2, 2, 3]
    assert row.entering.tolist() == [0, 0, 0, 0, 0, -4, 0, 0, 0]
    assert row.passing.tolist() == [no, 0, no, no, -4, no, 0, no, no]


def test_three_tenths_of_what_each_step_tells_count():
    """A pause, a vowel and a pause of a step each leave one way through "a"."""
    heard = speech((PAUSE, 1), (VOWEL, 1), (PAUSE, 1))
    row = words_placed._row(["a"])
    path, nats = words_placed._path(heard, row)
    steps = [heard.by_sound[sound][step] for step, sound in enumerate((PAUSE, VOWEL, PAUSE))]
    lasts = words_placed._lasting(row.sounds, heard.sounding)[1, 0]
    assert path == [0, 1, 2]
    assert nats == pytest.approx(0.3 * sum(steps) + lasts)


def paths_of(sounds, steps):
    """Every way through a row of sounds: the next step is in the same, the next or the one after;
    from the first or second sound to the last or last but one."""
    ways = [[0], [1]]
    for _ in range(steps - 1):
        ways = [[*way, way[-1] + on] for way in ways for on in (0, 1, 2) if way[-1] + on < sounds]
    return [way for way in ways if way[-1] >= sounds - 2]


def nats_of(way, row, likelihood, lasting):
    """What one way is worth, added up step by step and sound by sound."""
    nats = sum(likelihood[step, sound] for step, sound in enumerate(way))
    runs = [(sound, len(list(steps))) for sound, steps in itertools.groupby(way)]
    nats += sum(lasting[sound, min(steps, lasting.shape[1]) - 1] for sound, steps in runs)
    for (before, _), (sound, _) in itertools.pairwise(runs):
        nats += (row.entering if sound == before + 1 else row.passing)[sound]
    return nats


@pytest.mark.parametrize("seed", range(6))
def test_the_likeliest_path_is_the_best_of_all_there_are(monkeypatch, seed):
    """Sounds are told apart up to three steps and lie in a row of five, of which some are long:
    seven steps leave some 500 ways."""
    monkeypatch.setattr(words_placed, "MOST_STEPS", 3)
    rng = np.random.default_rng(seed)
    row = words_placed._row(["a", "e"] if seed % 2 else ["a,", "e"])
    likelihood = rng.normal(0.0, 2.0, (7, 5))
    lasting = rng.normal(0.0, 2.0, (5, 3))
    if seed > 3:
        lasting[:, 2] += 5.0
    ways = paths_of(5, 7)
    worth = [nats_of(way, row, likelihood, lasting) for way in ways]
    path, nats = words_placed._likeliest(row, likelihood, lasting)
    assert path == ways[int(np.argmax(worth))]
    assert nats == pytest.approx(max(worth))


def test_what_is_heard_is_above_its_background_and_in_decibels_of_the_loud():
    """Of 21 steps the 5th percentile is the second lowest and the 95th the second highest. Bands
    begin nearest to 500, 1500 and 3500 Hz. In the lowest 2, 4 to 42 lie over the loud 80 = 40 + 20
    + 10 + 10, less the background 4; the others are as loud throughout, and so nothing: -50 dB."""
    edges = band_edges_hz()[:-1]
    first = [0, *(int(np.abs(edges - hz).argmin()) for hz in (500, 1500, 3500))]
    bands = np.zeros((21, BANDS), np.float32)
    bands[:, 0] = np.arange(2, 44, 2)
    for band, power in zip(first[1:], (20, 10, 10), strict=True):
        bands[:, band] = power
    wanted = 10 * np.log10(np.maximum(np.arange(-2, 40, 2) / 80, 1e-5))
    heard = heard_db(bands)
    assert heard[:, 0] == pytest.approx(wanted, abs=1e-4)
    assert heard[:, 1:] == pytest.approx(-50.0)
    # Each of the four bands reaches to just below where the next begins.
    for band, (begin, end) in enumerate(itertools.pairwise([*first, BANDS])):
        alone = np.zeros((21, BANDS), np.float32)
        alone[10:, begin] = alone[10:, end - 1] = 1.0
        told = heard_db(alone)[20]
        assert np.flatnonzero(told > -40.0).tolist() == [band]
    assert heard_db(np.zeros((21, BANDS), np.float32)) == pytest.approx(-50.0)


LEVELS_TOLD = (
    (-7.48, -9.0, -24.03, -20.42, -18.95, -39.33),
    (-9.33, -8.48, -20.73, -15.99, -14.75, -26.7),
    (-13.96, -14.35, -9.97, -11.77, -12.2, -15.3),
    (-13.27, -11.33, -11.51, -9.12, -9.15, -10.95),
    (-12.73, -11.37, -11.64, -9.79, -9.76, -11.01),
    (-22.83, -17.08, -16.36, -10.79, -10.79, -8.66),
)
"""By vowel, sonorant, hiss, breath, stop and pause."""


def test_each_sounds_levels_stand_apart_from_the_others():
    """Log likelihood of each sound's own levels heard as each of them, kept as read: the levels and
    their deviations are learnt. By hand, a vowel as itself: -ln(5.1 x 9 x 6.9 x 5.6) = -7.48."""
    sounds = list(SOUND_LEVELS)
    heard = np.array([SOUND_LEVELS[sound].mean_db for sound in sounds])
    told = [words_placed._log_likelihood(heard, sound) for sound in sounds]
    assert np.array(told) == pytest.approx(np.array(LEVELS_TOLD), abs=0.01)


def test_a_longer_text_than_can_be_looked_at_is_not_placed():
    """Four sounds, pauses too, times 12,500,000 steps are 50,000,000."""
    heard = speech(SILENT, *TEA, SILENT)
    for steps, placed_at_all in ((12_500_000, True), (12_500_001, False)):
        long = Speech(heard.by_sound, steps, heard.sounding)
        assert (placed(long, ["tea"]) is not None) == placed_at_all


def test_every_sound_has_its_usual_length():
    """Said in as many steps as usual each is likeliest at its own, and of 10 steps against those
    the logarithm in deviations of a half squared, half of it."""
    usual = {VOWEL: 9.0, SONORANT: 8.6, HISS: 10.4, BREATH: 7.1, STOP: 6.7}
    ten = words_placed._lasting(list(usual), sounding=42)[:, 9]  # 41.8 in all
    wanted = [-0.5 * (np.log(10 / (42 / 41.8 * steps)) / 0.5) ** 2 for steps in usual.values()]
    assert ten == pytest.approx(wanted, abs=1e-6)
