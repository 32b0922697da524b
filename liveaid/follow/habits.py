"""What is learnt of one performer from kept takes, and how it bends the follower's numbers.

The counts start from common practice (no source) as if `WORTH` set pieces of it had been seen, so
that a few takes bend little and none leave everything as it was (a Dirichlet prior). So does the
spread of releases about the cue (the mean of squares, the usual one counting as `CUES_WORTH`).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise

from liveaid.follow.numbers import USUAL, Numbers

WORTH = 200.0
"""Set pieces' worth of common practice that the counts start from."""
CUES_WORTH = 50.0
"""Releases' worth of the usual spread about the cue."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """Counts over kept takes, the pitch usually played at, and how records are let go."""

    takes: float = 0.0
    pieces: float = 0.0
    """Set pieces played in all."""
    again: float = 0.0
    """How many were begun anew, or played twice."""
    skipped: float = 0.0
    """How many times one or more were left out."""
    early: float = 0.0
    """How many were left before their last beat and a half."""
    back: float = 0.0
    """How many times an earlier one was gone back to."""
    pitched: float = 0.0
    """How many told the pitch they were played at."""
    pitch_percent: float = 0.0
    """Where the pitch usually stands."""
    let_go: float = 0.0
    """How many records were let go from a cue."""
    off_cue_s: float = 0.0
    """How far from the cue, in seconds of record, as a root mean square."""

    def __post_init__(self) -> None:
        counts = (self.takes, self.pieces, self.again, self.skipped, self.early, self.back,
                  self.pitched, self.let_go, self.off_cue_s)  # fmt: skip
        if (
            not all(math.isfinite(n) and n >= 0 for n in counts)
            or not abs(self.pitch_percent) <= 50
        ):
            raise ValueError("habits: counts from 0 up and a pitch within 50 per cent would do")

    def numbers(self, usual: Numbers = USUAL) -> Numbers:
        """The numbers with this performer's prices.

        A price is how rare leaving the order is: it moves by the log of how much rarer, or
        commoner, it was in the takes than common practice has it. Who lets go farther from the
        cue than is usual is allowed for; who lets go nearer changes nothing, since the usual
        width covers the sender's faults too.
        """

        def moved(price: float, seen: float) -> float:
            share = math.exp(-price)
            expected = WORTH * share
            return -math.log((expected + seen) / (WORTH + self.pieces))

        squares = CUES_WORTH * usual.place_s**2 + self.let_go * self.off_cue_s**2
        return replace(
            usual,
            again=moved(usual.again, self.again),
            ahead=moved(usual.ahead, self.skipped),
            next_early=moved(usual.next_early, self.early),
            back=moved(usual.back, self.back),
            place_s=max(usual.place_s, math.sqrt(squares / (CUES_WORTH + self.let_go))),
        )

    def to_json(self) -> dict[str, float]:
        """As `/health` tells it."""
        return asdict(self)

    @property
    def says(self) -> str:
        """What was learnt, for the performer."""
        told = [f"pitch {self.pitch_percent:+.1f} %"] if self.pitched else []
        for times, what in (
            (self.again, "begun anew"),
            (self.skipped, "left out"),
            (self.early, "left early"),
            (self.back, "gone back to"),
        ):
            if times:
                told.append(f"{times:g} {what}")
        takes = f"{self.takes:g} take{'' if self.takes == 1 else 's'}"
        return f"from {takes}, {self.pieces:g} set pieces: {', '.join(told) or 'all in order'}"


@dataclass(frozen=True, slots=True)
class PieceGone:
    """A set piece gone through in a take."""

    piece: int
    left_at: float
    """The beat it was left at."""
    pitch_percent: float | None = None
    """The pitch it was played at; None where it was too short, or counted by the clock."""


def seen(
    gone: Sequence[PieceGone | None], beats: Sequence[float], *, off_cue_s: Sequence[float] = ()
) -> Habits:
    """Habits of one take from its set pieces in the order played; None where the map has it not.

    `beats`: the map's beats of every one; `off_cue_s`: how far from its cue each record let go was.
    """
    known = [one for one in gone if one is not None]
    again = skipped = early = back = 0
    for before, after in pairwise(gone):
        if before is None or after is None:
            continue
        again += after.piece == before.piece
        skipped += after.piece > before.piece + 1
        back += after.piece < before.piece
        on = after.piece == before.piece + 1
        early += on and before.left_at < beats[before.piece] - 1.5
    pitches = [one.pitch_percent for one in known if one.pitch_percent is not None]
    return Habits(
        takes=1,
        pieces=len(known),
        again=again,
        skipped=skipped,
        early=early,
        back=back,
        pitched=len(pitches),
        pitch_percent=statistics.median(pitches) if pitches else 0.0,
        let_go=len(off_cue_s),
        off_cue_s=_root_mean_square(off_cue_s),
    )


def together(takes: Sequence[Habits]) -> Habits:
    """The habits of several takes as one.

    The pitch is the mean over the set pieces that told it, the way off the cue that of squares
    over all releases.
    """

    def total(name: str) -> float:
        return sum(float(getattr(take, name)) for take in takes)

    pitched, let_go = total("pitched"), total("let_go")
    squares = sum(take.let_go * take.off_cue_s**2 for take in takes)
    return Habits(
        **{name: total(name) for name in ("takes", "pieces", "again", "skipped", "early", "back")},
        pitched=pitched,
        pitch_percent=sum(t.pitch_percent * t.pitched for t in takes) / max(pitched, 1.0),
        let_go=let_go,
        off_cue_s=math.sqrt(squares / max(let_go, 1.0)),
    )


def _root_mean_square(values: Sequence[float]) -> float:
    return math.sqrt(sum(v * v for v in values) / len(values)) if values else 0.0
