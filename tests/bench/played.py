"""How right the study is on played music, tempo steps, breaks, voices and kinds, beside librosa.

Run by hand: python tests/bench/played.py [--few]
Needs music21, fluidsynth, Debian's fluid-soundfont-gm, freedoom, openttd-openmsx,
sonic-pi-samples, espeak-ng, festival with festvox-kallpc16k, and the game packages of gather.py.
What is missing is left out and said. Scores, songs and collections marked 'tuned on' were used to
set numbers of the study; the others were held back.
"""

# ruff: noqa: E402 - thread counts must be set before the libraries are loaded
from __future__ import annotations

import argparse
import importlib.util
import os
import shutil
import subprocess
import tempfile
import warnings
from collections.abc import Iterable, Iterator
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import librosa
import mir_eval
import numpy as np
import soundfile
import soxr
from arranged import RATE, Song, arranged, spliced
from bars import note_bar
from bars import table as bar_table
from midi_songs import SONG_FILES, Composed, composed, more_songs
from scores import SOUNDFONT, Played, Score, perform, read_score
from tracker_music import library, render
from voices import sung_words

from liveaid.study import Study, study

GAMES = Path("/usr/share/games")
SAMPLES = Path("/usr/share/sonic-pi/samples")
TRACKER = {
    "held back": (GAMES / "heroes/mod", GAMES / "biniax2/music"),
    "tuned on": (GAMES / "tecnoballz/musics", GAMES / "rafkill/music"),
}
SCORES = {
    "tuned on": (
        "haydn/opus1no1/movement1", "haydn/opus1no1/movement4", "mozart/k155/movement1",
        "mozart/k155/movement2", "mozart/k156/movement1", "mozart/k80/movement2",
        "schumann_clara/polonaise_op1n1", "schumann_clara/polonaise_op1n4", "bach/bwv10.7",
        "bach/bwv102.7", "bach/bwv104.6", "bach/bwv11.6",
    ),
    "held back": (
        "chopin/mazurka06-2", "joplin/maple_leaf_rag", "mozart/k545/movement1_exposition",
        "mozart/k458/movement2", "beethoven/opus18no1/movement1.mxl",
        "schumann_robert/opus48no2", "bach/bwv846", "verdi/laDonnaEMobile",
        "schubert/Lindenbaum", "handel/rinaldo/Lascia_chio_pianga", "haydn/opus74no1/movement2",
        "leadSheet/berlinAlexandersRagtime", "leadSheet/fosterBrownHair", "bach/bwv66.6",
        "bach/bwv112.5", "bach/bwv115.6", "bach/bwv117.4", "bach/bwv119.9", "bach/bwv121.6",
        "bach/bwv123.6",
    ),
}  # fmt: skip
LOOPS = {"amen": 4, "amen_full": 16, "breakbeat": 4, "compus": 16, "mika": 16, "tabla": 16}
STEPS = (1.04, 0.96, 1.08, 1.25, 0.8)
RAMPS = (1.05, 0.93)
TALES = (
    "The lanterns were lit one after another along the river.",
    "Come closer, come closer! Hot chestnuts, two for one, tonight only.",
    "She counted every step from the gate to the bridge, and one of them was missing.",
)
VOICES = ("en+m3", "en+f2", "en-us", "de", "fr", "es", "en+croak", "en+klatt")
ENERGY_S = 40.0
CRIES = ("hot", "tea", "come", "buy", "drum", "rain", "lamp", "now")


def heading(title: str, columns: str) -> None:
    print(f"\n{title}\n{'':34}{columns}")


def play_scores(folder: Path, few: bool) -> Iterator[tuple[str, Score, Played]]:
    """Use, score and performance of each piece, on a piano, as freely as hands play."""
    for use, names in SCORES.items():
        for number, name in enumerate(names[:4] if few else names):
            score = read_score(name)
            bpm = float(np.random.default_rng((9, number)).uniform(66, 130))
            path = folder / f"{name.replace('/', '-')}.wav"
            yield use, score, perform(score, path, bpm=bpm, seed=1, limit_s=45.0)


def beats_of(found: Study) -> np.ndarray:
    """The beats a study tells, followed or from its one grid."""
    if found.beats_s or not found.tempo or found.first_beat is None:
        return np.array(found.beats_s)
    return np.arange(found.first_beat, found.duration_s, 60.0 / found.tempo)


def f_measure(truth: np.ndarray, beats: np.ndarray) -> float:
    trim = mir_eval.beat.trim_beats
    return float(mir_eval.beat.f_measure(trim(truth), trim(beats))) if len(beats) else 0.0


def played_piano(folder: Path, few: bool) -> None:
    """Beats of played piano, and the key of what is played."""
    beats: dict[str, list[tuple[float, float]]] = {use: [] for use in SCORES}
    keys: dict[str, list[tuple[float, float]]] = {use: [] for use in SCORES}
    told: list[tuple[float, bool]] = []
    for use, score, performance in play_scores(folder, few):
        found = study(performance.path)
        mono, rate = librosa.load(performance.path)
        theirs = librosa.beat.beat_track(y=mono, sr=rate, units="time")[1]
        truth = performance.beats_s
        beats[use].append((f_measure(truth, beats_of(found)), f_measure(truth, theirs)))
        bpm = 60.0 / float(np.median(np.diff(truth)))
        told.append((found.tempo_confidence, abs((found.tempo or 0.0) / bpm - 1) < 0.04))
        if score.key:
            other = librosa_key(mono, rate)
            keys[use].append(
                (
                    mir_eval.key.weighted_score(score.key, found.key or "X"),
                    mir_eval.key.weighted_score(score.key, other),
                )
            )
    for title, table in (
        ("Beats of played piano, F-measure at 70 ms", beats),
        ("Key of played piano, MIREX weighted score", keys),
    ):
        heading(title, "   liveaid   librosa   pieces")
        for use, rows in table.items():
            ours, theirs = np.mean(rows, axis=0)
            print(f"{use:34}{ours:10.3f}{theirs:10.3f}{len(rows):9}")
    note_bar("beats of played piano, F", 0.5, [ours for ours, _ in beats["held back"]])
    note_bar("key of played piano, MIREX", 0.85, [ours for ours, _ in keys["held back"]])
    calibration(told)
    note_bar("played tempo told .9 or surer right", 0.9, [ok for sure, ok in told if sure >= 0.9])


def calibration(told: list[tuple[float, bool]]) -> None:
    heading("Tempo of played piano: told how sure, right how often (4 %)", "   right   pieces")
    for low, high in ((0.0, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.01)):
        right = [ok for sure, ok in told if low <= sure < high]
        if right:
            print(f"{f'{low:.1f} to {min(high, 1.0):.1f}':34}{np.mean(right):8.2f}{len(right):9}")


def librosa_key(mono: np.ndarray, rate: float) -> str:
    """librosa's chroma with Krumhansl's and Kessler's profiles, as its users do it."""
    from liveaid.study.key import TONE_PROFILES, key_fits

    heard = librosa.feature.chroma_cqt(y=mono, sr=rate).mean(axis=1)
    best = int(np.argmax(key_fits(heard, TONE_PROFILES)))
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    return f"{names[best % 12]} {'major' if best < 12 else 'minor'}"


def tracker_pieces(
    few: bool, seconds: float = 45.0
) -> Iterator[tuple[str, str, np.ndarray, float]]:
    """Use, name, mono sound at RATE and tempo of modules that have one."""
    lib = library()
    for use, folders in TRACKER.items():
        files = [p for f in folders for p in sorted(f.glob("*"))[: 3 if few else 8]]
        for path in files:
            if path.suffix.lower() not in (".mod", ".xm", ".it", ".s3m"):
                continue
            rendering = render(lib, path, seconds)
            bpm = rendering.tempo_bpm()
            if bpm is not None:
                mono = rendering.samples.mean(axis=1).astype(np.float32)
                yield use, path.name, soxr.resample(mono, 44100, RATE), bpm


def stepped(mono: np.ndarray, ratio: float) -> np.ndarray:
    """Played faster by a ratio from its middle on."""
    middle = len(mono) // 2
    place = np.arange(0, len(mono) - middle - 1, ratio)
    return np.concatenate(
        [mono[:middle], np.interp(place, np.arange(len(mono) - middle), mono[middle:])]
    )


def ramped(mono: np.ndarray, ratio: float) -> np.ndarray:
    """Played ever faster, from 1 to a ratio."""
    place = np.cumsum(np.linspace(1, ratio, int(len(mono) / ((1 + ratio) / 2))))
    return np.interp(place[place < len(mono) - 1], np.arange(len(mono)), mono)


def steadiness(folder: Path, pieces: list[tuple[str, str, np.ndarray, float]]) -> None:
    """What is sped up in the middle, or ever more, must not be called steady; the rest must."""
    heading("Steady tempo, tracker music", "  called steady   of   told a step or ramp")
    noticed: list[bool] = []
    kinds = [("as it is", 1.0, None)]
    kinds += [(f"step {100 * r - 100:+.0f} %", r, stepped) for r in STEPS]
    kinds += [(f"ramp {100 * r - 100:+.0f} %", r, ramped) for r in RAMPS]
    for use in TRACKER:
        for label, ratio, change in kinds:
            steady = told = count = 0
            for _, name, mono, _ in [piece for piece in pieces if piece[0] == use]:
                path = folder / f"step-{name}.wav"
                soundfile.write(path, mono if change is None else change(mono, ratio), RATE)
                found = study(path)
                steady, told = steady + found.steady, told + bool(found.tempo_change)
                count += 1
                noticed += [not found.steady] if change is not None else []
            print(f"{f'{use}, {label}':34}{steady:15}{count:5}{told:10}")
    note_bar("steps and ramps of 4 % or more not called steady", 1.0, noticed)


def songs(
    folder: Path, pieces: list[tuple[str, str, np.ndarray, float]], few: bool
) -> Iterator[tuple[str, Song]]:
    """Songs with open breaks: arranged ones, the first half tuned on, composed and spliced ones."""
    for seed in range(0, 24, 3 if few else 1):
        yield f"arranged, {'tuned on' if seed < 12 else 'held back'}", arranged(seed, folder)
    for song in as_written(folder):
        yield "composed, held back", song
    for song in opened(composed(), folder, first=1, step=8 if few else 2):
        yield "composed, opened, held back", song
    for song in opened(more_songs(), folder, first=0, step=2 if few else 1):
        yield "light music, opened, held back", song
    for number, (use, _, mono, bpm) in enumerate(pieces):
        loop, beats = list(LOOPS.items())[number % len(LOOPS)]
        samples, rate = soundfile.read(SAMPLES / f"loop_{loop}.flac", always_2d=True)
        samples = soxr.resample(samples.mean(axis=1), rate, RATE)
        bars = (2, 4, 8)[number % 3]
        yield (
            f"spliced, {use}",
            spliced(mono[: 40 * RATE], bpm, samples, beats, bars=bars, seed=number),
        )


def as_written(folder: Path) -> Iterator[Song]:
    """What lies about each open break that a composer wrote."""
    for piece in composed():
        for begin, end in piece.breaks_s():
            yield around(piece, begin, end, folder)


def opened(
    pieces: Iterable[Composed], folder: Path, *, first: int, step: int = 2
) -> Iterator[Song]:
    """What lies about a break in songs whose other instruments were silenced for it."""
    rng = np.random.default_rng(first)
    for piece in list(pieces)[first::step]:
        if found := piece.opened(rng):
            yield around(found[0], *found[1], folder)


def around(piece: Composed, begin: float, end: float, folder: Path) -> Song:
    """A break with 25 s before it and 20 s after."""
    first, path = max(0.0, begin - 25.0), folder / "written.wav"
    piece.render(first, end + 20.0, path)
    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    mono = soxr.resample(samples.mean(axis=1), rate, RATE)
    section = (begin - first, end - first, "break")
    return Song(mono / np.abs(mono).max() * 0.8, piece.tempo_bpm or 0.0, (section,))


def overlap(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Shared time over all time of two stretches."""
    shared = max(0.0, min(a[1], b[1]) - max(a[0], b[0]))
    return shared / (max(a[1], b[1]) - min(a[0], b[0]))


def librosa_breaks(mono: np.ndarray) -> list[tuple[float, float]]:
    """librosa's separation: stretches of two seconds or more with a low harmonic share."""
    harmonic, percussive = librosa.decompose.hpss(np.abs(librosa.stft(mono)))
    power = [np.square(part).sum(axis=0) for part in (harmonic, percussive)]
    share = power[0] / (power[0] + power[1] + 1e-9)
    step = round(0.5 * RATE / 512)
    usual = share[: len(share) // step * step].reshape(-1, step).mean(axis=1)
    low = np.concatenate([[0], usual < 0.6 * np.median(usual), [0]]).astype(int)
    edges = np.flatnonzero(np.diff(low))
    return [(a / 2, b / 2) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= 4]


def breaks(folder: Path, few: bool, pieces: list) -> None:
    table: dict[str, list[tuple[int, int, int, int]]] = {}
    for label, song in songs(folder, pieces, few):
        path = folder / "song.wav"
        soundfile.write(path, song.samples, RATE)
        row = [len(song.breaks_s)]
        ours = [(begin, end) for begin, end, _ in study(path).breaks()]
        for found in (ours, librosa_breaks(song.samples)):
            row.append(sum(any(overlap(a, b) >= 0.7 for b in found) for a in song.breaks_s))
        row.append(sum(all(overlap(a, b) < 0.3 for a in song.breaks_s) for b in ours))
        table.setdefault(label, []).append(tuple(row))
    for sort in ("composed", "composed, opened", "light music, opened", "spliced", "arranged"):
        rows = table.get(f"{sort}, held back", [])
        found_share = [ours / want for want, ours, _, _ in rows if want]
        note_bar(f"open breaks, {sort}", 0.85, found_share)
    heading("Open breaks found at 0.7 overlap", "   liveaid   librosa   breaks   false, liveaid")
    for label, rows in table.items():
        want, ours, theirs, false = np.sum(rows, axis=0)
        print(f"{label:34}{ours / want:10.2f}{theirs / want:10.2f}{want:9}{false:10}")


def say(folder: Path, command: list[str]) -> np.ndarray:
    path = folder / "say.wav"
    subprocess.run([*command, path], check=True, capture_output=True)
    samples, rate = soundfile.read(path, dtype="float32")
    return np.asarray(soxr.resample(samples, rate, RATE))


def kinds(folder: Path, pieces: list) -> None:
    """Kind of spoken texts, of words put on the beat, of loops, hits and music."""
    cases: list[tuple[str, np.ndarray | Path, str]] = []
    for number, voice in enumerate(VOICES):
        cry = [say(folder, ["espeak-ng", "-v", voice, word, "-w"]) for word in CRIES]
        beat = round(60 / (74 + 5 * number) * RATE)
        row = np.concatenate([np.pad(w[:beat], (0, max(0, beat - len(w)))) for w in cry * 3])
        cases.append(("words on the beat", row, "a cappella"))
        tale = say(folder, ["espeak-ng", "-v", voice, TALES[number % 3], "-w"])
        cases.append(("speech", tale, "a cappella"))
    cases += [(f"music, {use}", mono, "instrumental") for use, _, mono, _ in pieces]
    for path in sorted(SAMPLES.glob("*.flac")):
        first = path.stem.split("_")[0]
        if first == "loop":
            cases.append(("loops", path, "instrumental"))
        elif first in ("bd", "sn", "drum", "elec", "tabla", "perc"):
            cases.append(("hits", path, "sample"))
    table: dict[str, list[bool]] = {}
    for label, sound, kind in cases:
        path = sound if isinstance(sound, Path) else folder / "kind.wav"
        if not isinstance(sound, Path):
            soundfile.write(path, sound, RATE)
        table.setdefault(label, []).append(study(path).kind == kind)
    heading("Kind (librosa tells none)", "     right   sounds")
    for label, right in table.items():
        print(f"{label:34}{np.mean(right):10.2f}{len(right):9}")
    every = [ok for right in table.values() for ok in right]
    note_bar("kind", 0.9, every)
    note_bar("kind of words on the beat", 0.9, table["words on the beat"])
    print(f"{'all':34}{np.mean(every):10.2f}{len(every):9}")


def energy_order(folder: Path, few: bool) -> None:
    """Of two composed songs the more driving one must have the higher energy.

    Labelled by what is written (`Composed.drive`), not by ear; no open set of listeners' words
    comes as a package.
    """
    told: dict[int, list[int]] = {0: [], 2: []}
    for piece in composed():
        drive, path = piece.drive(ENERGY_S), folder / "energy.wav"
        if drive in told and not (few and len(told[drive]) >= 4):
            piece.render(0.0, ENERGY_S, path)
            told[drive].append(study(path).energy)
    right = [high > low for high in told[2] for low in told[0]]
    note_bar("energy order of composed songs", 0.85, right)
    heading("Energy of composed songs, labelled by what is written", "     right   pairs")
    print(f"{'driving above calm':34}{np.mean(right):10.2f}{len(right):8}")


def drum_beats(folder: Path) -> None:
    """Beats of recorded drum loops, come round for 24 s; their lengths say where the beats are."""
    rows = []
    for loop, beats in LOOPS.items():
        samples, rate = soundfile.read(SAMPLES / f"loop_{loop}.flac", always_2d=True)
        beat_s = len(samples) / rate / beats
        mono = soxr.resample(
            np.tile(samples.mean(axis=1), 1 + 24 * rate // len(samples)), rate, RATE
        )
        path = folder / "drums.wav"
        soundfile.write(path, mono, RATE)
        truth = np.arange(0.0, len(mono) / RATE, beat_s)
        theirs = librosa.beat.beat_track(y=mono, sr=RATE, units="time")[1]
        rows.append((f_measure(truth, beats_of(study(path))), f_measure(truth, theirs)))
    note_bar("beats of drum loops, F", 0.98, [ours for ours, _ in rows])
    heading("Beats of drum loops, F-measure at 70 ms", "   liveaid   librosa   loops")
    ours, beside = np.mean(rows, axis=0)
    print(f"{'recorded, come round':34}{ours:10.3f}{beside:10.3f}{len(rows):8}")


SONG = (
    ("Lan", "G", 1.0), ("terns", "A", 1.0), ("swing", "B", 1.5), ("low", "A", 0.5),
    ("o", "G", 1.0), ("ver", "E", 1.0), ("rain", "G", 2.0), ("come", "D", 1.0),
    ("buy", "E", 1.0), ("the", "G", 0.5), ("night", "A", 1.5), ("a", "B", 0.5),
    ("way", "G", 3.0),
)  # fmt: skip
"""Our own words and tune, for a synthesiser that sings with a speaker's recorded diphones."""


def sung(folder: Path, octave: int, bpm: int) -> np.ndarray:
    """The song by a speaker whose singing was not learnt from."""
    words = [(word, f"{note}{octave}", beats) for word, note, beats in SONG]
    return sung_words(words, bpm, folder, "kal_diphone")


def singing(folder: Path, pieces: list) -> None:
    """Sung alone, over music as loud as the voice, and that music without it.

    None of it was learnt from: the weights have heard this speaker speak, another one sing, other
    synthesisers and other pieces. It is no human singing: no package carries any.
    """
    rows: dict[str, list[float]] = {"sung alone": [], "sung over music": [], "the music": []}
    kinds: list[bool] = []
    held = [mono for use, _, mono, _ in pieces if use == "held back"]
    for number, (octave, bpm) in enumerate([(2, 80), (3, 80), (3, 110), (4, 95)]):
        voice = sung(folder, octave, bpm)
        cases = [("sung alone", voice)]
        for mono in held[2 * number : 2 * number + 2]:
            music = mono[: len(voice)]
            loud = np.sqrt(np.mean(voice[: len(music)] ** 2) / max(np.mean(music**2), 1e-12))
            cases += [("the music", music), ("sung over music", voice[: len(music)] + loud * music)]
        for label, samples in cases:
            soundfile.write(folder / "sung.wav", samples / np.abs(samples).max() * 0.8, RATE)
            found = study(folder / "sung.wav")
            rows[label].append(found.voice)
            if label == "sung alone":
                kinds.append(found.kind == "a cappella")
    heading(
        "Share of voice, sung by a synthesiser (librosa tells none)", "    median   least   most"
    )
    for label, shares in rows.items():
        if shares:
            print(f"{label:34}{np.median(shares):10.2f}{min(shares):8.2f}{max(shares):7.2f}")
    pairs = list(zip(rows["sung over music"], rows["the music"], strict=True))
    print(f"more voice with the song than without: {sum(a > b for a, b in pairs)} of {len(pairs)}")
    print(f"sung alone called a cappella: {sum(kinds)} of {len(kinds)}")
    note_bar("kind of singing alone", 0.9, kinds)


def tables(*, few: bool) -> None:
    """Every table that what is installed allows."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        try:
            pieces = list(tracker_pieces(few))
        except OSError as error:
            print(f"left out, tracker music: {error}")
            pieces = []
        plays = SOUNDFONT.exists() and shutil.which("fluidsynth")
        if plays and importlib.util.find_spec("music21"):
            played_piano(folder, few)
        else:
            print("left out, played piano: no fluidsynth, soundfont or music21")
        if plays and any(file.is_file() for file in SONG_FILES):
            energy_order(folder, few)
        else:
            print("left out, energy: no freedoom, fluidsynth or soundfont")
        if plays and SAMPLES.is_dir():
            breaks(folder, few, pieces)
        else:
            print("left out, breaks: no fluidsynth, soundfont or sample loops")
        if SAMPLES.is_dir():
            drum_beats(folder)
        steadiness(folder, pieces)
        if shutil.which("espeak-ng"):
            kinds(folder, pieces)
        else:
            print("left out, kinds: no espeak-ng")
        if shutil.which("text2wave"):
            singing(folder, pieces)
        else:
            print("left out, singing: no festival")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--few", action="store_true", help="fewer of everything")
    options = parser.parse_args()
    warnings.filterwarnings("ignore")
    tables(few=options.few)
    bar_table()


if __name__ == "__main__":
    main()
