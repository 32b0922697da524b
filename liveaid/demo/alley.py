"""The spice alley: what the hands do there, judged, played, followed and scored.

A sentence scratched from words of three sounds, a melody on one tone, a juggle of two patterns:
each by itself, from the map as it would be laid out; no audio is needed for that.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import Any

from rich.console import Console

from liveaid.demo.show import ShowOutcome, at_once, live
from liveaid.demo.tally import tally
from liveaid.files.aside import write_aside
from liveaid.practice.aim import Aim
from liveaid.practice.take_line import hand_lines, piece_line
from liveaid.routine import SIDES, Routine, load_routine
from liveaid.routine.acts import acts_of
from liveaid.routine.check import fastest
from liveaid.routine.coming import Call, calls
from liveaid.routine.scene import MAP, map_file, own
from liveaid.simulate import perform
from liveaid.stage.settings import Settings

ALLEY = "spice-alley"
ALLEY_LEAD_S = 2.0
MOST_SAID = 14
"""More acts than these are not written out."""


def make_alley(market: Path) -> Path:
    """The alley's scene inside the market's folder, with its sounds and what is known of them."""
    folder = own(market, ALLEY, folder=True)
    folder.mkdir(exist_ok=True)
    write_aside(own(folder, MAP), map_file(ALLEY).read_bytes())
    sounds = own(folder, "sounds", folder=True)
    sounds.mkdir(exist_ok=True)
    for sound in load_routine(folder / MAP).sounds.values():
        shutil.copyfile(own(market, sound.file), own(folder, sound.file))
    shutil.copyfile(own(market, "shelf.sqlite"), own(folder, "shelf.sqlite"))
    return folder


def play_alley(
    routine: Routine, console: Console, *, seed: int, on_stage: Settings | None
) -> list[dict[str, Any]]:
    """Every set piece whose acts are written out, as told and as JSON would have it.

    `routine`: the alley's, laid out. `on_stage`: where the first of them is played in real time,
    for its acts to be seen on the page; None: all of them at once.
    """
    speed = {told.piece: told.fastest_bpm for told in fastest(routine)}
    found: list[dict[str, Any]] = []
    for index, piece in enumerate(routine.pieces):
        if not calls(routine, index):
            continue
        outcome = _played(_aim(routine, index), console, seed, None if found else on_stage)
        told = {
            "piece": piece.name,
            **_spoken(routine, index),
            "fastest_bpm": round(speed[index] or 0.0, 1),
            **outcome,
        }
        _say(console, calls(routine, index), told)
        found.append(told)
    return found


def _aim(routine: Routine, index: int) -> Aim:
    """One set piece by itself; with the one before where only that gives the count."""
    first = index - 1 if index and routine.pieces[index].count == "clock" else index
    pieces = routine.pieces[first : index + 1]
    return Aim(
        routine=routine.model_copy(update={"pieces": pieces, "limit_s": None}),
        piece=routine.pieces[index].name,
        first=first,
    )


def _played(aim: Aim, console: Console, seed: int, on_stage: Settings | None) -> dict[str, Any]:
    """How well one set piece, played by human hands, was followed, and its score."""
    routine = aim.routine
    performance = perform(routine, seed=seed, lead_s=ALLEY_LEAD_S)
    if on_stage is not None:
        live(routine, performance, console, settings=on_stage, until_s=performance.duration_s)
    outcome = at_once(routine, performance, Console(file=StringIO()), aim=aim)
    beat_s = [piece.beat_s for piece in routine.pieces].__getitem__
    score = tally(outcome.said, performance.truth.at, beat_s)
    return {"beats_right": round(score.beats_right, 2), **_score(outcome)}


def _score(outcome: ShowOutcome) -> dict[str, Any]:
    if not outcome.scores:
        return {"score": None}
    score = outcome.scores[-1].score
    piece = score.pieces[-1]
    return {
        "score": piece_line(piece),
        "hands": hand_lines(score),
        "missed": piece.missed,
        "added": piece.added,
        "cuts": sum(len(fader.cuts) for fader in piece.faders),
    }


def _spoken(routine: Routine, index: int) -> dict[str, Any]:
    """How many words of how many sounds are played, and in which figures."""
    acts = [act for side in SIDES for act in acts_of(routine, index, side) if act.written]
    said = [call for call in calls(routine, index) if call.part]
    return {
        "words": len(said),
        "sounds": len({act.sound for act in acts if act.sound}),
        "figures": list(dict.fromkeys(act.figure for act in acts if act.figure)),
    }


def _say(console: Console, spoken: Sequence[Call], told: dict[str, Any]) -> None:
    lines = " · ".join(call.says for call in spoken[:MOST_SAID])
    lines += " · ..." if len(spoken) > MOST_SAID else ""
    console.print(f"{told['piece']}: {lines}", soft_wrap=True)
    console.print(
        f"  playable up to {told['fastest_bpm']:.0f} BPM; followed to the beat"
        f" {told['beats_right']:.1f} % of the time; take {told['score'] or 'not found'}",
        soft_wrap=True,
    )  # fmt: skip
    for line in told.get("hands", ()):
        console.print(f"  {line}", soft_wrap=True)
