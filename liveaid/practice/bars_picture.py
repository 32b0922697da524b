"""A set piece of a take, drawn bar by bar: strokes and juggles as shapes, the plan's beneath them.

Two bars a row, so that a stroke of a fifth of a second is some millimetres wide. In each row the
left record is above, the right one below, in turns from where each stands to be let go.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes

from liveaid.practice.picture_look import ASH, DECK_INK, INK, LINE, WARN, bare, empty, png
from liveaid.practice.planned_acts import juggle_acts, releases
from liveaid.practice.records import Kept
from liveaid.practice.take_score import PieceScore
from liveaid.practice.trace import Floats
from liveaid.practice.visits import Visit
from liveaid.routine import SIDES, Routine, Runs, Side, Works
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.movement import places_s

_ROW_BARS = 2
_MOST_ROWS = 12
_ROW_INCHES = 2.2
_ASKED = "#e2d0b8"
_POINTS_A_BEAT = 96


def bars_picture(routine: Routine, kept: Kept, place: int, score: PieceScore) -> bytes:
    """PNG: one visit of a take, two bars a row, each record's way over the plan's.

    `routine` as in the take's aim; `place` of the visit in the take. At most 24 bars are drawn.
    """
    visit = kept.visits[place]
    gone = float(score.bars_before * routine.metre)
    when = _count(visit, score, gone)
    bars = int(np.ceil(routine.beats(visit.piece) / routine.metre))
    rows = min(_MOST_ROWS, -(-bars // _ROW_BARS))
    figure = empty(12.0, 0.9 + _ROW_INCHES * rows)
    grid = figure.add_gridspec(rows, 1, hspace=0.35)
    for row in range(rows):
        axis = figure.add_subplot(grid[row])
        first = float(row * _ROW_BARS * routine.metre)
        _row(axis, routine, kept, visit, when, first)
        _marks(axis, score, first, first + _ROW_BARS * routine.metre, gone)
        bare(axis)
    figure.text(
        0.06, 1 - 0.32 / figure.get_figheight(), f"{score.name}, bar by bar: {score.verdict}",
        color=INK, fontsize=13, fontweight="bold",
    )  # fmt: skip
    top = 1 - 0.65 / figure.get_figheight()
    figure.subplots_adjust(left=0.06, right=0.985, top=top, bottom=0.45 / figure.get_figheight())
    return png(figure)


def _count(visit: Visit, score: PieceScore, gone: float) -> Callable[[Floats], Floats]:
    """The trace's second of a beat: by the beats that acts were held against, else evenly.

    `gone`: beats of the set piece before what was practised of it.
    """
    known = {act.beat - gone: act.due_s for act in score.acts if act.due_s is not None}
    if len(known) < 2:
        known = {visit.from_beat: visit.start_s, visit.to_beat: visit.end_s}
    beats = np.array(sorted(known))
    times = np.array([known[beat] for beat in sorted(known)])
    slope = (times[-1] - times[0]) / (beats[-1] - beats[0])

    def when(at: Floats) -> Floats:
        inside = np.interp(at, beats, times)
        inside = np.where(at < beats[0], times[0] + (at - beats[0]) * slope, inside)
        after = times[-1] + (at - beats[-1]) * slope
        return np.asarray(np.where(at > beats[-1], after, inside))

    return when


def _row(
    axis: Axes, routine: Routine, kept: Kept, visit: Visit,
    when: Callable[[Floats], Floats], first: float,
) -> None:  # fmt: skip
    """Two bars: both records' ways over the plan's, a band each."""
    last = min(first + _ROW_BARS * routine.metre, float(routine.beats(visit.piece)))
    at = np.linspace(first, last, int((last - first) * _POINTS_A_BEAT) + 1)
    axis.set_xlim(first, first + _ROW_BARS * routine.metre)
    axis.set_ylim(-1.12, 1.12)
    for beat in range(int(first), int(last) + 1):
        axis.axvline(beat, color=LINE, lw=1.6 if beat % routine.metre == 0 else 0.6, zorder=0)
    for side, middle in zip(SIDES, (0.56, -0.56), strict=True):
        asked = planned_way(routine, visit.piece, side, at)
        deck = kept.trace[side]
        heard = np.interp(when(at), deck.now_s, deck.position_s) if len(deck.now_s) else None
        low, high = _span(routine, visit.piece, side)
        scale = 1.0 / max(high - low, 0.1)
        shown = ((asked, _ASKED, 6.0), (heard, DECK_INK[side], 1.6))
        for way, colour, width in shown:
            if way is not None:
                y = middle + np.clip((way - (low + high) / 2) * scale, -0.55, 0.55)
                axis.plot(at, y, color=colour, lw=width, solid_capstyle="butt")
        axis.text(first, middle, f"{side} ", ha="right", va="center", color=DECK_INK[side])
    axis.set_yticks([])
    ticks = np.arange(first, last + 0.1, routine.metre)
    axis.set_xticks(ticks, [f"bar {int(tick // routine.metre) + 1}" for tick in ticks])


def _span(routine: Routine, piece: int, side: Side) -> tuple[float, float]:
    """Deck-file seconds from the lowest to the highest that a band shows."""
    plan = routine.pieces[piece].plan(side)
    if isinstance(plan, Works):
        low, high = plan.from_s or 0.0, plan.to_s or 0.0
        return low - 0.15 * (high - low), high + 0.15 * (high - low)
    at_s = plan.cue_s or 0.0
    return at_s, at_s + routine.piece_s(piece)


def planned_way(routine: Routine, index: int, side: Side, beats: Floats) -> Floats | None:
    """Where the plan has a record at rising beats of a set piece, in deck-file seconds; None where
    it leaves that to the hand, or the deck rests.

    In a juggle by its `strokes:` a record runs from its cue until it is taken; how it is brought
    back is the hand's, so that not a number stands there. How a scratch by its `strokes:` goes is
    the hand's altogether.
    """
    piece = routine.pieces[index]
    plan, beat_s = piece.plan(side), piece.beat_s
    if isinstance(plan, Runs) and plan.at_s is not None:
        return np.asarray(plan.at_s + beats * beat_s)
    if written_out(piece, side):
        return places_s(acts_of(routine, index, side), beats)
    if not isinstance(plan, Works) or not plan.strokes or plan.cue_s is None:
        return None
    if not piece.is_juggle:
        return None
    way = np.full(len(beats), np.nan)
    ends = _taken(routine, index, side)
    for beat in plan.strokes:
        length = (plan.to_s or plan.cue_s) - plan.cue_s
        runs = (beats >= beat) & (beats < ends.get(beat, beat + length / beat_s))
        way[runs] = plan.cue_s + (beats[runs] - beat) * beat_s
    return way


def _taken(routine: Routine, index: int, side: Side) -> dict[float, float]:
    """By the beat on which a juggled record is let go, the one on which it is taken again."""
    piece = routine.pieces[index]
    mine = [
        act
        for act in juggle_acts(piece, index, releases(piece), float(routine.beats(index)))
        if act.side == side
    ]
    found: dict[float, float] = {}
    for act, after in pairwise(mine):
        if act.kind != "return" and after.kind == "return":
            found[act.beat] = after.beat
    return found


def _marks(axis: Axes, score: PieceScore, first: float, last: float, gone: float) -> None:
    """Each act where it was due: how many milliseconds off, or a cross where it was missed."""
    for act in score.acts:
        beat = act.beat - gone
        if not first <= beat < last:
            continue
        y = 1.06 if act.side == "left" else -1.06
        if act.outcome in ("missed", "added"):
            mark = "x" if act.outcome == "missed" else "+"
            axis.plot(beat, y, mark, color=WARN, ms=7, mew=2, clip_on=False)
        elif act.error_ms is not None:
            axis.text(
                beat, y, f"{act.error_ms:+.0f}", ha="center", va="center", fontsize=7.5, color=ASH
            )
