"""simulate: a performance without hardware: platter, performer, network, and the truth of it.

May import: errors, record, routine, numpy, pythonosc. Seeded, and faster than real time; shares
no model with follow. Sockets and clocks only in send.
"""

from liveaid.simulate.events import Event
from liveaid.simulate.faults import FAULT_KINDS, Fault, FaultError, Happened, draw_fault
from liveaid.simulate.hands import PERSON, STEADY, Hands
from liveaid.simulate.mixer import MixerMessage
from liveaid.simulate.network import Dead, Message, Messages, Network
from liveaid.simulate.performance import NotPlacedError, Performance, perform
from liveaid.simulate.record import truth_record
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
