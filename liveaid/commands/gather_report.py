"""What `liveaid gather` says: how a gathering went, what was found, what an idea lacks."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.progress import Progress, TaskID
from rich.text import Text

from liveaid.commands.shelf_tables import GUESS, alike_table, brief_table, sound_table
from liveaid.files.names import shown, stem
from liveaid.fit.brief import Brief, sought
from liveaid.routine.model import Sketch, Turntable, clock_time
from liveaid.shelf.collect import Counted, Done, Event, Gone
from liveaid.shelf.folder import Trouble
from liveaid.shelf.open_break import open_breaks
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.terminal import console, print_json

if TYPE_CHECKING:  # brings scipy with it
    from liveaid.shelf.alike import Alike

_DEEDS = {
    "studied": "studied",
    "same": "unchanged",
    "moved": "moved",
    "known": "known by their bytes",
    "failed before": "could not be studied before (--again tries them anew)",
    "passed": "passed over: no sounds, by their names",
}


PASSED_SHOWN = 20
"""Files passed over by their names that are told one by one; a folder of pictures may hold
thousands, and --json tells all."""


class GatherTally:
    """Counts what a gathering did, and tells troubles as they come."""

    def __init__(self, shelf: Path) -> None:
        self._shelf = shelf
        self._deeds: Counter[str] = Counter()
        self._troubles: list[Trouble] = []
        self._faulty: dict[str, tuple[str, ...]] = {}
        self._gone: list[str] = []
        self._passed: list[str] = []
        self._begun_s = time.monotonic()

    def take(self, event: Event, bar: Progress, task: TaskID) -> None:
        """Note one event and move the bar on."""
        match event:
            case Counted(files):
                bar.update(task, description="studying", total=files, completed=0)
            case Done(path, deed, study):
                self._deeds[deed] += 1
                if study and study.faults:
                    self._faulty[path] = study.faults
                    said = f"{shown(path)}: studied, but {'; '.join(study.faults)}"
                    bar.console.print(Text(said), soft_wrap=True)
                if deed == "passed":
                    self._passed.append(path)
                bar.advance(task, 0 if deed == "passed" else 1)
            case Trouble():
                self._troubles.append(event)
                bar.console.print(Text(str(event)), soft_wrap=True)
                bar.advance(task)
            case Gone(path):
                self._gone.append(path)

    def stopped(self) -> str:
        """What Ctrl-C leaves behind."""
        return f"{self._deeds['studied']} studied and kept; the same command again does the rest."

    def show(self, on_shelf: int, *, as_json: bool) -> None:
        """Print how the gathering went, as lines or JSON; `on_shelf`: sounds there now."""
        if as_json:
            print_json(self._report(on_shelf))
            return
        counts = {words: self._deeds[deed] for deed, words in _DEEDS.items()}
        counts = {
            "studied": counts.pop("studied"),
            "of them with faults": len(self._faulty),
            "could not be studied": len(self._troubles),
        } | (counts | {"gone; their studies are kept": len(self._gone)})
        for path in self._passed[:PASSED_SHOWN]:
            click.echo(f"{shown(path)}: passed over")
        for words, count in counts.items():
            if count:
                click.echo(f"{count:6} {words}")
        if not any(counts.values()):
            click.echo("No sound file there: WAV, AIFF, FLAC, Ogg, MP3 and the like are read.")
        took = clock_time(round(time.monotonic() - self._begun_s))
        click.echo(f"{on_shelf:6} sounds on {shown(self._shelf)}, after {took}")

    def _report(self, on_shelf: int) -> dict[str, Any]:
        return {
            "shelf": shown(self._shelf),
            "sounds": on_shelf,
            "files": {deed: self._deeds[deed] for deed in _DEEDS},
            "troubles": [
                {"file": shown(trouble.path), "why": trouble.why} for trouble in self._troubles
            ],
            "faulty": {shown(path): list(faults) for path, faults in self._faulty.items()},
            "gone": [shown(path) for path in self._gone],
            "passed": [shown(path) for path in self._passed],
        }


def show_found(sounds: Sequence[ShelfSound], of: int, *, as_json: bool) -> None:
    """The sounds found, as a table or JSON; `of`: how many there are in all."""
    if as_json:
        print_json([sound.as_json() for sound in sounds])
        return
    screen = console()
    if not sounds:
        screen.print("No sound on the shelf is like that.")
        return
    for sound in sounds:
        if sound.study is None:
            screen.print(Text(f"{shown(sound.path)}: {sound.fault}"), soft_wrap=True)
    studied = [sound for sound in sounds if sound.study is not None]
    if studied:
        screen.print(sound_table(studied, width=screen.width))
    legend = f"; {GUESS}" if studied else ""
    more = f", the first {len(sounds)} shown (--top {of} shows all)" if of > len(sounds) else ""
    screen.print(f"{of:,} found{more}{legend}.", style="dim")


def show_alike(found: Sequence[tuple[Alike, ShelfSound]], *, as_json: bool) -> None:
    """What sounds like a sound, the likest first; what is likely a copy of it is said to be one."""
    if as_json:
        print_json(
            [
                sound.as_json() | {"distance": round(each.distance, 3), "copy": each.copy}
                for each, sound in found
            ]
        )
        return
    from liveaid.shelf.alike import COPY_WITHIN

    screen = console()
    if not found:
        screen.print("No sound on the shelf to hold against it; gather its folder once more?")
        return
    known = [(each, sound) for each, sound in found if sound.study is not None]
    screen.print(alike_table(known, width=screen.width))
    screen.print(
        f"unlike: 0 is the same recording, {COPY_WITHIN:g} and less likely a copy of it, about 2 a"
        " sound of its kind.",
        style="dim",
    )


def show_facts(sound: ShelfSound, *, as_json: bool) -> None:
    """All that is known of one sound, a fact a line."""
    if as_json:
        print_json(sound.as_json())
        return
    known = sound.as_json()
    facts = known.pop("study") or {}
    for name, value in (known | facts).items():
        if value not in (None, "", [], (), False):
            click.echo(f"{name.replace('_', ' '):20} {_plain(value)}")
    _show_breaks(sound)


def _show_breaks(sound: ShelfSound) -> None:
    """Each open break, or the one that is meant, as a part of the sound for the section map."""
    found = [sound] if sound.part else open_breaks(sound)
    if found:
        click.echo("open breaks, ready for `sounds:` in the section map:")
        click.echo(f"  {stem(sound.path)}:\n    parts:")
    for each in found:
        assert each.part is not None
        name, begin, end = each.part
        bars = "" if each.study is None else f"  # {each.study.sections[0][3]:g} bars"
        click.echo(f"      {name}: {{from: {begin:.3f}, to: {end:.3f}}}{bars}")


def show_brief(sketch: Sketch, found: Brief, here: Mapping[str, ShelfSound]) -> None:
    """What the shelf has and lacks for an idea."""
    assert sketch.idea is not None
    screen = console()
    names = {digest: sound.name for digest, sound in here.items()}
    for word, said in (("theme", sketch.idea.theme), ("feel", sketch.idea.feel)):
        if said:
            screen.print(Text(f"{word}: {said}"))
    screen.print(brief_table(found, names, sketch.turntable))
    for line in _remarks(sketch, found, here):
        screen.print(Text(line))


def _remarks(sketch: Sketch, found: Brief, here: Mapping[str, ShelfSound]) -> list[str]:
    reach = f"±{sketch.turntable.pitch_range_percent:g} %"
    lines = [
        f"From {a + 1} to {b + 1}: no two of their sounds come to one beat within {reach}."
        for a, b in found.gaps
    ]
    if found.planned_s and sketch.limit_s:
        fill = f"{clock_time(round(found.planned_s))} of {clock_time(sketch.limit_s)}"
        lines.append(f"Wants with bars and tempo fill {fill}.")
    if found.echoes:
        said = ", ".join(f"{word} ({count})" for word, count in found.echoes)
        lines.append(f"Words of the idea found in names, tags and notes: {said}.")
    uses = {name for wanted in found.wants for name in wanted.ready}
    bare = sorted(here[name].name for name in uses if not here[name].marks.licence)
    if bare:
        lines.append(
            f"No licence is noted for {len(bare)} of these sounds ({', '.join(bare[:3])}"
            f"{', ...' if len(bare) > 3 else ''}). Whether a sound may be used is a matter for a"
            " licensed professional."
        )
    lacking = sum(wanted.lacks for wanted in found.wants)
    lines.append(
        f"{lacking} of {len(found.wants)} wants lack a sound."
        if lacking
        else f"All {len(found.wants)} wants have a sound."
    )
    return lines


def brief_json(
    found: Brief, here: Mapping[str, ShelfSound], turntable: Turntable
) -> dict[str, Any]:
    """What the shelf has and lacks, for scripts."""
    return {
        "wants": [
            {
                "part": wanted.want.part,
                "sought": sought(wanted.want, turntable),
                "lacks": wanted.lacks,
                "chosen": here[wanted.chosen].name if wanted.chosen else None,
                "ready": [here[name].name for name in wanted.ready],
                "near": [{"name": here[name].name, "misses": why} for name, why in wanted.near],
            }
            for wanted in found.wants
        ],
        "gaps": [[a + 1, b + 1] for a, b in found.gaps],
        "planned_s": found.planned_s,
        "echoes": dict(found.echoes),
    }


def _plain(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.5g}" if abs(value) < 1e4 else f"{value:.0f}"
    if isinstance(value, tuple) and len(value) == 2 and all(isinstance(v, float) for v in value):
        return " to ".join(f"{second:.2f}" for second in value)
    if isinstance(value, list | tuple):
        head = ", ".join(_plain(item) for item in value[:8])
        return f"{head}, ... ({len(value)})" if len(value) > 8 else head
    return str(value)
