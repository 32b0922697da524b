"""What is written to be heard is what two decks would play: measured by its clicks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.fit.audition import AUDITION_RATE_HZ, PEAK, ToHear, audition, write_audition
from liveaid.fit.fit import fits


def clicks(path: Path, tempo_bpm: float, first_s: float, beats: int) -> str:
    """A click on each beat, one sample wide, in one channel."""
    samples = np.zeros(round((first_s + beats * 60.0 / tempo_bpm) * AUDITION_RATE_HZ))
    for beat in range(beats):
        samples[round((first_s + beat * 60.0 / tempo_bpm) * AUDITION_RATE_HZ)] = 0.5
    soundfile.write(path, samples, AUDITION_RATE_HZ)
    return str(path)


def heard_s(mix: np.ndarray) -> np.ndarray:
    """Seconds at which something is heard, a fiftieth of a second apart at the least."""
    loud = np.flatnonzero(np.abs(mix[:, 0]) > 0.1)
    return (
        loud[np.diff(loud, prepend=-AUDITION_RATE_HZ) > AUDITION_RATE_HZ // 50] / AUDITION_RATE_HZ
    )


def test_two_tempos_meet_beat_on_beat_in_the_file(sound, tmp_path: Path):
    # By hand: 96 brought to 92 is -4.167 %; every click of both lies on a beat of 60 / 92 s.
    mine = sound(92.0, first_downbeat=0.25)
    other = sound(96.0, first_downbeat=0.7, kind="a cappella", phrases_s=((0.7, 9.0),))
    (fit,) = fits(mine, {"other": other})
    files = (
        clicks(tmp_path / "a.wav", 92.0, 0.25, 40),
        clicks(tmp_path / "b.wav", 96.0, 0.7, 40),
    )
    mix = audition(ToHear(files[0], mine), ToHear(files[1], other), fit)
    beats = heard_s(mix) * 92.0 / 60.0
    assert len(mix) == round(32 * 60 / 92 * AUDITION_RATE_HZ)
    assert len(beats) == 32
    assert np.abs(beats - np.round(beats)).max() < 0.003
    assert np.abs(mix).max() <= PEAK + 1e-6


def test_a_guessed_bar_line_is_not_gone_by(sound, tmp_path: Path):
    """By hand: two beats of 90 BPM before a doubted bar line are 1.333 s, which are not cut off."""
    mine = sound(90.0, first_downbeat=0.0)
    other = sound(90.0, first_beat=0.0, first_downbeat=4 / 3, downbeat_confidence=0.4)
    (fit,) = fits(mine, {"other": other})
    files = [str(tmp_path / f"{name}.wav") for name in "ab"]
    soundfile.write(files[0], np.zeros(AUDITION_RATE_HZ), AUDITION_RATE_HZ)
    struck = np.zeros(4 * AUDITION_RATE_HZ)
    struck[round(4 / 3 * AUDITION_RATE_HZ)] = 0.5
    soundfile.write(files[1], struck, AUDITION_RATE_HZ)
    beats = heard_s(audition(ToHear(files[0], mine), ToHear(files[1], other), fit)) * 1.5
    assert beats[:1] == pytest.approx([2.0], abs=0.01)


def test_a_pick_up_is_heard_before_the_bar_line(sound, tmp_path: Path):
    mine = sound(90.0, first_downbeat=0.0)
    # One beat of 90 BPM before its bar line at 1.0 s.
    other = sound(90.0, first_downbeat=1.0, kind="a cappella", phrases_s=((1.0 - 2 / 3, 3.0),))
    (fit,) = fits(mine, {"other": other})
    files = (clicks(tmp_path / "a.wav", 90.0, 0.0, 40), str(tmp_path / "b.wav"))
    voice = np.zeros(4 * AUDITION_RATE_HZ)
    voice[round((1.0 - 2 / 3) * AUDITION_RATE_HZ)] = voice[AUDITION_RATE_HZ] = 0.5
    soundfile.write(files[1], voice, AUDITION_RATE_HZ)
    beats = heard_s(audition(ToHear(files[0], mine), ToHear(files[1], other), fit)) * 1.5
    assert beats[:3] == pytest.approx([0.0, 1.0, 2.0], abs=0.01)  # pick-up, bar line, next beat


def test_the_louder_one_is_turned_down(sound, tmp_path: Path):
    # The other is 6 LU louder: its click of 0.5 comes at 0.5 x 10 ** (-6 / 20) = 0.2506.
    mine, other = sound(90.0), sound(90.0, loudness_lufs=-6.0)
    (fit,) = fits(mine, {"other": other})
    silent, click = tmp_path / "a.wav", clicks(tmp_path / "b.wav", 90.0, 0.0, 4)
    soundfile.write(silent, np.zeros(AUDITION_RATE_HZ), AUDITION_RATE_HZ)
    mix = audition(ToHear(str(silent), mine), ToHear(click, other), fit)
    assert np.abs(mix).max() == pytest.approx(0.2506, abs=0.005)


def test_it_is_written_whole(tmp_path: Path):
    mix = np.zeros((100, 2), dtype=np.float32)
    mix[50] = 0.5
    write_audition(mix, tmp_path / "heard.wav")
    read, rate = soundfile.read(tmp_path / "heard.wav")
    assert (rate, read.shape, read[50, 0]) == (44100, (100, 2), pytest.approx(0.5, abs=1e-4))


def beats_of_the_other(sound, tmp_path: Path, **facts: object) -> int:
    """How many of the other's four clicks are heard in 32 beats of silence at 90 BPM."""
    mine, other = sound(90.0), sound(90.0, **facts)
    (fit,) = fits(mine, {"other": other})
    silent, click = tmp_path / "a.wav", clicks(tmp_path / "b.wav", 90.0, 0.0, 4)
    soundfile.write(silent, np.zeros(AUDITION_RATE_HZ), AUDITION_RATE_HZ)
    return len(heard_s(audition(ToHear(str(silent), mine), ToHear(click, other), fit)))


def test_a_loop_comes_round_and_what_is_no_loop_ends(sound, tmp_path: Path):
    # 8 bars of 4 are 32 beats: a loop of 4 comes eight times, a phrase of 4 once.
    assert beats_of_the_other(sound, tmp_path, loop_beats=4) == 32
    assert beats_of_the_other(sound, tmp_path) == 4


def test_two_loud_sounds_stay_a_decibel_below_full_scale_and_end_without_a_click(
    sound, tmp_path: Path
):
    # EBU R 128: -1 dBTP is 10 ** (-1 / 20) = 0.89125. Both at 0.8: 1.6 comes down to that.
    mine = sound(90.0, loop_beats=4)
    (fit,) = fits(mine, {"other": mine})
    steady = str(tmp_path / "a.wav")
    soundfile.write(steady, np.full(AUDITION_RATE_HZ, 0.8), AUDITION_RATE_HZ, "FLOAT")
    mix = audition(ToHear(steady, mine), ToHear(steady, mine), fit)
    assert np.abs(mix).max() == pytest.approx(0.89125, abs=1e-4)
    # The last 20 ms, 882 samples, go down evenly: half is left in their middle, nothing at the end.
    assert mix[-882 - 10, 0] == pytest.approx(0.89125, abs=1e-3)
    assert mix[-441, 0] == pytest.approx(0.4456, abs=2e-3)
    assert mix[-1, 0] == 0.0


def test_without_a_common_beat_the_other_comes_in_at_its_own_speed(sound, tmp_path: Path):
    # Its first sound is at 0.5 s: its clicks a second apart are heard from 0 s on, a second apart.
    mine = sound(120.0)
    other = sound(None, kind="a cappella", key=None, silence_start_s=0.5)
    (fit,) = fits(mine, {"other": other})
    silent, click = tmp_path / "a.wav", clicks(tmp_path / "b.wav", 60.0, 0.5, 4)
    soundfile.write(silent, np.zeros(AUDITION_RATE_HZ), AUDITION_RATE_HZ)
    mix = audition(ToHear(str(silent), mine), ToHear(click, other), fit)
    assert len(mix) == 16 * AUDITION_RATE_HZ  # 32 beats at 120 BPM
    assert heard_s(mix) == pytest.approx([0.0, 1.0, 2.0, 3.0], abs=0.002)
