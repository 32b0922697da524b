"""`liveaid gather --parts` and `--notes`: what a hand could do with a sound, ready to paste."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np

from liveaid.errors import LiveaidError
from liveaid.files.digest import content_hash
from liveaid.files.unreadable import Unreadable
from liveaid.routine.notes import note_name
from liveaid.terminal import print_json

DIGEST_LETTERS = 12
"""Of the file's digest that `parts_of:` keeps: no two sounds of one shelf share them by chance."""


def show_parts(path: Path, *, write: Path | None, as_json: bool) -> None:
    """The parts of one sound as lines for the section map; written as WAV files where asked."""
    from liveaid.study.measure import measure
    from liveaid.study.parts import find_parts

    mono, rate_hz = _mono(path)
    facts = measure(path)
    parts = find_parts(mono, rate_hz, facts.onsets_s, speech=facts.kind == "a cappella")
    if not parts:
        raise LiveaidError(f"{path}: nothing in it that a hand could find")
    digest = content_hash(str(path))[0][:DIGEST_LETTERS]
    written = _written(mono, rate_hz, parts, write, path.stem) if write else []
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
    from liveaid.study.tone import find_tone

    tone = find_tone(*_mono(path))
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


def _mono(path: Path) -> tuple[np.ndarray, int]:
    from liveaid.sound.read import open_sound

    try:
        with open_sound(path) as reader:
            rate_hz = reader.rate_hz
            blocks = list(reader)
    except Unreadable as error:
        raise LiveaidError(f"{path}: {error}") from error
    samples = np.concatenate(blocks) if blocks else np.zeros((0, 1), dtype=np.float32)
    return np.asarray(samples if samples.ndim == 1 else samples.mean(axis=1), np.float32), rate_hz


def _written(
    mono: np.ndarray, rate_hz: int, parts: Sequence[Any], folder: Path, stem: str
) -> list[str]:
    """Each part as a WAV file of its own, to be heard; a hundredth of a second faded at the end."""
    import soundfile

    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for part in parts:
        sound = mono[round(part.from_s * rate_hz) : round(part.to_s * rate_hz)].copy()
        fade = min(len(sound), rate_hz // 100)
        sound[len(sound) - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        file = folder / f"{stem}-{part.name}.wav"
        soundfile.write(file, sound, rate_hz, "PCM_24")
        files.append(str(file))
    return files
