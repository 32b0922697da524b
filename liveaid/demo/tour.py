"""The whole job on the night market: each stage by the command a performer would type."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console
from rich.rule import Rule

from liveaid.demo.alley import make_alley, play_alley
from liveaid.demo.market import market_sounds, write_sounds
from liveaid.demo.show import ShowOutcome, at_once, lamp_layout, live
from liveaid.demo.tally import FollowTally, lateness_ms, tally
from liveaid.files.aside import write_aside
from liveaid.files.folders import cache_folder
from liveaid.routine import Routine, load_routine
from liveaid.routine.scene import MAP, map_file, own
from liveaid.simulate import Performance, perform
from liveaid.stage.address import HTTP_ADDRESS, OSC_ADDRESS, Address
from liveaid.stage.settings import Controller, Settings
from liveaid.terminal import progress_bar

Call = Callable[[Sequence[str]], object]
"""Runs one liveaid command line in this process."""
LayOut = Callable[[Path], Routine]
"""The map of a scene, placed as a render would place it."""

BURST_S = 8.0
"""How much of the performance goes over the socket in the fast demo."""


def default_folder() -> Path:
    """Where the demo's scene is made unless told otherwise: the user's cache."""
    return cache_folder() / "night-market"


def tour(
    folder: Path, call: Call, lay_out: LayOut, console: Console, *, fast: bool, seed: int
) -> dict[str, Any]:
    """The five stages in `folder`; the figures of the performance, fit for JSON."""
    _open_scene(folder, console)
    _prepare(folder, call, console)
    placed = folder / "decks" / "routine.yaml"
    routine = load_routine(placed)
    performance = perform(routine, seed=seed)
    _stage(console, "On stage", f"liveaid perform {folder}", f"liveaid simulate {folder}")
    takes = folder / "takes.sqlite"
    outcome, on_socket = _perform(routine, performance, console, fast=fast, takes=takes)
    beat_s = [piece.beat_s for piece in routine.pieces].__getitem__
    score = tally(outcome.said, performance.truth.at, beat_s)
    late = lateness_ms(on_socket.shown, performance.truth.at, beat_s)
    _say_score(console, score, outcome, late)
    alley = []
    if not outcome.stopped:
        review = ["review", str(folder), "--last", "3", "--pictures", str(folder / "practice")]
        _type(console, call, "What to practise next", review)
        alley = _speak(folder, call, lay_out, console, fast=fast, seed=seed)
    return {
        "scene": str(folder),
        "fast": fast,
        "stopped": outcome.stopped,
        **score.to_json(),
        "beat_shown_late_ms": round(median(late), 3) if late else None,
        "datagrams": outcome.sent,
        "alley": alley,
    }


def _speak(
    folder: Path, call: Call, lay_out: LayOut, console: Console, *, fast: bool, seed: int
) -> list[dict[str, Any]]:
    """What the hands do, in the alley beside the market."""
    alley = make_alley(folder)
    shelf = ["--shelf", str(alley / "shelf.sqlite")]
    _type(console, call, "The alley's sounds, known from the market",
          ["gather", str(alley / "sounds"), *shelf])  # fmt: skip
    _type(console, call, "What the hands do there", ["check", str(alley), "--fastest"])
    _stage(console, "A sentence, a tune, a juggle: played by the simulator, each by itself")
    on_stage = None if fast else _settings(OSC_ADDRESS, HTTP_ADDRESS)
    return play_alley(lay_out(alley), console, seed=seed, on_stage=on_stage)


def quiet(call: Call) -> Call:
    """The same, its report swallowed: for when only the figures are wanted."""

    def silent(arguments: Sequence[str]) -> object:
        with contextlib.redirect_stdout(io.StringIO()):
            return call(arguments)

    return silent


def _open_scene(folder: Path, console: Console) -> None:
    _stage(console, "An idea, and its sounds")
    folder.mkdir(parents=True, exist_ok=True)
    write_aside(own(folder, MAP), map_file("night-market").read_bytes())
    sounds = own(folder, "sounds", folder=True)
    with progress_bar() as bar:
        task = bar.add_task("making the market's sounds", total=len(market_sounds()))
        write_sounds(sounds, on_sound=lambda _: bar.advance(task))
    idea = load_routine(folder / "routine.yaml").idea
    if idea is not None:
        console.print(f"Theme  {idea.theme}\nFeel   {idea.feel}")
    console.print(f"Scene  {folder}", soft_wrap=True)


def _prepare(folder: Path, call: Call, console: Console) -> None:
    """Gather, compose, produce."""
    shelf = ["--shelf", str(folder / "shelf.sqlite")]
    scene, sounds = str(folder), str(folder / "sounds")
    for title, arguments in (
        ("Gather", ["gather", sounds, *shelf]),
        ("What the idea still lacks", ["gather", "--for", scene, *shelf]),
        ("What goes with the stall's break", ["fit", f"{sounds}/stall-break.wav", *shelf]),
        ("Compose: the order that costs the hands least", ["arrange", scene, "--best", "2"]),
        ("Produce the deck files", ["render", scene]),
        ("Can two hands play it", ["check", scene]),
    ):
        _type(console, call, title, arguments)


def _perform(
    routine: Routine, performance: Performance, console: Console, *, fast: bool, takes: Path
) -> tuple[ShowOutcome, ShowOutcome]:
    """The whole performance, and what of it went over the socket: a burst in the fast demo."""
    anywhere = Address("127.0.0.1", 0)
    osc, http = (anywhere, anywhere) if fast else (OSC_ADDRESS, HTTP_ADDRESS)
    whole = at_once(routine, performance, console, takes=takes) if fast else None
    on_socket = live(
        routine, performance, console, settings=_settings(osc, http),
        until_s=BURST_S if fast else performance.duration_s, takes=None if fast else takes,
    )  # fmt: skip
    return whole or on_socket, on_socket


def _settings(osc: Address, http: Address) -> Settings:
    return Settings(osc=osc, http=http, controllers=(Controller(layout=lamp_layout()),))


def _say_score(
    console: Console, score: FollowTally, outcome: ShowOutcome, late: Sequence[float]
) -> None:
    console.print(Rule("How well it was followed", align="left", style="dim"))
    if outcome.stopped:
        console.print("Stopped early; this is the part that was played.")
    console.print(f"Set piece right  {score.pieces_right:6.2f} % of {score.moments} moments")
    console.print(f"Beat right       {score.beats_right:6.2f} %, give or take one")
    if score.beat_error_ms is not None:
        console.print(f"Beat off by      {score.beat_error_ms:6.1f} ms in the median")
    console.print(
        f"Called itself sure {score.sure:.1f} % of the time, "
        f"and was right {score.sure_and_right:.2f} % of that",
        soft_wrap=True,
    )
    if late:
        console.print(
            f"A beat was shown {median(late):.1f} ms after it fell, in the median of {len(late)} "
            "beats over UDP",
            soft_wrap=True,
        )


def _type(console: Console, call: Call, title: str, arguments: Sequence[str]) -> None:
    """One stage by the command that a performer would type."""
    _stage(console, title, "liveaid " + " ".join(arguments))
    call(arguments)


def _stage(console: Console, title: str, *lines: str) -> None:
    console.print()
    console.print(Rule(title, align="left", style="dim"))
    for line in lines:
        console.print(f"$ {line}", style="dim", soft_wrap=True)
