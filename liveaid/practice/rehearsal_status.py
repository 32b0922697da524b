"""The key `rehearsal` of /status and /live: what the page /rehearse shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from liveaid.practice import delays
from liveaid.practice.care import HANDS_CAUTION, noise_line
from liveaid.practice.ladder import Ladder
from liveaid.practice.session import Session
from liveaid.practice.slower import to_load
from liveaid.practice.take_keeping import TakeKeeping
from liveaid.practice.weeks_plan import PracticePlan


class Shown(Protocol):
    """What of a rehearsal is shown."""

    session: Session
    plan: PracticePlan | None
    keeping: TakeKeeping
    booth_dba: float | None
    break_after_s: float
    before_s: float


def rehearsal_status(shown: Shown, now: float) -> Mapping[str, Any]:
    """The rehearsal at a monotonic second, fit for JSON."""
    session, keeping = shown.session, shown.keeping
    count, hands = session.count_in, session.hands_on
    return {
        "now_s": round(now, 4),
        "piece": session.aim.piece or None,
        "phase": session.phase(now),
        "at_cue": dict(session.at_cue),
        "bars_left": session.finder.bars_left(now),
        "takes": session.takes,
        "clean": session.clean,
        "judged": session.judged,
        "tempo": round(session.tempo_bpm, 2),
        "ladder": _ladder(session.ladder),
        "decks": to_load(session.aim.piece, session.aim.decks_part) if session.aim.decks else None,
        "count_in": None if count is None else count.to_json(now),
        "last": None if keeping.last is None else keeping.last.to_json(),
        "plan": _plan(shown.plan, now),
        "delays": delays.says(session.aim.delays),
        "break": {
            "due": hands.break_due(now, after_s=shown.break_after_s),
            "hands_on_s": round(hands.since_break_s),
            "after_s": round(shown.break_after_s),
            "caution": HANDS_CAUTION,
        },
        "noise": None if shown.booth_dba is None else noise_line(
            shown.booth_dba, (shown.before_s + hands.total_s) / 3600.0
        ),
        "kept": keeping.store is not None,
        "error": keeping.error,
    }  # fmt: skip


def _plan(plan: PracticePlan | None, now: float) -> dict[str, Any] | None:
    """The turn that is on, why, how long yet, and what comes then; None without a plan."""
    if plan is None:
        return None
    turn, after = plan.turn, plan.turns[plan.at + 1 :]
    gone_s = now - plan.since_s if plan.since_s is not None else 0.0
    return {
        "what": turn.what if turn else None,
        "break": bool(turn and turn.is_break),
        "why": turn.why if turn else "all of the plan is done",
        "left_s": round(max(0.0, turn.lasts_s - gone_s)) if turn else 0,
        "next": (after[0].what or "a break") if after else None,
    }


def _ladder(ladder: Ladder | None) -> dict[str, Any] | None:
    if ladder is None:
        return None
    return {
        "rung": ladder.rung + 1,
        "rungs": len(ladder.parts),
        "part": round(ladder.part, 4),
        "pitch": round(ladder.pitch_percent, 2),
        "in_a_row": ladder.clean_run,
        "up_after": ladder.up_after,
        "held_up": ladder.held_up,
        "wanted_part": ladder.start_part,
        "pitch_range": ladder.pitch_range_percent,
    }
