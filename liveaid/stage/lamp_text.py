"""The lamps and the prompt as text, for a terminal without a controller."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from liveaid.follow.prompt import Prompt
from liveaid.routine.written_numbers import so_many
from liveaid.stage.lamp_layout import Lamp, LampLayout, Level
from liveaid.stage.watcher import Stage, Watcher

_MARKS: dict[Level, str] = {"on": "●", "dim": "◐", "off": "○"}
_ROWS = ("bars", "beats")
_GROUPS: tuple[tuple[str, dict[Lamp, str]], ...] = (
    ("left", {"next_left": "cue", "ready_left": "ready", "heard_left": "heard"}),
    ("right", {"next_right": "cue", "ready_right": "ready", "heard_right": "heard"}),
)
_STATES = {
    "pulse": "pulse", "state": "state",
    "following": "following", "unsure": "unsure", "silent": "silent",
}  # fmt: skip
_WHEN_LIT = {"before": "before", "over": "over", "last": "last", "limit": "limit"}

DRAW_S = 0.2


def lamp_lines(levels: Mapping[Lamp, Level]) -> list[str]:
    """All lamps in two lines: rows as ``bars ●●●○○``, single lamps as ``left ○ cue ● ready``."""
    rows = [f"{row} {marks}" for row in _ROWS if (marks := _row_marks(levels, row))]
    groups = [
        f"{title} {marks}"
        for title, lamps in _GROUPS
        if (marks := _deck_marks(levels, title, lamps))
    ]
    lit = {lamp: word for lamp, word in _WHEN_LIT.items() if levels.get(lamp, "off") != "off"}
    states = _word_marks(levels, {**_STATES, **lit})
    return ["   ".join([*rows, *([states] if states else [])]), "   ".join(groups)]


def _deck_marks(levels: Mapping[Lamp, Level], side: str, lamps: Mapping[Lamp, str]) -> str:
    """A deck's lamps; its wind only while there is any."""
    wind = _row_marks(levels, f"wind_{side}")
    marks = _word_marks(levels, lamps)
    return f"{marks} wind {wind}" if wind.strip(_MARKS["off"]) else marks


def _word_marks(levels: Mapping[Lamp, Level], lamps: Mapping[Lamp, str]) -> str:
    return " ".join(f"{_MARKS[levels[lamp]]} {lamps[lamp]}" for lamp in lamps if lamp in levels)


def lamp_line(levels: Mapping[Lamp, Level]) -> str:
    """The same in one line, for a log."""
    return "   ".join(line for line in lamp_lines(levels) if line)


def _row_marks(levels: Mapping[Lamp, Level], row: str) -> str:
    lamps = [lamp for lamp in levels if lamp.startswith(f"{row}.")]
    lamps.sort(key=lambda lamp: int(lamp.partition(".")[2]))
    return "".join(_MARKS[levels[lamp]] for lamp in lamps)


def prompt_line(prompt: Prompt) -> str:
    """What the page says, in one line."""
    if prompt.piece is None:
        return f"{prompt.state}: no deck heard yet"
    left = f"{so_many(prompt.bars_left or 0, 'bar')} left"
    parts = [prompt.piece.name, left, f"bar {prompt.bar} beat {prompt.beat}"]
    if prompt.tempo is not None:
        parts.append(f"{prompt.tempo:.1f} BPM")
    if prompt.next is not None:
        parts.append(f"then {prompt.next.name}")
    sure = f" ({prompt.confidence:.0%})" if prompt.state == "unsure" else ""
    return f"{prompt.state}{sure}: " + ", ".join(parts)


class TerminalView(Watcher):
    """Shows the lamps and the prompt while the stage runs: renewed in place on a terminal, else
    lines whenever set piece, state or what is wrong with a sender change."""

    def __init__(self, layout: LampLayout, console: Console) -> None:
        self.levels: dict[Lamp, Level] = dict.fromkeys(layout.lamps.places, "off")
        self._console = console
        self._live: Live | None = None
        self._prompt: Prompt | None = None
        self._drawn_s = float("-inf")
        self._lines: list[str] = []
        self._said: object = ("waiting", None, ())

    def started(self, stage: Stage) -> None:
        """Begin to draw, where there is a terminal."""
        if self._console.is_terminal:
            self._live = Live(console=self._console, auto_refresh=False)
            self._live.start()

    def lamps_changed(self, changes: Sequence[tuple[Lamp, Level]]) -> None:
        """Note what is lit."""
        self.levels.update(changes)

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Draw what has changed, five times a second at most: drawing holds up the loop."""
        self._prompt = prompt
        said = (prompt.state, prompt.piece.index if prompt.piece else None, prompt.hints)
        if self._live is not None:
            if now_s - self._drawn_s >= DRAW_S:
                self._draw(self._live, now_s)
        elif said != self._said:
            self._said = said
            for line in (prompt_line(prompt), *prompt.hints):
                self._console.print(Text(line), soft_wrap=True)

    def _draw(self, live: Live, now_s: float) -> None:
        lines = lamp_lines(self.levels)
        if self._prompt is not None:
            lines += [prompt_line(self._prompt), *self._prompt.hints]
        if lines != self._lines:
            self._drawn_s, self._lines = now_s, lines
            live.update(
                Group(*(Text(line, no_wrap=True, overflow="ellipsis") for line in lines)),
                refresh=True,
            )

    async def stopped(self) -> None:
        """Leave the last picture standing."""
        if self._live is not None:
            self._live.stop()
