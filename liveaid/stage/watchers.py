"""All who look on, told as one: what one of them raises is noted and keeps nobody else waiting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from aiohttp import web

from liveaid.follow.prompt import Prompt
from liveaid.stage.lamp_layout import Lamp, Level
from liveaid.stage.mishaps import Mishaps
from liveaid.stage.osc import Heard
from liveaid.stage.watcher import Stage, Watcher, Whole
from liveaid.stage.words import Word


class Watchers:
    """The stage's watchers, in the order they were given."""

    def __init__(self, watchers: Sequence[Watcher], mishaps: Mishaps) -> None:
        self._watchers = tuple(watchers)
        self._mishaps = mishaps
        # Told hundreds of times a second: only those that listen.
        self._hear = self._who("heard")
        self._see = self._who("prompted")
        self._light = self._who("lamps")

    def _who(self, what: str) -> tuple[Watcher, ...]:
        """Those that override it."""
        default = getattr(Watcher, what)
        return tuple(one for one in self._watchers if getattr(type(one), what) is not default)

    def started(self, stage: Stage) -> None:
        """Tell all that the stage is set."""
        for watcher in self._watchers:
            with self._noting(watcher, "started"):
                watcher.started(stage)

    def heard(self, heard: Heard) -> None:
        """Tell all one thing a sender told."""
        for watcher in self._hear:
            with self._noting(watcher, "heard"):
                watcher.heard(heard)

    def told_word(self, word: Word, piece: int | None) -> bool:
        """Tell all a word; whether it was for any of them."""
        taken = False
        for watcher in self._watchers:
            with self._noting(watcher, "told_word"):
                taken |= watcher.told_word(word, piece)
        return taken

    def stretch_of(self) -> Whole | None:
        """The whole routine, where one of them has a stretch of it followed."""
        for watcher in self._watchers:
            with self._noting(watcher, "stretch_of"):
                if (whole := watcher.stretch_of()) is not None:
                    return whole
        return None

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Tell all the prompt."""
        for watcher in self._see:
            with self._noting(watcher, "prompted"):
                watcher.prompted(prompt, now_s)

    def lamps_changed(self, changes: Sequence[tuple[Lamp, Level]]) -> None:
        """Tell all which lamps changed."""
        for watcher in self._watchers:
            with self._noting(watcher, "lamps_changed"):
                watcher.lamps_changed(changes)

    def lamps(self, levels: Mapping[Lamp, Level]) -> dict[Lamp, Level]:
        """The lamps as the watchers want them; the last one has the last word."""
        shown = dict(levels)
        for watcher in self._light:
            with self._noting(watcher, "lamps"):
                shown = dict(watcher.lamps(shown))
        return shown

    def status(self) -> dict[str, Any]:
        """What they add to /status."""
        found: dict[str, Any] = {}
        for watcher in self._watchers:
            with self._noting(watcher, "status"):
                found |= watcher.status()
        return found

    def routes(self) -> list[web.RouteDef]:
        """The pages they serve beside ours."""
        return [route for watcher in self._watchers for route in watcher.routes()]

    def scripts(self) -> list[str]:
        """The scripts the page is to load for them."""
        return [script for watcher in self._watchers for script in watcher.scripts()]

    async def stopped(self) -> None:
        """Let each finish what must be kept."""
        for watcher in self._watchers:
            with self._noting(watcher, "stopped"):
                await watcher.stopped()

    def _noting(self, watcher: Watcher, what: str) -> Any:
        return self._mishaps.noting(f"{type(watcher).__name__}.{what}")
