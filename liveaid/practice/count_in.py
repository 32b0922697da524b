"""The count-in: begun by itself once the records stand at their cues, dropped when they move.

Hands-free: the performer winds both records to their cues and holds them; a second later the
count begins. Let go on the beat after it, and the take is on. A count asked for while the records
are elsewhere goes on while they are brought. No clock: time is passed in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.left import cue_of

AT_CUE_S = 0.25
"""A record this near its cue stands at it: an eighth of a turn at 33 1/3, the sticker in sight."""
HELD_S = 1.0
"""Both records held for this long at their cues ask for a count-in."""
LEAD_S = 0.7
"""From the decision to the first click: time for the page to hear of it and set its clicks."""
LATE_BEATS = 2.0
"""No record let go this long after the count: it was not taken up."""
FOUND_BEATS = 12.0
"""A record was let go, but no take found in what followed."""
_MOVED_S = 0.03
_LET_GO_STOOD_S = 0.1
"""A record let go stood so long before; one that is being wound passes its cue sooner."""


@dataclass(frozen=True, slots=True)
class CountIn:
    """Clicks at a steady tempo before the first beat."""

    start_s: float
    """Monotonic second of the first click."""
    beat_s: float
    beats: int
    metre: int

    @property
    def first_beat_s(self) -> float:
        """When the take's first beat is due: one beat after the last click."""
        return self.start_s + self.beats * self.beat_s

    @property
    def clicks_s(self) -> tuple[float, ...]:
        """When each click is due."""
        return tuple(self.start_s + k * self.beat_s for k in range(self.beats))

    def beat(self, now: float) -> int | None:
        """The click being counted, from 1; None before the first and after the last one's beat."""
        at = int((now - self.start_s) // self.beat_s)
        return at + 1 if 0 <= at < self.beats else None

    def lamps(self, levels: Mapping[str, Any], now: float) -> Mapping[str, Any]:
        """Lamps' levels with the count's beat in the beats' row (a controller without one or a
        pulse: the bars'), and nothing else that counts; as they are while nothing is counted."""
        beat = self.beat(now)
        if beat is None:
            return levels
        row = [name for name in levels if name.startswith("beats.")]
        if not row and "pulse" not in levels:
            row = [name for name in levels if name.startswith("bars.")]
        shown = {name: "off" for name in levels if name.startswith(("beats.", "bars."))}
        if row:
            shown[row[(beat - 1) % min(len(row), self.metre)]] = "on"
        if "pulse" in levels:
            shown["pulse"] = "on" if beat % 2 else "dim"
        return {**levels, **shown}

    def to_json(self, now: float) -> dict[str, Any]:
        """As the pages are told of it."""
        return {
            "start_s": round(self.start_s, 4), "beat_s": round(self.beat_s, 5),
            "beats": self.beats, "metre": self.metre, "beat": self.beat(now),
        }  # fmt: skip


def first_cues(routine: Routine) -> dict[Side, float]:
    """Where each record that sounds in the first set piece must stand."""
    cues = {side: cue_of(routine, side, 0) for side in SIDES}
    return {side: cue_s for side, cue_s in cues.items() if cue_s is not None}


@dataclass(slots=True)
class Counter:
    """Watches both records and gives the count-in when it is asked for."""

    cues: dict[Side, float]
    metre: int
    bars: int = 1
    count: CountIn | None = None
    """The latest one, until it is dropped or answered."""
    _held: dict[Side, tuple[float, float]] = field(default_factory=dict)
    """Per deck: where it is held, and since when."""
    _wait: bool = False
    """After a count-in, a record must move before there is another."""
    _taken_up: bool = False
    _from_elsewhere: bool = False
    """Whether the count was asked for before both records were at their cues."""

    def hear(self, side: Side, position_s: float, now: float) -> None:
        """One deck's position."""
        place, since_s = self._held.get(side, (position_s, now))
        if side not in self._held or abs(position_s - place) > _MOVED_S:
            let_go = self.at_cue.get(side, False) and now - since_s >= _LET_GO_STOOD_S
            self._held[side] = (position_s, now)
            self._wait = self._wait and side not in self.cues
            if side in self.cues and self.count:
                self._moved(self.count, let_go=let_go, now=now)

    def _moved(self, count: CountIn, *, let_go: bool, now: float) -> None:
        """A record was moved: before the count is through it is dropped, after that taken up."""
        if now >= count.first_beat_s - count.beat_s:
            self._taken_up = self._taken_up or let_go
        elif not self._from_elsewhere:
            self.count = None

    @property
    def at_cue(self) -> dict[Side, bool]:
        """Whether each record that sounds stands within reach of its cue."""
        return {
            side: side in self._held and abs(self._held[side][0] - cue) <= AT_CUE_S
            for side, cue in self.cues.items()
        }

    def tell(self, *, tempo_bpm: float, playing: bool, now: float) -> CountIn | None:
        """The count-in that begins by this moment, if one does."""
        if playing or self.bars == 0:
            return None
        late = FOUND_BEATS if self._taken_up else LATE_BEATS
        if self.count and now > self.count.first_beat_s + late * self.count.beat_s:
            self.count = None
        if self.count or self._wait or not self.cues or not all(self.at_cue.values()):
            return None
        if now - max(self._held[side][1] for side in self.cues) < HELD_S:
            return None
        return self.begin(tempo_bpm=tempo_bpm, now=now)

    def begin(self, *, tempo_bpm: float, now: float) -> CountIn:
        """Count in now, asked for or not."""
        beat_s = 60.0 / tempo_bpm
        self.count = CountIn(now + LEAD_S, beat_s, self.bars * self.metre, self.metre)
        self._wait, self._taken_up = True, False
        self._from_elsewhere = not all(self.at_cue.values())
        return self.count

    def answered(self, start_s: float) -> float | None:
        """Where the count put a take's first beat; None when that take came without one."""
        count, self.count = self.count, None
        if count is None or abs(start_s - count.first_beat_s) > LATE_BEATS * count.beat_s:
            return None
        return count.first_beat_s
