"""What a sound is most likely for, where it sounds, and what its length tells: by hand.

The rules and their bounds are our own (`study/character.py`, `loop.py`, `phrases.py`).
"""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import character
from liveaid.study.character import KindGuess, find_energy, guess_kind
from liveaid.study.loop import told_by_length
from liveaid.study.onsets import Onsets
from liveaid.study.phrases import silence_s
from liveaid.study.spectrum import BANDS, COARSE, FRAMES_HZ, GROUPS

NO_TEMPO = SimpleNamespace(tempo_bpm=None, steady=False, confidence=0.0)


def struck(times_s, strength=0.4) -> Onsets:
    times_s = np.asarray(times_s, dtype=np.float64)
    return Onsets(
        times_s,
        np.full(len(times_s), strength, np.float32),
        np.full((len(times_s), GROUPS), strength / GROUPS, np.float32),
    )


def levels(db) -> SimpleNamespace:
    """A spectrum whose frames have these levels, evenly over the bands."""
    power = 10.0 ** (np.asarray(db, dtype=np.float64) / 10.0)
    return SimpleNamespace(bands=np.tile(power[:, None] / BANDS, BANDS))


def guessed(*, tempo=NO_TEMPO, onsets=(), keyed=False, duration_s=10.0, voice=(0.0, 1.0), **heard):
    spectrum = heard.get("spectrum", levels(np.zeros(400)))
    onsets = struck(onsets, heard.get("strength", 0.4))
    return guess_kind(spectrum, onsets, tempo, keyed=keyed, duration_s=duration_s, voice=voice)


@pytest.mark.parametrize(
    ("voice", "duration_s", "kind", "confidence"),
    [
        ((0.6, 0.3), 1.5, "a cappella", 0.71),  # .6 x .7 = .42; half and half of that
        ((0.6, 0.3), 1.49, "sample", 0.71),
        ((0.6, 0.31), 10.0, "effect", 0.5),  # .6 x .69 = .414
        ((1.0, 0.0), 10.0, "a cappella", 1.0),
    ],
)
def test_a_bare_voice_is_a_cappella_and_a_short_one_a_sample(voice, duration_s, kind, confidence):
    guess = guessed(voice=voice, duration_s=duration_s)
    assert (guess.kind, guess.confidence) == (kind, pytest.approx(confidence))


@pytest.mark.parametrize(
    ("steady", "confidence", "sure"),
    [(True, 0.2, 0.6), (False, 0.4, 0.7), (False, 0.39, 0.6), (True, 0.9, 0.95)],
)
def test_what_has_a_tempo_is_instrumental_surer_the_surer_its_tempo(steady, confidence, sure):
    tempo = SimpleNamespace(tempo_bpm=90.0, steady=steady, confidence=confidence)
    guess = guessed(tempo=tempo, duration_s=2.0)
    assert (guess.kind, guess.confidence) == ("instrumental", pytest.approx(sure))


def test_what_is_short_and_without_a_tempo_is_a_sample():
    assert guessed(duration_s=3.9) == KindGuess("sample", 0.6)
    assert guessed(duration_s=4.0) == KindGuess("effect", 0.5)


def test_four_notes_in_a_key_are_a_tune_three_are_not():
    assert guessed(onsets=(0, 1, 2, 3), keyed=True).kind == "instrumental"
    assert guessed(onsets=(0, 1, 2), keyed=True).kind == "effect"
    assert guessed(onsets=(0, 1, 2, 3), keyed=False).kind == "effect"


def coarse_after(times_s, rise_db):
    """-20 dB, and one and two frames behind each of these times so much more."""
    db = np.full(400, -20.0)
    for time_s in times_s:
        at = round(time_s * FRAMES_HZ / COARSE)
        db[at + 1 : at + 3] += rise_db
    return levels(db)


# 25.06 frames a second, eight of the finer 200.45. A quarter of the strokes has to ring: of five
# the 75th percentile is the second highest.
@pytest.mark.parametrize(
    ("ring", "rise_db", "duration_s", "strength", "kind"),
    [
        (2, 1.6, 20.0, 0.36, "instrumental"),
        (1, 1.6, 20.0, 0.36, "effect"),
        (2, 1.4, 20.0, 0.36, "effect"),
        (2, 1.6, 19.9, 0.36, "effect"),
        (2, 1.6, 20.0, 0.34, "effect"),
    ],
)
def test_strokes_that_ring_for_twenty_seconds_are_a_piece(
    ring, rise_db, duration_s, strength, kind
):
    times = (1.0, 3.0, 5.0, 7.0, 15.92)  # the last in the last of 400 frames
    guess = guessed(
        onsets=times, duration_s=duration_s, strength=strength,
        spectrum=coarse_after(times[:ring], rise_db),
    )  # fmt: skip
    assert guess.kind == kind


@pytest.mark.parametrize(
    ("frames", "told"),
    [
        # 8 x 60 x 44100 / 93 = 227,612.9 frames.
        (227_613, (8, 93.0)),
        (227_612, (8, 93.0)),
        (227_614, None),  # 1.1 off
        (88_200, None),  # four beats at 120, but two seconds too
        (88_201, None),
        # 4 x 60 x 44100 / 180 = 58,800: 5.33 quarter seconds; at 181 no whole number may be faster.
        (58_800, (4, 180.0)),
        (58_475, None),
        # 32 x 60 x 44100 / 70 = 1,209,600; 69 are too slow.
        (1_209_600, (32, 70.0)),
        (1_227_130, None),
        # 8 beats at 81 are 261,333.3 frames, 16 at 162 as well: 162 is nearer to 124, 81 is 1.53
        # times away. 88 and 176, 240,545.5 frames: 1.409 and 1.419 times.
        (261_333, (16, 162.0)),
        (240_545, (8, 88.0)),
    ],
)
def test_a_length_tells_a_whole_tempo_to_the_frame(frames, told):
    assert told_by_length(frames, 44100) == told


def test_silence_is_sixty_decibels_below_what_is_loud_at_either_end():
    level = np.concatenate(
        [np.full(100, -75.0), np.full(800, -10.0), np.full(20, -69.0), np.full(60, -71.0)]
    )
    # 100 frames before; 60 of 980 behind what is 59 dB below.
    start_s, end_s = silence_s(level, 980 / FRAMES_HZ)
    assert start_s == pytest.approx(100 / FRAMES_HZ)
    assert end_s == pytest.approx(60 / FRAMES_HZ)
    # 50 dB below both ends are silent.
    ends_s = silence_s(level, 980 / FRAMES_HZ, below_db=50.0)
    assert ends_s == pytest.approx((100 / FRAMES_HZ, 80 / FRAMES_HZ))


def test_what_is_below_80_db_is_silence_whatever_is_loud():
    assert silence_s(np.full(50, -81.0), 2.0) == (2.0, 0.0)
    assert silence_s(np.zeros(0), 2.0) == (2.0, 0.0)
    assert silence_s(np.full(50, -79.0), 50 / FRAMES_HZ) == pytest.approx((0.0, 0.0))


@pytest.fixture
def fact(monkeypatch):
    """fact(name, bands, ...): one fact that the energy is told by, to a hundredth."""

    def of(name, bands, *, strength=(), sounding_s=5.0, centroid_hz=1000.0, crest_db=0.0):
        rows = [(row[0], 0.0, 1.0, float(row[0].startswith(name))) for row in character.ENERGY]
        monkeypatch.setattr(character, "ENERGY", tuple(rows))
        monkeypatch.setattr(character, "MOST_SPREADS", 1000.0)
        monkeypatch.setattr(character, "LIMITS", np.arange(-10000, 10000) / 100)
        heard = SimpleNamespace(bands=np.asarray(bands), centroid_hz=centroid_hz)
        onsets = SimpleNamespace(strength=np.asarray(strength, np.float32))
        told = find_energy(heard, onsets, sounding_s=sounding_s, crest_db=crest_db)
        return (told - 1) / 100 - 100.0

    return of


EVEN = np.full((10, BANDS), 1.0 / BANDS)


def in_band(band: int, frames: int = 10) -> np.ndarray:
    bands = np.zeros((frames, BANDS))
    bands[:, band] = 1.0
    return bands


def test_the_attack_is_the_strength_of_all_onsets_a_second(fact):
    # ln(10 / 5), ln(10 / 1) of a sound of half a second, ln(.001) where nothing strikes.
    assert fact("attack", EVEN, strength=[4.0, 6.0]) == pytest.approx(0.693, abs=0.011)
    short = fact("attack", EVEN, strength=[4.0, 6.0], sounding_s=0.5)
    assert short == pytest.approx(2.303, abs=0.011)
    assert fact("attack", EVEN) == pytest.approx(-6.908, abs=0.011)


def test_brightness_is_told_from_50_hertz_on_and_the_crest_as_it_is(fact):
    assert fact("brightness", EVEN) == pytest.approx(6.908, abs=0.011)  # ln 1000
    assert fact("brightness", EVEN, centroid_hz=20.0) == pytest.approx(3.912, abs=0.011)  # ln 50
    assert fact("crest", EVEN, crest_db=14.1) == pytest.approx(14.1, abs=0.011)


def test_a_spectrum_is_full_by_how_flat_it_is(fact):
    """All in one band of B, the others counted 50 dB below an even share e = -10 log10 B: the mean
    of the decibels is (B - 1) / B x (e - 50), and e is the decibels of the mean."""
    e = -10.0 * np.log10(BANDS)
    alone = (BANDS - 1) / BANDS * (e - 50.0) - e
    assert fact("fullness", in_band(3)) == pytest.approx(alone, abs=0.011)
    assert fact("fullness", EVEN) == pytest.approx(0.0, abs=0.011)


def test_what_is_within_ten_decibels_of_the_loud_is_unbroken(fact):
    # Two frames of ten at 10 set what is loud; three at 1.1 are within 10 dB, five at .9 are not.
    power = np.array([10.0, 10.0, 1.1, 1.1, 1.1, 0.9, 0.9, 0.9, 0.9, 0.9])
    assert fact("unbroken", EVEN * power[:, None]) == pytest.approx(0.5, abs=0.011)


def test_weight_is_the_share_of_the_six_lowest_bands_of_what_is_heard(fact):
    half = (in_band(5) + in_band(6)) / 2
    assert fact("weight", half) == pytest.approx(-3.01, abs=0.011)  # 10 log10 .5
    assert fact("weight", in_band(6)) == pytest.approx(-60.0, abs=0.011)  # 10 log10 .000001
    # 31 dB below the loud is not heard, 29 dB is: 10 log10 (.00126 / 1.00126).
    for below_db, weight in ((31.0, -60.0), (29.0, -29.0)):
        low = in_band(0) * 10 ** (-below_db / 10)
        told = fact("weight", 50.0 * np.vstack([in_band(6), low]))
        assert told == pytest.approx(weight, abs=0.02)


@pytest.mark.parametrize(
    ("crest_db", "energy"),
    # (crest - 1) / 2, two at most either way, x 3: 1.5, 6 and -6, between limits just beside.
    [(2.0, 3), (100.0, 4), (-100.0, 2)],
)
def test_no_fact_counts_more_than_two_of_its_spreads(monkeypatch, crest_db, energy):
    rows = [(row[0], 1.0, 2.0, 3.0 * row[0].startswith("crest")) for row in character.ENERGY]
    monkeypatch.setattr(character, "ENERGY", tuple(rows))
    monkeypatch.setattr(character, "LIMITS", (-6.1, -5.9, 5.9, 6.1))
    heard = SimpleNamespace(bands=EVEN, centroid_hz=1000.0)
    onsets = SimpleNamespace(strength=np.ones(1, np.float32))
    told = find_energy(heard, onsets, sounding_s=5.0, crest_db=crest_db)
    assert told == energy


def test_silence_is_calm():
    heard = SimpleNamespace(bands=EVEN, centroid_hz=9000.0)
    onsets = SimpleNamespace(strength=np.full(99, 9.0, np.float32))
    assert find_energy(heard, onsets, sounding_s=0.0, crest_db=0.0) == 1
    for bands in (EVEN * 0.0, np.zeros((0, BANDS))):
        none = SimpleNamespace(bands=bands, centroid_hz=9000.0)
        assert find_energy(none, onsets, sounding_s=5.0, crest_db=0.0) == 1
    assert find_energy(heard, onsets, sounding_s=5.0, crest_db=0.0) == 5


def test_the_score_of_energy_is_the_weighted_sum_of_all_its_facts(monkeypatch):
    """By hand, in spreads times weights. Ten of strength in 5 s, 1 kHz, 16 dB of crest, as loud in
    all 30 bands, half the frames 20 dB softer:

    attack       (ln 2 - .485) / 1.341 x 1.32        =  .2049
    brightness   (ln 1000 - 7.376) / .583 x .86      = -.6909
    crest        (16 - 14.171) / 4.485 x -.68        = -.2773
    fullness     (0 + 10.584) / 6.057 x 1.58         = 2.7609
    unbroken     (.5 - .768) / .202 x .62            = -.8226
    weight       (10 lg .2 + 5.607) / 8.485 x 1.91   = -.3112
    """
    monkeypatch.setattr(character, "LIMITS", np.arange(-1000, 1000) / 100)
    heard = SimpleNamespace(bands=EVEN * np.tile([1.0, 0.01], 5)[:, None], centroid_hz=1000.0)
    onsets = SimpleNamespace(strength=np.array([4.0, 6.0], np.float32))
    told = (find_energy(heard, onsets, sounding_s=5.0, crest_db=16.0) - 1) / 100 - 10.0
    assert told == pytest.approx(0.8638, abs=0.011)


@pytest.mark.parametrize(
    ("score", "energy"),
    [(-2.12, 1), (-2.10, 2), (0.09, 2), (0.11, 3), (1.76, 3), (1.78, 4), (3.46, 4), (3.48, 5)],
)
def test_energy_is_told_between_four_limits(monkeypatch, score, energy):
    rows = [(row[0], 0.0, 1.0, float(row[0].startswith("crest"))) for row in character.ENERGY]
    monkeypatch.setattr(character, "ENERGY", tuple(rows))
    monkeypatch.setattr(character, "MOST_SPREADS", 10.0)
    heard = SimpleNamespace(bands=EVEN, centroid_hz=1000.0)
    onsets = SimpleNamespace(strength=np.ones(1, np.float32))
    assert find_energy(heard, onsets, sounding_s=5.0, crest_db=score) == energy
