"""`liveaid fit`: which sounds go with one sound on a platter."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import click

from liveaid.commands.fit_report import Beyond, Lists, Mine, report, show, show_rest
from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import HASH_BYTES
from liveaid.files.names import shown, stem
from liveaid.fit.audition import ToHear, audition, write_audition
from liveaid.fit.fit import Fit, fits
from liveaid.fit.meeting import needed_range_percent
from liveaid.fit.rank import Ranked, ranked
from liveaid.routine.load import load_sketch
from liveaid.routine.model import Turntable
from liveaid.routine.scene import map_file
from liveaid.shelf.choose import choose, lying_there
from liveaid.shelf.crate_facts import facts_of, unpacked
from liveaid.shelf.database import shelf_for
from liveaid.shelf.find import Query, parse_query
from liveaid.shelf.map_words import with_map_words
from liveaid.shelf.one_file import study_apart
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.study.facts import Study
from liveaid.terminal import json_option, print_json


@click.command("fit")
@click.argument("sound")
@click.option("--among", metavar="TERMS", help="Only sounds found by these terms, as in gather.")
@click.option("--top", type=click.IntRange(1), default=15, show_default=True, help="How many.")
@click.option("--why", is_flag=True, help="Explain every number, sound by sound.")
@click.option("--hear", type=Path, metavar="FILE", help="Write the best two together as a WAV.")
@click.option("--pick", metavar="NAME", help="With --hear: this one instead of the best.")
@click.option("--key-locked", is_flag=True, help="The player keeps the key while tempo changes.")
@click.option("--range", "range_percent", type=click.FloatRange(0, 100, min_open=True),
              help="Reach of the pitch fader in per cent.  [default: 8]")  # fmt: skip
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
    hear: Path | None,
    pick: str | None,
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
    with Shelf(shelf_file or shelf_for(scene), make=False) as shelf:
        instead, table = _told_by(shelf, scene)
        turntable = _turntable(table, range_percent, rpm)
        mine = _asked(shelf, instead, sound)
        crate = _crate(shelf, query, instead, mine, turntable, key_locked=key_locked)
        sounds = {each.hash: each for each in shelf.these(crate.best(top))}
        sounds |= {each.hash: each for each in instead if each.hash in sounds}
        nearest = shelf.these(crate.nearest)
        same = _same_recording(shelf, mine, sounds)
    studies = {digest: each.study for digest, each in sounds.items() if each.study}
    found = fits(mine.study, studies, turntable=turntable, key_locked=key_locked)
    others = [fit for fit in found if fit.other not in same]
    lists = Lists(
        [fit for fit in others if not fit.hit][:top],
        [fit for fit in others if fit.hit][:HITS],
        [fit for fit in found if fit.other in same][:HITS],
    )
    if hear is not None:
        _hear(mine, _picked(lists, sounds, pick), sounds, hear)
    beyond = _beyond(mine.study, crate, nearest)
    if as_json:
        print_json(report(mine, lists, sounds, beyond, turntable))
    else:
        show(mine, lists, sounds, turntable, why=why)
        copies = sum(not fit.hit for fit in found if fit.other in same)
        show_rest(len(crate.order.whole) - copies, top, beyond, turntable)


HITS = 5
"""Hits and copies listed: they go with nearly anything, so a few are enough to show what there
is."""
MOST_LOOKED_AT = 50
"""Sounds judged in every detail at the least, of those that rank best by their columns; some may
be copies."""


@dataclass(frozen=True, slots=True)
class Crate:
    """The whole shelf in order, best first: `order` has places in `hashes`."""

    hashes: list[bytes]
    order: Ranked

    def best(self, top: int) -> list[str]:
        """Hashes of the sounds that are judged in every detail."""
        whole = self.order.whole[: max(2 * top, MOST_LOOKED_AT)]
        return [self.hashes[place].hex() for place in (*whole, *self.order.hits[: 2 * HITS])]

    @property
    def nearest(self) -> list[str]:
        """The hash of the nearest sound out of reach, if there is one."""
        return [self.hashes[place].hex() for place in self.order.beyond[:1]]


def _told_by(shelf: Shelf, scene: str | None) -> tuple[list[ShelfSound], Turntable]:
    """Sounds as the scene's map tells of them, and the turntable they are played on."""
    if scene is None:
        return [], Turntable()
    file = map_file(scene)
    sketch = load_sketch(file)
    places = [os.path.abspath(file.parent / said.file) for said in sketch.sounds.values()]
    return with_map_words(shelf.at(places), sketch.sounds, str(file.parent)), sketch.turntable


def _crate(
    shelf: Shelf,
    query: Query,
    instead: list[ShelfSound],
    mine: Mine,
    turntable: Turntable,
    *,
    key_locked: bool,
) -> Crate:
    """The whole shelf ranked by what its columns keep: no study is read for it."""
    own = bytes.fromhex(mine.hash or "")
    rows = shelf.columns(("ranking",), query, instead=instead)
    rows = [row for row in rows if row[0] != own]
    hashes, packed = zip(*rows, strict=True) if rows else ((), ())
    order = ranked(facts_of([mine.study]), unpacked(packed), turntable, key_locked=key_locked)
    return Crate(list(hashes), order)


def _same_recording(shelf: Shelf, mine: Mine, sounds: Iterable[str]) -> set[str]:
    """Which of some sounds, by hash, are likely the recording asked about once more, or a part of
    one. A part is known by its record, whose hash its own begins with."""
    from liveaid.shelf.alike import copies_among, imprint_of  # scipy, a tenth of a second

    letters = 2 * HASH_BYTES
    own = (mine.hash or "")[:letters]
    imprint = imprint_of(shelf, own) if own else mine.study.imprint
    records = {each[:letters] for each in sounds} - {own}
    copies = set()
    if imprint is not None:
        copies = copies_among(shelf, imprint, [bytes.fromhex(each) for each in records])
    same = {own, *(each.hex() for each in copies)}
    return {each for each in sounds if each[:letters] in same}


def _beyond(mine: Study, crate: Crate, nearest: list[ShelfSound]) -> Beyond:
    """What is out of reach; the nearest, if there is one, has a tempo as this sound has."""
    for other in nearest:
        if mine.tempo and other.study and other.study.tempo:
            needs = needed_range_percent(mine.tempo, other.study.tempo)
            return Beyond(len(crate.order.beyond), other.name, needs)
    return Beyond(len(crate.order.beyond))


def _picked(lists: Lists, sounds: dict[str, ShelfSound], pick: str | None) -> Fit:
    """The fit to be heard: the best, or the one of that name among those listed."""
    found = lists.every
    if not found:
        raise LiveaidError("nothing on the shelf goes with it: there is nothing to hear")
    if pick is None:
        return found[0]
    chosen = choose([sounds[fit.other] for fit in found], pick)
    return next(fit for fit in found if fit.other == chosen.hash)


def _hear(mine: Mine, fit: Fit, sounds: dict[str, ShelfSound], file: Path) -> None:
    other = lying_there(sounds[fit.other])
    assert other.study is not None
    both = ToHear(mine.file, mine.study, mine.from_s), ToHear(other.path, other.study, other.from_s)
    write_audition(audition(*both, fit), file)
    click.echo(f"{file}: {mine.name} with {other.name}. Start quiet.", err=True)


def _turntable(table: Turntable, range_percent: float | None, rpm: float | None) -> Turntable:
    said = {"pitch_range_percent": range_percent, "rpm": rpm}
    return Turntable(**(table.model_dump() | {k: v for k, v in said.items() if v is not None}))


def _asked(shelf: Shelf, instead: list[ShelfSound], meant: str) -> Mine:
    """The sound asked about; a file not on the shelf is studied now."""
    path = os.path.abspath(meant)
    known = shelf.at([path])
    if os.path.isfile(path) and not known:
        click.echo(f"{shown(meant)} is not on the shelf; studied for this once.", err=True)
        return Mine(stem(path), path, study_apart(path), None)
    found = known[0] if known else shelf.chosen(meant)
    found = lying_there(next((each for each in instead if each.hash == found.hash), found))
    if found.study is None:
        raise LiveaidError(f"{shown(found.path)}: {found.fault}")
    return Mine(found.name, found.path, found.study, found.hash, found.from_s)
