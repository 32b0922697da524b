"""Slower deck files of a stretch, made once for a rehearsal below what the pitch fader reaches."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from liveaid.errors import UsageError
from liveaid.practice.aim import Aim
from liveaid.practice.ladder import Ladder
from liveaid.practice.slower import LEAST_TEMPO_BPM, deck_parts, slower, slower_folder
from liveaid.practice.stretch import stretch
from liveaid.routine import Routine, load_routine
from liveaid.routine.opened import Opened
from liveaid.routine.scene import MAP, own
from liveaid.terminal import progress


def with_slower_decks(aim: Aim, found: Opened, start_part: float) -> Aim:
    """The aim on the deck files for its start, all sets of them made; as it was within the reach.

    UsageError where nothing can be rendered slower: no sounds in the map, or no tempo so slow.
    """
    reach = aim.routine.turntable.pitch_range_percent
    parts = deck_parts(start_part, reach) if aim.piece else (1.0,)
    if len(parts) == 1:
        return aim
    _refuse(aim, found, start_part)
    decks = {1.0: aim.routine}
    for part in parts[1:]:
        decks[part] = _made(found, aim.piece, part)
    whole = dataclasses.replace(aim, decks=decks)
    first = Ladder(
        full_tempo_bpm=aim.routine.pieces[0].tempo_bpm, pitch_range_percent=reach,
        start_part=start_part, decks_parts=parts,
    )  # fmt: skip
    return whole.on_decks(first.decks_part)


def _refuse(aim: Aim, found: Opened, start_part: float) -> None:
    slowest = min(piece.tempo_bpm for piece in aim.routine.pieces) * start_part
    if slowest < LEAST_TEMPO_BPM:
        raise UsageError(
            f"--start-at {start_part:.0%}: {slowest:.0f} BPM; {LEAST_TEMPO_BPM:g} or more would do"
        )
    if not found.judged.sounds:
        raise UsageError(
            f"--start-at {start_part:.0%}: beyond the fader's "
            f"{aim.routine.turntable.pitch_range_percent:g} %, and the map names no sounds to make "
            "slower deck files from; a start within the fader would do"
        )


def _made(found: Opened, name: str, part: float) -> Routine:
    """The stretch as placed on its slower deck files; rendered where they are not there yet."""
    # Loaded when first needed: they bring the sound libraries and the database with them.
    from liveaid.render.render import render_scene
    from liveaid.shelf.database import shelf_for
    from liveaid.shelf.for_map import studies_on

    into = slower_folder(name, part)
    file = own(found.file.parent, into, folder=True) / MAP
    there = _there(file, found)
    if there is not None:
        return there
    what = stretch(found.judged, name)
    assert what is not None  # the aim was made from it
    title = f"deck files at {part:.0%}"
    with progress(title) as done:
        render_scene(
            found.file,
            progress=lambda step, of, _: done(step, of, title),
            with_words=lambda routine: slower(routine, what, part),
            known=studies_on(shelf_for(found.file)),
            into=into,
        )
    return load_routine(file)


def _there(file: Path, found: Opened) -> Routine | None:
    """The placed map of slower deck files that still are the written map's; None otherwise."""
    stage = found.placed.rendered if found.placed is not None else None
    if not file.is_file() or stage is None or found.state != "as rendered":
        return None
    placed = load_routine(file)
    rendered = placed.rendered
    same = rendered is not None and rendered.map == stage.map
    sounds = rendered.sounds.items() if rendered is not None else ()
    return placed if same and all(stage.sounds.get(k) == v for k, v in sounds) else None
