"""Stretches of sound to be laid on a deck, each with the uses that share it.

A record that already stands where the next set piece wants it is not wound: the two uses share
one passage. Every other use gets a passage of its own, next to where the hand will be; a copy
costs seconds of the side, a wind costs the performer's time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from liveaid.record.places import SAME_S
from liveaid.routine import Side
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.layout.uses import Use


@dataclass(frozen=True, slots=True)
class UseIn:
    """A use and the deck seconds from its passage's begin to its own."""

    use: Use
    offset_s: float
    arrives: bool = False
    """The record gets there by itself, left running or standing by the use before."""

    @property
    def cue_s(self) -> float:
        """Deck seconds from the passage's begin to the use's cue."""
        return self.offset_s + self.use.cue_offset_s

    @property
    def left_at_s(self) -> float:
        """Deck seconds from the passage's begin to where the record stands afterwards."""
        return self.offset_s + self.use.left.at_s


@dataclass(frozen=True, slots=True)
class Passage:
    """One unbroken stretch of a deck file: segments end to end, and who plays it."""

    side: Side
    segments: tuple[Segment, ...]
    uses: tuple[UseIn, ...]

    @property
    def sounds(self) -> tuple[str, ...]:
        """The sounds it is made of, each once."""
        return tuple(dict.fromkeys(each.sound for each in self.segments if each.sound))

    @property
    def length_s(self) -> float:
        """Deck seconds of sound, fades not counted."""
        return sum(segment.length_s for segment in self.segments)

    @property
    def cue_s(self) -> float:
        """Deck seconds from the begin to the cue that the sticker goes by: the first use's."""
        return self.uses[0].cue_s


def passages_of(
    uses: Sequence[Use], materials: Mapping[str, Material], starts_s: Sequence[float]
) -> list[Passage]:
    """The passages of one deck, in order of first use.

    `starts_s`: the routine's second at which each set piece starts, and one more: its end.
    """
    passages: list[Passage] = []
    for use in uses:
        place = None
        if passages:
            rest = starts_s[use.piece] - starts_s[passages[-1].uses[-1].use.piece + 1]
            place = _standing(passages[-1], use, materials[use.segment.sound], rest_s=rest)
        if place is None:
            passages.append(Passage(use.side, _segments(use), (UseIn(use, 0.0),)))
        else:
            passages[-1] = _shared(passages[-1], use, max(place - use.cue_offset_s, 0.0))
    return passages


def sharings(passages: Sequence[Passage]) -> list[list[Passage]]:
    """The same passages with one given up whose sound another holds, and its uses moved there: a
    refrain, or a stretch that is juggled and then left running.

    One list for each that can be given up; of those alike the first is kept.
    """
    found = []
    for index, passage in enumerate(passages):
        for keeper, other in enumerate(passages):
            place_s = _place_in(other, passage)
            alike = other.length_s <= passage.length_s + SAME_S
            if place_s is None or (alike and keeper >= index):
                continue
            fewer = list(passages)
            fewer[keeper] = _joined(other, passage, place_s)
            del fewer[index]
            found.append(fewer)
            break
    return found


def _joined(whole: Passage, part: Passage, place_s: float) -> Passage:
    """The one passage with the uses of both, in the order they are played in."""
    moved = [replace(used, offset_s=used.offset_s + place_s) for used in part.uses]
    return replace(
        whole, uses=tuple(sorted([*whole.uses, *moved], key=lambda used: used.use.piece))
    )


def whole_of(part: Passage, passages: Iterable[Passage]) -> Passage | None:
    """The longest passage that holds all the sound of this one at the same speed, if any does.

    A copy for a juggle is as loud as the passage it is a copy of a part of.
    """
    wholes = [
        passage
        for passage in passages
        if passage.length_s > part.length_s + SAME_S and _place_in(passage, part) is not None
    ]
    return max(wholes, key=lambda passage: passage.length_s, default=None)


def _place_in(whole: Passage, part: Passage) -> float | None:
    """Where in a passage all the sound of another lies at the same speed, in deck seconds from its
    begin; None where it does not."""
    if whole.segments == part.segments:
        return 0.0
    if len(part.segments) != 1:
        return None
    small, begin_s = part.segments[0], 0.0
    for big in whole.segments:
        if (
            (big.sound, big.even) == (small.sound, small.even)
            and abs(big.speed / small.speed - 1.0) < 1e-9
            and big.start_s <= small.start_s + SAME_S
            and small.in_sound(small.length_s) <= big.in_sound(big.length_s + SAME_S)
        ):
            return begin_s + (small.start_s - big.start_s) / big.speed
        begin_s += big.length_s
    return None


def _segments(use: Use) -> tuple[Segment, ...]:
    """The use's own stretch, or its parts with silence between them."""
    if not use.parts:
        return (use.segment,)
    segments: list[Segment] = []
    at = 0.0
    for part in use.parts:
        if part.offset_s > at + SAME_S:
            gap_s = part.offset_s - at
            segments.append(Segment(sound="", speed=1.0, start_s=0.0, length_s=gap_s))
        segments.append(part.segment)
        at = part.offset_s + part.segment.length_s
    return tuple(segments)


def _standing(last: Passage, use: Use, material: Material, *, rest_s: float) -> float | None:
    """Where in the last passage the new use has its cue, if the record gets there by itself.

    It does when it is left running, straight on or through a rest, as its way has it; or when a
    hand left it there. A record that a hand has to stop for a rest counts as standing only at the
    passage's own cue, where the sticker tells its place.
    """
    before = last.uses[-1]
    ran, wanted = before.use.segment, use.segment
    if (ran.sound, ran.even) != (wanted.sound, wanted.even) or before.use.parts or use.parts:
        return None
    left_s = before.left_at_s
    runs_to = left_s + rest_s
    if before.use.left.runs and _fits(last, before, use, material, runs_to):
        return runs_to
    held = not before.use.left.runs or abs(left_s - last.cue_s) < SAME_S
    return left_s if held and _fits(last, before, use, material, left_s) else None


def _fits(last: Passage, before: UseIn, use: Use, material: Material, stands_s: float) -> bool:
    """Whether the sound at a place of the passage is the one the new use has its cue on."""
    there = before.use.segment.in_sound(stands_s - before.offset_s)
    gap = use.segment.in_sound(use.cue_offset_s) - there
    if material.loop_beats:
        gap -= material.duration_s * round(gap / material.duration_s)
    if abs(gap) > SAME_S * max(1.0, use.segment.speed):
        return False
    begin = stands_s - use.cue_offset_s
    if abs(use.segment.speed / last.segments[-1].speed - 1.0) < 1e-9:
        return begin > last.length_s - last.segments[-1].length_s - SAME_S
    at_its_end = abs(stands_s - last.length_s) < SAME_S
    return at_its_end and not use.works


def _shared(passage: Passage, use: Use, begin_s: float) -> Passage:
    """The passage made long enough for one more use that begins at `begin_s`."""
    last = passage.segments[-1]
    uses = (*passage.uses, UseIn(use, begin_s, arrives=True))
    missing = begin_s + use.segment.length_s - passage.length_s
    if missing <= SAME_S:
        return replace(passage, uses=uses)
    if abs(use.segment.speed / last.speed - 1.0) < 1e-9:
        longer = replace(last, length_s=last.length_s + missing)
        return replace(passage, segments=(*passage.segments[:-1], longer), uses=uses)
    added = replace(use.segment, start_s=last.in_sound(last.length_s))
    return replace(passage, segments=(*passage.segments, added), uses=uses)
