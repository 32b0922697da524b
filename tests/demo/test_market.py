"""The night market's sounds lie on their grid to the sample, and are the same on every machine."""

from __future__ import annotations

import inspect
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfiltfilt

from liveaid.demo import market, voices
from liveaid.demo.market import market_sounds, rendered, write_sounds
from liveaid.demo.voices import VOICES_RATE_HZ, drum_low, gong, hertz

SOUNDS = {sound.name: sound for sound in market_sounds()}


# Equal temperament against A4 = 440 Hz (ISO 16): A3 220 Hz, middle C 261.626 Hz (MIDI note 60).
@pytest.mark.parametrize(("note", "frequency"), [(69, 440.0), (57, 220.0), (60, 261.6256)])
def test_notes_have_the_pitch_of_the_table(note: int, frequency: float):
    assert hertz(note) == pytest.approx(frequency, abs=1e-3)


@pytest.mark.parametrize("name", ["stall-break", "tram-groove"])
def test_a_rhythmic_sound_repeats_on_its_exact_bars(name: str):
    """Four bars on, the low drum sounds again: the best lag is the tempo's, to a sample."""
    sound = SOUNDS[name]
    # Below 400 Hz only the drums are left, which are alike; the tin's noise never is.
    lows = butter(4, 400, fs=VOICES_RATE_HZ, output="sos")
    samples = sosfiltfilt(lows, rendered(sound, seed=0))
    lag = 4 * 4 * 60.0 / sound.tempo_bpm * VOICES_RATE_HZ
    start = round(sound.lead_in_s * VOICES_RATE_HZ)
    window = samples[start : start + 8 * VOICES_RATE_HZ]
    around = [
        float(np.dot(window, samples[start + lead : start + lead + window.size]))
        for lead in range(round(lag) - 40, round(lag) + 41)
    ]
    assert abs(int(np.argmax(around)) - 40) <= 1


def test_the_first_beat_follows_the_lead_in():
    sound = SOUNDS["stall-break"]
    samples = rendered(sound, seed=0)
    start = round(sound.lead_in_s * VOICES_RATE_HZ)
    assert not samples[:start].any()
    assert np.abs(samples[start : start + 100]).max() > 0.001


def test_every_sound_is_loud_but_leaves_headroom():
    for number, sound in enumerate(market_sounds()):
        assert 0.8 < np.abs(rendered(sound, seed=number)).max() < 0.9, sound.name


def test_the_same_seed_is_the_same_sound():
    sound = SOUNDS["wok-sizzle"]
    assert np.array_equal(rendered(sound, seed=3), rendered(sound, seed=3))


def test_written_files_are_whole_and_kept(tmp_path: Path):
    told: list[str] = []
    files = write_sounds(tmp_path, on_sound=told.append)
    assert told == [sound.name for sound in market_sounds()]
    stamps = [file.stat().st_mtime_ns for file in files]
    assert [file.stat().st_mtime_ns for file in write_sounds(tmp_path)] == stamps
    files[1].write_bytes(b"an older market")
    assert soundfile.info(write_sounds(tmp_path)[1]).frames > VOICES_RATE_HZ
    info = soundfile.info(files[0])
    assert (info.samplerate, info.subtype) == (VOICES_RATE_HZ, "PCM_24")
    assert {path.suffix for path in tmp_path.iterdir()} == {".wav"}


def test_the_tram_s_drum_and_bass_come_in_where_its_bar_has_them():
    """Its low drum comes on beat 3.25 of a bar, its bass on 2.75; nothing low begins at 2.5."""
    sound = SOUNDS["tram-groove"]
    lows = butter(4, 400, fs=VOICES_RATE_HZ, output="sos")
    samples = sosfiltfilt(lows, rendered(sound, seed=0))

    def comes_in(beat: float) -> float:
        """How much louder 50 ms after a place in ten bars are than 50 ms before it."""
        width = round(0.05 * VOICES_RATE_HZ)
        after = before = 0.0
        for bar in range(4, 14):
            at_s = sound.lead_in_s + (4 * bar + beat) * 60.0 / sound.tempo_bpm
            at = round(at_s * VOICES_RATE_HZ)
            after += float(np.sum(samples[at : at + width] ** 2))
            before += float(np.sum(samples[at - width - 200 : at - 200] ** 2))
        return after / before

    assert comes_in(3.25) > 2.0
    assert comes_in(2.75) > 2.0
    assert comes_in(2.5) < 1.0


def test_every_hit_is_on_its_sounds_grid_in_a_natural_minor_and_neither_drowns_nor_is_lost(
    monkeypatch,
):
    """Sixteenths of a bar of four. A B C D E F G of ISO 16's table, and MIDI 21 (A0) to 108 (C8),
    a piano's, from memory. The softest accent is the last pulse under the gong, .6 * .85**11."""
    struck = []

    def struck_instead(voice):
        asks = inspect.signature(voice)

        def strike(*said, **more):
            struck.append(asks.bind(*said, **more).arguments)
            return np.zeros(1)

        return strike

    for name in ("drum_low", "drum_crack", "tin_tick", "bell", "bass", "pad", "call", "sizzle",
                 "gong", "whistle"):  # fmt: skip
        monkeypatch.setattr(voices, name, struck_instead(getattr(voices, name)))
    for sound in market_sounds():
        for beat, _ in sound.hits(np.random.default_rng(0)):
            assert 0.0 <= beat < sound.beats, sound.name
            assert beat * 4 == int(beat * 4), sound.name
    notes = {note for said in struck for note in np.ravel(said.get("note", said.get("notes", 69)))}
    assert min(notes) >= 21
    assert max(notes) <= 108
    assert {int(note) % 12 for note in notes} <= {9, 11, 0, 2, 4, 5, 7}
    assert all(0.06 < said.get("accent", 1.0) <= 1.1 for said in struck)
    assert all(0.2 <= said.get("duration_s", 1.0) <= 6.0 for said in struck)


def test_every_voice_is_between_a_tenth_of_full_scale_and_twice_it():
    """At accent 1; the crack's noise goes highest, three deviations of it."""
    noise = np.random.default_rng(0)
    for sound in (
        voices.drum_low(), voices.drum_crack(noise), voices.tin_tick(noise), voices.bell(69, 0.5),
        voices.bass(45, 0.5), voices.pad((57, 60, 64), 0.5), voices.call("a", 69, 0.3),
        voices.sizzle(noise), voices.gong(45, 0.5), voices.whistle(69, 0.5),
    ):  # fmt: skip
        assert 0.1 < np.abs(sound).max() < 2.0


def test_the_low_drum_falls_from_150_to_48_hertz():
    """48 t - 102 * .035 (e^(-t / .035) - 1) turns: 150 a second at first, 48 when it has fallen;
    in the last tenth of its .32 s, where e^(-6.3) of the 102 are left, 4.8 turns and a bit."""
    drum = drum_low()
    ends = drum[-round(0.1 * VOICES_RATE_HZ) :]
    assert np.count_nonzero(np.diff(np.sign(ends))) in (9, 10)
    begins = drum[1 : round(0.012 * VOICES_RATE_HZ)]
    # By .012 s it has turned .576 + 3.57 * .290 = 1.61 times: three crossings.
    assert np.count_nonzero(np.diff(np.sign(begins))) == 3


def test_the_gong_sounds_at_each_of_its_partials():
    """Over A4 = 440 Hz at 1, 1.483, 1.932, 2.546, 2.63 and 3.9 times that (our own list); between
    the close ones, at 2.588, there is next to nothing."""
    t = np.arange(6 * VOICES_RATE_HZ) / VOICES_RATE_HZ
    sound = gong(69, 6.0) * np.hanning(t.size)

    def at(ratio: float) -> float:
        return float(np.abs(np.dot(sound, np.exp(-2j * np.pi * 440.0 * ratio * t))))

    for ratio in (1.0, 1.483, 1.932, 2.546, 2.63, 3.9):
        assert at(ratio) > 5.0 * at(2.588), ratio


def test_the_tram_s_bass_walks_from_a1_up_to_e2_and_back(monkeypatch):
    """Frequencies of A1 A1 C2 E2 D2 C2 in equal temperament (ISO 16: A4 is 440 Hz); the tune, and
    that every fourth bar plays it a fourth higher, is our own."""
    monkeypatch.setattr(market.voices, "bass", lambda note, *_: hertz(note))
    hits = market._tram_groove(np.random.default_rng(0))
    line = [(beat, sound) for beat, sound in hits if isinstance(sound, float)]
    first = [(0.0, 55.0), (0.75, 55.0), (1.5, 65.41), (2.0, 82.41), (2.75, 73.42), (3.5, 65.41)]
    assert len(line) == 24 * 6
    for (beat, hz), (wanted, of_table) in zip(line[:6], first, strict=True):
        assert beat == wanted
        assert hz == pytest.approx(of_table, abs=0.005)
    assert line[18] == (12.0, pytest.approx(73.42, abs=0.005))  # D2 over A1 in the fourth bar
