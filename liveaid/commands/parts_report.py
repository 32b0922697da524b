"""`liveaid gather --parts` and `--notes`: what a hand could do with a sound, ready to paste."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from liveaid.commands.opening import opened
from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.files.unreadable import Unreadable
from liveaid.routine.notes import note_name
from liveaid.routine.scene import reach
from liveaid.terminal import print_json

if TYPE_CHECKING:
    from liveaid.study.part_finding import PartFound

_Read = TypeVar("_Read")

DIGEST_LETTERS = 12
"""Of the file's digest that `parts_of:` keeps: no two sounds of one shelf share them by chance."""


def show_parts(path: Path, *, said: str, write: Path | None, as_json: bool) -> None:
    """The parts of one sound as lines for the section map; written as WAV files where asked.

    `said`: what is spoken in it, where that is known.
    """
    from liveaid.study.part_finding import parts_of

    parts = _heard(lambda file: parts_of(file, said), path)
    if not parts:
        raise LiveaidError(f"{path}: nothing in it that a hand could find")
    _show(path, parts, write=write, as_json=as_json)


def show_own_parts(sound: str, scene: str, *, write: Path | None, as_json: bool) -> None:
    """The parts of a sound as a section map has them now, corrected by hand; to be heard again."""
    from liveaid.study.part_finding import PartFound

    found = opened(scene)
    sounds = found.judged.sounds
    told = sounds.get(sound)
    if told is None or not told.parts:
        have = [name for name, each in sounds.items() if each.parts]
        would_do = f"one of {', '.join(have)}" if have else "`liveaid gather --parts SOUND` first"
        raise LiveaidError(f"{sound}: no parts in {scene}; {would_do} would do")
    parts = [
        PartFound(name, part.from_s, part.to_s, part.begin_s) for name, part in told.parts.items()
    ]
    _show(reach(told.file, found.judged_file), parts, write=write, as_json=as_json)


def _show(path: Path, parts: Sequence[PartFound], *, write: Path | None, as_json: bool) -> None:
    from liveaid.study.by_hand import mono_of, write_parts

    digest = content_hash(str(path))[0][:DIGEST_LETTERS]
    written = write_parts(*_heard(mono_of, path), parts, write, path.stem) if write else []
    rows = {p.name: {"from": p.from_s, "to": p.to_s, "attack": p.attack_s} for p in parts}
    if as_json:
        print_json({"file": str(path), "parts_of": digest, "parts": rows, "written": written})
        return
    click.echo(f"# under `sounds:`, beside the file; change names and seconds as you like\n"
               f"    parts_of: {digest}\n    parts:")  # fmt: skip
    for name, row in rows.items():
        fields = ", ".join(f"{word}: {value:.3f}" for word, value in row.items())
        click.echo(f"      {name}: {{{fields}}}")
    for file in written:
        click.echo(f"# to be heard: {file}")


def show_tone(path: Path, *, as_json: bool) -> None:
    """The steady tone of one sound as lines for the section map."""
    from liveaid.study.by_hand import mono_of
    from liveaid.study.tone import find_tone

    tone = find_tone(*_heard(mono_of, path))
    if tone is None:
        raise LiveaidError(f"{path}: no tone in it that is steady for a quarter of a second")
    digest = content_hash(str(path))[0][:DIGEST_LETTERS]
    name, cents = note_name(tone.hz)
    if as_json:
        print_json({
            "file": str(path), "parts_of": digest, "tone": round(tone.hz, 2), "note": name,
            "cents": round(cents, 1), "from": tone.from_s, "to": tone.to_s,
            "stray_cents": round(tone.stray_cents, 1),
        })  # fmt: skip
        return
    click.echo(f"# {name} {cents:+.0f} cents, steady within {tone.stray_cents:.0f} cents\n"
               f"    tone: {tone.hz:.2f}\n    parts_of: {digest}\n    parts:\n"
               f"      tone: {{from: {tone.from_s:.3f}, to: {tone.to_s:.3f}}}")  # fmt: skip


def _heard(read: Callable[[Path], _Read], path: Path) -> _Read:
    try:
        return read(path)
    except Unreadable as error:
        raise LiveaidError(f"{path}: {error}") from error
