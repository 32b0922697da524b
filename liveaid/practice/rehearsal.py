"""The rehearsal beside the running stage: takes kept and scored, lamps counting in, two pages.

A stage Watcher: told everything on the loop, it hands the slow work (scoring, pictures) to
threads and the writing to the store's own.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from aiohttp import web

from liveaid.errors import LiveaidError
from liveaid.follow import Prompt
from liveaid.practice import pages
from liveaid.practice.aim import Aim, aim_of
from liveaid.practice.care import HANDS_ON_S, today
from liveaid.practice.count_in import CountIn
from liveaid.practice.ladder import Ladder
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.rehearsal_status import rehearsal_status
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.practice.take_keeping import TakeKeeping
from liveaid.practice.take_score import ScoredTake
from liveaid.practice.weeks_plan import PracticePlan
from liveaid.routine import Routine
from liveaid.routine.edits import matched
from liveaid.stage.osc import Heard
from liveaid.stage.watcher import Stage, Watcher, Whole
from liveaid.stage.words import Word

_WORK_EVERY_S = 30.0

Told = Callable[[ScoredTake], None]
LadderFor = Callable[[Aim], Ladder | None]


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
        break_after_s: float = HANDS_ON_S,
        told: Told = lambda _: None,
        notice: Callable[[str], None] = lambda _: None,
        plan: PracticePlan | None = None,
        ladder_for: LadderFor = lambda _: None,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        """`store` None keeps nothing, as for a replay; `told` hears of every take scored, `notice`
        a sentence of what the performer has to know between takes.

        With a `plan` the rehearsal moves on by itself; `ladder_for` is what each aim begins with.
        """
        self.plan, self._ladder_for = plan, ladder_for
        self.session, self.whole, self.file = session, whole, file
        self.booth_dba, self.break_after_s = booth_dba, break_after_s
        self._told, self._notice, self._clock, self._wall = told, notice, clock, wall
        self.keeping = TakeKeeping(
            store, scored=self._scored, notice=notice, clock=clock, wall=wall
        )
        self._break_told = False
        self._stage: Stage | None = None
        self._clicks: list[asyncio.TimerHandle] = []
        self._work_at_s = 0.0
        self._answers: dict[Word, Callable[[int | None], bool]] = {
            "again": self._again,
            "next": self._next,
            "take start": self._take_start,
            "take stop": self._take_stop,
            "count in": self._again,
            "slower": lambda _: self._step(-1),
            "faster": lambda _: self._step(1),
            "keep": lambda _: self.keeping.say("keep"),
            "drop": lambda _: self.keeping.say("drop"),
            "note": lambda _: self._note("note"),
            "mark": lambda _: self._note("mark"),
        }
        self.before_s = 0.0
        """Hands-on time of today before this rehearsal."""

    @property
    def aim(self) -> Aim:
        """What is practised."""
        return self.session.aim

    def stretch_of(self) -> Whole | None:
        """The whole routine, of which what is practised may be a stretch."""
        return Whole(self.whole, self.aim.first, self.aim.gone_beats)

    def use(self, whole: Routine) -> Routine:
        """Go on with an edited map, between takes; returns what is to be followed from now on.

        LiveaidError, and nothing changes, when what is practised is no longer in it.
        """
        if self.aim.decks:
            raise LiveaidError(
                f"The slower deck files hold {self.aim.piece} as it was, and so it is practised "
                "on; begun anew, the rehearsal makes them anew"
            )
        aim = self._aim_of(whole, self.aim.piece) or self._renamed(whole)
        if aim is None:
            raise LiveaidError(
                f"{self.aim.piece} is gone from the map; it is practised on as it was"
            )
        self.whole = whole
        self.session.use(aim)
        return aim.routine

    def _renamed(self, whole: Routine) -> Aim | None:
        """The set piece practised, under another name now."""
        if self.aim.piece != self.whole.pieces[self.aim.first].name:
            return None
        same = matched(self.whole, whole)
        names = [whole.pieces[new].name for new, old in same.items() if old == self.aim.first]
        return self._aim_of(whole, names[0]) if names else None

    def _aim_of(self, whole: Routine, what: str) -> Aim | None:
        """A stretch as an aim, with the limits and delays of the one before."""
        aim = aim_of(whole, what, self.aim.limits)
        if aim is None:
            return None
        return replace(aim, sender=self.aim.sender, delays=self.aim.delays)

    def go_to(self, what: str) -> bool:
        """Practise another stretch from now on; False when the routine has no such stretch."""
        aim = self._aim_of(self.whole, what)
        if aim is None:
            return False
        self._finish_take()
        self._practise(aim)
        self.session.ladder = self._ladder_for(aim)
        return True

    def _practise(self, aim: Aim) -> None:
        self.session.use(aim)
        if self._stage is not None:
            self._stage.use(aim.routine)

    # --- words ----------------------------------------------------------------------------

    def told_word(self, word: Word, piece: int | None) -> bool:
        """The performer's word, hands on the records; True when it was for practice."""
        answer = self._answers.get(word)
        if answer is None:
            return False
        taken = answer(piece)
        self._push()
        return taken

    def _take_start(self, piece: int | None) -> bool:
        """That set piece from now on; without one, the same once more."""
        if piece is None or piece >= len(self.whole.pieces):
            return self._again(piece)
        return self.go_to(self.whole.pieces[piece].name)

    def _take_stop(self, piece: int | None) -> bool:
        self._finish_take()
        return True

    def _again(self, piece: int | None) -> bool:
        """The take that is on is given up, and the same counted in."""
        self._finish_take()
        self._count_in(self.session.ask_count_in(self._clock()))
        return True

    def _next(self, piece: int | None) -> bool:
        """The plan's next turn; without a plan, the routine's next set piece."""
        now = self._clock()
        if self.plan is not None:
            self.plan = self.plan.moved_on(now)
            turn = self.plan.turn
            self._notice(self.plan.says)
            if turn is None or turn.is_break:
                self._finish_take()
                return True
            return self.go_to(turn.what)
        later = self.aim.first + 1 if self.aim.piece else 0
        return later < len(self.whole.pieces) and self.go_to(self.whole.pieces[later].name)

    def _change_decks(self) -> None:
        """Follow the deck files that the ladder's rung asks for, but not within a take."""
        wanted = self.session.other_decks
        if wanted is not None and not self.session.finder.playing:
            self._practise(self.aim.on_decks(wanted))

    def _step(self, rungs: int) -> bool:
        before = self.session.ladder
        self.session.step(rungs)
        self._on_another_rung(before)
        return before is not None

    def _on_another_rung(self, before: Ladder | None) -> None:
        """What changes with the ladder's rung: the deck files, and where the pitch has to stand."""
        ladder = self.session.ladder
        if ladder is not None and before is not None and ladder.rung != before.rung:
            self._notice(ladder.says)
        self._change_decks()

    def _note(self, text: str) -> bool:
        """A note of where the performer is, to be looked at later."""
        left = self.session.finder.bars_left(self._clock())
        where = self.aim.piece or "the whole routine"
        place = f", {left} bars left" if left is not None else ""
        return self.keeping.note(f"{text}: {where}{place}", self.aim.piece)

    def _finish_take(self) -> None:
        for ended in self.session.finish():
            self._take_ended(ended)

    # --- what the stage tells -------------------------------------------------------------

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage
        if self.keeping.store is not None:
            with TakeReader(self.file) as reader:
                self.before_s = reader.hands_on_s(today(self._wall()))

    def heard(self, heard: Heard) -> None:
        """One thing a sender told."""
        self.session.hear_sent(heard)

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The prompt was worked out anew."""
        self._follow_plan(now_s)
        for happened in self.session.tell(prompt, now=now_s):
            if isinstance(happened, CountIn):
                self._count_in(happened)
            else:
                self._take_ended(happened)
        self._remind(now_s)
        if now_s - self._work_at_s > _WORK_EVERY_S:
            self._work_at_s = now_s
            self.keeping.worked(self.session.hands_on.total_s)

    def _follow_plan(self, now_s: float) -> None:
        """The plan's next turn when this one's time is up, but not within a take."""
        if self.plan is None or self.session.finder.playing:
            return
        if self.plan.since_s is None:
            self.plan = self.plan.begun(now_s)
        elif self.plan.over(now_s):
            self._next(None)

    def _remind(self, now_s: float) -> None:
        """Say once that a break is due, but not within a take."""
        hands = self.session.hands_on
        due = hands.break_due(now_s, after_s=self.break_after_s)
        if due and not self._break_told and not self.session.finder.playing:
            self._notice(f"Time for a break: {hands.since_break_s / 60:.0f} minutes with hands on.")
        self._break_told = due and (self._break_told or not self.session.finder.playing)

    def lamps(self, levels: Mapping[str, Any]) -> Mapping[str, Any]:
        """During a count-in: its beat in the beats' row (a controller without one or a pulse: the
        bars'), and nothing else that counts."""
        count = self.session.count_in
        if count is None or self.session.finder.playing:
            return levels
        return count.lamps(levels, self._clock())

    def status(self) -> Mapping[str, Any]:
        """The key `rehearsal` of /status and /live."""
        return {"rehearsal": rehearsal_status(self, self._clock())}

    def routes(self) -> Sequence[web.RouteDef]:
        """The pages /rehearse and /review and what they ask."""
        return [
            *pages.file_routes(),
            pages.clock_route(self._clock),
            web.post("/rehearse/count-in", self._serve_count_in),
            *pages.review_routes(
                lambda: self.whole, self.file, self.keeping.aside, self._wall, self.booth_dba
            ),
        ]

    async def stopped(self) -> None:
        """The stage is being struck: finish scoring, keep what is on."""
        self._finish_take()
        await self.keeping.settled()
        self.keeping.worked(self.session.hands_on.total_s)
        self.keeping.aside.shutdown()

    # --- takes ----------------------------------------------------------------------------

    def _take_ended(self, take: Kept) -> None:
        self.keeping.ended(self.aim, take, self.session.earlier)

    def _scored(self, kept: Kept, take: ScoredTake) -> None:
        before = self.session.ladder
        self.session.scored(kept, take.score)
        self._push()
        self._told(take)
        self._on_another_rung(before)
        self._push()

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
