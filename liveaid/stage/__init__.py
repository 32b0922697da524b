"""stage: the running service: OSC in, MIDI lamps and pads, the page, the daemon.

May import: errors, files, record, routine, follow, aiohttp, cryptography, mido, pydantic,
pythonosc, rich, rtmidi, segno, trustme, watchfiles, yaml, zeroconf.

`Service` is the whole stage; a `Watcher` looks on, adds to /status and serves pages beside ours.

set and struck   service wires the parts; settings; slept; mishaps;
                 loop_lag, stage_notes: what the performer should know of it
positions in     receiver: the socket; backlog; kernel_drops; osc_packet: OSC;
                 osc_map: a sender's map; osc: what was said
words in         words: the table; spoken: from page, pad or OSC to whoever they are for
the prompt       follows: what is asked of a follower; showing: when it is worked out; on_time
controllers      lamp_layout; lamps: what is shown, how fast; cues; pads; board, boards
MIDI ports       midi: found, lost, found again; midi_sender; midi_ports, midi_names, jack_server
pages            web: the server; door: who comes in; guard: who may ask; live: who is open;
                 headers, page_files; outline: the routine drawn; address; page/
on a phone       share: beside the turntables; certificate: for https; screen: how large, how far
the map          living: an edit comes in when nothing is playing, or is told
following along  out: the file; prompt_osc, prompt_sender; beat_clock, clock_out: MIDI clock
other positions  timecode, timecode_in: MIDI time code
kept running     keeper: started again; ending: signals; stage_log: JSON lines
sound check      soundcheck: the list; soundcheck_view
looking on       watcher: what one may do; watchers: all as one; lamp_text: the terminal
learning         listening; learn_osc, learn_streams, learn_unit; learn_lamps
"""
