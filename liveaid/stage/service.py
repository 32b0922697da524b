"""The running stage: positions in, lamps and page out, one loop, started and struck in one place.

async with Service(routine, Settings(osc=Address("127.0.0.1", 0))) as stage:
    print(stage.address)          # the page
    await stage.run()             # until ask_stop(), a signal, or cancellation
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections import deque
from collections.abc import Sequence
from types import TracebackType
from typing import Any

from aiohttp import web

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine, Side
from liveaid.stage.address import Address
from liveaid.stage.board import Board
from liveaid.stage.cues import next_cues
from liveaid.stage.follows import Follows, tell
from liveaid.stage.lamp_layout import Lamp, Level
from liveaid.stage.lamps import lamps_for
from liveaid.stage.osc import Heard
from liveaid.stage.osc_map import DeckFacts, OscMap, What, table_for
from liveaid.stage.outline import Outlined, brief
from liveaid.stage.receiver import Receiver
from liveaid.stage.settings import Settings
from liveaid.stage.watcher import Watcher
from liveaid.stage.web import Web, as_json

HEARTBEAT_S = 1.0
PAGE_S = 0.1
"""A page is pushed at once when bar, beat or state change, else no more often than this."""
SHOW_S = 0.02
"""While positions stream in, the prompt is worked out anew no more often than this (the follower's
belief moves no oftener); what comes after a rest is shown at once, and so is every beat."""
REST_S = 0.05
REARM_S = 0.05
"""The next beat is looked up anew at each beat, and this often in between."""
EARLY_S = 0.001
SLEPT_S = 2.0
"""CLOCK_BOOTTIME ahead of the monotonic clock by this much more than before: the machine slept."""


class Service:
    """The stage. `follower` is liveaid.follow.Follower for the routine unless another is given."""

    def __init__(
        self,
        routine: Routine,
        settings: Settings | None = None,
        *,
        watchers: Sequence[Watcher] = (),
        follower: Follows | None = None,
    ) -> None:
        self.routine = routine
        self.settings = settings or Settings()
        self._watchers = tuple(watchers)
        self._follower = follower or _follower(routine, self.settings.osc_map)
        facts = DeckFacts(rpm=routine.turntable.rpm, file_s=dict(self.settings.file_s))
        self._receiver = Receiver(table_for(self.settings.osc_map, facts), self._told)
        self._web = Web(status=self.status, health=self.health, token=self.settings.token)
        self._outlined = Outlined()
        self._outlined.of(routine)  # now, not while positions stream in
        self._next_cues = next_cues(routine)
        self._board = Board(
            self.settings.layout,
            midi=self.settings.midi,
            midi_api=self.settings.midi_api,
            changed=self._lamps_changed,
            renew=self._relight,
        )
        self._prompt: Prompt | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._soon: asyncio.TimerHandle | None = None
        self._shown_s = float("-inf")
        self._heard_s: dict[tuple[What, Side | None], float] = {}
        self._wake_s: float | None = None
        self._looked_s = float("-inf")
        self._beat_task: asyncio.Task[None] | None = None
        self._stop_asked: asyncio.Event | None = None
        self._key: object = None
        self._page_s = float("-inf")
        self._started_s = 0.0
        self._asleep_s = 0.0
        self._sleeps = 0
        self._errors: deque[str] = deque(maxlen=10)
        self._error_count = 0

    # -- set up and strike

    async def start(self) -> None:
        """Open everything. StageError when a port is taken; a missing controller is no error."""
        self._stop_asked = asyncio.Event()
        self._started_s = time.monotonic()
        self._asleep_s = _asleep_s()
        try:
            self._receiver.open(self.settings.osc)
            await self._start_web()
            await self._board.start()
        except BaseException:
            await self.stop()
            raise
        for watcher in self._watchers:
            self._guarded(watcher.started, self)
        self._show()
        self._beat_task = asyncio.create_task(self._heartbeat())

    async def _start_web(self) -> None:
        if self.settings.http is not None:
            routes = [route for watcher in self._watchers for route in watcher.routes()]
            scripts = [script for watcher in self._watchers for script in watcher.scripts()]
            own = [web.get("/routine.json", self._serve_outline)]
            await self._web.start(self.settings.http, [*routes, *own], scripts)

    async def run(self) -> None:
        """Go on until `ask_stop`."""
        assert self._stop_asked is not None, "start() comes first"
        await self._stop_asked.wait()

    def ask_stop(self) -> None:
        """Let `run` return; safe to call more than once, and from a signal handler of the loop."""
        if self._stop_asked is not None:
            self._stop_asked.set()

    async def stop(self) -> None:
        """Strike the stage: lamps off, pages told, ports closed."""
        if self._beat_task is not None:
            self._beat_task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._beat_task
        for timer in (self._timer, self._soon):
            if timer is not None:
                timer.cancel()
        self._receiver.close()
        for watcher in self._watchers:
            try:
                await watcher.stopped()
            except Exception as error:
                self._note(f"{type(watcher).__name__}.stopped: {error!r}")
        await self._board.stop()
        await self._web.stop()

    async def __aenter__(self) -> Service:
        await self.start()
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self.stop()

    # -- what can be asked of it

    @property
    def osc_address(self) -> Address:
        """Where positions are to be sent, the port filled in."""
        return self._receiver.address

    @property
    def address(self) -> str:
        """The page's address, token and all, as a browser takes it."""
        served = self._web.address.as_seen_by_others()
        token = f"?token={self.settings.token}" if self.settings.token else ""
        return f"http://{served}/{token}"

    @property
    def midi_state(self) -> str:
        """How the lamps' port stands, in words."""
        return self._board.state

    @property
    def prompt(self) -> Prompt | None:
        """The prompt last shown."""
        return self._prompt

    def status(self) -> dict[str, Any]:
        """What /status and /live say, worked out for this moment."""
        prompt = self._work_out(time.monotonic())
        if prompt is None:
            return {"state": "waiting", "error": self._errors[-1] if self._errors else None}
        return self._status_of(prompt)

    def _status_of(self, prompt: Prompt) -> dict[str, Any]:
        status = prompt.to_json()
        status["next_cue"] = list(self._cue_of(prompt))
        status["routine"] = brief(
            self.routine, self._outlined.of(self.routine)["edition"], self.settings.osc_map.sends
        )
        for watcher in self._watchers:
            with self._noting(watcher):
                status |= watcher.status()
        return status

    async def _serve_outline(self, _: web.Request) -> web.Response:
        return web.json_response(self._outlined.of(self.routine), dumps=as_json)

    def health(self) -> dict[str, Any]:
        """What /health says: counts, buffers, ports, errors."""
        prompt = self._prompt
        return {
            "uptime_s": round(time.monotonic() - self._started_s, 3),
            "state": prompt.state if prompt else None,
            "osc": {
                "address": str(self.osc_address),
                "buffer_bytes": self._receiver.granted_bytes,
                **self._receiver.counts.to_json(),
            },
            "midi": self._board.to_json(),
            "page": {"clients": self._web.clients, "refused": self._web.refused},
            "sleeps": self._sleeps,
            "errors": {"count": self._error_count, "last": list(self._errors)},
        }

    def push(self) -> None:
        """Renew every open page now, and the lamps: a watcher's status changed."""
        self._look_ahead(time.monotonic())
        self._show()
        if self._prompt is not None:
            self._push(self._prompt)

    # -- what happens

    def _told(self, heard: Sequence[Heard]) -> None:
        for item in heard:
            for watcher in self._watchers:
                self._guarded(watcher.heard, item)
            try:
                tell(self._follower, item)
            except Exception as error:
                self._note(f"follower: {error!r}")
        since_s = time.monotonic() - self._shown_s
        rested = self._after_a_rest(heard)
        if since_s >= SHOW_S or rested:
            self._show()
        elif self._soon is None:
            loop = asyncio.get_running_loop()
            self._soon = loop.call_later(SHOW_S - since_s, self._show)

    def _after_a_rest(self, heard: Sequence[Heard]) -> bool:
        """Whether something of a deck was said that had not been said for a while: a needle set
        down, a record let go."""
        rested = False
        for item in heard:
            key = (item.what, item.side)
            rested |= item.now_s - self._heard_s.get(key, float("-inf")) > REST_S
            self._heard_s[key] = item.now_s
        return rested

    def _show(self) -> None:
        """Work the prompt out and bring lamps, watchers and pages to it."""
        now = self._shown_s = time.monotonic()
        if self._soon is not None:
            self._soon.cancel()
            self._soon = None
        prompt = self._work_out(now)
        if prompt is None:
            self._rearm(now)
            return
        self._prompt = prompt
        self._light(prompt, now)
        for watcher in self._watchers:
            self._guarded(watcher.prompted, prompt, now)
        key = (prompt.state, prompt.piece and prompt.piece.index, prompt.bar, prompt.beat)
        turned = key != self._key
        self._key = key
        if turned or now - self._page_s >= PAGE_S:
            self._push(prompt)
        if turned or now - self._looked_s >= REARM_S:
            self._look_ahead(now)
        self._rearm(now)

    def _light(self, prompt: Prompt, now: float) -> None:
        levels = lamps_for(prompt, self.settings.layout, self._cue_of(prompt))
        for watcher in self._watchers:
            with self._noting(watcher):
                levels = dict(watcher.lamps(levels))
        self._board.light(levels, now)

    def _lamps_changed(self, changes: Sequence[tuple[Lamp, Level]]) -> None:
        for watcher in self._watchers:
            self._guarded(watcher.lamps_changed, changes)

    def _relight(self) -> None:
        if self._prompt is not None:
            self._show()

    def _push(self, prompt: Prompt) -> None:
        self._page_s = time.monotonic()
        if self._web.clients:
            self._web.push(as_json(self._status_of(prompt)))

    def _look_ahead(self, now: float) -> None:
        self._looked_s, self._wake_s = now, self._wake_at()

    def _rearm(self, now: float) -> None:
        """One timer: the next beat, silence, or a lamp that was kept back."""
        if self._wake_s is not None and self._wake_s <= now:
            self._look_ahead(now)
        wakes = [wake for wake in (self._wake_s, self._board.wake_at()) if wake is not None]
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if wakes:
            due_s = max(min(wakes), now + 0.001)  # never in a tight circle
            loop = asyncio.get_running_loop()
            self._timer = loop.call_at(due_s - EARLY_S, self._show_when_due, due_s)

    def _show_when_due(self, due_s: float) -> None:
        """The loop keeps whole milliseconds, and is late: wake before, and wait out the rest."""
        wait_s = due_s - time.monotonic()
        if 0 < wait_s <= 2 * EARLY_S:
            time.sleep(wait_s)
        self._show()

    async def _heartbeat(self) -> None:
        """Once a second: a sign of life to the pages, and a look whether the machine slept."""
        while True:
            await asyncio.sleep(HEARTBEAT_S)
            asleep_s = _asleep_s()
            if asleep_s - self._asleep_s > SLEPT_S:
                self._woke_up()
            self._asleep_s = asleep_s
            self._look_ahead(time.monotonic())
            self._show()
            if self._prompt is not None and time.monotonic() - self._page_s > HEARTBEAT_S / 2:
                self._push(self._prompt)

    def _woke_up(self) -> None:
        """Ports may be gone after a sleep; what was queued meanwhile is refused as too late."""
        self._sleeps += 1
        self._board.reopen()

    # -- small parts

    def _cue_of(self, prompt: Prompt) -> tuple[Side, ...]:
        return self._next_cues[prompt.piece.index] if prompt.piece else ()

    def _work_out(self, now: float) -> Prompt | None:
        try:
            return self._follower.prompt(now=now)
        except Exception as error:
            self._note(f"follower: {error!r}")
            return None

    def _wake_at(self) -> float | None:
        try:
            return self._follower.wake_at()
        except Exception as error:
            self._note(f"follower: {error!r}")
            return None

    def _guarded(self, call: Any, *arguments: Any) -> None:
        try:
            call(*arguments)
        except Exception as error:
            self._note(f"{call.__qualname__}: {error!r}")

    @contextlib.contextmanager
    def _noting(self, watcher: Watcher) -> Any:
        try:
            yield
        except Exception as error:
            self._note(f"{type(watcher).__name__}: {error!r}")

    def _note(self, error: str) -> None:
        self._error_count += 1
        if not self._errors or self._errors[-1] != error:
            self._errors.append(error)


def _follower(routine: Routine, osc_map: OscMap) -> Follows:
    from liveaid.follow import Follower

    return Follower(routine, sends=osc_map.sends)


def _asleep_s() -> float:
    """Seconds the machine has slept since it was started; 0 where the system does not tell."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return (
        0.0
        if clock is None
        else time.clock_gettime(clock) - time.clock_gettime(time.CLOCK_MONOTONIC)
    )
