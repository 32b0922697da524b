"""A stretch on deck files that were made slower, for tempos the pitch fader does not reach.

What turns by itself is brought to the slower tempo with its key kept, as a performer practises it:
the words stay words, and what was in tune stays so. What a hand scratches stays as it is, so that
its ways on the record are the ones of the stage. The fader bends each set of files by its reach.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from liveaid.practice.aim import Aim, aim_of
from liveaid.practice.limits import Limits
from liveaid.practice.records import Kept
from liveaid.practice.stretch import Stretch, cut
from liveaid.routine import Piece, Plan, Routine, Runs, Works, load_routine
from liveaid.routine.scene import DECKS, MAP, SLOWER

LEAST_TEMPO_BPM = 20.0
"""The section map's own lowest."""


def deck_parts(start_part: float, pitch_range_percent: float) -> tuple[float, ...]:
    """The parts of full tempo that deck files are made for, from 1 down, to start at one.

    Each set reaches, fader all up, where the one before it ends, fader all down; the last is made
    for the start itself where that reaches.
    """
    reach = pitch_range_percent / 100.0
    parts = [1.0]
    while parts[-1] * (1.0 - reach) > start_part + 1e-9:
        least = math.ceil(round(100.0 * parts[-1] * (1.0 - reach) / (1.0 + reach), 6)) / 100.0
        parts.append(min(max(least, start_part), parts[-1] - 0.01))
    return tuple(parts)


def slower_folder(what: str, part: float) -> str:
    """The scene's folder for a stretch's deck files at a part of full tempo."""
    plain = re.sub(r"[^a-z0-9]+", "-", what.casefold()).strip("-")[:60] or "stretch"
    return f"{SLOWER}/{plain}-{round(100 * part)}"


def to_load(what: str, part: float) -> str:
    """Which deck files are to be on the decks, in words."""
    if part == 1.0:
        return f"load {DECKS}/left.wav and right.wav, the stage's own"
    folder = slower_folder(what, part)
    return f"load {folder}/left.wav and right.wav, made for {part:.0%} of full tempo"


def aim_of_kept(
    routine: Routine, kept: Kept, scene: Path, limits: Limits | None = None
) -> Aim | None:
    """What was practised in a take, on the deck files it was played on; None where they or it are
    gone."""
    aim = aim_of(routine, kept.aim, limits)
    if aim is None or kept.decks_part == 1.0:
        return aim
    file = scene / slower_folder(kept.aim, kept.decks_part) / MAP
    if not file.is_file():
        return None
    decks = {1.0: aim.routine, kept.decks_part: load_routine(file)}
    return replace(aim, decks=decks).on_decks(kept.decks_part)


def slower(routine: Routine, what: Stretch, part: float) -> Routine:
    """The map to render: the stretch alone at a part of its tempo, to be laid out anew.

    `routine` as it is written. A span stated in seconds grows where its sound has a beat.
    """
    alone = cut(routine, what)
    gridded = {
        name
        for name, sound in routine.sounds.items()
        if sound.kind == "instrumental" or sound.loop or sound.tempo_bpm is not None
    }
    sounds = {
        name: sound.model_copy(update={"stretch": True}) if sound.tone_hz is None else sound
        for name, sound in alone.sounds.items()
    }
    pieces = tuple(_piece(piece, part, gridded) for piece in alone.pieces)
    return alone.model_copy(update={"pieces": pieces, "sounds": sounds})


def _piece(piece: Piece, part: float, gridded: set[str]) -> Piece:
    plans = {side: _plan(piece.plan(side), part, gridded) for side in ("left", "right")}
    return piece.model_copy(update={"tempo_bpm": piece.tempo_bpm * part, **plans})


def _plan(plan: Plan, part: float, gridded: set[str]) -> Plan:
    if isinstance(plan, Runs):
        return plan.model_copy(update={"at_s": None})
    if not isinstance(plan, Works) or plan.from_s is None or plan.sound not in gridded:
        return plan
    longer: dict[str, Any] = {
        name: plan.from_s + (at - plan.from_s) / part
        for name, at in (("to_s", plan.to_s), ("own_cue_s", plan.own_cue_s))
        if at is not None
    }
    return plan.model_copy(update=longer)
