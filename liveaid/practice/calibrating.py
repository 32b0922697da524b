"""Calibration beside the running stage: a click that goes on, and what is done to it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from liveaid.follow import Prompt
from liveaid.practice import pages
from liveaid.practice.calibration import (
    BEAT_S,
    GOES,
    METRE,
    PUSHES,
    Amount,
    Calibrated,
    after_bars,
    after_clicks,
    calibrated,
    late_of,
    let_go_s,
    pushed_s,
)
from liveaid.practice.care import HANDS_CAUTION
from liveaid.practice.count_in import CountIn
from liveaid.practice.delays import Measured
from liveaid.practice.fader_cuts import fader_moves
from liveaid.practice.trace import Message, trace_of
from liveaid.routine import Side
from liveaid.stage.osc import Heard
from liveaid.stage.watcher import Stage, Watcher
from liveaid.stage.words import Word

_BEGINS_S = 3.0
_BEATS = 3600
_LOOK_EVERY_S = 0.5
_SETTLED_S = 1.5
"""An act so long ago is heard no better by what comes after it."""
_LEAD_UP_S = 1.0
"""What is heard of a record before an act, to tell it by."""
_TWO_ACTS_S = 0.1
"""Two acts of one hand are further apart."""


@dataclass(frozen=True, slots=True)
class _Task:
    """One thing to be done to the click."""

    what: Measured
    says: str
    wanted: Amount = GOES


_TASKS = (
    _Task("left", "Let the left record go on a high click, stop it, bring it back, and again"),
    _Task("left", "Scratch the left record: push on each click, pull back between", PUSHES),
    _Task("right", "Let the right record go on a high click, stop it, bring it back, and again"),
    _Task("right", "Scratch the right record: push on each click, pull back between", PUSHES),
    _Task(
        "mixer",
        "Throw the crossfader over to its other side on each high click; `next` leaves that out",
    ),
    _Task(
        "click",
        "Tap each high click with the word `mark`, by pad or key; `next` leaves that out",
    ),
)


class Calibrating(Watcher):
    """Each record let go and scratched, crossfader, taps; `done` is called with what was found."""

    def __init__(
        self,
        done: Callable[[Calibrated], None],
        *,
        told: Callable[[str], None] = lambda _: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._done, self._told, self._clock = done, told, clock
        self._stage: Stage | None = None
        self._begin()

    def _begin(self, place: int = 0) -> None:
        """From a task on; from the first, nothing is kept of what was measured."""
        if place == 0:
            self._errors: dict[_Task, list[float]] = {task: [] for task in _TASKS}
            self._over = False
        self._task, now = _TASKS[place], self._clock()
        self._count = CountIn(now + _BEGINS_S, BEAT_S, _BEATS, METRE)
        self._heard: list[Message] = []
        self._fader: list[tuple[float, float]] = []
        self._done_s: list[float] = []
        self._settled_s = self._looked_s = float("-inf")

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage
        self._told(self._task.says)

    def heard(self, heard: Heard) -> None:
        """One thing a sender told."""
        if heard.what == "position" and heard.side == self._task.what:
            self._heard.append((heard.now_s, heard.side, heard.value))
            if heard.now_s - self._looked_s > _LOOK_EVERY_S:
                self._look(heard.now_s)
        elif heard.what == "crossfader" and self._task.what == "mixer":
            self._fader.append((heard.now_s, heard.value))
            self._done_s = [move.at_s for move in fader_moves(self._fader)]
            self._look(heard.now_s)

    def told_word(self, word: Word, piece: int | None) -> bool:
        """A tap, or enough of it."""
        if word == "mark" and self._task.what == "click":
            self._done_s.append(self._clock())
            self._look(self._clock())
        elif word == "next":
            self._go_on()
        return word in ("mark", "next")

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The prompt was worked out anew; nothing of it is needed."""

    def _look(self, now_s: float) -> None:
        """Take what the task asks for anew, and go on when there is enough of it."""
        self._looked_s = now_s
        if self._heard:
            self._take_settled(now_s)
        if self._task.wanted is PUSHES:
            late = after_clicks(self._done_s, self._count, about_s=self._let_go_late_s())
        else:
            late = after_bars(self._done_s, self._count)
        self._errors[self._task] = late
        if self._task.wanted.enough(self._errors[self._task]):
            self._go_on()
        if self._stage is not None:
            self._stage.push()

    def _take_settled(self, now_s: float) -> None:
        """What the record did since the last look, and was long enough ago to be heard whole."""
        found = pushed_s if self._task.wanted is PUSHES else let_go_s
        until_s = now_s - _SETTLED_S
        side: Side = "left" if self._task.what == "left" else "right"
        for at in found(trace_of(self._heard)[side]):
            last_s = self._done_s[-1] + _TWO_ACTS_S if self._done_s else self._settled_s
            if max(self._settled_s, last_s) < at <= until_s:
                self._done_s.append(at)
        self._settled_s = until_s
        self._heard = [one for one in self._heard if one[0] > until_s - _LEAD_UP_S]

    def _let_go_late_s(self) -> float:
        """How late the deck's record is let go: pushes come about as late."""
        goes = next(task for task in _TASKS if task.what == self._task.what)
        late = late_of(self._errors[goes])
        return late.late_s if late else 0.0

    def _go_on(self) -> None:
        """The next task; after the last one, what was found."""
        if self._over:
            return
        place = _TASKS.index(self._task) + 1
        if place < len(_TASKS):
            self._begin(place)
            self._told(self._task.says)
            return
        goes = {task.what: self._errors[task] for task in _TASKS if task.wanted is GOES}
        pushes = {task.what: self._errors[task] for task in _TASKS if task.wanted is PUSHES}
        found = calibrated(goes, pushes)
        if found is None:
            self._told("Too uneven to tell a delay by. Once more, from the left record on")
            self._begin()
            return
        self._over = True
        self._done(found)

    def status(self) -> Mapping[str, Any]:
        """The key `rehearsal` of /status and /live, with `calibration` in it."""
        now = self._clock()
        count = self._count
        return {"rehearsal": {
            "now_s": round(now, 4), "piece": "Calibration", "phase": "count-in", "at_cue": {},
            "bars_left": None, "takes": 0, "clean": 0, "tempo": round(60.0 / count.beat_s, 2),
            "ladder": None, "last": None, "noise": None, "kept": True, "error": None,
            "count_in": count.to_json(now),
            "break": {"due": False, "hands_on_s": 0, "after_s": 1500, "caution": HANDS_CAUTION},
            "calibration": {
                "task": self._task.what, "says": self._task.says,
                "done": len(self._errors[self._task]), "so_far": self._so_far(),
            },
        }}  # fmt: skip

    def _so_far(self) -> str:
        """How much of the task is done, and what is still wanted of it."""
        done, wanted = self._errors[self._task], self._task.wanted
        if len(done) < wanted.least:
            return f"{len(done)} of {wanted.least}"
        late = late_of(done)
        if late is None:
            return f"{len(done)} done, but too uneven: listen for a while, then go on"
        sure_ms, wanted_ms = (1000 * 1.96 * sure_s for sure_s in (late.sure_s, wanted.sure_s))
        return (
            f"{len(done)} done, known within {sure_ms:.1f} ms; on until {wanted_ms:.1f} ms, or "
            f"{wanted.most} are done"
        )

    def routes(self) -> Sequence[web.RouteDef]:
        """The page /rehearse, which clicks."""
        return [*pages.file_routes(), pages.clock_route(self._clock)]
