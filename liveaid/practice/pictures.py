"""Pictures of practice: a take against the plan, a set piece's history, where time is lost.

Readable in grey and in print: what differs by colour differs by shape or pattern too.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from liveaid.practice.records import Kept, PieceRow
from liveaid.routine import SIDES, Routine, Runs, Side, Works

matplotlib.rcParams["svg.hashsalt"] = "liveaid"

_INK, _ASH, _LINE, _PAPER = "#1b1720", "#6d6470", "#cfc6cc", "#fffdf8"
_DECK = {"left": "#a4471c", "right": "#1f5f7a"}
_PLAN = "#e9dccb"
_WARN = "#b3261e"
_MARKS = {"heard": "o", "missed": "X", "added": "P", "skipped": "s"}
_WORDS = {
    "heard": "heard, by how much off", "missed": "missed", "added": "not in the plan",
    "skipped": "left out",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """Size in inches and dots an inch."""

    width: float = 12.0
    height: float = 7.0
    dpi: int = 110


def take_picture(
    routine: Routine, first: int, kept: Kept, score: Mapping[str, Any], look: Look | None = None
) -> bytes:
    """PNG: both records over time against the plan, every act with its error beneath.

    `routine` as in the take's aim, `first` its first set piece's place in the whole routine.
    """
    look = look or Look()
    figure = Figure(figsize=(look.width, look.height), dpi=look.dpi, facecolor=_PAPER)
    grid = figure.add_gridspec(3, 1, height_ratios=(3, 3, 2), hspace=0.16)
    axes = [figure.add_subplot(grid[row]) for row in range(3)]
    zero = kept.start_s
    for side, axis in zip(SIDES, axes[:2], strict=True):
        _record(axis, routine, first, kept, score, side, zero)
    _errors(axes[2], score, zero)
    end = kept.duration_s + 0.5
    for axis in axes:
        axis.set_xlim(-1.0, end)
        _bare(axis)
        _piece_lines(axis, kept, zero)
    for axis in axes[:2]:
        axis.tick_params(labelbottom=False)
    _piece_names(axes[0], routine, kept, zero)
    axes[2].set_xlabel("seconds from the first beat", color=_ASH)
    what = kept.aim or "run-through"
    day = datetime.fromtimestamp(kept.at).strftime("%d %b %H:%M")
    figure.text(
        0.08, 0.965, f"{what}, {day}, at {kept.tempo_part:.0%} of full tempo", color=_INK,
        fontsize=13, fontweight="bold",
    )  # fmt: skip
    figure.text(0.985, 0.965, _verdict(score), ha="right", color=_INK, fontsize=10)
    figure.subplots_adjust(left=0.08, right=0.985, top=0.885, bottom=0.085)
    return _png(figure)


def history_picture(rows: Sequence[PieceRow], name: str, look: Look | None = None) -> bytes:
    """PNG: one set piece's takes in order: early or late, spread, missed, clean or not."""
    look = look or Look(10.0, 4.6)
    rows = [row for row in reversed(rows) if row.name == name]
    figure = Figure(figsize=(look.width, look.height), dpi=look.dpi, facecolor=_PAPER)
    upper, lower = figure.subplots(
        2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1), "hspace": 0.12}
    )
    x = np.arange(1, len(rows) + 1)
    bias = np.array([np.nan if row.bias_ms is None else row.bias_ms for row in rows])
    spread = np.array([0.0 if row.spread_ms is None else row.spread_ms for row in rows])
    upper.axhline(0, color=_INK, lw=1)
    upper.errorbar(x, bias, yerr=spread, fmt="none", ecolor=_LINE, elinewidth=5, zorder=1)
    clean = np.array([row.clean for row in rows], bool)
    if clean.any():
        upper.plot(x[clean], bias[clean], "o", color=_INK, ms=7, label="clean")
    if (~clean).any():
        upper.plot(
            x[~clean], bias[~clean], "o", mfc=_PAPER, mec=_WARN, mew=2, ms=7, label="not clean"
        )
    upper.set_ylabel("ms early (below) or late\nbar: spread", color=_ASH)
    upper.legend(loc="upper right", frameon=False, ncols=2)
    lower.bar(x, [row.missed for row in rows], color=_INK, width=0.6, label="missed")
    lower.bar(
        x, [row.added for row in rows], bottom=[row.missed for row in rows], color=_PAPER,
        edgecolor=_INK, hatch="////", width=0.6, label="added",
    )  # fmt: skip
    lower.set_ylabel("acts", color=_ASH)
    lower.set_xlabel("take", color=_ASH)
    lower.legend(loc="upper right", frameon=False, ncols=2)
    lower.yaxis.get_major_locator().set_params(integer=True)
    lower.xaxis.get_major_locator().set_params(integer=True)
    for axis in (upper, lower):
        _bare(axis)
    figure.suptitle(
        f"{name}: {len(rows)} {'take' if len(rows) == 1 else 'takes'}",
        x=0.06,
        ha="left",
        color=_INK,
        fontweight="bold",
    )
    figure.subplots_adjust(left=0.11, right=0.98, top=0.9, bottom=0.12)
    return _png(figure)


def losses_picture(
    routine: Routine, scores: Sequence[Mapping[str, Any]], look: Look | None = None
) -> bytes:
    """PNG: where in the routine time is lost: mean absolute error and misses, bar by bar."""
    look = look or Look(12.0, 4.6)
    figure = Figure(figsize=(look.width, look.height), dpi=look.dpi, facecolor=_PAPER)
    upper, lower = figure.subplots(
        2, 1, sharex=True, gridspec_kw={"height_ratios": (2, 1), "hspace": 0.12}
    )
    off, missed, takes = bar_losses(routine, scores)
    x = np.arange(len(off)) + 0.5
    shown = np.where(takes > 0, off, np.nan)
    upper.bar(
        x,
        np.nan_to_num(shown),
        width=0.85,
        color=[_shade(value) for value in shown],
        edgecolor=_INK,
        lw=0.4,
    )
    upper.set_ylabel("ms off, mean of\nall acts of the bar", color=_ASH)
    lower.bar(x, 100 * missed, width=0.85, color=_PAPER, edgecolor=_WARN, hatch="xxxx", lw=0.6)
    lower.set_ylabel("% of its acts\nmissed", color=_ASH)
    lower.set_xlabel("bar of the routine", color=_ASH)
    start = 0
    for index, piece in enumerate(routine.pieces):
        for axis in (upper, lower):
            axis.axvline(start, color=_LINE, lw=1)
        upper.text(
            start + 0.3, 1.01, f"{index + 1} {piece.name}", transform=upper.get_xaxis_transform(),
            rotation=28, ha="left", va="bottom", fontsize=9, color=_INK,
        )  # fmt: skip
        start += routine.bar_count(index)
    upper.set_xlim(0, start)
    for axis in (upper, lower):
        axis.set_ylim(bottom=0)
        _bare(axis)
    if not (takes > 0).any():
        upper.text(
            0.5, 0.5, "no acts heard yet", transform=upper.transAxes, ha="center", color=_ASH
        )
    figure.subplots_adjust(left=0.075, right=0.97, top=0.74, bottom=0.12)
    return _png(figure)


def bar_losses(
    routine: Routine, scores: Sequence[Mapping[str, Any]]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per bar of the routine: mean absolute error in ms, part missed, and acts counted."""
    begun = [routine.bar_count(index) for index in range(len(routine.pieces))]
    first = np.concatenate([[0], np.cumsum(begun)])
    off, missed, acts = (np.zeros(int(first[-1])) for _ in range(3))
    heard = np.zeros(int(first[-1]))
    for score in scores:
        for piece in score["pieces"]:
            index = piece["index"]
            if index >= len(routine.pieces) or routine.pieces[index].name != piece["name"]:
                continue
            for event in piece["events"]:
                bar = int(max(event["beat"], 0) // routine.metre)
                bar = int(first[index]) + min(bar, routine.bar_count(index) - 1)
                if event["error_ms"] is not None:
                    off[bar] += abs(event["error_ms"])
                    heard[bar] += 1
                if event["outcome"] in ("heard", "missed"):
                    acts[bar] += 1
                    missed[bar] += event["outcome"] == "missed"
    return off / np.maximum(heard, 1), missed / np.maximum(acts, 1), acts


def _record(
    axis: Axes, routine: Routine, first: int, kept: Kept, score: Mapping[str, Any], side: Side,
    zero: float,
) -> None:  # fmt: skip
    """One deck: where the plan wants it, where it was, its acts."""
    deck = kept.trace[side].between(zero - 1.0, zero + kept.duration_s + 0.6)
    low, high = np.inf, -np.inf
    for visit in kept.visits:
        plan = routine.pieces[visit.piece].plan(side)
        start, end = visit.start_s - zero, visit.end_s - zero
        if isinstance(plan, Runs) and plan.at_s is not None:
            beat_s = 60.0 / routine.pieces[visit.piece].tempo_bpm
            at = [plan.at_s + visit.from_beat * beat_s, plan.at_s + visit.to_beat * beat_s]
            axis.plot([start, end], at, color=_PLAN, lw=9, solid_capstyle="butt", zorder=1)
            low, high = min(low, *at), max(high, *at)
        elif isinstance(plan, Works):
            span = (plan.from_s or 0.0, plan.to_s or 0.0)
            axis.fill_between([start, end], span[0], span[1], color=_PLAN, lw=0, zorder=1)
            low, high = min(low, span[0] - 0.4), max(high, span[1] + 0.4)
    axis.plot(deck.now_s - zero, _unjumped(deck.position_s), color=_DECK[side], lw=1.3, zorder=3)
    if np.isfinite(low):
        room = 0.08 * (high - low) + 0.05
        axis.set_ylim(low - room, high + room)
    _acts(axis, kept, score, side, zero)
    axis.set_ylabel(f"{side} record\ndeck-file seconds", color=_ASH)


def _unjumped(x: np.ndarray) -> np.ndarray:
    """The positions with a gap where the needle or a cue jumped."""
    gone = np.concatenate([[False], np.abs(np.diff(x)) > 0.25])
    return np.where(gone, np.nan, x)


def _acts(axis: Axes, kept: Kept, score: Mapping[str, Any], side: Side, zero: float) -> None:
    deck = kept.trace[side]
    for event in _events(score):
        if event["side"] != side:
            continue
        at = event["heard_s"] if event["heard_s"] is not None else event["due_s"]
        if at is None or not len(deck.now_s):
            continue
        place = float(np.interp(at, deck.now_s, deck.position_s))
        if event["outcome"] == "heard":
            axis.plot(at - zero, place, "o", ms=4, mfc=_PAPER, mec=_INK, mew=1, zorder=4)
        else:
            axis.plot(
                at - zero, place, _MARKS[event["outcome"]], ms=9, mfc=_WARN, mec=_PAPER, mew=0.8,
                zorder=5,
            )  # fmt: skip


def _errors(axis: Axes, score: Mapping[str, Any], zero: float) -> None:
    """Every act's error over time: stems, left deck filled, right deck hollow."""
    axis.axhline(0, color=_INK, lw=1)
    for side, face in (("left", _DECK["left"]), ("right", _PAPER)):
        events = [e for e in _events(score) if e["side"] == side and e["error_ms"] is not None]
        x = np.array([e["heard_s"] - zero for e in events])
        y = np.array([e["error_ms"] for e in events])
        if len(x):
            axis.vlines(x, 0, y, color=_LINE, lw=1)
            mark = "o" if side == "left" else "D"
            axis.plot(
                x,
                y,
                mark,
                ms=5,
                mfc=face,
                mec=_DECK[side],
                mew=1.3,
                label=f"{side} hand",
                ls="none",
            )
    gone = [e for e in _events(score) if e["outcome"] in ("missed", "added")]
    for outcome in ("missed", "added"):
        at = [
            (e["heard_s"] if e["heard_s"] is not None else e["due_s"])
            for e in gone
            if e["outcome"] == outcome
        ]
        at = [value - zero for value in at if value is not None]
        if at:
            axis.plot(
                at,
                [0] * len(at),
                _MARKS[outcome],
                ms=9,
                mfc=_WARN,
                mec=_PAPER,
                label=_WORDS[outcome],
                ls="none",
            )
    most = max(
        [40.0, *(abs(e["error_ms"]) * 1.15 for e in _events(score) if e["error_ms"] is not None)]
    )
    axis.set_ylim(-most, most)
    axis.set_ylabel("ms early (below)\nor late", color=_ASH)
    handles, labels = axis.get_legend_handles_labels()
    if handles:
        axis.legend(
            handles,
            labels,
            loc="upper left",
            ncols=4,
            frameon=True,
            facecolor=_PAPER,
            edgecolor="none",
            fontsize=8.5,
        )


def _events(score: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [event for piece in score["pieces"] for event in piece["events"]]


def _piece_lines(axis: Axes, kept: Kept, zero: float) -> None:
    for visit in kept.visits:
        axis.axvline(visit.start_s - zero, color=_LINE, lw=1, zorder=0)


def _piece_names(axis: Axes, routine: Routine, kept: Kept, zero: float) -> None:
    if len(kept.visits) < 2:
        return
    for visit in kept.visits:
        axis.text(
            visit.start_s - zero, 1.02, routine.pieces[visit.piece].name, rotation=20, ha="left",
            va="bottom", transform=axis.get_xaxis_transform(), fontsize=8, color=_INK,
        )  # fmt: skip


def _verdict(score: Mapping[str, Any]) -> str:
    if score["verdict"] != "not clean":
        return str(score["verdict"])
    alone = len(score["pieces"]) == 1
    why = [
        ", ".join(p["why"]) if alone else f"{p['name']}: {', '.join(p['why'])}"
        for p in score["pieces"]
        if p["why"]
    ]
    text = "; ".join(why[:2]) + (f"; and {len(why) - 2} more" if len(why) > 2 else "")
    return text or "set pieces left out"


def _shade(value: float) -> str:
    """Darker for more, so that grey print tells it too: 0 ms light, 60 ms and more dark."""
    if not np.isfinite(value):
        return _PAPER
    part = min(value / 60.0, 1.0)
    light, dark = np.array([0.96, 0.85, 0.72]), np.array([0.42, 0.16, 0.08])
    red, green, blue = light + part * (dark - light)
    return f"#{int(red * 255):02x}{int(green * 255):02x}{int(blue * 255):02x}"


def _bare(axis: Axes) -> None:
    axis.set_facecolor(_PAPER)
    axis.spines[["top", "right"]].set_visible(False)
    axis.spines[["left", "bottom"]].set_color(_LINE)
    axis.tick_params(colors=_ASH, labelsize=9)


def _png(figure: Figure) -> bytes:
    data = io.BytesIO()
    figure.savefig(data, format="png", facecolor=_PAPER)
    return data.getvalue()
