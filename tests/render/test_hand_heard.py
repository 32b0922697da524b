"""The guide mix's hands measured: frequency at every moment, both ways; openings; no clicks.

The deck file holds cos on the left and sin on the right channel, so that the sound's phase, and
with it the record's direction, can be read off it. What it must be is written out here from the
movement's own formula, x(u) = way (10 u^3 - 15 u^4 + 6 u^5) (Flash and Hogan, J Neurosci 5 (1985)),
speed way / time * 30 u^2 (1 - u)^2.
"""

# ruff: noqa: E501
from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from liveaid.render.hand_heard import (
    CUT_S,
    _moving_gain,
    _without_jumps,
    fader_gain,
    heard_spans,
    passing,
    read_between,
)
from liveaid.routine import Routine, load_routine
from liveaid.routine.acts import acts_of

RATE_HZ = 44_100
BEAT_S = 0.5  # 120 BPM
PART = {"from": 1.0, "to": 1.3}  # 0.3 s of record


def tone(hz: float, length_s: float = 3.0) -> np.ndarray:
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    phase = 2 * np.pi * hz * time_s
    return np.stack([np.cos(phase), np.sin(phase)], axis=1).astype(np.float32)


def sweep(from_hz: float, hz_per_s: float, length_s: float = 3.0) -> np.ndarray:
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ - 1.0  # `from_hz` where the part begins
    phase = 2 * np.pi * (from_hz * time_s + 0.5 * hz_per_s * time_s**2)
    return np.stack([np.cos(phase), np.sin(phase)], axis=1).astype(np.float32)


def played(acts: dict[Any, str], deck: np.ndarray, beats: int = 16) -> np.ndarray:
    """What is heard of the acts, from the set piece's start."""
    right = {"hand": "works", "from": 1.0, "to": 1.3, "acts": acts, "places": {"a": PART}}
    piece = {"name": "P", "bars": 4, "tempo": 120, "right": right}
    routine = Routine.model_validate({"title": "T", "pieces": [piece]})
    heard = np.zeros((round(beats * BEAT_S * RATE_HZ), 2), dtype=np.float32)
    read = lambda frame, count: deck[frame : frame + count]  # noqa: E731
    for begin, sound in heard_spans(
        acts_of(routine, 0, "right"), read, beat_s=BEAT_S, rate_hz=RATE_HZ
    ):
        skipped = max(-begin, 0)
        heard[begin + skipped : begin + len(sound)] += sound[skipped:]
    return heard


def signed_hz(heard: np.ndarray) -> np.ndarray:
    """Frequency at each frame, below 0 where the record goes backward."""
    phase = np.unwrap(np.angle(heard[:, 0] + 1j * heard[:, 1]))
    return np.gradient(phase) * RATE_HZ / (2 * np.pi)


def written_speed(way_s: float, lasts_s: float, time_s: np.ndarray) -> np.ndarray:
    u = time_s / lasts_s
    return way_s / lasts_s * 30 * u**2 * (1 - u) ** 2


def test_a_baby_on_440_hz_gives_the_written_speeds_frequency_at_every_moment_both_ways():
    heard = played({0: "baby a for 2"}, tone(440.0))
    # Out over 0.3 s of record in one beat of 0.5 s, and back in the next: at most 1.875 * 0.6.
    half = round(BEAT_S * RATE_HZ)
    time_s = np.arange(half) / RATE_HZ
    speed = written_speed(0.3, BEAT_S, time_s)
    moves = speed > 0.12
    assert np.abs(signed_hz(heard)[:half] - 440.0 * speed)[moves].max() < 1.0
    assert np.abs(signed_hz(heard)[half : 2 * half] + 440.0 * speed)[moves].max() < 1.0
    assert signed_hz(heard)[half // 2] == pytest.approx(440.0 * 1.875 * 0.6, abs=0.5)  # 495 Hz


def test_a_record_let_go_sounds_at_its_pitch():
    heard = played({0: "set pitch +5", 1: "let go a for 1/2"}, tone(440.0))
    inside = signed_hz(heard)[round(0.55 * RATE_HZ) : round(0.7 * RATE_HZ)]
    assert inside == pytest.approx(462.0, abs=0.5)


def edges_s(heard: np.ndarray) -> tuple[list[float], list[float]]:
    """When the sound rises through half its level and when it falls through it."""
    open_now = np.hypot(heard[:, 0], heard[:, 1]) > 0.5
    steps = np.diff(open_now.astype(int))
    return tuple((np.flatnonzero(steps == way) / RATE_HZ).tolist() for way in (1, -1))


def test_a_transforms_openings_fall_within_a_millisecond():
    # Out in 1 beat, 0.5 s, 4 taps: slots of 0.125 s, open for the first half of each, 0.0625 s.
    rises, falls = edges_s(played({0: "transform a for 2 cuts 4", 4: "hold"}, tone(2000.0)))
    wanted = [0.125 * slot for slot in range(8)]
    # The first tap of each way opens on a record that stands: it is heard as the record moves.
    assert rises[1:4] == pytest.approx(wanted[1:4], abs=0.001)
    assert rises[5:8] == pytest.approx(wanted[5:8], abs=0.001)
    assert falls == pytest.approx([at + 0.0625 for at in wanted], abs=0.001)


def test_a_flares_clicks_fall_within_a_millisecond():
    # 0.5 s out, 1 click: 2 soundings of 0.25 s, shut for a quarter of one about their boundary.
    rises, falls = edges_s(played({0: "flare a for 2"}, tone(2000.0)))
    assert falls[0] == pytest.approx(0.25 - 0.03125, abs=0.001)
    assert rises[1] == pytest.approx(0.25 + 0.03125, abs=0.001)


def test_a_sweep_goes_up_pushed_and_down_pulled():
    """2000 Hz at the part's begin, 6000 Hz a second further on: at a quarter and three quarters of
    the time the record is at 0.1035 and 0.8965 of 0.3 s, both at 1.0547 * 0.6 of its speed."""
    deck = sweep(2000.0, 6000.0)
    forward = signed_hz(played({0: "forward a for 2"}, deck))
    backward = signed_hz(played({0: "backward a for 2"}, deck))
    early, late = (round(share * BEAT_S * RATE_HZ) for share in (0.25, 0.75))
    half = round(BEAT_S * RATE_HZ)
    speed = 30 * 0.25**2 * 0.75**2 * 0.6
    near, far = ((2000 + 6000 * 0.3 * part) * speed for part in (0.103515625, 0.896484375))
    assert forward[[early, late]] == pytest.approx([near, far], abs=2.0)
    assert backward[[half + early, half + late]] == pytest.approx([-far, -near], abs=2.0)


def band_hz(sound: np.ndarray) -> float:
    """The middle of a sound's spectrum, weighted by power."""
    power = np.abs(np.fft.rfft(sound[:, 0] * np.hanning(len(sound)))) ** 2
    return float((power * np.fft.rfftfreq(len(sound), 1 / RATE_HZ)).sum() / power.sum())


def test_the_two_ways_are_told_apart_by_their_spectra():
    deck, window = sweep(2000.0, 6000.0), round(0.1 * RATE_HZ)
    early, late = round(0.10 * RATE_HZ), round(0.30 * RATE_HZ)
    half = round(BEAT_S * RATE_HZ)
    forward, backward = (played({0: f"{name} a for 2"}, deck) for name in ("forward", "backward"))
    assert band_hz(forward[late : late + window]) > 1.3 * band_hz(forward[early : early + window])
    assert band_hz(backward[half + early : half + early + window]) > 1.3 * band_hz(
        backward[half + late : half + late + window]
    )


@pytest.mark.parametrize("figure", ["baby", "chirp", "transform", "tear", "scribble", "crab"])
def test_no_movement_clicks(figure: str):
    """From frame to frame no more than the fastest 440 Hz and the fader's 2 ms can change."""
    heard = played({0: f"{figure} a for 2", 3: "let go a for 1/2", 4: "stab a"}, tone(440.0))
    fastest = 0.3 / (BEAT_S / 4) * 1.875  # the part in an eighth of 2 beats at most
    most = 2 * np.pi * 440 * fastest / RATE_HZ + 1 / (0.002 * RATE_HZ)
    assert np.abs(np.diff(heard, axis=0)).max() < 1.1 * most


def test_a_pick_up_is_heard_from_before_the_set_piece():
    """Let go a beat before its first, .5 s at 120 BPM, half a cut of the fader earlier still."""
    right = {"hand": "works", "from": 1.0, "to": 1.3, "places": {"a": PART},
             "acts": {-1: "let go a for 1/2"}}  # fmt: skip
    piece = {"name": "P", "bars": 4, "tempo": 120, "right": right}
    routine = Routine.model_validate({"title": "T", "pieces": [piece]})
    deck = tone(440.0)
    ((begin, sound),) = heard_spans(
        acts_of(routine, 0, "right"), lambda frame, count: deck[frame : frame + count],
        beat_s=BEAT_S, rate_hz=RATE_HZ,
    )  # fmt: skip
    assert begin == round((-BEAT_S - 0.5 * CUT_S) * RATE_HZ)
    assert len(sound) == pytest.approx((BEAT_S / 2 + CUT_S) * RATE_HZ, abs=2)


def test_nothing_is_heard_while_the_fader_is_shut_or_the_record_stands():
    heard = played(
        {0: "forward a for 2", 4: "push a for 1", 6: "hold", 8: "pull for 1"}, tone(440.0)
    )
    beat = round(BEAT_S * RATE_HZ)
    assert np.abs(heard[beat + 90 : 4 * beat - 90]).max() == 0.0  # back with the fader closed
    assert np.abs(heard[5 * beat + 90 : 8 * beat - 90]).max() == 0.0


def test_between_frames_a_sine_is_read_as_it_is():
    """Against the sine itself, at 1 kHz and 8 kHz, at half and at full speed."""
    places = 2000 + np.arange(4000) * 0.5137
    for hz, least_db in ((1000.0, -80.0), (8000.0, -60.0)):
        step = 2 * np.pi * hz / RATE_HZ
        frames = np.arange(8000)
        samples = np.stack([np.sin(step * frames)] * 2, axis=1).astype(np.float32)
        off = read_between(samples, places, np.full(4000, 0.5))[:, 0] - np.sin(step * places)
        assert 20 * np.log10(np.abs(off).max()) < least_db


def test_a_tone_that_would_fold_back_is_taken_out():
    """15 kHz at three times the speed would be 45 kHz, folded to 900 Hz at 44.1 kHz."""
    samples = np.stack([np.sin(2 * np.pi * 15_000 / RATE_HZ * np.arange(30_000))] * 2, axis=1)
    fast = read_between(samples.astype(np.float32), 100 + np.arange(9000) * 3.0, np.full(9000, 3.0))
    assert np.sqrt(np.mean(fast**2)) < 0.01


@pytest.mark.parametrize("speed", [0.4, 1.0, 2.5])
def test_between_frames_a_sinc_in_kaisers_window_reads_what_lies_within_16(speed):
    """Frame by frame, by numpy's own Bessel function: sinc(d / speed) i0(9 sqrt(1 - (d / 16)^2)),
    brought to a sum of one; beyond the samples' ends the last of them."""
    samples = np.random.default_rng(8).uniform(-1, 1, (60, 2)).astype(np.float32)
    places = np.array([30.0, 30.25, 25.999, 7.5, 52.75])
    found = read_between(samples, places, np.full(5, speed))
    for place, heard in zip(places, found, strict=True):
        frames = np.floor(place) + np.arange(-15, 17)
        apart = frames - place
        kernel = np.sinc(apart / max(speed, 1.0)) * np.i0(9 * np.sqrt(1 - (apart / 16) ** 2))
        taken = samples[np.clip(frames.astype(int), 0, 59)]
        assert heard == pytest.approx(kernel @ taken / kernel.sum(), abs=1e-5)


def test_a_record_at_speed_is_read_as_it_lies_block_after_block():
    """20,000 frames from 1,000 on, forward and backward: more than two blocks of either."""
    deck = np.random.default_rng(9).uniform(-1, 1, (22_000, 2)).astype(np.float32)
    places = np.arange(1000.0, 21_000.0)
    read = lambda frame, count: deck[frame : frame + count]  # noqa: E731
    assert passing(places, read, rate_hz=RATE_HZ) == pytest.approx(deck[1001:20_999], abs=1e-6)
    back = passing(places[::-1], read, rate_hz=RATE_HZ)
    assert back == pytest.approx(deck[20_998:1000:-1], abs=1e-6)


def test_below_a_tenth_of_its_speed_a_record_fades():
    """And evened out twice over 2 ms, four frames at 2000 Hz: 1 3 6 10 13 15 sixteenths."""
    for speed, gain in ((0.0, 0.0), (0.05, 0.5), (0.099, 0.99), (0.1, 1.0), (2.0, 1.0)):
        assert _moving_gain(np.full(20, speed), 2000) == pytest.approx(np.full(20, gain))
    let_go = _moving_gain(np.repeat([0.0, 1.0], 10), 2000) * 16
    assert let_go.tolist() == pytest.approx([0] * 8 + [1, 3, 6, 10, 13, 15] + [16] * 6)


def test_the_fader_is_half_open_as_it_is_to_open_and_to_close():
    """A cut takes 2 ms, half of it on either side; an opening of 1 ms comes to three quarters."""
    times_s = np.array([0.9985, 0.999, 0.9995, 1.0, 1.0005, 1.001, 1.5, 1.9995, 2.0, 2.0005, 2.001])
    assert fader_gain(times_s, 1.0, 2.0) == pytest.approx(
        [0, 0, 0.25, 0.5, 0.75, 1, 1, 0.75, 0.5, 0.25, 0]
    )
    assert fader_gain(np.array([1.0005]), 1.0, 1.001) == pytest.approx([0.75])


def test_where_the_map_leaves_no_time_a_stretch_ends():
    """A way in no beats is a jump; what lasts, or goes no way, is none."""
    acts = [
        SimpleNamespace(way_s=way_s, beats=beats)
        for way_s, beats in (
            (0.3, 1.0),
            (-0.3, 0.0),
            (0.2, 1.0),
            (0.0, 0.0),
            (0.1, 2.0),
            (0.5, 0.0),
        )
    ]
    assert [list(group) for group in _without_jumps(acts)] == [acts[:1], acts[2:5], []]


# --- parts laid on a deck ------------------------------------------------------------------------

SCENE = """\
title: T
sounds:
  call: {file: call.wav, kind: a cappella, parts: {ho: {from: 0.2, to: 0.5}, hey: {from: 0.7, to: 0.9, attack: 0.72}}}
  bell: {file: bell.wav, kind: sample, parts: {ding: {from: 0.1, to: 0.45}}}
pieces:
  - name: A
    bars: 4
    tempo: 60
    right: {hand: works, acts: {0: baby ding, 2: stab ho, 4: baby ding, 6: stab hey, 8: baby ding, 10: stab ho}}
"""


@pytest.fixture(scope="module")
def laid(tmp_path_factory, render_into):
    import soundfile

    folder = tmp_path_factory.mktemp("parts")
    noise = np.random.default_rng(3).standard_normal((2, RATE_HZ)) * 0.1
    for name, sound in zip(("call", "bell"), noise * np.array([[1.0], [0.3]]), strict=True):
        soundfile.write(folder / f"{name}.wav", sound, RATE_HZ, "PCM_24")
    (folder / "routine.yaml").write_text(SCENE)
    render_into(folder)
    deck, _ = soundfile.read(folder / "decks" / "right.wav")
    return load_routine(folder / "decks" / "routine.yaml"), deck[:, 0], noise


def test_parts_lie_side_by_side_each_at_an_hour_of_its_own(laid):
    """The hand goes from `ding` to each of the two others: `ding` in the middle costs least.

    An hour of the clock face is 0.15 s of record. `hey` starts, its attack 0.02 s on at hour 0; it
    ends 0.2 s in. `ding` at hour 2 (0.32 s), ends 0.67; `ho` at the next hour with 0.06 s between,
    hour 5: 0.02 + 0.75 = 0.77. The other way round, `ho` first: `ding` at 0.45, `hey` at 0.9 - 0.02.
    """
    routine, _, _ = laid
    plan = routine.pieces[0].right
    places = {label: round(at.begin_s - plan.cue_s, 4) for label, at in plan.places.items()}
    hours = {label: round(at / 0.15, 6) % 12 for label, at in places.items()}
    assert set(hours.values()) == {round(hour) for hour in hours.values()}, "whole hours"
    assert len(set(hours.values())) == 3, "each its own"
    assert sorted(places, key=places.__getitem__)[1] == "ding"
    assert (plan.cue_s / 1.8) % 1.0 == pytest.approx(0.0, abs=1e-6), "the first act's place: 12 h"


def test_each_part_is_on_the_deck_where_the_map_says_and_as_loud_as_the_others(laid):
    routine, deck, noise = laid
    rms = []
    for label, sound, start_s in (("ho", noise[0], 0.2), ("ding", noise[1], 0.1)):
        at = routine.pieces[0].right.places[label]
        first, count = round(at.from_s * RATE_HZ), round((at.to_s - at.from_s) * RATE_HZ)
        inside = slice(200, count - 300)  # without the fades
        on_deck = deck[first : first + count][inside]
        source = sound[round(start_s * RATE_HZ) :][:count][inside]
        assert np.corrcoef(on_deck, source * (0.3 if label == "ding" else 1.0))[0, 1] > 0.98, label
        rms.append(np.sqrt(np.mean(on_deck**2)))
        beyond = deck[first + count + 50 : first + count + round(0.05 * RATE_HZ)]
        assert np.abs(beyond).max() < 1e-4, "silence between"
    assert 20 * np.log10(rms[0] / rms[1]) == pytest.approx(0.0, abs=1.0)


def test_the_placed_map_has_the_same_acts_in_the_deck_files_seconds(laid):
    routine, _, _ = laid
    acts = acts_of(routine, 0, "right")
    plan = routine.pieces[0].right
    assert acts[0].from_s == pytest.approx(plan.places["ding"].begin_s)
    assert acts[0].from_s == pytest.approx(plan.cue_s)
    assert {act.part for act in acts} == {"ho", "hey", "ding"}
