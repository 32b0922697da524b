"""Everything a render leaves in the `decks` folder, written aside and then moved into place."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from liveaid.errors import LiveaidError
from liveaid.render.cue_chunk import CuePoint
from liveaid.render.cut import edge_frames
from liveaid.render.cuts import Cuts, Progress
from liveaid.render.deck_file import ours, write_deck_file
from liveaid.render.edges import Samples
from liveaid.render.guide import deck_reader, guide_mix
from liveaid.render.into_place import folder_aside, move_into_place, said_clearly, set_aside
from liveaid.render.sheet import Printed, sheet_html
from liveaid.routine import SIDES, Decks, Routine, Side, save_routine
from liveaid.routine.layout.deck import DeckLayout
from liveaid.routine.layout.placed import placed_routine
from liveaid.routine.model import DeckFile
from liveaid.routine.opened import WRITTEN
from liveaid.routine.scene import MAP

WRITING_BLOCK_FRAMES = 1 << 18
SOUND_FILES = ("left.wav", "right.wav", "guide.wav")
"""What is set aside when it is there and not ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToWrite:
    """All that one render writes: the map as placed, both decks, their sound."""

    routine: Routine
    """As it is in the scene, its paths relative to `folder`."""
    written: bytes
    """The section map as it was read, comments and all."""
    folder: Path
    """The scene's folder."""
    layouts: dict[Side, DeckLayout]
    cuts: Cuts
    rate_hz: int


def write_all(written: ToWrite, decks: Path, progress: Progress) -> list[Path]:
    """Write the set into `decks`; returns the performer's own files that were set aside.

    LiveaidError when it cannot be done; the files that were there are then as they were.
    """
    placed = placed_routine(
        written.routine,
        written.layouts,
        rate_hz=written.rate_hz,
        decks=Decks(left=DeckFile(file="left.wav"), right=DeckFile(file="right.wav")),
        files={
            name: _relative(written.folder / sound.file, decks)
            for name, sound in written.routine.sounds.items()
        },
    )
    names = (*SOUND_FILES, "sheet.html", WRITTEN, MAP)
    with folder_aside(decks, names) as aside, said_clearly(decks):
        for done, side in enumerate(SIDES):
            progress(done, len(names), f"{side} deck")
            _write_deck(written, placed, side, aside / f"{side}.wav")
        progress(2, len(names), "guide mix")
        _write_guide(written, placed, (aside / "guide.wav"))
        progress(3, len(names), "sheet")
        printed = Printed(placed, written.layouts, written.rate_hz)
        (aside / "sheet.html").write_text(sheet_html(printed), encoding="utf-8")
        (aside / WRITTEN).write_bytes(written.written)
        save_routine(placed, (aside / MAP))
        kept = [
            set_aside(decks / name)
            for name in SOUND_FILES
            if os.path.lexists(decks / name) and not ours(decks / name)
        ]
        move_into_place(aside, decks, names)
        progress(len(names), len(names), "all files")
    return kept


def _relative(path: Path, decks: Path) -> str:
    """A sound's path as a map in `decks` writes it; in full where there is no relative one."""
    try:
        # By where they really are: `..` out of a folder that is a link leads past the scene.
        real = os.path.relpath(os.path.realpath(path), os.path.realpath(decks))
        return Path(real).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()


def _write_deck(written: ToWrite, placed: Routine, side: Side, path: Path) -> None:
    layout = written.layouts[side]
    try:
        write_deck_file(
            path,
            _deck_blocks(written, layout),
            frames=layout.frames,
            rate_hz=written.rate_hz,
            title=f"{written.routine.title}, {side} deck",
            points=cue_points(placed, side, written.rate_hz),
        )
    except ValueError as error:
        raise LiveaidError(f"{side} deck: {error}") from error


def _deck_blocks(written: ToWrite, layout: DeckLayout) -> Iterator[Samples]:
    """The deck file from start to end: silence, a passage with its edges, silence, and so on."""
    head, _ = edge_frames(written.rate_hz)
    at = 0
    for item in layout.laid:
        samples = written.cuts.of(item.passage).samples
        yield from _silence(item.begin - head - at)
        for begin in range(0, len(samples), WRITING_BLOCK_FRAMES):
            yield samples[begin : begin + WRITING_BLOCK_FRAMES]
        at = item.begin - head + len(samples)
    yield from _silence(layout.frames - at)


def _silence(frames: int) -> Iterator[Samples]:
    for begin in range(0, frames, WRITING_BLOCK_FRAMES):
        yield np.zeros((min(WRITING_BLOCK_FRAMES, frames - begin), 2), dtype=np.float32)


def _write_guide(written: ToWrite, placed: Routine, path: Path) -> None:
    head, _ = edge_frames(written.rate_hz)
    read = deck_reader(written.layouts, lambda passage: written.cuts.of(passage).samples, head=head)
    mix = guide_mix(placed, read, rate_hz=written.rate_hz)
    title = f"{written.routine.title}, guide mix"
    try:
        write_deck_file(path, [mix], frames=len(mix), rate_hz=written.rate_hz, title=title)
    except ValueError as error:
        raise LiveaidError(f"guide mix: {error}") from error


def cue_points(placed: Routine, side: Side, rate_hz: int) -> list[CuePoint]:
    """One point for every frame of a deck that is a cue, labelled with the set pieces it is for."""
    labels: dict[int, list[str]] = {}
    for number, piece in enumerate(placed.pieces, 1):
        cue_s = piece.plan(side).cue_s
        if cue_s is not None:
            labels.setdefault(round(cue_s * rate_hz), []).append(f"{number} {piece.name}")
    return [CuePoint(frame, " / ".join(names)) for frame, names in sorted(labels.items())]
