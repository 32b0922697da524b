"""The sound check as it runs: a list renewed in place until all is there."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from liveaid.stage.osc import Heard
from liveaid.stage.settings import Settings
from liveaid.stage.soundcheck import Around, CheckItem, SoundCheck, ready
from liveaid.stage.watcher import Stage, Watcher
from liveaid.stage.words import Word

LOOK_S = 0.5
_MARKS = {"ok": "✓", "missing": "…", "wrong": "✗", "not asked for": "-"}


class SoundCheckView(Watcher):
    """Shows the list; calls `done` once when everything is there."""

    def __init__(
        self,
        settings: Settings,
        console: Console,
        *,
        map_says: Callable[[], Sequence[str]],
        done: Callable[[], None],
    ) -> None:
        self.items: list[CheckItem] = []
        self._settings, self._console = settings, console
        self._map_says, self._done = map_says, done
        self._check = SoundCheck()
        self._stage: Stage | None = None
        self._live: Live | None = None
        self._looked_s = float("-inf")
        self._printed: dict[str, CheckItem] = {}

    def started(self, stage: Stage) -> None:
        """Begin the list."""
        self._stage = stage
        if self._console.is_terminal:
            self._live = Live(console=self._console, auto_refresh=False)
            self._live.start()
        self.look()

    def heard(self, heard: Heard) -> None:
        """What a deck says."""
        self._check.hear(heard)
        self._look_now_and_then()

    def told_word(self, word: Word, piece: int | None) -> bool:
        """What a pad, page or key says."""
        assert self._stage is not None
        turn_s = self._stage.routine.turntable.turn_s
        self._check.hear_word(word, time.monotonic(), turn_s)
        return True

    def prompted(self, prompt: object, now_s: float) -> None:
        """Time goes on, whatever is heard."""
        self._look_now_and_then()

    async def stopped(self) -> None:
        """Leave the last list standing."""
        if self._live is not None:
            self._live.stop()

    @property
    def ready(self) -> bool:
        """Whether nothing is missing or wrong."""
        return ready(self.items)

    def _look_now_and_then(self) -> None:
        if time.monotonic() - self._looked_s >= LOOK_S:
            self.look()

    def look(self) -> None:
        """Judge every item, and show what changed."""
        if self._stage is None:
            return
        self._looked_s = time.monotonic()
        health = self._stage.health()
        around = Around(
            ports=self._stage.ports_missing(),
            controller=self._settings.main.midi is not None,
            has_pads=bool(self._settings.main.layout.pad_words()),
            pages=health["page"]["clients"],
            map_says=tuple(self._map_says()),
            rendered=self._stage.routine.rendered is not None,
        )
        self.items = self._check.items(around, self._looked_s)
        self._show()
        if self.ready:
            self._done()

    def _show(self) -> None:
        if self._live is not None:
            self._live.update(Group(*(Text(line_of(item)) for item in self.items)), refresh=True)
            return
        for item in self.items:
            before = self._printed.get(item.name)
            if before is None or before.standing != item.standing:
                self._printed[item.name] = item
                self._console.print(line_of(item), markup=False, soft_wrap=True)


def line_of(item: CheckItem) -> str:
    """One line of the list."""
    return f"{_MARKS[item.standing]} {item.name}: {item.says}"
