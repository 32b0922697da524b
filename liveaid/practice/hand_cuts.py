"""Each written deck's fader over one set piece of a take, and a sentence on it."""

from __future__ import annotations

import statistics
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from pydantic import computed_field

from liveaid.practice.fader_cuts import CutScore, FaderMove, cut_scores, fader_moves
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.visits import Visit
from liveaid.practice.written import WORTH_MS, Fine, Ms, early_or_late
from liveaid.routine import SIDES, Routine, Side
from liveaid.routine.acts import acts_of, written_out
from liveaid.routine.fader_edges import fader_edges

SHUT = 0.03
"""A level below this, or a crossfader this near to the far end, lets nothing through (as the
follower takes it)."""
_SAME_EDGE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class FaderScore:
    """One deck's openings and closings in one set piece."""

    side: Side
    heard: bool
    """False where no mixer was."""
    cuts: tuple[CutScore, ...] = ()

    @computed_field
    @property
    def bias_ms(self) -> Ms | None:
        """How late they are on the whole; see `bias_ms`."""
        return bias_ms(self.cuts)

    @computed_field
    @property
    def missed(self) -> int:
        """How many were written and not made."""
        return sum(one.at_s is None for one in self.cuts)

    @computed_field
    @property
    def added(self) -> int:
        """How many were made and not written."""
        return sum(one.beat is None for one in self.cuts)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningScore:
    """One opening of the fader within an act, as written and as made."""

    from_beat: Fine
    to_beat: Fine
    opens_ms: Ms | None
    closes_ms: Ms | None
    """How late each end was; None where it was missed, or the fader stays as it is."""
    missed: bool = False
    """Whether an end of it was written and not made."""

    @computed_field
    @property
    def longer_ms(self) -> Ms | None:
        """How much longer it was open than written, below 0 shorter."""
        if self.opens_ms is None or self.closes_ms is None:
            return None
        return self.closes_ms - self.opens_ms


def hand_cuts(
    routine: Routine, visit: Visit, when: Callable[[float], float], mixer: Sequence[FaderHeard]
) -> tuple[FaderScore, ...]:
    """Every deck whose acts are written out and need the fader, `when` the time of a beat.

    What lies before the visit's first beat and its pick-up, or beyond its last beat, is neither
    missed nor added.
    """
    found = []
    for side in SIDES:
        acts = acts_of(routine, visit.piece, side)
        if not written_out(routine.pieces[visit.piece], side) or not fader_edges(acts):
            continue
        if not mixer:
            found.append(FaderScore(side=side, heard=False))
            continue
        half_s = 0.5 * (when(1.0) - when(0.0))
        first = min(acts[0].beat, 0.0) if visit.from_beat <= 0.0 else visit.from_beat
        low, high = when(first) - half_s, when(visit.to_beat) + half_s
        moves = deck_moves(mixer, side, hamster=routine.performer.hamster)
        moves = [move for move in moves if low <= move.at_s <= high]
        scores = cut_scores(acts, side, moves, when)
        inside = tuple(
            one
            for one in scores
            if one.at_s is not None or (one.beat is not None and first <= one.beat <= visit.to_beat)
        )
        found.append(FaderScore(side=side, heard=True, cuts=inside))
    return tuple(found)


def openings_of(
    spans: Iterable[tuple[float, float]], cuts: Sequence[CutScore]
) -> tuple[OpeningScore, ...]:
    """Each written opening of one act, from beat to beat, beside the cuts made for it, in order.

    An end at which the fader need not move, as where the next act goes on sounding, has no time.
    """
    return tuple(_opening(start, end, cuts) for start, end in spans)


def _opening(start: float, end: float, cuts: Sequence[CutScore]) -> OpeningScore:
    opened, shut = _edge(cuts, start, opens=True), _edge(cuts, end, opens=False)
    return OpeningScore(
        from_beat=start, to_beat=end, opens_ms=None if opened is None else opened.off_ms,
        closes_ms=None if shut is None else shut.off_ms,
        missed=any(cut is not None and cut.at_s is None for cut in (opened, shut)),
    )  # fmt: skip


def _edge(cuts: Sequence[CutScore], beat: float, *, opens: bool) -> CutScore | None:
    """The written cut at a beat; None where the fader does not move there."""
    for one in cuts:
        if one.opens is opens and one.beat is not None and abs(one.beat - beat) < _SAME_EDGE:
            return one
    return None


def deck_moves(mixer: Sequence[FaderHeard], side: Side, *, hamster: bool) -> list[FaderMove]:
    """What opened or shut one deck: the crossfader where its level is up, its level where the
    crossfader lets it through. As moves of the crossfader, 0 where only left is heard."""
    cross = [(m.now_s, 1 - m.value if hamster else m.value) for m in mixer if _is(m, "crossfader")]
    # A level that rises opens its deck: for the left that is a way toward 0.
    level = [(m.now_s, m.value if side == "right" else 1 - m.value) for m in mixer if _is(m, side)]
    both = [m for m in fader_moves(cross) if not _shut(level, m.at_s, side)]
    both += [m for m in fader_moves(level) if not _shut(cross, m.at_s, side)]
    return sorted(both, key=lambda move: move.at_s)


def _is(message: FaderHeard, control: str) -> bool:
    return message.control == control


def _shut(places: Sequence[tuple[float, float]], at_s: float, side: Side) -> bool:
    """Whether a fader stood where nothing of the deck comes through; not when never heard."""
    index = bisect_right(places, (at_s, float("inf"))) - 1
    if index < 0:
        return False
    place = places[index][1]
    return place < SHUT if side == "right" else place > 1.0 - SHUT


def fader_sentences(faders: Iterable[FaderScore]) -> Mapping[Side, str]:
    """One sentence a deck over all its set pieces: late or early, left out, too many."""
    listed = list(faders)
    found: dict[Side, str] = {}
    for side in SIDES:
        mine = [one for one in listed if one.side == side]
        if mine:
            found[side] = f"fader, {side} record: {_fader_words(mine)}"
    return found


def _fader_words(mine: Sequence[FaderScore]) -> str:
    cuts = [cut for part in mine for cut in part.cuts]
    if not any(part.heard for part in mine):
        return "not heard"
    parts = [bias_says(cuts)]
    missed, added = sum(part.missed for part in mine), sum(part.added for part in mine)
    parts += [f"{missed} left out"] if missed else []
    parts += [f"{added} too many"] if added else []
    return ", ".join(part for part in parts if part)


def bias_ms(cuts: Iterable[CutScore]) -> float | None:
    """How late they are on the whole (median); None when none was made.

    By those due at one moment, where there are any: the room of a standing record hides the rest.
    """
    made = [(cut.off_ms, cut.room_beats) for cut in cuts if cut.off_ms is not None]
    exact = [off for off, room in made if not room] or [off for off, _ in made]
    return statistics.median(exact) if exact else None


def bias_says(cuts: Sequence[CutScore]) -> str:
    """`18 ms late: move it sooner`; empty when none was made."""
    off_ms = bias_ms(cuts)
    if off_ms is None:
        return ""
    told = early_or_late(off_ms, worth_ms=WORTH_MS)
    if told == "on time":
        return told
    return f"{told}: {'move it sooner' if off_ms > 0 else 'move it later'}"
