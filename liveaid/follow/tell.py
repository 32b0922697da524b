"""From a place to a prompt: bars, beats, seconds, what comes next, and how the decks stand."""

from __future__ import annotations

from dataclasses import dataclass

from liveaid.follow.deck_line import Deck
from liveaid.follow.hearing import STILL
from liveaid.follow.next_cue import Here, next_cue
from liveaid.follow.plan import FollowPlan
from liveaid.follow.prompt import DeckNow, PieceNext, PieceNow, PlaceFit, Prompt, State
from liveaid.routine import SIDES, Piece, Routine, Side


@dataclass(frozen=True, slots=True)
class Picture:
    """What the follower knows at one moment."""

    state: State
    confidence: float
    section: int | None
    """-1 before the first set piece; None while waiting."""
    beat: float
    rate_bps: float
    elapsed_s: float | None
    now_s: float
    decks: dict[Side, Deck]
    fresh: dict[Side, bool]
    held: bool = False
    """Whether the place is the last sure one, since none is half believed now."""
    places: tuple[tuple[int, float], ...] = ()
    """Set piece and beat of two places that fit, the one told first; else none."""
    hints: tuple[str, ...] = ()


SURE = 0.5
"""Below half belief no wind is told."""


def tell(routine: Routine, plan: FollowPlan, picture: Picture) -> Prompt:
    """The prompt of one moment."""
    index, beat, rate = _where(plan, picture)
    piece = None if index is None else routine.pieces[index]
    length = 0 if index is None else routine.beats(index)
    ended = picture.section == plan.pieces
    whole = min(int(beat), max(length - 1, 0))
    bar = whole // routine.metre
    beats_left = max(length - beat, 0.0)
    return Prompt(
        state=picture.state,
        confidence=picture.confidence,
        elapsed_s=picture.elapsed_s,
        limit_s=routine.limit_s,
        piece=None if index is None else _now(routine, index),
        beat_position=None if piece is None else beat,
        bar=None if piece is None else bar + 1,
        beat=None if piece is None else whole % routine.metre + 1,
        bars_left=None if index is None else 0 if ended else routine.bar_count(index) - bar,
        beats_left=None if piece is None else beats_left,
        seconds_left=None if piece is None or rate <= 0.01 else beats_left / rate,
        tempo=None if piece is None else _tempo(piece, rate),
        next=_next(routine, index),
        decks={side: _deck(routine, plan, picture, side) for side in SIDES},
        first=_first(routine) if picture.state == "before" else (),
        limit_kept=_kept(routine, picture),
        held=picture.held,
        hints=picture.hints,
        places=tuple(PlaceFit(i, routine.pieces[i].name, beat) for i, beat in picture.places),
    )


def _where(plan: FollowPlan, picture: Picture) -> tuple[int | None, float, float]:
    """Set piece, beat, and beats a second; the ends of the routine stand at its first and last."""
    if picture.section is None:
        return None, 0.0, 0.0
    index = min(max(picture.section, 0), plan.pieces - 1)
    beat = plan.at(index).beats if picture.section >= plan.pieces else picture.beat
    return index, beat, picture.rate_bps


def _first(routine: Routine) -> tuple[Side, ...]:
    """Who lets go first: the decks that sound in the first set piece."""
    return tuple(side for side in SIDES if routine.pieces[0].plan(side).hand != "rests")


def _kept(routine: Routine, picture: Picture) -> bool | None:
    """Whether the time limit was kept, once the routine is over."""
    if picture.state != "over" or routine.limit_s is None or picture.elapsed_s is None:
        return None
    return picture.elapsed_s <= routine.limit_s


def _tempo(piece: Piece, rate_bps: float) -> float:
    """BPM as heard; the map's while the record that would tell it stands."""
    heard_bpm = 60.0 * rate_bps
    return heard_bpm if heard_bpm > STILL * piece.tempo_bpm else piece.tempo_bpm


def _now(routine: Routine, index: int) -> PieceNow:
    piece = routine.pieces[index]
    return PieceNow(
        index, piece.name, piece.part, piece.technique, piece.bars, piece.count, piece.prompt
    )


def _next(routine: Routine, index: int | None) -> PieceNext | None:
    if index is None or index + 1 >= len(routine.pieces):
        return None
    piece = routine.pieces[index + 1]
    return PieceNext(
        index + 1, piece.name, piece.part, piece.technique, piece.tempo_bpm, piece.prompt
    )


def _deck(routine: Routine, plan: FollowPlan, picture: Picture, side: Side) -> DeckNow:
    deck, fresh, section = picture.decks[side], picture.fresh[side], picture.section
    position_s = deck.place(picture.now_s) if fresh else deck.position_s
    found = deck.speed(picture.now_s) if fresh else None
    speed = None if found is None else found[0]
    age_ms = None if deck.heard_s is None else 1000.0 * (picture.now_s - deck.heard_s)
    if section is None:
        return DeckNow(position_s, speed, age_ms, None, None, None, ready=False)
    inside = plan.is_piece(section)
    here = Here(
        piece=section,
        beat=picture.beat if inside else 0.0,
        rate_bps=picture.rate_bps if inside else None,
        sure=picture.confidence >= SURE,
    )
    cue = next_cue(routine, side, here, position_s=position_s, speed=speed)
    return DeckNow(
        position_s, speed, age_ms, plan.at(section).parts[side].hand, cue=cue.cue, way=cue.way,
        wind=cue.wind, in_time=cue.in_time, sticker=cue.sticker, ready=cue.ready,
        after=cue.after, due_beats=cue.due_beats,
    )  # fmt: skip
