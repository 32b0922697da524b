"""One thing true about a routine: how grave, where, the numbers behind it, and a way out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias, get_args

from liveaid.routine.model import Routine, Side
from liveaid.routine.plain_data import plain

Severity: TypeAlias = Literal["error", "warning", "remark"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
Rule: TypeAlias = Literal[
    "time", "winding", "hands", "acts", "tempo", "keys", "energy", "variety", "reach", "sounds",
    "clearance",
]  # fmt: skip
RULES: tuple[Rule, ...] = get_args(Rule)


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule found at one place of the routine."""

    severity: Severity
    """`error`: cannot be played as written. `warning`: will cost something. `remark`: know it."""
    rule: Rule
    says: str
    """What is so, numbers included."""
    way_out: str
    """What would mend it; empty when there is nothing to mend."""
    piece: int | None = None
    """Set piece from 0; None for the routine as a whole."""
    name: str = ""
    """The set piece's name."""
    bar: int | None = None
    """Bar of the set piece, from 1."""
    side: Side | None = None
    numbers: tuple[tuple[str, float], ...] = ()
    """The figures by name with unit, such as ``("turns", 12.4)``."""

    def to_json(self) -> dict[str, Any]:
        """The finding as plain data; `piece` counts from 0."""
        numbers = {name: round(value, 4) for name, value in self.numbers}
        return plain(self) | {"numbers": numbers}


def found(
    routine: Routine,
    severity: Severity,
    rule: Rule,
    says: str,
    way_out: str = "",
    *,
    piece: int | None = None,
    beat: float = 0.0,
    side: Side | None = None,
    numbers: Mapping[str, float] | None = None,
) -> Finding:
    """A finding with the set piece's name filled in, and the bar of its beat; a pick-up's is the
    first."""
    name = "" if piece is None else routine.pieces[piece].name
    bar = None if piece is None else int(max(beat, 0.0) // routine.metre) + 1
    figures = tuple((numbers or {}).items())
    return Finding(severity, rule, says, way_out, piece, name, bar, side, figures)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Gravest first, then as the routine runs; what concerns the whole comes before its pieces."""
    return tuple(sorted(findings, key=_rank))


def _rank(finding: Finding) -> tuple[int, int, int, int, str, str]:
    return (
        SEVERITIES.index(finding.severity),
        -1 if finding.piece is None else finding.piece,
        finding.bar or 0,
        RULES.index(finding.rule),
        finding.side or "",
        finding.says,
    )
