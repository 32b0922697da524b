"""The energy arc against the parts of the routine and against the idea it grew from."""

from __future__ import annotations

from collections.abc import Iterator

from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import PARTS, SIDES, Piece, Routine, Sound, Want
from liveaid.routine.shared_out import shared_out
from liveaid.routine.timeline import starts_s
from liveaid.routine.written_numbers import bars_said

DROP_ENERGY = 3
"""A fall this deep from one set piece to the next loses a crowd (common practice, no source)."""


def judge_arc(routine: Routine) -> Iterator[Finding]:
    """Parts missing or out of order, a climax that is none, a flat arc, a deep fall."""
    yield from _parts(routine)
    yield from _climax(routine)
    yield from _falls(routine)


def _parts(routine: Routine) -> Iterator[Finding]:
    pieces = routine.pieces
    missing = [part for part in PARTS if all(piece.part != part for piece in pieces)]
    if missing:
        yield found(
            routine, "remark", "energy", f"no {' and no '.join(missing)}",
            "`part:` says what a set piece is for", numbers={"missing": len(missing)},
        )  # fmt: skip
    for index in range(1, len(pieces)):
        before, now = pieces[index - 1].part, pieces[index].part
        if PARTS.index(now) < PARTS.index(before):
            yield found(
                routine, "warning" if before == "outro" else "remark", "energy",
                f"{now} comes after {before}", "arrange finds an order that keeps the parts",
                piece=index,
            )  # fmt: skip


def _climax(routine: Routine) -> Iterator[Finding]:
    energies = [piece.energy for piece in routine.pieces]
    top = max(energies)
    if len(energies) > 2 and min(energies) == top:
        says = f"every set piece has energy {top}: no arc"
        yield found(routine, "remark", "energy", says, "let one part stand out",
                    numbers={"energy": top})  # fmt: skip
        return
    climax = [piece.energy for piece in routine.pieces if piece.part == "climax"]
    if climax and max(climax) < top:
        index = energies.index(top)
        yield found(
            routine, "warning", "energy",
            f"energy {top} here, but the climax reaches only {max(climax)}",
            "hold this one back, or make it the climax", piece=index,
            numbers={"energy": top, "climax_energy": max(climax)},
        )  # fmt: skip
    last = len(energies) - 1 - energies[::-1].index(top)
    starts = starts_s(routine)
    share = starts[last] / starts[-1]
    if len(energies) > 3 and share < 0.5:
        yield found(
            routine, "remark", "energy",
            f"the peak (energy {top}) is over in the first half: it starts at {100 * share:.0f} %",
            "a peak after the middle leaves the routine somewhere to go", piece=last,
            numbers={"share": share},
        )  # fmt: skip


def _falls(routine: Routine) -> Iterator[Finding]:
    for index in range(1, len(routine.pieces)):
        before, now = routine.pieces[index - 1], routine.pieces[index]
        if before.energy - now.energy >= DROP_ENERGY:
            yield found(
                routine, "remark", "energy", f"energy falls from {before.energy} to {now.energy}",
                "wanted as a surprise? else put a set piece between", piece=index,
                numbers={"fall": before.energy - now.energy},
            )  # fmt: skip


def judge_idea(routine: Routine) -> Iterator[Finding]:
    """Each thing the idea wants that no set piece of its own fills, with the nearest and why."""
    wants = routine.idea.wants if routine.idea else ()
    every = range(len(routine.pieces))
    fits = [[index for index in every if not _reasons(routine, want, index)] for want in wants]
    filled = shared_out(fits)
    for number, want in enumerate(wants):
        if filled[number] is not None:
            continue
        nearest = min(every, key=lambda index: len(_reasons(routine, want, index)))
        near = routine.pieces[nearest].name
        why = ", ".join(_reasons(routine, want, nearest)) or "already fills another wish"
        yield found(
            routine, "warning", "energy",
            f"the idea wants {_wish(want)}; nearest is {near}: {why}",
            "add such a set piece, or take the wish out of the idea", numbers={"want": number + 1},
        )  # fmt: skip


def _wish(want: Want) -> str:
    words: list[str] = [want.part, f"at energy {want.energy}"]
    if want.kind:
        words.append(f"with {want.kind}")
    if want.bars:
        words.append(f"of {want.bars} bars")
    if want.tempo_from_bpm or want.tempo_to_bpm:
        words.append(f"from {want.tempo_from_bpm or 20:g} to {want.tempo_to_bpm or 300:g} BPM")
    return " ".join([*words, f"in {want.key}"] if want.key else words)


def _reasons(routine: Routine, want: Want, index: int) -> tuple[str, ...]:
    """What keeps a set piece from filling a want; energy may be one off."""
    piece = routine.pieces[index]
    sounds = _sounds(routine, piece)
    low, high = want.tempo_from_bpm or 0.0, want.tempo_to_bpm or 1000.0
    misses = (
        (want.part != piece.part, f"it is {piece.part}"),
        (abs(want.energy - piece.energy) > 1, f"its energy is {piece.energy}"),
        (bool(want.kind) and all(s.kind != want.kind for s in sounds), f"no {want.kind} in it"),
        (bool(want.bars) and piece.bars != want.bars, f"it has {bars_said(piece.bars)}"),
        (not low <= piece.tempo_bpm <= high, f"it is at {piece.tempo_bpm:g} BPM"),
        (bool(want.key) and all(s.key != want.key for s in sounds), f"nothing in {want.key}"),
    )
    return tuple(reason for missed, reason in misses if missed)


def _sounds(routine: Routine, piece: Piece) -> list[Sound]:
    names = (piece.plan(side).sound for side in SIDES)
    return [routine.sounds[name] for name in names if name is not None]
