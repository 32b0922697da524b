"""The lines of one deck in one set piece as moves in order of beat: figures worked out, repeats
and pick-ups too, before it is known where on the record they take place."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from liveaid.routine.act_line import ActKind, ActLine, Over, TurnLine
from liveaid.routine.figure_book import Book, FigureEntry, Path, read_lines, written
from liveaid.routine.model import Routine, Side, Works, other_side
from liveaid.routine.notes import TONE, percent, read_notes
from liveaid.routine.parts import label_of, tone_of
from liveaid.routine.problems import Hindrance
from liveaid.routine.written_numbers import LineError

MOST_MOVES = 20_000
"""More moves than this in one set piece are a slip of the pen."""
CLICK_SHARE = 0.25
"""A click shuts the fader for this share of one sounding (common practice, no source)."""
CUT_SHARE = 0.5
"""A tapped-open fader is open for this share of one tap (common practice, no source)."""

_SOUNDS: tuple[ActKind, ...] = ("push", "pull", "let go", "spin back", "set pitch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One act in its place in time, in beats; where on the record is not known yet."""

    kind: ActKind
    beat: float
    beats: float | None
    """None: as long as it takes, or until the next."""
    part: str | None = None
    """The part it begins on anew; None: it goes on where the record stands."""
    at_beats: float = 0.0
    """Beats of record past the part's begin at which it begins."""
    over: Over | None = None
    open: tuple[tuple[float, float], ...] | None = None
    """Beats of the set piece; None: open while it sounds."""
    rolled: bool = False
    percent: float | None = None
    figure: str = ""
    path: Path = ()


@dataclass(slots=True)
class Moves:
    """What the lines of one deck come to: moves by beat, and what is wrong in the lines."""

    moves: list[Move] = field(default_factory=list)
    faults: list[Hindrance] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Call:
    """Where in time, how long, on what part and from which line a figure is worked out."""

    start: float
    scale: float
    part: str | None
    sound: str | None
    path: Path
    figures: tuple[str, ...] = ()
    clicks: int | None = None
    cuts: int | None = None
    rolled: bool = False
    swapped: bool = False


def moves_of(routine: Routine, index: int, side: Side) -> Moves:
    """All moves of one deck in one set piece, by beat, from its lines or its written strokes."""
    piece, plan = routine.pieces[index], routine.pieces[index].plan(side)
    if not isinstance(plan, Works):
        return Moves()
    writer = _Writer(routine, index, side, plan)
    if piece.juggle is not None:
        writer.read(("pieces", index, "juggle"), piece.juggle, juggles=True)
    elif plan.acts is not None:
        writer.read(("pieces", index, side, "acts"), plan.acts, juggles=False)
    elif plan.notes is not None:
        writer.notes(plan.notes)
    elif plan.strokes:
        writer.strokes(plan.strokes)
    return writer.done()


def let_go_spans(
    strokes: Sequence[float], others: Sequence[float], *, end: float, back: float
) -> list[tuple[float, float]]:
    """From when to when a record let go at each stroke may run: until the other deck's next stroke
    comes, or as long as leaves time to bring it back for its own, at `back` times its speed.

    All in one unit of time; what runs x takes x / back to bring back, so 1 part of 1 + `back`.
    """
    spans = []
    for place, begin in enumerate(strokes):
        until = end
        if place + 1 < len(strokes):
            until = begin + (strokes[place + 1] - begin) * back / (1.0 + back)
        spans.append((begin, min([until, *(other for other in others if other > begin)])))
    return spans


class _Writer:
    """Writes the moves of one deck down."""

    def __init__(self, routine: Routine, index: int, side: Side, plan: Works) -> None:
        self._routine, self._index, self._side, self._plan = routine, index, side, plan
        self._book = Book(routine)
        self._out = Moves()
        self._turns: list[tuple[float, TurnLine, _Call]] = []

    def done(self) -> Moves:
        self._out.moves += self._of_turns()
        self._out.moves.sort(key=lambda move: move.beat)
        return self._out

    def read(self, path: Path, lines: dict[str, str | None], *, juggles: bool) -> None:
        """All lines of `acts:` or `juggle:`."""
        metre = self._routine.metre
        entries, faults = read_lines(written(lines, path), juggles=juggles, metre=metre)
        self._out.faults += faults
        for entry in entries:
            self._out.faults += self._book.misnamed(entry, juggles=juggles)
            self._entry(entry, _Call(0.0, 1.0, None, None, entry.path))

    def notes(self, lines: dict[str, str | None]) -> None:
        """`notes:`: the tone let go and its pitch set at each note, or each note's own place."""
        path: Path = ("pieces", self._index, self._side, "notes")
        end, laid = float(self._routine.beats(self._index)), self._plan.tones == "laid"
        tone_hz = tone_of(self._routine, self._plan)
        if tone_hz is None:
            would_do = "a sound with `tone:` and a part `tone` (`liveaid gather --notes`) would do"
            found = self._plan.sound or "no sound"
            self._out.faults.append(Hindrance(path, f"{found}, which has no tone", would_do))
            return
        try:
            notes = read_notes(lines, metre=self._routine.metre, end=end, laid=laid)
        except LineError as error:
            self._out.faults.append(error.at(path))
            return
        for place, note in enumerate(notes):
            first = laid or place == 0
            spans = None if laid else ((note.beat, note.beat + note.beats),)
            lasts = (
                note.beats if laid or place + 1 == len(notes) else notes[place + 1].beat - note.beat
            )
            self._out.moves.append(
                Move(
                    kind="let go" if first else "set pitch",
                    beat=note.beat,
                    beats=lasts,
                    part=(note.name if laid else TONE) if first else None,
                    open=spans,
                    percent=None if laid else percent(note.hz, tone_hz),
                    figure=note.name,
                    path=path,
                )
            )
            if laid:
                self._out.moves.append(
                    Move(
                        kind="catch", beat=note.beat + lasts, beats=0.0, figure=note.name, path=path
                    )
                )

    def strokes(self, strokes: tuple[float, ...]) -> None:
        """`strokes:`: let go at each, taken when the other deck comes in, and brought back."""
        path: Path = ("pieces", self._index, self._side, "strokes")
        others = self._routine.pieces[self._index].plan(other_side(self._side)).stroke_beats
        end, back = float(self._routine.beats(self._index)), self._routine.back_speed
        for place, (beat, until) in enumerate(let_go_spans(strokes, others, end=end, back=back)):
            call = _Call(beat, 1.0, None, None, (*path, place))
            self._turns.append((beat, TurnLine(side=self._side, to_beat=until - beat), call))

    # --- lines and figures ------------------------------------------------------------------

    def _entry(self, entry: FigureEntry, call: _Call) -> None:
        line, at = entry.line, call.start + entry.beat * call.scale
        if len(self._out.moves) + len(self._turns) > MOST_MOVES:
            return
        if isinstance(line, TurnLine):
            self._turn(at, line, call)
        elif line.kind is not None:
            self._act(at, line, line.kind, call)
        elif line.name in self._book and line.name not in call.figures:
            self._figure(at, line, call)

    def _figure(self, at: float, line: ActLine, call: _Call) -> None:
        entries, _ = self._book.entries(line.name)
        written_beats = self._book.beats(line.name)
        lasts = (line.beats or written_beats) * call.scale
        part, sound = (line.part, line.sound) if line.part else (call.part, call.sound)
        for turn in range(line.times):
            inner = _Call(
                start=at + turn * lasts,
                scale=lasts / written_beats,
                part=part,
                sound=sound,
                path=call.path,
                figures=(*call.figures, line.name),
                clicks=line.clicks or call.clicks,
                cuts=line.cuts or call.cuts,
                rolled=line.rolled or call.rolled,
                swapped=call.swapped != line.swapped,
            )
            for place, entry in enumerate(entries):
                goes_on = place > 0 and isinstance(entry.line, ActLine) and entry.line.kind
                self._entry(entry, replace(inner, part=None) if goes_on else inner)

    def _act(self, at: float, line: ActLine, kind: ActKind, call: _Call) -> None:
        given = (line.part, line.sound) if line.part else (call.part, call.sound)
        try:
            part = self._label(*given)
        except LineError as error:
            self._out.faults.append(error.at(call.path))
            return
        beats = None if line.beats is None else line.beats * call.scale
        for turn in range(line.times):
            if line.times > 1 and beats is None:
                would_do = "`for` so many beats beside it would do"
                self._out.faults.append(
                    Hindrance(call.path, f"x{line.times} without `for`", would_do)
                )
                return
            begins = at + turn * (beats or 0.0)
            self._out.moves.append(
                Move(
                    kind=kind,
                    beat=begins,
                    beats=beats,
                    part=part,
                    over=line.over,
                    open=_openings(line, call, begins, beats, kind),
                    rolled=line.rolled or call.rolled,
                    percent=line.percent,
                    figure=call.figures[-1] if call.figures else "",
                    path=call.path,
                )
            )

    def _label(self, name: str | None, sound: str | None) -> str | None:
        if name is None:
            return None
        return label_of(self._routine, self._plan, name, sound)

    # --- turns of a juggle ------------------------------------------------------------------

    def _turn(self, at: float, line: TurnLine, call: _Call) -> None:
        side: Side = other_side(line.side) if call.swapped else line.side
        lasts = None if line.to_beat is None else line.to_beat - line.from_beat
        for turn in range(line.times if lasts is not None else 1):
            begins = at + turn * (lasts or 0.0) * call.scale
            self._turns.append((begins, replace(line, side=side), call))

    def _of_turns(self) -> Iterator[Move]:
        """Let go, taken, and brought back, for every turn of this deck."""
        turns = sorted(self._turns, key=lambda turn: turn[0])
        begins = [beat for beat, _, _ in turns]
        mine = [turn for turn in turns if turn[1].side == self._side]
        for place, (beat, line, call) in enumerate(mine):
            given = (line.part, line.sound) if line.part else (call.part, call.sound)
            try:
                part = self._label(*given) or ""
            except LineError as error:
                self._out.faults.append(error.at(call.path))
                continue
            after = mine[place + 1][0] if place + 1 < len(mine) else None
            then = bisect_right(begins, beat)
            later = begins[then : then + 1]
            yield from self._one_turn(beat, line, call, part, later, after)

    def _one_turn(
        self,
        beat: float,
        line: TurnLine,
        call: _Call,
        part: str,
        later: list[float],
        after: float | None,
    ) -> Iterator[Move]:
        """`later`: the beat of the next turn of either deck, `after`: of the next of this one."""
        end = float(self._routine.beats(self._index))
        if line.to_beat is not None:
            lasts = (line.to_beat - line.from_beat) * call.scale
        else:
            lasts = min([*later, end]) - beat
        figure = call.figures[-1] if call.figures else ""
        yield Move(
            kind="let go", beat=beat, beats=lasts, part=part, at_beats=line.from_beat,
            figure=figure, path=call.path,
        )  # fmt: skip
        back_at = beat + lasts
        if line.back == "runs on" or back_at >= end - 1e-9:
            return
        yield Move(kind="catch", beat=back_at, beats=0.0, figure=figure, path=call.path)
        if after is not None and after > back_at:
            yield Move(
                kind=line.back, beat=back_at, beats=after - back_at, figure=figure, path=call.path,
            )  # fmt: skip


def _openings(
    line: ActLine, call: _Call, at: float, beats: float | None, kind: ActKind
) -> tuple[tuple[float, float], ...] | None:
    """Beats of the set piece in which a line says the fader is open; None: the act's own habit."""
    if line.open is not None:
        return tuple((at + a * call.scale, at + b * call.scale) for a, b in line.open)
    if beats is None or kind not in _SOUNDS:
        return None
    if line.cuts is not None:
        cuts = call.cuts or line.cuts
        slot = beats / cuts
        return tuple((at + n * slot, at + (n + CUT_SHARE) * slot) for n in range(cuts))
    if line.clicks is not None:
        return tuple(_clicked(at, beats, call.clicks or line.clicks))
    return None


def _clicked(at: float, beats: float, clicks: int) -> Iterator[tuple[float, float]]:
    """Soundings of equal length, the fader shut about each boundary between two."""
    slot = beats / (clicks + 1)
    shut = 0.5 * CLICK_SHARE * slot
    for number in range(clicks + 1):
        opens = at + number * slot + (shut if number else 0.0)
        closes = at + (number + 1) * slot - (shut if number < clicks else 0.0)
        yield opens, closes
