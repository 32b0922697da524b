"""How busy the hands are, how varied the techniques, and where one hand works too long."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import groupby

from liveaid.routine.check.findings import Finding, found
from liveaid.routine.check.hand_plan import HandSpan, busy_shares, hand_plan
from liveaid.routine.hands import STRAIN_S, crossfader_end
from liveaid.routine.model import SIDES, Routine, Side, Works

SHARE_OF_ONE = 0.6
"""One technique for more of the routine than this is a habit (common practice, no source)."""
IN_A_ROW = 3


def judge_variety(routine: Routine) -> Iterator[Finding]:
    """Techniques that fill the routine or come too often in a row, and a side never worked."""
    yield from _shares(routine)
    yield from _in_a_row(routine)
    yield from _one_sided(routine)
    yield from _pairs(routine)


def _shares(routine: Routine) -> Iterator[Finding]:
    seconds: defaultdict[str, float] = defaultdict(float)
    for index, piece in enumerate(routine.pieces):
        seconds[piece.technique.strip().lower()] += routine.piece_s(index)
    unnamed = sum(not piece.technique.strip() for piece in routine.pieces)
    if unnamed:
        yield found(
            routine, "remark", "variety", f"{unnamed} set pieces name no technique",
            "`technique:` lets check tell which hand the crossfader needs",
            numbers={"set_pieces": unnamed},
        )  # fmt: skip
    named = {name: taken for name, taken in seconds.items() if name}
    if not named or len(routine.pieces) < IN_A_ROW:
        return
    name, most = max(named.items(), key=lambda item: (item[1], item[0]))
    share = most / routine.duration_s
    if share > SHARE_OF_ONE:
        yield found(
            routine, "remark", "variety", f"{name} fills {100 * share:.0f} % of the routine",
            "another technique for one of its set pieces would set it off",
            numbers={"share": share},
        )  # fmt: skip


def _in_a_row(routine: Routine) -> Iterator[Finding]:
    at = 0
    for name, run in groupby(piece.technique.strip().lower() for piece in routine.pieces):
        count = len(list(run))
        if name and count >= IN_A_ROW:
            yield found(
                routine, "remark", "variety", f"{name} {count} times in a row from here",
                "trade one of them with another place", piece=at, numbers={"count": count},
            )  # fmt: skip
        at += count


def _one_sided(routine: Routine) -> Iterator[Finding]:
    worked = {
        side: sum(
            routine.piece_s(index)
            for index, piece in enumerate(routine.pieces)
            if isinstance(piece.plan(side), Works)
        )
        for side in SIDES
    }
    idle = [side for side in SIDES if worked[side] == 0.0]
    times = sum(isinstance(piece.plan(side), Works) for piece in routine.pieces for side in SIDES)
    if len(idle) == 1 and times >= IN_A_ROW:
        other = next(side for side in SIDES if side not in idle)
        yield found(
            routine, "remark", "variety",
            f"only the {other} record is ever worked, for {worked[other]:.0f} s",
            f"trade the decks of a set piece so that {idle[0]} is worked too",
            numbers={"worked_s": worked[other]},
        )  # fmt: skip


def _pairs(routine: Routine) -> Iterator[Finding]:
    """Set pieces that belong right after another, which is not there or not right before them."""
    names = [piece.name for piece in routine.pieces]
    for index, piece in enumerate(routine.pieces):
        if piece.follows is None or (index and names[index - 1] == piece.follows):
            continue
        known = piece.follows in names
        says = f"belongs right after {piece.follows}, which is " + (
            f"set piece {names.index(piece.follows) + 1}" if known else "no set piece"
        )
        out = "arrange brings them together" if known else "the name of a set piece in `follows:`"
        yield found(routine, "warning", "variety", says, out, piece=index)


def judge_load(routine: Routine) -> Iterator[Finding]:
    """Share of the time with no, one and two hands busy; and long work without a bar's rest."""
    none, one, both = busy_shares(routine)
    yield found(
        routine, "remark", "hands",
        f"both hands busy {100 * both:.0f} % of the time, one {100 * one:.0f} %,"
        f" none {100 * none:.0f} %",
        numbers={"both_share": both, "one_share": one, "none_share": none},
    )  # fmt: skip
    if routine.performer.hamster:
        end = crossfader_end(routine.performer, "left")
        yield found(
            routine, "remark", "hands",
            f"hamster: the left deck is heard with the crossfader at its {end} end",
            "set the mixer's reverse switch before the count-in",
        )  # fmt: skip
    for side in SIDES:
        yield from _strain(routine, side)


def _strain(routine: Routine, side: Side) -> Iterator[Finding]:
    """Stretches in which one hand works a record for long without a whole bar's rest."""
    first: HandSpan | None = None
    worked_s, rest_beats = 0.0, 0
    for beat in [*hand_plan(routine), None]:
        job = None if beat is None else (beat.left if side == "left" else beat.right)
        if beat is not None and job is not None and job.task == "works":
            first = first or beat
            worked_s += beat.length_s
            rest_beats = 0
            continue
        rest_beats += 1
        if first is not None and (beat is None or rest_beats >= routine.metre):
            if worked_s > STRAIN_S:
                yield _strained(routine, side, first, worked_s)
            first, worked_s = None, 0.0


def _strained(routine: Routine, side: Side, first: HandSpan, worked_s: float) -> Finding:
    return found(
        routine, "remark", "hands",
        f"the {side} hand works for {worked_s:.0f} s without a bar's rest",
        "rests and short practice blocks are the usual caution; pain or numbness is for a"
        " clinician",
        piece=first.piece, beat=first.from_beat, numbers={"worked_s": worked_s},
    )  # fmt: skip
