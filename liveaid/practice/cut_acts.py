"""The acts of some bars of a set piece written down as lines of their own.

Figures, repeats and turns of a juggle may begin before the bars and end after them, so what is
written down are the acts they come to, each with its beat, its length and its way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from liveaid.routine import Routine, Side, Works
from liveaid.routine.acts import BROUGHT, SAME_PLACE_S, STROKES, Act, acts_of, worked_out
from liveaid.routine.notes import read_notes


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
    lines: dict[str, str | None] = {}
    for beat, words in _lines(inside, begins, gone, beats, placed=plan.placed):
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


def _lines(
    acts: Sequence[Act],
    begins: dict[str, tuple[float, float]],
    gone: float,
    beats: float,
    *,
    placed: bool,
) -> Iterator[tuple[float, str]]:
    """The beat and the words of each act; what brings the record to a part is left to the map."""
    for place, act in enumerate(acts):
        after = acts[place + 1] if place + 1 < len(acts) else None
        if act.kind in BROUGHT and not act.written and (after is None or _anew(after, begins)):
            continue
        first = not place and not placed
        named = act.part and act.kind not in BROUGHT and (first or _anew(act, begins))
        share = min(1.0, (gone + beats - act.beat) / act.beats) if act.beats else 1.0
        yield act.beat - gone, " ".join(_words(act, share, named=bool(named)))


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
