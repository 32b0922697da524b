"""How right and how fast the study of a sound is, on recorded and rendered music, beside librosa.

Run by hand: python tests/bench/gather.py [--seconds 60] [--few] [--crate 100000]
What follows its own tables is of played.py (played music, breaks, kinds), alike.py and shelf.py.
Needs Debian's sonic-pi-samples, openmpt123, espeak-ng, fluidsynth, fluid-soundfont-gm, freedoom and
six game data packages with tracker music: heroes-sound-tracks tecnoballz-data pachi-data
rafkill-data biniax2-data ironseed-data; played.py and alike.py say what else.
What is missing is left out and said. Thresholds of the study were tuned on the music of
tecnoballz, rafkill and ironseed and on the drum patterns; heroes, biniax2 and pachi were held back.
"""

# ruff: noqa: E402 - thread counts must be set before the libraries are loaded
from __future__ import annotations

import argparse
import itertools
import os
import shutil
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import alike
import librosa
import mir_eval
import numpy as np
import played
import shelf
import soundfile
import soxr
from bars import note_bar
from bars import table as bar_table
from midi_songs import SONG_FILES, composed, more_songs
from scores import SOUNDFONT
from tracker_music import library, render

from liveaid.sound.read import open_sound
from liveaid.study import Study, study
from liveaid.study.key import find_key, key_fits
from liveaid.study.onsets import find_onsets
from liveaid.study.spectrum import RATE_HZ, analyse
from liveaid.study.tempo import find_tempo

SAMPLES = Path("/usr/share/sonic-pi/samples")
GAMES = Path("/usr/share/games")
MUSIC = {
    "heroes": (GAMES / "heroes/mod", "held back"),
    "biniax2": (GAMES / "biniax2/music", "held back"),
    "pachi": (Path("/usr/share/pachi/music"), "held back"),
    "tecnoballz": (GAMES / "tecnoballz/musics", "tuned on"),
    "rafkill": (GAMES / "rafkill/music", "tuned on"),
    "ironseed": (GAMES / "ironseed/sound", "tuned on"),
}
MODULES = {".mod", ".xm", ".it", ".s3m", ".stm"}

# Whole beats in each loop. Those of 218227 and 109114 frames are 8 and 4 beats at 97 BPM (one of
# them is named so) to the frame, those of 352800 16 beats at 120, amen_full 16 at 140 (302400
# frames), breakbeat 4 at 126 (84000), compus 16 at 148 (286054): only these counts of whole bars
# give a whole tempo. amen (a bar of the same break), industrial, safari and tabla give none; their
# counts are by ear, from memory. loop_3d_printer is a machine's noise and left out.
LOOP_BEATS = {
    "amen": 4, "amen_full": 16, "breakbeat": 4, "compus": 16, "drone_g_97": 8, "electric": 4,
    "garzul": 16, "industrial": 2, "mehackit1": 4, "mehackit2": 4, "mika": 16, "perc1": 4,
    "perc2": 4, "safari": 16, "tabla": 16, "weirdo": 8,
}  # fmt: skip

# Keys that file names state: the note they end in, or the chord.
NAMED_KEYS = {
    "bass_dnb_f": "F", "bass_drop_c": "C", "bass_hard_c": "C", "bass_hit_c": "C",
    "bass_thick_c": "C", "bass_trance_c": "C", "bass_voxy_c": "C", "bass_voxy_hit_c": "C",
    "bass_woodsy_c": "C", "glitch_bass_g": "G", "loop_drone_g_97": "G", "guit_e_fifths": "E",
    "guit_e_slide": "E", "guit_em9": "E minor",
}  # fmt: skip

NO_BEAT = (
    "ambi_choir", "ambi_dark_woosh", "ambi_drone", "ambi_glass_hum", "ambi_glass_rub",
    "ambi_haunted_hum", "ambi_lunar_land", "ambi_piano", "ambi_sauna", "ambi_swoosh",
    "bass_drop_c", "bass_thick_c", "bass_trance_c", "bass_voxy_c", "bass_woodsy_c", "drum_roll",
    "drum_splash_hard", "drum_cymbal_open", "misc_cineboom", "misc_crow", "misc_burp",
    "perc_bell", "perc_bell2", "perc_door", "perc_till", "vinyl_hiss", "vinyl_rewind",
    "vinyl_backspin", "mehackit_robot4", "mehackit_phone3",
)  # fmt: skip
SPEECH = (
    ("en", 160, "The lanterns were lit one after another along the river, and nobody in the market"
     " noticed that the rain had stopped."),
    ("de", 180, "Kommt näher, kommt näher! Heiße Kastanien, zwei für eine, nur heute Nacht."),
    ("fr", 150, "Elle compta les marches de la porte jusqu'au pont, et il en manquait une."),
)  # fmt: skip

# (kick, snare, hat, BPM): recorded single hits for patterns whose onsets are known to the sample.
KITS = (
    ("bd_haus", "sn_dolf", "drum_cymbal_closed", 120),
    ("bd_808", "sn_dub", "elec_tick", 92),
    ("drum_heavy_kick", "drum_snare_hard", "drum_cymbal_pedal", 100),
    ("bd_fat", "elec_snare", "elec_triangle", 140),
    ("drum_bass_hard", "drum_snare_soft", "drum_cymbal_closed", 75),
    ("bd_klub", "perc_snap", "elec_cymbal", 128),
    ("bd_tek", "elec_hi_snare", "drum_cowbell", 110),
    ("bd_boom", "sn_zome", "elec_blip", 88),
    ("tabla_ghe1", "tabla_na", "tabla_te1", 96),
    ("drum_tom_lo_hard", "drum_tom_hi_hard", "drum_splash_soft", 105),
)
BACKGROUNDS = (None, "ambi_glass_hum", "guit_em9")
STEPS = ((0, 7, 8), (4, 12), tuple(range(0, 16, 2)))
GAINS = (1.0, 0.8, 0.35)

# Chord degrees of common progressions (a harmony handbook's), in major and natural minor.
PROGRESSIONS = {
    "major": ((0, 3, 4, 0), (0, 5, 3, 4), (0, 4, 5, 3), (1, 4, 0, 0)),
    "minor": ((0, 3, 4, 0), (0, 5, 2, 6), (0, 6, 5, 4), (0, 5, 3, 4)),
}
SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


TEMPO_COLUMNS = "    acc 1    acc 2  median err %   <= 0.01 %   <= 0.02 %"
SURE = 0.8
"""Songs told so sure or more are called sure."""


@dataclass
class Tempi:
    """Tempo answers of one detector over one set, None for none."""

    truth: list[float] = field(default_factory=list)
    found: list[float | None] = field(default_factory=list)

    def ratios(self) -> list[float]:
        """Found over true tempo, 0 where none was found."""
        return [(f or 0.0) / t for t, f in zip(self.truth, self.found, strict=True)]

    def errors(self) -> list[float]:
        """How far each is from a tempo a listener could mean: the true one or one of its octaves
        or threes (4 % at most); 1 for any other."""
        near = [
            min(abs(one / part - 1) for part in (1, 1 / 2, 1 / 3, 2, 3)) for one in self.ratios()
        ]
        return [error if error <= 0.04 else 1.0 for error in near]

    def in_octave(self) -> list[bool]:
        """Whether each is right within 4 % (accuracy 1; Gouyon 2006)."""
        return [abs(ratio - 1) <= 0.04 for ratio in self.ratios()]

    def row(self) -> str:
        """Accuracy 1 and 2, and errors in per cent of the nearest octave's or three's."""
        errors = np.array(self.errors())
        one = np.mean(self.in_octave()) if self.truth else float("nan")
        near = errors[errors < 1.0]
        count = max(len(errors), 1)
        exact = [np.sum(errors <= most) / count for most in (1e-4, 2e-4)]
        middle = 100 * float(np.median(near)) if len(near) else float("nan")
        return f"{one:9.3f}{len(near) / count:9.3f}{middle:14.4f}{exact[0]:12.2f}{exact[1]:12.2f}"


def heading(title: str, columns: str) -> None:
    print(f"\n{title}\n{'':30}{columns}")


def librosa_tempo(path: Path) -> float:
    samples, rate = librosa.load(path)
    return float(np.atleast_1d(librosa.beat.beat_track(y=samples, sr=rate)[0])[0])


def tempo_of_loops() -> None:
    ours, theirs, counts = Tempi(), Tempi(), 0
    for name, beats in LOOP_BEATS.items():
        path = SAMPLES / f"loop_{name}.flac"
        info = soundfile.info(path)
        truth = beats * 60.0 * info.samplerate / info.frames
        found = study(path)
        counts += found.loop_beats in (beats, 2 * beats, beats / 2)
        for tempi, tempo in ((ours, found.tempo), (theirs, librosa_tempo(path))):
            tempi.truth.append(truth)
            tempi.found.append(tempo)
    heading(
        f"Tempo, {len(LOOP_BEATS)} recorded loops cut to length",
        TEMPO_COLUMNS,
    )
    print(f"{'liveaid':30}{ours.row()}   (known as loops: {counts})\n{'librosa':30}{theirs.row()}")


def renderings(folder: Path, seconds: float, few: bool) -> Iterator[tuple[str, Path, float, bool]]:
    """Collection, file, tempo and whether held back, of each module with one tempo."""
    lib = library()
    for collection, (where, use) in MUSIC.items():
        files = sorted(p for p in where.glob("*") if p.suffix.lower() in MODULES)
        if not files:
            print(f"left out: no modules in {where}")
        for module in files[:3] if few else files:
            rendering = render(lib, module, seconds)
            tempo = rendering.tempo_bpm()
            if tempo is None:
                continue
            path = folder / f"{collection}-{module.name}.wav"
            soundfile.write(path, rendering.samples, 44100)
            yield collection, path, tempo, use == "held back"


def tempo_of_tracker_music(folder: Path, seconds: float, few: bool, detail: bool) -> list[Path]:
    sets = {True: (Tempi(), Tempi()), False: (Tempi(), Tempi())}
    first_beats: list[float] = []
    paths = []
    for _, path, truth, held in renderings(folder, seconds, few):
        paths.append(path)
        found = study(path)
        for tempi, tempo in zip(sets[held], (found.tempo, librosa_tempo(path)), strict=True):
            tempi.truth.append(truth)
            tempi.found.append(tempo)
        if found.tempo and found.first_beat is not None and abs(found.tempo / truth - 1) < 5e-4:
            period = 60 / truth  # the first row, and so a beat, is at 0
            first_beats.append(abs((found.first_beat + period / 2) % period - period / 2))
        if detail:
            tempo = f"{found.tempo or 0:10.3f}{found.tempo_confidence:6.2f}"
            print(f"  {path.name:44}{truth:10.3f}{tempo}")
    for held, label in ((True, "held back"), (False, "tuned on")):
        ours, theirs = sets[held]
        heading(
            f"Tempo, {len(ours.truth)} pieces of tracker music, {label}",
            TEMPO_COLUMNS,
        )
        print(f"{'liveaid':30}{ours.row()}\n{'librosa':30}{theirs.row()}")
    near = np.array(first_beats)
    print(f"first beat within 10 ms of a beat: {np.mean(near < 0.01):.2f} of {len(near)} pieces")
    return paths


def tempo_of_composed(folder: Path, seconds: float, few: bool) -> None:
    """Songs that state their tempo (midi_songs.py); how sure an octave is was set on every other
    one of freedoom's."""
    written = [one for one in composed() if one.keeps_tempo()]
    sets = {
        "composed songs, tuned on": written[::2],
        "composed songs, held back": written[1::2],
        "light music, held back": [one for one in more_songs() if one.keeps_tempo()],
    }
    for label, pieces in sets.items():
        every, sure, theirs, offered = Tempi(), Tempi(), Tempi(), Tempi()
        for piece in pieces[:: 4 if few else 1]:
            path, truth = folder / "composed.wav", piece.tempo_bpm or 0.0
            piece.render(0.0, seconds, path)
            found = study(path)
            offers = (found.tempo, found.tempo_alternative, found.tempo_rival)
            told = [(every, found.tempo), (theirs, librosa_tempo(path))]
            told += [(offered, min((o or 0.0 for o in offers), key=lambda o: abs(o - truth)))]
            told += [(sure, found.tempo)] if found.tempo_confidence >= SURE else []
            for tempi, tempo in told:
                tempi.truth.append(truth)
                tempi.found.append(tempo)
        heading(f"Tempo, {len(every.truth)} {label}", TEMPO_COLUMNS)
        print(f"{'liveaid':30}{every.row()}\n{'librosa':30}{theirs.row()}")
        print(f"{f'liveaid, {len(sure.truth)} sure ones':30}{sure.row()}")
        print(f"{'liveaid, told or offered':30}{offered.row()}")
        if "held" in label:
            note_bar(f"octave of sure {label}", 0.9, sure.in_octave())
            note_bar(f"sure {label}, in .01 %", 0.95, [one <= 1e-4 for one in sure.errors()])
            note_bar(f"told or offered, {label}", 1.0, offered.in_octave())


def hit(name: str) -> tuple[np.ndarray, int]:
    """A recorded hit, and the sample where it first reaches a tenth of its peak."""
    samples, _ = soundfile.read(SAMPLES / f"{name}.flac", dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    mono /= np.abs(mono).max()
    return mono, int(np.argmax(np.abs(mono) > 0.1))


def pattern(
    kit: tuple[str, str, str, int], background: str | None, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Four bars of recorded hits at known seconds, each up to 2 ms off the grid."""
    rate, step = 44100, 15.0 / kit[3]
    whole = np.zeros(int(rate * (64 * step + 2)), np.float32)
    truth = []
    for bar, place in itertools.product(range(4), range(16)):
        at = 0.5 + (bar * 16 + place) * step + rng.normal(0, 0.002)
        for name, steps, gain in zip(kit, STEPS, GAINS, strict=False):
            if place in steps:
                samples, onset = hit(str(name))
                start = max(round(at * rate) - onset, 0)
                piece = samples[:rate][: len(whole) - start]
                whole[start : start + len(piece)] += gain * rng.uniform(0.7, 1) * piece
                truth.append(round(at * rate) / rate)
    if background:
        whole += 0.15 * np.resize(hit(background)[0], len(whole))
    return whole / np.abs(whole).max() * 0.8, np.unique(truth)


def onsets_of_patterns() -> None:
    rng = np.random.default_rng(1)
    finders: dict[str, Callable[[np.ndarray], np.ndarray]] = {
        "liveaid": lambda mono: find_onsets(mono, analyse(mono)).times_s,
        "librosa": lambda mono: librosa.onset.onset_detect(y=mono, sr=RATE_HZ, units="time"),
    }
    finders["librosa, 22 ms taken off"] = lambda mono: finders["librosa"](mono) - 0.022
    scores = {name: ([], [], []) for name in finders}
    for kit, background in itertools.product(KITS, BACKGROUNDS):
        samples, truth = pattern(kit, background, rng)
        mono = soxr.resample(samples, 44100, RATE_HZ)
        for name, find in finders.items():
            found = np.maximum(find(mono), 0.0)
            for window, store in zip((0.05, 0.025), scores[name], strict=False):
                store.append(mir_eval.onset.f_measure(truth, found, window=window)[0])
            pairs = mir_eval.util.match_events(truth, found, 0.05)
            scores[name][2].extend(found[j] - truth[i] for i, j in pairs)
    heading(
        f"Onsets, {len(KITS) * len(BACKGROUNDS)} patterns of recorded hits (also over hum, guitar)",
        "  F 50 ms  F 25 ms  median lag ms",
    )
    for name, (wide, narrow, lags) in scores.items():
        print(f"{name:30}{np.mean(wide):9.3f}{np.mean(narrow):9.3f}{1000 * np.median(lags):15.2f}")


def note(midi: float, seconds: float, rng: np.random.Generator) -> np.ndarray:
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    partials = [
        np.sin(2 * np.pi * hz * h * t + rng.uniform(0, 6)) / h ** rng.uniform(1, 1.6)
        for h in range(1, 9)
        if hz * h < 10000
    ]
    return np.sum(partials, axis=0) * np.exp(-t * rng.uniform(0.3, 3))


def progression(tonic: int, mode: str, cents: float, rng: np.random.Generator) -> np.ndarray:
    """Three rounds of a progression with bass and a melody of chord and scale notes."""
    scale, length = SCALES[mode], 1.2
    degrees = PROGRESSIONS[mode][rng.integers(len(PROGRESSIONS[mode]))]
    parts = []
    for degree in degrees * 3:
        chord = [scale[(degree + k) % 7] + 12 * ((degree + k) // 7) for k in (0, 2, 4)]
        up = tonic + cents / 100
        part = 0.6 * note(36 + up + chord[0], length, rng)
        for step in chord:
            part += 0.3 * note(60 + up + step, length, rng)
        for third in range(3):
            step = chord[rng.integers(3)] if rng.random() < 0.6 else scale[rng.integers(7)]
            tune = 0.3 * note(72 + up + step, 0.4, rng)
            start = int(third * 0.4 * RATE_HZ)
            part[start : start + len(tune)] += tune[: len(part) - start]
        parts.append(part)
    whole = np.concatenate(parts)
    return (whole / np.abs(whole).max() * 0.8).astype(np.float32)


def librosa_key(mono: np.ndarray) -> str:
    best = int(np.argmax(key_fits(librosa.feature.chroma_cqt(y=mono, sr=RATE_HZ).mean(axis=1))))
    return f"{NAMES[best % 12]} {'major' if best < 12 else 'minor'}"


def keys() -> None:
    rng = np.random.default_rng(3)
    scores: dict[str, list[float]] = {"liveaid": [], "librosa": []}
    for tonic, mode, round_ in itertools.product(range(12), SCALES, range(2)):
        mono = progression(tonic, mode, rng.uniform(-40, 40) if round_ else 0.0, rng)
        answers = {"liveaid": str(find_key(mono).key or "X"), "librosa": librosa_key(mono)}
        for name, answer in answers.items():
            scores[name].append(mir_eval.key.weighted_score(f"{NAMES[tonic]} {mode}", answer))
    heading(
        "Key, 48 synthesised progressions that start on their tonic, half of them out of tune",
        "   MIREX weighted score",
    )
    for name, values in scores.items():
        print(
            f"{name + (', same profiles' if name == 'librosa' else ''):30}{np.mean(values):10.3f}"
        )
    right = {"liveaid": 0, "librosa": 0}
    for name, wanted in NAMED_KEYS.items():
        mono = soxr.resample(hit(name)[0], 44100, RATE_HZ)
        for who, answer in (("liveaid", str(find_key(mono).key)), ("librosa", librosa_key(mono))):
            right[who] += answer == wanted or answer.split()[0] == wanted
    print(
        f"tonic as the file's name says, {len(NAMED_KEYS)} recorded notes, drones and chords:"
        f" liveaid {right['liveaid']}, librosa {right['librosa']}"
    )
    drums = [f"loop_{n}" for n in ("amen", "amen_full", "breakbeat", "compus", "garzul", "mika")]
    none = sum(study(SAMPLES / f"{name}.flac").key is None for name in drums)
    print(f"drum loops that rightly have no key: {none} of {len(drums)}")


def without_beat(folder: Path) -> None:
    paths = [SAMPLES / f"{name}.flac" for name in NO_BEAT]
    for voice, pace, text in SPEECH if shutil.which("espeak-ng") else ():
        path = folder / f"speech-{voice}.wav"
        done = subprocess.run(["espeak-ng", "-v", voice, "-s", str(pace), "-w", path, text])
        paths += [path] if done.returncode == 0 else []
    claims: list[tuple[str, Study]] = []
    for path in paths:
        found = study(path)
        if found.tempo is not None:
            claims.append((path.stem, found))
    print(
        f"\nNo beat: {len(paths)} drones, noises, single hits, spoken texts; tempo claimed in",
        end=" ",
    )
    said = [
        f"{name} ({f.tempo:.1f} BPM, confidence {f.tempo_confidence:.2f})" for name, f in claims
    ]
    print(f"{len(claims)}: {', '.join(said) or 'none'}; librosa claims one in every sound")


def same_facts(path: Path) -> None:
    """Tempo, beats, onsets and key: what librosa is asked for, and no loudness."""
    with open_sound(path) as reader:
        even = np.full(reader.channels, 1 / reader.channels, dtype=np.float32)
        mono = np.concatenate([block @ even for block in reader])
        frames, rate = reader.frames, reader.rate_hz
    mono = soxr.resample(mono, rate, RATE_HZ)
    spectrum = analyse(mono)
    onsets = find_onsets(mono, spectrum)
    find_tempo(mono, spectrum, onsets, frames=frames, rate_hz=rate)
    find_key(mono)


def librosa_facts(path: Path, chroma: Callable[..., np.ndarray]) -> None:
    samples, rate = librosa.load(path)
    librosa.beat.beat_track(y=samples, sr=rate)
    librosa.onset.onset_detect(y=samples, sr=rate)
    key_fits(chroma(y=samples, sr=rate).mean(axis=1))


def speed(paths: list[Path]) -> None:
    """Processor seconds, each on the same files in turn, the first round left out."""
    runs: dict[str, Callable[[Path], object]] = {
        "liveaid, tempo, onsets, key": same_facts,
        "liveaid, whole study": study,
        "librosa, chroma_cqt": lambda path: librosa_facts(path, librosa.feature.chroma_cqt),
        "librosa, chroma_stft": lambda path: librosa_facts(path, librosa.feature.chroma_stft),
    }
    spent = dict.fromkeys(runs, 0.0)
    for round_, path in itertools.product(range(3), paths):
        for name, run in runs.items():
            start = time.process_time()
            run(path)
            spent[name] += (time.process_time() - start) * (round_ > 0)
    seconds = 2 * sum(soundfile.info(path).duration for path in paths)
    heading(f"Speed, {len(paths)} pieces", "  audio s / s   against it, cqt  stft")
    for name, used in spent.items():
        ratios = [spent[f"librosa, chroma_{kind}"] / used for kind in ("cqt", "stft")]
        print(f"{name:30}{seconds / used:13.0f}{ratios[0]:15.1f}x{ratios[1]:5.1f}x")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=90.0, help="of each piece rendered")
    parser.add_argument("--few", action="store_true", help="three pieces of each collection")
    parser.add_argument("--crate", type=int, default=100_000, help="sounds on the shelf searched")
    parser.add_argument("--detail", action="store_true", help="a line for each piece")
    options = parser.parse_args()
    warnings.filterwarnings("ignore")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths: list[Path] = []
        try:
            paths = tempo_of_tracker_music(folder, options.seconds, options.few, options.detail)
        except OSError as error:
            print(f"left out, tracker music: {error}")
        if any(file.is_file() for file in SONG_FILES) and SOUNDFONT.exists():
            tempo_of_composed(folder, options.seconds, options.few)
        else:
            print("left out, composed songs: no freedoom or soundfont")
        if SAMPLES.is_dir():
            tempo_of_loops()
            onsets_of_patterns()
            keys()
            without_beat(folder)
        else:
            print(f"left out, recorded sounds: no {SAMPLES}")
        if paths:
            speed(paths[:: max(1, len(paths) // 6)][:6])
    played.tables(few=options.few)
    alike.main()
    shelf.crate(options.crate)
    bar_table()


if __name__ == "__main__":
    main()
