"""Tables of sounds, fits and wants for the terminal, from 80 columns up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich import box
from rich.table import Table
from rich.text import Text

from liveaid.fit.brief import Brief, Wanted, sought
from liveaid.fit.fit import UNSURE, Fit
from liveaid.fit.why import (
    length_words,
    phrase_words,
    pitches,
    reading,
    reasons,
    relation_words,
)
from liveaid.routine.model import Turntable
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study

if TYPE_CHECKING:  # brings scipy with it
    from liveaid.shelf.alike import Alike

GUESS = "? marks what is a guess (confidence below 0.5)"
LEGEND = "two pitches: this sound's deck / the other's"
WIDE_LEGEND = f"{LEGEND}; phrases: how many x bars of this sound"
WIDE = 100
"""Columns from which a table shows all it has."""


def sound_table(sounds: Sequence[ShelfSound], *, width: int) -> Table:
    """Studied sounds, one a line."""
    wide = width >= WIDE
    table = _table()
    table.add_column("sound", ratio=1, no_wrap=True, overflow="ellipsis", min_width=16)
    for word in ("tempo", "key", "kind", "energy", "LUFS", "length"):
        table.add_column(word, no_wrap=True, justify="left" if word in ("key", "kind") else "right")
    if wide:
        table.add_column("phrases", justify="right")
        table.add_column("tags", no_wrap=True, overflow="ellipsis", max_width=24)
    for sound in sounds:
        table.add_row(*_sound_row(sound, wide=wide))
    return table


def alike_table(found: Sequence[tuple[Alike, ShelfSound]], *, width: int) -> Table:
    """Sounds that sound like one, the likest first, one a line."""
    table = _table()
    table.add_column("unlike", justify="right")
    table.add_column("sound", ratio=1, no_wrap=True, overflow="ellipsis", min_width=16)
    wide = width >= WIDE
    words = ("kind", "tempo", "key", "energy", "LUFS", "length")
    for word in words if wide else (*words[:2], words[-1]):
        table.add_column(word, no_wrap=True, justify="left" if word in ("key", "kind") else "right")
    for each, sound in found:
        row = dict(zip(("tempo", "key", "kind", "energy", "LUFS", "length"),
                       _sound_row(sound, wide=False)[1:], strict=True))  # fmt: skip
        name = Text(sound.name).append(" (a copy?)" if each.copy else "", style="bold")
        columns = words if wide else (*words[:2], words[-1])
        table.add_row(f"{each.distance:.1f}", name, *(row[word] for word in columns))
    return table


def fit_table(
    mine: Study, ranked: Sequence[Fit], sounds: Mapping[str, ShelfSound], *, width: int
) -> Table:
    """Fits, best first, one a line."""
    wide = width >= WIDE
    table = _table()
    table.add_column("score", justify="right")
    table.add_column("sound", ratio=1, no_wrap=True, overflow="ellipsis", min_width=14)
    if wide:
        table.add_column("kind", no_wrap=True)
    table.add_column("pitch", justify="right", no_wrap=True)
    table.add_column("beats", no_wrap=True)
    table.add_column("keys", no_wrap=True)
    if wide:
        table.add_column("heard in", no_wrap=True)
    table.add_column("LU", justify="right", no_wrap=True)
    table.add_column("energy", justify="right")
    if wide:
        table.add_column("phrases", justify="right", no_wrap=True)
    for fit in ranked:
        table.add_row(*_fit_row(mine, fit, sounds[fit.other], wide=wide))
    return table


def fit_reasons(sound: Study, fit: Fit, other: ShelfSound, turntable: Turntable) -> Table:
    """Where one fit's score comes from: each cost, its share, and the numbers behind it."""
    assert other.study is not None
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False, expand=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(ratio=1)
    table.add_row(f"{fit.score:.0f}", "", Text(other.name, style="bold"))
    told = dict(reasons(sound, other.study, fit, turntable))
    for cost in fit.costs:
        taken = f"{-cost.points:.1f} of {100 * cost.weight:.0f}" if cost.points >= 0.05 else "0"
        table.add_row(taken, cost.term, Text(told[cost.term]))
    return table


def brief_table(found: Brief, names: Mapping[str, str], turntable: Turntable) -> Table:
    """Each want of an idea: what the shelf has for it, or what is still to be found."""
    table = _table()
    table.add_column("part", no_wrap=True)
    table.add_column("wanted", ratio=1)
    table.add_column("on the shelf", ratio=1)
    for number, wanted in enumerate(found.wants, 1):
        table.add_row(
            f"{number} {wanted.want.part}",
            Text(sought(wanted.want, turntable)),
            _have(wanted, names),
        )
    return table


def _have(wanted: Wanted, names: Mapping[str, str]) -> Text:
    if wanted.chosen is not None:
        said = Text(names[wanted.chosen], style="bold")
        others = len(wanted.ready) - 1
        return said.append(f" and {others} more" if others else "", style="not bold")
    said = Text("LACKS", style="bold reverse")
    if wanted.ready:
        taken = ", ".join(names[name] for name in wanted.ready[:3])
        return said.append(
            f" one more: {taken} is wanted elsewhere too", style="not bold not reverse"
        )
    if wanted.near:
        close = "; ".join(f"{names[name]} {missed}" for name, missed in wanted.near[:3])
        return said.append(f" nearest: {close}", style="not bold not reverse")
    return said.append(" nothing near", style="not bold not reverse")


def _table() -> Table:
    return Table(
        box=box.SIMPLE_HEAD, show_edge=False, expand=True, pad_edge=False, padding=(0, 1, 0, 0)
    )


def _sound_row(sound: ShelfSound, *, wide: bool) -> list[Text | str]:
    study = sound.study
    name = Text(sound.name)
    if sound.gone:
        name.append(" (gone)", style="dim")
    assert study is not None
    row: list[Text | str] = [
        name,
        _doubt(f"{study.tempo:.2f}" if study.tempo else "-", study.tempo_confidence, study.tempo),
        _doubt(study.key or "-", study.key_confidence, study.key),
        _doubt(study.kind, study.kind_confidence, study.kind),
        str(study.energy),
        "-" if study.loudness_lufs is None else f"{study.loudness_lufs:.1f}",
        length_words(study.duration_s),
    ]
    extra: list[Text | str] = [str(len(study.phrases_s)), Text(", ".join(sorted(sound.marks.tags)))]
    return [*row, *(extra if wide else [])]


def _doubt(text: str, confidence: float, known: object) -> str:
    return f"{text}?" if known and confidence < UNSURE else text


def _fit_row(mine: Study, fit: Fit, sound: ShelfSound, *, wide: bool) -> list[Text | str]:
    assert sound.study is not None
    name = Text(sound.name)
    if sound.gone:
        name.append(" (gone)", style="dim")
    sure = mine.key_confidence * sound.study.key_confidence
    keys = _doubt(relation_words(fit.keys), sure, fit.keys)
    row: list[Text | str] = [f"{fit.score:.0f}", name]
    if wide:
        row.append(_doubt(sound.study.kind, sound.study.kind_confidence, sound.study.kind))
    row += [pitches(fit.meeting), reading(fit.meeting), keys]
    if wide:
        row.append(str(fit.keys.beside) if fit.keys else "-")
    row.append("-" if fit.loudness_lu is None else f"{fit.loudness_lu:+.1f}")
    row.append(f"{fit.energy_steps:+d}" if fit.energy_steps else "=")
    if wide:
        row.append(phrase_words(fit))
    return row
