"""What one set piece's acts ask of two hands, each demand with what it needs and what it has."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from liveaid.routine.acts import Act, acts_of
from liveaid.routine.model import SIDES, Performer, Routine, Side
from liveaid.routine.plain_data import plain

DemandKind: TypeAlias = Literal[
    "stroke", "strokes in a row", "reach", "way between", "return", "let go", "hands", "fader",
    "pitch", "setting the pitch",
]  # fmt: skip
TIGHT = 0.9
"""A demand that takes more than this part of what there is leaves no room for a bad evening
(common practice, no source)."""
_SLACK = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """One thing the hands have to do in time, in reach, or within the fader's range."""

    kind: DemandKind
    piece: int
    beat: float
    side: Side | None
    says: str
    """What has to be done."""
    needs: float
    has: float
    unit: Literal["s", "turns", "%"] = "s"
    way_out: str = ""

    @property
    def verdict(self) -> Literal["easy", "tight", "impossible"]:
        """Impossible where it needs more than there is, tight above TIGHT of it, else easy."""
        if self.needs > self.has + _SLACK:
            return "impossible"
        return "tight" if self.needs > TIGHT * self.has else "easy"

    def fastest_bpm(self, tempo_bpm: float) -> float:
        """The tempo at which it would just still be possible; inf where tempo does not matter.

        The records as they lie, played faster: ways stay, times shrink.
        """
        if self.unit != "s" or self.needs <= 0.0:
            return math.inf
        return max(0.0, tempo_bpm * self.has / self.needs)

    def to_json(self) -> dict[str, Any]:
        """Plain data; `piece` and `beat` from 0."""
        told = plain(self) | {"verdict": self.verdict}
        return {name: value for name, value in told.items() if name != "way_out"}


@dataclass(frozen=True, slots=True)
class WorkedDemand:
    """One set piece's acts on both decks with the measures that judge them."""

    routine: Routine
    piece: int
    acts: dict[Side, tuple[Act, ...]]

    @property
    def beat_s(self) -> float:
        """Seconds of a beat at pitch 0."""
        return self.routine.pieces[self.piece].beat_s

    @property
    def hands(self) -> Performer:
        """What this performer's hands can do."""
        return self.routine.performer

    def turns(self, seconds: float) -> float:
        """Seconds of record as turns of the platter, unsigned."""
        return abs(seconds) / self.routine.turntable.turn_s

    def seconds(self, beats: float) -> float:
        """Beats of the set piece in seconds at pitch 0."""
        return beats * self.beat_s


def worked(routine: Routine, piece: int) -> WorkedDemand:
    """One set piece's acts on both decks, to be held against what hands can do."""
    return WorkedDemand(routine, piece, {side: acts_of(routine, piece, side) for side in SIDES})


def named(act: Act) -> str:
    """The act in words: ``the push over fresh of the chirp``."""
    words = f"the {act.kind}"
    if act.part:
        words += f" {'to' if act.kind in ('wind', 'back-cue', 'needle') else 'on'} {act.part}"
    return words + (f" of the {act.figure}" if act.figure else "")


def tightest(demands: Iterable[Demand], tempo_bpm: float) -> Demand | None:
    """The demand that is the first to become impossible as the tempo rises."""
    timed = [each for each in demands if math.isfinite(each.fastest_bpm(tempo_bpm))]
    return min(timed, key=lambda each: (each.fastest_bpm(tempo_bpm), each.beat), default=None)
