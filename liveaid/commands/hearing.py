"""`liveaid review --hear`: a take's sound, from the deck files and the trace."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from liveaid.errors import LiveaidError, UsageError
from liveaid.files.aside import made_aside
from liveaid.practice.reading import TakeReader
from liveaid.practice.slower import slower_folder
from liveaid.practice.take_places import let_through, places_at
from liveaid.render.deck_file import write_deck_file
from liveaid.render.edges import Samples
from liveaid.render.moved_mix import moved_mix
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.scene import DECKS, own


@contextlib.contextmanager
def _deck_files(folder: Path) -> Iterator[dict[Side, soundfile.SoundFile]]:
    """Both deck files, opened. UsageError where one is not there."""
    with contextlib.ExitStack() as opened:
        files: dict[Side, soundfile.SoundFile] = {}
        for side in SIDES:
            file = own(folder, f"{side}.wav")
            if not file.is_file():
                raise UsageError(f"{file}: no deck file; `liveaid render` makes it")
            files[side] = opened.enter_context(soundfile.SoundFile(file))
        yield files


def _read(file: soundfile.SoundFile, frame: int, count: int) -> Samples:
    """So many frames of a deck file from one on; silence outside it."""
    out = np.zeros((count, 2), dtype=np.float32)
    first, last = max(frame, 0), min(frame + count, file.frames)
    if last > first:
        file.seek(first)
        inside = file.read(last - first, dtype="float32", always_2d=True)
        out[first - frame : last - frame] = inside
    return out


def hear_take(routine: Routine, scene: Path, reader: TakeReader, number: int, file: Path) -> str:
    """Write what a take sounded like; a word on what it rests on.

    UsageError without the deck files it was played on.
    """
    kept = reader.kept(number)
    where = DECKS if kept.decks_part == 1.0 else slower_folder(kept.aim, kept.decks_part)
    with _deck_files(own(scene, where, folder=True)) as decks:
        rate = int(decks["left"].samplerate)
        trace = kept.delays.corrected(kept.trace)
        mixer = kept.delays.corrected_mixer(kept.mixer)
        heard = [deck.now_s for deck in trace.values() if len(deck.now_s)]
        begin_s = min(float(t[0]) for t in heard)
        times = begin_s + np.arange(int((max(float(t[-1]) for t in heard) - begin_s) * rate)) / rate
        around = np.concatenate([[times[0] - 1 / rate], times, [times[-1] + 1 / rate]])
        reach = routine.turntable.pitch_range_percent
        played = [side for side in SIDES if len(trace[side].now_s)]
        hamster = routine.performer.hamster
        mix = moved_mix(
            {side: places_at(trace[side], around, pitch_range_percent=reach) for side in played},
            {side: let_through(mixer, side, times, hamster=hamster) for side in played},
            lambda side, frame, count: _read(decks[side], frame, count), rate_hz=rate,
        )  # fmt: skip
    try:
        with made_aside(file) as aside:
            write_deck_file(aside, [mix], frames=len(mix), rate_hz=rate, title=f"take {number}")
    except (OSError, ValueError) as error:
        raise LiveaidError(f"{file}: can't be written ({error})") from error
    through = "" if mixer else "; no mixer was heard, so both decks stand open throughout"
    return f"{file}: take {number}, {len(mix) / rate:.1f} s{through}"
