"""The lamps and the prompt as text, for a terminal without a controller."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from liveaid.follow.prompt import Prompt
from liveaid.stage.lamp_layout import Lamp, LampLayout, Level
from liveaid.stage.service import Service
from liveaid.stage.watcher import Watcher

_MARKS: dict[Level, str] = {"on": "●", "dim": "◐", "off": "○"}
_ROWS = ("bars", "beats")
_WORDS = {
    "pulse": "pulse",
    "next_left": "cue left",
    "ready_left": "ready left",
    "next_right": "cue right",
    "ready_right": "ready right",
    "following": "following",
    "unsure": "unsure",
    "silent": "silent",
}


def lamp_line(levels: Mapping[Lamp, Level]) -> str:
    """All lamps in one line: rows as ``bars ●●●○○``, single lamps as ``● ready left``."""
    parts = []
    for row in _ROWS:
        lamps = sorted(
            (lamp for lamp in levels if lamp.startswith(f"{row}.")),
            key=lambda lamp: int(lamp.partition(".")[2]),
        )
        if lamps:
            parts.append(f"{row} {''.join(_MARKS[levels[lamp]] for lamp in lamps)}")
    parts += [f"{_MARKS[levels[lamp]]} {word}" for lamp, word in _WORDS.items() if lamp in levels]
    return "  ".join(parts)


def prompt_line(prompt: Prompt) -> str:
    """What the page says, in one line."""
    if prompt.piece is None:
        return f"{prompt.state}: no deck heard yet"
    left = f"{prompt.bars_left} bar{'' if prompt.bars_left == 1 else 's'} left"
    parts = [prompt.piece.name, left, f"bar {prompt.bar} beat {prompt.beat}"]
    if prompt.tempo is not None:
        parts.append(f"{prompt.tempo:.1f} BPM")
    if prompt.next is not None:
        parts.append(f"then {prompt.next.name}")
    sure = f" ({prompt.confidence:.0%})" if prompt.state == "unsure" else ""
    return f"{prompt.state}{sure}: " + ", ".join(parts)


class TerminalView(Watcher):
    """Shows the lamps and the prompt while the stage runs: renewed in place on a terminal, else
    one line whenever set piece or state change."""

    def __init__(self, layout: LampLayout, console: Console) -> None:
        self.levels: dict[Lamp, Level] = dict.fromkeys(layout.lamps.places, "off")
        self._console = console
        self._live: Live | None = None
        self._prompt: Prompt | None = None
        self._drawn_s = float("-inf")
        self._said: object = ("waiting", None)

    def started(self, service: Service) -> None:
        """Begin to draw, where there is a terminal."""
        if self._console.is_terminal:
            self._live = Live(console=self._console, auto_refresh=False)
            self._live.start()

    def lamps_changed(self, changes: Sequence[tuple[Lamp, Level]]) -> None:
        """Note what is lit."""
        self.levels.update(changes)

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Draw, ten times a second at most."""
        self._prompt = prompt
        said = (prompt.state, prompt.piece.index if prompt.piece else None)
        if self._live is not None:
            if time.monotonic() - self._drawn_s >= 0.1:
                self._drawn_s = time.monotonic()
                self._live.update(self._picture(), refresh=True)
        elif said != self._said:
            self._said = said
            self._console.print(Text(prompt_line(prompt)), soft_wrap=True)

    async def stopped(self) -> None:
        """Leave the last picture standing."""
        if self._live is not None:
            self._live.stop()

    def _picture(self) -> Group:
        lines = [Text(lamp_line(self.levels), no_wrap=True, overflow="ellipsis")]
        if self._prompt is not None:
            lines.append(Text(prompt_line(self._prompt), no_wrap=True, overflow="ellipsis"))
        return Group(*lines)
