"""`liveaid review`: takes, scores, pictures, and what to practise next."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import click
from rich.table import Table

from liveaid.commands.opening import opened, say_state
from liveaid.commands.shared_options import FILE, FOLDER
from liveaid.errors import UsageError
from liveaid.files.aside import write_aside
from liveaid.practice.act_score import ActScore
from liveaid.practice.care import HANDS_CAUTION
from liveaid.practice.delays import Delays
from liveaid.practice.next import READY_AT, Outlook
from liveaid.practice.pictures import pictures
from liveaid.practice.reading import TakeReader
from liveaid.practice.recording import assess_recording, read_sound
from liveaid.practice.report import Review, review
from liveaid.practice.review_json import RULE, next_json, review_json, strokes_json
from liveaid.practice.schema import StoreError, takes_file
from liveaid.practice.score import score_take
from liveaid.practice.stroke_figures import stroke_row
from liveaid.practice.take_keeping import score_unscored
from liveaid.practice.take_line import take_line, timing_line, verdict_line
from liveaid.practice.take_score import PieceScore
from liveaid.practice.trace import pack
from liveaid.practice.weeks import WeeksOf
from liveaid.routine import SIDES, Routine
from liveaid.routine.scene import DECKS, own, scene_folder
from liveaid.terminal import (
    HarmlessConsole,
    console,
    json_option,
    print_json,
    progress_bar,
    report_table,
)


@click.command("review")
@click.argument("scene")
@click.option("--takes", type=FILE, metavar="FILE",
              help="Where takes are kept; else takes.sqlite beside the section map.")  # fmt: skip
@click.option("--next", "only_next", is_flag=True, help="Say only what to practise next.")
@click.option("--pictures", "folder", type=FOLDER,
              metavar="DIR", help="Draw the latest takes, each set piece's history, and where "
              "time is lost, as PNG.")  # fmt: skip
@click.option("--recording", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              metavar="WAV", help="Score a recording, of the mixer or a phone, begun and ended "
              "anywhere, against the guide mix.")  # fmt: skip
@click.option("--guide", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              metavar="WAV", help="The guide mix; else decks/guide.wav of the scene.")  # fmt: skip
@click.option("--trace", "trace_of", nargs=2, metavar="NUMBER FILE",
              type=(int, FILE),
              help="Write a take's trace, for `rehearse --replay`.")  # fmt: skip
@click.option("--hear", nargs=2, metavar="NUMBER WAV",
              type=(int, FILE),
              help="Write what a take sounded like: the deck files moved as the records were, "
              "through the mixer's faders.")  # fmt: skip
@click.option("--strokes", "strokes_of", type=click.IntRange(1), metavar="NUMBER",
              help="Show every stroke of one take: when begun and turned, how far, when the "
              "fader was open.")  # fmt: skip
@click.option("--ready-at", type=click.FloatRange(1, 99), default=100 * READY_AT, show_default=True,
              metavar="PERCENT", help="Clean rate that must be passed for sure, to be "
              "stage ready.")  # fmt: skip
@click.option("--booth-level", type=click.FloatRange(0, 150), metavar="DBA",
              help="Level where you stand, for today's noise dose.")  # fmt: skip
@click.option("--weeks", "by_week", is_flag=True,
              help="Show each set piece and transition week by week.")  # fmt: skip
@click.option("--stage-on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE",
              help="Plan back from the day on stage, such as 2026-03-20.")  # fmt: skip
@click.option("--last", type=click.IntRange(1, 1000), default=20, show_default=True,
              metavar="N", help="How many takes to list.")  # fmt: skip
@json_option
def command(scene: str, **options: Any) -> int:
    """Show takes, scores, and what to practise next.

    Example: liveaid review night-market --pictures practice/

    A recording is laid over the guide mix, which must be of the same deck files:
    liveaid review night-market --recording take.wav

    From today to the stage: liveaid review night-market --stage-on 2026-03-20
    """
    opening = opened(scene)
    say_state(opening)
    file, routine = opening.playable_file, opening.placed or opening.judged
    if options["recording"]:
        return _recording(routine, file, options)
    takes = options["takes"] or takes_file(file)
    score_unscored(takes, routine)
    with TakeReader(takes) as reader:
        if options["trace_of"]:
            return _write_trace(reader, *options["trace_of"])
        if options["hear"]:
            from liveaid.commands.hearing import hear_take

            said = hear_take(routine, scene_folder(file), reader, *options["hear"])
            console().say(said)
            return 0
        if options["strokes_of"]:
            number, as_json = options["strokes_of"], options["as_json"]
            return _say_strokes(console(), reader, number, as_json=as_json)
        found = review(
            routine, reader, now=time.time(), ready_at=options["ready_at"] / 100,
            booth_dba=options["booth_level"], last=options["last"],
            stage=options["stage_on"].date() if options["stage_on"] else None,
        )  # fmt: skip
        drawn = _draw(routine, reader, options["folder"]) if options["folder"] else []
    if options["as_json"]:
        plain = next_json(found.outlook) if options["only_next"] else review_json(found)
        beside = {"map": opening.to_json()} | ({"pictures": drawn} if drawn else {})
        print_json(plain if options["only_next"] else beside | plain)
    elif options["only_next"]:
        _say_next(console(), found.outlook)
    elif options["by_week"]:
        _say_weeks(console(), found.weeks)
    else:
        _say(console(), found, drawn)
        _say_plan(console(), found)
    return 0


def _say_weeks(screen: HarmlessConsole, found: Sequence[WeeksOf]) -> None:
    """A line a week, and a word where nothing is gained."""
    for one in found:
        screen.print(one.name)
        for week in one.weeks:
            part = "" if week.tempo_part is None else f", clean at {week.tempo_part:.0%}"
            screen.say(
                f"    {week.monday}  {week.takes:3d} takes, {week.rate.clean} clean of "
                f"{week.rate.takes} at full tempo, {timing_line(week.bias_ms)}, "
                f"spread {_ms(week.spread_ms) or '-'}{part}"
            )
        if one.plateau:
            screen.say(f"    {one.plateau}")


def _say_plan(screen: HarmlessConsole, found: Review) -> None:
    for note in found.notes[:5]:
        screen.print(f"{_when(note.at)}  {note.text}")
    for day in found.plan:
        what = ", ".join(day.what)
        screen.print(f"{day.day}  {what}: {day.takes} takes ({day.why})")


def _when(at: float) -> str:
    """A unix time as month, day and minute, local."""
    return datetime.fromtimestamp(at).strftime("%m-%d %H:%M")


def _write_trace(reader: TakeReader, number: int, file: Path) -> int:
    file.write_bytes(pack(reader.kept(number).trace))
    console().say(f"{file}: take {number}")
    return 0


def _draw(routine: Routine, reader: TakeReader, folder: Path) -> list[str]:
    folder.mkdir(parents=True, exist_ok=True)
    wanted = pictures(routine, reader)
    written = []
    with progress_bar() as bar:
        for name, draw in bar.track(wanted.items(), description="pictures"):
            try:
                write_aside(folder / name, draw())
            except OSError as error:
                raise StoreError(f"{folder / name}: can't be written ({error})") from error
            written.append(str(folder / name))
    return written


def _say(screen: HarmlessConsole, found: Review, drawn: Sequence[str]) -> None:
    outlook = found.outlook
    screen.print(_takes_table(found))
    if found.spoiled:
        numbers = ", ".join(map(str, found.spoiled))
        screen.print(f"Spoiled in the file, and left out: take {numbers}.")
    screen.print(_pieces_table(outlook))
    screen.say(*_spoken_lines(found))
    _say_next(screen, outlook)
    runs = outlook.run_throughs
    screen.print(
        f"Run-throughs: {runs.clean} clean of {runs.takes} ({runs.low:.0%} to {runs.high:.0%})"
    )
    if outlook.stage_ready:
        screen.print("Stage ready.")
    else:
        screen.print(f"Not stage ready yet, {len(outlook.missing)} in the way:")
        screen.say(*(f"  {line}" for line in outlook.missing))
    minutes = int(found.today.hands_on_s // 60)
    screen.print(f"Hands on today: {minutes} min. {HANDS_CAUTION}")
    if found.today.noise is not None:
        screen.print(found.today.noise)
    screen.say(*drawn)


def _spoken_lines(found: Review) -> list[str]:
    """The latest take whose acts are written out: a sentence a hand on its strokes, one a fader."""
    for take, score in found.takes:
        told = (*score.strokes.values(), *score.faders.values())
        if told:
            return [f"#{take.id} {said}." for said in told]
    return []


def _say_strokes(screen: HarmlessConsole, reader: TakeReader, number: int, *, as_json: bool) -> int:
    """Every stroke of one take: begun, turned, how far, and its openings."""
    score = reader.score(number)
    if score is None:
        raise UsageError(f"take {number}: not kept, or not scored; `liveaid review` lists them")
    if as_json:
        print_json({"take": number, **strokes_json(score)})
        return 0
    numbers = ("Beat", "Hand", "Begun", "Turned", "Way", "Opened", "Shut")
    table = report_table(
        f"Strokes of take {number}; ms late, below 0 early",
        "Set piece", *numbers[:2], "Act", *numbers[2:], right=numbers, ruled=False,
    )  # fmt: skip
    for piece in score.pieces:
        for act in piece.acts:
            if act.way_turns is not None:
                table.add_row(piece.name, *stroke_row(act))
    screen.print(table)
    return 0


def _say_next(screen: HarmlessConsole, found: Outlook) -> None:
    for turn, one in enumerate(found.order[:3], 1):
        screen.print(f"{turn}. {one.name}: {one.why}")
    screen.print(RULE)


def _takes_table(found: Review) -> Table:
    table = report_table(
        "Takes, latest first", "No.", "When", "What", "Tempo", "Verdict", "Timing", "Spread",
        "Missed", "Added", right=("No.", "Tempo", "Spread"), ruled=False,
    )  # fmt: skip
    for take, score in found.takes:
        table.add_row(
            str(take.id), _when(take.at), take.aim or "run-through",
            f"{take.tempo_part:.0%}", verdict_line(score, take.ended),
            timing_line(score.bias_ms), _ms(score.spread_ms), str(score.missed),
            str(score.added),
        )  # fmt: skip
    return table


def _pieces_table(found: Outlook) -> Table:
    table = report_table(
        "Set pieces at full tempo: clean, and where the true rate lies (95 %)",
        "Set piece", "Clean", "From", "To", "Timing", "Spread", "Days since", "Ready", ruled=False,
    )  # fmt: skip
    for one in found.standings:
        days = "never" if one.days_since is None else f"{one.days_since:.1f}"
        table.add_row(
            one.name, f"{one.rate.clean} of {one.rate.takes}", f"{one.rate.low:.0%}",
            f"{one.rate.high:.0%}", timing_line(one.bias_ms) if one.takes else "",
            _ms(one.spread_ms), days, "yes" if one.ready else "no",
        )  # fmt: skip
    return table


def _recording(routine: Routine, file: Path, options: dict[str, Any]) -> int:
    """Score a recording against the guide mix."""
    guide = options["guide"] or _guide(file)
    if not guide.is_file():
        raise UsageError(f"{guide}: no guide mix there; `liveaid render` makes it, or --guide FILE")
    beside = {side: guide.parent / f"{side}.wav" for side in SIDES}
    decks = {side: read_sound(deck) for side, deck in beside.items() if deck.is_file()}
    played = assess_recording(routine, *read_sound(guide), *read_sound(options["recording"]), decks)
    if not played:
        raise UsageError(
            f"{options['recording']}: nothing of the routine is heard in it; a recording of these "
            "deck files would do"
        )
    score = score_take(routine, played, delays=Delays(measured=True))
    if options["as_json"]:
        print_json(score.to_json())
        return 0
    screen = console()
    screen.say(take_line(score))
    for piece in score.pieces:
        screen.say(_piece_line(piece))
        for act in piece.acts:
            screen.print(_act_line(act))
    return 0


def _guide(file: Path) -> Path:
    """The guide mix that belongs to a map, beside it where it is a placed one."""
    return own(file.parent, "guide.wav" if file.parent.name == DECKS else f"{DECKS}/guide.wav")


def _piece_line(piece: PieceScore) -> str:
    tempo = "" if piece.tempo_bpm is None else f", {piece.tempo_bpm:.1f} BPM"
    drift = "" if piece.drift_percent is None else f", drift {piece.drift_percent:+.1f} %"
    return f"{piece.index + 1} {piece.name}: {timing_line(piece.bias_ms)}{tempo}{drift}"


def _act_line(act: ActScore) -> str:
    off = act.outcome if act.error_ms is None else timing_line(act.error_ms)
    return f"    beat {act.beat:6.2f}  {act.kind:<8}{act.side:<6} {off}"


def _ms(value: float | None) -> str:
    return "" if value is None else f"{value:.0f} ms"
