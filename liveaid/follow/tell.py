"""From a place to a prompt: bars, beats, seconds, what comes next, and how the decks stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from liveaid.follow.axis import HANDS, Axis, Floats
from liveaid.follow.deck import Deck
from liveaid.follow.hearing import STILL
from liveaid.follow.next_cue import Here, next_cue
from liveaid.follow.pointer import Place
from liveaid.follow.prompt import DeckNow, PieceNext, PieceNow, Prompt, State
from liveaid.routine import SIDES, Piece, Routine, Side
from liveaid.routine.way import Change

_NAMES = {code: name for name, code in HANDS.items()}


@dataclass(frozen=True, slots=True)
class Picture:
    """What the follower knows at one moment."""

    state: State
    confidence: float
    place: Place | None
    rate_bps: Floats
    elapsed_s: float | None
    now_s: float
    decks: dict[Side, Deck]
    fresh: dict[Side, bool]


SURE = 0.5
"""Below half belief no wind is told."""


def tell(routine: Routine, axis: Axis, ways: Sequence[Change], picture: Picture) -> Prompt:
    """The prompt of one moment; `ways` is the routine's `changes`."""
    index, beat, rate = _where(axis, picture)
    piece = None if index is None else routine.pieces[index]
    length = 0 if index is None else routine.beats(index)
    ended = picture.place is not None and picture.place.stretch == axis.after
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
        decks={side: _deck(routine, axis, ways, picture, side) for side in SIDES},
    )


def _where(axis: Axis, picture: Picture) -> tuple[int | None, float, float]:
    """Set piece, beat, and beats a second; the ends of the routine stand at its first and last."""
    place = picture.place
    if place is None:
        return None, 0.0, 0.0
    stretch = min(max(place.stretch, 1), axis.after - 1)
    beat = float(axis.beats[stretch]) if place.stretch >= axis.after else place.beat
    return stretch - 1, beat, float(picture.rate_bps[stretch])


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


def _deck(
    routine: Routine, axis: Axis, ways: Sequence[Change], picture: Picture, side: Side
) -> DeckNow:
    deck, fresh, place = picture.decks[side], picture.fresh[side], picture.place
    position_s = deck.place(picture.now_s) if fresh else deck.position_s
    found = deck.speed(picture.now_s) if fresh else None
    speed = None if found is None else found[0]
    age_ms = None if deck.heard_s is None else 1000.0 * (picture.now_s - deck.heard_s)
    if place is None:
        return DeckNow(position_s, speed, age_ms, None, None, None, ready=False)
    here = Here(
        piece=min(place.stretch, axis.after) - 1,
        beat=place.beat if axis.is_piece(place.stretch) else 0.0,
        rate_bps=float(picture.rate_bps[place.stretch]) if axis.is_piece(place.stretch) else None,
        sure=picture.confidence >= SURE,
    )
    cue = next_cue(routine, ways, side, here, position_s=position_s, speed=speed)
    hand = _NAMES.get(int(axis.decks[side].hand[place.stretch]))
    return DeckNow(position_s, speed, age_ms, hand, **asdict(cue))
