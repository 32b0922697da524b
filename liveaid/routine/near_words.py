"""The word that was meant: near in letters to the one written, or the trade's other word for it."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

_NEAR = 0.7
"""Share of letters in common from which a word is taken for a slip of another."""
_SAME_THING = {
    "tempo": ("bpm", "speed"),
    "instrumental": ("break", "drum break", "beat", "beats", "loop", "drums", "groove"),
    "a cappella": ("vocal", "vocals", "voice", "acca", "pella"),
    "sample": ("hit", "stab", "one shot", "shot", "cut"),
    "effect": ("fx", "sfx", "noise", "sweep"),
    "runs": ("plays", "turns", "run", "on"),
    "works": ("scratch", "scratches", "juggle", "juggles", "cuts"),
    "rests": ("silent", "off", "none", "stops", "waits"),
    "clock": ("none", "both", "no"),
    "intro": ("opening", "start", "beginning", "in"),
    "outro": ("ending", "end", "finish", "out"),
    "story": ("middle", "main", "body", "verse"),
    "climax": ("peak", "high", "finale"),
}
"""What else the trade calls a thing (common practice, no source)."""


def meant(word: str, known: Sequence[str]) -> str:
    """`did you mean ...? ` where a wrong word is near a known one, or another word for it."""
    plain = " ".join(word.lower().replace("-", " ").replace("_", " ").split())
    same = [one for one in known if plain in _SAME_THING.get(one, ())]
    near = same or difflib.get_close_matches(plain, known, n=1, cutoff=_NEAR)
    return f"did you mean {near[0]}? " if near else ""
