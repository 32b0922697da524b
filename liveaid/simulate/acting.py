"""Acts written out in the map, played: each begun and ended about where and when it should be."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from liveaid.routine.acts import BROUGHT, RUNNING, STROKES, Act
from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.events import EventKind
from liveaid.simulate.line import MotionLine
from liveaid.simulate.turntable import RELEASE_S

_TOUCH_BEATS = 1e-6
_LEAST_S = 0.02
_KINDS: dict[str, EventKind] = {
    "push": "stroke", "pull": "pull", "let go": "release", "catch": "return",
}  # fmt: skip


def play_acts(hand: DeckHand, leg: Leg, acts: Sequence[Act], *, until_beat: float) -> None:
    """Play the acts that lie in the leg, from where the record stands."""
    mine = [act for act in acts if leg.from_beat <= max(act.beat, 0.0) < until_beat]
    _Acting(hand, leg, mine).play()


class _Acting:
    """One deck's acts over one leg."""

    def __init__(self, hand: DeckHand, leg: Leg, acts: Sequence[Act]) -> None:
        self.hand, self.leg, self.acts = hand, leg, acts
        self.left_out = self._missed()
        self.begins_s = self._begins()

    def play(self) -> None:
        for place, act in enumerate(self.acts):
            if place in self.left_out:
                self._note(place, None)
                continue
            if act.kind == "let go":
                self._note(place, self._let_go(act, self.begins_s[place]))
            else:
                self.hand.record.go_on(max(self.begins_s[place], self.hand.record.now_s))
                self._note(place, self.hand.record.now_s)
                self._do(act, self._end_s(place))
            self._taken_at_the_end(act, self._end_s(place))
            self._add_one(place)

    def _begins(self) -> list[float]:
        """When each act is begun: about its beat, errors following one another."""
        begins = []
        for act in self.acts:
            meant_s = self.leg.count.when(act.beat)
            late_s = self.hand.stroke_s if act.kind in STROKES else self.hand.timing_s
            begins.append(meant_s + late_s(meant_s))
        return begins

    def _end_s(self, place: int) -> float:
        """When it ends: with the next one's begin where that follows at once."""
        act, begins_s = self.acts[place], self.begins_s[place]
        after = self.acts[place + 1] if place + 1 < len(self.acts) else None
        if after is not None and after.beat - act.end_beat < _TOUCH_BEATS:
            slip_s = 0.5 * RELEASE_S if after.kind == "let go" else 0.0
            return max(self.begins_s[place + 1] - slip_s, begins_s + _LEAST_S)
        ends_s = self.leg.count.when(act.end_beat)
        return max(ends_s + begins_s - self.leg.count.when(act.beat), begins_s + _LEAST_S)

    def _missed(self) -> frozenset[int]:
        """Acts the hand leaves out: a stroke with the way back, a turn of a juggle as a whole."""
        gone: set[int] = set()
        starts = [i for i, act in enumerate(self.acts) if act.kind in ("push", "let go")]
        for first, after in pairwise([*starts, len(self.acts)]):
            if self.hand.rng.random() >= self.hand.hands.miss_rate or not _comes_back(
                self.acts[first:after]
            ):
                continue
            gone.update(range(first, after))
        return frozenset(gone)

    def _note(self, place: int, actual_s: float | None) -> None:
        act = self.acts[place]
        kind = _KINDS.get(act.kind)
        if kind is None or not act.written:
            return
        self.hand.note(
            kind, self.leg, act.beat, planned_s=self.leg.count.when(act.beat),
            actual_s=actual_s, onset_s=actual_s, cue_s=act.from_s,
        )  # fmt: skip

    def _do(self, act: Act, ends_s: float) -> None:
        record, hands = self.hand.record, self.hand.hands
        lasts_s = ends_s - record.now_s
        if act.kind == "set pitch":
            if record.line is not None:
                record.follow(MotionLine(record.now_s, record.x_s, self._rate(act)))
        elif act.kind in STROKES:
            self._hold()
            target = max(act.to_s + hands.reach_s(self.hand.rng), 0.0)
            record.stroke(target, max(ends_s - record.now_s, _LEAST_S))
        elif act.kind in BROUGHT or act.kind == "spin back":
            self._hold()
            self._bring(act, max(lasts_s, _LEAST_S))
        else:
            self._hold()

    def _rate(self, act: Act) -> float:
        """Speed of a record the hand has let go."""
        return self.leg.count.rate_at(self.hand.record.now_s) * self.leg.beat_s * act.speed

    def _let_go(self, act: Act, begins_s: float) -> float:
        """Let go so that it is up to speed as it passes its place; returns that moment."""
        record = self.hand.record
        self._hold()
        _, line = record.let_go(MotionLine(begins_s, record.x_s, self._rate(act)))
        return line.when(act.from_s)

    def _taken_at_the_end(self, act: Act, ends_s: float) -> None:
        """A record that no later act takes is taken where its act ends, before the leg does."""
        record = self.hand.record
        if act.kind not in RUNNING or record.line is None:
            return
        after = any(one.beat >= act.end_beat - _TOUCH_BEATS for one in self.acts)
        if not after and ends_s < self.leg.end_s - 0.1:
            record.take(ends_s)

    def _hold(self) -> None:
        if self.hand.record.line is not None:
            self.hand.record.take(self.hand.record.now_s)

    def _bring(self, act: Act, lasts_s: float) -> None:
        record = self.hand.record
        if act.kind == "needle":
            record.put(record.now_s + 0.9 * lasts_s, self.hand.about(act.to_s))
        elif act.way_s:
            # A little before it is needed, so that the hand is ready to go on.
            record.stroke(self.hand.about(act.to_s), max(0.85 * lasts_s, _LEAST_S))

    def _add_one(self, place: int) -> None:
        """Now and then a small push and pull where the map has none, while the record stands."""
        record, hands, rng = self.hand.record, self.hand.hands, self.hand.rng
        after = self.begins_s[place + 1] if place + 1 < len(self.acts) else self.leg.end_s
        if rng.random() >= hands.added_rate or record.line or after - record.now_s < 0.45:
            return
        record.go_on(record.now_s + 0.1)
        self.hand.note(
            "stroke", self.leg, self.leg.count.at(record.now_s), planned_s=None,
            actual_s=record.now_s, onset_s=record.now_s, cue_s=record.x_s,
        )  # fmt: skip
        home_s = record.x_s
        record.stroke(home_s + 0.15, 0.12)
        record.stroke(home_s, 0.12)


def _comes_back(acts: Sequence[Act]) -> bool:
    """Whether the acts leave the record where they found it, so that none after them is touched."""
    return abs(acts[-1].to_s - acts[0].from_s) < 0.01
