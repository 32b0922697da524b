"""`liveaid check`: can two hands play this routine, and does it work as a piece?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
from rich.table import Table
from rich.text import Text

from liveaid.commands.deck_files import deck_lengths_s, missing_deck_files
from liveaid.commands.laying import Judged, judged
from liveaid.commands.opening import opened, say_state
from liveaid.commands.shared_options import FILE
from liveaid.record.bring import turns_in
from liveaid.routine import Routine
from liveaid.routine.check import (
    Change,
    Fastest,
    Finding,
    changes,
    check,
    cue_text,
    fastest,
    hand_spans,
    minutes,
    turns_text,
)
from liveaid.routine.check.against import against
from liveaid.routine.opened import Opened
from liveaid.routine.source import read_source
from liveaid.routine.written_numbers import bar_said, place_said, so_many
from liveaid.terminal import console, json_option, print_json, report_table

_STYLE = {"error": "bold reverse", "warning": "bold", "remark": "dim"}


@click.command("check")
@click.argument("scene")
@click.option("--hands", "show_hands", is_flag=True, help="Show what each hand does, beat by beat.")
@click.option("--fastest", "show_fastest", is_flag=True,
              help="Show the highest tempo at which each set piece can still be "
              "played.")  # fmt: skip
@click.option("--picture", type=FILE,
              help="Draw decks, hands, energy and findings to FILE.svg or FILE.png.",
              metavar="FILE")  # fmt: skip
@click.option("--against", "old", metavar="OLD",
              help="Say what SCENE gains and loses against an older version of it: another map or "
              "scene.")  # fmt: skip
@json_option
def command(
    scene: str,
    show_hands: bool,
    show_fastest: bool,
    picture: Path | None,
    old: str | None,
    as_json: bool,
) -> int:
    """Say whether two hands can play the routine, and where it is tight.

    SCENE is a section map, a folder with one, or the name of a scene that comes along. The map as
    it is written is judged; where it was edited since the render, that is said.
    Exit status 1 when something cannot be played as written.

    Example: liveaid check night-market --picture routine.svg
    """
    found = opened(scene)
    seen = judged(found)
    routine = seen.routine
    say_state(found)
    findings = check(
        routine,
        deck_s={} if seen.laid_out else deck_lengths_s(routine, seen.file),
        sound_s=seen.sound_s,
        faults=[*seen.faults, *missing_deck_files(found.judged, seen.file)],
        unstudied=seen.unstudied,
        phrases=seen.phrases,
        line_of=read_source(found.file.read_bytes()).line,
    )
    if picture is not None:
        from liveaid.render.picture import draw_picture  # drawing takes a second to load

        draw_picture(routine, picture, findings=findings)
    versions = None if old is None else against(routine, judged(opened(old)).routine)
    if as_json:
        told = {} if versions is None else {"against": versions.to_json()}
        print_json(_report(found, seen, findings) | told)
    else:
        _show(found.file, seen, findings, show_hands=show_hands)
        if show_fastest:
            console().print(_fastest_table(routine))
        if versions is not None:
            console().print(f"Against {old}:", style="bold")
            console().say(*(f"  {sentence}" for sentence in versions.says()))
        if picture is not None:
            console().print(f"Picture: {picture}")
    return 1 if any(finding.severity == "error" for finding in findings) else 0


def _report(found: Opened, seen: Judged, findings: tuple[Finding, ...]) -> dict[str, Any]:
    routine = seen.routine
    return {
        "file": str(found.file),
        "map": found.to_json(),
        "title": routine.title,
        "placed": routine.placed,
        "laid_out": seen.laid_out,
        "total_s": round(routine.duration_s, 4),
        "limit_s": routine.limit_s,
        "findings": [finding.to_json() for finding in findings],
        "changes": [move.to_json() for move in changes(routine)],
        "hands": [span.to_json() for span in hand_spans(routine)],
        "fastest": [told.to_json() for told in fastest(routine)],
    }


def _show(file: Path, seen: Judged, findings: tuple[Finding, ...], *, show_hands: bool) -> None:
    out, routine = console(), seen.routine
    out.print(Text(f"{routine.title}  ({file})", style="bold"))
    out.print()
    out.print(_change_table(routine))
    if show_hands:
        out.print(_hand_table(routine))
    out.print(_finding_table(findings))
    count = {grade: sum(f.severity == grade for f in findings) for grade in _STYLE}
    limit = f" of {minutes(routine.limit_s)}" if routine.limit_s else ""
    summary = ", ".join(so_many(n, grade) for grade, n in count.items())
    verdict = "not playable as written" if count["error"] else "playable"
    if not count["error"] and seen.laid_out:
        verdict += ", laid out as render would"
    if not count["error"] and not routine.placed:
        verdict = "nothing against it so far; winding waits for the deck files"
    out.print(f"{minutes(routine.duration_s)}{limit}, {summary}: {verdict}.")


def _change_table(routine: Routine) -> Table:
    """Every cue: how far its record is wound to it and how much time that leaves."""
    table = report_table(
        "Changes: cue in turn and sticker angle; wind in turns; spare in beats",
        "into", "deck", "cue", "wind", "has", "needs", "spare", "",
        right=("wind", "has", "needs", "spare"),
    )  # fmt: skip
    for column in table.columns[1:]:
        column.no_wrap = True
    for move in changes(routine):
        judged = move.by_a_hand
        needs = f"{move.needed_s:.1f} s" if move.needed_s is not None else ""
        needs += " needle" if move.way == "needle" else ""
        spare = f"{move.spare_beats:+.1f}" if move.spare_beats is not None else ""
        style = {"impossible": "bold reverse", "tight": "bold"}.get(move.verdict, "")
        table.add_row(
            Text(_place(move, routine)),
            move.side,
            cue_text(routine, move.cue_s, short=True) if move.cue_s is not None else "-",
            _wind(routine, move),
            f"{move.free_s:.1f} s" if move.before is not None and move.verdict != "runs on" else "",
            needs,
            spare if judged else "",
            Text(move.verdict, style=style),
        )
    return table


def _wind(routine: Routine, move: Change) -> str:
    """Turns to wind; where they are not known yet, the most a hand can wind in the time."""
    if move.verdict == "not placed":
        return f"≤{turns_in(move.free_s, routine.performer):.1f}"
    if move.by_a_hand and move.needed_s == 0.0:
        return "there"
    return turns_text(move) if move.by_a_hand else ""


def _place(move: Change, routine: Routine) -> str:
    """The set piece a change is for, and its bar where it is due after the first."""
    bar = int(move.beat_due(routine)) // routine.metre
    name = f"{move.after + 1} {routine.pieces[move.after].name}"
    return f"{name}, {bar_said(bar)}" if bar > 0 else name


def _hand_table(routine: Routine) -> Table:
    """The hand plan, like beats joined; places as bar.beat."""
    table = report_table(
        "Hands", "set piece", "from", "to", "left hand", "right hand", "third hand"
    )
    last = -1
    for span in hand_spans(routine):
        piece = routine.pieces[span.piece]
        table.add_row(
            Text(f"{span.piece + 1} {piece.name}" if span.piece != last else ""),
            _bar_beat(span.from_beat, routine.metre),
            _bar_beat(span.to_beat - 1, routine.metre),
            str(span.left or "-"),
            str(span.right or "-"),
            Text(", ".join(map(str, span.over)), style="bold"),
        )
        last = span.piece
    return table


def _bar_beat(beat: int, metre: int) -> str:
    return f"{beat // metre + 1}.{beat % metre + 1}"


def _finding_table(findings: tuple[Finding, ...]) -> Table:
    table = report_table("Findings", "", "where, what is so, and a way out")
    for finding in findings:
        text = Text(_where(finding), style="bold")
        text.append(f"\n{finding.says}", style="not bold")
        if finding.way_out:
            text.append(f"\n→ {finding.way_out}", style="not bold italic")
        table.add_row(Text(finding.severity, style=_STYLE[finding.severity]), text)
    return table


def _where(finding: Finding) -> str:
    if finding.piece is None:
        return "The whole routine"
    return f"{finding.piece + 1} {finding.name}" + (f", bar {finding.bar}" if finding.bar else "")


def _fastest_table(routine: Routine) -> Table:
    """Every set piece with the tempo at which its acts would just still be possible."""
    table = report_table(
        "Fastest: the records as they lie, played faster",
        "set piece", "tempo", "fastest", "set by", right=("tempo", "fastest"),
    )  # fmt: skip
    for told in fastest(routine):
        table.add_row(
            Text(f"{told.piece + 1} {told.name}"),
            f"{told.tempo_bpm:g}",
            _fastest_said(told.fastest_bpm),
            Text(_set_by(routine, told)),
        )
    return table


def _fastest_said(tempo_bpm: float | None) -> str:
    if tempo_bpm is None:
        return ""
    return f"{tempo_bpm:.1f}" if tempo_bpm > 0.0 else "none"


def _set_by(routine: Routine, told: Fastest) -> str:
    """The act that sets it, and whether the pitch fader gets there."""
    if told.demand is None:
        return "no act that time is short for"
    assert told.fastest_bpm is not None
    where = f"{place_said(told.demand.beat, routine.metre)}: {told.demand.says}"
    if told.fastest_bpm <= 0.0:
        return f"{where}; at no tempo"
    if told.fastest_bpm < told.tempo_bpm:
        return f"{where}; slower than written"
    return where if told.within_pitch else f"{where}; the pitch fader does not reach it"
