"""The section map while it is performed: an edit comes in when nothing is playing, or is told.

A watcher of the stage. It reads the map again whenever it is saved or rendered, aside from the
loop. What the deck files hold comes in as soon as both records stand; what needs a new render, and
a broken edit, leave what is followed as it is and are told in the page's key `map`.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import watchfiles

from liveaid.errors import LiveaidError
from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine, Side
from liveaid.routine.opened import Opened, open_scene
from liveaid.routine.scene import DECKS, MAP
from liveaid.stage.osc import Heard
from liveaid.stage.watcher import Stage, Watcher

_log = logging.getLogger("liveaid.stage")
STANDS_FOR_S = 1.5
"""Both records must have stood so long before the map is changed under the performer's hands:
longer than any rest inside a juggle or scratch (common practice, no source)."""
_LIVING_MOVED_S = 0.02
"""A record nearer than this to where it stood has only trembled: more than a sender's grain."""
_SETTLE_MS = 200
"""Editors save in several steps; so long after the last one the map is read."""
_POLL_AGAIN_S = 5.0

Use = Callable[[Routine], None]
"""Follow this map from now on. LiveaidError with the reason why not."""


class Stillness:
    """Since when both records have stood."""

    def __init__(self) -> None:
        self._stood: dict[Side, float] = {}
        self._moved_s = float("-inf")

    def hear(self, side: Side, position_s: float, now: float) -> None:
        """One deck's position."""
        if abs(position_s - self._stood.get(side, float("inf"))) > _LIVING_MOVED_S:
            self._stood[side], self._moved_s = position_s, now

    def lasts_s(self, now: float) -> float:
        """Seconds since a record last moved."""
        return now - self._moved_s


class LivingMap(Watcher):
    """Keeps what is followed and what is written together."""

    def __init__(
        self,
        opened: Opened,
        *,
        use: Use | None = None,
        busy: Callable[[], bool] = lambda: False,
        told: Callable[[Opened], None] = lambda opened: None,
        changes: Callable[[Path], AsyncIterator[None]] | None = None,
    ) -> None:
        """`use` takes a new map in, None: the stage's own; not while `busy`. `told` hears of edits.

        `changes` comes whenever the map was saved.
        """
        self.opened = opened
        self._use, self._busy, self._told = use, busy, told
        self._changes = changes or saved
        self._stage: Stage | None = None
        self._still = Stillness()
        self._state: str = "waiting"
        self._followed = opened.playable()
        self._next: Routine | None = None
        self._says: tuple[str, ...] = opened.says()
        self._watching: asyncio.Task[None] | None = None

    def started(self, stage: Stage) -> None:
        """The stage is set: look out for edits from now on."""
        self._stage = stage
        self._watching = asyncio.get_running_loop().create_task(self._watch())

    async def stopped(self) -> None:
        """The stage is being struck."""
        if self._watching is not None:
            self._watching.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._watching

    def heard(self, heard: Heard) -> None:
        """Note whether the records stand."""
        if heard.what == "position" and heard.side is not None:
            self._still.hear(heard.side, heard.value, heard.now_s)

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Take the edit in, once nothing is playing."""
        self._state = prompt.state
        if self._next is not None and self._nothing_plays(now_s):
            # Not from here: the stage is in the middle of showing what was followed so far.
            asyncio.get_running_loop().call_soon(self._take_in)

    def status(self) -> Mapping[str, Any]:
        """The key `map` of /status, /live and /health."""
        found = self.opened
        written = self._next is None and found.fits is not None and not found.other_sounds
        return {"map": {"state": found.state, "says": list(self._says), "followed": written}}

    def _nothing_plays(self, now: float) -> bool:
        if self._busy():
            return False
        if self._state in ("waiting", "over"):
            return True
        return self._state != "silent" and self._still.lasts_s(now) >= STANDS_FOR_S

    async def _watch(self) -> None:
        async for _ in self._changes(self.opened.file):
            try:
                found = await asyncio.to_thread(open_scene, self.opened.file)
            except LiveaidError as error:
                self._says = (str(error),)
                _log.warning(str(error))
                self._push()
                continue
            self._edited(found)

    def _edited(self, found: Opened) -> None:
        """The map was saved, or rendered anew."""
        if found == self.opened:
            return
        self.opened = found
        self._says = found.says()
        fits = None if found.other_sounds or found.state == "broken" else found.fits
        self._next = fits if fits is not None and fits != self._followed else None
        if self._next is not None:
            if self._next.rendered == self._followed.rendered:
                self._says += ("It comes in when both records stand.",)
            else:
                self._says += ("New deck files were rendered: load both. The map comes in when "
                               "both records stand.",)  # fmt: skip
        elif found.state != "as rendered" and fits is None:
            self._says += ("What was followed so far is followed on.",)
        _log.info(" ".join(self._says), extra={"data": {"map": found.state}})
        self._told(found)
        self._push()

    def _take_in(self) -> None:
        if self._next is None or self._stage is None:
            return
        routine, self._next = self._next, None
        try:
            (self._use or self._stage.use)(routine)
        except LiveaidError as error:
            self._says = (*self.opened.says(), str(error))
            self._push()
            return
        new_decks = routine.rendered != self._followed.rendered
        loaded = ("Load both new deck files.",) if new_decks else ()
        self._followed = routine
        self._says = (*self.opened.says(), "The edited map is followed now.", *loaded)
        self._push()

    def _push(self) -> None:
        if self._stage is not None:
            self._stage.push()


async def saved(file: Path) -> AsyncIterator[None]:
    """Comes whenever the written map or its placed map was saved.

    Where the system cannot tell, they are looked at every so often.
    """
    wanted = {str(path) for path in _maps(file)}
    while True:
        folders = [folder for folder in {path.parent for path in _maps(file)} if folder.is_dir()]
        try:
            async for changes in watchfiles.awatch(
                *folders, watch_filter=None, debounce=_SETTLE_MS, recursive=False
            ):
                if any(path in wanted or Path(path).name == DECKS for _, path in changes):
                    yield
                if sum(path.parent.is_dir() for path in _maps(file)) != len(folders):
                    break  # a first render made `decks`: that is looked at too from now on
        except (OSError, RuntimeError):  # no more watches left, or a folder went away
            await asyncio.sleep(_POLL_AGAIN_S)
            yield


def _maps(file: Path) -> Sequence[Path]:
    whole = file.absolute()
    folder = whole.parent.resolve()
    return (folder / whole.name, (folder / DECKS).resolve() / MAP)
