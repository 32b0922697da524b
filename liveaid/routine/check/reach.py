"""Whether every cue and span lies on the record, in its file, inside its sound, and by itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from liveaid.record.places import THERE_S
from liveaid.routine.check.findings import Finding, Severity, found
from liveaid.routine.model import SIDES, Rests, Routine, Runs, Side, clock_time
from liveaid.routine.written_numbers import number_text

SAME_TEMPO = 1.0005
OVERSHOOT_TURNS = 0.25
"""How far a hand that brings a record back may overshoot (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class UsedPassage:
    """The stretch of a deck file one set piece uses."""

    piece: int
    start_s: float
    end_s: float
    sound: str | None
    file_start_s: float
    """Deck-file second at which the sound's own beginning would lie."""
    tempo_bpm: float
    worked: bool


def passages(routine: Routine, side: Side) -> tuple[UsedPassage, ...]:
    """What each placed set piece uses of one deck's file, in playing order."""
    used = (_passage(routine, side, index) for index in range(len(routine.pieces)))
    return tuple(passage for passage in used if passage is not None)


def _passage(routine: Routine, side: Side, index: int) -> UsedPassage | None:
    plan, tempo = routine.pieces[index].plan(side), routine.pieces[index].tempo_bpm
    if isinstance(plan, Rests) or not plan.placed:
        return None
    into_s = plan.bars_in * routine.metre * routine.pieces[index].beat_s
    if isinstance(plan, Runs):
        assert plan.at_s is not None
        start, end = plan.at_s, plan.at_s + routine.piece_s(index)
    else:
        assert plan.from_s is not None
        assert plan.to_s is not None
        start, end = plan.from_s, plan.to_s
    worked = not isinstance(plan, Runs)
    return UsedPassage(index, start, end, plan.sound, start - into_s, tempo, worked)


def judge_reach(routine: Routine, deck_s: Mapping[Side, float]) -> Iterator[Finding]:
    """Passages beyond the record's side or the file's end, and cues outside their span."""
    for side in SIDES:
        length_s = deck_s.get(side)
        for used in passages(routine, side):
            plan = routine.pieces[used.piece].plan(side)
            cue = plan.cue_s if plan.cue_s is not None else used.start_s
            last = max(used.end_s, cue)
            if last > routine.turntable.side_s + 1e-6:
                yield _beyond_side(routine, side, used, last)
            if length_s is not None and last > length_s + THERE_S:
                yield _beyond_file(routine, side, used, last, length_s)
            if not used.start_s <= cue <= used.end_s:
                yield _cue_outside(routine, side, used, cue)
    if not routine.placed:
        yield from _needed(routine)


def _beyond_side(routine: Routine, side: Side, used: UsedPassage, last: float) -> Finding:
    limit = routine.turntable.side_s
    return found(
        routine, "error", "reach",
        f"{side} is needed up to {last:.1f} s; the record's side lasts {limit:.0f} s"
        f" ({clock_time(limit)})",
        "lay it nearer the start, or set `turntable: {side: m:ss}` to what your record holds",
        piece=used.piece, side=side, numbers={"last_s": last, "side_s": limit},
    )  # fmt: skip


def _beyond_file(
    routine: Routine, side: Side, used: UsedPassage, last: float, length_s: float
) -> Finding:
    has = max(0.0, length_s - used.start_s) / routine.pieces[used.piece].beat_s
    beat = 0.0 if used.worked else min(has, routine.beats(used.piece) - 1.0)
    return found(
        routine, "error", "reach",
        f"{side} is needed up to {last:.1f} s, but its file ends at {length_s:.1f} s",
        "render the deck files again, or shorten the set piece",
        piece=used.piece, beat=beat, side=side, numbers={"last_s": last, "file_s": length_s},
    )  # fmt: skip


def _cue_outside(routine: Routine, side: Side, used: UsedPassage, cue: float) -> Finding:
    return found(
        routine, "warning", "reach",
        f"{side}'s cue at {cue:.2f} s lies outside its span {used.start_s:.2f} to"
        f" {used.end_s:.2f} s",
        "a cue between `from` and `to`, or a wider span",
        piece=used.piece, side=side,
        numbers={"cue_s": cue, "from_s": used.start_s, "to_s": used.end_s},
    )  # fmt: skip


def _needed(routine: Routine) -> Iterator[Finding]:
    """Before placing: whether what runs on one deck can fit on its side at all."""
    for side in SIDES:
        needed = _shortest_s(routine, side)
        if needed > routine.turntable.side_s:
            yield found(
                routine, "error", "reach",
                f"{side} needs at least {needed:.0f} s of record; the side lasts"
                f" {routine.turntable.side_s:.0f} s",
                "trade decks in some set pieces, or use passages twice", side=side,
                numbers={"needed_s": needed, "side_s": routine.turntable.side_s},
            )  # fmt: skip


def _shortest_s(routine: Routine, side: Side) -> float:
    """Seconds of record that running set pieces need at least, each passage once."""
    passage: dict[tuple[object, ...], float] = {}
    for index, piece in enumerate(routine.pieces):
        plan = piece.plan(side)
        if isinstance(plan, Runs):
            named = (plan.sound, plan.bars_in, piece.tempo_bpm, piece.bars)
            passage[named if plan.sound else (index,)] = routine.piece_s(index)
    return sum(passage.values())


def judge_sound_lengths(routine: Routine, sound_s: Mapping[str, float]) -> Iterator[Finding]:
    """Sounds that end before the set piece that lets them run does."""
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            plan = piece.plan(side)
            if not isinstance(plan, Runs) or plan.sound is None or plan.sound not in sound_s:
                continue
            sound = routine.sounds[plan.sound]
            if sound.loop:
                continue
            tempo = sound.tempo_bpm or piece.tempo_bpm
            bar_s = routine.metre * 60.0 / tempo
            has = (sound_s[plan.sound] - (sound.first_beat_s or 0.0)) / bar_s - plan.bars_in
            if has < piece.bars - 0.05:
                yield _short(routine, index, side, plan.sound, max(0.0, has))


def _short(routine: Routine, index: int, side: Side, name: str, has: float) -> Finding:
    bars = routine.pieces[index].bars
    return found(
        routine, "error", "reach",
        f"{name} has {has:.1f} bars left from there; the set piece lets it run for"
        f" {number_text(bars)}",
        "a smaller `bars_in`, fewer bars, or a longer sound",
        piece=index, beat=min(has * routine.metre, routine.beats(index) - 1.0), side=side,
        numbers={"has_bars": has, "bars": bars},
    )  # fmt: skip


def judge_overlaps(routine: Routine) -> Iterator[Finding]:
    """Seconds of a deck file that two set pieces claim for different sounds, or too close by."""
    for side in SIDES:
        used = passages(routine, side)
        for a, b in combinations(used, 2):
            overlap = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
            if overlap > THERE_S:
                yield from _overlap(routine, side, a, b, overlap)
            else:
                yield from _close(routine, side, a, b, max(0.0, -overlap))


def _overlap(
    routine: Routine, side: Side, a: UsedPassage, b: UsedPassage, overlap_s: float
) -> Iterator[Finding]:
    """The same passage twice is a refrain; two sounds, or one at two tempi, cannot share it."""
    other = routine.pieces[a.piece].name
    named = a.sound is not None and b.sound is not None
    same_tempo = max(a.tempo_bpm, b.tempo_bpm) <= SAME_TEMPO * min(a.tempo_bpm, b.tempo_bpm)
    figures = {"overlap_s": overlap_s, "other_set_piece": a.piece}
    severity: Severity
    if named and a.sound != b.sound:
        says = f"{side} has {a.sound} ({other}) and {b.sound} on the same {overlap_s:.2f} s"
        severity, out = "error", "move one of them; render lays them apart"
    elif named and same_tempo and abs(a.file_start_s - b.file_start_s) > THERE_S and not (
        a.worked or b.worked
    ):  # fmt: skip
        says = f"{side} has {a.sound} at two different places ({other}) on the same"
        says += f" {overlap_s:.2f} s"
        out, severity = "move one of them, or make `bars_in` agree", "error"
    elif not same_tempo and not (a.worked or b.worked):
        says = f"{side} is said to run at {a.tempo_bpm:g} ({other}) and {b.tempo_bpm:g} BPM on the"
        says += f" same {overlap_s:.2f} s"
        out, severity = "a copy for each tempo, or the pitch for the second", "warning"
    else:
        return
    yield found(
        routine, severity, "reach", says, out, piece=b.piece, side=side, numbers=figures,
    )  # fmt: skip


def _close(
    routine: Routine, side: Side, a: UsedPassage, b: UsedPassage, gap_s: float
) -> Iterator[Finding]:
    """A worked span with another sound right beside it, where an overshoot would be heard."""
    turns = gap_s / routine.turntable.turn_s
    if turns >= OVERSHOOT_TURNS or a.sound == b.sound or not (a.worked or b.worked):
        return
    yield found(
        routine, "remark", "reach",
        f"{side}: only {turns:.2f} turns between this and {routine.pieces[a.piece].name}; a hand"
        " that overshoots is heard",
        f"leave {OVERSHOOT_TURNS:g} turns of silence between them",
        piece=b.piece, side=side, numbers={"gap_turns": turns, "gap_s": gap_s},
    )  # fmt: skip
