"""A drafted map as a performer would write it: commented, a line a hand, no field too many."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence

from liveaid.routine.model import SIDES, Piece, Rests, Sound
from liveaid.routine.written_numbers import number_text

_PLAIN = re.compile(r"(?!(?:null|Null|NULL)\Z)(?:[^\W\d_][\w .()'/-]*[\w)']|[^\W\d_])")
"""What YAML reads as it stands, also inside braces; three words it reads as nothing."""


def quoted(text: str) -> str:
    """A text as YAML takes it, quoted only where it must be."""
    plain = _PLAIN.fullmatch(text) and not re.search(r"\s[#-]|\s$", text)
    return text if plain else json.dumps(text, ensure_ascii=False)


def sounds_text(sounds: Mapping[str, Sound], remarks: Mapping[str, str]) -> Iterator[str]:
    """The lines of `sounds:`, each with what is known of it above."""
    yield "sounds:"
    for name, sound in sounds.items():
        yield f"  # {remarks[name]}"
        fields = {"file": sound.file, "kind": sound.kind, "source": sound.source,
                  "licence": sound.licence}  # fmt: skip
        said = ", ".join(f"{word}: {quoted(value)}" for word, value in fields.items() if value)
        loop = ", loop: yes" if sound.loop else ""
        yield f"  {quoted(name)}: {{{said}{loop}}}"


def pieces_text(pieces: Sequence[tuple[Piece, str]]) -> Iterator[str]:
    """The lines of `pieces:`, each with why it is there above."""
    yield "pieces:"
    for piece, why in pieces:
        yield f"  # {why}"
        yield f"  - name: {quoted(piece.name)}"
        yield f"    part: {piece.part}"
        yield f"    technique: {quoted(piece.technique)}"
        yield f"    bars: {number_text(piece.bars)}"
        yield f"    tempo: {piece.tempo_bpm:g}"
        yield f"    energy: {piece.energy}"
        yield f"    count: {piece.count}"
        for side in SIDES:
            plan = piece.plan(side)
            if isinstance(plan, Rests):
                yield f"    {side}: {{hand: rests}}"
                continue
            into = f", bars_in: {number_text(plan.bars_in)}" if plan.bars_in else ""
            yield f"    {side}: {{hand: {plan.hand}, sound: {quoted(plan.sound or '')}{into}}}"
