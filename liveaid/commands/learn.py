"""`liveaid learn`: listen to a sender or a controller and write its map."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import threading
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any, TypeVar

import click

from liveaid.commands.shared_options import FILE, midi_api_option, osc_option
from liveaid.stage.address import parse_address
from liveaid.stage.ending import ends_by_signal, run_on_loop
from liveaid.stage.learn_lamps import Lesson, wanted_lamps, wanted_words
from liveaid.stage.learn_osc import Learned, learn_map
from liveaid.stage.listening import learn_pads, listen_osc, write_draft
from liveaid.terminal import console, json_option, print_json

Result = TypeVar("Result")


@click.group("learn")
def command() -> None:
    """Listen to a sender or a controller and write its map.

    Example: liveaid learn osc --seconds 20 --out osc-mine.yaml
    """


@command.command("osc")
@osc_option("Where the sender sends to.")
@click.option("--seconds", type=click.FloatRange(1, 600), default=20.0, show_default=True,
              help="How long to listen; Ctrl-C ends it earlier.")  # fmt: skip
@click.option("--out", type=FILE, default=Path("osc-learned.yaml"), show_default=True,
              metavar="FILE", help="Where the map is written.")  # fmt: skip
@json_option
def osc(osc: str, seconds: float, out: Path, as_json: bool) -> int:
    """Find the positions among what a sender sends, and their unit.

    Both records at pitch 0: turn the left one first, then the right one too, and stop one of them
    for a moment.

    Example: liveaid learn osc --osc 0.0.0.0:9000 --out osc-mine.yaml
    """
    if not as_json:
        console().print(f"Listening at {osc} for {seconds:g} s. Left record first, pitch at 0.")
    heard, refused = _run(lambda ended: listen_osc(parse_address(osc), seconds, ended))
    learned = learn_map(heard)
    write_draft(out, learned.tree, learned.notes)
    if as_json:
        print_json({"file": str(out), "map": learned.tree, "notes": list(learned.notes),
                    "messages": len(heard), "not_osc": refused})  # fmt: skip
    else:
        _say(out, learned, len(heard))
    return 0


@command.command("midi")
@click.option("--midi", required=True, metavar="NAME", help="The controller's port, or a part.")
@midi_api_option()
@click.option("--bars", type=click.IntRange(0, 64), default=8, show_default=True,
              help="How many lamps show the bars left.")  # fmt: skip
@click.option("--beats", type=click.IntRange(0, 32), default=4, show_default=True,
              help="How many lamps show the beat.")  # fmt: skip
@click.option("--winds", type=click.IntRange(0, 16), default=0, show_default=True,
              help="How many lamps a deck show how far its record is from its cue.")  # fmt: skip
@click.option("--words/--no-words", default=False, show_default=True,
              help="Whether pads for the words are asked for too.")  # fmt: skip
@click.option("--seconds", type=click.FloatRange(1, 3600), default=300.0, show_default=True,
              help="How long to listen; Ctrl-C ends it earlier.")  # fmt: skip
@click.option("--out", type=FILE, default=Path("lamps-learned.yaml"), show_default=True,
              metavar="FILE", help="Where the layout is written.")  # fmt: skip
def midi(midi: str, midi_api: str, seconds: float, out: Path, **wanted: Any) -> int:
    """Write a layout from the pads you press, one after the other.

    The pad pressed is lit; with the first one it is learned how lamps are lit, dimmed and put out.
    Type s and Enter to skip a lamp, b to go one back. What you skip is left out.

    Example: liveaid learn midi --midi "my pads" --bars 8 --beats 4 --words
    """
    screen = console()
    asked = wanted_lamps(wanted["bars"], wanted["beats"], wanted["winds"])
    lesson = Lesson([*asked, *(wanted_words() if wanted["words"] else [])])
    screen.print(f"{lesson.asks} s skips, b goes back, Ctrl-C when no more are wanted.")

    def turned() -> None:
        screen.print(f"{lesson.says} {lesson.asks}")

    def opened(name: str) -> None:
        lit = "" if lesson.lights else " Its lamps cannot be reached, so nothing will light up."
        screen.print(f"Listening to {name}.{lit}")

    async def job(ended: asyncio.Event) -> None:
        answers: asyncio.Queue[str] = asyncio.Queue()
        lines_typed(answers)
        await learn_pads(
            midi, lesson, api=midi_api, seconds=seconds,
            opened=opened, turned=turned, answers=answers, ended=ended,
        )  # fmt: skip

    _run(job)
    write_draft(out, lesson.layout(), ["Learned from the pads pressed."])
    screen.print(f"Written: {out}. To be used with `liveaid perform --lamps {out}`.")
    return 0


def lines_typed(into: asyncio.Queue[str]) -> None:
    """Lines of standard input go into the queue, read by a thread: no loop waits for a keyboard."""
    loop = asyncio.get_running_loop()

    def read() -> None:
        with contextlib.suppress(OSError, ValueError, RuntimeError):
            for line in sys.stdin:
                loop.call_soon_threadsafe(into.put_nowait, line)

    threading.Thread(target=read, daemon=True).start()


def _run(job: Callable[[asyncio.Event], Coroutine[Any, Any, Result]]) -> Result:
    """Run on a loop of its own; Ctrl-C and its like set the event: what was heard counts."""

    async def inside() -> Result:
        ended = asyncio.Event()
        with ends_by_signal(ended.set):
            return await job(ended)

    return run_on_loop(inside())


def _say(out: Path, learned: Learned, messages: int) -> None:
    screen = console()
    screen.print(f"{messages} messages heard.")
    screen.say(*(f"  {note}" for note in learned.notes))
    screen.print(f"Written: {out}. To be used with `liveaid perform --osc-map {out}`.")
