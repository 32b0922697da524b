"""From a place to a prompt: bars, beats, seconds, what comes next, and how the decks stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveaid.follow.deck import Deck
from liveaid.follow.hearing import STILL
from liveaid.follow.plan import Plan
from liveaid.follow.prompt import DeckNow, PieceNext, PieceNow, Prompt, State
from liveaid.routine import SIDES, Piece, Routine, Side
from liveaid.routine.platter import turns

READY_S = 0.25
"""A record this close to its cue is ready: an eighth of a turn at 33 1/3, the sticker in sight."""


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


def tell(routine: Routine, plan: Plan, picture: Picture) -> Prompt:
    """The prompt of one moment."""
    index, beat, rate = _where(plan, picture)
    piece = None if index is None else routine.pieces[index]
    length = 0 if index is None else routine.beats(index)
    ended = picture.section == plan.pieces
    whole = min(int(beat), max(length - 1, 0))
    beats_left = max(length - beat, 0.0)
    return Prompt(
        state=picture.state,
        confidence=picture.confidence,
        elapsed_s=picture.elapsed_s,
        limit_s=routine.limit_s,
        piece=None if index is None else _now(routine, index),
        beat_position=None if piece is None else beat,
        bar=None if piece is None else whole // routine.metre + 1,
        beat=None if piece is None else whole % routine.metre + 1,
        bars_left=None if piece is None else 0 if ended else piece.bars - whole // routine.metre,
        beats_left=None if piece is None else beats_left,
        seconds_left=None if piece is None or rate <= 0.01 else beats_left / rate,
        tempo=None if piece is None else _tempo(piece, rate),
        next=_next(routine, index),
        decks={side: _deck(routine, plan, picture, side) for side in SIDES},
    )


def _where(plan: Plan, picture: Picture) -> tuple[int | None, float, float]:
    """Set piece, beat, and beats a second; the ends of the routine stand at its first and last."""
    if picture.section is None:
        return None, 0.0, 0.0
    index = min(max(picture.section, 0), plan.pieces - 1)
    beat = plan.at(index).beats if picture.section >= plan.pieces else picture.beat
    return index, beat, picture.rate_bps


def _tempo(piece: Piece, rate_bps: float) -> float:
    """BPM as heard; the map's while the record that would tell it stands."""
    heard_bpm = 60.0 * rate_bps
    return heard_bpm if heard_bpm > STILL * piece.tempo_bpm else piece.tempo_bpm


def _now(routine: Routine, index: int) -> PieceNow:
    piece = routine.pieces[index]
    return PieceNow(index, piece.name, piece.part, piece.technique, piece.bars, piece.count)


def _next(routine: Routine, index: int | None) -> PieceNext | None:
    if index is None or index + 1 >= len(routine.pieces):
        return None
    piece = routine.pieces[index + 1]
    return PieceNext(
        index + 1, piece.name, piece.part, piece.technique, piece.tempo_bpm, piece.prompt
    )


def _deck(routine: Routine, plan: Plan, picture: Picture, side: Side) -> DeckNow:
    deck, fresh = picture.decks[side], picture.fresh[side]
    position_s = deck.place(picture.now_s) if fresh else deck.position_s
    found = deck.speed(picture.now_s) if fresh else None
    speed = None if found is None else found[0]
    age_ms = None if deck.heard_s is None else 1000.0 * (picture.now_s - deck.heard_s)
    hand, cue_s = _plan(routine, picture.section, plan, side)
    wind = None
    if hand == "rests" and cue_s is not None and position_s is not None:
        wind = turns(cue_s - position_s, routine.turntable.rpm)
    off_s = math.inf if wind is None else abs(wind) * routine.turntable.turn_s
    ready = off_s <= READY_S and abs(speed or 0.0) < STILL
    return DeckNow(position_s, speed, age_ms, hand, cue_s, wind, ready)


def _plan(
    routine: Routine, section: int | None, plan: Plan, side: Side
) -> tuple[str | None, float | None]:
    """What the hand does on a deck at a place, and the deck's next cue."""
    if section is None:
        return None, None
    later = routine.next_cue(side, section)
    return plan.at(section).parts[side].hand, None if later is None else later[1]
