"""What acts ask of both hands at once: two records let go together, a third hand, fader, pitch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from liveaid.record.figures import figure
from liveaid.routine.check.demands import Demand, WorkedDemand
from liveaid.routine.hands import Place, Stay, stays_of
from liveaid.routine.model import SIDES, Performer, Side

AT_ONCE_S = 0.05
"""Two records let go closer than this are let go at once (Friberg and Sundberg, JASA 98 (1995):
some 2.5 % of a beat is noticed; twice that at the slowest)."""
_TAPS = 3
"""So many openings in a row are tapped; fewer are single moves of the hand."""


def judge_let_go(at: WorkedDemand) -> Iterator[Demand]:
    """Records that are both let go at once: the fader has to be at both."""
    lefts, rights = (
        [act for act in at.acts[side] if act.kind == "let go" and act.heard] for side in SIDES
    )
    for left in lefts:
        right = min(rights, key=lambda act: abs(act.beat - left.beat), default=None)
        if right is None:
            return
        apart_s = at.seconds(abs(right.beat - left.beat))
        if apart_s < AT_ONCE_S:
            yield Demand(
                kind="let go", piece=at.piece, beat=min(left.beat, right.beat), side=None,
                says="both records are let go at once, and the fader stands at one of them",
                needs=AT_ONCE_S, has=apart_s,
                way_out="one of the two on another beat",
            )  # fmt: skip


def both_heard(at: WorkedDemand) -> list[tuple[float, float]]:
    """Beats from and to which both decks' acts are heard over each other."""
    spans = {side: [span for act in at.acts[side] for span in act.open] for side in SIDES}
    return sorted(
        (max(a, c), min(b, d))
        for a, b in spans["left"]
        for c, d in spans["right"]
        if at.seconds(min(b, d) - max(a, c)) > AT_ONCE_S
    )


@dataclass(slots=True)
class _HandAt:
    """Where a hand is, and from when on it is free."""

    own: Side
    place: Place | None = None
    free_s: float = -1e9
    does: str = ""

    def move_s(self, place: Place, performer: Performer) -> float:
        """How long it takes to a place: short between its own record and the fader."""
        if self.place in (None, place):
            return 0.0
        near = {self.place, place} == {self.own, "fader"}
        return performer.fader_move_s if near else performer.hand_move_s

    def late_s(self, stay: Stay, at: WorkedDemand) -> float:
        """How much too late it is where it has to be; below 0 with time to spare."""
        return self.free_s + self.move_s(stay.place, at.hands) - at.seconds(stay.start_beat)


def judge_two_hands(at: WorkedDemand) -> Iterator[Demand]:
    """Two hands sent where they have to be, in turn; each must come in time from its last stay."""
    hands = (_HandAt("left"), _HandAt("right"))
    for stay in stays_of(at.routine, at.piece):
        hand = min(hands, key=lambda each: _unfit(each, stay, at))
        if hand.place not in (None, stay.place):
            moves = hand.move_s(stay.place, at.hands)
            yield Demand(
                kind="hands", piece=at.piece, beat=stay.beat, side=None,
                says=f"a hand has to come from {hand.does} to {stay.does}",
                needs=moves, has=moves - hand.late_s(stay, at),
                way_out="one of the two a little earlier or later, or left out",
            )  # fmt: skip
        hand.place, hand.does = stay.place, stay.does
        hand.free_s = max(hand.free_s, at.seconds(stay.end_beat))


def _unfit(hand: _HandAt, stay: Stay, at: WorkedDemand) -> tuple[float, bool, bool, float]:
    """How ill a hand fits a stay: too late, away from it, on the wrong side, lately busy."""
    late_s = max(hand.late_s(stay, at), 0.0)
    wrong = stay.place in SIDES and hand.own != stay.place
    return round(late_s, 9), hand.place != stay.place, wrong, hand.free_s


def judge_fader(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """Openings in a row: how fast fingers tap a fader."""
    for act in at.acts[side]:
        if len(act.open) < _TAPS:
            continue
        rate = figure("rolled_taps_per_s" if act.rolled else "taps_per_s")
        each_s = at.seconds(act.open[-1][0] - act.open[0][0]) / (len(act.open) - 1)
        yield Demand(
            kind="fader", piece=at.piece, beat=act.beat, side=side,
            says=f"the fader is opened {1.0 / each_s:.1f} times a second, and"
            f" {'fingers in turn' if act.rolled else 'a finger'} can {rate:.0f}",
            needs=1.0 / rate, has=each_s,
            way_out="fewer `cuts` or `clicks`"
            + ("" if act.rolled else ", or `rolled`: several fingers in turn"),
        )  # fmt: skip


def judge_pitch(at: WorkedDemand, side: Side) -> Iterator[Demand]:
    """Pitch set beyond the fader's reach, or in no time."""
    reach = at.routine.turntable.pitch_range_percent
    for act in at.acts[side]:
        percent = 100.0 * (act.speed - 1.0)
        if act.kind != "set pitch" and (act.kind != "let go" or abs(percent) < 1e-9):
            continue
        yield Demand(
            kind="pitch", piece=at.piece, beat=act.beat, side=side,
            says=f"pitch {percent:+.2f} % is asked for", needs=abs(percent), has=reach, unit="%",
            way_out="a nearer tone, or the tones laid out on the record",
        )  # fmt: skip
        if act.kind != "set pitch":
            continue  # it was set while the record was held
        yield Demand(
            kind="setting the pitch", piece=at.piece, beat=act.beat, side=side,
            says=f"the pitch is set to {percent:+.2f} % by hand", needs=figure("set_pitch_s"),
            has=at.seconds(act.beats), way_out="longer notes, or the tones laid out on the record",
        )  # fmt: skip
