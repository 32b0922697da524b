"""`liveaid gather --parts` and `--notes`: what a hand could do with a sound, ready to paste."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.files.unreadable import Unreadable
from liveaid.routine.notes import note_name
from liveaid.terminal import print_json

_Read = TypeVar("_Read")

DIGEST_LETTERS = 12
"""Of the file's digest that `parts_of:` keeps: no two sounds of one shelf share them by chance."""


def show_parts(path: Path, *, write: Path | None, as_json: bool) -> None:
    """The parts of one sound as lines for the section map; written as WAV files where asked."""
    from liveaid.study.by_hand import mono_of, write_parts
    from liveaid.study.measure import measure
    from liveaid.study.part_finding import find_parts

    mono, rate_hz = _heard(mono_of, path)
    facts = measure(path)
    parts = find_parts(mono, rate_hz, facts.onsets_s, speech=facts.kind == "a cappella")
    if not parts:
        raise LiveaidError(f"{path}: nothing in it that a hand could find")
    digest = content_hash(str(path))[0][:DIGEST_LETTERS]
    written = write_parts(mono, rate_hz, parts, write, path.stem) if write else []
    rows = {p.name: {"from": p.from_s, "to": p.to_s, "attack": p.attack_s} for p in parts}
    if as_json:
        print_json({"file": str(path), "parts_of": digest, "parts": rows, "written": written})
        return
    click.echo(f"# under `sounds:`, beside the file; give the parts names of your own\n"
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
