"""The record of facts: to JSON and back, and phrases as a cue needs them."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from liveaid.study import Study, study
from liveaid.study.onsets import find_onsets
from liveaid.study.phrases import find_phrases, silence_s
from liveaid.study.spectrum import RATE_HZ, analyse

seconds = st.floats(0, 1e5, allow_nan=False)
plain = {
    "duration_s": seconds,
    "sample_rate_hz": st.integers(8000, 192000),
    "channels": st.integers(1, 6),
    "format": st.text(max_size=20),
    "frames_declared": st.integers(0, 10**10),
    "frames_read": st.integers(0, 10**10),
    "faults": st.lists(st.text(max_size=40), max_size=3).map(tuple),
    "tempo": st.none() | st.floats(20, 300),
    "key": st.none() | st.sampled_from(["A minor", "Eb major"]),
    "loop_beats": st.none() | st.integers(1, 64),
    "onsets_s": st.lists(seconds, max_size=5).map(tuple),
    "phrases_s": st.lists(st.tuples(seconds, seconds), max_size=3).map(tuple),
    "kind": st.sampled_from(["instrumental", "a cappella", "sample", "effect"]),
}


@given(st.fixed_dictionaries(plain).map(lambda facts: Study(**facts)))
def test_facts_survive_json(facts):
    assert Study.from_json(facts.to_json()) == facts


def test_json_of_another_kind_is_refused():
    with pytest.raises(ValueError, match="JSON object"):
        Study.from_json("[1, 2]")
    with pytest.raises(ValueError, match="duration_s"):
        Study.from_json("{}")


def test_facts_of_a_later_version_are_read_without_the_new_ones(file):
    facts = study(file(np.zeros(4410)))
    newer = facts.to_json()[:-1] + ', "colour": "green"}'
    assert Study.from_json(newer) == facts


def test_every_fact_is_a_plain_value(play, file):
    facts = study(file(play(np.arange(9) * 0.5)[0]))
    for name, value in facts.facts().items():
        assert type(value) in (str, int, float, bool, tuple, type(None)), name
        if isinstance(value, float):
            assert np.isfinite(value), name


def sung(spans: list[tuple[float, float]], total: float) -> np.ndarray:
    """A voice-like tone in these spans, in uneven syllables, about five a second."""
    t = np.arange(int(total * RATE_HZ)) / RATE_HZ
    voice = sum(np.sin(2 * np.pi * 180 * h * t) / h for h in range(1, 12))
    voice *= 0.55 + 0.45 * np.cos(2 * np.pi * (5 * t + 0.9 * np.sin(2 * np.pi * 0.73 * t)))
    edge = np.zeros(len(t))
    for begin, end in spans:
        edge += np.clip((t - begin) / 0.01, 0, 1) * np.clip((end - t) / 0.01, 0, 1)
    return (0.1 * voice * edge).astype(np.float32)


@pytest.mark.parametrize("background", [0.0, 1e-3])
def test_phrases_begin_and_end_where_the_voice_does(background):
    spans = [(0.4, 1.9), (2.4, 3.0), (3.6, 5.2)]
    samples = sung(spans, 6.0)
    samples += np.random.default_rng(1).normal(0, background, len(samples)).astype(np.float32)
    spectrum = analyse(samples)
    found = find_phrases(spectrum.level_db, find_onsets(samples, spectrum), 6.0)
    assert np.array(found) == pytest.approx(np.array(spans), abs=0.06)


def test_a_short_stop_does_not_break_a_phrase():
    samples = sung([(0.5, 1.5), (1.62, 2.5)], 3.0)  # a plosive's closure, 0.12 s
    spectrum = analyse(samples)
    assert len(find_phrases(spectrum.level_db, find_onsets(samples, spectrum), 3.0)) == 1


def test_silence_at_both_ends_is_measured():
    spectrum = analyse(sung([(0.75, 2.0)], 3.5))
    assert silence_s(spectrum.level_db, 3.5) == pytest.approx((0.75, 1.5), abs=0.02)


def spoken(text: str, path: Path, pace: int = 160) -> np.ndarray:
    """A text said by espeak-ng, at 22050 Hz."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("no espeak-ng, the speech synthesiser")
    subprocess.run(["espeak-ng", "-s", str(pace), "-w", path, text], check=True)
    return soundfile.read(path, dtype="float32")[0]


def test_speech_is_taken_for_a_cappella(tmp_path):
    path = tmp_path / "tale.wav"
    spoken("The lanterns were lit along the river. Nobody noticed that the rain had stopped.", path)
    facts = study(path)
    assert facts.kind == "a cappella"
    assert facts.voice > 0.8
    assert {plays for _, _, plays, _ in facts.sections} == {"voice alone"}


def test_words_said_on_the_beat_are_a_cappella_all_the_same(tmp_path, file):
    beat = round(0.65 * RATE_HZ)
    words = [spoken(word, tmp_path / "w.wav")[:beat] for word in ("drum", "lantern", "river", "go")]
    said = np.concatenate([np.pad(word, (0, beat - len(word))) for word in words * 6])
    facts = study(file(said, rate=RATE_HZ))
    assert facts.kind == "a cappella"


# Peterson and Barney, "Control methods used in a study of the vowels" (JASA 24, 1952), table II:
# formants of men's hod, heed, hawed, head, who'd, in hertz.
VOWELS = (
    (730, 1090, 2440), (270, 2290, 3010), (570, 840, 2410), (530, 1840, 2480), (300, 870, 2240),
)  # fmt: skip
TUNE = ((45, 0.6), (47, 0.3), (49, 0.9), (47, 0.45), (45, 0.3), (52, 1.2), (50, 0.6), (49, 0.9))
"""MIDI note and seconds."""


def held_vowel(midi: int, lasts_s: float, vowel: tuple[int, ...]) -> np.ndarray:
    """One sung note: glottal pulses that glide into it and waver, through resonators in a row."""
    t = np.arange(round(lasts_s * RATE_HZ)) / RATE_HZ
    cents = 60 * np.sin(2 * np.pi * 5.4 * t) * np.clip(4 * (t - 0.2), 0, 1)
    hz = 440 * 2 ** ((midi - 69 + (cents - 150 * np.exp(-t / 0.05)) / 100) / 12)
    phase = np.cumsum(hz) / RATE_HZ % 1.0
    sound = np.diff(np.where(phase < 0.6, np.sin(np.pi * phase / 0.6) ** 2, 0.0), prepend=0.0)
    for formant, width in zip((*vowel, 3500), (70, 90, 120, 200), strict=True):
        r = np.exp(-np.pi * width / RATE_HZ)
        poles = [1.0, -2 * r * np.cos(2 * np.pi * formant / RATE_HZ), r * r]
        sound = scipy.signal.lfilter([sum(poles)], poles, sound)
    ends = np.clip(t / 0.02, 0, 1) * np.clip((lasts_s - t) / 0.05, 0, 1)
    return 0.6 * sound * ends / np.abs(sound).max()


def test_singing_alone_is_a_cappella(file):
    dice, parts = np.random.default_rng(3), []
    for number, (midi, lasts_s) in enumerate(TUNE * 2):
        hiss = np.diff(dice.normal(0, 0.06, 1544)) * np.hanning(1543)  # an s of 70 ms
        stop = np.zeros(1100)
        breath = np.zeros(round(0.35 * RATE_HZ) if number % 4 == 3 else 0)
        parts += [
            hiss if number % 2 else stop,
            held_vowel(midi, lasts_s, VOWELS[number % 5]),
            breath,
        ]
    facts = study(file(np.concatenate(parts), rate=RATE_HZ))
    assert facts.kind == "a cappella"
    assert facts.voice > 0.8


def test_a_melody_on_one_instrument_is_none(file, note):
    melody = np.concatenate([0.2 * note(midi + 12, lasts_s) for midi, lasts_s in TUNE * 2])
    facts = study(file(melody))
    assert facts.kind == "instrumental"
    assert facts.voice < 0.3


def test_hiss_that_goes_on_for_long_is_an_effect(file):
    # Chance swells of noise rise above one another some ten times in half a minute.
    facts = study(file(np.random.default_rng(0).normal(0, 0.1, 30 * RATE_HZ), rate=RATE_HZ))
    assert len(facts.onsets_s) >= 4
    assert facts.kind == "effect"


@pytest.mark.parametrize(("clicks_a_second", "loud"), [(5, 0.3), (15, 0.2)])
def test_an_empty_groove_that_crackles_is_an_effect(file, clicks_a_second, loud):
    rng = np.random.default_rng(4)
    groove = rng.normal(0, 0.01, 25 * RATE_HZ)
    where = rng.integers(0, len(groove), 25 * clicks_a_second)
    groove[where] += rng.normal(0, loud, len(where))
    facts = study(file(groove, rate=RATE_HZ))
    assert len(facts.onsets_s) >= 4
    assert (facts.tempo, facts.kind) == (None, "effect")


def test_strokes_that_keep_no_time_are_still_played(play, file):
    # Thirty strokes a second apart at least, as a hand that follows no count sets them.
    facts = study(file(play(np.cumsum(np.random.default_rng(2).uniform(0.4, 1.3, 30)))[0]))
    assert facts.kind == "instrumental"


def test_drums_have_no_voice_and_a_drum_track_is_no_break(play, file):
    facts = study(file(play(np.arange(33) * 0.6)[0]))
    assert facts.voice < 0.1
    assert [plays for _, _, plays, _ in facts.sections] == ["drums alone"]
    assert facts.breaks() == ()
    assert facts.kind == "instrumental"


def test_energy_rises_from_a_pad_to_a_dense_beat(play, chords, file):
    pad = np.sin(2 * np.pi * 200 * np.arange(44100 * 6) / 44100) * 0.2
    assert study(file(pad, "pad.wav")).energy < study(file(play(np.arange(33) * 0.4)[0])).energy
