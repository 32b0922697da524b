"""simulate: a performance without hardware: turntable, performer, network, and the truth of it.

May import: errors, record, routine, numpy, pythonosc. Seeded, and faster than real time; shares
no model with follow. Sockets and clocks only in send.

performance  the whole: one seed in, messages, faders, truth and events out

What is to be played:
steps        the set pieces and pauses to play, and what each fault does to them
faults       what can go wrong, and one drawn where it can
course       when each step is really played, at what speed, on which record
turns        what a hand means to do with a record it works

How it is played:
performer    one deck through the whole course
deckhand     the hand on one deck: its errors, and the acts it has done
human_hands  how exact hands are
acting       acts written out in the map
juggle       one deck's part of a juggle
scratch      strokes inside a span
turntable    how a record starts, stops, is pushed and wound
line         what goes on at a steady or evenly changing rate
track        a record's place over time
fader_moves  what the mixer says meanwhile

What comes out:
network      the positions as they are sent and arrive
send         all of it over UDP, each message at its time
truth        where in the routine it really was, and where both records were
events       what a hand meant to do at a beat, and when it did
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
