"""What keeps the routine's sounds from being laid on the decks: files, lengths, tempos unknown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import SIDES, Routine, Side
from liveaid.routine.problems import Fault


def judge_faults(
    routine: Routine, faults: Iterable[Fault], told: Sequence[Finding]
) -> Iterator[Finding]:
    """A warning for each sound that cannot be had, an error for what render would refuse beyond.

    What another rule has told of the same place is not told again.
    """
    for fault in faults:
        piece, side = _place(fault)
        if any((f.severity, f.piece, f.side) == ("error", piece, side) for f in told):
            continue
        name = fault.path[1] if fault.path[0] == "sounds" else fault.path[-1]
        says = fault.found if str(name) in fault.found else f"{name}: {fault.found}"
        yield found(
            routine, "warning" if fault.path[0] == "sounds" else "error", "sounds", says,
            fault.would_do, piece=piece, bar=None if piece is None else 1, side=side,
        )  # fmt: skip


def judge_unstudied(routine: Routine, names: Sequence[str]) -> Iterator[Finding]:
    """A remark for sounds of which nothing is known yet, so that nothing could be laid out."""
    if names:
        yield found(
            routine, "remark", "sounds",
            f"not studied yet: {', '.join(names)}; so where the cues will lie is not known",
            "`liveaid gather` on their folder, or `tempo:` and `first_beat:` beside the sound",
            numbers={"sounds": len(names)},
        )  # fmt: skip


def _place(fault: Fault) -> tuple[int | None, Side | None]:
    """The set piece and deck a fault belongs to, where it belongs to one."""
    if fault.path[0] != "pieces" or len(fault.path) < 2:
        return None, None
    side = next((each for each in SIDES if each in fault.path), None)
    return (fault.path[1] if isinstance(fault.path[1], int) else None), side
