"""What a voice sounds like, learnt again: the weights of `study/voice_weights.py`, and who judges.

Run by hand: python tests/bench/learn.py [--keep FOLDER] [--part N] [--write] [--drums]
Windows of sound are collected in PARTS parts, each by itself if wanted (`--part`), kept in a folder
and learnt from when all are there; without `--write` the weights are only judged and printed.

Learnt from: recorded speech of three of five speakers of Debian's asterisk sounds, half the voices
of espeak-ng and flite, all of these also sung by the WORLD vocoder, singing by formants, every
other General MIDI instrument alone and together, arranged songs, tracker music, game music, half of
sonic-pi-samples, noises and tones; voices laid over all of these. Judged on the other speakers,
voices, singing by partials, instruments, songs, pieces and samples. Nothing here is human singing:
no package carries any. Needs scikit-learn, pyworld, fluidsynth, espeak-ng, flite and Debian's
asterisk-core-sounds-{es,fr,it,ru}-wav, asterisk-prompt-it-menardi-wav, fluid-soundfont-gm,
singularity-music and what gather.py needs, and
festival's festvox-kallpc16k and festvox-kdlpc16k.
"""

# ruff: noqa: E402 - thread counts must be set before the libraries are loaded
from __future__ import annotations

import argparse
import os
import subprocess
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np
import soundfile
import soxr
from arranged import arranged
from midi_songs import composed
from played import opened
from sklearn.linear_model import LogisticRegression
from tracker_music import library, render
from voices import (
    RATE,
    SPOKEN_VOWELS,
    SUNG_VOWELS,
    diphones,
    formants,
    partials,
    resung,
    tunes_played,
    worn,
)

from liveaid.study import voice_weights
from liveaid.study.character import ENOUGH_VOICE
from liveaid.study.onsets import find_onsets
from liveaid.study.sections import DRUMS, DRUMS_BASE, beat_facts, edges_of
from liveaid.study.spectrum import analyse
from liveaid.study.tempo import find_tempo
from liveaid.study.texture import weave
from liveaid.study.voice import VOICE_SILENT_DB, WINDOW_FRAMES, features, starts, widened

PARTS = 4
USES = ("learn", "judge")
SPEAKERS_AT = Path("/usr/share/asterisk/sounds")
SAMPLES = Path("/usr/share/sonic-pi/samples")
GAMES = Path("/usr/share/games")
SPEAKERS = {
    "learn": ("es_MX_f_Allison", "fr_CA_f_June", "it_IT_m_Carlo"),
    "judge": ("it_IT_f_Menardi", "ru_RU_f_IvrvoiceRU"),
}
ESPEAK = {
    "learn": ("en+m3", "en+f2", "en-us+m1", "de", "es", "en+whisper", "en+f4", "fr+m7"),
    "judge": ("en+croak", "en+klatt", "it+f3", "en-gb-scotland+m5", "pl", "en+f5"),
}
FLITE = {"learn": ("kal16", "slt", "awb"), "judge": ("rms",)}
SINGERS = {"learn": "ked_diphone", "judge": "kal_diphone"}
RATES_HZ = (RATE, RATE, 16000, 11025, 8000)
"""Sampling rates that sounds come at, voices and others alike: all recorded prompts come at 8 kHz,
so that the lack of what lies above 4 kHz would tell a voice."""
MODULES = {
    "learn": (GAMES / "tecnoballz/musics", GAMES / "rafkill/music", GAMES / "ironseed/sound"),
    "judge": (GAMES / "heroes/mod", GAMES / "biniax2/music", Path("/usr/share/pachi/music")),
}
VOICED_PROGRAMS = (52, 53, 54, 85, 91)
"""General MIDI's choirs and voice-like synthesisers: neither a voice nor none."""
VOICED_SAMPLES = ("robot", "choir", "burp", "crow", "arnold", "phone", "vox")
TEXT = (
    "lantern river market rain bridge gate chestnuts tonight come closer count every step night"
    " walls open under the old bells and turn your song around slowly we will dance until morning"
    " comes over harbour lights are low never mind blue smoke rising"
)
CLIP_S, SUNG_FROM_S = 20.0, 8.0
MIXES = 20
"""Mixes in a part."""
SPEECH = {"spoken, recorded": 3.0, "spoken, synthesised": 2.0}
WORTH = {
    "voice": {"three instruments": 4.0, **SPEECH},
    "other": {"voice over music": 4.0, **SPEECH},
}
"""What a clip counts where each is learnt, others counting 1: what is most easily taken for a
voice, voice over music for voice alone, and speech come too seldom by themselves."""
STIFFNESS = 0.1
"""Inverse strength of the penalty on large weights."""


@dataclass(frozen=True, slots=True)
class Clip:
    """Mono sound at RATE, and whether a voice and anything else is in it."""

    label: str
    mono: np.ndarray
    voice: bool
    other: bool


@dataclass(frozen=True, slots=True)
class Windows:
    """What was measured in a clip's windows, and what is in each."""

    label: str
    measured: np.ndarray
    voice: np.ndarray
    other: np.ndarray


def recorded(rng: np.random.Generator, speaker: str, seconds: float) -> tuple[np.ndarray, int]:
    """Prompts of one speaker, one after another."""
    files = [p for p in sorted((SPEAKERS_AT / speaker).glob("*.wav")) if p.stat().st_size > 20_000]
    pieces, rate = [], 8000
    while sum(map(len, pieces)) < seconds * rate:
        samples, rate = soundfile.read(files[int(rng.integers(len(files)))], dtype="float32")
        pieces += [samples, np.zeros(int(rate * rng.uniform(0.1, 0.6)), dtype=np.float32)]
    return np.concatenate(pieces), rate


def spoken(
    rng: np.random.Generator, program: str, voice: str, seconds: float, folder: Path
) -> tuple[np.ndarray, int]:
    """Words in any order by a synthesiser."""
    text, file = " ".join(rng.choice(TEXT.split(), int(seconds * 2.6))), str(folder / "spoken.wav")
    pace, pitch = str(rng.integers(110, 230)), str(rng.integers(20, 80))
    command = {
        "espeak-ng": ["espeak-ng", "-v", voice, "-s", pace, "-p", pitch, "-w", file, text],
        "flite": ["flite", "-voice", voice, "-t", text, "-o", file],
    }[program]
    subprocess.run(command, check=True, capture_output=True)
    return soundfile.read(file, dtype="float32")


def voices(use: str, rng: np.random.Generator, folder: Path) -> Iterator[tuple[str, np.ndarray]]:
    """Spoken and sung, nothing else in them."""
    programs = [("espeak-ng", v) for v in ESPEAK[use]] + [("flite", v) for v in FLITE[use]]
    for seconds, how in ((CLIP_S, "spoken"), (SUNG_FROM_S, "sung")):
        told = [(f"{how}, recorded", recorded(rng, s, seconds)) for s in SPEAKERS[use]]
        told += [(f"{how}, synthesised", spoken(rng, *each, seconds, folder)) for each in programs]
        for label, (samples, rate) in told:
            if how == "spoken":
                yield label, soxr.resample(samples, rate, RATE)
            else:
                yield label, resung(rng, samples, rate, lowest=int(rng.integers(43, 66)))
    for _ in range(4):
        yield "sung, by diphones", diphones(rng, folder, SINGERS[use])
    for who in SPOKEN_VOWELS if use == "learn" else ():
        yield "sung, by formants", formants(rng, CLIP_S, who)
    for who in SUNG_VOWELS if use == "judge" else ():
        yield "sung, by partials", partials(rng, CLIP_S, who)


def instruments(
    use: str, rng: np.random.Generator, folder: Path, part: int
) -> Iterator[tuple[str, np.ndarray]]:
    """Played alone and together."""
    programs = [p for p in range(112) if p not in VOICED_PROGRAMS][USES.index(use) :: 2]
    for program in programs[part::PARTS]:
        bends, chords = bool(rng.random() < 0.4), bool(rng.random() < 0.25)
        sound = tunes_played(rng, folder, [program], CLIP_S, bends=bends, chords=chords)
        yield "one instrument", sound
    for _ in range(3):
        few = [int(p) for p in rng.choice(programs, 3)]
        sound = tunes_played(rng, folder, few, CLIP_S, bends=False, chords=bool(rng.random() < 0.5))
        yield "three instruments", sound


def music(use: str, rng: np.random.Generator, part: int) -> Iterator[tuple[str, np.ndarray]]:
    """Pieces, samples and noises as they are."""
    with tempfile.TemporaryDirectory() as name:
        for seed in range(2):
            number = 100 + 200 * USES.index(use) + 20 * part + seed
            yield "arranged", arranged(number, Path(name), bars=12).samples[: 30 * RATE]
    lib = library()
    for folder in MODULES[use]:
        files = sorted(p for p in folder.glob("*") if p.suffix.lower() in (".mod", ".xm", ".it"))
        for file in files[part::PARTS]:
            mono = render(lib, file, 25.0).samples.mean(axis=1).astype(np.float32)
            yield "tracker music", soxr.resample(mono, 44100, RATE)
    samples = [p for p in sorted(SAMPLES.glob("*.flac")) if not _voiced(p)][USES.index(use) :: 2]
    for file in samples[part::PARTS]:
        yield "samples", _mono(file)[: 20 * RATE]
    files = sorted((GAMES / "singularity/music").glob("*.ogg"))[USES.index(use) :: 2]
    for file in files[part::PARTS]:
        yield "game music", _mono(file)[10 * RATE : 35 * RATE]
    noise, t = rng.normal(0, 0.1, 10 * RATE), np.arange(10 * RATE) / RATE
    turns = 2 * np.pi * rng.uniform(80, 500) * t
    tones = (
        noise, np.sin(turns), noise * (1 + np.sin(2 * np.pi * 3 * t)), np.sign(np.sin(turns)),
        sum(np.sin(turns * h) / h for h in range(1, 9)),
    )  # fmt: skip
    yield "noises, tones", np.asarray(tones[(part + USES.index(use)) % len(tones)])


def _voiced(file: Path) -> bool:
    return any(word in file.stem for word in VOICED_SAMPLES)


def _mono(file: Path) -> np.ndarray:
    samples, rate = soundfile.read(file, dtype="float32", always_2d=True, frames=40 * 44100)
    return soxr.resample(samples.mean(axis=1), rate, RATE)


def narrowed(mono: np.ndarray, rate_hz: int) -> np.ndarray:
    """As it comes at a lower sampling rate."""
    if rate_hz >= RATE:
        return mono
    low = soxr.resample(np.asarray(mono, dtype=np.float32), RATE, rate_hz)
    return np.asarray(soxr.resample(low, rate_hz, RATE))


def clips(use: str, part: int, folder: Path) -> Iterator[Clip]:
    """Everything of one part."""
    rng = np.random.default_rng((USES.index(use), part))
    for label, mono in voices(use, rng, folder):
        yield Clip(label, worn(rng, mono), True, False)
    for label, mono in instruments(use, rng, folder, part):
        yield Clip(label, worn(rng, mono), False, True)
    for label, mono in music(use, rng, part):
        if len(mono) > RATE // 2 and np.abs(mono).max() > 1e-4:
            yield Clip(label, np.asarray(mono, dtype=np.float32), False, True)


def measured(mono: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Features and levels of a sound's windows."""
    return features(analyse(mono), weave(mono))


def levels_db(mono: np.ndarray) -> np.ndarray:
    """(windows,): level of each window of one layer of a mix."""
    power = analyse(mono).bands.sum(axis=1).astype(np.float64)
    width = min(WINDOW_FRAMES, len(power))
    return np.array(
        [10 * np.log10(power[a : a + width].mean() + 1e-12) for a in starts(len(power))]
    )


def mixed(rng: np.random.Generator, voice: np.ndarray, music: np.ndarray) -> Windows:
    """A voice over music, 8 dB below to 8 dB above; -1 where a window has hardly any of one."""
    length = min(len(voice), len(music), 15 * RATE)
    voice, music = voice[:length], music[:length]
    even = np.sqrt(np.mean(music**2) / max(np.mean(voice**2), 1e-9))
    voice = voice * even * 10 ** (rng.uniform(-8, 8) / 20)
    gain = 0.8 / max(np.abs(voice + music).max(), 1e-9)
    found, level = measured(((voice + music) * gain).astype(np.float32))
    sung, rest = levels_db(voice * gain), levels_db(music * gain)
    has_voice = np.where(sung > rest - 9, 1, np.where(sung < rest - 20, 0, -1))
    has_other = np.where(rest > sung - 15, 1, np.where(rest < sung - 30, 0, -1))
    heard = level > VOICE_SILENT_DB
    return Windows("voice over music", found[heard], has_voice[heard], has_other[heard])


def collect(use: str, part: int) -> list[Windows]:
    """The windows of one part."""
    rows, pools = [], ([], [])
    rates = np.random.default_rng((77, USES.index(use), part))
    with tempfile.TemporaryDirectory() as name:
        for clip in clips(use, part, Path(name)):
            found, level = measured(narrowed(clip.mono, int(rates.choice(RATES_HZ))))
            heard = level > VOICE_SILENT_DB
            count = int(heard.sum())
            truth = np.full(count, int(clip.voice)), np.full(count, int(clip.other))
            rows.append(Windows(clip.label, found[heard], *truth))
            if len(clip.mono) > 8 * RATE:
                pools[clip.other].append(clip.mono)
    rng = np.random.default_rng((9, USES.index(use), part))
    for _ in range(MIXES):
        rate_hz = int(rates.choice(RATES_HZ))
        pair = [narrowed(pool[int(rng.integers(len(pool)))], rate_hz) for pool in pools]
        rows.append(mixed(rng, *pair))
    return [row for row in rows if len(row.measured)]


def kept(folder: Path, use: str, part: int) -> list[Windows]:
    """The windows of one part, from the folder or collected now."""
    file = folder / f"{use}-{part}.npz"
    if not file.exists():
        rows = collect(use, part)
        arrays = {
            f"{number}:{row.label}": np.column_stack([row.measured, row.voice, row.other])
            for number, row in enumerate(rows)
        }
        np.savez_compressed(file, **arrays)
    with np.load(file) as data:
        return [
            Windows(key.split(":", 1)[1], data[key][:, :-2], *data[key][:, -2:].T) for key in data
        ]


@dataclass(frozen=True, slots=True)
class Weights:
    """As in `study/voice_weights.py`."""

    mean: np.ndarray
    scale: np.ndarray
    voice: tuple[np.ndarray, float]
    other: tuple[np.ndarray, float]

    def judge(self, rows: np.ndarray) -> tuple[float, float]:
        """Share of voice and of anything else."""
        seen = widened(rows, self.mean, self.scale)
        odds = (seen @ weights + base for weights, base in (self.voice, self.other))
        voice, other = (float(np.mean(1 / (1 + np.exp(-each)))) for each in odds)
        return voice, other


def _clear(row: Windows) -> Windows:
    clear = (row.voice >= 0) & (row.other >= 0)
    return Windows(row.label, row.measured[clear], row.voice[clear], row.other[clear])


def learn(rows: list[Windows]) -> Weights:
    """Two logistic regressions; every clip counts by its worth, however long. It is judged whole,
    but learnt from only where it is clear what is heard."""
    rows = [_clear(row) for row in rows]
    every = np.concatenate([row.measured for row in rows])
    mean, scale = every.mean(axis=0), every.std(axis=0)
    seen = widened(every, mean, scale)
    fits = []
    for what, worths in WORTH.items():
        truth = np.concatenate([getattr(row, what) for row in rows])
        worth = np.concatenate(
            [
                np.full(len(row.voice), worths.get(row.label, 1.0) / max(len(row.voice), 1))
                for row in rows
            ]
        )
        worth *= len(worth) / worth.sum()
        model = LogisticRegression(C=STIFFNESS, max_iter=5000).fit(seen, truth, worth)
        fits.append((model.coef_[0], float(model.intercept_[0])))
    return Weights(mean, scale, *fits)


def beats_of_songs(use: str, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """(beats, facts) of arranged songs and of composed ones opened to their drums, and (beats,)
    whether only drums play there; beats that a change cuts are left out."""
    number = USES.index(use)
    songs = [arranged(seed, folder) for seed in range(12 * number, 12 * number + 12)]
    facts, alone = [], []
    for song in (*songs, *opened(composed(), folder, first=number)):
        mono = song.samples.astype(np.float32)
        spectrum = analyse(mono)
        onsets = find_onsets(mono, spectrum)
        tempo = find_tempo(mono, spectrum, onsets, frames=len(mono), rate_hz=RATE)
        edges = edges_of(tempo.beats_s, len(mono) / RATE)
        # A change within a twentieth of a beat from its edge is on the edge.
        inner = edges[:-1] + 0.05 * np.diff(edges), edges[1:] - 0.05 * np.diff(edges)
        begun, ended = (_within(at, song.breaks_s) for at in inner)
        facts.append(beat_facts(weave(mono), onsets, edges)[begun == ended])
        alone.append(begun[begun == ended])
    return np.concatenate(facts), np.concatenate(alone)


def _within(at: np.ndarray, stretches: list[tuple[float, float]]) -> np.ndarray:
    inside = np.zeros(len(at), dtype=bool)
    for begin, end in stretches:
        inside |= (at >= begin) & (at < end)
    return inside


def learn_drums(folder: Path) -> None:
    """The weights of `study/sections.py` by which only drums play in a beat, as they are and
    learnt now, both judged on the songs held back."""
    facts, alone = beats_of_songs("learn", folder)
    model = LogisticRegression(C=STIFFNESS, max_iter=5000, class_weight="balanced").fit(
        facts, alone
    )
    found = model.coef_[0], float(model.intercept_[0])
    held, truth = beats_of_songs("judge", folder)
    for title, (weights, base) in (("now", (np.array(DRUMS), DRUMS_BASE)), ("learnt", found)):
        told = held @ weights + base > 0
        right = [float(np.mean(told[truth == one] == one)) for one in (True, False)]
        print(f"{title:8} drums alone told so {right[0]:.3f}, others told others {right[1]:.3f}")
    print("\n" + listed("DRUMS", found[0]) + f"\nDRUMS_BASE = {found[1]:.3f}")


def in_code() -> Weights:
    """The weights the study has now."""
    w = voice_weights
    arrays = [np.array(each) for each in (w.MEAN, w.SCALE, w.VOICE, w.OTHER)]
    return Weights(arrays[0], arrays[1], (arrays[2], w.VOICE_BASE), (arrays[3], w.OTHER_BASE))


def table(title: str, rows: list[Windows], weights: Weights) -> None:
    """How much voice and how much else is told by sort of clip, and how many a cappella."""
    print(f"\n{title}\n{'':24}   clips   voice   else   called a cappella")
    told = defaultdict(list)
    for row in rows:
        told[row.label].append(weights.judge(row.measured))
    for label, found in sorted(told.items()):
        voice, other = np.array(found).T
        bare = np.mean(voice * (1 - other) >= ENOUGH_VOICE)
        print(f"{label:24}{len(found):8}{voice.mean():8.2f}{other.mean():7.2f}{bare:12.2f}")


def listed(name: str, values: np.ndarray) -> str:
    """A constant of numbers, ten a line."""
    lines = [
        "    " + " ".join(f"{value:.3f}," for value in values[few : few + 10])
        for few in range(0, len(values), 10)
    ]
    return "\n".join([f"{name} = (", *lines, ")  # fmt: skip"])


def written(weights: Weights) -> str:
    """The module's text."""
    head = voice_weights.__doc__
    return "\n".join(
        [
            f'"""{head}"""\n',
            listed("MEAN", weights.mean), listed("SCALE", weights.scale),
            listed("VOICE", weights.voice[0]), f"VOICE_BASE = {weights.voice[1]:.3f}",
            listed("OTHER", weights.other[0]), f"OTHER_BASE = {weights.other[1]:.3f}",
            '"""That anything but a voice sounds."""\n',
        ]
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--keep", type=Path, help="where windows are kept from run to run")
    parser.add_argument("--part", help="collect one part alone, as learn-0, and end")
    parser.add_argument("--write", action="store_true", help="put the weights into the study")
    parser.add_argument("--drums", action="store_true", help="those of drums alone, and end")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = options.keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        if options.drums:
            learn_drums(folder)
            return
        if options.part:
            use, part = options.part.split("-")
            print(options.part, len(kept(folder, use, int(part))), "clips")
            return
        rows = {
            use: [row for part in range(PARTS) for row in kept(folder, use, part)] for use in USES
        }
    found = learn(rows["learn"])
    table("As the study weighs now, held back", rows["judge"], in_code())
    table("Learnt now, held back", rows["judge"], found)
    table("Learnt now, what it was learnt from", rows["learn"], found)
    print("\n" + written(found))
    if options.write:
        Path(voice_weights.__file__).write_text(written(found))


if __name__ == "__main__":
    main()
