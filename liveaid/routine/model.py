"""The section map as frozen records: routine, sounds, set pieces, and what each hand does.

An attribute carries its unit (`tempo_bpm`); its alias is the word in the file (`tempo`).
A value that cannot be played cannot be built: pydantic raises ValidationError.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Literal, TypeAlias

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    model_validator,
)
from pydantic_core import PydanticCustomError

from liveaid.files.harmless import harmless
from liveaid.files.inside import odd_name
from liveaid.record.figures import figure
from liveaid.record.platter import LP_RPM, exact_rpm, turn_s
from liveaid.routine.act_line import DETAILS
from liveaid.routine.config_file import ConfigRecord, fault
from liveaid.routine.keys import parse_key
from liveaid.routine.near_words import meant
from liveaid.routine.notes import note_hz
from liveaid.routine.written_numbers import evened, number, number_text

Side: TypeAlias = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")
Part: TypeAlias = Literal["intro", "story", "climax", "outro"]
PARTS: tuple[Part, ...] = ("intro", "story", "climax", "outro")
Count: TypeAlias = Literal["left", "right", "clock"]
Kind: TypeAlias = Literal["instrumental", "a cappella", "sample", "effect"]


def other_side(side: Side) -> Side:
    """The deck across the mixer."""
    return "right" if side == "left" else "left"


def _reading(
    read: Callable[[str], Any], would_do: str, *, numbers: bool = False
) -> BeforeValidator:
    """Texts of a field are read by a function; what is no text passes, to be judged by the field.

    `read` raises ValueError for what it does not take. `numbers`: plain numbers pass too.
    """

    def value_of(text: Any) -> Any:
        if not isinstance(text, str) or (numbers and re.fullmatch(r"\s*[+-]?[\d.]+\s*", text)):
            return text
        try:
            return read(text)
        except ValueError as error:
            raise PydanticCustomError("text", "{would_do}", {"would_do": would_do}) from error

    return BeforeValidator(value_of)


def _seconds_of(text: str) -> float:
    """Seconds of ``m:ss`` or ``h:mm:ss``; ValueError for anything else."""
    match = re.fullmatch(r"(?:(\d{1,2}):(?=\d\d:))?(\d{1,3}):([0-5]\d(?:\.\d+)?)", text.strip())
    if match is None:
        raise ValueError(text)
    hours, minutes, seconds = match.groups()
    return int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)


def clock_time(seconds: float, *, digits: int = 3) -> str:
    """Seconds written as ``m:ss``, parts of a second only where there are any."""
    minutes, rest = divmod(round(seconds, digits), 60)
    shown = f"{int(rest):02d}" if rest == int(rest) else f"{rest:0{digits + 3}.{digits}f}"
    return f"{int(minutes)}:{shown}"


def _one_line(text: str) -> str:
    if harmless(text, lines=False) != text or not text.strip():
        raise PydanticCustomError("name", "a name of letters on one line would do")
    return text


def _file_name(text: str) -> str:
    if odd := odd_name(text):
        raise PydanticCustomError("file_name", "{odd}; a plain one would do", {"odd": odd})
    return text


def _no_detail(text: str) -> str:
    if text in DETAILS:
        would_do = "another name than {name} would do: acts use this word"
        raise PydanticCustomError("part_name", would_do, {"name": text})
    return text


def _bars_text(bars: float) -> float | str:
    """Bars as the map has them: a number, or with a fraction."""
    text = number_text(bars)
    return text if "/" in text else bars


def _by_beat(lines: Any) -> Any:
    """Lines by where they stand, the keys as text: Python's own numbers are written out."""
    if not isinstance(lines, dict):
        return lines
    return {key if isinstance(key, str) else f"{key:g}": line for key, line in lines.items()}


ClockTime = Annotated[
    float,
    _reading(_seconds_of, 'minutes and seconds such as "3:00" would do'),
    Field(gt=0, le=7200),
    PlainSerializer(clock_time),
]
KeyName = Annotated[
    str,
    _reading(lambda text: str(parse_key(text)), "a key such as A minor or F# major would do"),
]
Hertz = Annotated[
    float, _reading(note_hz, "hertz, or a note such as A4 or F#3, would do", numbers=True)
]
Beats = Annotated[float, _reading(number, "beats such as 4, 1.5 or 1/2 would do")]
Name = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_one_line)]
FileName = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_file_name)]
Seconds = Annotated[float, Field(ge=0, le=86400)]
Tempo = Annotated[float, Field(ge=20, le=300)]
Energy = Annotated[int, Field(ge=1, le=5)]
WholeBars = Annotated[int, Field(ge=1, le=1000)]
WrittenBars = Annotated[
    float,
    _reading(number, "bars such as 8 or 2 1/2 would do", numbers=True),
    AfterValidator(evened),
    PlainSerializer(_bars_text, return_type=Any),
]
"""Whole bars, or with a part of one: of whole beats, which the routine's metre says."""
PartName = Annotated[
    str, Field(pattern=r"^[^\W\d][\w-]*$", max_length=60), AfterValidator(_no_detail)
]
"""One word, so that a line of `acts:` may name it."""
Lines = Annotated[dict[str, str | None], BeforeValidator(_by_beat)]
"""Lines of `acts:` or `juggle:` by their beats; an empty one takes a figure's line away."""


class _Record(ConfigRecord):
    model_config = ConfigDict(validate_by_alias=True, validate_by_name=True)


class Turntable(_Record):
    """The turntable: speed, reach of its pitch fader, and how long a record side lasts."""

    rpm: Annotated[float, Field(ge=16, le=100)] = LP_RPM
    pitch_range_percent: Annotated[float, Field(alias="pitch_range", gt=0, le=100)] = 8.0
    side_s: Annotated[ClockTime, Field(alias="side")] = 600.0

    @property
    def turn_s(self) -> float:
        """Seconds of record in one turn of the platter."""
        return turn_s(self.rpm)

    @model_validator(mode="before")
    @classmethod
    def _exact(cls, data: Any) -> Any:
        """33, 33.3 and 33.333 all mean 33 1/3: a rounded figure must not drift the sticker."""
        try:
            return {**data, "rpm": exact_rpm(float(data["rpm"]))}
        except (KeyError, TypeError, ValueError):
            return data


class Performer(_Record):
    """What this performer's hands can do, where it is not what `liveaid.record.figures` says."""

    wind_turns_per_s: Annotated[float, Field(alias="wind_speed", gt=0, le=20)] = figure(
        "wind_turns_per_s"
    )
    """Turns a second when winding a record by hand."""
    needle_s: Annotated[float, Field(alias="needle_time", gt=0, le=60)] = figure("needle_s")
    """Seconds to lift the needle and set it down near a cue."""
    needle_turns: Annotated[float, Field(ge=0, le=100)] = figure("needle_turns")
    """Turns from where the needle lands to the cue, to be wound by hand."""
    settle_s: Annotated[float, Field(alias="settle_time", ge=0, le=60)] = figure("settle_s")
    """Seconds to set a record that was wound a turn or more exactly on its cue; less for less, and
    within reach the whole back-cue."""
    strokes_per_s: Annotated[float, Field(alias="stroke_rate", gt=0, le=20)] = figure(
        "strokes_per_s"
    )
    """Fastest strokes there and back that the hand keeps up."""
    reach_turns: Annotated[float, Field(alias="reach", gt=0, le=5)] = figure("reach_turns")
    """Furthest push or pull without taking the hand off the record."""
    hand_turns_per_s: Annotated[float, Field(alias="hand_speed", gt=0, le=20)] = figure(
        "hand_turns_per_s"
    )
    """Fastest the hand moves a record within a stroke."""
    fader_move_s: Annotated[float, Field(alias="fader_move", ge=0, le=2)] = figure("fader_move_s")
    """Seconds of a hand from its own record to the crossfader, or back."""
    hand_move_s: Annotated[float, Field(alias="hand_move", ge=0, le=2)] = figure("hand_move_s")
    """Seconds of a hand from one record to the other, or to the pitch."""
    margin_beats: Annotated[float, Field(alias="margin", ge=0, le=64)] = 2.0
    """A change with less time to spare than this is called tight."""
    hamster: bool = False
    """True when the crossfader is reversed."""


class DeckFile(_Record):
    """One deck's audio file, relative to the section map."""

    file: FileName


class Decks(_Record):
    """The two decks' files."""

    left: DeckFile = DeckFile(file="decks/left.wav")
    right: DeckFile = DeckFile(file="decks/right.wav")

    def of(self, side: Side) -> DeckFile:
        """The file of one side."""
        return self.left if side == "left" else self.right


class SoundPart(_Record):
    """A named piece of a sound: a word, a hit, a break. Seconds of the sound's file, or of the deck
    file where a plan says where its parts lie."""

    from_s: Annotated[Seconds, Field(alias="from")]
    to_s: Annotated[Seconds, Field(alias="to")]
    attack_s: Annotated[Seconds | None, Field(alias="attack")] = None
    """Where it begins to be heard; the hand's own starting place, `from` where left out."""

    @property
    def begin_s(self) -> float:
        """Where an act on it begins."""
        return self.from_s if self.attack_s is None else self.attack_s

    @model_validator(mode="after")
    def _in_order(self) -> SoundPart:
        if self.to_s <= self.from_s:
            raise fault("to", f"a second after `from` ({self.from_s:g}) would do")
        if self.attack_s is not None and not self.from_s <= self.attack_s < self.to_s:
            raise fault("attack", f"a second from {self.from_s:g} to {self.to_s:g} would do")
        return self


class Figure(_Record):
    """Acts under one name, of one deck (`acts:`) or of both (`juggle:`), or another one varied."""

    says: str = ""
    """What is done, in words."""
    beats: Annotated[Beats | None, Field(gt=0, le=4000)] = None
    """How long it lasts as written; a variation lasts as long as what it varies."""
    acts: Lines | None = None
    juggle: Lines | None = None
    like: Name | None = None
    """The figure this one varies."""
    but: Lines | None = None
    """The lines that differ from it; an empty one takes a line away."""

    @model_validator(mode="after")
    def _one_kind(self) -> Figure:
        given = [word for word in ("acts", "juggle", "like") if getattr(self, word) is not None]
        if len(given) != 1:
            raise fault(given[1] if given else "acts", "one of acts, juggle or like would do")
        if self.beats is None and self.like is None:
            raise fault("beats", "how many beats it lasts would do")
        if self.but is not None and self.like is None:
            raise fault("like", "the figure that `but` varies would do")
        return self


class Sound(_Record):
    """A sound the routine is made from, with what is known of it and where it came from."""

    file: FileName
    kind: Kind | None = None
    tempo_bpm: Annotated[Tempo | None, Field(alias="tempo")] = None
    first_beat_s: Annotated[Seconds | None, Field(alias="first_beat")] = None
    follow: bool | None = None
    """Whether its beats are followed where its tempo moves, so that they come out even. Left out:
    unless the map states both its tempo and its first beat."""
    key: KeyName | None = None
    tuning_cents: Annotated[float, Field(alias="tuning", ge=-50, le=50)] = 0.0
    """Cents the recording lies above its key (A = 440 Hz)."""
    stretch: bool = False
    """True: brought to tempo by time-stretch, so its key stays; False: by resampling."""
    loop: bool = False
    """True: the file is a whole number of beats long, so it may be repeated end to end."""
    source: str | None = None
    licence: str | None = None
    cleared: bool | None = None
    """The performer's own word on clearance; None leaves it to the licence."""
    tone_hz: Annotated[Hertz | None, Field(alias="tone", gt=0)] = None
    """Frequency of its steady tone, which its part `tone` holds."""
    parts: dict[PartName, SoundPart] = Field(default_factory=dict)
    parts_of: Annotated[str | None, Field(pattern=r"^[0-9a-f]{8,64}$")] = None
    """Digest of the file the parts were found in, at least its first 8 letters."""


class Runs(_Record):
    """The record turns by itself; its position tells the beat."""

    hand: Literal["runs"] = "runs"
    sound: Name | None = None
    bars_in: Annotated[WrittenBars, Field(ge=0, le=10000)] = 0
    at_s: Annotated[Seconds | None, Field(alias="at")] = None
    """Deck-file second of the set piece's first beat."""

    lies: ClassVar[tuple[str, ...]] = ("at_s",)
    """The fields that say where on the deck file it lies."""

    @property
    def cue_s(self) -> float | None:
        """Deck-file second the record must stand at when the set piece begins."""
        return self.at_s

    @property
    def placed(self) -> bool:
        """Whether the deck-file second is known."""
        return self.at_s is not None

    @property
    def stroke_beats(self) -> tuple[float, ...]:
        """A record that runs is let go once, as its set piece begins."""
        return ()


class Works(_Record):
    """A hand moves the record back and forth inside a span."""

    hand: Literal["works"] = "works"
    sound: Name | None = None
    bars_in: Annotated[WrittenBars, Field(ge=0, le=10000)] = 0
    from_s: Annotated[Seconds | None, Field(alias="from")] = None
    to_s: Annotated[Seconds | None, Field(alias="to")] = None
    own_cue_s: Annotated[Seconds | None, Field(alias="cue")] = None
    strokes: tuple[Annotated[float, Field(ge=0, le=16000)], ...] | None = None
    """Beats from the set piece's start, rising and before its end, at which the record is to be let
    go (both decks worked: a juggle) or pushed forward (one deck worked: a scratch)."""
    acts: Lines | None = None
    """What the hand does at which beat, a line each; see `routine/act_line.py`."""
    notes: Lines | None = None
    """A melody on the sound's tone: which note at which beat."""
    tones: Literal["pitch", "laid"] | None = None
    """How the notes are played: by the pitch fader, as where left out, or each laid out."""
    places: dict[Name, SoundPart] = Field(default_factory=dict)
    """Where each part lies in the deck file; written by the render."""

    lies: ClassVar[tuple[str, ...]] = ("from_s", "to_s", "own_cue_s", "places")
    """The fields that say where on the deck file it lies."""

    @property
    def cue_s(self) -> float | None:
        """Deck-file second the record must stand at when the set piece begins."""
        return self.from_s if self.own_cue_s is None else self.own_cue_s

    @property
    def placed(self) -> bool:
        """Whether the span's deck-file seconds are known."""
        return self.span_s is not None

    @property
    def span_s(self) -> float | None:
        """Seconds of record from the span's begin to its end; None where they are not known."""
        return None if self.from_s is None or self.to_s is None else self.to_s - self.from_s

    @property
    def stroke_beats(self) -> tuple[float, ...]:
        """The beats of `strokes:`; none where they are left to the hand or written as acts."""
        return self.strokes or ()

    @model_validator(mode="after")
    def _span(self) -> Works:
        if self.span_s is not None and self.span_s <= 0.0:
            raise fault("to", f"a second after `from` ({self.from_s:g}) would do")
        if self.from_s is None and self.to_s is not None:
            raise fault("from", "`from` beside `to` would do")
        if any(after <= before for before, after in pairwise(self.stroke_beats)):
            raise fault("strokes", "beats in rising order would do")
        if self.strokes is not None and self.acts is not None:
            raise fault("strokes", "either `strokes` or `acts` would do")
        if self.notes is not None and (self.acts is not None or self.strokes is not None):
            raise fault("notes", "either `notes`, or `acts` or `strokes`, would do")
        return self


class Rests(_Record):
    """The deck is silent, being wound to its next cue."""

    hand: Literal["rests"] = "rests"
    lies: ClassVar[tuple[str, ...]] = ()

    @property
    def sound(self) -> None:
        """A resting deck plays none."""
        return

    @property
    def cue_s(self) -> None:
        """A resting deck has no cue of its own."""
        return

    @property
    def placed(self) -> bool:
        """Nothing to place."""
        return True

    @property
    def stroke_beats(self) -> tuple[float, ...]:
        """Nothing is let go."""
        return ()


Plan: TypeAlias = Annotated[Runs | Works | Rests, Field(discriminator="hand")]


def without_place(plan: Plan) -> Plan:
    """The same plan with its place on the deck file left open."""
    fields = type(plan).model_fields
    open_ = {name: fields[name].get_default(call_default_factory=True) for name in plan.lies}
    return plan.model_copy(update=open_)


class Piece(_Record):
    """A set piece: what both hands do for so many bars."""

    name: Name
    part: Part = "story"
    technique: str = ""
    bars: Annotated[WrittenBars, Field(gt=0, le=1000)]
    tempo_bpm: Annotated[Tempo, Field(alias="tempo")]
    """BPM at pitch 0."""
    energy: Energy = 3
    count: Count = "clock"
    left: Plan = Rests()
    right: Plan = Rests()
    juggle: Lines | None = None
    """Which record is let go when, from which of its beats to which: both decks' acts in turns."""
    prompt: str = ""
    order: Literal["fixed", "free"] = "fixed"
    """`free`: arrange may move this set piece."""
    swap: Literal["fixed", "free"] = "fixed"
    """`free`: arrange may trade the two decks."""
    optional: bool = False
    """True: arrange may leave it out to keep the limit."""
    follows: Name | None = None
    """The set piece that belongs right before this one."""

    def plan(self, side: Side) -> Plan:
        """What the hand does on one side."""
        return self.left if side == "left" else self.right

    @property
    def placed(self) -> bool:
        """Whether every cue of the set piece has its deck-file second."""
        return self.left.placed and self.right.placed

    @property
    def sounding(self) -> tuple[Side, ...]:
        """The decks that do not rest."""
        return tuple(side for side in SIDES if not isinstance(self.plan(side), Rests))

    @property
    def running(self) -> tuple[Side, ...]:
        """The decks whose record turns by itself."""
        return tuple(side for side in SIDES if isinstance(self.plan(side), Runs))

    def is_called(self, *techniques: str) -> bool:
        """Whether its technique is one of these, by whole words: a teardrop is no tear."""
        words = "|".join(map(re.escape, techniques))
        return re.search(rf"\b(?:{words})(?:e?s)?\b", self.technique.lower()) is not None

    @property
    def is_juggle(self) -> bool:
        """Whether both decks are worked, taking turns."""
        return isinstance(self.left, Works) and isinstance(self.right, Works)

    @property
    def beat_s(self) -> float:
        """Seconds of a beat at pitch 0."""
        return 60.0 / self.tempo_bpm

    @model_validator(mode="after")
    def _count_runs(self) -> Piece:
        if self.count != "clock" and self.plan(self.count).hand != "runs":
            hand = self.plan(self.count).hand
            raise fault(
                "count", f"the {self.count} deck {hand} here; a deck that runs, or clock, would do"
            )
        if self.juggle is not None:
            self._juggled()
        return self

    def _juggled(self) -> None:
        for side in SIDES:
            plan = self.plan(side)
            if not isinstance(plan, Works):
                raise fault("juggle", f"the {side} deck {plan.hand} here; works would do")
            if plan.strokes is not None or plan.acts is not None or plan.notes is not None:
                raise fault("juggle", f"either it or {side}'s own strokes or acts would do")


class Want(_Record):
    """One thing the idea asks for: a part of the routine at some energy, and what could fill it.

    In the file `tempo: 85..100` says both ends of the range; `tempo_from`, `tempo_to` one alone.
    """

    part: Part
    energy: Energy = 3
    kind: Kind | None = None
    bars: WholeBars | None = None
    tempo_from_bpm: Annotated[Tempo | None, Field(alias="tempo_from")] = None
    tempo_to_bpm: Annotated[Tempo | None, Field(alias="tempo_to")] = None
    key: KeyName | None = None

    @model_validator(mode="before")
    @classmethod
    def _range(cls, data: Any) -> Any:
        """A range is written as `--find` takes it: two numbers with two dots between."""
        if not isinstance(data, dict) or "tempo" not in data:
            return data
        match = re.fullmatch(
            r"\s*(\d+(?:\.\d+)?)\s*(?:\.\.\s*(\d+(?:\.\d+)?)\s*)?", str(data["tempo"])
        )
        others = {"tempo_from", "tempo_to"} & data.keys()
        if match is None or others:
            would_do = f"either it or {sorted(others)[0]}" if others else "a range such as 85..100"
            raise fault("tempo", f"{would_do} would do")
        low, high = match[1], match[2] or match[1]
        if float(low) > float(high):
            raise fault("tempo", f"the lower one first, {high}..{low}, would do")
        rest = {word: value for word, value in data.items() if word != "tempo"}
        return {**rest, "tempo_from": low, "tempo_to": high}


class Idea(_Record):
    """The brief the routine grows from: theme, feel, and the parts wanted."""

    theme: str = ""
    feel: str = ""
    wants: Annotated[tuple[Want, ...], Field(max_length=200)] = ()


class Stamp(_Record):
    """What a placed map was rendered from, by digests, so that a later edit is noticed."""

    map: str
    """Digest of the written map."""
    sounds: dict[Name, str] = Field(default_factory=dict)
    """Digest of each sound's file."""


class Sketch(_Record):
    """What a section map says before it has set pieces."""

    title: Name
    limit_s: Annotated[ClockTime | None, Field(alias="limit")] = None
    metre: Annotated[int, Field(ge=1, le=32)] = 4
    turntable: Turntable = Turntable()
    performer: Performer = Performer()
    decks: Decks = Decks()
    idea: Idea | None = None
    sounds: dict[Name, Sound] = Field(default_factory=dict)
    figures: dict[PartName, Figure] = Field(default_factory=dict)
    """The performer's own figures."""


class Routine(Sketch):
    """The whole section map, from `load_routine` or built in Python by names or aliases."""

    rendered: Stamp | None = None
    """In a placed map: what it was made from; written by the render."""
    pieces: Annotated[tuple[Piece, ...], Field(min_length=1, max_length=1000)]

    @property
    def placed(self) -> bool:
        """Whether every cue has its deck-file second, so that the routine can be followed."""
        return all(piece.placed for piece in self.pieces)

    def beats(self, index: int) -> int:
        """Beats in one set piece, whole ones: its bars times the metre."""
        return round(self.pieces[index].bars * self.metre)

    def bar_count(self, index: int) -> int:
        """Bars begun in one set piece: a last one that is cut short counts."""
        return -(-self.beats(index) // self.metre)

    def piece_s(self, index: int) -> float:
        """Seconds one set piece lasts at pitch 0."""
        return self.beats(index) * self.pieces[index].beat_s

    @property
    def back_speed(self) -> float:
        """Seconds of record that this performer's hand brings back in one second."""
        return self.performer.wind_turns_per_s * self.turntable.turn_s

    @property
    def duration_s(self) -> float:
        """Seconds the routine lasts when every deck plays at pitch 0."""
        return sum(self.piece_s(index) for index in range(len(self.pieces)))

    def next_cue(self, side: Side, index: int) -> tuple[int, float | None] | None:
        """The next set piece after `index` where this deck sounds, and its cue; None at the end."""
        for later in range(index + 1, len(self.pieces)):
            if side in self.pieces[later].sounding:
                return later, self.pieces[later].plan(side).cue_s
        return None

    @model_validator(mode="after")
    def _fits_together(self) -> Routine:
        faults = [fault for index in range(len(self.pieces)) for fault in self._faults(index)]
        if faults:
            raise PydanticCustomError("faults", "{found}", {"found": str(faults), "faults": faults})
        return self

    def _faults(self, index: int) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """What one set piece says that does not go with the rest of the map: path, what would do.

        Bars that are no whole beats, sounds that are not there, strokes at or after the last beat.
        """
        piece = self.pieces[index]
        if near := _uneven(piece.bars, self.metre):
            yield (
                ("pieces", index, "bars"),
                f"whole beats of {self.metre} in a bar, {near}, would do",
            )
        for side in SIDES:
            plan, beats = piece.plan(side), self.beats(index)
            if plan.sound is not None and plan.sound not in self.sounds:
                hint = meant(plan.sound, list(self.sounds))
                yield ("pieces", index, side, "sound"), f"{hint}a name under `sounds`"
            for place, beat in enumerate(plan.stroke_beats):
                if beat >= beats:
                    would_do = f"a beat below {beats}, the set piece's length, would do"
                    yield ("pieces", index, side, "strokes", place), would_do


def _uneven(bars: float, metre: int) -> str:
    """The nearest bars of whole beats, where these are not; else nothing."""
    beats = bars * metre
    if round(beats) >= 1 and abs(beats - round(beats)) < 1e-6:
        return ""
    nearest = (max(1, math.floor(beats)), max(1, math.ceil(beats)))
    return " or ".join(dict.fromkeys(number_text(each / metre) for each in nearest))
