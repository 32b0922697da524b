"""What a hand is doing with a record: held, running by itself, or moved by hand.

A gesture begins when the kind changes, when the needle jumps, or when a run comes off its line; a
run taken up again soon on its old line is the same run, so that a nudge is no new gesture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.follow.deck_line import Deck
from liveaid.follow.numbers import Numbers

Kind: TypeAlias = Literal["held", "runs", "hand"]


@dataclass(slots=True)
class Gesture:
    """One gesture, as far as it has gone."""

    kind: Kind
    since_s: float
    from_s: float
    """Where the record was when it began."""
    news: bool
    """Whether it began with a jump or as a release from hold."""
    now_s: float
    at_s: float
    """Where the record is."""
    speed: float = 0.0
    taken_up_s: float = -math.inf
    """When it was last taken up again; what it told before is counted."""

    @property
    def age_s(self) -> float:
        """How long it has gone on."""
        return self.now_s - self.since_s

    def told_s(self, since_s: float, until_s: float) -> float:
        """For how long it has told something new of a place entered at `since_s`."""
        return until_s - max(self.since_s, self.taken_up_s, since_s)


@dataclass(slots=True)
class Watch:
    """Follows one deck's gestures."""

    deck: Deck
    numbers: Numbers
    gesture: Gesture | None = None
    run: Gesture | None = None
    """The last run, going on or over."""
    _line: int = -1

    def look(self, now: float, ratio: float, *, fresh: bool, stands: bool) -> bool:
        """Bring the gesture to `now`; True when a new one has begun.

        `stands`: nothing is heard because the record stands (a sender that sends on change).
        """
        deck = self.deck
        if deck.position_s is None or not (fresh or stands):
            return False
        position_s = deck.position_s if stands else deck.place(now)
        assert position_s is not None
        kind, speed = ("held", 0.0) if stands else self._kind(now, ratio)
        if kind is None:
            return False
        begun = self._goes_on(kind, position_s, now, ratio)
        gesture = self.gesture
        assert gesture is not None
        gesture.now_s, gesture.at_s, gesture.speed = now, position_s, speed
        if gesture.kind == "runs":
            self.run = gesture
        return begun

    def _kind(self, now: float, ratio: float) -> tuple[Kind | None, float]:
        """How the record moves now; None while its line is too short to tell."""
        found, numbers, line = self.deck.speed(now), self.numbers, self.deck.line
        if found is None:
            return None, 0.0
        speed, error = found
        slack = min(error, numbers.slack_most)
        if abs(speed) < numbers.held_speed and line.span_s > numbers.held_for_s:
            return "held", speed
        if abs(speed - ratio) < numbers.run_off + slack:
            return ("runs" if line.span_s >= numbers.run_for_s else None), speed
        unclear = error > numbers.unclear_error and line.span_s < numbers.unclear_s
        if line.span_s < numbers.hand_for_s or unclear:
            return None, speed
        return "hand", speed

    def _goes_on(self, kind: Kind, at_s: float, now: float, ratio: float) -> bool:
        old, deck = self.gesture, self.deck
        fresh_line = deck.lines != self._line
        self._line = deck.lines
        began_s, from_s = deck.line_began if fresh_line or old is None else (now, at_s)
        if old is not None and old.kind == kind:
            if kind == "hand" and not deck.jumped:
                return False
            if kind == "held" and abs(at_s - old.at_s) < self.numbers.held_moved_s:
                return False
            if kind == "runs" and not fresh_line:
                return False
        if kind == "runs" and self.run is not None and self._same_run(at_s, now, ratio):
            self.gesture, deck.jumped = self.run, False
            if self.run is old:
                return False
            self.run.taken_up_s = now
            return True
        let_go = fresh_line and old is not None and old.kind == "held" and not deck.jumped
        if let_go and old is not None:
            # The line's first point is a moment late: the record left from where it was held.
            if kind == "runs":
                began_s -= min(max((from_s - old.at_s) / ratio, 0.0), self.numbers.let_go_most_s)
            from_s = old.at_s
        self.gesture = Gesture(kind, began_s, from_s, let_go or deck.jumped, now, at_s)
        deck.jumped = False
        return True

    def _same_run(self, at_s: float, now: float, ratio: float) -> bool:
        assert self.run is not None
        numbers, silent_s = self.numbers, now - self.run.now_s
        off_s = abs(at_s - self.run.at_s - ratio * silent_s)
        return silent_s < numbers.same_gap_s and off_s < numbers.same_line_s
