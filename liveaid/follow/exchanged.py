"""Whether both decks fit better the other way round: a second belief, left and right exchanged.

What is heard is the same; only whose it is differs. So the two readings are held against each
other by what their told places earn from the same gestures (Wald's sequential test, 1945).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from liveaid.follow.belief import Belief
from liveaid.follow.guess import GestureHeard
from liveaid.follow.numbers import Numbers
from liveaid.follow.plan import FollowPlan
from liveaid.routine import SIDES, Side
from liveaid.routine.model import other_side

SWAPPED = "left and right look swapped: each fits the other's part"
EXCHANGED_SURE, EXCHANGED_OVER = 6.0, 1.0
"""Nats from which the other reading is told, and below which it is told no more: one sender in
some hundreds is wired wrong (common practice, no source)."""
PLAIN_SURE = 12.0
"""Nats the other way from which the second belief rests: it costs as much as the first."""
PROVEN = 8.0
"""What the plain reading has ahead once it was so sure: no wire changes places on stage."""
EXCHANGED_KEPT_S = 20.0
"""How long what gestures told is kept, fading."""
DOUBTED_S = 1.0
"""A place told that has been contradicted so long wakes the second belief."""
MIDDLE, OUT_OF_ORDER = 3.0, 8.0
"""What a reading pays for beginning past the first set piece, and for leaving the order later:
about what a guess pays in the belief."""


@dataclass(slots=True)
class SidesRead:
    """What one reading has earned so far."""

    belief: Belief
    section: int = -1
    past: float = 0.0
    runs: dict[Side, bool] = field(default_factory=lambda: dict.fromkeys(SIDES, False))
    """Whether each deck's present gesture is a run."""
    told: float = 0.0
    """What the present gestures had told before the belief's step."""

    def before(self, ended: dict[Side, bool]) -> None:
        """Keep what the gestures told that are over."""
        told = self._told()
        self.past += sum(told[side] for side in SIDES if ended[side])
        self.told = sum(told[side] for side in SIDES if not ended[side])

    def after(self, heard: GestureHeard, seconds: float) -> None:
        """Fade; keep what told of a set piece that is over, and pay for leaving the order."""
        self.runs = {s: g is not None and g.kind == "runs" for s, g in heard.gestures.items()}
        here = self.belief.told.section
        if here == self.section + 1:
            self.past += self.told
        elif here != self.section:
            self.past -= MIDDLE if self.section < 0 else OUT_OF_ORDER
        self.section = here
        self.past *= math.exp(-seconds / EXCHANGED_KEPT_S)

    @property
    def earned(self) -> float:
        """Nats in all."""
        return self.past + sum(self._told().values())

    def _told(self) -> dict[Side, float]:
        """No gesture tells worse of a reading than of a performer who is nowhere in the map."""
        numbers = self.belief.numbers
        least = {s: numbers.lost_runs if self.runs[s] else numbers.lost_else for s in SIDES}
        votes = self.belief.told.votes
        return {side: max(votes[side].nats, least[side]) * votes[side].weight for side in SIDES}


@dataclass(slots=True)
class Exchanged:
    """Steps the second belief, and says whether it is the better one."""

    plan: FollowPlan
    turn_s: float
    numbers: Numbers
    told: bool = False
    """Whether left and right look exchanged."""
    _both: tuple[SidesRead, SidesRead] | None = None
    _ahead: float = 0.0
    """Nats that the plain reading has ahead: proven before, or by the performer's word."""
    _rests: bool = False
    _doubted_s: float = 0.0

    def hear_word(self) -> None:
        """The performer says what is played, and names the plain reading's places by that."""
        self._ahead, self.told = self._ahead + self.numbers.word, False

    def before(self, plain: Belief, ended: dict[Side, bool]) -> None:
        """Before the plain belief takes a step; `ended` as in `Belief.step`."""
        if self._both is None and not self._rests:
            other = Belief(self.plan, self.turn_s, self.numbers)
            # One that wakes midway has come from somewhere too.
            debt = -OUT_OF_ORDER if self._ahead else 0.0
            self._both = SidesRead(plain, plain.told.section), SidesRead(other, past=debt)
        if self._both is not None:
            self._both[0].before(ended)
            self._both[1].before(_other(ended))

    def after(
        self, plain: Belief, heard: GestureHeard, ended: dict[Side, bool], seconds: float
    ) -> None:
        """After it has taken the step: take the same one, and hold the readings together."""
        if self._both is None:
            doubted = plain.told.worst < self.numbers.contradicted
            self._doubted_s = self._doubted_s + seconds if doubted else 0.0
            self._rests = self._doubted_s < DOUBTED_S
            return
        other = self._both[1].belief
        turned = _other_way(heard)
        other.step(turned, _other(ended), seconds)
        self._both[0].after(heard, seconds)
        self._both[1].after(turned, seconds)
        earned = self._both[1].earned
        ahead = earned - self._both[0].earned - self._ahead
        # What stands tells too little to begin with: after a stop it is anywhere.
        runs = any(g is not None and g.kind == "runs" for g in heard.gestures.values())
        sure = ahead > EXCHANGED_OVER if self.told else runs and ahead > EXCHANGED_SURE
        self.told = sure and earned > 0.0  # the less wrong of two wrong readings is none
        if ahead < -PLAIN_SURE:
            self._both, self._rests, self._doubted_s = None, True, 0.0
            self._ahead = max(self._ahead, PROVEN)


def _other(by_side: dict[Side, bool]) -> dict[Side, bool]:
    return {other_side(side): value for side, value in by_side.items()}


def _other_way(heard: GestureHeard) -> GestureHeard:
    """What was heard, each deck's as the other's."""
    return replace(
        heard,
        gestures={other_side(side): value for side, value in heard.gestures.items()},
        telling=_other(heard.telling),
    )
