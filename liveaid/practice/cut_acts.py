"""The acts of some bars of a set piece written down as lines of their own.

A figure that lies within the bars keeps its name, each repeat of it by itself. Figures, repeats and
turns of a juggle may also begin before the bars and end after them: of those what is written down
are the acts they come to, each with its beat, its length and its way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from liveaid.routine import Routine, Side, Works
from liveaid.routine.act_line import DETAILS, ActLine
from liveaid.routine.acts import BROUGHT, SAME_PLACE_S, STROKES, Act, acts_of, worked_out
from liveaid.routine.figure_book import Book, Path, read_lines, written
from liveaid.routine.notes import read_notes


@dataclass(frozen=True, slots=True)
class _Figure:
    """One time through a figure that lies within the bars, from a beat of the set piece on."""

    beat: float
    beats: float
    path: Path
    words: tuple[str, ...]
    """Its line for this once."""

    def holds(self, act: Act) -> bool:
        """Whether an act is of it."""
        return act.path == self.path and -1e-9 < act.beat - self.beat < self.beats - 1e-9


def acts_within(routine: Routine, index: int, side: Side, gone: float, beats: float) -> Works:
    """A deck's plan with only the acts that begin in so many beats after those that are gone.

    The record stands where the first of them begins, which in a placed map is its cue.
    """
    plan = routine.pieces[index].plan(side)
    assert isinstance(plan, Works)
    if plan.notes is not None:
        return plan.model_copy(update={"notes": _notes(routine, index, plan, gone, beats)})
    inside = [act for act in acts_of(routine, index, side) if _begins(act, gone, beats)]
    parts = worked_out(routine, index, side).parts
    begins = {label: (part.begin_s, part.to_s) for label, part in parts.items()}
    whole = list(_whole_figures(routine, index, side, gone, beats))
    lines: dict[str, str | None] = {}
    for beat, words in _lines(inside, whole, begins, gone, beats, placed=plan.placed):
        key = _number(beat)
        while key in lines:  # a catch and the way back begin on one beat: 2 and 2.0 are two keys
            key += "0" if "." in key else ".0"
        lines[key] = words
    cue_s = inside[0].from_s if inside and plan.placed else plan.own_cue_s
    return plan.model_copy(update={"acts": lines, "strokes": None, "own_cue_s": cue_s})


def _notes(routine: Routine, index: int, plan: Works, gone: float, beats: float) -> dict[str, str]:
    """The notes of a melody that begin in the bars, none longer than they are."""
    end, laid = float(routine.beats(index)), plan.tones == "laid"
    notes = read_notes(plan.notes or {}, metre=routine.metre, end=end, laid=laid)
    return {
        _number(note.beat - gone):
        f"{note.name} for {_number(min(note.beats, gone + beats - note.beat))}"
        for note in notes
        if gone <= note.beat < gone + beats
    }  # fmt: skip


def _begins(act: Act, gone: float, beats: float) -> bool:
    """Whether an act begins in the bars; a pick-up belongs to the first of them."""
    return (gone <= act.beat or not gone) and act.beat < gone + beats - 1e-9


def _whole_figures(
    routine: Routine, index: int, side: Side, gone: float, beats: float
) -> Iterator[_Figure]:
    """Every time through a figure of `acts:` that lies within the bars as a whole."""
    plan, book = routine.pieces[index].plan(side), Book(routine)
    acts = plan.acts if isinstance(plan, Works) else None
    lines = written(acts or {}, ("pieces", index, side, "acts"))
    texts = {path: text for _, text, path in lines}
    for entry in read_lines(lines, juggles=False, metre=routine.metre)[0]:
        line = entry.line
        if not isinstance(line, ActLine) or line.kind is not None:
            continue
        lasts = line.beats or book.beats(line.name)
        words = [word for word in (texts[entry.path] or "").split() if not _TIMES.fullmatch(word)]
        words += [] if line.beats else ["for", _number(lasts)]
        for turn in range(line.times):
            at = entry.beat + turn * lasts
            if (gone <= at + 1e-9 or not gone) and at + lasts <= gone + beats + 1e-9:
                yield _Figure(at, lasts, entry.path, tuple(words))


_TIMES = re.compile(r"x\d+")


def _lines(
    acts: Sequence[Act],
    whole: Sequence[_Figure],
    begins: dict[str, tuple[float, float]],
    gone: float,
    beats: float,
    *,
    placed: bool,
) -> Iterator[tuple[float, str]]:
    """The beat and the words of each figure and each act; what brings the record to a part is left
    to the map."""
    told: _Figure | None = None
    for place, act in enumerate(acts):
        figure = next((one for one in whole if one.holds(act)), None)
        if figure is not None:
            if figure != told:
                part = act.part if not place and not placed else None
                yield figure.beat - gone, " ".join(_begun_on(figure.words, part))
            told = figure
            continue
        after = acts[place + 1] if place + 1 < len(acts) else None
        if act.kind in BROUGHT and not act.written and (after is None or _anew(after, begins)):
            continue
        first = not place and not placed
        named = act.part and act.kind not in BROUGHT and (first or _anew(act, begins))
        share = min(1.0, (gone + beats - act.beat) / act.beats) if act.beats else 1.0
        yield act.beat - gone, " ".join(_words(act, share, named=bool(named)))


def _begun_on(words: Sequence[str], label: str | None) -> Iterator[str]:
    """A figure's line with the part it begins on, where that is to be said and is not yet."""
    part, _, sound = (label or "").partition(" of ")
    if part and words[1] in DETAILS:
        yield from (words[0], part, *words[1:])
        yield from ("of", sound) if sound else ()
    else:
        yield from words


def _anew(act: Act, begins: dict[str, tuple[float, float]]) -> bool:
    """Whether an act begins where its part does, so that naming the part says where."""
    start, end = begins.get(act.part or "", (-1.0, -1.0))
    return abs(act.from_s - (end if act.kind == "pull" else start)) < SAME_PLACE_S


def _words(act: Act, share: float, *, named: bool) -> Iterator[str]:
    name, _, sound = (act.part or "").partition(" of ") if named else ("", "", "")
    if act.kind in BROUGHT and act.way_s < 0.0:
        yield "back-cue"
    else:
        yield act.kind
    if act.kind == "set pitch":
        yield f"{100.0 * (act.speed - 1.0):+.4f}"
    if name:
        yield name
    if act.beats:
        yield f"for {_number(act.beats * share)}"
    if act.kind in (*STROKES, *BROUGHT, "spin back") and act.way_s:
        yield f"over {_number(abs(act.way_s) * share)} s"
    if act.kind not in (*BROUGHT, "catch", "hold"):
        yield from _fader(act, share)
    if sound:
        yield f"of {sound}"


def _fader(act: Act, share: float) -> Iterator[str]:
    """When the fader is open, where that is not all through."""
    if act.open != ((act.beat, act.end_beat),):
        ends = act.beat + act.beats * share
        spans = [(a - act.beat, min(b, ends) - act.beat) for a, b in act.open if a < ends]
        told = " and ".join(f"{_number(a)} to {_number(b)}" for a, b in spans)
        yield f"open {told}" if told else "closed"
    if act.rolled:
        yield "rolled"


def _number(value: float) -> str:
    """A decimal that a line of acts reads."""
    return f"{value:.9f}".rstrip("0").rstrip(".")
