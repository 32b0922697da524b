"""Where in the routine time is lost: bar by bar over many takes, counted and drawn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liveaid.practice.picture_look import ASH, INK, LINE, PAPER, WARN, bare, png, two_above
from liveaid.practice.take_score import TakeScore
from liveaid.routine import Routine


def losses_picture(routine: Routine, scores: Sequence[TakeScore]) -> bytes:
    """PNG: where in the routine time is lost: mean absolute error and misses, bar by bar."""
    figure, upper, lower = two_above(12.0, 2)
    off, missed, takes = bar_losses(routine, scores)
    x = np.arange(len(off)) + 0.5
    shown = np.where(takes > 0, off, np.nan)
    upper.bar(
        x,
        np.nan_to_num(shown),
        width=0.85,
        color=[_shade(value) for value in shown],
        edgecolor=INK,
        lw=0.4,
    )
    upper.set_ylabel("ms off, mean of\nall acts of the bar", color=ASH)
    lower.bar(x, 100 * missed, width=0.85, color=PAPER, edgecolor=WARN, hatch="xxxx", lw=0.6)
    lower.set_ylabel("% of its acts\nmissed", color=ASH)
    lower.set_xlabel("bar of the routine", color=ASH)
    start = 0
    for index, piece in enumerate(routine.pieces):
        for axis in (upper, lower):
            axis.axvline(start, color=LINE, lw=1)
        upper.text(
            start + 0.3, 1.01, f"{index + 1} {piece.name}", transform=upper.get_xaxis_transform(),
            rotation=28, ha="left", va="bottom", fontsize=9, color=INK,
        )  # fmt: skip
        start += routine.bar_count(index)
    upper.set_xlim(0, start)
    for axis in (upper, lower):
        axis.set_ylim(bottom=0)
        bare(axis)
    if not (takes > 0).any():
        upper.text(0.5, 0.5, "no acts heard yet", transform=upper.transAxes, ha="center", color=ASH)
    figure.subplots_adjust(left=0.075, right=0.97, top=0.74, bottom=0.12)
    return png(figure)


def bar_losses(
    routine: Routine, scores: Sequence[TakeScore]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per bar of the routine: mean absolute error in ms, part missed, and acts counted."""
    begun = [routine.bar_count(index) for index in range(len(routine.pieces))]
    first = np.concatenate([[0], np.cumsum(begun)])
    off, missed, acts = (np.zeros(int(first[-1])) for _ in range(3))
    heard = np.zeros(int(first[-1]))
    for piece in (piece for score in scores for piece in score.pieces):
        index = piece.index
        if index >= len(routine.pieces) or routine.pieces[index].name != piece.name:
            continue
        for act in piece.acts:
            bar = int(max(act.beat, 0) // routine.metre)
            bar = int(first[index]) + min(bar, routine.bar_count(index) - 1)
            if act.error_ms is not None:
                off[bar] += abs(act.error_ms)
                heard[bar] += 1
            if act.outcome in ("heard", "missed"):
                acts[bar] += 1
                missed[bar] += act.outcome == "missed"
    return off / np.maximum(heard, 1), missed / np.maximum(acts, 1), acts


def _shade(value: float) -> str:
    """Darker for more, so that grey print tells it too: 0 ms light, 60 ms and more dark."""
    if not np.isfinite(value):
        return PAPER
    part = min(value / 60.0, 1.0)
    light, dark = np.array([0.96, 0.85, 0.72]), np.array([0.42, 0.16, 0.08])
    red, green, blue = light + part * (dark - light)
    return f"#{int(red * 255):02x}{int(green * 255):02x}{int(blue * 255):02x}"
