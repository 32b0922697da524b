"""A take, drawn: both records over time against the plan, and every act's error beneath."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from matplotlib.axes import Axes

from liveaid.practice.act_score import ActScore
from liveaid.practice.fader_spans import heard_open, written_open
from liveaid.practice.picture_look import ASH, DECK_INK, INK, LINE, PAPER, WARN, bare, empty, png
from liveaid.practice.records import Kept
from liveaid.practice.take_score import TakeScore
from liveaid.routine import SIDES, Routine, Runs, Side, Works

_PLAN = "#e9dccb"
_MARKS = {"heard": "o", "missed": "X", "added": "P", "skipped": "s"}
_WORDS = {"missed": "missed", "added": "not in the plan"}


def take_picture(routine: Routine, kept: Kept, score: TakeScore) -> bytes:
    """PNG: both records over time against the plan, every act with its error beneath.

    `routine` as in the take's aim.
    """
    figure = empty(12.0, 7.0)
    grid = figure.add_gridspec(3, 1, height_ratios=(3, 3, 2), hspace=0.16)
    axes = [figure.add_subplot(grid[row]) for row in range(3)]
    zero = kept.start_s
    for side, axis in zip(SIDES, axes[:2], strict=True):
        _record(axis, routine, kept, score, side, zero)
    _errors(axes[2], score, zero)
    end = kept.duration_s + 0.5
    for axis in axes:
        axis.set_xlim(-1.0, end)
        bare(axis)
        for visit in kept.visits:
            axis.axvline(visit.start_s - zero, color=LINE, lw=1, zorder=0)
    for axis in axes[:2]:
        axis.tick_params(labelbottom=False)
    _piece_names(axes[0], routine, kept, zero)
    axes[2].set_xlabel("seconds from the first beat", color=ASH)
    what = kept.aim or "run-through"
    day = datetime.fromtimestamp(kept.at).strftime("%d %b %H:%M")
    figure.text(
        0.08, 0.965, f"{what}, {day}, at {kept.tempo_part:.0%} of full tempo", color=INK,
        fontsize=13, fontweight="bold",
    )  # fmt: skip
    figure.text(0.985, 0.965, _verdict(score), ha="right", color=INK, fontsize=10)
    figure.subplots_adjust(left=0.08, right=0.985, top=0.885, bottom=0.085)
    return png(figure)


def _record(
    axis: Axes, routine: Routine, kept: Kept, score: TakeScore, side: Side, zero: float,
) -> None:  # fmt: skip
    """One deck: where the plan wants it, where it was, its acts."""
    deck = kept.trace[side].between(zero - 1.0, zero + kept.duration_s + 0.6)
    low, high = np.inf, -np.inf
    for visit in kept.visits:
        plan = routine.pieces[visit.piece].plan(side)
        start, end = visit.start_s - zero, visit.end_s - zero
        if isinstance(plan, Runs) and plan.at_s is not None:
            beat_s = routine.pieces[visit.piece].beat_s
            at = [plan.at_s + visit.from_beat * beat_s, plan.at_s + visit.to_beat * beat_s]
            axis.plot([start, end], at, color=_PLAN, lw=9, solid_capstyle="butt", zorder=1)
            low, high = min(low, *at), max(high, *at)
        elif isinstance(plan, Works):
            span = (plan.from_s or 0.0, plan.to_s or 0.0)
            axis.fill_between([start, end], span[0], span[1], color=_PLAN, lw=0, zorder=1)
            low, high = min(low, span[0] - 0.4), max(high, span[1] + 0.4)
    axis.plot(deck.now_s - zero, _unjumped(deck.position_s), color=DECK_INK[side], lw=1.3, zorder=3)
    drawn = _fader(axis, routine, kept, side, zero)
    if np.isfinite(low):
        room = 0.08 * (high - low) + 0.05
        beneath = 0.25 * (high - low) if drawn else 0.0
        axis.set_ylim(low - room - beneath, high + room)
    _acts(axis, kept, score, side, zero)
    axis.set_ylabel(f"{side} record\ndeck-file seconds", color=ASH)


def _fader(axis: Axes, routine: Routine, kept: Kept, side: Side, zero: float) -> bool:
    """Beneath the record's place where its fader was to be open, and below that where it was."""
    end_s = zero + kept.duration_s + 0.5
    plan = [span for visit in kept.visits for span in written_open(routine, visit, side)]
    made = heard_open(
        kept.mixer, side, hamster=routine.performer.hamster, start_s=zero - 1.0, end_s=end_s
    )
    if not plan:
        return False
    where, rows = axis.get_xaxis_transform(), ((plan, 0.09, _PLAN), (made, 0.02, DECK_INK[side]))
    for spans, foot, colour in rows:
        bars = [(start - zero, end - start) for start, end in spans]
        axis.broken_barh(bars, (foot, 0.055), transform=where, facecolor=colour, lw=0, zorder=2)
    told = "fader open: plan, take" if kept.mixer else "fader open: plan"
    axis.text(
        0.995, 0.155, told, transform=axis.transAxes, ha="right", va="bottom", color=ASH,
        fontsize=8,
    )  # fmt: skip
    return True


def _unjumped(x: np.ndarray) -> np.ndarray:
    """The positions with a gap where the needle or a cue jumped."""
    gone = np.concatenate([[False], np.abs(np.diff(x)) > 0.25])
    return np.where(gone, np.nan, x)


def _acts(axis: Axes, kept: Kept, score: TakeScore, side: Side, zero: float) -> None:
    deck = kept.trace[side]
    for act in score.acts:
        if act.side != side:
            continue
        at = _seen_s(act)
        if at is None or not len(deck.now_s):
            continue
        place = float(np.interp(at, deck.now_s, deck.position_s))
        if act.outcome == "heard":
            axis.plot(at - zero, place, "o", ms=4, mfc=PAPER, mec=INK, mew=1, zorder=4)
        else:
            axis.plot(
                at - zero, place, _MARKS[act.outcome], ms=9, mfc=WARN, mec=PAPER, mew=0.8,
                zorder=5,
            )  # fmt: skip


def _seen_s(act: ActScore) -> float | None:
    """When an act was, or would have been."""
    return act.heard_s if act.heard_s is not None else act.due_s


def _errors(axis: Axes, score: TakeScore, zero: float) -> None:
    """Every act's error over time: stems, left deck filled, right deck hollow."""
    axis.axhline(0, color=INK, lw=1)
    timed = [(act, act.heard_s, act.error_ms) for act in score.acts]
    known = [(act.side, at, off) for act, at, off in timed if at is not None and off is not None]
    for side, face, mark in (("left", DECK_INK["left"], "o"), ("right", PAPER, "D")):
        x = np.array([at - zero for whose, at, _ in known if whose == side])
        y = np.array([off for whose, _, off in known if whose == side])
        if len(x):
            axis.vlines(x, 0, y, color=LINE, lw=1)
            axis.plot(
                x, y, mark, ms=5, mfc=face, mec=DECK_INK[side], mew=1.3, label=f"{side} hand",
                ls="none",
            )  # fmt: skip
    for outcome in ("missed", "added"):
        seen = (_seen_s(act) for act in score.acts if act.outcome == outcome)
        at = [at_s - zero for at_s in seen if at_s is not None]
        if at:
            axis.plot(
                at, [0] * len(at), _MARKS[outcome], ms=9, mfc=WARN, mec=PAPER,
                label=_WORDS[outcome], ls="none",
            )  # fmt: skip
    most = max([40.0, *(abs(off) * 1.15 for _, _, off in known)])
    axis.set_ylim(-most, most)
    axis.set_ylabel("ms early (below)\nor late", color=ASH)
    handles, labels = axis.get_legend_handles_labels()
    if handles:
        axis.legend(
            handles, labels, loc="upper left", ncols=4, frameon=True, facecolor=PAPER,
            edgecolor="none", fontsize=8.5,
        )  # fmt: skip


def _piece_names(axis: Axes, routine: Routine, kept: Kept, zero: float) -> None:
    if len(kept.visits) < 2:
        return
    for visit in kept.visits:
        axis.text(
            visit.start_s - zero, 1.02, routine.pieces[visit.piece].name, rotation=20, ha="left",
            va="bottom", transform=axis.get_xaxis_transform(), fontsize=8, color=INK,
        )  # fmt: skip


def _verdict(score: TakeScore) -> str:
    if score.verdict != "not clean":
        return score.verdict
    why = score.why
    text = "; ".join(why[:2]) + (f"; and {len(why) - 2} more" if len(why) > 2 else "")
    return text or "set pieces left out"
