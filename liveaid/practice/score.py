"""A take scored: early or late, spread, missed, added, skipped, tempo held, clean or not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace

from liveaid.practice import shift
from liveaid.practice.act_score import ActScore, Outcome, Played
from liveaid.practice.advice import advice
from liveaid.practice.aim import Aim
from liveaid.practice.assess import assess
from liveaid.practice.bars import other_bars, rest_of
from liveaid.practice.delays import NO_DELAYS, Delays
from liveaid.practice.hand_cuts import FaderScore, fader_sentences
from liveaid.practice.limits import Limits
from liveaid.practice.records import Kept
from liveaid.practice.stroke_figures import strokes_of, strokes_sentences
from liveaid.practice.take_score import PieceScore, TakeScore, Verdict
from liveaid.practice.timing import KindScore, faults_of, judged_of, timing
from liveaid.practice.visits import Visit
from liveaid.practice.winds import late_words
from liveaid.routine import Routine
from liveaid.routine.written_numbers import bar_said, so_many

_TOO_FEW = "too few acts to tell a delay from the hands: `liveaid rehearse --calibrate` does"


def score_take(
    routine: Routine,
    played: Sequence[Played],
    *,
    limits: Limits | None = None,
    tempo_part: float = 1.0,
    delays: Delays = NO_DELAYS,
    earlier: Sequence[shift.Off] = (),
    first: int = 0,
    gone_beats: Sequence[int] = (),
) -> TakeScore:
    """The score of a take, `tempo_part` being the part of full tempo it was meant for.

    `delays` have been taken out of the acts' times. As long as they were not measured, what the
    take is late by on the whole is not held against it; `earlier` takes' errors help to tell it.
    `routine` may be a stretch of a whole one: it begins with that one's set piece `first`, and of
    each of its set pieces `gone_beats` lie before it. Places, beats and bars are told as the whole
    one's.
    """
    limits = limits or Limits()
    all_acts = [act for one in played for act in one.acts]
    late = shift.shifts([*earlier, *shift.offs(all_acts)])
    steady = None if delays.measured else late
    pieces = tuple(
        _piece(routine, one, limits, tempo_part, steady, first, gone_beats) for one in played
    )
    gone = [piece.index for piece in pieces]
    left_out = tuple(sorted(set(range(min(gone), max(gone) + 1)) - set(gone))) if gone else ()
    in_order = bool(gone) and gone == list(range(first, first + len(routine.pieces)))
    return TakeScore(
        **asdict(timing(all_acts)),
        verdict="not clean" if left_out else _together([piece.verdict for piece in pieces]),
        missed=_count(all_acts, "missed"),
        added=_count(all_acts, "added"),
        skipped=_count(all_acts, "skipped"),
        run_through=in_order and pieces[0].whole and pieces[-1].whole,
        skipped_pieces=left_out,
        repeated_pieces=tuple(sorted({index for index in gone if gone.count(index) > 1})),
        shifts=late,
        shift="" if delays.measured else shift.says(late),
        delays=delays,
        faders=fader_sentences(fader for piece in pieces for fader in piece.faders),
        strokes=strokes_sentences(one for piece in pieces for one in piece.strokes),
        pieces=pieces,
    )


def score_of(aim: Aim, kept: Kept, earlier: Sequence[shift.Off] = ()) -> TakeScore:
    """A take's score; some tenths of a second's work, so it may be done aside.

    `earlier` as in `score_take`.
    """
    late, tempo_part = kept.delays, kept.tempo_part / kept.decks_part
    played = assess(
        aim.routine, late.corrected(kept.trace), kept.visits,
        mixer=late.corrected_mixer(kept.mixer),
        counted_in_s=late.heard_s(kept.counted_in_s), tempo_part=tempo_part, stops=not aim.piece,
    )  # fmt: skip
    score = score_take(
        aim.routine, played, limits=aim.limits, delays=late, earlier=earlier, first=aim.first,
        gone_beats=aim.gone_beats, tempo_part=tempo_part,
    )  # fmt: skip
    return replace(score, advice=advice(score, metre=aim.routine.metre))


def _together(verdicts: Sequence[Verdict]) -> Verdict:
    """A take is clean when something in it was judged and all of that was clean."""
    if "not clean" in verdicts:
        return "not clean"
    return "clean" if "clean" in verdicts else "not judged"


def _piece(
    routine: Routine,
    played: Played,
    limits: Limits,
    tempo_part: float,
    steady: Sequence[shift.Shift] | None,
    first: int,
    gone_beats: Sequence[int],
) -> PieceScore:
    visit, piece = played.visit, routine.pieces[played.visit.piece]
    gone = gone_beats[visit.piece] if gone_beats else 0
    acts = tuple(replace(act, beat=act.beat + gone) for act in played.acts)
    tempo, drift = _tempo(played)
    off = None if tempo is None else 100.0 * (tempo / (piece.tempo_bpm * tempo_part) - 1.0)
    not_whole = tuple(_not_whole(visit, routine, gone // routine.metre))
    kinds = tuple(judged_of(acts, limits, steady))
    why = (
        *not_whole,
        *_faults(acts, kinds, limits, off, routine.metre),
        *late_words(played.winds, limits),
    )
    verdict: Verdict = "not clean" if why else "clean"
    if not why and not kinds and not played.winds:
        told = any(act.error_s is not None for act in acts)
        verdict, why = "not judged", (_TOO_FEW if told else "nothing to time",)
    return PieceScore(
        **asdict(timing(acts)), index=first + visit.piece, name=piece.name, verdict=verdict,
        why=why, missed=_count(acts, "missed"), added=_count(acts, "added"),
        skipped=_count(acts, "skipped"), whole=not not_whole, tempo_bpm=tempo, tempo_percent=off,
        drift_percent=drift, kinds=kinds, acts=acts, strokes=strokes_of(acts),
        faders=tuple(_later(fader, gone) for fader in played.faders), winds=played.winds,
        bars_before=gone // routine.metre,
    )  # fmt: skip


def _later(fader: FaderScore, beats: int) -> FaderScore:
    """A fader's cuts in the whole set piece's beats."""
    cuts = (cut if cut.beat is None else replace(cut, beat=cut.beat + beats) for cut in fader.cuts)
    return replace(fader, cuts=tuple(cuts))


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


def _not_whole(visit: Visit, routine: Routine, bars_before: int) -> Iterable[str]:
    """What of a set piece was not gone through at its begin and end, in words."""
    metre = routine.metre
    bar, beat = divmod(round(visit.from_beat), metre)
    if visit.from_beat >= 1.0:
        yield f"begun at bar {bars_before + bar + 1}" + (f" beat {beat + 1}" if beat else "")
    left = routine.beats(visit.piece) - visit.to_beat
    if left >= 1.0:
        in_bars = left >= 0.75 * metre
        gone = so_many(round(left / metre), "bar") if in_bars else so_many(round(left), "beat")
        yield f"ended {gone} early"


def _faults(
    acts: Sequence[ActScore],
    kinds: Sequence[KindScore],
    limits: Limits,
    tempo_percent: float | None,
    metre: int,
) -> Iterable[str]:
    """What kept a set piece from being clean."""
    others = other_bars(acts, metre)
    missed, added = (rest_of(acts, metre, others, outcome) for outcome in ("missed", "added"))
    for bar, otherwise in others.items():
        yield f"{bar_said(bar)} {otherwise}"
    if missed > limits.missed:
        yield f"{missed} missed"
    if added > limits.added:
        yield f"{added} added"
    for act in acts:
        if act.turns_off:
            way = "ahead of" if act.turns_off > 0 else "behind"
            yield f"{act.side} record {so_many(abs(act.turns_off), 'turn')} {way} its cue"
    for one in kinds:
        yield from faults_of(one, limits)
    if tempo_percent is not None and abs(tempo_percent) > limits.tempo_percent:
        yield "too fast" if tempo_percent > 0 else "too slow"


def _count(acts: Iterable[ActScore], outcome: Outcome) -> int:
    return sum(act.outcome == outcome for act in acts)
