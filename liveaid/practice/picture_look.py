"""How practice's pictures look. Readable in grey and in print: what differs by colour differs by
shape or pattern too."""

from __future__ import annotations

import io
from dataclasses import dataclass

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

matplotlib.rcParams["svg.hashsalt"] = "liveaid"

INK, ASH, LINE, PAPER = "#1b1720", "#6d6470", "#cfc6cc", "#fffdf8"
WARN = "#b3261e"


@dataclass(frozen=True, slots=True)
class Look:
    """Size in inches and dots an inch."""

    width: float = 12.0
    height: float = 7.0
    dpi: int = 110

    def figure(self) -> Figure:
        """An empty picture of this size."""
        return Figure(figsize=(self.width, self.height), dpi=self.dpi, facecolor=PAPER)


def bare(axis: Axes) -> None:
    """Axes without frame, in the pictures' colours."""
    axis.set_facecolor(PAPER)
    axis.spines[["top", "right"]].set_visible(False)
    axis.spines[["left", "bottom"]].set_color(LINE)
    axis.tick_params(colors=ASH, labelsize=9)


def png(figure: Figure) -> bytes:
    """The picture's bytes."""
    data = io.BytesIO()
    figure.savefig(data, format="png", facecolor=PAPER)
    return data.getvalue()
