"""Tables that a script has learnt, held to what each must do: usual sounds stand about 0 and spread
about 1, known sounds get their verdict, energy rises with what drives.

Sounds are recorded ones of Debian's sonic-pi-samples (CC0) and speech by espeak-ng; both are named
for what they are. How right the tables are is measured by `tests/bench/learn.py`, `alike.py` and
`played.py`.
"""

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from liveaid.study import (
    beats,
    character,
    imprint,
    key,
    letter_sounds,
    study,
    voice_weights,
)
from liveaid.study.spectrum import RATE_HZ, analyse
from liveaid.study.texture import weave
from liveaid.study.voice import features, find_voice

SAID = (
    "Come closer, the lanterns were lit one after another along the river,"
    " and nobody in the market noticed the rain."
)
NO_VOICE = ("loop_amen_full", "loop_compus", "loop_garzul", "guit_em9", "ambi_piano", "vinyl_hiss")
LONGEST_S = 4


@pytest.fixture(scope="module")
def samples(needs_folder) -> Path:
    return needs_folder("/usr/share/sonic-pi/samples", "sonic-pi-samples")


@pytest.fixture(scope="module")
def said(needs, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("said") / "said.wav"
    subprocess.run([needs("espeak-ng", "espeak-ng"), "-v", "en-us", "-w", path, SAID], check=True)
    return path


def mono(path: Path) -> np.ndarray:
    heard, rate = soundfile.read(path, dtype="float32", always_2d=True)
    return soxr.resample(heard[: LONGEST_S * rate].mean(axis=1), rate, RATE_HZ)


def shares(heard: np.ndarray) -> tuple[float, float]:
    return find_voice(analyse(heard), weave(heard)).share()


def test_usual_sounds_stand_about_nought_among_what_a_voice_is_judged_by(samples, said):
    paths = [
        said,
        *sorted(samples.glob("loop_*.flac"))[::2],
        *sorted(samples.glob("ambi_*.flac"))[::2],
    ]
    rows = []
    for path in paths:
        measured, level = features(analyse(mono(path)), weave(mono(path)))
        rows.append(measured[level >= np.median(level)].mean(axis=0))
    standard = (np.array(rows) - voice_weights.MEAN) / np.array(voice_weights.SCALE)
    assert standard.shape[1] == len(voice_weights.MEAN) == len(voice_weights.VOICE) / 2
    assert np.abs(np.median(standard, axis=0)).max() < 1.6
    spread = standard.std(axis=0)
    assert 0.1 < spread.min() < spread.max() < 4.0


def test_the_imprints_values_are_standard_over_the_sounds_they_were_learnt_from(samples):
    # Mean and standard deviation over all 165: every fourth must stand near 0 and 1.
    prints = [
        imprint.take_imprint(analyse(mono(path))) for path in sorted(samples.glob("*.flac"))[::4]
    ]
    values = np.array([one.timbre for one in prints if one], dtype=float) / imprint.WEIGHT
    assert np.abs(values.mean(axis=0)).max() < 0.5
    assert 0.6 < values.std(axis=0).min() < values.std(axis=0).max() < 1.4


def test_speech_is_a_voice_and_nothing_else(said):
    voice, other = shares(mono(said))
    assert (voice > 0.9, other < 0.4) == (True, True)


@pytest.mark.parametrize("name", NO_VOICE)
def test_drums_strings_and_hiss_are_no_voice(samples, name):
    voice, other = shares(mono(samples / f"{name}.flac"))
    assert (voice < 0.4, other > 0.9) == (True, True)


@pytest.mark.parametrize("name", ["loop_amen_full", "guit_em9"])
def test_speech_over_music_is_both(samples, said, name):
    spoken, music = mono(said), mono(samples / f"{name}.flac")
    music = np.resize(music, len(spoken))
    music *= np.sqrt(np.mean(spoken**2) / np.mean(music**2))
    voice, other = shares(spoken + music)
    assert (voice > 0.5, other > 0.5) == (True, True)


def test_energy_rises_with_all_that_drives_and_sinks_with_crest():
    weights = {name.split(":")[0]: weight for name, _, _, weight in character.ENERGY}
    assert [name for name, weight in weights.items() if weight <= 0] == ["crest"]
    assert min(spread for _, _, spread, _ in character.ENERGY) > 0
    assert list(character.LIMITS) == sorted(character.LIMITS)


def test_drones_are_calm_speech_is_calmer_than_drums_and_loops_of_them_drive(samples, said):
    told = {
        name: study(samples / f"{name}.flac").energy
        for name in ("ambi_drone", "ambi_glass_hum", *NO_VOICE[:2])
    }
    assert max(told["ambi_drone"], told["ambi_glass_hum"]) <= 2
    drums = [told[name] for name in NO_VOICE[:2]]
    assert (min(drums) >= 3, max(drums) >= 4) == (True, True)
    assert study(said).energy == 2


@pytest.mark.parametrize(
    ("module", "tables", "count", "total"),
    [
        (voice_weights, "MEAN SCALE VOICE VOICE_BASE OTHER OTHER_BASE", 314, 399.605),
        (imprint, "USUAL_VALUES SPREAD", 66, 307.35),
        (character, "ENERGY LIMITS", 22, 36.602),
        (letter_sounds, "SOUND_EDGES_HZ SOUND_LEVELS SOUND_LASTS", 56, 5043.1),
        (key, "MAJOR_PROFILE MINOR_PROFILE TONE_PROFILES", 48, 94.729),
        (beats, "PATTERN", 24, 25.2),
    ],
)
def test_every_number_stands_as_it_was_learnt(module, tables, count, total):
    """A slip of the hand in one of so many makes every verdict a little worse: no sound shows it.
    Whoever has a table learnt anew writes here how many numbers it has and what they add up to."""
    text = re.sub(r"'[^']*'", "", repr([getattr(module, name) for name in tables.split()]))
    numbers = [float(number) for number in re.findall(r"-?\d+\.\d+", text)]
    assert (len(numbers), round(sum(numbers), 3)) == (count, total)
