"""`liveaid fit`: which sounds go with one sound on a platter."""

from __future__ import annotations

import os
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
from rich.text import Text

from liveaid.commands.shelf_tables import (
    GUESS,
    LEGEND,
    WIDE,
    WIDE_LEGEND,
    fit_reasons,
    fit_table,
)
from liveaid.errors import LiveaidError
from liveaid.files.names import shown, stem
from liveaid.fit.fit import Fit, fits, out_of_reach
from liveaid.fit.why import key_words, reasons
from liveaid.routine.model import Turntable
from liveaid.routine.scene import map_file
from liveaid.routine.sketch import load_sketch
from liveaid.shelf.choose import choose
from liveaid.shelf.database import shelf_for
from liveaid.shelf.find import matching, parse_query
from liveaid.shelf.map_words import with_map_words
from liveaid.shelf.one_file import study_apart
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study
from liveaid.terminal import console, json_option, print_json


@click.command("fit")
@click.argument("sound")
@click.option("--among", metavar="TERMS", help="Only sounds found by these terms, as in gather.")
@click.option("--top", type=click.IntRange(1), default=15, show_default=True, help="How many.")
@click.option("--why", is_flag=True, help="Explain every number, sound by sound.")
@click.option("--key-locked", is_flag=True, help="The player keeps the key while tempo changes.")
@click.option(
    "--range",
    "range_percent",
    type=click.FloatRange(0, 100, min_open=True),
    help="Reach of the pitch fader in per cent.  [default: 8]",
)
@click.option(
    "--rpm", type=click.FloatRange(16, 100), help="Turns a minute of the platter.  [default: 33.3]"
)
@click.option(
    "--scene",
    help="Go by this scene: its turntable, its word on its sounds, its own shelf if it has one.",
)
@click.option("--shelf", "shelf_file", type=Path, metavar="FILE", help="Another shelf file.")
@json_option
def command(
    sound: str,
    among: str | None,
    top: int,
    why: bool,
    key_locked: bool,
    range_percent: float | None,
    rpm: float | None,
    scene: str | None,
    shelf_file: Path | None,
    as_json: bool,
) -> None:
    """Say which sounds go with one sound on a platter.

    SOUND is a file, or a name on the shelf or a part of one. The score (0 to 100) weighs the pitch
    that brings the tempos together, the keys at that pitch, kinds, energy, length and loudness.

    Example: liveaid fit stall-break --among "kind a cappella" --why
    """
    query = parse_query(among or "")
    sounds, table = _shelf_and_turntable(shelf_file, scene)
    turntable = _turntable(table, range_percent, rpm)
    name, mine, own_hash = _asked(sounds, sound)
    others = {other.hash: other for other in matching(query, sounds) if other.hash != own_hash}
    studies = {digest: other.study for digest, other in others.items() if other.study}
    ranked = fits(mine, studies, turntable=turntable, key_locked=key_locked)
    beyond = out_of_reach(mine, studies, turntable=turntable)
    if as_json:
        print_json(_report(name, mine, ranked[:top], others, beyond, turntable))
    else:
        _show(name, mine, ranked[:top], others, turntable, why=why)
        _show_rest(len(ranked), top, beyond, others, turntable)


def _shelf_and_turntable(
    shelf_file: Path | None, scene: str | None
) -> tuple[list[ShelfSound], Turntable]:
    """The sounds to choose from and the turntable they are played on, as a scene has them."""
    with Shelf(shelf_file or shelf_for(scene), make=False) as shelf:
        sounds = shelf.sounds(onsets=False)
    if scene is None:
        return sounds, Turntable()
    file = map_file(scene)
    sketch = load_sketch(file)
    return with_map_words(sounds, sketch.sounds, str(file.parent)), sketch.turntable


def _turntable(table: Turntable, range_percent: float | None, rpm: float | None) -> Turntable:
    said = {"pitch_range_percent": range_percent, "rpm": rpm}
    return Turntable(**(table.model_dump() | {k: v for k, v in said.items() if v is not None}))


def _asked(sounds: list[ShelfSound], meant: str) -> tuple[str, Study, str | None]:
    """Name, study and hash of the sound asked about; a file not on the shelf is studied now."""
    path = os.path.abspath(meant)
    on_shelf = any(path in (sound.path, *sound.copies) for sound in sounds)
    if os.path.isfile(path) and not on_shelf:
        click.echo(f"{shown(meant)} is not on the shelf; studied for this once.", err=True)
        return stem(path), study_apart(path), None
    found = choose(sounds, meant)
    if found.study is None:
        raise LiveaidError(f"{shown(found.path)}: {found.fault}")
    return found.name, found.study, found.hash


def _show(
    name: str,
    mine: Study,
    ranked: list[Fit],
    others: dict[str, ShelfSound],
    turntable: Turntable,
    *,
    why: bool,
) -> None:
    screen = console()
    tempo = f"{mine.tempo:.2f} BPM" if mine.tempo else "no tempo"
    screen.print(
        Text(
            f"{name}: {mine.kind}, {tempo}, {mine.key or 'no key'}, energy {mine.energy};"
            f" pitch ±{turntable.pitch_range_percent:g} %"
        )
    )
    if not ranked:
        screen.print("Nothing on the shelf goes with it.")
    elif why:
        for fit in ranked:
            screen.print()
            screen.print(fit_reasons(mine, fit, others[fit.other], turntable))
    else:
        screen.print(fit_table(mine, ranked, others, width=screen.width))
        legend = WIDE_LEGEND if screen.width >= WIDE else LEGEND
        screen.print(f"{legend}\n{GUESS}; --why explains every number.", style="dim")


def _show_rest(
    fitting: int,
    top: int,
    beyond: list[tuple[str, float]],
    others: dict[str, ShelfSound],
    turntable: Turntable,
) -> None:
    if fitting > top:
        console().print(f"{fitting - top} more fit less well: --top {fitting} shows them.")
    if beyond:
        nearest, needed = beyond[0]
        lie = "lies" if len(beyond) == 1 else "lie"
        said = (
            f"{len(beyond)} {lie} out of reach of ±{turntable.pitch_range_percent:g} % on both"
            f" decks; nearest: {others[nearest].name}, with --range {needed:.1f}."
        )
        console().print(Text(said))


def _report(
    name: str,
    mine: Study,
    ranked: list[Fit],
    others: dict[str, ShelfSound],
    beyond: list[tuple[str, float]],
    turntable: Turntable,
) -> dict[str, Any]:
    return {
        "sound": name,
        "tempo": mine.tempo,
        "key": mine.key,
        "pitch_range_percent": turntable.pitch_range_percent,
        "rpm": turntable.rpm,
        "fits": [_fit_json(mine, fit, others[fit.other], turntable) for fit in ranked],
        "out_of_reach": [
            {"name": others[digest].name, "needs_range_percent": round(needed, 3)}
            for digest, needed in beyond
        ],
    }


def _fit_json(mine: Study, fit: Fit, other: ShelfSound, turntable: Turntable) -> dict[str, Any]:
    assert other.study is not None
    told = dict(reasons(mine, other.study, fit, turntable))
    met = fit.meeting
    return {
        "name": other.name,
        "file": shown(other.path),
        "gone": other.gone,
        "score": round(fit.score, 2),
        "beat_matched": met is not None,
        "why_cued": fit.why_cued,
        "meeting": asdict(met) | {"shift_semitones": met.shift_semitones} if met else None,
        "heard_in": key_words(fit.keys) if fit.keys else None,
        "relation": fit.keys.relation if fit.keys else None,
        "cents_off": fit.keys.cents_off if fit.keys else None,
        "relation_key_locked": fit.keys_locked.relation if fit.keys_locked else None,
        "cents_off_key_locked": fit.keys_locked.cents_off if fit.keys_locked else None,
        "loudness_lu": fit.loudness_lu,
        "gain_peak_dbtp": fit.gain_peak_dbtp,
        "energy_steps": fit.energy_steps,
        "length_bars": fit.length_bars,
        "phrases_bars": list(fit.phrases_bars),
        "bar_turns": fit.bar_turns,
        "costs": [
            {
                "term": cost.term,
                "weight": cost.weight,
                "cost": cost.cost,
                "points": cost.points,
                "why": told[cost.term],
            }
            for cost in fit.costs
        ],
    }
