"""stage: the running service: OSC in, MIDI lamps and pads, the page, the daemon.

May import: errors, files, terminal, routine, follow, aiohttp, mido, pydantic, pydantic_core,
pythonosc, rich, rtmidi, soundfile, yaml.

`Service` is the whole stage; a `Watcher` looks on, adds to /status and serves pages beside ours.
Sockets, ports, clocks: receiver, midi, web, service. All else here is plain functions, told the
time: osc_packet, osc_map, osc (what was said), cues, lamp_layout, lamps (what is shown).
"""

from liveaid.stage.address import Address, StageError, parse_address
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.watcher import Watcher

__all__ = ["Address", "Heard", "Service", "Settings", "StageError", "Watcher", "parse_address"]
