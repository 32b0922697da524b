"""How long the routine has been playing, for the set's time limit."""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.follow.axis import Axis
from liveaid.follow.pointer import Place


@dataclass(slots=True)
class Elapsed:
    """Since when the routine has been playing.

    Counted from the first beat heard; dropped into the middle, from when the map says the first
    beat must have been at the tempo heard, until the place is sure for the first time. A first
    set piece come to from any other place begins the count anew.
    """

    axis: Axis
    started_s: float | None = None
    _sure: bool = False
    _last: int = 0

    def see(self, place: Place, now_s: float, *, ratio: float, sure: bool) -> None:
        """Take the place of one moment; `ratio` is the tempo heard over the map's."""
        if place.stretch == self.axis.before:
            self.started_s, self._sure = None, False
        elif self.axis.is_piece(place.stretch):
            again = place.stretch == 1 and self._last != 1 and sure
            if not self._sure or again or self.started_s is None:
                self.started_s = now_s - self._map_s(place) / ratio
            self._sure = self._sure or sure
        if sure or not self._sure:
            self._last = place.stretch

    def at(self, now_s: float) -> float:
        """Seconds since the start; 0 before it."""
        return 0.0 if self.started_s is None else max(now_s - self.started_s, 0.0)

    def _map_s(self, place: Place) -> float:
        pieces = slice(1, place.stretch)
        before = float(self.axis.beats[pieces] @ self.axis.beat_s[pieces])
        return before + place.beat * float(self.axis.beat_s[place.stretch])
