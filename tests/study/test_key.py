"""Key: the published profiles, known progressions, tuning, and what has none.

Measure: mir_eval's weighted key score, the MIREX audio key task's.
"""

import numpy as np
import pytest
import soxr

from liveaid.study.key import (
    MAJOR_PROFILE,
    MINOR_PROFILE,
    TONE_PROFILES,
    chroma,
    find_key,
    find_partials,
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
    return chords(notes * 2, 1.0, RATE_HZ).astype(np.float32)


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
