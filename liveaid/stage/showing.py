"""When the prompt is worked out anew: at each beat, as positions come, and once a second."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence

from liveaid.follow.prompt import Prompt
from liveaid.routine import Side
from liveaid.stage.follows import Guarded
from liveaid.stage.on_time import OnTime
from liveaid.stage.osc import Heard
from liveaid.stage.osc_map import What

SHOW_S = 0.02
"""While positions stream in, the prompt is worked out anew no more often than this (the follower's
belief moves no oftener); what comes after a rest is shown at once, and so is every beat."""
SHOWING_REST_S = 0.05
"""A deck that says something after this long has been set down, or let go."""
REARM_S = 0.05
"""The next beat is looked up anew at each beat, and this often in between."""
SHOWING_EARLY_S = 0.001
"""Woken this much before a beat; 1 ms is the loop's own grain."""
BEHIND_S = 0.1
"""While more waits than could be heard at a turn, the prompt is worked out this often: what queued
up in a hitch is heard whole before it is shown, and in a flood no beat is missed by much."""

Shown = Callable[[Prompt, float, bool], None]
"""Told the prompt, the monotonic second, and whether set piece, bar, beat or state turned."""


class ShowRests:
    """Whether something of a deck was said that had not been said for a while: a needle set down,
    a record let go."""

    def __init__(self) -> None:
        self._heard_s: dict[tuple[What, Side | None], float] = {}

    def ended_by(self, heard: Sequence[Heard]) -> bool:
        """Whether a rest ends with what was just heard."""
        ended = False
        for item in heard:
            key = (item.what, item.side)
            ended |= item.now_s - self._heard_s.get(key, float("-inf")) > SHOWING_REST_S
            self._heard_s[key] = item.now_s
        return ended


class Showing:
    """Works the prompt out when it is time, and hands it on."""

    def __init__(
        self,
        follower: Guarded,
        *,
        shown: Shown,
        lamp_due_s: Callable[[], float | None],
        catch_up: Callable[[], None],
    ) -> None:
        """`lamp_due_s` says when a lamp that was kept back may change; `catch_up` hears what has
        come meanwhile."""
        self.follower = follower
        self.prompt: Prompt | None = None
        self._shown, self._lamp_due_s, self._catch_up = shown, lamp_due_s, catch_up
        self._rests = ShowRests()
        self._due = OnTime(self._show_when_due, SHOWING_EARLY_S)
        self._soon: asyncio.TimerHandle | None = None
        self._shown_s = self._looked_s = float("-inf")
        self._wake_s: float | None = None
        self._moment: object = None

    def stop(self) -> None:
        """No more timers."""
        self._due.set(None)
        self._not_soon()

    def heard(self, heard: Sequence[Heard], *, behind: bool = False) -> None:
        """The follower has heard these: show what came of it, now or soon; `behind` when more
        waits to be heard."""
        since_s = time.monotonic() - self._shown_s
        rested = self._rests.ended_by(heard)
        if behind and since_s < BEHIND_S:
            return
        if since_s >= SHOW_S or rested:
            self.show()
        elif self._soon is None:
            loop = asyncio.get_running_loop()
            self._soon = loop.call_later(SHOW_S - since_s, self.show)

    def show(self) -> None:
        """Work the prompt out and bring all to it."""
        now = self._shown_s = time.monotonic()
        self._not_soon()
        prompt = self.follower.prompt(now)
        if prompt is not None:
            self.prompt = prompt
            moment = (prompt.state, prompt.piece and prompt.piece.index, prompt.bar, prompt.beat)
            turned, self._moment = moment != self._moment, moment
            self._shown(prompt, now, turned)
            if turned or now - self._looked_s >= REARM_S:
                self.look_ahead(now)
        self._rearm(now)

    def look_ahead(self, now: float) -> None:
        """Ask the follower anew when the prompt changes next."""
        self._looked_s, self._wake_s = now, self.follower.wake_at()

    def _rearm(self, now: float) -> None:
        """One timer: the next beat, silence, or a lamp that was kept back."""
        if self._wake_s is not None and self._wake_s <= now:
            self.look_ahead(now)
        wakes = [wake for wake in (self._wake_s, self._lamp_due_s()) if wake is not None]
        # Never in a tight circle.
        self._due.set(max(min(wakes), now + SHOWING_EARLY_S) if wakes else None)

    def _show_when_due(self) -> None:
        self._catch_up()
        self.show()

    def _not_soon(self) -> None:
        if self._soon is not None:
            self._soon.cancel()
            self._soon = None
