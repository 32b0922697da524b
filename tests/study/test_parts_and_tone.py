"""Parts and tones against sounds whose every begin, end and frequency is known by making them."""

from __future__ import annotations

import itertools
import json
import shutil
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from liveaid.commands.gather import command
from liveaid.demo.market import market_sounds, rendered
from liveaid.routine.load import read_routine
from liveaid.study import part_finding
from liveaid.study.part_finding import find_hits, parts_of
from liveaid.study.tone import find_tone

RATE_HZ = 44_100


def noise_bursts(*spans: tuple[float, float, float], length_s: float = 3.0) -> np.ndarray:
    """Noise at a level from one second to another, silence between."""
    sound = np.zeros(round(length_s * RATE_HZ), dtype=np.float32)
    noise = np.random.default_rng(1).standard_normal(len(sound)).astype(np.float32)
    for start, end, level in spans:
        inside = slice(round(start * RATE_HZ), round(end * RATE_HZ))
        sound[inside] = level * noise[inside]
    return sound


def test_each_burst_is_a_part_from_just_before_its_attack_to_its_end():
    sound = noise_bursts((0.5, 0.8, 0.2), (1.2, 1.3, 0.1), (2.0, 2.6, 0.2))
    parts = find_hits(sound, RATE_HZ, [0.5, 1.2, 2.0])
    assert [part.name for part in parts] == ["high1", "high2", "high3"]
    assert [part.attack_s for part in parts] == [0.5, 1.2, 2.0]
    assert [part.from_s for part in parts] == [0.49, 1.19, 1.99]
    assert [part.to_s for part in parts] == pytest.approx([0.8, 1.3, 2.6], abs=0.006)


def test_where_nothing_parts_them_one_ends_as_the_next_begins():
    parts = find_hits(noise_bursts((0.5, 1.5, 0.2)), RATE_HZ, [0.5, 1.0])
    assert (parts[0].to_s, parts[1].from_s) == (0.99, 0.99)


def test_what_is_too_short_or_too_faint_is_no_part():
    sound = noise_bursts((0.5, 0.8, 0.2), (1.2, 1.23, 0.2), (2.0, 2.4, 0.002))
    assert [p.attack_s for p in find_hits(sound, RATE_HZ, [0.5, 1.2, 2.0])] == [0.5]
    assert find_hits(np.zeros(1000, np.float32), RATE_HZ, [0.0]) == ()
    assert find_hits(sound, RATE_HZ, []) == ()


@pytest.mark.parametrize(
    ("bursts", "onsets_s", "parts"),
    [
        # 1 loud, 29 dB softer, 31 dB softer: over where it is 30 dB down, or 10 ms before the end.
        (((0.5, 0.8, 1.0), (0.8, 1.0, 0.0355), (1.0, 1.5, 0.0282)), [0.5], [(0.49, 1.0, 0.5)]),
        (((0.5, 0.8, 1.0), (0.8, 2.0, 0.0355)), [0.5], [(0.49, 1.99, 0.5)]),
        (((0.5, 0.8, 1.0),), [0.50037], [(0.49, 0.8, 0.5)]),  # told to the millisecond
        # Or 10 ms before the next.
        (((0.5, 0.8, 1.0), (0.8, 1.5, 0.1)), [0.5, 0.8], [(0.49, 0.79, 0.5), (0.79, 1.5, 0.8)]),
        # It swells to its loudest: softer before that is not over.
        (((0.5, 0.6, 0.01), (0.6, 0.8, 1.0)), [0.5], [(0.49, 0.8, 0.5)]),
        # 50 ms are a part, 45 are none; nothing begins before the sound.
        (((0.0, 0.05, 1.0),), [0.0], [(0.0, 0.05, 0.0)]),
        (((0.005, 0.105, 1.0),), [0.005], [(0.0, 0.105, 0.005)]),
        (((0.5, 0.545, 1.0),), [0.5], []),
        (((0.5, 0.8, 1.0),), [0.5, 0.555], [(0.545, 0.8, 0.555)]),
        # 33 dB softer than the loudest is one, 35 dB none, where the loudest ends or far from it.
        (((0.5, 0.8, 1.0), (1.2, 1.4, 0.0224)), [0.5, 1.2], [(0.49, 0.8, 0.5), (1.19, 1.4, 1.2)]),
        (((0.5, 0.8, 1.0), (1.2, 1.4, 0.0178)), [0.5, 1.2], [(0.49, 0.8, 0.5)]),
        (((0.5, 0.8, 1.0), (0.8, 1.4, 0.0178)), [0.5, 0.8], [(0.49, 0.79, 0.5)]),
        # Two in one place are one.
        (((0.5, 0.8, 1.0),), [0.5, 0.501], [(0.491, 0.801, 0.501)]),
        # What is said to begin before the sound, or as it ends, does not.
        (((0.5, 0.8, 1.0),), [-0.1, 0.5, 2.0], [(0.49, 0.8, 0.5)]),
    ],
)
def test_a_hit_lasts_until_it_is_thirty_decibels_down(bursts, onsets_s, parts):
    """A square wave of 441 Hz, two seconds with silence: ten periods are 1,000 samples."""
    sound = np.zeros(2 * RATE_HZ, np.float32)
    wave = np.tile(np.repeat(np.float32([1, -1]), 50), len(sound) // 100)
    for start, end, level in bursts:
        inside = slice(round(start * RATE_HZ), round(end * RATE_HZ))
        sound[inside] = level * wave[inside]
    found = find_hits(sound, RATE_HZ, onsets_s)
    assert [(part.from_s, part.to_s, part.attack_s) for part in found] == parts


def test_a_level_is_the_root_of_the_mean_square_of_five_milliseconds():
    """220.5 samples at 44.1 kHz, the edges rounded to whole ones; silence behind the end."""
    sound = np.random.default_rng(2).normal(0.0, 0.1, 1000).astype(np.float32)
    edges = [0, 220, 441, 662, 882, 1102]
    silent = np.concatenate([sound, np.zeros(200)])
    wanted = [np.sqrt(np.mean(silent[a:b] ** 2)) for a, b in itertools.pairwise(edges)]
    assert part_finding._levels(sound, RATE_HZ) == pytest.approx([*wanted, 0.0], rel=1e-5)


@pytest.mark.parametrize(
    ("hz", "sort"), [(490, "low1"), (510, "mid1"), (2490, "mid1"), (2510, "high1")]
)
def test_a_hit_is_low_to_500_hz_and_high_from_2500_on(hz, sort):
    """Half a second that swells and sinks as Hann's window does, so that it has no other pitch."""
    sound = np.hanning(RATE_HZ // 2) * np.sin(2 * np.pi * hz * np.arange(RATE_HZ // 2) / RATE_HZ)
    (part,) = find_hits(sound.astype(np.float32), RATE_HZ, [0.0])
    assert part.name == sort


@pytest.mark.parametrize(
    ("said", "kind", "voice", "as_words"),
    [
        ("", "a cappella", 0.0, True),
        ("", "sample", 0.9, True),
        ("", "sample", 0.89, False),
        ("", "instrumental", 1.0, False),
        ("hey", "instrumental", 0.0, True),
    ],
)
def test_speech_and_what_has_a_text_is_cut_into_words_all_else_into_hits(
    monkeypatch, tmp_path, said, kind, voice, as_words
):
    facts = SimpleNamespace(kind=kind, voice=voice, onsets_s=(0.5,))
    asked = []
    monkeypatch.setattr(part_finding, "measure", lambda path: facts)
    monkeypatch.setattr(part_finding, "studied_mono", lambda path: np.zeros(9, np.float32))
    monkeypatch.setattr(part_finding, "find_hits", lambda *heard: ())
    monkeypatch.setattr(
        part_finding, "find_words", lambda *heard, named: asked.append((heard[-1], named)) or ()
    )
    for text in ("", "ya oh"):
        (tmp_path / "hot-nuts.txt").write_text(text)
        assert part_finding.parts_of(tmp_path / "hot-nuts.wav", said) == ()
    # What is said is known from the option, else from the text beside, else from the name.
    assert asked[:-1] == ([(said, "" if said else "hot nuts")] if as_words else [])
    assert asked[-1] == (said or "ya oh", "")


def test_of_a_text_beside_a_sound_no_more_is_read_than_a_book_has(tmp_path):
    (tmp_path / "call.txt").write_text("a" * 100_001)
    assert part_finding.text_beside(tmp_path / "call.wav") == "a" * 100_000
    assert part_finding.text_beside(tmp_path / "other.wav") == ""


def test_hits_are_named_by_how_bright_they_are():
    time_s = np.arange(RATE_HZ // 5) / RATE_HZ
    sound = np.zeros(RATE_HZ * 2, dtype=np.float32)
    for at, hz in ((0.2, 80), (0.7, 1000), (1.2, 6000)):
        begin = round(at * RATE_HZ)
        sound[begin : begin + len(time_s)] = 0.3 * np.sin(2 * np.pi * hz * time_s)
    names = [p.name for p in find_hits(sound, RATE_HZ, [0.2, 0.7, 1.2])]
    assert names == ["low1", "mid1", "high1"]


@pytest.mark.parametrize("hz", [82.41, 220.0, 440.0, 441.7, 987.77])
def test_a_tones_frequency_and_span_are_those_it_was_made_with(hz: float):
    time_s = np.arange(RATE_HZ) / RATE_HZ
    tone = sum(np.sin(2 * np.pi * hz * n * time_s) / n for n in range(1, 5))
    sound = np.concatenate([np.zeros(RATE_HZ // 2), 0.2 * tone, np.zeros(RATE_HZ // 2)])
    found = find_tone(sound.astype(np.float32), RATE_HZ)
    assert found is not None
    assert 1200 * abs(np.log2(found.hz / hz)) < 2.0  # cents
    assert found.from_s == pytest.approx(0.5, abs=0.06)
    assert found.to_s == pytest.approx(1.5, abs=0.06)


@pytest.mark.parametrize(
    ("hz", "rate_hz", "partials"),
    [(60.5, 8_000, 1), (2_000.0, 8_000, 1), (1_318.5, 8_000, 2), (2_999.0, 11_025, 1),
     (2_000.0, 22_050, 5), (2_793.8, 48_000, 6)],
)  # fmt: skip
def test_a_tone_is_right_to_a_cent_at_every_sampling_rate(hz, rate_hz, partials):
    # By arithmetic: what is told is the frequency that was summed.
    time_s = np.arange(round(0.32 * rate_hz)) / rate_hz
    tone = sum(np.sin(2 * np.pi * n * hz * time_s + n) / n for n in range(1, partials + 1))
    found = find_tone((0.2 * tone).astype(np.float32), rate_hz)
    assert found is not None
    assert 1200 * abs(np.log2(found.hz / hz)) < 1.0


def test_a_tone_too_high_to_be_measured_is_not_told_an_octave_too_low():
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    assert find_tone((0.3 * np.sin(2 * np.pi * 4_000 * time_s)).astype(np.float32), RATE_HZ) is None


def test_of_two_notes_the_longer_is_the_tone_and_a_glide_is_none():
    def sine(hz: float, length_s: float) -> np.ndarray:
        return 0.3 * np.sin(2 * np.pi * hz * np.arange(round(length_s * RATE_HZ)) / RATE_HZ)

    found = find_tone(np.concatenate([sine(330, 0.5), sine(440, 1.0)]).astype(np.float32), RATE_HZ)
    assert found is not None
    assert found.hz == pytest.approx(440.0, abs=0.5)
    glide = 0.3 * np.sin(2 * np.pi * np.cumsum(np.linspace(200, 800, RATE_HZ)) / RATE_HZ)
    assert find_tone(glide.astype(np.float32), RATE_HZ) is None
    assert find_tone(np.zeros(RATE_HZ, np.float32), RATE_HZ) is None


@pytest.fixture(scope="module")
def call(tmp_path_factory):
    """The hawker's call of the demo: its syllables on beats of 60 / 92 s after 0.25 s."""
    sounds = {sound.name: (number, sound) for number, sound in enumerate(market_sounds())}
    number, sound = sounds["hawker-call"]
    file = tmp_path_factory.mktemp("call") / "hawker-call.wav"
    soundfile.write(file, rendered(sound, seed=number), RATE_HZ, "PCM_24")
    return file


def test_gather_prints_parts_that_can_be_pasted_and_heard(call, tmp_path):
    where = str(tmp_path / "parts")
    said = CliRunner().invoke(
        command, ["--parts", str(call), "--text", "hey ya oh", "--write", where]
    )
    assert said.exit_code in (0, None), said.output
    pasted = "\n".join(line for line in said.output.splitlines() if not line.startswith("#"))
    text = (
        f"title: T\nsounds:\n  call:\n    file: {call.name}\n{pasted}\n"
        "pieces:\n  - {name: P, bars: 1, tempo: 92}\n"
    )
    sound = read_routine(text.encode()).sounds["call"]
    assert list(sound.parts) == ["hey", "ya", "oh"]
    untold = parts_of(call)
    beats = (0.0, 0.5, 2.0, 2.5, 4.0, 4.5)
    attacks = [part.attack_s for part in untold]
    assert attacks == pytest.approx([0.25 + beat * 60 / 92 for beat in beats], abs=0.005)
    files = sorted((tmp_path / "parts").iterdir())
    assert [file.name for file in files] == [
        f"hawker-call-{name}.wav" for name in ("hey", "oh", "ya")
    ]
    first = sound.parts["hey"]
    assert soundfile.info(files[0]).duration == pytest.approx(first.to_s - first.from_s, abs=1e-3)


def test_parts_corrected_in_the_map_are_heard_as_they_stand_there(call, tmp_path):
    (tmp_path / "routine.yaml").write_text(
        f"title: T\nsounds:\n  call:\n    file: {call.name}\n"
        "    parts: {hey: {from: 0.2, to: 0.7, attack: 0.26}}\n"
        "  other: {file: o.wav}\npieces:\n  - {name: P, bars: 1, tempo: 92}\n"
    )
    shutil.copy(call, tmp_path)
    asked = ["--in", str(tmp_path), "--write", str(tmp_path / "w"), "--json"]
    said = CliRunner().invoke(command, ["--parts", "call", *asked])
    facts = json.loads(said.output)
    assert facts["parts"] == {"hey": {"from": 0.2, "to": 0.7, "attack": 0.26}}
    (file,) = facts["written"]
    assert soundfile.info(file).duration == pytest.approx(0.5, abs=1e-3)
    none = CliRunner().invoke(command, ["--parts", "other", *asked])
    assert "other: no parts in" in str(none.exception)
    assert "one of call would do" in str(none.exception)


def test_gather_prints_a_tone_and_says_when_there_is_none(tmp_path, call):
    file = tmp_path / "k.wav"
    soundfile.write(file, 0.3 * np.sin(2 * np.pi * 442.0 * np.arange(RATE_HZ) / RATE_HZ), RATE_HZ)
    said = CliRunner().invoke(command, ["--notes", str(file), "--json"])
    facts = json.loads(said.output)
    assert facts["note"] == "A4"
    assert facts["tone"] == pytest.approx(442.0, abs=0.2)
    assert facts["cents"] == pytest.approx(7.85, abs=0.8)  # 1200 log2(442 / 440)
    none = CliRunner().invoke(command, ["--notes", str(call.parent / "nothing.wav")])
    assert none.exit_code != 0
