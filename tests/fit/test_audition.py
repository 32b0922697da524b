"""What is written to be heard is what two decks would play: measured by its clicks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.fit.audition import AUDITION_RATE_HZ, PEAK, ToHear, audition, write_audition
from liveaid.fit.fit import fits
from liveaid.study.facts import Study


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


def alone(tmp_path: Path, mine: Study, other: Study, heard: np.ndarray, from_s: float = 0.0):
    """The other sound, of samples at AUDITION_RATE_HZ, heard over a silent one."""
    (fit,) = fits(mine, {"other": other})
    soundfile.write(tmp_path / "a.wav", np.zeros(AUDITION_RATE_HZ), AUDITION_RATE_HZ)
    soundfile.write(tmp_path / "b.wav", heard, AUDITION_RATE_HZ, "FLOAT")
    theirs = ToHear(str(tmp_path / "b.wav"), other, from_s)
    return audition(ToHear(str(tmp_path / "a.wav"), mine), theirs, fit)


def test_a_pick_up_comes_before_the_bar_line_where_both_decks_move(sound, tmp_path: Path):
    """100 and 86 BPM come to 92.736 (a square root of 100 / 86 each). With a beat of pick-up 8 bars
    of three are 25 beats."""
    beat_s = 60 / 86
    mine = sound(100.0, metre=3)
    other = sound(86.0, first_downbeat=2.0, phrases_s=((2.0 - beat_s, 9.0),), kind="a cappella")
    (fit,) = fits(mine, {"other": other})
    under = ToHear(clicks(tmp_path / "a.wav", 100.0, 0.0, 40), mine)
    over = ToHear(clicks(tmp_path / "b.wav", 86.0, 2.0 - beat_s, 25), other)
    mix = audition(under, over, fit)
    assert len(mix) / AUDITION_RATE_HZ * 92.736 / 60 == pytest.approx(25.0, abs=1e-3)
    assert heard_s(mix) * 92.736 / 60 == pytest.approx(np.arange(25), abs=0.003)
    last = mix[-round(0.9 * 60 / 92.736 * AUDITION_RATE_HZ) :]
    assert np.abs(mix).max() > 0.8  # both of .5 together, and at the end neither
    assert np.abs(last).max() < 0.1


def test_two_sounds_without_a_beat_are_heard_as_long_as_at_ninety(sound, tmp_path: Path):
    """32 beats of 90 BPM are 21.333 s. A part lasts no longer than it does in its file."""
    part = sound(None, duration_s=1.0)
    struck = np.zeros(5 * AUDITION_RATE_HZ)
    struck[[22050, 88200 + 4410, 88200 + 22050, 88200 + 66150]] = 0.5
    mix = alone(tmp_path, sound(None, metre=None), part, struck, from_s=2.0)
    assert len(mix) == round(32 * 60 / 90 * AUDITION_RATE_HZ)
    assert heard_s(mix) == pytest.approx([0.1, 0.5], abs=1e-4)


def test_the_first_two_channels_are_heard_and_one_on_both_sides(sound, tmp_path: Path):
    mine = sound(90.0, loop_beats=4)
    for channels, heard in (([0.5], [0.5, 0.5]), ([0.5, 0.2, 0.8], [0.5, 0.2])):
        mix = alone(tmp_path, mine, mine, np.tile(channels, (1000, 1)))
        assert mix[500] == pytest.approx(heard, abs=1e-3)


def test_two_silent_sounds_are_silent(sound, tmp_path: Path):
    assert not alone(tmp_path, sound(), sound(), np.zeros(1000)).any()


def test_a_loop_comes_round_from_its_bar_line_on(sound, tmp_path: Path):
    """Four beats of 90 BPM with clicks on the first and the second, let go on the second."""
    loop = np.zeros(4 * AUDITION_RATE_HZ * 60 // 90)
    loop[[0, AUDITION_RATE_HZ * 60 // 90]] = 0.5
    other = sound(90.0, loop_beats=4, first_downbeat=60 / 90)
    beats = heard_s(alone(tmp_path, sound(90.0), other, loop)) * 1.5
    assert beats[:5] == pytest.approx([0, 3, 4, 7, 8], abs=0.003)


def test_a_tempo_that_moves_is_ridden_on_its_mean(sound, tmp_path: Path):
    """Eight beats of .5 s and eight of .6 s are 16 of .55 s, and at +4 % of .52885 s: against its
    samples worked out one by one, from its first second to its last."""
    tempo, rate = 60 / 0.55, 22050
    beats_s = (*np.arange(8) * 0.5, *(4.0 + np.arange(9) * 0.6))
    mine = sound(1.04 * tempo, metre=2)
    other = sound(tempo, duration_s=8.8, beats_s=beats_s, first_beat=0.0, first_downbeat=0.0)
    (fit,) = fits(mine, {"other": other})
    soundfile.write(tmp_path / "a.wav", np.zeros(rate), rate)
    tone = 0.5 * np.cos(2 * np.pi * 220 * np.arange(round(8.8 * rate)) / rate)
    soundfile.write(tmp_path / "b.wav", tone, rate, "FLOAT")
    files = [str(tmp_path / f"{name}.wav") for name in "ab"]
    mix = audition(ToHear(files[0], mine), ToHear(files[1], other), fit)
    beat = np.arange(len(mix)) / AUDITION_RATE_HZ * 1.04 / 0.55
    assert len(mix) == round(16 * 0.55 / 1.04 * AUDITION_RATE_HZ)
    file_s = np.where(beat < 8, 0.5 * beat, 4.0 + 0.6 * (beat - 8))
    off = np.abs(mix[:, 0] - 0.5 * np.cos(2 * np.pi * 220 * file_s))
    assert off[50:-900].max() < 0.01
