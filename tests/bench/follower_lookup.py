"""The baselines: look the two positions up in the section map, or count and know the order only.

A set piece fits when each deck that sounds in it reads inside its passage. Of several that fit
the plain look-up takes the first in the map; the one with memory takes the one answered last,
else the one after it, else the first. Where none fits, the last answer stands. The beat is read
off a deck that runs, else counted by the clock at the map's tempo.
"""

from __future__ import annotations

from liveaid.routine import SIDES, Piece, Routine, Side

SLACK_S = 0.1


class LookUp:
    """Answers from the newest position of each deck."""

    def __init__(self, routine: Routine, *, memory: bool) -> None:
        self.routine, self.memory = routine, memory
        self.positions: dict[Side, float] = {}
        self.index = 0
        self.since_s = 0.0

    def hear(self, side: Side, *, position: float, now: float) -> None:
        self.positions[side] = position

    def place(self, now: float) -> tuple[int, float]:
        fitting = [i for i in range(len(self.routine.pieces)) if self._fits(i)]
        likely = (self.index, self.index + 1) if self.memory else ()
        for wanted in (*likely, *fitting[:1]):
            if wanted in fitting:
                if wanted != self.index:
                    self.index, self.since_s = wanted, now
                break
        return self.index, self._beat(self.routine.pieces[self.index], now)

    def _fits(self, index: int) -> bool:
        for side in SIDES:
            plan = self.routine.pieces[index].plan(side)
            if plan.hand == "rests":
                continue
            low = plan.at_s if plan.hand == "runs" else plan.from_s
            high = plan.to_s if plan.hand == "works" else low + self.routine.piece_s(index)
            if side not in self.positions:
                return False
            if not low - SLACK_S <= self.positions[side] <= high + SLACK_S:
                return False
        return True

    def _beat(self, piece: Piece, now: float) -> float:
        beats = piece.bars * self.routine.metre
        sides = sorted(SIDES, key=lambda side: side != piece.count)
        for side in sides:
            plan = piece.plan(side)
            if plan.hand == "runs" and side in self.positions:
                beat = (self.positions[side] - plan.at_s) * piece.tempo_bpm / 60.0
                return min(max(beat, 0.0), beats)
        return min((now - self.since_s) * piece.tempo_bpm / 60.0, beats)


class InOrder:
    """Counts through by the clock, drawn to the deck that counts; knows the order and no more."""

    def __init__(self, routine: Routine) -> None:
        self.routine, self.index, self.beat, self.now_s = routine, 0, 0.0, None
        self.positions: dict[str, float] = {}
        self.begun = False

    def hear(self, side, *, position, now) -> None:
        before = self.positions.get(side)
        self.positions[side] = position
        first = self.routine.pieces[0]
        if not self.begun and side == first.count and before is not None and position > before:
            at_s = first.plan(side).at_s
            self.begun = 0.05 < position - at_s < 3.0

    def place(self, now: float) -> tuple[int, float]:
        seconds, self.now_s = 0.0 if self.now_s is None else now - self.now_s, now
        piece = self.routine.pieces[self.index]
        self.beat += seconds * piece.tempo_bpm / 60.0 if self.begun else 0.0
        if piece.count != "clock" and piece.count in self.positions:
            at_s = piece.plan(piece.count).at_s
            read = (self.positions[piece.count] - at_s) * piece.tempo_bpm / 60.0
            self.beat = read if abs(read - self.beat) < 1.5 or not self.begun else self.beat
        beats = self.routine.beats(self.index)
        if self.beat >= beats and self.index + 1 < len(self.routine.pieces):
            self.index, self.beat = self.index + 1, self.beat - beats
        return self.index, max(self.beat, 0.0)
