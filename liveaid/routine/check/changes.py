"""Every change of a deck: where its record stands, where it must be, by when, and how.

A change leads from the last set piece in which a deck sounds to the next one in which it does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from liveaid.routine.check.hands import free_s
from liveaid.routine.check.timeline import (
    JUGGLE_TURN_BEATS,
    Moment,
    beat_s,
    beats_between,
    enter_late_beats,
    falls_silent,
    leave_early_beats,
    sounds_again,
)
from liveaid.routine.model import SIDES, Rests, Routine, Runs, Side, Works

CATCH_S = 0.05
"""A cue this near to where the record is counts as there: a nudge of ten degrees at 33 1/3."""

Verdict: TypeAlias = Literal["set before", "runs on", "easy", "tight", "impossible", "not placed"]


@dataclass(frozen=True, slots=True)
class Change:
    """One deck on its way from one set piece to the next in which it sounds."""

    side: Side
    before: int | None
    """Set piece it last sounded in; None for a deck's first cue, set before the routine starts."""
    after: int
    silent: Moment
    """When it falls silent."""
    due: Moment
    """When it must stand at its cue."""
    from_s: tuple[float, float] | None
    """Deck-file seconds between which the record stands when it falls silent."""
    cue_s: float | None
    turns: tuple[float, float] | None
    """Turns of the platter to the cue, + forward, from the nearer and the farther of those."""
    available_s: float
    available_beats: float
    free_s: float
    """Seconds of those in which a hand is free."""
    give_before_beats: float
    """Beats the deck may leave early while the other carries the music."""
    give_after_beats: float
    """Beats the deck may come in late while the other carries the music."""
    by_hand_s: tuple[float, float] | None
    """Seconds to wind it by hand and settle it, from the nearer and the farther end."""
    by_needle_s: float
    """Seconds to lift the needle, set it down and settle it."""
    spare_beats: float | None
    """Beats left over from the farther end, of what a free hand has; below 0 when short."""
    verdict: Verdict

    @property
    def way(self) -> Literal["hand", "needle"]:
        """The quicker of the two ways, from the farther end."""
        quicker = self.by_hand_s is None or self.by_hand_s[1] <= self.by_needle_s
        return "hand" if quicker else "needle"

    @property
    def needed_s(self) -> float | None:
        """Seconds the quicker way takes from the farther end."""
        return None if self.by_hand_s is None else min(self.by_hand_s[1], self.by_needle_s)

    def to_json(self) -> dict[str, Any]:
        """The change as plain data; set pieces and beats from 0, seconds rounded to 0.1 ms."""
        return {
            "side": self.side,
            "before": self.before,
            "after": self.after,
            "silent_from_beat": round(self.silent.beat, 4),
            "due_beat": round(self.due.beat, 4),
            "from_s": _rounded(self.from_s),
            "cue_s": _rounded(self.cue_s),
            "turns": _rounded(self.turns),
            "available_s": _rounded(self.available_s),
            "available_beats": _rounded(self.available_beats),
            "free_s": _rounded(self.free_s),
            "leave_early_beats": self.give_before_beats,
            "come_late_beats": self.give_after_beats,
            "by_hand_s": _rounded(self.by_hand_s),
            "by_needle_s": _rounded(self.by_needle_s),
            "spare_beats": _rounded(self.spare_beats),
            "verdict": self.verdict,
        }


def _rounded(value: float | tuple[float, float] | None) -> Any:
    if isinstance(value, tuple):
        return [round(each, 4) for each in value]
    return None if value is None else round(value, 4)


def changes(routine: Routine) -> tuple[Change, ...]:
    """Every change of both decks, in the order in which they are due."""
    through = runs_through(routine)
    each = [
        _change(routine, side, before, after, through)
        for side in SIDES
        for before, after in _pairs(routine, side)
    ]
    return tuple(sorted(each, key=lambda change: (change.after, change.side)))


def runs_through(routine: Routine) -> dict[int, frozenset[Side]]:
    """For each set piece the decks that simply run on into it: nothing to wind or to start."""
    on: dict[int, frozenset[Side]] = {}
    for side in SIDES:
        for before, after in _pairs(routine, side):
            if before is not None and _runs_on(routine, side, before, after):
                on[after] = on.get(after, frozenset()) | {side}
    return on


def _pairs(routine: Routine, side: Side) -> list[tuple[int | None, int]]:
    sounding = [
        i for i, piece in enumerate(routine.pieces) if not isinstance(piece.plan(side), Rests)
    ]
    return list(zip([None, *sounding], sounding, strict=False))


def stands_s(routine: Routine, side: Side, piece: int) -> tuple[float, float] | None:
    """Deck-file seconds between which a record stands at a set piece's end; None when unplaced."""
    plan = routine.pieces[piece].plan(side)
    if isinstance(plan, Runs) and plan.at_s is not None:
        end = plan.at_s + routine.piece_s(piece)
        return end, end
    if isinstance(plan, Works) and plan.from_s is not None and plan.to_s is not None:
        return plan.from_s, plan.to_s
    return None


def _runs_on(routine: Routine, side: Side, before: int, after: int) -> bool:
    """Whether the cue comes by itself: under the hand in the span, or where the record runs to."""
    old, new = routine.pieces[before].plan(side), routine.pieces[after].plan(side)
    stands, cue = stands_s(routine, side, before), new.cue_s
    if stands is None or cue is None:
        return _same_passage(routine, side, before, after)
    if isinstance(old, Works):
        return after == before + 1 and stands[0] - CATCH_S <= cue <= stands[1] + CATCH_S
    silent_s = sum(routine.piece_s(piece) for piece in range(before + 1, after))
    return abs(cue - stands[0] - silent_s) <= CATCH_S


def _same_passage(routine: Routine, side: Side, before: int, after: int) -> bool:
    """Whether unplaced plans ask for one sound, going on where it was."""
    old, new = routine.pieces[before].plan(side), routine.pieces[after].plan(side)
    if isinstance(old, Rests) or isinstance(new, Rests) or old.sound is None:
        return False
    played = routine.pieces[before].bars if isinstance(old, Runs) else 0
    return after == before + 1 and old.sound == new.sound and old.bars_in + played == new.bars_in


def _change(
    routine: Routine,
    side: Side,
    before: int | None,
    after: int,
    through: dict[int, frozenset[Side]],
) -> Change:
    due = sounds_again(routine, after, side)
    silent = falls_silent(routine, before, side) if before is not None else due
    stands = stands_s(routine, side, before) if before is not None else None
    cue = routine.pieces[after].plan(side).cue_s
    turns = _turns(routine, stands, cue)
    available = sum(
        share * beat_s(routine, piece) for piece, _, share in beats_between(routine, silent, due)
    )
    beats = sum(share for _, _, share in beats_between(routine, silent, due))
    free = free_s(routine, silent, due, through)
    early, late = _give(routine, side, before, after)
    hand = _by_hand_s(routine, turns)
    needle = routine.performer.needle_s + routine.performer.settle_s
    last_beat_s = beat_s(routine, max(after - 1, 0))
    spare = None if hand is None else (free - min(hand[1], needle)) / last_beat_s
    give = early * beat_s(routine, before or 0) + late * beat_s(routine, after)
    if before is None:
        verdict: Verdict = "set before"
    elif side in through.get(after, frozenset()):
        verdict, spare = "runs on", None
    elif hand is None or spare is None:
        verdict = "not placed"
    elif spare >= routine.performer.margin_beats:
        verdict = "easy"
    else:
        verdict = "tight" if min(hand[0], needle) <= free + give + 1e-9 else "impossible"
    return Change(
        side, before, after, silent, due, stands, cue, turns, available, beats, free,
        early, late, hand, needle, spare, verdict,
    )  # fmt: skip


def _turns(
    routine: Routine, stands: tuple[float, float] | None, cue: float | None
) -> tuple[float, float] | None:
    if stands is None or cue is None:
        return None
    near, far = sorted((cue - at for at in stands), key=abs)
    if near * far < 0:
        near = 0.0
    return near / routine.turntable.turn_s, far / routine.turntable.turn_s


def _by_hand_s(routine: Routine, turns: tuple[float, float] | None) -> tuple[float, float] | None:
    if turns is None:
        return None
    performer = routine.performer
    near, far = (abs(turn) / performer.wind_turns_per_s + performer.settle_s for turn in turns)
    return near, far


def _give(routine: Routine, side: Side, before: int | None, after: int) -> tuple[float, float]:
    """Beats a deck may leave early and come in late; between two juggles one turn in all."""
    if before is None:
        return 0.0, 0.0
    early = leave_early_beats(routine, before, side)
    late = enter_late_beats(routine, after, side)
    if _juggle(routine, before) and _juggle(routine, after):
        return early, max(0.0, min(late, JUGGLE_TURN_BEATS - early))
    return early, late


def _juggle(routine: Routine, piece: int) -> bool:
    return all(isinstance(routine.pieces[piece].plan(side), Works) for side in SIDES)
