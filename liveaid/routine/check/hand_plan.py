"""The hand plan: for every beat, what the left and the right hand do, winding included."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from liveaid.routine.hands import Job, hands_beside, jobs
from liveaid.routine.model import Routine, Side, other_side
from liveaid.routine.once import once
from liveaid.routine.timeline import Moment, beats_between, starts_s
from liveaid.routine.way import Change, changes

_At = tuple[int, int]


@dataclass(frozen=True, slots=True)
class HandSpan:
    """One beat of a set piece, or several through which both hands do the same."""

    piece: int
    from_beat: int
    """Beat of the set piece, from 0."""
    to_beat: int
    """Exclusive."""
    start_s: float
    length_s: float
    left: Job | None
    """What the left hand does; None when it is free."""
    right: Job | None
    over: tuple[Job, ...]
    """What a third hand would have to do."""

    @property
    def busy(self) -> int:
        """How many hands are at work, 0 to 2."""
        return (self.left is not None) + (self.right is not None)

    def does_as(self, other: HandSpan) -> bool:
        """Whether both hands do the same as in another span of the same set piece."""
        mine = (self.piece, self.left, self.right, self.over)
        return mine == (other.piece, other.left, other.right, other.over)

    def to_json(self) -> dict[str, Any]:
        """The span as plain data; beats from 0."""
        return {
            "piece": self.piece,
            "from_beat": self.from_beat,
            "to_beat": self.to_beat,
            "start_s": round(self.start_s, 4),
            "end_s": round(self.start_s + self.length_s, 4),
            "left_hand": str(self.left) if self.left else None,
            "right_hand": str(self.right) if self.right else None,
            "third_hand": [str(job) for job in self.over],
        }


@once
def hand_plan(routine: Routine) -> tuple[HandSpan, ...]:
    """Every beat of the routine with what each hand does; winding fills the free hands.

    A hand stays on its own side where it can: the left hand takes the left platter, and what
    belongs to no side (crossfader, channel faders) goes to the hand that is left.
    """
    winds, starts = _winding(routine), starts_s(routine)
    plan = []
    for index in range(len(routine.pieces)):
        length = routine.pieces[index].beat_s
        for beat in range(routine.beats(index)):
            wound = winds.get((index, beat), ())
            # A deck being wound is not played in that beat: its hand has left or not yet begun.
            away = {job.side for job in wound}
            kept = [
                job
                for job in jobs(routine, index, beat)
                if job.side not in away or job.task == "releases"
            ]
            if away and not any(job.task == "works" for job in kept):
                kept = [job for job in kept if job.task != "crossfader"]
            start = starts[index] + beat * length
            hands = _shared_out([*kept, *wound])
            plan.append(HandSpan(index, beat, beat + 1, start, length, *hands))
    return tuple(plan)


def busy_shares(routine: Routine) -> tuple[float, float, float]:
    """Parts of the time in which no hand, one and both are at work."""
    plan = hand_plan(routine)
    total_s = sum(beat.length_s for beat in plan)
    none, one, both = (
        sum(beat.length_s for beat in plan if beat.busy == hands) / total_s for hands in range(3)
    )
    return none, one, both


def _winding(routine: Routine) -> dict[_At, tuple[Job, ...]]:
    """In which beats which record is wound or its needle lifted."""
    taken: dict[_At, tuple[Job, ...]] = {}
    for move in changes(routine):
        if not move.by_a_hand or not move.needed_s:
            continue
        left_s = move.needed_s
        job = Job("winds" if move.way == "by hand" else "needle", move.side)
        for piece, beat, share in _beats_to_use(routine, move, taken):
            if left_s <= 1e-9:
                break
            taken[piece, beat] = (*taken.get((piece, beat), ()), job)
            left_s -= share * routine.pieces[piece].beat_s
    return taken


def _beats_to_use(
    routine: Routine, move: Change, taken: dict[_At, tuple[Job, ...]]
) -> Iterator[tuple[int, int, float]]:
    """Beats a change may be made in: while a hand is free, then early leave, then late entry."""
    for piece, beat, share in beats_between(routine, move.silent, move.due):
        playing = hands_beside(routine, piece, beat, move.side)
        if playing + len(taken.get((piece, beat), ())) < 2:
            yield piece, beat, share
    early = replace(move.silent, beat=max(0.0, move.silent.beat - move.leave_early_beats))
    yield from reversed(list(beats_between(routine, early, move.silent)))
    late = Moment(move.due.piece, move.due.beat + move.come_late_beats)
    yield from beats_between(routine, move.due, late)


def _shared_out(asked: list[Job]) -> tuple[Job | None, Job | None, tuple[Job, ...]]:
    """Jobs given to the left and the right hand; sided ones first, what is left over last."""
    hands: dict[Side, Job | None] = {"left": None, "right": None}
    over: list[Job] = []
    for job in sorted(asked, key=lambda job: job.side is None):
        own: Side = job.side or "right"
        free = next((side for side in (own, other_side(own)) if hands[side] is None), None)
        if free is None:
            over.append(job)
        else:
            hands[free] = job
    return hands["left"], hands["right"], tuple(over)


def hand_spans(routine: Routine) -> tuple[HandSpan, ...]:
    """The plan with beats in which both hands do the same joined, within each set piece."""
    spans: list[HandSpan] = []
    for beat in hand_plan(routine):
        if spans and spans[-1].does_as(beat):
            length_s = spans[-1].length_s + beat.length_s
            spans[-1] = replace(spans[-1], to_beat=beat.to_beat, length_s=length_s)
        else:
            spans.append(beat)
    return tuple(spans)
