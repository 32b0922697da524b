"""`liveaid ports`: what MIDI ports are there."""

from __future__ import annotations

import click

from liveaid.commands.shared_options import midi_api_option
from liveaid.stage.midi_ports import list_ports
from liveaid.terminal import console, json_option, print_json


@click.command("ports")
@midi_api_option("The MIDI system to ask.")
@json_option
def command(midi_api: str, as_json: bool) -> int:
    """List the MIDI ports that are there, to be named in `perform --midi`.

    Example: liveaid ports --json
    """
    found, absent = list_ports(midi_api)
    if as_json:
        ports = {
            way: [{"system": api, "name": name} for api, name in listed]
            for way, listed in found.items()
        }
        print_json({**ports, "absent": absent})
        return 0
    screen = console()
    for way, title in (("out", "Lamps (outputs)"), ("in", "Pads (inputs)")):
        screen.print(title)
        for api, name in found[way]:
            screen.say(f"  {name}  [{api}]")
        if not found[way]:
            screen.print("  none")
    for api, why in absent.items():
        screen.say(f"Not reached: {api} ({why})")
    return 0
