"""A take's figures: early or late, spread, missed, added, skipped, tempo held, clean or not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from liveaid.practice.act_score import ActScore, Outcome, Played, WindScore
from liveaid.practice.bars import other_bars, rest_of
from liveaid.practice.delays import NO_DELAYS, Delays
from liveaid.practice.hand_cuts import HandCuts
from liveaid.practice.limits import Limits
from liveaid.practice.shift import Off, PairShift, offs, shifts
from liveaid.practice.timing import Timing, TimingJudged, faults_of, judged_of, timing
from liveaid.practice.visits import Visit
from liveaid.practice.winds import late_words
from liveaid.routine import Routine
from liveaid.routine.written_numbers import bar_said

Verdict: TypeAlias = Literal["clean", "not clean", "not judged"]


_TOO_FEW = "too few acts to tell a delay from the hands: `liveaid rehearse --calibrate` does"


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceScore:
    """One set piece of a take."""

    piece: int
    name: str
    timing: Timing
    """As measured, whatever delays are in it."""
    judged: tuple[TimingJudged, ...]
    """What the verdict rests on, a kind of act each."""
    missed: int
    added: int
    skipped: int
    whole: bool
    """Played from its first beat to its last."""
    tempo_bpm: float | None
    tempo_percent: float | None
    """Against the tempo asked for."""
    drift_percent: float | None
    """Change of tempo from its start to its end."""
    verdict: Verdict
    why: tuple[str, ...]
    """What kept it from being clean, in words; why it was not judged."""
    acts: tuple[ActScore, ...] = field(repr=False)
    cuts: tuple[HandCuts, ...] = field(default=(), repr=False)
    """Told, never judged: how late a mixer's messages come is not known."""
    winds: tuple[WindScore, ...] = field(default=(), repr=False)

    @property
    def clean(self) -> bool:
        """Judged, and found clean."""
        return self.verdict == "clean"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeScore:
    """A whole take."""

    pieces: tuple[PieceScore, ...]
    skipped_pieces: tuple[int, ...]
    """Set pieces between the first and last played that were left out."""
    repeated_pieces: tuple[int, ...] = ()
    """Set pieces that were begun more than once."""
    timing: Timing
    missed: int
    added: int
    skipped: int
    run_through: bool
    """Whether it went from the routine's first beat to its last, each set piece once."""
    verdict: Verdict
    shifts: tuple[PairShift, ...] = ()
    """What the take is late by on the whole."""
    delays: Delays = NO_DELAYS
    """What was known of the delays, and taken out."""

    @property
    def clean(self) -> bool:
        """Judged, and found clean."""
        return self.verdict == "clean"


def score_take(
    routine: Routine,
    played: Sequence[Played],
    *,
    limits: Limits | None = None,
    tempo_part: float = 1.0,
    delays: Delays = NO_DELAYS,
    earlier: Sequence[Off] = (),
    gone_beats: Sequence[int] = (),
) -> TakeScore:
    """The figures of a take, `tempo_part` being the part of full tempo it was meant for.

    `delays` have been taken out of the acts' times. As long as they were not measured, what the
    take is late by on the whole is not held against it; `earlier` takes' errors help to tell it.
    `gone_beats` of each set piece lie before what was practised of it: bars are named as its own.
    """
    limits = limits or Limits()
    all_acts = [act for one in played for act in one.acts]
    late = shifts([*earlier, *offs(all_acts)])
    steady = None if delays.measured else late
    pieces = tuple(
        _score_piece(
            routine, one, limits, tempo_part, steady,
            gone_beats[one.visit.piece] // routine.metre if gone_beats else 0,
        )
        for one in played
    )  # fmt: skip
    gone = [piece.piece for piece in pieces]
    left_out = tuple(sorted(set(range(min(gone), max(gone) + 1)) - set(gone))) if gone else ()
    in_order = bool(gone) and gone == list(range(len(routine.pieces)))
    through = in_order and pieces[0].whole and pieces[-1].whole
    return TakeScore(
        pieces=pieces,
        skipped_pieces=left_out,
        repeated_pieces=tuple(sorted({index for index in gone if gone.count(index) > 1})),
        timing=timing(all_acts),
        missed=_count(all_acts, "missed"),
        added=_count(all_acts, "added"),
        skipped=_count(all_acts, "skipped"),
        run_through=through,
        verdict="not clean" if left_out else _together([piece.verdict for piece in pieces]),
        shifts=late,
        delays=delays,
    )


def _together(verdicts: Sequence[Verdict]) -> Verdict:
    """A take is clean when something in it was judged and all of that was clean."""
    if "not clean" in verdicts:
        return "not clean"
    return "clean" if "clean" in verdicts else "not judged"


def _score_piece(
    routine: Routine,
    played: Played,
    limits: Limits,
    tempo_part: float,
    steady: Sequence[PairShift] | None,
    bars_before: int,
) -> PieceScore:
    visit, acts = played.visit, played.acts
    piece, beats = routine.pieces[visit.piece], routine.beats(visit.piece)
    tempo, drift = _tempo(played)
    off = None if tempo is None else 100.0 * (tempo / (piece.tempo_bpm * tempo_part) - 1.0)
    not_whole = tuple(_not_whole(visit, beats, routine.metre, bars_before))
    judged = tuple(judged_of(acts, limits, steady))
    why = (
        *not_whole,
        *_faults(acts, judged, limits, off, metre=routine.metre, bars_before=bars_before),
        *late_words(played.winds, limits),
    )
    verdict: Verdict = "not clean" if why else "clean"
    if not why and not judged and not played.winds:
        told = any(act.error_s is not None for act in acts)
        verdict, why = "not judged", (_TOO_FEW if told else "nothing to time",)
    return PieceScore(
        piece=visit.piece, name=piece.name, timing=timing(acts), judged=judged,
        missed=_count(acts, "missed"), added=_count(acts, "added"),
        skipped=_count(acts, "skipped"), whole=not not_whole, tempo_bpm=tempo, tempo_percent=off,
        drift_percent=drift, verdict=verdict, why=why, acts=acts,
        cuts=played.cuts, winds=played.winds,
    )  # fmt: skip


def _tempo(played: Played) -> tuple[float | None, float | None]:
    """Mean tempo of a visit, and by how many per cent it changed over it."""
    visit, count = played.visit, played.count
    if count is None or visit.to_beat - visit.from_beat < 2:
        return None, None
    middle = (visit.from_beat + visit.to_beat) / 2
    first, second = (
        count.tempo_bpm(low, high)
        for low, high in ((visit.from_beat, middle), (middle, visit.to_beat))
    )
    # Two halves' means are half of an even change apart.
    return count.tempo_bpm(visit.from_beat, visit.to_beat), 200.0 * (second / first - 1.0)


def _not_whole(visit: Visit, beats: int, metre: int, bars_before: int) -> Iterable[str]:
    """What of a set piece was not gone through at its begin and end, in words."""
    bar, beat = divmod(round(visit.from_beat), metre)
    if visit.from_beat >= 1.0:
        yield f"begun at bar {bars_before + bar + 1}" + (f" beat {beat + 1}" if beat else "")
    left = beats - visit.to_beat
    if left >= 1.0:
        count, unit = (
            (round(left / metre), "bar") if left >= 0.75 * metre else (round(left), "beat")
        )
        yield f"ended {count} {unit}{'' if count == 1 else 's'} early"


def _faults(
    acts: Sequence[ActScore],
    judged: Sequence[TimingJudged],
    limits: Limits,
    tempo_percent: float | None,
    *,
    metre: int,
    bars_before: int,
) -> Iterable[str]:
    """What kept a set piece from being clean."""
    others = other_bars(acts, metre)
    missed, added = (rest_of(acts, metre, others, outcome) for outcome in ("missed", "added"))
    for bar, otherwise in others.items():
        yield f"{bar_said(bars_before + bar)} {otherwise}"
    if missed > limits.missed:
        yield f"{missed} missed"
    if added > limits.added:
        yield f"{added} added"
    for act in acts:
        if act.turns_off:
            turns, way = abs(act.turns_off), "ahead of" if act.turns_off > 0 else "behind"
            yield f"{act.side} record {turns} {'turn' if turns == 1 else 'turns'} {way} its cue"
    for one in judged:
        yield from faults_of(one, limits)
    if tempo_percent is not None and abs(tempo_percent) > limits.tempo_percent:
        yield "too fast" if tempo_percent > 0 else "too slow"


def _count(acts: Iterable[ActScore], outcome: Outcome) -> int:
    return sum(act.outcome == outcome for act in acts)
