"""`liveaid rehearse --calibrate`: the delays of a sender and an output, measured and kept."""

from __future__ import annotations

import time
from pathlib import Path

from liveaid.commands.stage_options import rehearse_page
from liveaid.practice.calibrating import Calibrating
from liveaid.practice.calibration import Calibrated, says
from liveaid.practice.store import TakeStore
from liveaid.routine import Routine
from liveaid.stage.ending import ends_by_signal, run_on_loop
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.terminal import console


def calibrate(
    routine: Routine, settings: Settings, takes: Path, *, sender: str, output: str
) -> None:
    """Run the stage with a click that goes on until both decks and the taps are measured."""
    screen = console()
    found: list[Calibrated] = []

    async def run() -> None:
        def done(what: Calibrated) -> None:
            found.append(what)
            stage.ask_stop()

        watcher = Calibrating(done, told=screen.say)
        stage = Service(routine, settings, watchers=[watcher])
        with ends_by_signal(stage.ask_stop):
            async with stage:
                screen.print(f"Clicks on {rehearse_page(stage)}; OSC in {stage.osc_address}")
                await stage.run()

    run_on_loop(run())
    if not found:
        screen.print("Stopped before both decks were measured; nothing is changed.")
        return
    _keep(found[0], takes, sender=sender, output=output)
    screen.say(*says(found[0]))


def _keep(found: Calibrated, takes: Path, *, sender: str, output: str) -> None:
    store = TakeStore(takes)
    try:
        for clock, late in found.late.items():
            store.delay(
                at=time.time(), sender=sender, output=output, deck=clock, late=late
            ).result()
    finally:
        store.close()
