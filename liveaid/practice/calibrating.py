"""Calibration beside the running stage: a click that goes on, and what is done to it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from aiohttp import web

from liveaid.follow import Prompt
from liveaid.practice import pages
from liveaid.practice.calibration import (
    BEAT_S,
    WANTED,
    Calibrated,
    after_clicks,
    calibrated,
    enough,
    let_go_s,
)
from liveaid.practice.care import HANDS_CAUTION
from liveaid.practice.count_in import CountIn
from liveaid.practice.delays import MEASURED, Measured
from liveaid.practice.fader_cuts import fader_moves
from liveaid.practice.trace import Message, trace_of
from liveaid.stage.osc import Heard
from liveaid.stage.watcher import Stage, Watcher
from liveaid.stage.words import Word

_BEGINS_S = 3.0
_BEATS = 3600
_LOOK_EVERY_S = 0.5
_TASKS: dict[Measured, str] = {
    "left": "Let the left record go on a click, stop it, bring it back, and again",
    "right": "Now the right record, the same way",
    "mixer": "Throw the crossfader over to its other side on each click; `next` leaves that out",
    "click": "Tap the click with the word `mark`, by pad or key; `next` leaves that out",
}


class Calibrating(Watcher):
    """Left record, right record, crossfader, taps; `done` is called with what was found."""

    def __init__(
        self,
        done: Callable[[Calibrated], None],
        *,
        told: Callable[[str], None] = lambda _: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._done, self._told, self._clock = done, told, clock
        self._stage: Stage | None = None
        self._count = CountIn(clock() + _BEGINS_S, BEAT_S, _BEATS, 4)
        self._heard: list[Message] = []
        self._taps_s: list[float] = []
        self._errors: dict[Measured, list[float]] = {what: [] for what in MEASURED}
        self._fader: list[tuple[float, float]] = []
        self._task: Measured = "left"
        self._looked_s = float("-inf")
        self._over = False

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage
        self._told(_TASKS["left"])

    def heard(self, heard: Heard) -> None:
        """One thing a sender told."""
        if heard.what == "position" and heard.side == self._task:
            self._heard.append((heard.now_s, heard.side, heard.value))
            if heard.now_s - self._looked_s > _LOOK_EVERY_S:
                self._look(heard.now_s)
        elif heard.what == "crossfader" and self._task == "mixer":
            self._fader.append((heard.now_s, heard.value))
            self._look(heard.now_s)

    def told_word(self, word: Word, piece: int | None) -> bool:
        """A tap, or enough of it."""
        if word == "mark":
            self._taps_s.append(self._clock())
            self._look(self._clock())
        elif word == "next":
            self._go_on()
        return word in ("mark", "next")

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The prompt was worked out anew; nothing of it is needed."""

    def _look(self, now_s: float) -> None:
        """Take what the task asks for anew, and go on when there is enough of it."""
        self._looked_s = now_s
        self._errors[self._task] = after_clicks(self._done_at_s(), self._count)
        if enough(self._errors[self._task]):
            self._go_on()
        if self._stage is not None:
            self._stage.push()

    def _done_at_s(self) -> list[float]:
        """When what the task asks for was done, so far."""
        if self._task == "click":
            return self._taps_s
        if self._task == "mixer":
            return [move.at_s for move in fader_moves(self._fader)]
        return let_go_s(trace_of(self._heard)[self._task])

    def _go_on(self) -> None:
        """The next task; after the last one, what was found."""
        if self._over:
            return
        self._heard.clear()
        if self._task != "click":
            self._task = MEASURED[MEASURED.index(self._task) + 1]
            self._told(_TASKS[self._task])
            return
        found = calibrated(self._errors)
        if found is None:
            self._task = "left"
            self._told("Too uneven to tell a delay by. Once more, from the left record on")
            self._fader.clear()
            self._taps_s.clear()
            return
        self._over = True
        self._done(found)

    def status(self) -> Mapping[str, Any]:
        """The key `rehearsal` of /status and /live, with `calibration` in it."""
        now = self._clock()
        count = self._count
        return {"rehearsal": {
            "now_s": round(now, 4), "piece": "Calibration", "phase": "count-in", "at_cue": {},
            "bars_left": None, "takes": 0, "clean": 0, "tempo": round(60.0 / BEAT_S, 2),
            "ladder": None, "last": None, "noise": None, "kept": True, "error": None,
            "count_in": {
                "start_s": round(count.start_s, 4), "beat_s": count.beat_s,
                "beats": count.beats, "metre": count.metre, "beat": count.beat(now),
            },
            "break": {"due": False, "hands_on_s": 0, "after_s": 1500, "caution": HANDS_CAUTION},
            "calibration": {
                "task": self._task, "says": _TASKS[self._task], "wanted": WANTED,
                "done": {clock: len(found) for clock, found in self._errors.items()},
            },
        }}  # fmt: skip

    def routes(self) -> Sequence[web.RouteDef]:
        """The page /rehearse, which clicks."""
        return [*pages.file_routes(), web.get("/rehearse/clock", self._serve_clock)]

    async def _serve_clock(self, _: web.Request) -> web.Response:
        return web.json_response({"now_s": self._clock()})
