"""A sound whose tempo moves comes out even: every beat of it on the routine's own grid."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.render.cut import cut, edge_frames, recipe
from liveaid.render.to_tempo import recorded
from liveaid.routine.acts import sounds_used
from liveaid.routine.layout.evened import counted_as, evened
from liveaid.routine.layout.lay import grain_of, lay_out_decks
from liveaid.routine.layout.material import Material, material_of
from liveaid.routine.layout.uses import uses_of
from liveaid.routine.model import Routine, Sound
from liveaid.study import Study, study

RATE_HZ = 44_100
TEMPO_BPM = 100.0
WITHIN_S = 0.005
"""What the beats of a followed sound may lie beside the grid."""


def ramp_beats(first_bpm: float, last_bpm: float, count: int) -> np.ndarray:
    """Seconds of beats whose tempo goes evenly from one to another: the n-th after (n - 1) beats
    whose lengths are 60 / tempo."""
    tempo = np.linspace(first_bpm, last_bpm, count - 1)
    return 0.2 + np.concatenate([[0.0], np.cumsum(60.0 / tempo)])


def drums(beats_s: np.ndarray) -> np.ndarray:
    """A thump on every beat, loud from its first sample, a soft tick halfway, shape (frames,)."""
    dice = np.random.default_rng(3)
    sound = np.zeros(round((beats_s[-1] + 1.0) * RATE_HZ))
    time_s = np.arange(round(0.1 * RATE_HZ)) / RATE_HZ
    noise = dice.standard_normal(len(time_s))
    hit = np.exp(-time_s / 0.025) * (np.cos(2 * np.pi * 110 * time_s) + 0.2 * noise)
    tick = np.exp(-time_s / 0.01) * noise
    halves = (beats_s[1:] + beats_s[:-1]) / 2
    for times, what, gain in ((beats_s, hit, 0.3), (halves, tick, 0.01)):
        for at in np.round(times * RATE_HZ).astype(int):
            sound[at : at + len(what)] += gain * what
    return sound


@pytest.fixture(scope="module")
def ramp(tmp_path_factory: pytest.TempPathFactory) -> tuple[Study, np.ndarray, np.ndarray]:
    """A ramp of 17 %, studied: the facts, the beats' seconds and the sound."""
    beats_s = ramp_beats(92.0, 108.0, 65)
    file = tmp_path_factory.mktemp("ramp") / "ramp.wav"
    sound = drums(beats_s)
    soundfile.write(file, sound, RATE_HZ)
    return study(file), beats_s, sound


def routine(*, bars: int = 12, sound: Sound | None = None, bars_in: int = 0) -> Routine:
    runs = {"hand": "runs", "sound": "market", "bars_in": bars_in}
    return Routine(
        title="Ramp",
        sounds={"market": sound or Sound(file="market.wav", kind="instrumental")},
        pieces=({"name": "Stalls", "bars": bars, "tempo": TEMPO_BPM, "left": runs},),  # type: ignore[arg-type]
    )


def material(facts: Study, map_: Routine, frames: int) -> Material:
    places = sounds_used(map_)["market"]
    return material_of(map_, "market", places, frames=frames, rate_hz=RATE_HZ, study=facts)


def rendered(facts: Study, sound: np.ndarray, map_: Routine) -> np.ndarray:
    """What render puts on the left deck from the first beat on, one channel."""
    materials = {"market": material(facts, map_, len(sound))}
    uses, faults = uses_of(map_, materials)
    assert faults == []
    (laid,) = lay_out_decks(map_, uses, materials, grain_of(map_))["left"].laid
    made, _ = cut(
        laid.passage,
        materials=materials,
        recorded=lambda name: recorded(sound.astype(np.float32), RATE_HZ, loop=False),
        rate_hz=RATE_HZ,
        wanted_lufs=-14.0,
    )
    head, tail = edge_frames(RATE_HZ)
    return made[head : -tail - 200, 0]  # the next beat begins with the tail


def thumps_s(sound: np.ndarray) -> np.ndarray:
    """Seconds at which the loud hits begin: the first sample above a third of the loudest."""
    loud = np.flatnonzero(np.abs(sound) > np.abs(sound).max() / 3)
    return loud[np.diff(loud, prepend=-RATE_HZ) > 0.2 * RATE_HZ] / RATE_HZ


def off_grid(found_s: np.ndarray) -> np.ndarray:
    """How far each lies from the nearest beat at TEMPO_BPM, a beat on 0."""
    beats = found_s * TEMPO_BPM / 60.0
    return (beats - np.round(beats)) * 60.0 / TEMPO_BPM


def test_the_beats_of_a_ramp_lie_on_the_routines_grid(ramp):
    facts, _, sound = ramp
    found = thumps_s(rendered(facts, sound, routine()))
    assert len(found) == 48  # twelve bars of four
    assert np.abs(off_grid(found)).max() < WITHIN_S


def test_a_ramp_that_is_not_to_be_followed_runs_off_the_grid(ramp):
    facts, _, sound = ramp
    left = Sound(file="market.wav", kind="instrumental", follow=False)
    assert np.abs(off_grid(thumps_s(rendered(facts, sound, routine(sound=left))))).max() > 0.1


def test_bars_in_are_counted_by_the_followed_beats(ramp):
    facts, beats_s, sound = ramp
    map_ = routine(bars=2, bars_in=5)
    found = material(facts, map_, len(sound)).evened
    assert found is not None
    # The fifth bar's first beat is the 20th after the first.
    (use,) = uses_of(map_, {"market": material(facts, map_, len(sound))})[0]["left"]
    assert found.to_file(use.segment.start_s) == pytest.approx(beats_s[20], abs=WITHIN_S)


def test_a_map_that_states_tempo_and_first_beat_keeps_its_one_grid(ramp):
    facts, _, sound = ramp
    stated = {"kind": "instrumental", "tempo_bpm": 100.0, "first_beat_s": 0.2}
    said = Sound(file="market.wav", **stated)  # type: ignore[arg-type]
    wants = Sound(file="market.wav", follow=True, **stated)  # type: ignore[arg-type]
    another = Sound(file="market.wav", kind="instrumental", tempo_bpm=77.0)
    frames = len(sound)
    assert material(facts, routine(sound=said), frames).evened is None
    assert material(facts, routine(sound=wants), frames).evened is not None
    assert material(facts, routine(sound=another), frames).evened is None


def test_a_first_beat_set_by_hand_begins_at_the_followed_beat_nearest(ramp):
    facts, beats_s, sound = ramp
    said = Sound(file="market.wav", kind="instrumental", first_beat_s=float(beats_s[2]) + 0.03)
    found = material(facts, routine(sound=said), len(sound))
    assert found.evened is not None
    assert found.evened.to_file(found.first_beat_s) == pytest.approx(beats_s[2], abs=WITHIN_S)


def test_a_named_part_of_a_followed_sound_keeps_the_grid_too(ramp):
    facts, beats_s, sound = ramp
    # Eight beats from the 40th on, where the tempo has risen from 92 to 102 BPM; mean 99.6.
    bars = {"from": beats_s[40] - 0.05, "to": beats_s[48] - 0.05, "attack": beats_s[40]}
    said = {"kind": "instrumental", "tempo": 99.6, "follow": True, "parts": {"turn": bars}}
    works = {"hand": "works", "sound": "market", "acts": {0: "baby turn"}}
    map_ = Routine(
        title="Ramp",
        sounds={"market": {"file": "market.wav", **said}},  # type: ignore[dict-item]
        pieces=({"name": "Stalls", "bars": 4, "tempo": TEMPO_BPM, "left": works},),  # type: ignore[arg-type]
    )
    found = thumps_s(rendered(facts, sound, map_))
    assert len(found) == 8
    assert np.abs(off_grid(found - found[0])).max() < WITHIN_S
    # It ends where the part does: eight beats of 0.6 s.
    (use,) = uses_of(map_, {"market": material(facts, map_, len(sound))})[0]["left"]
    assert use.parts[0].segment.length_s == pytest.approx(4.8, abs=WITHIN_S)


def test_a_steady_sound_is_one_piece(ramp):
    facts, _, sound = ramp
    steady = replace(facts, beats_s=(), steady=True)
    map_ = routine(bars=2)
    materials = {"market": material(steady, map_, len(sound))}
    (laid,) = lay_out_decks(map_, uses_of(map_, materials)[0], materials, grain_of(map_))[
        "left"
    ].laid
    said = recipe(laid.passage, materials=materials, rate_hz=RATE_HZ, wanted_lufs=-14.0)
    assert len(said.splitlines()) == 2  # the deck's measures, and the one stretch


def test_half_and_double_readings_are_counted_from_the_same_beats():
    beats = (1.0, 1.5, 2.1, 2.6)
    assert counted_as(beats, 110.0, 109.0) == beats
    assert counted_as(beats, 110.0, 55.0) == (1.0, 2.1)
    assert counted_as(beats, 110.0, 220.0) == pytest.approx((1.0, 1.25, 1.5, 1.8, 2.1, 2.35, 2.6))
    assert counted_as(beats, 110.0, 92.0) is None


def test_even_seconds_and_back():
    # Eight beats of 0.5 s, then eight of 0.6 s, at 100 BPM: every beat is 0.6 s long.
    beats = [1.0 + 0.5 * k for k in range(9)] + [5.0 + 0.6 * k for k in range(1, 9)]
    found = evened(beats, 100.0)
    assert found is not None
    assert found.file_s == pytest.approx((1.0, 5.0, 9.8))
    assert found.even_s == pytest.approx((1.0, 5.8, 10.6))
    for number, beat in enumerate(beats):
        assert found.to_even(beat) == pytest.approx(1.0 + 0.6 * number)
        assert found.to_file(found.to_even(beat)) == pytest.approx(beat)
    # Before the first and after the last beat it goes on as beside them.
    assert found.to_file(0.4) == pytest.approx(0.5)
    assert found.to_file(11.2) == pytest.approx(10.4)
    # Two beats about the change: 0.5 s and 0.6 s of the file, each 0.6 even seconds.
    pieces = [pytest.approx(piece) for piece in [(4.5, 0.5, 0.6), (5.0, 0.6, 0.6)]]
    assert list(found.stretches(5.2, 1.2)) == pieces


def test_the_steps_between_pieces_are_as_few_as_keep_every_beat_at_its_place():
    beats = list(ramp_beats(95.0, 105.0, 80))
    found = evened(beats, 100.0)
    assert found is not None
    off = [found.to_even(beat) - 0.6 * n - beats[0] for n, beat in enumerate(beats)]
    assert max(map(abs, off)) < 0.0025
    assert len(found.file_s) < 30
    assert all(b > a for a, b in pairwise(found.even_s))


def test_a_passage_stretched_with_its_key_kept_is_even_too(ramp):
    facts, _, sound = ramp
    kept = Sound(file="market.wav", kind="instrumental", stretch=True)
    found = thumps_s(rendered(facts, sound, routine(bars=4, sound=kept)))
    assert len(found) == 16
    assert np.abs(off_grid(found)).max() < 0.01  # the stretcher's own onsets spread by some ms


def test_what_is_heard_of_a_fit_is_followed_too(ramp, tmp_path: Path):
    from liveaid.fit.audition import AUDITION_RATE_HZ, ToHear, audition
    from liveaid.fit.fit import fits

    facts, _, sound = ramp
    file = tmp_path / "ramp.wav"
    soundfile.write(file, sound, RATE_HZ)
    (fit,) = fits(facts, {"same": facts})
    mix = audition(ToHear(str(file), facts), ToHear(str(file), facts), fit)
    assert AUDITION_RATE_HZ == RATE_HZ
    found = thumps_s(mix[:, 0]) * facts.tempo / TEMPO_BPM
    assert len(found) == 32  # eight bars of four
    assert np.abs(off_grid(found - found[0])).max() < WITHIN_S
