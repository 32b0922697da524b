"""What a new version of a routine gains and loses against an old one: time, hands, winds, tempo."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from liveaid.record.platter import pitch_percent
from liveaid.routine.arc import off_arc_by_piece
from liveaid.routine.check.hand_plan import busy_shares
from liveaid.routine.check.time import minutes
from liveaid.routine.model import Routine
from liveaid.routine.plain_data import plain
from liveaid.routine.way import changes


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What one version of a routine asks of its hands and ears, in a few numbers."""

    duration_s: float
    both_hands_share: float
    """Part of the time in which both hands are busy."""
    no_hand_share: float
    winds: int
    """Changes in which a hand brings a record."""
    turns: float
    """Turns wound in all."""
    tight: int
    impossible: int
    runs_on: int
    """Cues that records come to by themselves."""
    unplaced: int
    """Changes that cannot be judged."""
    tempo_steps: int
    tempo_percent: float
    """Of all steps together."""
    off_arc: float
    """Levels of energy away from the arc, on the mean over the time."""


def figures(routine: Routine) -> Figures:
    """The numbers of one version, as far as its cues have deck-file seconds."""
    moves = changes(routine)
    wound = [move for move in moves if move.by_a_hand and move.needed_s]
    no_hand, _, both_hands = busy_shares(routine)
    tempos = [piece.tempo_bpm for piece in routine.pieces]
    steps = [abs(pitch_percent(a, b)) for a, b in itertools.pairwise(tempos) if a != b]
    return Figures(
        duration_s=routine.duration_s,
        both_hands_share=both_hands,
        no_hand_share=no_hand,
        winds=len(wound),
        turns=sum(abs(move.turns or 0.0) for move in wound),
        tight=sum(move.verdict == "tight" for move in moves),
        impossible=sum(move.verdict == "impossible" for move in moves),
        runs_on=sum(move.verdict == "runs on" for move in moves),
        unplaced=sum(move.verdict == "not placed" for move in moves),
        tempo_steps=len(steps),
        tempo_percent=sum(steps),
        off_arc=off_arc(routine),
    )


def off_arc(routine: Routine) -> float:
    """Mean distance of the energy from the arc, each set piece by its middle and its length."""
    off = enumerate(off_arc_by_piece(routine))
    return sum(routine.piece_s(index) * levels for index, levels in off) / routine.duration_s


@dataclass(frozen=True, slots=True)
class Against:
    """Two versions side by side."""

    new: Figures
    old: Figures
    gone: tuple[str, ...]
    """Set pieces the new one has no more, by name."""
    come: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain data; the sentences too."""
        return plain(self) | {"says": list(self.says())}

    def says(self) -> Iterator[str]:
        """What is gained and lost, a sentence each; one that says so when nothing is."""
        told = [*self._pieces(), *self._time(), *self._winds(), *self._hands(), *self._music()]
        yield from told or ["Nothing is gained or lost: the figures are the same."]

    def _pieces(self) -> Iterator[str]:
        if self.gone:
            yield f"Left out: {', '.join(self.gone)}."
        if self.come:
            yield f"New: {', '.join(self.come)}."

    def _time(self) -> Iterator[str]:
        more_s = self.new.duration_s - self.old.duration_s
        if abs(more_s) >= 0.05:
            word = "longer" if more_s > 0 else "shorter"
            times = f"{minutes(self.new.duration_s)} against {minutes(self.old.duration_s)}"
            yield f"{abs(more_s):.1f} s {word}: {times}."

    def _winds(self) -> Iterator[str]:
        new, old = self.new, self.old
        if new.unplaced or old.unplaced:  # turns that are not known are no turns saved
            which = "the new version" if new.unplaced else "the old version"
            yield f"The winding cannot be set side by side: {which} is not laid out yet."
            return
        if (new.winds, round(new.turns, 1)) != (old.winds, round(old.turns, 1)):
            yield (
                f"{_more(new.turns - old.turns, 'turns')} to wind: {new.turns:.1f} in {new.winds}"
                f" changes against {old.turns:.1f} in {old.winds}."
            )
        for word, now, was in (
            ("that two hands cannot make", new.impossible, old.impossible),
            ("that are tight", new.tight, old.tight),
            ("that come by themselves", new.runs_on, old.runs_on),
        ):
            if now != was:
                yield f"Changes {word}: {now} against {was}."

    def _hands(self) -> Iterator[str]:
        now, was = 100 * self.new.both_hands_share, 100 * self.old.both_hands_share
        if round(now) != round(was):
            yield f"Both hands busy {now:.0f} % of the time against {was:.0f} %."

    def _music(self) -> Iterator[str]:
        new, old = self.new, self.old
        steps = (new.tempo_steps, round(new.tempo_percent, 1))
        if steps != (old.tempo_steps, round(old.tempo_percent, 1)):
            yield (
                f"Tempo steps: {new.tempo_steps} of {new.tempo_percent:.1f} % together against"
                f" {old.tempo_steps} of {old.tempo_percent:.1f} %."
            )
        if round(new.off_arc, 1) != round(old.off_arc, 1):
            nearer = "nearer to" if new.off_arc < old.off_arc else "farther from"
            yield (
                f"Energy {nearer} the arc: {new.off_arc:.1f} levels off on the mean against"
                f" {old.off_arc:.1f}."
            )


def against(new: Routine, old: Routine) -> Against:
    """A new version of a routine beside an old one; both as far as they are placed."""
    names = [[piece.name for piece in routine.pieces] for routine in (new, old)]
    return Against(
        new=figures(new),
        old=figures(old),
        gone=tuple(name for name in names[1] if name not in names[0]),
        come=tuple(name for name in names[0] if name not in names[1]),
    )


def _more(amount: float, of: str) -> str:
    return f"{abs(amount):.1f} {of} {'more' if amount > 0 else 'less'}"
