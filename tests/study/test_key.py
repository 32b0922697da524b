"""Key: the published profiles, known progressions, tuning, and what has none.

Measure: mir_eval's weighted key score, the MIREX audio key task's.
"""

import numpy as np
import pytest
import scipy.stats
import soxr

from liveaid.study import key
from liveaid.study.key import (
    MAJOR_PROFILE,
    MINOR_PROFILE,
    TONE_PROFILES,
    Partials,
    Tonality,
    bass,
    best_key,
    chroma,
    find_key,
    find_partials,
    key_fits,
    tuning_cents,
)
from liveaid.study.spectrum import RATE_HZ

# The usual cadences of a harmony handbook, as semitones above the tonic.
MAJOR = ([0, 4, 7], [5, 9, 12], [7, 11, 14], [0, 4, 7])  # I IV V I
MINOR = ([0, 3, 7], [5, 8, 12], [7, 11, 14], [0, 3, 7])  # i iv V i
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def cadence(chords, tonic: int, mode: str, cents: float = 0.0) -> np.ndarray:
    steps = MAJOR if mode == "major" else MINOR
    notes = [
        [36 + tonic + chord[0] + cents / 100, *(60 + tonic + step + cents / 100 for step in chord)]
        for chord in steps
    ]
    return chords(notes, 1.0, RATE_HZ).astype(np.float32)


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_cadences_in_all_keys_score_near_full_marks(chords, mode):
    import mir_eval  # three quarters of a second to load

    scores = []
    for tonic in range(12):
        found = find_key(cadence(chords, tonic, mode))
        assert found.key is not None
        scores.append(mir_eval.key.weighted_score(f"{NAMES[tonic]} {mode}", str(found.key)))
    assert np.mean(scores) >= 0.95


def test_profiles_are_those_counted_in_the_kostka_payne_corpus():
    # Temperley 2007, "Music and Probability", ch. 6 (the table also stands in music21's discrete
    # analysis): tonic, fifth and third lead in major, fifth, tonic and minor third in minor, where
    # the raised seventh (.330) is heard far oftener than the lowered one (.133).
    assert np.argsort(MAJOR_PROFILE)[::-1][:3].tolist() == [0, 7, 4]
    assert np.argsort(MINOR_PROFILE)[::-1][:3].tolist() == [7, 0, 3]
    assert MINOR_PROFILE[11] - MINOR_PROFILE[10] == pytest.approx(0.197)
    assert sum(MAJOR_PROFILE) == pytest.approx(4.246)
    assert sum(MINOR_PROFILE) == pytest.approx(4.183)


@pytest.mark.parametrize("cents", [-38.0, -15.0, 0.0, 22.0, 41.0])
def test_tuning_is_measured_and_does_not_move_the_key(chords, cents):
    # Cents are hundredths of an equal-tempered semitone, 12 to the octave, A = 440 Hz (ISO 16).
    found = find_key(cadence(chords, 2, "major", cents))
    assert found.tuning_cents == pytest.approx(cents, abs=4.0)
    assert str(found.key) == "D major"


@pytest.mark.parametrize("semitones", [-2, 1, 3])
def test_pitch_of_the_platter_shifts_the_key(chords, semitones):
    # Equal temperament: n semitones are a speed of 2 ** (n / 12).
    samples = cadence(chords, 0, "minor")
    played = soxr.resample(samples, RATE_HZ * 2 ** (semitones / 12), RATE_HZ)
    assert str(find_key(played.astype(np.float32)).key) == f"{NAMES[semitones % 12]} minor"


def test_pitch_classes_of_a_note_are_those_of_the_equal_tempered_table(note):
    # ISO 16 and equal temperament: A4 440 Hz, C4 261.63 Hz, F#5 739.99 Hz.
    for midi in (69, 60, 78):
        heard = chroma(find_partials(note(midi, 2.0, RATE_HZ).astype(np.float32)))
        assert int(np.argmax(heard)) == midi % 12


@pytest.mark.parametrize("what", ["drums", "noise", "silence"])
def test_percussion_and_noise_have_no_key(play, what):
    samples = np.zeros(5 * 44100)
    if what == "drums":
        samples, _ = play(0.1 + np.arange(17) * 0.5)
    elif what == "noise":
        samples = np.random.default_rng(3).normal(0, 0.1, 5 * 44100)
    found = find_key(soxr.resample(samples, 44100, RATE_HZ).astype(np.float32))
    assert found.key is None
    assert found.confidence == 0.0


def test_a_key_is_still_heard_under_drums(chords, play):
    tune = soxr.resample(cadence(chords, 9, "minor"), RATE_HZ, 44100)
    beat, _ = play(np.arange(17) * 0.5)
    both = tune + 0.4 * beat[: len(tune)]
    found = find_key(soxr.resample(both, 44100, RATE_HZ).astype(np.float32))
    assert str(found.key) == "A minor"


def test_every_profile_keeps_the_order_that_listeners_and_counts_agree_on():
    """Krumhansl, Cognitive Foundations of Musical Pitch (1990), ch. 2: the tonic fits best, then
    the other notes of its triad, then the scale's other notes on the whole, then those outside."""
    for profile, scale, triad in (
        (TONE_PROFILES[0], (0, 2, 4, 5, 7, 9, 11), (4, 7)),
        (TONE_PROFILES[1], (0, 2, 3, 5, 7, 8, 10), (3, 7)),
        (MAJOR_PROFILE, (0, 2, 4, 5, 7, 9, 11), (4, 7)),
        (MINOR_PROFILE, (0, 2, 3, 5, 7, 8, 11), (3, 7)),
    ):
        rest = [profile[note] for note in scale if note not in (0, *triad)]
        outside = [profile[note] for note in range(12) if note not in scale]
        # Tonic and fifth are near one another where notes are counted (Temperley 2007).
        assert profile[0] > 0.95 * max(profile)
        assert min(profile[note] for note in triad) > max(rest)
        assert sum(rest) / len(rest) > sum(outside) / len(outside)


def partials(*peaks, tonal=1.0, duration_s=2.0):
    """Peaks as (frame, semitone, weight), worked out by hand in the tests below."""
    frame, semitone, weight = (np.array(column) for column in zip(*peaks, strict=True))
    return Partials(frame, semitone, weight, int(frame[-1]) + 1, duration_s, tonal)


def test_a_partial_speaks_for_the_notes_it_may_be_a_harmonic_of():
    """C, and 1 / 2 and 1 / 4 of it, are C with .6 and .6^3 of its weight: 1.816. A third of it is
    19.0196 semitones lower, .0196 below F: .36 cos^2(.0196 pi) = .3586. Each frame counts by the
    root of its loudest note: 1.816 / 1.816^.5 = 1.3476, and .3586 / 1.3476 = .2661."""
    one = np.zeros(12)
    one[0], one[5] = 1.3476, 0.2661
    assert chroma(partials((0, 60.0, 1.0))) == pytest.approx(one, abs=1e-4)
    # Four times the weight counts twice; another frame another note; an empty one none.
    two = 2 * one + np.roll(one, 2)
    assert chroma(partials((0, 48.0, 4.0), (2, 62.0, 1.0))) == pytest.approx(two, abs=1e-4)
    # A quarter of a semitone off cos^2(pi / 4) = .5 is left, and all of it in its own tuning; a
    # third is .2304 above E now: .36 cos^2(.2696 pi) is less than before, and F's.
    off = chroma(partials((0, 60.25, 1.0)))
    assert off[0] == pytest.approx((1.816 / 2) ** 0.5, abs=1e-4)
    assert chroma(partials((0, 60.25, 1.0)), 25.0) == pytest.approx(one, abs=1e-4)
    assert chroma(partials((0, 59.75, 1.0)), -25.0) == pytest.approx(one, abs=1e-4)


def test_tuning_is_the_mean_angle_of_the_partials():
    """A quarter of a semitone is a quarter of a turn: 1 and i are 45 degrees, an eighth; 1 and
    i times the root of 3 are 60 degrees, a sixth."""
    assert tuning_cents(partials((0, 60.3, 1.0))) == pytest.approx(30.0)
    assert tuning_cents(partials((0, 59.6, 1.0))) == pytest.approx(-40.0)
    assert tuning_cents(partials((0, 60.0, 1.0), (1, 72.25, 1.0))) == pytest.approx(12.5)
    assert tuning_cents(partials((0, 60.0, 1.0), (1, 72.25, 3**0.5))) == pytest.approx(100 / 6)


def notes_of(shares):
    """{pitch class: share} of what is not nothing."""
    return {int(note): pytest.approx(float(shares[note])) for note in np.flatnonzero(shares)}


def test_the_bass_is_the_lowest_strong_partial_of_each_frame():
    """Semitones: 36 and 48 are C, 40 E, 43 G, 51 Eb, 52 E. Below 52 it is bass, below 60 where a
    sound begins; of more than half the weight of the strongest low one; E of four in all."""
    four = (
        (0, 36.0, 0.5), (0, 43.0, 1.0), (0, 60.0, 9.0),  # just half: G
        (1, 36.0, 0.6), (1, 43.0, 1.0),  # C
        (2, 51.0, 1.0),  # Eb
        (3, 52.0, 1.0),  # none but at the beginning
        (5, 40.0, 1.0),  # E
    )  # fmt: skip
    heard = partials(*four)
    assert notes_of(bass(heard, 0.0)) == {0: 0.25, 3: 0.25, 4: 0.25, 7: 0.25}
    # The first four frames that have a note there, from the first that has: 0 to 3.
    assert notes_of(bass(heard, 0.0, opening=True)) == {0: 0.25, 3: 0.25, 4: 0.25, 7: 0.25}
    later = partials((2, 59.0, 1.0), (3, 36.0, 1.0), (5, 36.0, 1.0), (6, 43.0, 1.0))
    assert notes_of(bass(later, 0.0, opening=True)) == {0: 2 / 3, 11: 1 / 3}
    assert notes_of(bass(later, 0.0)) == {0: 2 / 3, 7: 1 / 3}
    high = partials((0, 60.0, 1.0))
    assert not bass(high, 0.0).any()
    assert not bass(high, 0.0, opening=True).any()


def test_a_key_fits_as_its_profile_correlates():
    """scipy.stats.pearsonr with the profile turned to every tonic, major first."""
    heard = np.random.default_rng(5).uniform(0.0, 1.0, 12)
    turned = [
        [profile[(note - tonic) % 12] for note in range(12)]
        for profile in (MAJOR_PROFILE, MINOR_PROFILE)
        for tonic in range(12)
    ]
    assert key_fits(heard) == pytest.approx([scipy.stats.pearsonr(heard, p)[0] for p in turned])
    assert key_fits(np.full(12, 0.3)).tolist() == [0.0] * 24


@pytest.mark.parametrize(
    ("fit", "tonal", "duration_s", "ahead", "told"),
    [
        # fit (.5 + .5 ahead / .15) (.5 + tonal), each of the three 1 at most, and the seconds.
        (0.8, 0.3, 2.0, 0.06, ("G major", 0.8 * 0.7 * 0.8)),
        (0.8, 0.3, 0.5, 0.06, ("G major", 0.8 * 0.7 * 0.8 * 0.5)),
        (0.8, 0.3, 2.0, 0.15, ("G major", 0.8 * 0.8)),
        (0.8, 0.3, 2.0, 0.3, ("G major", 0.8 * 0.8)),
        (0.8, 0.5, 2.0, 0.06, ("G major", 0.8 * 0.7)),
        (0.8, 0.9, 2.0, 0.06, ("G major", 0.8 * 0.7)),
        (1.1, 0.3, 2.0, 0.06, ("G major", 0.7 * 0.8)),
        # From .62 on, and .82 with the share of what is tonal.
        (0.62, 0.3, 2.0, 0.15, ("G major", 0.62 * 0.8)),
        (0.619, 0.9, 2.0, 0.15, (None, 0.0)),
        (0.7, 0.82 - 0.7, 2.0, 0.15, ("G major", 0.7 * 0.62)),
        (0.7, 0.119, 2.0, 0.15, (None, 0.0)),
    ],
)
def test_a_key_is_as_sure_as_it_fits_leads_and_is_tonal(
    monkeypatch, fit, tonal, duration_s, ahead, told
):
    """One key ahead of all others by so much, the bass saying nothing."""

    def fits(_heard, profiles=None):
        led = np.full(24, 0.2)
        led[7] += ahead
        return led if profiles is None else np.append(np.zeros(23), fit)

    monkeypatch.setattr(key, "key_fits", fits)
    found = best_key(partials((0, 70.0, 1.0), tonal=tonal, duration_s=duration_s), -12.0)
    name, sure = told
    assert found == Tonality(
        found.key, pytest.approx(sure), 0.0 if name is None else pytest.approx(-12.0)
    )
    assert (found.key and str(found.key)) == name


@pytest.mark.parametrize(
    ("bass_note", "opens", "ahead", "told"),
    [
        # A bass note throughout is worth .2, where it opens .15 more.
        (45.0, 45.0, 0.34, "A minor"),
        (45.0, 45.0, 0.36, "C major"),
        # In 9 of 10 frames .18 against .02 and .15.
        (45.0, 36.0, 0.005, "A minor"),
        (45.0, 36.0, 0.015, "C major"),
    ],
)
def test_the_bass_tells_a_key_from_its_relative(monkeypatch, bass_note, opens, ahead, told):
    def fits(_heard, profiles=None):
        led = np.zeros(24)
        led[[0, 21]] = 0.5 + ahead, 0.5
        return led if profiles is None else np.ones(24)

    monkeypatch.setattr(key, "key_fits", fits)
    low = [(0, opens, 1.0), *((frame, bass_note, 1.0) for frame in range(4, 13))]
    assert str(best_key(partials(*low), 0.0).key) == told


def sines(*tones, seconds=1.0):
    """Steady sines at (hertz, amplitude), RATE_HZ."""
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return sum(size * np.sin(2 * np.pi * hz * at_s) for hz, size in tones).astype(np.float32)


def test_a_sine_is_one_partial_a_frame_at_its_own_pitch_and_size():
    """441 Hz is 69.0393 semitones. Under a Hann window a sine's peak is a quarter of the window
    times its amplitude, 8192 / 4 * .5 = 1024, and 15 % less at worst between two bins."""
    found = find_partials(sines((441.0, 0.5)))
    assert found.frame.tolist() == list(range(8))
    assert found.semitone == pytest.approx(69.0 + 12.0 * np.log2(441.0 / 440.0), abs=0.01)
    assert found.weight == pytest.approx(32.0 * (1 - 0.075), rel=0.08)
    assert (found.frames, found.duration_s) == (8, 1.0)
    assert found.tonal == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    ("hz", "size", "there"),
    [
        (50.0, 1.0, False),
        (58.0, 1.0, True),
        (1990.0, 1.0, True),
        (2010.0, 1.0, False),
        (1500.0, 10 ** (-49 / 20), True),
        (1500.0, 10 ** (-51 / 20), False),
    ],
)
def test_partials_are_looked_for_from_55_hz_to_2_khz_and_50_db_down(hz, size, there):
    """Hertz in the middle of a bin each, beside a tone at 441 Hz."""
    bin_hz = RATE_HZ / 8192
    middle = [round(each / bin_hz) * bin_hz for each in (hz, 441.0)]
    found = find_partials(sines((middle[0], size), (middle[1], 1.0)))
    semitone = 69.0 + 12.0 * np.log2(middle[0] / 440.0)
    assert (np.abs(found.semitone - semitone).min() < 0.05) == there


def test_what_is_sixty_decibels_below_the_loudest_frame_has_no_partials():
    quiet, loud = sines((441.0, 1e-3), seconds=2.0), sines((441.0, 1.0), seconds=2.0)
    for gain, there in ((1.2, True), (0.8, False)):
        found = find_partials(np.concatenate([gain * quiet, loud]))
        assert (found.frame[0] == 0) == there


def test_the_spectra_are_spread_from_the_sounds_first_sample_to_its_last():
    """Eight at least, then one every 6144 samples, 500 at most; a sound shorter than two windows
    is filled up with silence. Against numpy's transform at the first place, the fourth, the last:
    of 16384 samples 8192 / 7 apart."""
    noise = np.random.default_rng(1).normal(0.0, 0.1, 2 * 8192).astype(np.float32)
    heard = key._spectra(noise)
    assert heard.shape == (8, 780)  # up to 2.1 kHz
    for row, start in ((0, 0), (3, 3510), (7, 8192)):
        piece = noise[start : start + 8192] * np.hanning(8192)
        assert heard[row] == pytest.approx(np.abs(np.fft.rfft(piece))[:780], abs=1e-3)
    short = key._spectra(noise[:8192])
    assert short[0] == pytest.approx(heard[0], abs=1e-3)
    assert short[7] == pytest.approx(np.zeros(780), abs=1e-3)
    for samples, frames in (
        (8192 + 6144 * 8 - 1, 8),
        (8192 + 6144 * 9, 10),
        (8192 + 6144 * 600, 500),
    ):
        assert len(key._spectra(np.zeros(samples, np.float32))) == frames


def test_what_lasts_is_what_stands_in_the_next_frame_within_a_quarter_of_a_semitone():
    """Two thirds of a partial's power stand in its own bin: 1.5 times 4 of a total of 24 each.
    The last frame has no next one."""
    size = np.full(4, 2.0, np.float32)
    for away, share in ((0.24, 0.5), (-0.24, 0.5), (0.25, 0.25), (-0.25, 0.25)):
        semitone = np.array([60.0, 64.0, 60.0 + away, 64.0])
        assert key._tonal(np.array([0, 0, 1, 1]), semitone, size, 24.0) == share
    assert key._tonal(np.array([0, 0, 2, 2]), np.array([60.0, 64.0] * 2), size, 24.0) == 0.0
    # No more than all of it.
    assert key._tonal(np.array([0, 0, 1, 1]), np.array([60.0, 64.0] * 2), size, 6.0) == 1.0
    assert key._tonal(np.zeros(0, np.intp), np.zeros(0), np.zeros(0, np.float32), 6.0) == 0.0
