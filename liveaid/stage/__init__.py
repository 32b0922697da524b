"""stage: the running service: OSC in and out, MIDI lamps and pads, the page, the daemon.

May import: errors, terminal, routine, follow, aiohttp, mido, numpy, pydantic,
pythonosc, rich, rtmidi, yaml.
"""
