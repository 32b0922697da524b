"""Takes kept and scored: each as it ends, beside the running stage, and what was left unscored."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from liveaid.practice.aim import Aim, played_in
from liveaid.practice.care import today
from liveaid.practice.journal import Journal
from liveaid.practice.limits import Limits
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.schema import StoreError
from liveaid.practice.score import score_of
from liveaid.practice.shift import Off
from liveaid.practice.slower import aim_of_kept
from liveaid.practice.store import TakeStore
from liveaid.practice.take_score import ScoredTake, scored_take
from liveaid.routine import Routine


class TakeKeeping:
    """Keeps and scores takes; without a store they are only scored, as for a replay."""

    def __init__(
        self,
        store: TakeStore | None,
        *,
        scored: Callable[[Kept, ScoredTake], None],
        notice: Callable[[str], None],
        clock: Callable[[], float],
        wall: Callable[[], float],
    ) -> None:
        """`scored` hears of every take scored, `notice` why one could not be kept."""
        self.store = store
        self._scored, self._notice, self._clock, self._wall = scored, notice, clock, wall
        self.aside = ThreadPoolExecutor(1, thread_name_prefix="scores")
        self._scoring: set[asyncio.Task[None]] = set()
        self.last: ScoredTake | None = None
        self.error: str | None = None
        self._worked_s = 0.0

    def ended(self, aim: Aim, take: Kept, earlier: Iterable[Off]) -> None:
        """A take ended: see to it meanwhile. `earlier` as in `score_take`."""
        kept = replace(take, at=self._wall() - (self._clock() - take.start_s))
        work = self._keep_and_score(aim, kept, earlier)
        task = asyncio.get_running_loop().create_task(work)
        self._scoring.add(task)
        task.add_done_callback(self._scoring.discard)

    async def _keep_and_score(self, aim: Aim, kept: Kept, earlier: Iterable[Off]) -> None:
        """Keep first: what ended is on the disk before anything else is done with it."""
        number = await self._keep(kept)
        loop = asyncio.get_running_loop()
        score = await loop.run_in_executor(self.aside, score_of, aim, kept, tuple(earlier))
        self.last = scored_take(kept, score, number)
        self._scored(kept, self.last)
        if self.store is not None and number is not None:
            try:
                await asyncio.wrap_future(self.store.score(number, score))
            except StoreError as error:
                self.error = str(error)

    async def _keep(self, kept: Kept) -> int | None:
        """The take's number; None where nothing is kept, or it waits in the journal."""
        if self.store is None:
            return None
        try:
            number = await asyncio.wrap_future(self.store.keep(kept))
        except StoreError as error:
            self.error = str(error)
            self._notice(self.error)
            return None
        self.error = None
        return number

    def say(self, said: str) -> bool:
        """Keep or drop the last take; False where none is kept."""
        if self.store is None or self.last is None or self.last.number is None:
            return False
        self.store.say(self.last.number, said)
        self.last = replace(self.last, said=said)
        return True

    def note(self, text: str, aim: str) -> bool:
        """Write a note down beside the last take; False where nothing is kept."""
        if self.store is None:
            return False
        number = self.last.number if self.last else None
        self.store.note(text, at=self._wall(), take=number, aim=aim)
        return True

    def worked(self, hands_on_s: float) -> None:
        """Put what is new of the hands-on time into the store's day."""
        if self.store is not None and hands_on_s > self._worked_s:
            self.store.work(today(self._wall()), hands_on_s - self._worked_s)
        self._worked_s = hands_on_s

    async def settled(self) -> None:
        """Every take that ended is scored."""
        await asyncio.gather(*self._scoring)


def score_unscored(file: Path, routine: Routine, limits: Limits | None = None) -> int:
    """Score the takes that a stopped process kept and did not come to score; how many."""
    if Journal(file).waiting():
        TakeStore(file).close()  # what waits goes in now
    if not file.is_file():
        return 0
    waiting = {}
    with TakeReader(file) as reader:
        for number in reader.unscored():
            with contextlib.suppress(StoreError):  # a spoiled one stays as it is
                waiting[number] = reader.kept(number)
    if not waiting:
        return 0
    count = 0
    with contextlib.closing(TakeStore(file)) as store:
        for number, kept in waiting.items():
            aim = aim_of_kept(routine, kept, file.parent, limits)
            if aim and _can_be_judged_by(aim, kept):
                store.score(number, score_of(aim, kept)).result()
                count += 1
    return count


def _can_be_judged_by(aim: Aim, kept: Kept) -> bool:
    """Whether the map still asks for what was asked for when the take was played."""
    asked = played_in(aim)
    return all(
        visit.piece < len(aim.routine.pieces)
        and kept.played.get(number := str(aim.first + visit.piece), asked[number]) == asked[number]
        for visit in kept.visits
    )
