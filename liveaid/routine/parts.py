"""Parts of sounds as a set piece's hand finds them: their names, and where they lie on the record.

Before a map is rendered the parts of one set piece lie as the render will lay them: next to one
another, so that what the hands have to do can be judged without any audio.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

from liveaid.routine.model import Routine, Sound, SoundPart, Works
from liveaid.routine.notes import TONE, read_notes
from liveaid.routine.written_numbers import LineError

GAP_S = 0.06
"""Silence, at least, between two parts laid side by side, so that an overshoot of the hand is not
heard: a thirtieth of a turn at 33 1/3 (common practice, no source)."""
SPARE_S = 0.05
"""So much longer than its longest note a tone is laid out (common practice, no source)."""
HOURS = 12
"""Parts begin at whole hours of the sticker's clock face: what the eye reads off a record."""
MOST_TRIED = 6
"""Up to so many parts every order is tried; beyond, they lie in the order of their first use."""


@dataclass(frozen=True, slots=True)
class PartAt:
    """One part where the hand finds it. Seconds of the deck file in a placed map, else from the
    begin of what the set piece has on the record."""

    label: str
    """Its name, with its sound where the name alone could be two; empty for the plan's own span."""
    sound: str | None
    from_s: float
    begin_s: float
    """Where an act on it begins: its attack."""
    to_s: float

    @property
    def way_s(self) -> float:
        """Seconds of record from where an act begins to the part's end."""
        return self.to_s - self.begin_s


@dataclass(frozen=True, slots=True)
class Named:
    """A part as the sounds of the map have it."""

    name: str
    label: str
    """The name, with its sound where two sounds have a part of that name."""
    sound: str
    part: SoundPart
    speed: float | None = None
    """Seconds of the sound in one of the deck file; None: as its set piece asks."""


def named_parts(routine: Routine) -> list[Named]:
    """Every part of every sound; a name that two sounds have is told with its sound."""
    names = [name for sound in routine.sounds.values() for name in sound.parts]
    return [
        Named(name, name if names.count(name) == 1 else f"{name} of {sound_name}", sound_name, part)
        for sound_name, sound in routine.sounds.items()
        for name, part in sound.parts.items()
    ]


def tone_of(routine: Routine, plan: Works) -> float | None:
    """Hertz of the steady tone a plan's notes are played on; None where its sound has none."""
    sound = routine.sounds.get(plan.sound or "")
    return sound.tone_hz if sound is not None and TONE in sound.parts else None


def note_parts(routine: Routine, index: int, plan: Works) -> list[Named]:
    """The tone as a part for each note of a melody: at its own speed where each is laid out, else
    one for all. The tone's own length where a melody cannot be read; that is told elsewhere."""
    tone_hz = tone_of(routine, plan)
    if plan.notes is None or tone_hz is None or plan.sound is None:
        return []
    whole = routine.sounds[plan.sound].parts[TONE]
    if plan.tones != "laid":
        return [Named(TONE, TONE, plan.sound, whole, 1.0)]
    try:
        notes = read_notes(
            plan.notes, metre=routine.metre, end=float(routine.beats(index)), laid=True
        )
    except LineError:
        return []
    beat_s = routine.pieces[index].beat_s
    longest: dict[str, float] = {}
    hz = {note.name: note.hz for note in notes}
    for note in notes:
        longest[note.name] = max(longest.get(note.name, 0.0), note.beats * beat_s)
    found = []
    for name, length_s in longest.items():
        speed = hz[name] / tone_hz
        end = min(whole.to_s, whole.begin_s + (length_s + SPARE_S) * speed)
        part = SoundPart(from_s=whole.begin_s, to_s=end, attack_s=None)
        found.append(Named(name, name, plan.sound, part, speed))
    return found


def known_parts(routine: Routine, index: int, plan: Works) -> dict[str, Named]:
    """Every part a plan may play, by label: a melody's own notes, else those of the sounds."""
    notes = note_parts(routine, index, plan)
    return {each.label: each for each in (notes or named_parts(routine))}


def speed_of(routine: Routine, index: int, named: Named) -> float:
    """Seconds of the sound in one second of the deck file for one part."""
    return part_speed(routine, index, named.sound) if named.speed is None else named.speed


def label_of(routine: Routine, plan: Works, name: str, sound: str | None) -> str:
    """The label a line's part is kept under. LineError when there is none, or two."""
    known = named_parts(routine)
    whole = f"{name} of {sound}" if sound else name
    if whole in plan.places or (not sound and name in plan.places):
        return whole
    found = [each.label for each in known if each.name == name and sound in (None, each.sound)]
    if len(found) == 1:
        return found[0]
    if len(found) > 1:
        raise LineError(name, f"{' or '.join(found)} would do")
    labels = [*plan.places, *(each.label for each in known)]
    would_do = f"one of {', '.join(labels)}" if labels else "a part named under a sound's `parts`"
    raise LineError(whole, f"{would_do} would do")


def part_speed(routine: Routine, index: int, sound_name: str) -> float:
    """Seconds of a sound in one second of the deck file when its parts are laid in a set piece.

    A sound with a beat of its own, an instrumental or a loop of known tempo, goes to the set
    piece's; a word or a hit stays as it is.
    """
    sound = routine.sounds[sound_name]
    if sound.tempo_bpm is None or not has_beat(sound):
        return 1.0
    return routine.pieces[index].tempo_bpm / sound.tempo_bpm


def has_beat(sound: Sound) -> bool:
    """Whether a sound has a beat of its own, which its parts keep where its tempo is known."""
    return sound.kind == "instrumental" or sound.loop


def laid_parts(
    routine: Routine, index: int, plan: Works, wanted: Sequence[str]
) -> dict[str, PartAt]:
    """Where each wanted part lies, by label; `wanted` in the order in which the hand goes to them,
    repeats included. In a placed map as the plan says, else as the render will lay them."""
    known = known_parts(routine, index, plan)
    if plan.places:
        return {
            label: PartAt(
                label,
                known[label].sound if label in known else None,
                place.from_s,
                place.begin_s,
                place.to_s,
            )
            for label, place in plan.places.items()
        }
    used = [known[label] for label in dict.fromkeys(wanted) if label in known]
    base = plan.from_s or 0.0
    starts = _starts(routine, index, used, wanted)
    return {
        each.label: _at(each, base + start, speed_of(routine, index, each))
        for each, start in zip(used, starts, strict=True)
    }


def _at(named: Named, start_s: float, speed: float) -> PartAt:
    part = named.part
    begin = start_s + (part.begin_s - part.from_s) / speed
    end = start_s + (part.to_s - part.from_s) / speed
    return PartAt(named.label, named.sound, start_s, begin, end)


def _starts(
    routine: Routine, index: int, used: Sequence[Named], wanted: Sequence[str]
) -> list[float]:
    """Second from the span's begin at which each part starts, in the order of `used`."""
    hour = routine.turntable.turn_s / HOURS
    lengths = [
        (each.part.to_s - each.part.from_s) / speed_of(routine, index, each) for each in used
    ]
    leads = [
        (each.part.begin_s - each.part.from_s) / speed_of(routine, index, each) for each in used
    ]
    best: list[float] = []
    least = math.inf
    place = {each.label: number for number, each in enumerate(used)}
    visits = [place[label] for label in wanted if label in place]
    for order in _orders(len(used)):
        starts = _laid_in(order, lengths, leads, hour)
        moved = _moved(starts, leads, lengths, visits)
        if moved < least - 1e-9:
            best, least = starts, moved
    return best


def _orders(count: int) -> Iterator[Sequence[int]]:
    if count > MOST_TRIED:
        yield range(count)
    else:
        yield from permutations(range(count))


def _laid_in(
    order: Sequence[int], lengths: Sequence[float], leads: Sequence[float], hour: float
) -> list[float]:
    """Starts of parts laid in this order: each begins at an hour of the clock face that no other
    of the set piece has, as long as there are hours left."""
    starts, taken, end = [0.0] * len(lengths), set[int](), 0.0
    first = leads[order[0]] if order else 0.0
    for number, part in enumerate(order):
        if number:
            least = end + GAP_S + leads[part] - first
            step = math.ceil(round(least / hour, 9))
            while step % HOURS in taken and len(taken) < HOURS:
                step += 1
            starts[part] = first + step * hour - leads[part]
        else:
            step = 0
        taken.add(step % HOURS)
        end = starts[part] + lengths[part]
    return starts


def _moved(
    starts: Sequence[float],
    leads: Sequence[float],
    lengths: Sequence[float],
    visits: Sequence[int],
) -> float:
    """Seconds of record the hand goes between parts, from the end of each to the next's begin."""
    return sum(
        abs(starts[after] + leads[after] - starts[before] - lengths[before])
        for before, after in pairwise(visits)
        if before != after
    )
