"""simulate: a performance without hardware: turntable, performer, network, and the truth of it.

May import: errors, record, routine, numpy, pythonosc. Seeded, and faster than real time; shares
no model with follow. Sockets and clocks only in send.

acting       acts written out in the map, played
course       the course of a performance
deckhand     A hand on one deck: the record it moves, how exact it is, and the acts it has done
events       what the performer meant to do at a beat, and when it was done
fader_moves  what the mixer says meanwhile: the crossfader and both levels, whenever they change
faults       what goes wrong in a performance
human_hands  how exact a performer's hands are
juggle       one deck's part of a juggle
line         what goes on at a steady or evenly changing rate
scratch      strokes inside a span
steps        the way through the section map that a performance takes
track        A record's position over time as a smooth curve with the few places where the
turns        what a hand means to do with a record it works
"""

from liveaid.simulate.events import Event
from liveaid.simulate.fader_moves import MixerMessage
from liveaid.simulate.faults import FAULT_KINDS, Fault, FaultError, Happened, draw_fault
from liveaid.simulate.human_hands import PERSON, STEADY, Hands
from liveaid.simulate.network import Dead, Message, Messages, Network
from liveaid.simulate.performance import NotPlacedError, Performance, perform, truth_record
from liveaid.simulate.truth import Truth

__all__ = [
    "FAULT_KINDS",
    "PERSON",
    "STEADY",
    "Dead",
    "Event",
    "Fault",
    "FaultError",
    "Hands",
    "Happened",
    "Message",
    "Messages",
    "MixerMessage",
    "Network",
    "NotPlacedError",
    "Performance",
    "Truth",
    "draw_fault",
    "perform",
    "truth_record",
]
