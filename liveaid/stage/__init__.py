"""stage: the running service: OSC in, MIDI lamps and pads, the page, the daemon.

May import: errors, files, record, routine, follow, aiohttp, cryptography, mido, pydantic,
pydantic_core, pythonosc, rich, rtmidi, segno, trustme, watchfiles, yaml, zeroconf.

`Service` is the whole stage; a `Watcher` looks on, adds to /status and serves pages beside ours.

set and struck   service wires the parts; settings; health: /health; slept; mishaps;
                 loop_lag, stage_notes: what the performer should know of it
positions in     receiver: the socket; backlog; kernel_drops; osc_packet: OSC;
                 osc_map: a sender's map; osc: what was said
words in         words: the table; spoken: from page, pad or OSC to whoever they are for
the prompt       follows: what is asked of a follower; showing: when it is worked out
controllers      lamp_layout; lamps: what is shown, how fast; cues; pads; board, boards
MIDI ports       midi: found, lost, found again; midi_sender; midi_ports, midi_names, jack_server
pages            web: the server; headers, page_files; outline: the routine drawn; address; page/
the map          living: an edit comes in when nothing is playing, or is told
following along  out: the file; prompt_osc, prompt_sender; beat_clock, clock_out: MIDI clock
other positions  timecode, timecode_in: MIDI time code
kept running     keeper: started again; ending: signals; lamps_out; stage_log: JSON lines
sound check      soundcheck: the list; soundcheck_view
looking on       watcher: what one may do; watchers: all as one; lamp_text: the terminal
learning         listening; learn_osc, learn_streams, learn_unit; learn_lamps
config_file  YAML with lines
certificate  the stage's own certificate for https, made on first use
door         who comes in to the pages
guard        who may ask for a page
live         the pages that are open
screen       how large the page's screen is and from how far it is read
share        the stage on a phone or tablet beside the turntables
"""

from liveaid.stage.address import Address, StageError, parse_address
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.stage.watcher import Stage, Watcher, Whole

__all__ = [
    "Address",
    "Heard",
    "Service",
    "Settings",
    "Stage",
    "StageError",
    "Watcher",
    "Whole",
    "parse_address",
]
