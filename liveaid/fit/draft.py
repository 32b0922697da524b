"""A first map drafted from an idea and the sounds there are. Pure.

A rule of thumb, for the performer to change: an instrumental for each thing wanted, on the decks in
turn so that the other hand has a whole set piece to bring the next record; over it, where wanted,
a voice to work, and then the instrumental alone again while that deck is brought on. The tempo
moves no further than it has to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from liveaid.fit.brief import Wanted, brief, brought_into
from liveaid.fit.meeting import read_plainly, within
from liveaid.routine.layout.material import STUDY_TRUSTED
from liveaid.routine.model import (
    Idea,
    Kind,
    Part,
    Piece,
    Plan,
    Rests,
    Runs,
    Side,
    Turntable,
    Want,
    Works,
    other_side,
)
from liveaid.routine.shared_out import shared_out
from liveaid.shelf.columns import bars_of
from liveaid.study.facts import Study

BARS = 8
"""A set piece as long as a phrase of most beats (common practice, no source)."""
BARS_BETWEEN = 4
"""So long the instrumental goes on alone while the worked record is brought on."""
_HAND: dict[Kind, str] = {"a cappella": "scratch", "sample": "scratch", "effect": "scratch"}


@dataclass(frozen=True, slots=True)
class Drafted:
    """One set piece of the draft, and why it is there."""

    piece: Piece
    why: str


@dataclass(frozen=True, slots=True)
class Draft:
    """A first map."""

    pieces: tuple[Drafted, ...]
    sounds: tuple[str, ...]
    """The sounds it uses, as the caller named them, in the order they are first heard."""
    lacks: tuple[str, ...]
    """What the idea wants and nothing there would do for, in sentences."""


def draft(
    idea: Idea | None,
    sounds: Mapping[str, Study],
    *,
    turntable: Turntable | None = None,
    metre: int = 4,
) -> Draft:
    """A first map for an idea from these sounds (name to study); without wants, from what is there.

    Empty where no sound with a steady beat is there: nothing could carry the count.
    """
    turntable = turntable or Turntable()
    usable = {name: study for name, study in sounds.items() if _usable(study)}
    if idea is None or not idea.wants:
        idea = Idea(wants=_of_what_is_there(usable, metre))
    found = brief(idea, usable, turntable=turntable, metre=metre)
    making = _Making(usable, turntable, metre)
    for place, wanted in enumerate(found.wants):
        making.add(wanted, found.wants[place + 1 :])
    return Draft(tuple(making.pieces), tuple(making.used), tuple(making.lacks))


def _usable(study: Study) -> bool:
    """A worked sound needs nothing; what runs needs a beat that can be counted on."""
    return study.kind != "instrumental" or _runs(study)


def _runs(study: Study) -> bool:
    steady = study.tempo is not None and study.tempo_confidence >= STUDY_TRUSTED
    return steady and study.first_beat is not None and (bars_of(study) or 0.0) >= 1.0


def _carries(study: Study, metre: int) -> bool:
    """Whether an instrumental is long enough for a set piece, and counted as the routine is."""
    return study.metre in (None, metre) and bool(
        study.loop_beats or (bars_of(study) or 0.0) >= BARS
    )


def _of_what_is_there(sounds: Mapping[str, Study], metre: int) -> tuple[Want, ...]:
    """Wants that the sounds there can fill: quiet in, up to the loudest, and out."""
    instrumentals = [(s.energy, n) for n, s in sounds.items() if s.kind == "instrumental"]
    carrying = [(energy, name) for energy, name in instrumentals if _carries(sounds[name], metre)]
    runs = sorted(carrying or instrumentals)
    voices = sorted(s.energy for s in sounds.values() if s.kind == "a cappella")
    parts: tuple[Part, ...] = ("intro", "story", "climax", "outro")
    count = min(len(parts), len(runs))
    if count == 0:
        return ()
    # The quietest opens, the loudest is the climax, what is left over closes.
    rising = [runs[round(step * (len(runs) - 1) / max(count - 1, 1))][0] for step in range(count)]
    order = rising if count < 4 else [rising[0], rising[2], rising[3], rising[1]]
    wants = [
        Want(part=part, energy=energy, kind="instrumental", bars=BARS)
        for part, energy in zip(parts[:count], order, strict=True)
    ]
    if voices:
        wants.insert(min(2, count), Want(part="story", energy=voices[0], kind="a cappella"))
    return tuple(wants)


class _Making:
    """The draft as it grows."""

    def __init__(self, sounds: Mapping[str, Study], turntable: Turntable, metre: int) -> None:
        self._sounds, self._turntable, self._metre = sounds, turntable, metre
        self.pieces: list[Drafted] = []
        self.used: list[str] = []
        self.lacks: list[str] = []
        self._on: Side = "right"
        self._running: str | None = None
        self._bars_gone = 0
        self._tempo_bpm = 0.0

    def add(self, wanted: Wanted, later: Sequence[Wanted]) -> None:
        """The set pieces for one thing wanted, or what is lacking; `later` is wanted after it."""
        want = wanted.want
        name = self._choice(wanted, later)
        if name is None:
            kind = want.kind or "sound"
            self.lacks.append(f"Nothing there for the {want.part}: {kind}, energy {want.energy}.")
        elif self._sounds[name].kind == "instrumental":
            self._run(name, want, self._why(name, wanted))
        elif self._running is None:
            self.lacks.append(f"{name} has no instrumental before it to go over.")
        else:
            self._work(name, want, self._why(name, wanted))

    def _choice(self, wanted: Wanted, later: Sequence[Wanted]) -> str | None:
        """What would do for it, else what misses least; unused ones first."""
        want = wanted.want
        alike = [n for n, s in self._sounds.items() if want.kind is None or s.kind == want.kind]
        near = [name for name, _ in wanted.near if name in alike]
        reach = self._turntable.pitch_range_percent / 100.0

        def cost(name: str) -> tuple[int, bool, bool, int, float, str]:
            study, far = self._sounds[name], self._far(name)
            odd = study.kind == "instrumental" and not _carries(study, self._metre)
            off = abs(study.energy - want.energy)
            beyond = within(far, reach) is None
            return self._left_without(name, later), odd, beyond, off, far, name

        for names in (wanted.ready, near, alike):
            fresh = [name for name in names if name not in self.used]
            if fresh:
                return min(fresh, key=cost)
        return next(iter(wanted.ready), None)

    def _left_without(self, name: str, later: Sequence[Wanted]) -> int:
        """How many later wants would have no sound of their own once this one is taken."""
        gone = {name, *self.used}
        return shared_out([[n for n in one.ready if n not in gone] for one in later]).count(None)

    def _far(self, name: str) -> float:
        """How far the tempo would have to move for it, as a part."""
        tempo = self._sounds[name].tempo
        if not tempo or not self._tempo_bpm:
            return 0.0
        return min(abs(read / self._tempo_bpm - 1.0) for read in read_plainly(tempo))

    def _why(self, name: str, wanted: Wanted) -> str:
        missed = dict(wanted.near).get(name, "")
        but = f", but {missed}" if missed else ""
        return f"{name}, for the {wanted.want.part} at energy {wanted.want.energy}{but}"

    def _run(self, name: str, want: Want, why: str) -> None:
        self._tempo_bpm = self._tempo_for(self._sounds[name], want)
        self._on = other_side(self._on)
        self._running, self._bars_gone = name, 0
        bars = self._bars(want.bars or BARS)
        self._append(want, "drop", bars, why, want.part.capitalize())

    def _work(self, name: str, want: Want, why: str) -> None:
        voice = Works(sound=name)
        technique = _HAND.get(self._sounds[name].kind, "scratch")
        bars = self._bars(want.bars or BARS)
        part = want.part.capitalize()
        self._append(want, technique, bars, why, f"{part} with {name}", voice)
        alone = "the beat alone, so that the worked deck can be brought to its next cue"
        self._append(want, "drop", self._bars(BARS_BETWEEN), alone, f"{part} alone")

    def _append(
        self, want: Want, technique: str, bars: int, why: str, name: str, voice: Works | None = None
    ) -> None:
        assert self._running is not None
        beat = Runs(sound=self._running, bars_in=self._bars_gone)
        plans: dict[Side, Plan] = {self._on: beat, other_side(self._on): voice or Rests()}
        piece = Piece(
            name=self._name(name), part=want.part, technique=technique, bars=bars,
            tempo_bpm=self._tempo_bpm, energy=want.energy, count=self._on,
            left=plans["left"], right=plans["right"],
        )  # fmt: skip
        self.pieces.append(Drafted(piece, why))
        self.used += [n for n in (self._running, voice and voice.sound) if n and n not in self.used]
        self._bars_gone += bars

    def _tempo_for(self, study: Study, want: Want) -> float:
        """The tempo before where the fader reaches from there, else the sound's own."""
        assert study.tempo is not None
        reach = self._turntable.pitch_range_percent / 100.0
        before = self._tempo_bpm
        if before and brought_into(want, before) == before:
            nearest = min(read_plainly(study.tempo), key=lambda tempo: abs(tempo - before))
            if within(before / nearest - 1.0, reach) is not None:
                return before
        return round(brought_into(want, study.tempo), 1)

    def _bars(self, wanted: int) -> int:
        """As many of the bars wanted as the running sound still has; it starts anew if need be."""
        assert self._running is not None
        study = self._sounds[self._running]
        if study.loop_beats:
            return wanted
        first_s = study.first_beat or 0.0
        assert study.tempo is not None
        has = int((study.duration_s - first_s) * study.tempo / 60.0 / self._metre + 0.01)
        if has - self._bars_gone < 1:
            self._bars_gone = 0
        return max(1, min(wanted, has - self._bars_gone))

    def _name(self, wanted: str) -> str:
        """The name wanted, numbered where another set piece has it."""
        taken = {one.piece.name for one in self.pieces}
        name, number = wanted, 2
        while name in taken:
            name, number = f"{wanted} {number}", number + 1
        return name


def renamed(drafted: Draft, names: Mapping[str, str]) -> Draft:
    """The draft with its sounds under the names the map gives them, in all that is said too."""

    def told(text: str) -> str:
        for old, new in names.items():
            text = text.replace(old, new)
        return text

    def plan(one: Plan) -> Plan:
        if one.sound is None:
            return one
        return one.model_copy(update={"sound": names[one.sound]})

    pieces: Sequence[Drafted] = [
        replace(
            one,
            why=told(one.why),
            piece=one.piece.model_copy(
                update={
                    "name": told(one.piece.name),
                    "left": plan(one.piece.left),
                    "right": plan(one.piece.right),
                }
            ),
        )
        for one in drafted.pieces
    ]
    lacks = tuple(map(told, drafted.lacks))
    return replace(drafted, pieces=tuple(pieces), lacks=lacks)
