"""How practice's pictures look. Readable in grey and in print: what differs by colour differs by
shape or pattern too."""

from __future__ import annotations

import io

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

matplotlib.rcParams["svg.hashsalt"] = "liveaid"

INK, ASH, LINE, PAPER = "#1b1720", "#6d6470", "#cfc6cc", "#fffdf8"
WARN = "#b3261e"
DECK_INK = {"left": "#a4471c", "right": "#1f5f7a"}


def empty(width: float, height: float) -> Figure:
    """An empty picture of a size in inches."""
    return Figure(figsize=(width, height), dpi=110, facecolor=PAPER)


def two_above(width: float, ratio: int) -> tuple[Figure, Axes, Axes]:
    """A picture of two charts over one axis, the upper so many times as high as the lower."""
    figure = empty(width, 4.6)
    upper, lower = figure.subplots(
        2, 1, sharex=True, gridspec_kw={"height_ratios": (ratio, 1), "hspace": 0.12}
    )
    return figure, upper, lower


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
