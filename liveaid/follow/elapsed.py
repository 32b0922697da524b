"""How long the routine has been playing, for the set's time limit."""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.follow.guess import GestureHeard
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import FollowPlan


@dataclass(slots=True)
class Elapsed:
    """Since when the routine has been playing: a stage clock, which no leap turns back.

    Counted from the first beat heard; dropped into the middle, from when the map says the first
    beat must have been at the tempo heard, until the place has been sure once. Only a routine
    begun anew, from its end or with both records brought back to its start, begins the count anew.
    """

    plan: FollowPlan
    started_s: float | None = None
    ended_s: float | None = None
    _sure: bool = False
    _last: int = -1

    def see(
        self, section: int, beat: float, now_s: float, *, ratio: float, sure: bool, at_start: bool
    ) -> None:
        """Take the place of one moment.

        `ratio` is the tempo heard over the map's; `at_start`: both records wait at the start.
        """
        plan = self.plan
        if section < 0:
            if not self._sure:
                self.started_s = None
        elif plan.is_piece(section):
            again = section == 0 and beat < 4.0 and self._last != 0 and sure
            if not self._sure or again or self.started_s is None:
                self.started_s = now_s - self._map_s(section, beat) / ratio
            self._sure, self.ended_s = self._sure or sure, None
        elif self.ended_s is None:
            self.ended_s = now_s
        if sure or not self._sure:
            self._last = section
        if at_start:
            self._last = -1  # What begins there begins anew.

    def at(self, now_s: float) -> float:
        """Seconds since the start; 0 before it, and standing still once it is over."""
        until_s = now_s if self.ended_s is None else self.ended_s
        return 0.0 if self.started_s is None else max(until_s - self.started_s, 0.0)

    def _map_s(self, section: int, beat: float) -> float:
        return self.plan.starts_s[section + 1] + beat * self.plan.at(section).beat_s


def at_start(plan: FollowPlan, heard: GestureHeard, numbers: Numbers) -> bool:
    """Whether both records wait at their first cues; one that has none may stand anywhere."""
    first = plan.at(-1).parts
    away = (
        abs(gesture.at_s - first[side].next_cue_s) > numbers.near_cue_s
        for side, gesture in heard.gestures.items()
        if gesture is not None
    )
    return heard.still_s > numbers.still_s and not any(away)
