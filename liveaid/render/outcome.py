"""What a render made, and what the performer should know of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from liveaid.render.passage_level import Level
from liveaid.routine import Side
from liveaid.routine.check import Finding
from liveaid.routine.plain_data import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class CutMade:
    """One passage as it lies on its deck file, with its level."""

    side: Side
    sounds: tuple[str, ...]
    pieces: tuple[int, ...]
    """Set pieces that play it, from 0."""
    cue_s: float
    sticker_degrees: float
    length_s: float
    level: Level
    kept: bool
    """True when it was taken from an earlier render."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeckMade:
    """One deck file as it was written."""

    side: Side
    file: Path
    length_s: float
    cues: int
    winds: int
    wound_turns: float
    least_turns: float
    """No order of the passages winds less; equal to `wound_turns` where all were weighed."""
    shared: int
    """Refrains played from one copy to fit the side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """All that a render made: files, passages, and what to know of them."""

    routine: Path
    guide: Path
    sheet: Path
    decks: tuple[DeckMade, ...]
    cuts: tuple[CutMade, ...]
    guide_s: float
    rate_hz: int
    remarks: tuple[str, ...]
    set_aside: tuple[Path, ...]
    """Files of the performer's own that stood where ours go, under their new names."""
    unplayable: tuple[Finding, ...] = ()
    """What two hands cannot play of it, as check says of the placed map."""

    def to_json(self) -> dict[str, Any]:
        """The report as plain data; set pieces count from 0."""
        return {
            "routine": str(self.routine),
            "guide": {"file": str(self.guide), "length_s": round(self.guide_s, 4)},
            "sheet": str(self.sheet),
            "rate_hz": self.rate_hz,
            "decks": {deck.side: _deck_json(deck) for deck in self.decks},
            "passages": [_cut_json(cut) for cut in self.cuts],
            "remarks": list(self.remarks),
            "playable": not self.unplayable,
            "unplayable": [finding.to_json() for finding in self.unplayable],
            "set_aside": [str(path) for path in self.set_aside],
        }


def _cut_json(cut: CutMade) -> dict[str, Any]:
    """The passage with its level among its own figures."""
    told = plain(cut, 6)
    level: dict[str, Any] = told.pop("level")
    return told | level


def _deck_json(deck: DeckMade) -> dict[str, Any]:
    """Seconds to a tenth of a millisecond, turns to the thousandth."""
    turns = {
        "wound_turns": round(deck.wound_turns, 3),
        "least_turns": round(deck.least_turns, 3),
    }
    told = plain(deck) | {"file": str(deck.file)} | turns
    del told["side"]
    return told
