"""The running stage: positions and words in, lamps and page out, one loop, set and struck here.

async with Service(routine, Settings(osc=Address("127.0.0.1", 0))) as stage:
    print(stage.address)          # the page
    await stage.run()             # until ask_stop(), a signal, or cancellation

When the prompt is worked out: showing. Who looks on: watchers. Words: spoken.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import TracebackType
from typing import Any

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine, Side
from liveaid.routine.coming import Coming
from liveaid.stage.address import Address
from liveaid.stage.boards import Boards
from liveaid.stage.cues import next_cues
from liveaid.stage.follows import Follows, Guarded, follower_for
from liveaid.stage.lamps import lamps_for
from liveaid.stage.loop_lag import LoopLag
from liveaid.stage.mishaps import Mishaps
from liveaid.stage.osc import Heard
from liveaid.stage.osc_map import DeckFacts, table_for
from liveaid.stage.outline import Outlined, brief
from liveaid.stage.receiver import Receiver
from liveaid.stage.settings import Settings
from liveaid.stage.showing import Showing
from liveaid.stage.slept import Sleeps
from liveaid.stage.spoken import Spoken
from liveaid.stage.stage_notes import Notes, Vitals
from liveaid.stage.watcher import Watcher, Whole
from liveaid.stage.watchers import Watchers
from liveaid.stage.web import Site, Web, as_json, json_route
from liveaid.stage.words import Said, Word, WordError

_log = logging.getLogger("liveaid.stage")
HEARTBEAT_S = 1.0
PAGE_S = 0.1
"""A page is pushed at once when bar, beat or state change, else no more often than this."""


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
        self._mishaps = Mishaps()
        self._watchers = Watchers(watchers, self._mishaps)
        self._outlined = Outlined()
        self._outlined.of(routine)  # now, not while positions stream in
        self._whole_outlined = Outlined()
        self._whole_outline()
        self._next_cues = next_cues(routine)
        self._coming = Coming(routine)
        self._spoken = Spoken(self._hear_word, lambda: len(self._whole().routine.pieces))
        facts = DeckFacts(rpm=routine.turntable.rpm, file_s=dict(self.settings.file_s))
        self._receiver = Receiver(
            table_for(self.settings.osc_map, facts),
            hear=self._hear,
            settled=lambda heard, behind: self._showing.heard(heard, behind=behind),
            word=lambda word, piece: self._spoken.say(word, piece, "osc"),
        )
        self._web = Web(
            status=self.status,
            health=self.health,
            mishaps=self._mishaps,
            token=self.settings.token,
            said=self._spoken.say_live,
            names=self.settings.share.names if self.settings.share else (),
        )
        self._boards = Boards(
            self.settings,
            changed=self._watchers.lamps_changed,
            renew=self._relight,
            word=self._pad_said,
        )
        self._showing = Showing(
            Guarded(follower or follower_for(routine, self.settings), self._mishaps),
            shown=self._shown,
            lamp_due_s=self._boards.wake_at,
            catch_up=self._receiver.turn,
        )
        self._page_s = float("-inf")
        self._missing: dict[str, str] = {}
        self._sleeps, self._lag, self._notes = Sleeps(), LoopLag(), Notes()
        self._started_s = time.monotonic()
        self._beating: asyncio.Task[None] | None = None
        self._stop_asked = asyncio.Event()

    # -- set up and strike

    async def start(self) -> None:
        """Open everything. StageError when a port is taken; a missing controller is no error."""
        self._sleeps, self._started_s = Sleeps(), time.monotonic()
        try:
            self._receiver.open(self.settings.osc)
            await self._start_web()
            await self._boards.start()
        except BaseException:
            await self.stop()
            raise
        self._watchers.started(self)
        self._lag.start()
        self._notes.look(self._vitals(), time.monotonic())
        self._showing.show()
        self._beating = asyncio.create_task(self._heartbeat())

    async def _start_web(self) -> None:
        share = self.settings.share
        more = [] if share is None else [Site(share.address, share.tls, share.token)]
        if self.settings.http is not None:
            own = [
                *self._spoken.routes(),
                json_route("/routine.json", lambda: self._outlined.of(self.routine)),
                json_route("/whole.json", self._whole_outline),
            ]
            routes = [*self._watchers.routes(), *own]
            await self._web.start(self.settings.http, routes, self._watchers.scripts(), more=more)

    async def run(self) -> None:
        """Go on until `ask_stop`."""
        await self._stop_asked.wait()

    def ask_stop(self) -> None:
        """Let `run` return; safe to call more than once, and from a signal handler of the loop."""
        self._stop_asked.set()

    async def stop(self) -> None:
        """Strike the stage: lamps off, pages told, ports closed."""
        if self._beating is not None:
            self._beating.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._beating
        self._lag.stop()
        self._showing.stop()
        self._receiver.close()
        await self._watchers.stopped()
        await self._boards.stop()
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
        return str(self._boards.to_json()["state"])

    @property
    def prompt(self) -> Prompt | None:
        """The prompt last shown."""
        return self._showing.prompt

    def status(self) -> dict[str, Any]:
        """What /status and /live say, worked out for this moment."""
        prompt = self._showing.follower.prompt(time.monotonic())
        if prompt is None:
            return {"state": "waiting", "error": self._mishaps.last}
        return self._status_of(prompt)

    def health(self) -> dict[str, Any]:
        """What /health says: counts, buffers, ports, errors."""
        prompt, habits = self.prompt, self.settings.habits
        return {
            "uptime_s": round(time.monotonic() - self._started_s, 3),
            "pid": os.getpid(),
            "state": prompt and prompt.state,
            "hints": list(prompt.hints) if prompt else [],
            "osc": self._receiver.to_json(),
            "loop": self._lag.to_json(),
            "rates": self._notes.rates,
            "notes": self._notes.sentences(),
            "midi": self._boards.to_json(),
            "page": self._web.to_json(),
            "words_refused": self._spoken.refused,
            "sleeps": self._sleeps.count,
            "habits": habits and habits.to_json(),
            "map": self._watchers.status().get("map"),
            "errors": self._mishaps.to_json(),
        }

    def ports_missing(self) -> dict[str, str]:
        """The controllers' ports that were asked for and are not open, with what is the matter."""
        return self._boards.missing()

    def push(self) -> None:
        """Renew every open page now, and the lamps: a watcher's status changed."""
        self._showing.look_ahead(time.monotonic())
        self._showing.show()
        if self.prompt is not None:
            self._push(self.prompt)

    def hear(self, heard: Heard) -> None:
        """A deck's position from another source than OSC."""
        self._hear(heard)
        self._showing.heard([heard])

    def use(self, routine: Routine) -> None:
        """Follow this edition of the routine from now on: its map was edited while it played."""
        self.routine = routine
        self._next_cues = next_cues(routine)
        self._coming = Coming(routine)
        follower = follower_for(routine, self.settings)
        self._showing.follower = Guarded(follower, self._mishaps)
        self.push()

    # -- what happens

    def _hear(self, heard: Heard) -> None:
        self._watchers.heard(heard)
        self._showing.follower.hear(heard)

    def _hear_word(self, said: Said) -> bool:
        """Everybody is told; whether the follower or a watcher was there for it."""
        followed = self._follower_hears(said)
        taken = self._watchers.told_word(said.word, said.piece) or followed
        asyncio.get_running_loop().call_soon(self.push)
        return taken

    def _follower_hears(self, said: Said) -> bool:
        """Words mean set pieces of the whole routine, the follower those that are followed."""
        if said.piece is None:
            return self._showing.follower.hear_word(said)
        index = self._whole().followed(said.piece, len(self.routine.pieces))
        return index is not None and self._showing.follower.hear_word(replace(said, piece=index))

    def _whole(self) -> Whole:
        return self._watchers.stretch_of() or Whole(self.routine)

    def _pad_said(self, word: Word, piece: int | None) -> None:
        with contextlib.suppress(WordError):  # a pad beyond the last set piece, or chatter
            self._spoken.say(word, piece, "pad")

    def _shown(self, prompt: Prompt, now: float, turned: bool) -> None:
        cue = self._cue_of(prompt)
        self._boards.light(lambda layout: self._watchers.lamps(lamps_for(prompt, layout, cue)), now)
        self._watchers.prompted(prompt, now)
        if turned or now - self._page_s >= PAGE_S:
            self._push(prompt)

    def _relight(self) -> None:
        if self.prompt is not None:
            self._showing.show()

    def _push(self, prompt: Prompt) -> None:
        self._page_s = time.monotonic()
        if self._web.clients:
            with self._mishaps.noting("pages"):
                self._web.push(as_json(self._status_of(prompt)))

    async def _heartbeat(self) -> None:
        """Once a second: a sign of life to the pages, and a look whether the machine slept."""
        while True:
            await asyncio.sleep(HEARTBEAT_S)
            if self._sleeps.noticed():
                _log.warning("this machine slept")
                self._boards.reopen()  # gone, perhaps; what queued up is refused as too late
            self._look_at_vitals()
            self._showing.look_ahead(time.monotonic())
            self._showing.show()
            if self.prompt is not None and time.monotonic() - self._page_s > HEARTBEAT_S / 2:
                self._push(self.prompt)

    # -- reports

    def _cue_of(self, prompt: Prompt) -> tuple[Side, ...]:
        return self._next_cues[prompt.piece.index] if prompt.piece else ()

    def _status_of(self, prompt: Prompt) -> dict[str, Any]:
        return {
            **prompt.to_json(),
            "next_cue": list(self._cue_of(prompt)),
            "routine": brief(
                self.routine,
                self._outlined.of(self.routine)["edition"],
                self.settings.osc_map.sends,
            ),
            "whole": self._whole_of(),
            "coming": self._coming_of(prompt),
            "word": self._spoken.status(),
            "notes": self._notes.sentences(),
            **self._watchers.status(),
        }

    def _whole_of(self) -> dict[str, Any]:
        """Where in the whole routine (/whole.json) what is followed stands."""
        whole = self._whole()
        return {
            "edition": self._whole_outline()["edition"],
            "first": whole.first,
            "gone_beats": list(whole.gone_beats),
        }

    def _whole_outline(self) -> Mapping[str, Any]:
        routine = self._whole().routine
        outlined = self._outlined if routine is self.routine else self._whole_outlined
        return outlined.of(routine)

    def _coming_of(self, prompt: Prompt) -> list[dict[str, Any]]:
        """The acts to come where the map writes them out; none while the place is not sure."""
        if prompt.piece is None or prompt.beat_position is None or prompt.state == "unsure":
            return []
        begun = prompt.state != "before"
        return self._coming.after(prompt.piece.index, prompt.beat_position if begun else -0.001)

    def _look_at_vitals(self) -> None:
        said = self._notes.sentences()
        self._notes.look(self._vitals(), time.monotonic())
        for sentence in self._notes.sentences():
            if sentence not in said:
                _log.warning(sentence)
        self._look_at_ports()

    def _look_at_ports(self) -> None:
        """A line in the log whenever a controller comes or goes."""
        before, self._missing = self._missing, self._boards.missing()
        for name, why in self._missing.items():
            if before.get(name) != why:
                _log.warning("%s: %s", name, why)
        for name in before.keys() - self._missing.keys():
            _log.info("%s: open", name)

    def _vitals(self) -> Vitals:
        counts, dropped = self._receiver.counts, self._receiver.dropped()
        return Vitals(
            heard=sum(counts.heard.values()),
            # What came too late was understood: that this machine was held up is told instead.
            refused=counts.refused.total() - counts.refused["too late"],
            last_refused=counts.last_refused[0] if counts.last_refused else "",
            over_budget=counts.over_budget,
            over_budget_from=counts.last_over_budget or "",
            by_the_system=dropped.get("by the system", 0),
            turned_away=sum(self._web.turned_away.values()),
            lag_s=self._lag.worst_s(1.0),
            ports=self._boards.missing(),
        )
