"""One deck's part of a juggle: let go on the beat, taken when the other comes in, brought back."""

from __future__ import annotations

from collections.abc import Sequence

from liveaid.simulate.course import Leg
from liveaid.simulate.deckhand import DeckHand
from liveaid.simulate.line import MotionLine
from liveaid.simulate.turns import JuggleTurn

_SPARE_S = 0.05
"""How far past its span a juggled record runs before the hand holds it."""


def juggle(hand: DeckHand, leg: Leg, turns: Sequence[JuggleTurn], *, wound_after: bool) -> None:
    """Play this deck's share of the turns.

    After its last turn the record is left where it is when it is wound elsewhere next, and left
    running when the leg ends with it.
    """
    begins = turns[0].from_beat if turns else 0.0
    mine = [turn for turn in turns if turn.side == hand.side]
    for turn, after in zip(mine, [*mine, None][1:], strict=True):
        if not _play(hand, leg, turn, begins=turn.from_beat == begins):
            continue
        if after is not None:
            _pull_back(hand, leg, leg.count.when(after.from_beat))
        elif turn.to_beat < leg.to_beat and not wound_after:
            _pull_back(hand, leg, leg.end_s)


def _play(hand: DeckHand, leg: Leg, turn: JuggleTurn, *, begins: bool) -> bool:
    """One turn, with its two acts noted; False when the hand missed it."""
    plan = leg.worked(hand.side)
    cue, end = plan.cue_s or 0.0, plan.to_s or 0.0
    planned, back_s = leg.count.when(turn.from_beat), leg.count.when(turn.to_beat)
    missed = hand.rng.random() < hand.hands.miss_rate and not begins
    let_go_s = planned + hand.timing_s(planned)
    taken_s = back_s + hand.timing_s(back_s)
    comes_back = turn.to_beat < leg.to_beat
    if missed:
        hand.note("release", leg, turn.from_beat, planned_s=planned, cue_s=cue)
        if comes_back:
            hand.note("return", leg, turn.to_beat, planned_s=back_s, cue_s=cue)
        return False
    rate = leg.count.rate_at(planned) * leg.beat_s
    onset, line = hand.record.let_go(MotionLine(let_go_s, cue, rate))
    hand.note(
        "start" if begins else "release", leg, turn.from_beat,
        planned_s=planned, actual_s=line.t0_s, onset_s=onset, cue_s=cue,
    )  # fmt: skip
    out_s = line.when(end) + _SPARE_S
    if comes_back:
        taken = hand.record.take(min(taken_s, out_s))
        hand.note(
            "return", leg, turn.to_beat,
            planned_s=back_s, actual_s=taken, onset_s=taken, cue_s=cue,
        )  # fmt: skip
    elif out_s < leg.end_s:
        hand.record.take(out_s)
    return True


def _pull_back(hand: DeckHand, leg: Leg, until_s: float) -> None:
    """Brought back to the cue in good time before it is wanted."""
    free_s = until_s - hand.record.now_s
    lasts_s = min(max(0.45 * free_s, 0.12), float(hand.rng.uniform(0.22, 0.4)))
    hand.record.go_on(hand.record.now_s + 0.02)
    hand.record.stroke(hand.about(leg.worked(hand.side).cue_s or 0.0), lasts_s)
