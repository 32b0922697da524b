"""One set piece's history, drawn: take by take, early or late, spread, missed, clean or not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liveaid.practice.picture_look import ASH, INK, LINE, PAPER, WARN, bare, png, two_above
from liveaid.practice.records import PieceRow
from liveaid.routine.written_numbers import so_many


def history_picture(rows: Sequence[PieceRow], name: str) -> bytes:
    """PNG: one set piece's takes in order: early or late, spread, missed, clean or not."""
    rows = [row for row in reversed(rows) if row.name == name]
    figure, upper, lower = two_above(10.0, 3)
    x = np.arange(1, len(rows) + 1)
    bias = np.array([np.nan if row.bias_ms is None else row.bias_ms for row in rows])
    spread = np.array([0.0 if row.spread_ms is None else row.spread_ms for row in rows])
    upper.axhline(0, color=INK, lw=1)
    upper.errorbar(x, bias, yerr=spread, fmt="none", ecolor=LINE, elinewidth=5, zorder=1)
    clean = np.array([row.clean for row in rows], bool)
    if clean.any():
        upper.plot(x[clean], bias[clean], "o", color=INK, ms=7, label="clean")
    if (~clean).any():
        upper.plot(
            x[~clean], bias[~clean], "o", mfc=PAPER, mec=WARN, mew=2, ms=7, label="not clean"
        )
    upper.set_ylabel("ms early (below) or late\nbar: spread", color=ASH)
    upper.legend(loc="upper right", frameon=False, ncols=2)
    lower.bar(x, [row.missed for row in rows], color=INK, width=0.6, label="missed")
    lower.bar(
        x, [row.added for row in rows], bottom=[row.missed for row in rows], color=PAPER,
        edgecolor=INK, hatch="////", width=0.6, label="added",
    )  # fmt: skip
    lower.set_ylabel("acts", color=ASH)
    lower.set_xlabel("take", color=ASH)
    lower.legend(loc="upper right", frameon=False, ncols=2)
    lower.locator_params(integer=True)
    for axis in (upper, lower):
        bare(axis)
    figure.suptitle(
        f"{name}: {so_many(len(rows), 'take')}",
        x=0.06,
        ha="left",
        color=INK,
        fontweight="bold",
    )
    figure.subplots_adjust(left=0.11, right=0.98, top=0.9, bottom=0.12)
    return png(figure)
