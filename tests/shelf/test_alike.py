"""Sounds that sound like one: copies first, then those of its kind.

Recorded hits from Debian's sonic-pi-samples (CC0), whose file names say what they are. Coded by
libsndfile's MP3 (LAME) and Vorbis coders, resampled by soxr.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from click.testing import CliRunner

from liveaid.cli import liveaid
from liveaid.files.file_bytes import Signature
from liveaid.shelf.alike import find_alike, imprint_of
from liveaid.shelf.find import parse_query
from liveaid.shelf.shelf import Shelf
from liveaid.study.facts import Study
from liveaid.study.imprint import Imprint, overlaid, take_imprint
from liveaid.study.spectrum import COARSE, FRAMES_HZ, RATE_HZ, analyse

HITS = (
    "bd_808", "bd_haus", "bd_klub", "bd_tek", "sn_dolf", "sn_dub", "sn_zome", "tabla_na",
    "tabla_ghe1", "tabla_ke1", "drum_cymbal_open", "drum_cymbal_hard", "drum_splash_hard",
    "drum_tom_lo_hard", "drum_tom_hi_hard", "elec_blip", "elec_tick", "perc_snap", "perc_snap2",
)  # fmt: skip


def imprint(samples: np.ndarray, rate: float) -> Imprint:
    found = take_imprint(analyse(soxr.resample(samples, rate, RATE_HZ).astype(np.float32)))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def hits(needs_folder: Callable[[str, str], Path]) -> dict[str, np.ndarray]:
    folder = needs_folder("/usr/share/sonic-pi/samples", "sonic-pi-samples")
    return {
        name: soundfile.read(folder / f"{name}.flac", always_2d=True)[0].mean(axis=1)
        for name in HITS
    }


@pytest.fixture(scope="module")
def crate(hits: dict[str, np.ndarray], tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("crate") / "shelf.sqlite"
    facts = {"sample_rate_hz": 44100, "channels": 1, "format": "WAV", "frames_declared": 1}
    with Shelf(file) as shelf:
        for number, (name, samples) in enumerate(hits.items()):
            study = Study(duration_s=len(samples) / 44100, frames_read=1, **facts)  # type: ignore[arg-type]
            kept = replace(study, kind="sample", imprint=imprint(samples, 44100))
            shelf.keep(f"{number:02x}" * 20, kept)
            shelf.place(f"/s/{name}.wav", f"{number:02x}" * 20, Signature(1, 1, number, 1))
    return file


def coded(samples: np.ndarray, kind: str, coding: str) -> np.ndarray:
    file = io.BytesIO()
    soundfile.write(file, 0.7 * samples, 44100, format=kind, subtype=coding)
    file.seek(0)
    return soundfile.read(file)[0]


COPIES: dict[str, Callable[[np.ndarray], tuple[np.ndarray, float]]] = {
    "9 dB down": lambda x: (x * 0.35, 44100),
    "at 48 kHz": lambda x: (soxr.resample(x, 44100, 48000), 48000),
    "MP3": lambda x: (coded(x, "MP3", "MPEG_LAYER_III"), 44100),
    "Vorbis": lambda x: (coded(x, "OGG", "VORBIS"), 44100),
    "its tail cut off": lambda x: (x[: len(x) * 7 // 10], 44100),
    "silence before it": lambda x: (np.concatenate([np.zeros(30000), x]), 44100),
    "3 % faster": lambda x: (x, 44100 * 1.03),
}


@pytest.mark.parametrize("way", COPIES)
def test_a_copy_of_a_hit_finds_the_hit_first(crate: Path, hits: dict[str, np.ndarray], way: str):
    with Shelf(crate) as shelf:
        for number, name in list(enumerate(hits))[::2]:
            found = find_alike(shelf, imprint(*COPIES[way](hits[name])))
            assert found[0].hash.hex() == f"{number:02x}" * 20, (name, way)
            assert found[0].distance < found[1].distance


def test_the_same_sound_is_a_copy_at_no_distance(crate: Path):
    with Shelf(crate) as shelf:
        mine = imprint_of(shelf, "00" * 20)
        assert mine is not None
        same, other, *_ = find_alike(shelf, mine)
    assert same.distance == pytest.approx(0.0, abs=1e-3)
    assert same.copy
    assert not other.copy


LOOPS = ("loop_mika", "loop_garzul", "loop_safari")


@pytest.mark.parametrize("way", ["5 % faster", "4 % slower", "of 8 kHz only", "in noise"])
def test_a_copy_of_a_long_loop_is_called_one_and_other_loops_are_not(
    needs_folder: Callable[[str, str], Path], tmp_path: Path, way: str
):
    """Turned faster or slower eight seconds drift by a third of one; what a coder or noise does to
    the timbre leaves the picture as it was."""
    folder = needs_folder("/usr/share/sonic-pi/samples", "sonic-pi-samples")
    found = [soundfile.read(folder / f"{name}.flac", always_2d=True) for name in LOOPS]
    loops = [(samples.mean(axis=1), rate) for samples, rate in found]
    facts = {"sample_rate_hz": 44100, "channels": 1, "format": "WAV", "frames_declared": 1}
    mine, rate = loops[0]
    noise = np.random.default_rng(1).normal(size=len(mine)) * np.abs(mine).max() / 300  # -50 dB
    changed: dict[str, tuple[np.ndarray, float]] = {
        "5 % faster": (mine, rate * 1.05),
        "4 % slower": (mine, rate * 0.96),
        "of 8 kHz only": (soxr.resample(mine, rate, 16000), 16000),
        "in noise": (mine + noise, rate),
    }
    with Shelf(tmp_path / "loops.sqlite") as shelf:
        for number, (samples, its_rate) in enumerate(loops):
            study = Study(duration_s=8.0, frames_read=1, **facts)  # type: ignore[arg-type]
            kept = replace(study, imprint=imprint(samples, its_rate))
            shelf.keep(f"{number:02x}" * 20, kept)
            shelf.place(f"/s/{number}.wav", f"{number:02x}" * 20, Signature(1, 1, number, 1))
        told = find_alike(shelf, imprint(*changed[way]))
    assert [each.copy for each in told] == [True, False, False]
    assert told[0].hash.hex() == "00" * 20


def test_the_next_like_a_hit_is_of_its_kind_more_often_than_not(crate: Path):
    # Families as the file names have them; of 19 sounds chance would be one in six.
    families = ("bd_", "sn_", "tabla_", "drum_cymbal", "drum_splash", "drum_tom", "perc_snap")
    cymbals = {"drum_splash": "drum_cymbal"}
    family = [next((f for f in families if name.startswith(f)), "") for name in HITS]
    family = [cymbals.get(word, word) for word in family]
    right = []
    with Shelf(crate) as shelf:
        for number, word in enumerate(family):
            mine = imprint_of(shelf, f"{number:02x}" * 20)
            assert mine is not None
            if word:
                right.append(family[find_alike(shelf, mine)[1].hash[0]] == word)
    assert np.mean(right) >= 0.6


def test_terms_narrow_what_is_looked_at(crate: Path):
    with Shelf(crate) as shelf:
        mine = imprint_of(shelf, "00" * 20)
        assert mine is not None
        found = find_alike(shelf, mine, parse_query("text tabla"))
    assert [HITS[each.hash[0]].split("_")[0] for each in found] == ["tabla"] * 3


def test_the_command_lists_the_likest_first_and_not_the_sound_itself(crate: Path):
    arguments = ["gather", "--shelf", str(crate), "--like", "perc_snap.wav"]
    table = CliRunner(env={"COLUMNS": "80"}).invoke(liveaid, arguments).stdout.splitlines()
    told = CliRunner().invoke(liveaid, [*arguments, "--top", "3", "--json"]).stdout
    rows = json.loads(told)
    assert rows[0]["name"] in table[2]
    assert "perc_snap" not in [row["name"] for row in rows]
    assert [row["distance"] for row in rows] == sorted(row["distance"] for row in rows)
    assert len(rows) == 3
    assert max(map(len, table)) <= 80


def test_a_file_on_no_shelf_is_held_against_it(
    crate: Path, hits: dict[str, np.ndarray], tmp_path: Path
):
    file = tmp_path / "unknown.ogg"
    soundfile.write(file, hits["sn_zome"], 44100)
    found = CliRunner().invoke(liveaid, ["gather", "--shelf", str(crate), "--like", str(file)])
    assert "sn_zome (a copy?)" in found.stdout
    assert "studied for this once" in found.stderr


def test_a_sound_whose_imprint_is_not_kept_says_what_would_do(tmp_path: Path):
    with Shelf(tmp_path / "s.sqlite") as shelf:
        facts = {"sample_rate_hz": 44100, "channels": 1, "format": "WAV", "frames_declared": 1}
        shelf.keep("ab" * 20, Study(duration_s=1.0, frames_read=1, **facts))  # type: ignore[arg-type]
        shelf.place("/s/a.wav", "ab" * 20, Signature(1, 1, 1, 1))
    found = CliRunner().invoke(
        liveaid, ["gather", "--shelf", str(tmp_path / "s.sqlite"), "--like", "a.wav"]
    )
    assert "gather its folder once more" in str(found.exception)


def test_silence_has_no_imprint():
    assert take_imprint(analyse(np.zeros(RATE_HZ, np.float32))) is None


def test_a_picture_shows_the_40_db_below_its_loudest_moment():
    """A sine for a second after a second at -60 dB: nothing of that first second. It stands in one
    pair of bands, 10 log 15 = 11.76 dB over the mean of all, and the others at -40 dB: 51.76 dB
    are 77.6 steps of 2/3 dB."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sine = np.sin(2 * np.pi * 1000.0 * t) * np.where(t < 1.0, 1e-3, 1.0)
    found = take_imprint(analyse(sine.astype(np.float32)))
    assert found is not None
    assert len(found.picture) * COARSE / FRAMES_HZ == pytest.approx(1.0, abs=0.1)
    row = found.picture[len(found.picture) // 2].astype(int)
    assert row.max() - row.min() == pytest.approx(77.6, abs=2.0)
    assert np.sum(row == row.min()) >= 5


def test_pictures_are_laid_over_each_other_at_the_shift_that_fits():
    picture = np.random.default_rng(1).integers(-40, 40, (60, 15)).astype(np.int8)
    other = np.random.default_rng(2).integers(-40, 40, (60, 15)).astype(np.int8)
    # Whole, cut at either end, and another one: 1 for what is the same at some shift.
    fits = overlaid(picture, [picture, picture[20:], picture[:40], other])
    assert fits[:3] == pytest.approx(1.0, abs=1e-4)
    assert fits[3] < 0.5


@pytest.mark.parametrize("speed", [0.94, 1.06])
def test_a_long_picture_is_laid_over_others_at_other_speeds(speed: float):
    """Ten seconds with a new look every half second, drawn frame by frame at the other speed."""
    looks = np.random.default_rng(1).integers(-40, 40, (40, 15)).astype(np.int8)
    there, faster = (looks[(np.arange(250) * by / 12).astype(int)] for by in (1.0, speed))
    assert overlaid(there, [faster])[0] > 0.8
    assert overlaid(there, [np.roll(faster, 4, axis=1)])[0] < 0.5
