"""The rehearsal beside the running stage: takes kept and scored, lamps counting in, two pages.

A stage Watcher: told everything on the loop, it hands the slow work (scoring, pictures) to
threads and the writing to the store's own.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from aiohttp import web

from liveaid.errors import LiveaidError
from liveaid.follow import Prompt
from liveaid.practice import pages
from liveaid.practice.care import HANDS_CAUTION, noise_line
from liveaid.practice.count_in import CountIn
from liveaid.practice.reading import TakeReader
from liveaid.practice.schema import StoreError
from liveaid.practice.score import TakeScore
from liveaid.practice.session import Aim, Ended, Session, aim_of, score_of, to_json
from liveaid.practice.store import TakeStore
from liveaid.routine import Routine
from liveaid.routine.edits import matched
from liveaid.stage import Heard, Stage, Watcher

_WORK_EVERY_S = 30.0

Told = Callable[[dict[str, Any]], None]


class Rehearsal(Watcher):
    """One rehearsal on one stage."""

    def __init__(
        self,
        session: Session,
        whole: Routine,
        *,
        store: TakeStore | None,
        file: Path,
        booth_dba: float | None = None,
        break_after_s: float = 25 * 60.0,
        told: Told | None = None,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        """`store` None keeps nothing, as for a replay; `told` hears of every take scored."""
        self.session, self.whole, self.store, self.file = session, whole, store, file
        self.booth_dba, self.break_after_s = booth_dba, break_after_s
        self._told, self._clock, self._wall = told, clock, wall
        self._stage: Stage | None = None
        self._aside = ThreadPoolExecutor(1, thread_name_prefix="scores")
        self._scoring: set[asyncio.Task[None]] = set()
        self._clicks: list[asyncio.TimerHandle] = []
        self._last: dict[str, Any] | None = None
        self._error: str | None = None
        self._work_s = self._work_at_s = 0.0
        self._before_s = 0.0
        """Hands-on time of today before this rehearsal."""

    @property
    def aim(self) -> Aim:
        """What is practised."""
        return self.session.aim

    def use(self, whole: Routine) -> Routine:
        """Go on with an edited map, between takes; returns what is to be followed from now on.

        LiveaidError, and nothing changes, when what is practised is no longer in it.
        """
        same = matched(self.whole, whole)
        name = (
            next((whole.pieces[new].name for new, old in same.items() if old == self.aim.first), "")
            if self.aim.piece
            else ""
        )
        aim = aim_of(whole, name, self.aim.limits) if name or not self.aim.piece else None
        if aim is None:
            raise LiveaidError(
                f"{self.aim.piece} is gone from the map; it is practised on as it was"
            )
        self.whole = whole
        self.session.use(aim)
        return aim.routine

    # --- what the stage tells -------------------------------------------------------------

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage
        if self.store is not None:
            with TakeReader(self.file) as reader:
                self._before_s = reader.hands_on_s(pages.today(self._wall()))

    def heard(self, heard: Heard) -> None:
        """One thing a sender told."""
        if heard.what == "position" and heard.side is not None:
            self.session.hear(heard.side, position_s=heard.value, now=heard.now_s)

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The prompt was worked out anew."""
        for happened in self.session.tell(prompt, now=now_s):
            if isinstance(happened, CountIn):
                self._count_in(happened)
            else:
                self._take_ended(happened)
        if now_s - self._work_at_s > _WORK_EVERY_S:
            self._work_at_s = now_s
            self._note_work()

    def lamps(self, levels: Mapping[str, Any]) -> Mapping[str, Any]:
        """During a count-in: its beat in the beats' row, and nothing else that counts."""
        count, now = self.session.count_in, self._clock()
        beat = count.beat(now) if count and not self.session.finder.playing else None
        if beat is None:
            return levels
        assert count is not None
        row = [name for name in levels if name.startswith("beats.")]
        shown = {name: "off" for name in levels if name.startswith(("beats.", "bars."))}
        if row:
            shown[f"beats.{(beat - 1) % min(len(row), count.metre)}"] = "on"
        if "pulse" in levels:
            shown["pulse"] = "on" if beat % 2 else "dim"
        return {**levels, **shown}

    def status(self) -> Mapping[str, Any]:
        """The key `rehearsal` of /status and /live."""
        return {"rehearsal": self._status(self._clock())}

    def routes(self) -> Sequence[web.RouteDef]:
        """The pages /rehearse and /review and what they ask."""
        return [
            *pages.file_routes(),
            web.get("/rehearse/clock", self._serve_clock),
            web.post("/rehearse/count-in", self._serve_count_in),
            *pages.review_routes(
                lambda: self.whole, self.file, self._aside, self._wall, self.booth_dba
            ),
        ]

    async def stopped(self) -> None:
        """The stage is being struck: finish scoring, keep what is on."""
        for ended in self.session.finish():
            self._take_ended(ended)
        await asyncio.gather(*self._scoring)
        self._note_work()
        self._aside.shutdown()

    # --- takes ----------------------------------------------------------------------------

    def _take_ended(self, ended: Ended) -> None:
        task = asyncio.get_running_loop().create_task(self._keep_and_score(ended))
        self._scoring.add(task)
        task.add_done_callback(self._scoring.discard)

    async def _keep_and_score(self, ended: Ended) -> None:
        """Keep first: what ended is on the disk before anything else is done with it."""
        at = self._wall() - (self._clock() - ended.take.start_s)
        aim = self.aim
        kept = ended.kept(aim, self.whole.title, at)
        number = None
        try:
            if self.store is not None:
                number = await asyncio.wrap_future(self.store.keep(kept))
            loop = asyncio.get_running_loop()
            earlier = tuple(self.session.earlier)
            score = await loop.run_in_executor(self._aside, score_of, aim, kept, earlier)
            await self._scored(aim, ended, score, number)
        except StoreError as error:
            self._error = str(error)
        self._push()

    async def _scored(self, aim: Aim, ended: Ended, score: TakeScore, number: int | None) -> None:
        found = to_json(aim, score)
        self.session.scored(ended, score)
        self._last = {
            "number": number,
            "ended": ended.take.ended,
            "tempo_part": round(ended.tempo_part, 4),
            "counted_in": ended.counted_in_s is not None,
            **found,
        }
        self._push()
        if self._told is not None:
            self._told(self._last)
        if self.store is not None and number is not None:
            await asyncio.wrap_future(self.store.score(number, found))

    def _note_work(self) -> None:
        """Put the hands-on time since the last note into the store's day."""
        total = self.session.hands_on.total_s
        if self.store is not None and total > self._work_s:
            self.store.work(pages.today(self._wall()), total - self._work_s)
        self._work_s = total

    # --- count-in -------------------------------------------------------------------------

    def _count_in(self, count: CountIn) -> None:
        """Tell the pages at once, and renew the lamps at every click."""
        loop = asyncio.get_running_loop()
        for handle in self._clicks:
            handle.cancel()
        ahead = loop.time() - self._clock()
        times = (*count.clicks_s, count.first_beat_s)
        self._clicks = [loop.call_at(at + ahead + 0.001, self._push) for at in times]
        loop.call_soon(self._push)

    def _push(self) -> None:
        if self._stage is not None:
            self._stage.push()

    async def _serve_count_in(self, _: web.Request) -> web.Response:
        """POST: count in now, from page or pad."""
        if self.session.finder.playing:
            raise web.HTTPConflict(text="A take is on.\n")
        self._count_in(self.session.ask_count_in(self._clock()))
        return web.Response(status=204)

    async def _serve_clock(self, _: web.Request) -> web.Response:
        """The monotonic clock the count-in is told in, for the page to compare its own with."""
        return web.json_response({"now_s": self._clock()})

    # --- status ---------------------------------------------------------------------------

    def _status(self, now: float) -> dict[str, Any]:
        session = self.session
        count = session.count_in
        hands = session.hands_on
        since = hands.since_break_s
        return {
            "now_s": round(now, 4),
            "piece": self.aim.piece or None,
            "phase": session.phase(now),
            "at_cue": dict(session.at_cue),
            "bars_left": session.finder.bars_left(now),
            "takes": session.takes,
            "clean": session.clean,
            "tempo": round(session.tempo_bpm, 2),
            "ladder": self._ladder(),
            "count_in": None if count is None else {
                "start_s": round(count.start_s, 4), "beat_s": round(count.beat_s, 5),
                "beats": count.beats, "metre": count.metre, "beat": count.beat(now),
            },
            "last": self._last,
            "break": {
                "due": hands.break_due(now, after_s=self.break_after_s),
                "hands_on_s": round(since),
                "after_s": round(self.break_after_s),
                "caution": HANDS_CAUTION,
            },
            "noise": None if self.booth_dba is None else noise_line(
                self.booth_dba, (self._before_s + hands.total_s) / 3600.0
            ),
            "kept": self.store is not None,
            "error": self._error,
        }  # fmt: skip

    def _ladder(self) -> dict[str, Any] | None:
        ladder = self.session.ladder
        if ladder is None:
            return None
        return {
            "rung": ladder.rung + 1,
            "rungs": len(ladder.parts),
            "part": round(ladder.part, 4),
            "pitch": round(ladder.pitch_percent, 2),
            "in_a_row": ladder.clean_run,
            "up_after": ladder.up_after,
            "held_up": ladder.held_up,
            "wanted_part": ladder.start_part,
            "pitch_range": ladder.pitch_range_percent,
        }
