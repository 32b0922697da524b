"""What `liveaid fit` says: what goes along, what can be thrown in, what is out of reach."""

from __future__ import annotations

import shlex
from dataclasses import asdict, dataclass, field
from typing import Any

from rich.text import Text

from liveaid.commands.shelf_tables import (
    GUESS,
    LEGEND,
    WIDE,
    WIDE_LEGEND,
    fit_reasons,
    fit_table,
)
from liveaid.files.names import shown
from liveaid.fit.fit import Fit
from liveaid.fit.why import in_a_sentence, key_words, other_tempos, reasons
from liveaid.routine.model import Turntable
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study
from liveaid.terminal import console


@dataclass(frozen=True, slots=True)
class Mine:
    """The sound asked about; `file` is what can be opened, `hash` None where it is on no shelf."""

    name: str
    file: str
    study: Study
    hash: str | None
    from_s: float = 0.0
    """Where in the file it begins."""


@dataclass(frozen=True, slots=True)
class Lists:
    """What goes along, what can be struck or thrown in, and what goes along since it is the same
    recording once more: for doubles, and no find."""

    whole: list[Fit]
    hits: list[Fit]
    copies: list[Fit] = field(default_factory=list)

    @property
    def every(self) -> list[Fit]:
        """All of them, in the order in which they are shown."""
        return [*self.whole, *self.hits, *self.copies]


@dataclass(frozen=True, slots=True)
class Beyond:
    """What the turntable does not reach: how many, and what range the nearest would need."""

    count: int
    nearest: str = ""
    needs_percent: float = 0.0


def show(
    mine: Mine, lists: Lists, sounds: dict[str, ShelfSound], turntable: Turntable, *, why: bool
) -> None:
    """The fits as tables, or every number of them."""
    screen, study = console(), mine.study
    tempo = f"{study.tempo:.2f} BPM" if study.tempo else "no tempo"
    screen.print(
        Text(
            f"{mine.name}: {study.kind}, {tempo}, {study.key or 'no key'}, energy {study.energy};"
            f" pitch ±{turntable.pitch_range_percent:g} %"
        )
    )
    if mine.hash is not None:
        mark = f"liveaid gather --mark {shlex.quote(shown(mine.file))} --tempo"
        for bpm in other_tempos(study):
            taken = "other" if bpm == study.tempo_alternative else f"{bpm:.4f}"
            screen.say(f"It may be counted as {bpm:.2f} BPM: `{mark} {taken}` does.")
    if not lists.every:
        screen.print("Nothing on the shelf goes with it.")
    elif why:
        for fit in lists.every:
            screen.print()
            screen.print(fit_reasons(study, fit, sounds[fit.other], turntable))
    else:
        _show_tables(mine, lists, sounds)


def _show_tables(mine: Mine, lists: Lists, sounds: dict[str, ShelfSound]) -> None:
    screen = console()
    if lists.whole:
        screen.print(fit_table(mine.study, lists.whole, sounds, width=screen.width))
        for fit in lists.whole[:SAID]:
            other = sounds[fit.other]
            assert other.study is not None
            sentence = in_a_sentence(mine.study, other.study, fit)
            screen.print(Text(f"{other.name}: {sentence}"))
    if lists.hits:
        screen.print("Hits, to be struck or thrown in:")
        screen.print(fit_table(mine.study, lists.hits, sounds, width=screen.width))
    if lists.copies:
        screen.print("Likely copies of this very recording, for doubles:")
        screen.print(fit_table(mine.study, lists.copies, sounds, width=screen.width))
    legend = WIDE_LEGEND if screen.width >= WIDE else LEGEND
    screen.print(f"{legend}\n{GUESS}; --why explains every number.", style="dim")


SAID = 3
"""Fits told in a sentence below the table: more would bury them."""


def show_rest(fitting: int, top: int, beyond: Beyond, turntable: Turntable) -> None:
    """How many more there are, and what the turntable does not reach."""
    if fitting > top:
        console().print(f"{fitting - top} more fit less well: --top {fitting} shows them.")
    if beyond.count:
        lie = "lies" if beyond.count == 1 else "lie"
        said = (
            f"{beyond.count} {lie} out of reach of ±{turntable.pitch_range_percent:g} % on both"
            f" decks; nearest: {beyond.nearest}, with --range {beyond.needs_percent:.1f}."
        )
        console().print(Text(said))


def report(
    mine: Mine,
    lists: Lists,
    sounds: dict[str, ShelfSound],
    beyond: Beyond,
    turntable: Turntable,
) -> dict[str, Any]:
    """All of it as plain data."""

    def each(found: list[Fit]) -> list[dict[str, Any]]:
        return [_fit_json(mine.study, fit, sounds[fit.other], turntable) for fit in found]

    return {
        "sound": mine.name,
        "tempo": mine.study.tempo,
        "tempo_alternative": mine.study.tempo_alternative,
        "tempo_rival": mine.study.tempo_rival,
        "key": mine.study.key,
        "pitch_range_percent": turntable.pitch_range_percent,
        "rpm": turntable.rpm,
        "fits": each(lists.whole),
        "hits": each(lists.hits),
        "copies": each(lists.copies),
        "out_of_reach": asdict(beyond),
    }


def _fit_json(mine: Study, fit: Fit, other: ShelfSound, turntable: Turntable) -> dict[str, Any]:
    assert other.study is not None
    told = dict(reasons(mine, other.study, fit, turntable))
    met = fit.meeting
    return {
        "name": other.name,
        "file": shown(other.path),
        "gone": other.gone,
        "tempo": other.study.tempo,
        "tempo_alternative": other.study.tempo_alternative,
        "tempo_rival": other.study.tempo_rival,
        "score": round(fit.score, 2),
        "in_a_sentence": in_a_sentence(mine, other.study, fit),
        "pickup_beats": fit.pickup_beats,
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
