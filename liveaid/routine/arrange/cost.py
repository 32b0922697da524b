"""What one order of the set pieces costs the hands and the ears: a stated sum of whole points.

The cost of a set piece at its place depends on the place, on the set piece just before, and, for a
deck that rested in that one, on where that deck sounded last. So it can be minimised exactly.
What is simplified, against check: of a deck's rest only the set piece just before counts as time to
wind; one in which both decks rest leaves time for any winding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from liveaid.record.bring import bring
from liveaid.record.places import THERE_S
from liveaid.routine.arc import arc_energy
from liveaid.routine.arrange.items import Item, hand_roles, items_of
from liveaid.routine.check.act_rules import hardness
from liveaid.routine.check.key_rules import sounding_key
from liveaid.routine.check.tempo_rules import STEADY_PERCENT, beyond_fader
from liveaid.routine.hands import free_s
from liveaid.routine.harmony import Pitched, meet, tempo_step
from liveaid.routine.model import PARTS, SIDES, Piece, Routine
from liveaid.routine.timeline import Moment
from liveaid.routine.way import Change, changes

Points = NDArray[np.int32]

TERM_WORDS = {
    "winding": "records wound",
    "short": "too little time to wind",
    "tight": "tight changes",
    "tempo": "tempo steps",
    "key": "key steps",
    "energy": "off the energy arc",
    "parts": "parts out of order",
    "hands": "hands change over",
    "technique": "same technique twice",
    "together": "pairs played apart",
    "hard": "hard set pieces running",
}
"""Every term of the cost, and what the performer calls it."""
TERMS = tuple(TERM_WORDS)
VIA_TERMS = TERMS[:3]

ASSUMED_TURNS = 2.0
"""Turns between two passages not yet placed: render lays them side by side, to whole turns."""

HARD = 0.8
"""A set piece whose hardest act takes this part of what hands can do is a hard one (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class Weights:
    """Points for each thing that costs something; 100 is what a clear blemish is worth.

    Tuned by judgement, not measured: two hands that cannot make it outweigh everything else.
    """

    wind_per_turn: int = 6
    """Each turn is a moment the eyes are on a sticker."""
    short_per_beat: int = 1000
    """A beat too few at a change is a change that fails; nothing else is worth that."""
    tight: int = 60
    """A change below the performer's margin can go wrong on the night."""
    tempo_per_percent: int = 8
    """A step within the fader's reach costs a hand and is heard as a lurch."""
    tempo_beyond: int = 120
    """A step beyond the fader cannot be blended at all, only cut."""
    key_clash: int = 72
    """Keys that clash between what sounds before and after; related keys cost their share."""
    energy_per_step: int = 40
    """Each level away from the arc at that place."""
    part_back: int = 300
    """Each part the order goes back: an outro before a story is no routine."""
    hand_change: int = 20
    """A hand that goes from platter to fader or back at the change."""
    same_technique: int = 50
    """The same technique twice running tires the ear."""
    apart: int = 400
    """Two set pieces that belong together, played apart: `follows:` in the map."""
    hard_twice: int = 80
    """Two set pieces running that come close to what hands can do, with no rest between."""


@dataclass(frozen=True, slots=True)
class Costs:
    """Every part of the cost in tables over items (a set piece with its decks as they are taken).

    `pair_terms[t, a, j]`: j right after a, by term of TERMS. `via_terms[t, b, a, j]`: what a deck
    that rests in a, and last sounded in b, adds when j wants it, by term of VIA_TERMS; the last b
    stands for nowhere. `place_terms[j, p]`: j at place p, all of it energy.
    """

    items: tuple[Item, ...]
    pair_terms: Points
    via_terms: Points
    place_terms: Points

    @property
    def pair(self) -> Points:
        """Points that j right after a costs, all terms together, by [a, j]."""
        total: Points = self.pair_terms.sum(axis=0, dtype=np.int32)
        return total

    @property
    def via(self) -> Points:
        """Points that a deck resting in a, last heard in b, adds when j wants it, by [b, a, j]."""
        total: Points = self.via_terms.sum(axis=0, dtype=np.int32)
        return total

    def walk(self, order: Sequence[int]) -> NDArray[np.int64]:
        """Points of one order of items, by place and term; its sum is the cost."""
        points = np.zeros((len(order), len(TERMS)), dtype=np.int64)
        energy = TERMS.index("energy")
        elsewhere = len(self.items)
        for at, item in enumerate(order):
            points[at, energy] += self.place_terms[item, at]
            if at:
                last = order[at - 1]
                points[at] += self.pair_terms[:, last, item]
                points[at, : len(VIA_TERMS)] += self.via_terms[:, elsewhere, last, item]
                elsewhere = self.remembered(last, elsewhere, item)
        return points

    def total(self, order: Sequence[int]) -> int:
        """Cost in points of one order of items, given by their numbers."""
        return int(self.walk(order).sum())

    def remembered(self, last: int, elsewhere: int, now: int) -> int:
        """Where the deck that rests in `now` last sounded, as an item; len(items) for nowhere."""
        if self.keeps(last, now):
            return elsewhere
        resting = self.items[now].resting
        if len(resting) == 1 and resting[0] in self.items[last].sounding:
            return last
        return len(self.items)

    def elsewhere(self) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        """By (last, now): whether `keeps`; and what is `remembered` where nothing was before."""
        every = range(len(self.items))
        keeps = [[self.keeps(a, j) for j in every] for a in every]
        fresh = [[self.remembered(a, len(self.items), j) for j in every] for a in every]
        return np.array(keeps), np.array(fresh)

    def keeps(self, last: int, now: int) -> bool:
        """Whether one deck rests in both of two set pieces, and the other sounds in both."""
        return len(self.items[now].resting) == 1 and (
            self.items[last].resting == self.items[now].resting
        )


def costs_of(routine: Routine, swappable: Sequence[bool], weights: Weights) -> Costs:
    """The cost tables of a routine; `swappable` says which set pieces may trade decks."""
    items = items_of(routine, swappable)
    count, places = len(items), len(routine.pieces)
    pair = np.zeros((len(TERMS), count, count), dtype=np.int32)
    via = np.zeros((len(VIA_TERMS), count + 1, count, count), dtype=np.int32)
    waits = [_Wait.of(routine, item) for item in items]
    hard = [hardness(routine, index) >= HARD for index in range(places)]
    for a, j in product(range(count), repeat=2):
        if items[a].piece != items[j].piece:
            if hard[items[a].piece] and hard[items[j].piece]:
                pair[TERMS.index("hard"), a, j] += weights.hard_twice
            _follow(routine, items, weights, a, j, pair, via, waits)
    place = np.array(
        [[_energy(item, at, places, weights) for at in range(places)] for item in items],
        dtype=np.int32,
    )
    return Costs(items, pair, via, place)


@dataclass(frozen=True, slots=True)
class _Wait:
    """How long a set piece lasts for a deck that rests in it, and with a hand free."""

    rest_s: float
    free_s: float

    @staticmethod
    def of(routine: Routine, item: Item) -> _Wait:
        alone = routine.model_copy(update={"pieces": (item.taken,)})
        end = Moment(0, float(alone.beats(0)))
        return _Wait(alone.piece_s(0), free_s(alone, Moment(0, 0.0), end))


def _follow(
    routine: Routine, items: tuple[Item, ...], weights: Weights, a: int, j: int,
    pair: Points, via: Points, waits: Sequence[_Wait],
) -> None:  # fmt: skip
    """Fill in what it costs that j follows a, directly or with one set piece between."""
    old, new = items[a], items[j]
    for term, points in _heard(routine, old, new, weights).items():
        pair[TERMS.index(term), a, j] += points
    couple = routine.model_copy(update={"pieces": (old.taken, new.taken)})
    for move in changes(couple):
        if move.before is None:
            continue
        for term, points in _wound(couple, move, _Wait(0.0, 0.0), weights).items():
            pair[TERMS.index(term), a, j] += points
        for c, between in enumerate(items):
            if between.piece in (old.piece, new.piece) or between.resting != (move.side,):
                continue
            for term, points in _wound(couple, move, waits[c], weights).items():
                via[VIA_TERMS.index(term), a, c, j] += points


def _wound(couple: Routine, move: Change, wait: _Wait, weights: Weights) -> dict[str, int]:
    """Points of one deck's change when it rests through one set piece more."""
    turn_s, performer = couple.turntable.turn_s, couple.performer
    turns = ASSUMED_TURNS if move.turns is None else move.turns
    if move.still_runs and abs(turns * turn_s - wait.rest_s) <= THERE_S:
        return {}  # it runs on, unheard, to just where it is wanted
    needed_s = bring(turns, performer).needed_s
    free = move.free_s + wait.free_s
    beat_s = couple.pieces[1].beat_s
    short_beats = max(0.0, needed_s - free - move.give_s) / beat_s
    spare_beats = (free - needed_s) / beat_s
    return {
        "winding": round(weights.wind_per_turn * abs(turns)),
        "short": round(weights.short_per_beat * short_beats),
        "tight": weights.tight if spare_beats < performer.margin_beats else 0,
    }


def _heard(routine: Routine, old: Item, new: Item, weights: Weights) -> dict[str, int]:
    """Points of what is heard and felt at a change, winding apart."""
    before, after = old.taken, new.taken
    step = abs(tempo_step(before.tempo_bpm, after.tempo_bpm).percent)
    tempo = 0.0 if step < STEADY_PERCENT else weights.tempo_per_percent * step
    if beyond_fader(routine, step):
        tempo += weights.tempo_beyond
    back = max(0, PARTS.index(before.part) - PARTS.index(after.part))
    same = before.technique.strip().lower() == after.technique.strip().lower() != ""
    roles = zip(hand_roles(before), hand_roles(after), strict=True)
    moved = sum(None not in (was, now) and was != now for was, now in roles)
    return {
        "tempo": round(tempo),
        "key": round(weights.key_clash * _key_cost(routine, old, new)),
        "parts": weights.part_back * back,
        "hands": weights.hand_change * moved,
        "technique": weights.same_technique if same else 0,
        "together": weights.apart * _torn(routine, before, after),
    }


def _torn(routine: Routine, before: Piece, after: Piece) -> int:
    """How many pairs that belong together are torn by what comes right after what."""
    own = after.follows is not None and after.follows != before.name
    led = any(piece.follows == before.name for piece in routine.pieces)
    return own + (led and after.follows != before.name)


def _key_cost(routine: Routine, old: Item, new: Item) -> float:
    """The least that a key sounding before and one sounding after cost side by side, 0 to 1."""
    before, after = _keys(routine, old), _keys(routine, new)
    return min((meet(a, b).cost for a in before for b in after), default=0.0)


def _keys(routine: Routine, item: Item) -> list[Pitched]:
    sounding = (sounding_key(routine, item.piece, side) for side in SIDES)
    return [each for each in sounding if each is not None]


def _energy(item: Item, at: int, places: int, weights: Weights) -> int:
    share = at / (places - 1) if places > 1 else 0.0
    return round(weights.energy_per_step * abs(item.taken.energy - arc_energy(share)))


def weights_from(changed: dict[str, int]) -> Weights:
    """The weights with some changed by name; KeyError names one that does not exist."""
    for name in changed:
        if name not in Weights.__dataclass_fields__:
            raise KeyError(name)
    return Weights(**changed)
