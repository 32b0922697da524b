"""The tempo grid: machine-made, cut to length, played, and what has none.

Measures: mir_eval's beat F-measure (70 ms, the MIREX beat task's window) and tempo p-score
(MIREX tempo extraction).
"""

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.study import study, tempo
from liveaid.study.beats import tempo_line
from liveaid.study.downbeat import find_bars
from liveaid.study.grid import Grid
from liveaid.study.loop import told_by_length
from liveaid.study.onsets import Onsets, find_onsets
from liveaid.study.pulse import autocorrelation, preference
from liveaid.study.spectrum import FRAMES_HZ, RATE_HZ, analyse
from liveaid.study.tempo import Tempo, find_tempo

RATE = 44100


def tempo_of(samples: np.ndarray, rate: int = RATE) -> Tempo:
    mono = soxr.resample(samples, rate, RATE_HZ).astype(np.float32)
    spectrum = analyse(mono)
    onsets = find_onsets(mono, spectrum)
    return find_tempo(mono, spectrum, onsets, frames=len(samples), rate_hz=rate)


@pytest.mark.parametrize("bpm", [75.0, 92.37, 118.9, 140.003])
def test_machine_made_tempo_is_right_to_two_hundredths_of_a_per_cent(play, bpm):
    import mir_eval  # three quarters of a second to load

    beats = 0.137 + np.arange(61) * 60 / bpm
    found = tempo_of(play(beats)[0])
    assert found.tempo_bpm == pytest.approx(bpm, rel=2e-4)
    assert found.first_beat_s == pytest.approx(0.137, abs=0.010)
    assert found.steady
    assert found.loop_beats is None
    assert mir_eval.beat.f_measure(beats[:-1], found.beats_s) > 0.95


def bars_of(
    low: list[int], high: list[int], sixteenths: int, bpm: float, ticks: list[int] | None = None
) -> np.ndarray:
    """Twenty bars of so many sixteenths: thumps, slaps, and ticks, on every eighth if not told."""
    step, t = 15.0 / bpm, np.arange(RATE // 12) / RATE
    noise = np.random.default_rng(5).normal(0, 0.3, len(t))
    thump = np.sin(2 * np.pi * 70 * t) * np.exp(-t / 0.03)
    slap, tick = noise * np.exp(-t / 0.03), np.diff(noise, append=0.0) * np.exp(-t / 0.005)
    at = range(0, sixteenths, 2) if ticks is None else ticks
    whole = np.zeros(round((20 * sixteenths * step + 0.5) * RATE))
    for bar in range(0, 20 * sixteenths, sixteenths):
        for sound, places in ((thump, low), (0.8 * slap, high), (tick, at)):
            for place in places:
                start = round((0.1 + (bar + place) * step) * RATE)
                whole[start : start + len(t)] += sound
    return whole / np.abs(whole).max() * 0.8


@pytest.mark.parametrize("bpm", [155.0, 175.0])
def test_seven_eighths_are_not_counted_as_four_beats_that_hardly_anything_falls_on(bpm):
    # A bar of 14 sixteenths in four would be 4 / 7 of the tempo.
    found = tempo_of(bars_of([0, 7], [4, 12], 14, bpm))
    octaves = np.log2(found.tempo_bpm / bpm)
    assert octaves == pytest.approx(np.round(octaves), abs=1e-3)


@pytest.mark.parametrize(
    ("low", "high", "ticks", "bpm"),
    [
        ([0, 2, 6, 8], [3, 5, 9, 11], [], 138.0),  # three quarters of it, as four lines to a beat
        ([0, 5, 8], [3, 9], [0, 2, 3, 5, 6, 8, 9, 11], 112.0),  # one and a half
    ],
)
def test_swung_eighths_are_three_to_a_beat_and_not_four(low, high, ticks, bpm):
    # Twelve thirds of a beat in a bar are as long as sixteenths at three quarters of the tempo.
    found = tempo_of(bars_of(low, high, 12, 0.75 * bpm, ticks))
    octaves = np.log2(found.tempo_bpm / bpm)
    assert octaves == pytest.approx(np.round(octaves), abs=1e-3)


@pytest.mark.parametrize("bpm", [166.0, 185.0])
def test_a_fast_waltz_counted_in_one_offers_its_three(bpm):
    # Told by the bar (a third of it); two beats to that bar are two thirds of it.
    found = tempo_of(bars_of([0, 10], [4, 8], 12, bpm))
    told = (found.tempo_bpm, found.alternative_bpm, found.rival_bpm)
    assert 60 in {round(60 * one / bpm) for one in told if one}


@pytest.mark.parametrize(("low", "bpm"), [([0], 61.0), ([0, 10], 80.0)])
def test_beats_of_which_every_other_is_empty_are_half_beats(low, bpm):
    # A bar of two beats in threes, long and short: at twice the tempo no second beat is struck.
    # Three to two of those half beats is three times the tempo.
    found = tempo_of(bars_of(low, [6], 12, 1.5 * bpm, [0, 4, 6, 10]))
    assert found.tempo_bpm == pytest.approx(bpm, rel=1e-3)
    assert found.alternative_bpm == pytest.approx(2 * bpm, rel=1e-3)
    assert found.rival_bpm == pytest.approx(3 * bpm, rel=1e-3)
    assert found.confidence <= 0.5


@pytest.mark.parametrize(
    ("low", "high", "ticks", "bars", "bpm", "beats"),
    [
        # Bars of three beats in fours, as long as four beats in threes.
        ([0], [4, 8], [0, 2, 4, 6, 8, 10], 4, 113.0, 12),
        ([0, 10], [4, 8], [0, 2, 4, 6, 8, 10], 4, 90.0, 12),
        # Bars of two beats in sixes, as long as four in threes of which two are empty; the
        # accents of the loop come back as it goes round.
        ([0, 10], [6], [0, 4, 6, 10], 4, 64.0, 8),
        # Four beats in fours stay so.
        ([0, 6], [4, 12], [0, 2, 4, 6, 8, 10, 12, 14], 2, 96.0, 8),
    ],
)
def test_a_loop_has_as_many_beats_as_its_accents_come_back(low, high, ticks, bars, bpm, beats):
    lines = 16 if len(ticks) == 8 else 12
    sixteenth_bpm = bpm * (1.5 if beats == 2 * bars and lines == 12 else 1.0)
    played = bars_of(low, high, lines, sixteenth_bpm, ticks)
    begin = round(0.1 * RATE)
    found = tempo_of(played[begin : begin + round(bars * lines * 15.0 / sixteenth_bpm * RATE)])
    assert found.loop_beats == beats
    assert found.tempo_bpm == pytest.approx(bpm, rel=1e-4)


def test_a_beat_hidden_by_figures_of_three_sixteenths_is_offered_and_the_told_one_unsure():
    low, high = list(range(0, 48, 6)), list(range(3, 48, 6))
    ticks = [0, 4, 5, 8, 10, 13, 16, 17, 20, 23, 25, 28, 32, 35, 37, 40, 41, 44, 46]
    found = tempo_of(bars_of(low, high, 48, 134.0, ticks)[: 40 * RATE])
    assert found.tempo_bpm == pytest.approx(134.0 * 2 / 3, rel=1e-4)
    assert found.rival_bpm == pytest.approx(134.0, rel=1e-4)
    # The plainest other relation is offered all the same.
    assert abs(np.log2(found.alternative_bpm / found.tempo_bpm)) == pytest.approx(1.0)
    assert found.confidence <= 0.5


@pytest.mark.parametrize(("even_bpm", "rival"), [(77.0, 77.0), (51.0, None)])
def test_of_followed_beats_an_even_tempo_that_is_no_octave_of_theirs_is_offered(even_bpm, rival):
    # Beats that swell by a tenth over and over, about 0.6 s apart: 100 BPM.
    number = np.arange(65)
    times = 0.6 * number + 0.15 * np.sin(2 * np.pi * number / 16)
    frames = np.zeros((round(40 * FRAMES_HZ), 1), dtype=np.float32)
    frames[np.round(times * FRAMES_HZ).astype(int), 0] = 1.0
    struck = Onsets(times, np.ones(65, np.float32), np.zeros((65, 1), np.float32))
    grid = Grid(60.0 / even_bpm, 0.0, 4, 0.7, 20.0, 0.01)
    look = tempo._Look(frames, struck, autocorrelation(frames), grid, struck)
    found = tempo._played(look, 40.0)
    assert found.tempo_bpm == pytest.approx(100.0, rel=0.02)
    assert found.rival_bpm == (rival and pytest.approx(rival))
    assert abs(np.log2(found.alternative_bpm / found.tempo_bpm)) == pytest.approx(1.0)


def test_the_other_octave_is_named(play):
    import mir_eval  # three quarters of a second to load

    found = tempo_of(play(0.2 + np.arange(61) * 60 / 100)[0])
    octaves = np.log2(found.alternative_bpm / found.tempo_bpm)
    assert abs(octaves) == pytest.approx(1.0, abs=1e-6)
    score = mir_eval.tempo.detection(
        np.array([50.0, 100.0]), 0.5, np.sort([found.tempo_bpm, found.alternative_bpm])
    )[0]
    assert score >= 0.5


@pytest.mark.parametrize(("frames", "beats", "bpm"), [(302400, 16, 140.0), (84000, 4, 126.0)])
def test_a_loop_cut_to_length_tells_its_tempo_to_the_frame(play, frames, beats, bpm):
    # 16 beats in 302400 frames at 44.1 kHz are 140 BPM: 16 * 60 * 44100 / 302400.
    samples = play(np.arange(beats + 1) * 60 / bpm)[0][:frames]
    found = tempo_of(samples)
    assert found.loop_beats == beats
    assert found.tempo_bpm == pytest.approx(bpm, rel=1e-9)
    assert found.first_beat_s == pytest.approx(0.0, abs=0.005)


def test_music_cut_anywhere_is_no_loop(play):
    samples = play(np.arange(49) * 60 / 126)[0][: int(13.13 * RATE)]
    found = tempo_of(samples)
    assert found.loop_beats is None
    assert found.tempo_bpm == pytest.approx(126, rel=5e-4)


def test_a_length_names_a_whole_tempo_only_to_the_frame():
    # 8 beats at 97 BPM are 8 * 60 * 44100 / 97 = 218226.8 frames.
    assert told_by_length(218227, 44100) == (8, 97.0)
    assert told_by_length(218233, 44100) is None
    assert told_by_length(8 * 44100, 44100) is None  # whole seconds say nothing


@pytest.mark.parametrize("drift", [4.0, -6.0])
def test_drift_of_played_material_is_measured(play, drift):
    import mir_eval  # three quarters of a second to load

    # Periods that shrink or grow evenly from end to end: tempo changes by `drift` per cent.
    n = 120
    periods = np.linspace(1 + drift / 200, 1 - drift / 200, n) * 60 / 104
    beats = 0.25 + np.concatenate([[0.0], np.cumsum(periods)])
    found = tempo_of(play(beats)[0])
    assert not found.steady
    assert found.drift_percent == pytest.approx(drift, rel=0.15)
    assert found.tempo_bpm == pytest.approx(104, rel=0.005)
    assert found.residual_s > 0.03
    assert mir_eval.beat.f_measure(beats[:-1], found.beats_s) > 0.9


def test_hands_are_followed_through_give_and_take(play):
    import mir_eval  # three quarters of a second to load

    rng = np.random.default_rng(7)
    periods = 60 / 96 * np.exp(np.clip(np.cumsum(rng.normal(0, 0.008, 100)), -0.1, 0.1))
    beats = 0.3 + np.concatenate([[0.0], np.cumsum(periods)])
    found = tempo_of(play(beats)[0])
    assert not found.steady
    assert mir_eval.beat.f_measure(beats[:-1], found.beats_s) > 0.85


def test_a_parabola_of_beats_gives_its_own_drift():
    # Worked by hand: period 0.5 s falling by 0.0002 s a beat over 100 beats.
    index = np.arange(101)
    bpm, drift, residual = tempo_line(0.5 * index - 0.0001 * index**2)
    assert drift == pytest.approx(100 * (0.5 / 0.48 - 1))
    assert bpm == pytest.approx(60 / 0.49)
    assert 0 < residual < 0.2


@pytest.mark.parametrize("what", ["pad", "noise", "random hits", "one hit", "silence"])
def test_what_keeps_no_beat_has_no_tempo_and_says_why(play, what):
    rng = np.random.default_rng(8)
    t = np.arange(int(11.3 * RATE)) / RATE
    hit = rng.normal(0, 1, 4000) * np.exp(-np.arange(4000) / 700)
    samples = np.zeros(len(t))
    if what == "pad":
        samples = sum(np.sin(2 * np.pi * f * t + f) for f in (220.0, 277.2, 329.6)) * 0.1
    elif what == "noise":
        samples = rng.normal(0, 0.1, len(t))
    elif what == "random hits":
        for at in rng.integers(0, len(t) - 4000, 40):
            samples[at : at + 4000] += 0.2 * hit
    elif what == "one hit":
        samples[9000:13000] = 0.2 * hit
    found = tempo_of(samples)
    assert found.tempo_bpm is None
    assert found.first_beat_s is None
    assert found.confidence == 0.0
    assert found.why_not


@pytest.mark.parametrize("shift", [0, 1, 3])
def test_bars_are_counted_from_the_beat_where_bass_and_harmony_move(play, note, shift):
    beats = np.arange(65) * 0.5
    samples, _ = play(beats)
    for bar, root in enumerate([45, 41, 48, 43] * 4):
        start = round((bar * 4 * 0.5) * RATE)
        chord = sum(note(root + step, 2.0) for step in (0, 7, 16)) * 0.15
        samples[start : start + len(chord)] += chord[: len(samples) - start]
    mono = soxr.resample(samples, RATE, RATE_HZ).astype(np.float32)
    bars = find_bars(mono, analyse(mono), beats[shift:-1])
    assert bars is not None
    assert bars.metre == 4
    assert bars.first == -shift % 4
    assert bars.confidence > 0.5


def test_three_in_a_bar_is_told_from_four(note):
    beats = np.arange(73) * 0.4
    samples = np.zeros(int(30 * RATE))
    for beat, at in enumerate(beats[:-1]):
        root = [45, 41, 43, 40][beat // 3 % 4]
        pitches = [root - 12, root] if beat % 3 == 0 else [root + 16, root + 19]
        chord = sum(note(p, 0.38) for p in pitches) * 0.15
        start = round(at * RATE)
        samples[start : start + len(chord)] += chord
    mono = soxr.resample(samples, RATE, RATE_HZ).astype(np.float32)
    bars = find_bars(mono, analyse(mono), beats[:-1])
    assert bars is not None
    assert (bars.metre, bars.first) == (3, 0)


def test_people_tap_120_most_readily_and_octaves_less_alike():
    # Parncutt 1994, Moelants 2002: a bell over log tempo about 120 BPM.
    assert preference(120.0) > max(preference(100.0), preference(150.0))
    assert preference(100.0) > preference(70.0) > preference(50.0)
    assert preference(150.0) > preference(190.0) > preference(240.0)


@settings(max_examples=6, deadline=None)
@given(delay=st.floats(0.0, 0.9))
def test_a_delay_moves_the_first_beat_by_as_much(play, delay):
    samples, _ = play(0.05 + np.arange(33) * 60 / 108)
    late = np.concatenate([np.zeros(round(delay * RATE)), samples])
    before, after = tempo_of(samples), tempo_of(late)
    assert after.first_beat_s - before.first_beat_s == pytest.approx(delay, abs=0.005)
    assert after.tempo_bpm == pytest.approx(before.tempo_bpm, rel=2e-4)


@settings(max_examples=6, deadline=None)
@given(ratio=st.floats(0.9, 1.1))
def test_a_platter_turning_faster_scales_the_tempo(play, ratio):
    samples, _ = play(0.05 + np.arange(33) * 60 / 108)
    faster = soxr.resample(samples, RATE * ratio, RATE)
    assert tempo_of(faster).tempo_bpm == pytest.approx(108 * ratio, rel=3e-4)


@settings(max_examples=6, deadline=None)
@given(gain_db=st.floats(-40, 2))
def test_gain_does_not_move_the_grid(play, gain_db):
    samples, _ = play(0.05 + np.arange(17) * 60 / 108)
    before, after = tempo_of(samples), tempo_of(samples * 10 ** (gain_db / 20))
    assert after.tempo_bpm == pytest.approx(before.tempo_bpm, rel=1e-5)
    assert after.first_beat_s == pytest.approx(before.first_beat_s, abs=1e-3)


def test_the_whole_study_carries_the_grid(play, file):
    found = study(file(play(0.1 + np.arange(33) * 60 / 92)[0]))
    assert found.tempo == pytest.approx(92.0, rel=2e-4)
    assert found.first_beat == pytest.approx(0.1, abs=0.010)
    assert found.first_downbeat == pytest.approx(0.1, abs=0.010)
    assert found.metre == 4
    assert found.rhythmic == ""
    assert found.kind == "instrumental"
    assert found.energy >= 2


@pytest.mark.parametrize("bpm", [52.0, 75.5, 120.0, 150.0, 174.0, 200.0])
@pytest.mark.parametrize("cut", [True, False], ids=["cut to length", "with a lead"])
def test_a_bare_count_is_its_own_tempo_however_fast(bpm, cut):
    t = np.arange(900) / RATE
    stroke = np.sin(2 * np.pi * 1000 * t) * np.exp(-t / 0.005)
    lead, count = (0.0, 32) if cut else (0.21, 32)
    samples = np.zeros(round((lead + count * 60 / bpm) * RATE))
    for number in range(count):
        start = round((lead + number * 60 / bpm) * RATE)
        samples[start : start + 900] += stroke * (1.0 if number % 4 == 0 else 0.6)
    found = tempo_of(samples * 0.7)
    assert found.tempo_bpm == pytest.approx(bpm, rel=2e-4)
    assert found.first_beat_s == pytest.approx(lead, abs=0.010)
    assert found.loop_beats == (count if cut else None)


def test_what_rings_out_behind_a_song_changes_none_of_its_tempo(play):
    """Drums at 120, then ripples at 138 that lie 48 dB below them, and ten seconds of nothing."""
    song, _ = play(np.arange(61) * 0.5)
    ripples, _ = play(np.arange(24) * 60 / 138)
    found = tempo_of(np.concatenate([song, 0.004 * ripples, np.zeros(10 * RATE)]))
    assert found.tempo_bpm == pytest.approx(120.0, rel=2e-4)
    assert found.steady
