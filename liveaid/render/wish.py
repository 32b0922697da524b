"""How the performer wants the decks made."""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.errors import UsageError
from liveaid.render.level import LOUDNESS_LUFS
from liveaid.routine import Routine
from liveaid.routine.layout.deck import Grain
from liveaid.routine.layout.lay import grain_of

DECK_RATES_HZ = (44_100, 48_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """Rate, sticker, gap and loudness. UsageError for what cannot be meant."""

    rate_hz: int = 44_100
    sticker: bool = True
    """Every cue a whole number of turns from the file's start."""
    gap_turns: float = 1.0
    """Silence between two sounds, at least, in turns of the platter."""
    loudness_lufs: float = LOUDNESS_LUFS

    def __post_init__(self) -> None:
        if self.rate_hz not in DECK_RATES_HZ:
            raise UsageError(f"found a rate of {self.rate_hz}; 44100 or 48000 would do")
        if not 0.0 <= self.gap_turns <= 20.0:
            raise UsageError(f"found a gap of {self.gap_turns:g} turns; 0 to 20 would do")
        if not -40.0 <= self.loudness_lufs <= -8.0:
            raise UsageError(f"found {self.loudness_lufs:g} LUFS; -40 to -8 would do")

    def grain(self, routine: Routine) -> Grain:
        """The measures the two decks of a routine are laid out by."""
        return grain_of(
            routine, rate_hz=self.rate_hz, gap_turns=self.gap_turns, sticker=self.sticker
        )
