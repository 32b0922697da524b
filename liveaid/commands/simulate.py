"""`liveaid simulate`: the routine performed without hardware, over OSC."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from liveaid.commands.opening import opened_to_play, say_state
from liveaid.commands.shared_options import FILE, Command, osc_option
from liveaid.errors import LiveaidError
from liveaid.routine import Routine
from liveaid.routine.model import clock_time
from liveaid.routine.opened import Opened
from liveaid.simulate import (
    FAULT_KINDS,
    PERSON,
    Fault,
    Hands,
    Network,
    Performance,
    perform,
    truth_record,
)
from liveaid.simulate.send import Sender, What, send_now
from liveaid.stage.address import Address, parse_address
from liveaid.terminal import console, json_option, print_json, progress_bar

_BEGIN_IN_S = 0.1
_SHOW_EVERY_S = 0.5
_FAULT_HELP = f"What goes wrong, somewhere: {', '.join(FAULT_KINDS)}. May be given again."


def _ms(
    name: str, default: float | None, text: str, least: float = 0.0
) -> Callable[[Command], Command]:
    return click.option(
        name, type=click.FloatRange(least, 1000), default=default,
        show_default=default is not None, metavar="MS", help=text,
    )  # fmt: skip


def _share(name: str, text: str) -> Callable[[Command], Command]:
    return click.option(name, type=click.FloatRange(0, 1), default=0.0, metavar="SHARE", help=text)


@click.command("simulate")
@click.argument("scene")
@osc_option("Where the positions are sent.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, metavar="N",
              help="The same seed is the same performance.")  # fmt: skip
@click.option("--fault", "kinds", type=click.Choice(FAULT_KINDS), multiple=True, metavar="KIND",
              help=_FAULT_HELP)  # fmt: skip
@click.option("--from-piece", type=click.IntRange(min=1), default=1, show_default=True,
              metavar="N", help="Begin with this set piece, counted from 1.")  # fmt: skip
@click.option("--rate", type=click.FloatRange(1, 2000), default=200.0, show_default=True,
              metavar="HZ", help="Positions a second and deck.")  # fmt: skip
@click.option("--on-change", is_flag=True, help="Send a position only when it has changed.")
@click.option("--speeds", is_flag=True, help="Send each deck's speed too.")
@click.option("--mixer/--no-mixer", default=True, help="Send the faders too.  [default: mixer]")
@_ms("--jitter", 1.0, "Mean time a message is held up on top of its way.")
@click.option("--trace", "trace", metavar="FILE|NUMBER",
              help="Play a recorded take back instead: a trace written by `liveaid review "
              "--trace`, or the number of a kept take.")  # fmt: skip
@_share("--loss", "Share of messages lost, 0 to 1.")
@_share("--duplicates", "Share of messages that arrive twice.")
@_share("--reorder", "Share of messages overtaken by the next.")
@_ms("--delay-left", 0.0, "How late the left deck's positions are sent.")
@_ms("--delay-right", 0.0, "How late the right deck's are.")
@click.option("--off-centre", type=click.FloatRange(0, 5), default=0.0, metavar="MM",
              help="How far the records' holes are off their centre.")  # fmt: skip
@_ms("--timing-error", None,
     "Spread of the hands' timing, releases and strokes alike.  [default: 20]")  # fmt: skip
@_ms("--timing-bias", None, "How late the hands are on the whole; below 0 early.  [default: 0]",
     least=-1000)  # fmt: skip
@click.option("--person", is_flag=True, help="A trained person on an evening: errors that follow "
              "one another, a beat anticipated, hands that tire and hurry.")  # fmt: skip
@_share("--misses", "Share of juggle releases and mapped strokes left out.")
@click.option("--speed-up", type=click.FloatRange(0.01, 1000), default=1.0, metavar="X",
              help="So many times as fast as real time.")  # fmt: skip
@click.option("--record", type=FILE, metavar="FILE",
              help="Write what was truly played to a JSON file, for scoring.")  # fmt: skip
@json_option
def command(scene: str, osc: str, record: Path | None, as_json: bool, **options: Any) -> int:
    """Play the routine without hardware: both decks' positions over OSC, on time.

    SCENE is a section map, a folder with one, or the name of a scene that comes along; its rendered
    map is taken. Ctrl-C stops at once.

    Example: liveaid simulate night-market --osc 127.0.0.1:9000 --fault skip --record truth.json
    """
    address = parse_address(osc)
    found = opened_to_play(scene)
    if options["trace"]:
        return _play_back(options["trace"], found.playable_file, address, as_json=as_json)
    say_state(found)
    performance = _performance(found.playable(), options)
    also: tuple[What, ...] = ("mixer",) if options["mixer"] else ()
    also += ("speed",) if options["speeds"] else ()
    begin_s = time.monotonic() + _BEGIN_IN_S
    if record is not None:
        _write(record, performance, begin_s, options["speed_up"])
    with Sender(
        performance, address.host, address.port, begin_s=begin_s, speed=options["speed_up"],
        also=also,
    ) as sender:  # fmt: skip
        stopped = _send(sender, performance)
    report = _report(found, performance, sender, address, stopped, record)
    if as_json:
        print_json(report)
    else:
        console().say(_line(report))
    return 130 if stopped else 0


def _performance(routine: Routine, options: dict[str, Any]) -> Performance:
    if options["from_piece"] > len(routine.pieces):
        raise click.UsageError(
            f"--from-piece {options['from_piece']}: {routine.title} has"
            f" {len(routine.pieces)} set pieces"
        )
    return perform(
        routine,
        seed=options["seed"],
        faults=[Fault(kind=kind) for kind in options["kinds"]],
        hands=_hands(options),
        network=Network(
            rate_hz=options["rate"],
            sends="on_change" if options["on_change"] else "always",
            jitter_s=options["jitter"] / 1000.0,
            left_delay_s=options["delay_left"] / 1000.0,
            right_delay_s=options["delay_right"] / 1000.0,
            off_centre_mm=options["off_centre"],
            loss=options["loss"],
            duplicates=options["duplicates"],
            reorder=options["reorder"],
        ),
        start_piece=options["from_piece"] - 1,
    )


def _play_back(what: str, file: Path, address: Address, *, as_json: bool) -> int:
    """A recorded trace once more, each message at its own time."""
    # Loaded when asked for: they bring all that judges takes with them.
    from liveaid.practice.replay import replay, stored_trace
    from liveaid.practice.schema import takes_file

    sent = asyncio.run(replay(stored_trace(what, takes_file(file)), address))
    if as_json:
        print_json({"trace": what, "to": str(address), "datagrams": sent})
    else:
        console().print(f"Take {what} played back: {sent} datagrams to {address}.")
    return 0


def _hands(options: dict[str, Any]) -> Hands:
    """The hands asked for; their timing holds for releases and for strokes."""
    asked: dict[str, float] = {}
    for word, what in (("timing_error", "error_s"), ("timing_bias", "bias_s")):
        if options[word] is not None:
            asked |= {f"{act}_{what}": options[word] / 1000.0 for act in ("timing", "stroke")}
    if options["misses"] or not options["person"]:
        asked["miss_rate"] = options["misses"]
    return replace(PERSON if options["person"] else Hands(), **asked)


def _send(sender: Sender, performance: Performance) -> bool:
    """Send it all under a bar that names the set piece; whether Ctrl-C cut it short."""
    with progress_bar() as bar:
        task = bar.add_task("", total=int(performance.duration_s))
        shown_s = -1.0
        try:
            for now_s in send_now(sender):
                if now_s - shown_s < _SHOW_EVERY_S:
                    continue
                shown_s = now_s
                place = performance.truth.at(now_s)
                name = performance.routine.pieces[place[0]].name if place else "-"
                bar.update(task, completed=int(now_s), description=name)
        except KeyboardInterrupt:
            return True
    return False


def _write(file: Path, performance: Performance, begin_s: float, speed: float) -> None:
    record = {**truth_record(performance), "begin_monotonic_s": begin_s, "speed_up": speed}
    try:
        file.write_text(json.dumps(record, allow_nan=False), encoding="utf-8")
    except OSError as error:
        raise LiveaidError(
            f"{file}: cannot be written ({error.strerror}); a file in a folder of yours would do"
        ) from error


def _report(
    found: Opened,
    performance: Performance,
    sender: Sender,
    address: Address,
    stopped: bool,
    record: Path | None,
) -> dict[str, Any]:
    return {
        "title": performance.routine.title,
        "map": found.to_json(),
        "seed": performance.seed,
        "to": str(address),
        "stopped": stopped,
        "seconds": round(sender.reached_s, 3),
        "datagrams": sender.sent,
        "refused": sender.refused,
        "failed": sender.failed,
        "latest_ms": round(1000.0 * sender.latest_s, 3),
        "faults": [
            {
                "kind": what.fault.kind,
                "piece": what.fault.piece,
                "at_s": round(what.at_s, 3),
                "until_s": round(what.until_s, 3),
            }
            for what in performance.faults
        ],
        "record": str(record) if record else None,
    }


def _line(report: dict[str, Any]) -> str:
    """What was sent, in one line."""
    parts = [
        f"{'Stopped: ' if report['stopped'] else ''}{report['title']}, seed {report['seed']}",
        f"{report['datagrams']} datagrams to {report['to']}",
        f"{clock_time(round(report['seconds']))} played",
        *(f"{fault['kind']} at {clock_time(round(fault['at_s']))}" for fault in report["faults"]),
    ]
    if report["refused"]:
        parts.append("nobody seems to listen there, at least not all the time")
    if report["failed"]:
        parts.append(f"{report['failed']} could not be sent")
    if report["record"]:
        parts.append(f"truth in {report['record']}")
    return "; ".join(parts) + "."
