"""The picture of a routine: where both records are, what both hands do, energy, and findings.

Time runs to the right. A record is drawn as its height in turns from the start of its file: a line
that climbs where it runs, a hatched box where a hand works it, a dashed way where it is wound.
Hatches, line kinds and words carry the meaning, so it reads in grey.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import MultipleLocator

from liveaid.errors import LiveaidError, UsageError
from liveaid.files.aside import write_aside
from liveaid.files.file_bytes import reason
from liveaid.routine import Rests, Routine, Runs, Side
from liveaid.routine.check import (
    Change,
    Finding,
    HandSpan,
    changes,
    hand_spans,
    minutes,
)
from liveaid.routine.check.reach import passages
from liveaid.routine.timeline import starts_s

INK, MID, PALE, PAPER = "#1d1d1b", "#77736a", "#e4dfd2", "#fffdf7"
_TASK_LOOK: dict[str, tuple[str, str]] = {
    "works": ("#8f887a", "////"),
    "releases": (INK, ""),
    "crossfader": (PALE, ".."),
    "channel faders": (PALE, "--"),
    "pitch": ("#bbb4a4", "xx"),
    "winds": ("#fffdf7", "\\\\\\\\"),
    "needle": ("#fffdf7", "++"),
}
_KEY = "records: a line runs, a hatched box is worked, dashes are wound so many turns"
_LISTED = 14
"""Findings written out below the picture; the rest are counted."""
WIDE_INCHES, HIGH_INCHES = 15.0, 11.0


def draw_picture(routine: Routine, path: Path, *, findings: Sequence[Finding] = ()) -> None:
    """Write the picture as SVG or PNG, by the file's ending; UsageError for any other."""
    kind = path.suffix.lower().lstrip(".")
    if kind not in ("svg", "png"):
        raise UsageError(f"{path}: a picture is written as .svg or .png")
    figure = picture(routine, findings=findings)
    # Fixed salt and no date: the same routine gives the same file.
    settings: Any = {"svg.hashsalt": "liveaid", "svg.fonttype": "none"}
    extra: dict[str, Any] = {"metadata": {"Date": None}} if kind == "svg" else {"dpi": 130}
    drawn = io.BytesIO()
    with mpl.rc_context(settings):
        figure.savefig(drawn, format=kind, facecolor=PAPER, **extra)
    try:
        write_aside(path, drawn.getvalue())
    except OSError as error:
        raise LiveaidError(f"{path}: the picture could not be written: {reason(error)}") from error


def picture(routine: Routine, *, findings: Sequence[Finding] = ()) -> Figure:
    """The routine drawn."""
    moves = changes(routine)
    figure = Figure(figsize=(WIDE_INCHES, HIGH_INCHES), facecolor=PAPER)
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(
        6, 1, height_ratios=[1.5, 4.2, 1.9, 4.2, 1.9, 4.6], hspace=0.12,
        left=0.075, right=0.985, top=0.925, bottom=0.02,
    )  # fmt: skip
    names = figure.add_subplot(grid[0])
    left, hands, right, energy = (figure.add_subplot(grid[i], sharex=names) for i in range(1, 5))
    notes = figure.add_subplot(grid[5])
    figure.text(0.985, 0.974, _KEY, ha="right", fontsize=8, color=MID)
    limit = f" of {minutes(routine.limit_s)}" if routine.limit_s else ""
    figure.suptitle(
        f"{routine.title}   {minutes(routine.duration_s)}{limit}",
        x=0.075, ha="left", y=0.985, color=INK, fontsize=15, fontweight="bold",
        parse_math=False,
    )  # fmt: skip
    starts = starts_s(routine)
    _names(names, routine, starts)
    _deck(left, routine, "left", starts, moves)
    _deck(right, routine, "right", starts, moves)
    _hands(hands, hand_spans(routine))
    _energy(energy, routine, starts)
    listed = [finding for finding in findings if finding.severity != "remark"]
    _marks(names, routine, starts, listed)
    _notes(notes, listed, remarks=len(findings) - len(listed))
    for axes in (names, left, hands, right, energy):
        _bare(axes, starts)
    energy.tick_params(labelbottom=True)
    return figure


def _bare(axes: Axes, starts: Sequence[float]) -> None:
    """No frame; a thin line at each change; time in m:ss."""
    for spine in axes.spines.values():
        spine.set_visible(False)
    for start in starts:
        axes.axvline(start, color=PALE, linewidth=0.8, zorder=0)
    axes.set_xlim(starts[0], starts[-1])
    axes.set_facecolor(PAPER)
    axes.xaxis.set_major_locator(MultipleLocator(_tick_s(starts[-1])))
    axes.xaxis.set_major_formatter(lambda value, _: minutes(value))
    axes.tick_params(labelbottom=False, bottom=False, colors=MID, labelsize=8)


def _tick_s(length_s: float) -> float:
    """Seconds between time marks: the smallest round step that needs at most a dozen of them."""
    return next((step for step in (1, 5, 10, 15, 30, 60, 120) if length_s / step <= 12), 600)


def _names(axes: Axes, routine: Routine, starts: Sequence[float]) -> None:
    """Set pieces by number and name, parts as a ruled strip above them."""
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    letters_per_s = WIDE_INCHES * 10.5 / starts[-1]
    for index, piece in enumerate(routine.pieces):
        middle = (starts[index] + starts[index + 1]) / 2
        room = max(3, int((starts[index + 1] - starts[index]) * letters_per_s))
        name = textwrap.fill(piece.name, room, break_long_words=False)
        fits = max(map(len, name.splitlines())) <= room + 1 and name.count("\n") < 3
        label = f"{index + 1}\n{name}" if fits else str(index + 1)
        axes.text(middle, 0.50, label, ha="center", va="top", fontsize=7.5, color=INK,
                  clip_on=True, parse_math=False, linespacing=1.05)  # fmt: skip
    first = 0
    for index in range(1, len(routine.pieces) + 1):
        ends = index == len(routine.pieces)
        if ends or routine.pieces[index].part != routine.pieces[first].part:
            _part(axes, routine.pieces[first].part, starts[first], starts[index])
            first = index


def _part(axes: Axes, part: str, start: float, end: float) -> None:
    inset = 0.1 * min(1.0, end - start)
    axes.plot([start + inset, end - inset], [0.93, 0.93], color=INK, linewidth=1.6,
              solid_capstyle="butt")  # fmt: skip
    axes.text(start, 0.90, f" {part}", ha="left", va="top", fontsize=8, style="italic", color=MID)


def _deck(
    axes: Axes, routine: Routine, side: Side, starts: Sequence[float], moves: Sequence[Change]
) -> None:
    """One record over time: in turns where its seconds are known, else as plain bars."""
    axes.set_ylabel(f"{side} record\nturns", color=INK, fontsize=9)
    placed = all(piece.plan(side).placed for piece in routine.pieces)
    if not placed:
        axes.set_ylabel(f"{side} record\n(not placed)", color=INK, fontsize=9)
        axes.set_yticks([])
        axes.set_ylim(0, 1)
    turn_s = routine.turntable.turn_s
    needed = {
        used.piece: (used.start_s / turn_s, used.end_s / turn_s)
        for used in passages(routine, side)
        if placed
    }
    for index, piece in enumerate(routine.pieces):
        plan = piece.plan(side)
        if isinstance(plan, Rests):
            continue
        start, end = starts[index], starts[index + 1]
        low, high = needed.get(index, (0.4, 0.6))
        if isinstance(plan, Runs):
            _runs(axes, start, end, low, high, placed)
        else:
            box = _box(axes, start, end, low, high, placed)
            axes.add_patch(Rectangle(*box, facecolor="#cfc8b8", edgecolor=INK, hatch="////",
                                     linewidth=0.8))  # fmt: skip
        if not placed and plan.sound:
            axes.text(start, 0.62, f" {plan.sound}", va="bottom", fontsize=7, color=MID,
                      clip_on=True, parse_math=False)  # fmt: skip
    for move in moves:
        if move.side == side and placed:
            _way(axes, routine, move, starts)
    axes.margins(y=0.16)


def _box(
    axes: Axes, start: float, end: float, low: float, high: float, placed: bool
) -> tuple[tuple[float, float], float, float]:
    """A box for a worked span: at least tall enough to be seen."""
    tall = max(high - low, 2.5) if placed else high - low
    middle = (low + high) / 2
    axes.update_datalim([(start, middle - tall / 2), (end, middle + tall / 2)])
    return (start, middle - tall / 2), end - start, tall


def _runs(axes: Axes, start: float, end: float, low: float, high: float, placed: bool) -> None:
    if not placed:
        low = high = (low + high) / 2
    axes.plot([start, end], [low, high], color=INK, linewidth=3.2, solid_capstyle="butt")
    axes.plot([start], [low], marker="o", markersize=5, color=INK)


def _way(axes: Axes, routine: Routine, move: Change, starts: Sequence[float]) -> None:
    """The dashed way of a record to its next cue, with turns; a cross where there is no time."""
    if move.turns is None or move.from_s is None or move.cue_s is None or move.before is None:
        return
    if not move.by_a_hand:
        return
    turn_s = routine.turntable.turn_s
    start = starts[move.before + 1]
    end = starts[move.after]
    low, high = move.from_s / turn_s, move.cue_s / turn_s
    axes.plot([start, end], [low, high], color=MID, linewidth=1.1, linestyle=(0, (4, 3)), zorder=1)
    text = f"{move.turns:+.0f}"
    weight = "normal"
    if move.verdict in ("tight", "impossible"):
        text, weight = f"{text} {move.verdict}", "bold"
    aside = 9 if move.verdict == "impossible" else 3
    axes.annotate(text, (end, high), xytext=(aside, -10), textcoords="offset points", fontsize=7,
                  color=INK, fontweight=weight, annotation_clip=True)  # fmt: skip
    if move.verdict == "impossible":
        axes.plot([end], [high], marker="x", markersize=11, markeredgewidth=2.4, color=INK)


def _hands(axes: Axes, spans: Sequence[HandSpan]) -> None:
    """Two rows, left and right hand, each beat's job as a hatched bar."""
    axes.set_yticks([1.5, 0.5], ["left hand", "right hand"])
    axes.set_ylim(-0.05, 2.05)
    for span in spans:
        for row, job in ((1, span.left), (0, span.right)):
            if job is None:
                continue
            colour, hatch = _TASK_LOOK[job.task]
            corner = (span.start_s, row + 0.12)
            axes.add_patch(Rectangle(corner, span.length_s, 0.76, facecolor=colour, edgecolor=INK,
                                     hatch=hatch, linewidth=0.5))  # fmt: skip
    used = {job.task for span in spans for job in (span.left, span.right) if job}
    boxes = [
        Rectangle((0, 0), 1, 1, facecolor=_TASK_LOOK[task][0], edgecolor=INK, linewidth=0.5,
                  hatch=_TASK_LOOK[task][1], label=task)
        for task in _TASK_LOOK
        if task in used
    ]  # fmt: skip
    if boxes:
        axes.legend(handles=boxes, ncols=len(boxes), loc="lower left", bbox_to_anchor=(0, 0.97),
                    fontsize=7.5, frameon=False, borderaxespad=0, handlelength=2.6)  # fmt: skip


def _energy(axes: Axes, routine: Routine, starts: Sequence[float]) -> None:
    levels = [piece.energy for piece in routine.pieces]
    axes.stairs(levels, starts, fill=True, color=PALE)
    axes.stairs(levels, starts, color=INK, linewidth=1.6, baseline=None)
    axes.set_ylim(0, 5.6)
    axes.set_yticks([1, 3, 5])
    axes.set_ylabel("energy", color=INK, fontsize=9)


def _marks(
    axes: Axes, routine: Routine, starts: Sequence[float], listed: Sequence[Finding]
) -> None:
    """Numbers of errors (filled) and warnings (open) where they belong, above the set pieces."""
    stacked: dict[int, int] = {}
    for number, finding in enumerate(listed[:_LISTED], 1):
        if finding.piece is None:
            continue
        height = stacked.get(finding.piece, 0)
        stacked[finding.piece] = height + 1
        grave = finding.severity == "error"
        axes.annotate(
            str(number), (starts[finding.piece], 1.0), xytext=(6 + 15 * height, 6),
            textcoords="offset points", fontsize=7, ha="center", va="center",
            color=PAPER if grave else INK, fontweight="bold", annotation_clip=False,
            bbox={"boxstyle": "square,pad=0.3" if grave else "round,pad=0.3",
                  "facecolor": INK if grave else PAPER, "edgecolor": INK, "linewidth": 0.9},
        )  # fmt: skip


def _notes(axes: Axes, listed: Sequence[Finding], *, remarks: int) -> None:
    """Errors and warnings in words, numbered as in the picture."""
    axes.axis("off")
    lines = []
    for number, finding in enumerate(listed[:_LISTED], 1):
        where = f"{finding.name} ({finding.piece + 1}): " if finding.piece is not None else ""
        text = f"[{number}] {finding.severity}: {where}{finding.says}"
        lines.append(textwrap.shorten(text, int(WIDE_INCHES * 13), placeholder=" …"))
    more = len(listed) - _LISTED
    if more > 0:
        lines.append(f"and {more} more")
    if not listed:
        lines.append("no error, no warning")
    lines.append(f"{remarks} remarks beside these: liveaid check shows them")
    axes.text(0, 0.93, "\n".join(lines), ha="left", va="top", fontsize=7.6, color=INK,
              linespacing=1.45, transform=axes.transAxes, parse_math=False)  # fmt: skip
