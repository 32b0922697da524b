"""What each set piece wants on each deck, in seconds of the sound, before anything is placed.

Pure. A `Hindrance` is one thing that keeps a routine from being rendered; all are gathered.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

from liveaid.routine import SIDES, Piece, Rests, Routine, Runs, Side, Works
from liveaid.routine.acts import sounds_used, sounds_worked, written_acts
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.layout.part_use import PartIn, PartsLaid, parts_laid
from liveaid.routine.left import Left, left_by, runs_out
from liveaid.routine.parts import has_beat
from liveaid.routine.problems import Hindrance

MIN_SPEED, MAX_SPEED = 0.25, 4.0
"""The range in which a sound may be brought to tempo: two octaves either way."""
SLACK_S = 0.05
"""A sound may end this much before its set piece does; the end is silence then."""
WORK_BARS = 2
"""Bars of a gridded sound a hand is given to work in, when the map states no span."""
SHORTEST_S = 0.05
"""A span below this is no span a hand can work in."""

FieldPath: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One deck in one set piece: what of which sound, how fast, and where the cue is in it."""

    piece: int
    side: Side
    works: bool
    segment: Segment
    """The span: what of which sound; of one made of parts the first one's, as long as they all."""
    left: Left
    """Where the record is left, in deck seconds from the span's begin, by its way."""
    cue_offset_s: float = 0.0
    """Deck seconds from the span's begin to its cue."""
    parts: tuple[PartIn, ...] = ()
    """The parts it is made of, in order along the record; empty: one stretch of a sound."""


def asks_for_study(routine: Routine, name: str) -> bool:
    """Whether the map leaves open, of a sound it plays, what only a study of it can say.

    Not where named parts of it alone are played, as they are: the map says where they lie.
    """
    sound, plans = routine.sounds[name], [plan for _, _, plan in sounds_used(routine)[name]]
    whole = [plan for plan in plans if plan.sound == name and not getattr(plan, "notes", None)]
    if not whole and not has_beat(sound):
        return False
    if sound.follow and not sound.loop:
        return True
    on_grid = [isinstance(plan, Runs) or plan.bars_in > 0 for plan in plans]
    if sound.loop and sound.first_beat_s is None and sound.tempo_bpm is not None:
        return not all(on_grid)  # some hand works it from its start
    return sound.first_beat_s is None or (any(on_grid) and sound.tempo_bpm is None)


def uses_of(
    routine: Routine, materials: Mapping[str, Material]
) -> tuple[dict[Side, list[Use]], list[Hindrance]]:
    """Every use of every deck in play order, and all that cannot be had.

    `materials` may lack sounds whose files are at fault; those were reported already.
    """
    uses: dict[Side, list[Use]] = {"left": [], "right": []}
    faults = list(_unknown_tempos(routine, materials))
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            found = _use(routine, index, side, materials)
            if isinstance(found, Use):
                if not found.parts:
                    faults += _shortage(found, piece, materials[found.segment.sound])
                uses[side].append(found)
            elif found is not None:
                faults.append(found)
    return uses, faults


def _use(
    routine: Routine, index: int, side: Side, materials: Mapping[str, Material]
) -> Use | Hindrance | None:
    piece = routine.pieces[index]
    plan = piece.plan(side)
    if isinstance(plan, Rests):
        return None
    path: FieldPath = ("pieces", index, side)
    laid = parts_laid(routine, index, side, materials)
    if laid is not None:
        return _use_of_parts(index, side, laid)
    if any(sound not in materials for sound in sounds_worked(routine, index, side)):
        return None
    if plan.sound is None:
        return Hindrance(
            (*path, "sound"), f'nothing in "{piece.name}"', "a name under `sounds` would do"
        )
    if plan.sound not in materials:
        return None
    material = materials[plan.sound]
    on_grid = _on_grid(plan, material)
    if on_grid and material.tempo_bpm is None:
        return None
    speed = material.beat_s() / piece.beat_s if on_grid else 1.0
    if not MIN_SPEED <= speed <= MAX_SPEED:
        found = (
            f'{piece.tempo_bpm:g} in "{piece.name}", {speed:.3g} times the tempo of {plan.sound}'
        )
        would_do = f"a tempo from {MIN_SPEED:g} to {MAX_SPEED:g} times the sound's own would do"
        return Hindrance((*path[:2], "tempo"), found, would_do)
    start = _start_s(plan, material, metre=routine.metre, even=on_grid)
    length = routine.piece_s(index)
    offset, left = 0.0, Left(length, runs=True)
    if isinstance(plan, Works):
        there = material.seconds(material.duration_s, even=on_grid) - start
        length = _span_s(plan, material, there_s=there / speed, routine=routine, index=index)
        offset, left = _worked(routine, index, side, plan, length)
    return Use(
        piece=index,
        side=side,
        works=isinstance(plan, Works),
        segment=Segment(
            sound=plan.sound,
            speed=speed,
            start_s=start,
            length_s=length,
            even=on_grid and material.evened is not None,
        ),
        cue_offset_s=offset,
        left=left,
    )


def _use_of_parts(index: int, side: Side, laid: PartsLaid) -> Use:
    return Use(
        piece=index,
        side=side,
        works=True,
        segment=replace(laid.parts[0].segment, length_s=laid.length_s),
        cue_offset_s=laid.cue_s,
        parts=laid.parts,
        left=Left(laid.left_s, runs=False),
    )


def _worked(
    routine: Routine, index: int, side: Side, plan: Works, length_s: float
) -> tuple[float, Left]:
    """Deck seconds from a worked span's begin to its cue, and where its way leaves the record."""
    acts, beats = written_acts(routine, index, side), routine.beats(index)
    if acts:
        begin_s = plan.from_s or 0.0
        left = Left(acts[-1].to_s - begin_s, runs=runs_out(acts, beats))
        return acts[0].from_s - begin_s, left
    cue_s = _cue_offset_s(plan, length_s)
    here = plan.model_copy(update={"from_s": 0.0, "to_s": length_s, "own_cue_s": cue_s})
    return cue_s, left_by(routine.pieces[index], side, here, beats=beats) or Left(cue_s, runs=False)


def _on_grid(plan: Runs | Works, material: Material) -> bool:
    """Whether the sound is brought to the set piece's tempo there."""
    return isinstance(plan, Runs) or material.gridded or plan.bars_in > 0


def _unknown_tempos(routine: Routine, materials: Mapping[str, Material]) -> Iterator[Hindrance]:
    """One fault for each sound whose tempo is needed somewhere and known nowhere."""
    for name, places in sounds_used(routine).items():
        material = materials.get(name)
        if material is None or material.tempo_bpm is not None:
            continue
        needed = [routine.pieces[i].name for i, _, plan in places if _on_grid(plan, material)]
        if needed:
            pieces = ", ".join(f'"{piece}"' for piece in dict.fromkeys(needed))
            why = f" ({material.no_beat})" if material.no_beat else ""
            found = f"nothing, and no steady beat heard in {name}{why}; {pieces} needs one"
            yield Hindrance(("sounds", name, "tempo"), found, "its tempo in BPM would do")


def _start_s(plan: Runs | Works, material: Material, *, metre: int, even: bool) -> float:
    """Second of the sound the set piece starts at: bars on the grid, or the first onset."""
    if plan.bars_in > 0:
        return material.first_beat_s + plan.bars_in * metre * material.beat_s()
    onset_s = material.seconds(material.first_onset_s, even=even)
    return onset_s if isinstance(plan, Works) else material.first_beat_s


def _span_s(
    plan: Works, material: Material, *, there_s: float, routine: Routine, index: int
) -> float:
    """Deck seconds a hand is given: the map's own span, else what the sound lasts, within reason.
    `there_s`: deck seconds to the sound's end.

    Never more than the set piece lasts; of a sound on a grid no more than WORK_BARS, so that the
    hand's place in the record tells where the routine is.
    """
    if plan.span_s is not None:
        return plan.span_s
    lasts = routine.piece_s(index)
    if material.gridded:
        lasts = min(lasts, WORK_BARS * routine.metre * routine.pieces[index].beat_s)
    return lasts if material.loop_beats else min(lasts, there_s)


def _cue_offset_s(plan: Works, length_s: float) -> float:
    """Deck seconds from the span's begin to the map's own cue, kept inside the span."""
    if plan.own_cue_s is None or plan.from_s is None:
        return 0.0
    return min(max(plan.own_cue_s - plan.from_s, 0.0), length_s)


def _shortage(use: Use, piece: Piece, material: Material) -> list[Hindrance]:
    """What the sound lacks for its use."""
    path: FieldPath = ("pieces", use.piece, use.side, "sound")
    span, sound = use.segment, use.segment.sound
    ends_s = material.seconds(material.duration_s, even=span.even)
    there = max(0.0, ends_s - span.start_s) / span.speed
    if material.loop_beats is None and there < span.length_s - SLACK_S:
        found = (
            f'{sound}, {there:.2f} s of it from there on, for "{piece.name}" '
            f"({span.length_s:.2f} s at {piece.tempo_bpm:g} BPM)"
        )
        return [Hindrance(path, found, _longer(use, material))]
    if span.length_s < SHORTEST_S:
        found = f'{sound}, {span.length_s:.3f} s of it, for a hand to work in "{piece.name}"'
        return [Hindrance(path, found, f"a span of {SHORTEST_S:g} s or more would do")]
    return []


def _longer(use: Use, material: Material) -> str:
    """What would make a sound long enough."""
    would_do = "fewer bars, a smaller `bars_in`, or a longer sound would do"
    if use.works:
        would_do = "a shorter span, or a longer sound would do"
    if material.tempo_bpm is None:
        return would_do
    beats = material.duration_s / material.beat_s()
    whole = round(beats) >= 1 and abs(beats - round(beats)) < 0.02
    return would_do + ("; `loop: yes` on the sound repeats it" if whole else "")
