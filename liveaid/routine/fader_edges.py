"""When the fader has to be moved for one deck's acts, and how much room there is for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from liveaid.routine.acts import Act

_FADER_EDGES_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class Edge:
    """The fader opened or shut at some moment from one beat to another: while the record stands it
    is silent either way."""

    opens: bool
    from_beat: float
    to_beat: float

    @property
    def beat(self) -> float:
        """Where it is written: as what is heard begins or ends."""
        return self.to_beat if self.opens else self.from_beat


def fader_edges(acts: Sequence[Act]) -> list[Edge]:
    """Every move that keeps what must be heard from what must not, in order."""
    wanted = _wanted(acts)
    return [
        Edge(after[2], before[1], after[0])
        for before, after in pairwise(wanted)
        if before[2] != after[2]
    ]


def _wanted(acts: Sequence[Act]) -> list[tuple[float, float, bool]]:
    """Spans of beats in which the deck's fader must be open (True) or shut (False), in order."""
    spans: list[tuple[float, float, bool]] = []
    for act in acts:
        if act.way_s == 0.0 or act.beats == 0.0:
            continue
        at = act.beat
        for opens, closes in act.open:
            if opens - at > _FADER_EDGES_LEAST:
                spans.append((at, opens, False))
            spans.append((opens, closes, True))
            at = closes
        if act.end_beat - at > _FADER_EDGES_LEAST:
            spans.append((at, act.end_beat, False))
    return spans
