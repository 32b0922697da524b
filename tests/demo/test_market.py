"""The night market's sounds lie on their grid to the sample, and are the same on every machine."""

from __future__ import annotations

import inspect
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.demo import market, voices
from liveaid.demo.market import MarketSound, market_sounds, rendered, write_sounds
from liveaid.demo.voices import VOICES_RATE_HZ, drum_low, gong, hertz

SOUNDS = {sound.name: sound for sound in market_sounds()}


# Equal temperament against A4 = 440 Hz (ISO 16): A3 220 Hz, middle C 261.626 Hz (MIDI note 60).
@pytest.mark.parametrize(("note", "frequency"), [(69, 440.0), (57, 220.0), (60, 261.6256)])
def test_notes_have_the_pitch_of_the_table(note: int, frequency: float):
    assert hertz(note) == pytest.approx(frequency, abs=1e-3)


def test_the_same_seed_is_the_same_sound():
    sound = SOUNDS["wok-sizzle"]
    assert np.array_equal(rendered(sound, seed=3), rendered(sound, seed=3))


def test_written_files_are_whole_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    some = market_sounds()[5:7]  # short ones
    monkeypatch.setattr(market, "market_sounds", lambda: some)
    told: list[str] = []
    files = write_sounds(tmp_path, on_sound=told.append)
    assert told == [sound.name for sound in some]
    stamps = [file.stat().st_mtime_ns for file in files]
    assert [file.stat().st_mtime_ns for file in write_sounds(tmp_path)] == stamps
    files[1].write_bytes(b"an older market")
    assert soundfile.info(write_sounds(tmp_path)[1]).frames > VOICES_RATE_HZ
    info = soundfile.info(files[0])
    assert (info.samplerate, info.subtype) == (VOICES_RATE_HZ, "PCM_24")
    assert {path.suffix for path in tmp_path.iterdir()} == {".wav"}


@pytest.fixture
def score(monkeypatch):
    """score(sound name): every hit as (beat, voice, what it was asked for), none sounded."""

    def written(voice):
        asks = inspect.signature(getattr(voices, voice))

        def strike(*said, **more):
            bound = asks.bind(*said, **more)
            bound.apply_defaults()
            return voice, {k: v for k, v in bound.arguments.items() if k != "noise"}

        return strike

    for voice in ("drum_low", "drum_crack", "tin_tick", "bell", "bass", "pad", "call", "sizzle",
                  "gong", "whistle"):  # fmt: skip
        monkeypatch.setattr(voices, voice, written(voice))

    def of(name: str) -> list[tuple[float, str, dict]]:
        hits = SOUNDS[name].hits(np.random.default_rng(0))
        return [(beat, *struck) for beat, struck in hits]

    return of


def test_every_hit_is_on_its_sounds_grid_in_a_natural_minor_and_neither_drowns_nor_is_lost(score):
    """Sixteenths of a bar of four. A B C D E F G of ISO 16's table, and MIDI 21 (A0) to 108 (C8),
    a piano's, from memory. The softest accent is the last pulse under the gong, .6 * .85**11."""
    struck = []
    for name, sound in SOUNDS.items():
        for beat, _, said in score(name):
            struck.append(said)
            assert 0.0 <= beat < sound.beats, name
            assert beat * 4 == int(beat * 4), name
    notes = {note for said in struck for note in np.ravel(said.get("note", said.get("notes", 69)))}
    assert min(notes) >= 21
    assert max(notes) <= 108
    assert {int(note) % 12 for note in notes} <= {9, 11, 0, 2, 4, 5, 7}
    assert all(0.06 < said.get("accent", 1.0) <= 1.1 for said in struck)


def test_the_sounds_are_as_long_as_their_beats_after_their_lead_in():
    assert [(s.name, s.tempo_bpm, s.beats, s.lead_in_s) for s in market_sounds()] == [
        ("stall-break", 92.0, 4 * 24, 0.113),
        ("lantern-bells", 90.0, 4 * 32, 0.04),
        ("tram-groove", 98.0, 4 * 24, 0.075),
        ("steam-chords", 98.0, 4 * 16, 0.0),
        ("hawker-call", 92.0, 4 * 2, 0.25),
        ("wok-sizzle", 96.0, 2, 0.0),
        ("closing-gong", 96.0, 4 * 4, 0.0),
        ("tea-kettle", 120.0, 4 * 3, 0.0),
    ]


def test_hits_are_added_on_their_samples_and_the_loudest_is_an_eighth_and_a_half_below_full():
    """At 6000 beats a minute a beat is 441 samples; the lead-in is 4. A hit that lasts longer than
    the sound ends with it. The loudest, 2 + 2 at sample 4 + 441, becomes .84: -1.5 dB."""

    def hits(noise):
        del noise
        yield 0.0, np.full(443, 2.0)
        yield 1.0, np.array([-1.0, 2.0])
        yield 1.5, np.full(1000, -1.0)

    sound = MarketSound("short", 6000.0, 2, hits, lead_in_s=4 / 44_100)
    wanted = np.zeros(4 + 2 * 441)
    wanted[4 : 4 + 441] = 2.0
    wanted[4 + 441 : 4 + 443] = [1.0, 4.0]
    wanted[4 + 662 :] = -1.0  # a beat and a half are 661.5 samples, and 4 more: the even one
    assert rendered(sound, seed=0) == pytest.approx(0.21 * wanted)


def _bars(beats, *, of):
    """The same beats in each of so many bars of four."""
    return [4.0 * bar + beat for bar in range(of) for beat in beats]


EIGHTHS = _bars([0.5, 1.5, 2.5, 3.5], of=4)
ODD = [0.75, 2.25, 2.75]
PATTERNS = {
    ("stall-break", 6): [
        ([0, 4, 8, 12], "drum_low", {"accent": 1.0}),
        ([1.75, 2.5, *(4 + b for b in ODD), 9.75, 10.5, *(12 + b for b in ODD)],
         "drum_low", {"accent": 0.8}),
        ([1, 3, 5, 7, 9, 11, 13, 15], "drum_crack", {"accent": 1.0}),
        ([15.5, 15.75], "drum_crack", {"accent": 0.55}),
        (range(16), "tin_tick", {"accent": 0.9, "ring_s": 0.025}),
        (EIGHTHS, "tin_tick", {"accent": 0.6, "ring_s": 0.025}),
    ],
    ("tram-groove", 6): [
        ([0, 4, 8, 12], "drum_low", {"accent": 1.0}),
        (_bars([1.5, 2, 3.25], of=4), "drum_low", {"accent": 0.75}),
        (_bars([1, 3], of=4), "drum_crack", {"accent": 1.1}),
        (range(16), "tin_tick", {"accent": 0.8, "ring_s": 0.025}),
        (_bars([b + q for b in range(4) for q in (0.25, 0.5, 0.75)], of=4),
         "tin_tick", {"accent": 0.4, "ring_s": 0.025}),
        # A1 A1 C2 E2 D2 C2, and a fourth higher in every fourth bar.
        *[(_bars([beat], of=3), "bass", {"note": note, "duration_s": 0.42, "accent": 0.9})
          for beat, note in ((0, 33), (0.75, 33), (1.5, 36), (2, 40), (2.75, 38), (3.5, 36))],
        *[([12 + beat], "bass", {"note": note, "duration_s": 0.42, "accent": 0.9})
          for beat, note in ((0, 38), (0.75, 38), (1.5, 41), (2, 45), (2.75, 43), (3.5, 41))],
    ],
    ("steam-chords", 4): [
        # A minor, F major, C with its fifth below E, G with its third below.
        *[([beat], "pad", {"notes": notes, "duration_s": 2.6, "accent": 1.0})
          for beat, notes in ((0, (57, 60, 64)), (4, (53, 57, 60)), (8, (48, 55, 64)),
                              (12, (55, 59, 62)))],
        (range(16), "drum_low", {"accent": 0.5}),
        (EIGHTHS, "tin_tick", {"accent": 0.6, "ring_s": 0.025}),
    ],
    ("hawker-call", 1): [
        ([beat], "call", {"vowel": vowel, "note": note, "duration_s": lasts, "glide": glide})
        for beat, vowel, note, lasts, glide in (
            (0, "e", 69, 0.24, 0.0), (0.5, "o", 72, 0.55, -1.0), (2, "a", 69, 0.2, 0.0),
            (2.5, "i", 67, 0.45, 2.0), (4, "e", 69, 0.24, 0.0), (4.5, "a", 76, 0.8, -4.0))
    ],
    ("wok-sizzle", 1): [([0], "sizzle", {"duration_s": 0.42})],
    ("tea-kettle", 1): [([0], "whistle", {"note": 69, "duration_s": 6.0})],
    ("closing-gong", 1): [
        ([0], "gong", {"note": 45, "duration_s": 6.0}),
        *[([k], "drum_low", {"accent": 0.6 * 0.85**k}) for k in range(12)],
        *[([k + 0.5], "tin_tick", {"accent": 0.4 * 0.85**k, "ring_s": 0.025}) for k in range(12)],
    ],
}  # fmt: skip
"""Four bars written out by beat (our own tunes), and how often they come."""


@pytest.mark.parametrize(("name", "times"), PATTERNS)
def test_a_sound_is_played_as_it_is_written_out(score, name: str, times: int):
    wanted = [
        (16.0 * turn + beat, voice, said)
        for turn in range(times)
        for beats, voice, said in PATTERNS[name, times]
        for beat in beats
    ]
    assert sorted(score(name), key=str) == sorted(wanted, key=str)


def test_the_lantern_bells_climb_the_scale_every_four_bars(score):
    """A minor pentatonic from A4: 69 72 74 76 79 81 84 86 88. A bar's figure is its degrees
    0 3 5 4 6 5 3 2; four bars on, each is one degree higher, and past the top it begins again."""
    hits = score("lantern-bells")
    assert len(hits) == 32 * (1 + 8 + 4)

    def of(bar: int, voice: str) -> list[tuple[float, float, float]]:
        return [
            (beat - 4 * bar, said.get("note"), said["accent"])
            for beat, struck, said in hits
            if struck == voice and 4 * bar <= beat < 4 * bar + 4
        ]

    steps = [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5]
    loud = [1.0] + 7 * [0.7]
    for bar, notes in (
        (0, (69, 76, 81, 79, 84, 81, 76, 74)),
        (3, (69, 76, 81, 79, 84, 81, 76, 74)),
        (4, (72, 79, 84, 81, 86, 84, 79, 76)),
        (31, (86, 72, 76, 74, 79, 76, 72, 69)),
    ):
        assert of(bar, "bell") == list(zip(steps, notes, loud, strict=True))
        assert of(bar, "tin_tick") == [(beat, None, 0.5) for beat in range(4)]
    # A1 F1 C2 G1 under them.
    assert [of(bar, "bass") for bar in range(4, 8)] == [
        [(0, note, 1.0)] for note in (33, 29, 36, 31)
    ]
    lasts = {(voice, said.get("duration_s")) for _, voice, said in hits}
    assert lasts == {("bass", 1.6), ("bell", 1.2), ("tin_tick", None)}


@pytest.mark.parametrize(
    ("sound", "frames", "turns", "loud"),
    [
        (lambda noise: voices.drum_low(0.5), 14112, 38, [0.2342, 0.256, 0.1248, 0.0602, 0.0296]),
        (lambda noise: voices.drum_crack(noise, 0.5), 9702, 4372,
         [0.1924, 0.1647, 0.0595, 0.021, 0.0074]),
        (lambda noise: voices.tin_tick(noise, 0.5), 8820, 6432,
         [0.1242, 0.0861, 0.0124, 0.0017, 0.0002]),
        (lambda noise: voices.tin_tick(noise, 1.0, 0.04), 11025, 8061,
         [0.2508, 0.1958, 0.0435, 0.0089, 0.0019]),
        (lambda noise: voices.bell(69, 0.5, 0.5), 22050, 868,
         [0.1367, 0.1546, 0.1173, 0.0888, 0.0673]),
        (lambda noise: voices.bass(45, 0.5, 0.5), 22050, 110,
         [0.0972, 0.1633, 0.0984, 0.0598, 0.0361]),
        (lambda noise: voices.pad((57, 64), 0.5, 0.5), 22050, 362,
         [0.0129, 0.0739, 0.1059, 0.0865, 0.0425]),
        (lambda noise: voices.call("a", 69, 0.3, 2.0), 13230, 561,
         [0.0259, 0.2768, 0.2816, 0.2831, 0.2099]),
        (lambda noise: voices.sizzle(noise), 18522, 7606,
         [0.1773, 0.2668, 0.1442, 0.0785, 0.0417]),
        (lambda noise: voices.gong(45, 1.0), 44100, 291,
         [0.2259, 0.3161, 0.2449, 0.1966, 0.114]),
        (lambda noise: voices.whistle(69, 0.5), 22050, 440,
         [0.0195, 0.6941, 0.7344, 0.7345, 0.6942]),
    ],
)  # fmt: skip
def test_a_voice_sounds_as_it_was_listened_to(sound, frames, turns, loud):
    """Kept: how often it goes through nothing, and the root mean square of its first millisecond
    and of its quarters. A4 for half a second goes through nothing 440 times, A2 110 times; four
    harmonics of 1, 1/4, 1/9, 1/16 have together sqrt((1 + 1/16 + 1/81 + 1/256) / 2) = .7343."""
    heard = sound(np.random.default_rng(7))
    assert heard.size == frames
    assert np.count_nonzero(np.diff(np.sign(heard))) == turns
    parts = [heard[:44], *np.array_split(heard, 4)]
    assert [np.sqrt(np.mean(part**2)) for part in parts] == pytest.approx(loud, abs=6e-5)


def test_vowels_have_their_formants_by_peterson_and_barney():
    """First three formants in Hz, 1952's table of men's voices, from memory."""
    assert voices._VOWELS == {
        "a": (730, 1090, 2440),
        "o": (570, 840, 2410),
        "i": (270, 2290, 3010),
        "e": (530, 1840, 2480),
        "u": (300, 870, 2240),
    }


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
