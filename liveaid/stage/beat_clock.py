"""MIDI clock that follows the performer: what to send and when. Pure, told the time.

24 clocks a beat, tied to the follower's place, so that clocks and beats never drift apart: a clock
falls where the place passes a 24th of a beat. Small errors are slewed away; a leap stops the clock,
sends where the song goes on, and continues there.

Bytes: MIDI 1.0 Detailed Specification, System Real Time (F8 clock, FA start, FB continue, FC stop)
and System Common (F2 song position: sixteenths from the start, seven bits low, seven bits high).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CLOCK, START, CONTINUE, STOP = b"\xf8", b"\xfa", b"\xfb", b"\xfc"
PER_BEAT = 24
PER_SIXTEENTH = 6
MOST_SIXTEENTHS = 2**14 - 1
LEAP_BEATS = 0.25
"""A place this far from where the clock is, is another place: it is gone to, not slewed to."""
SLEW = 0.08
"""Part of an error taken away at each prompt: some 50 a second, so that half goes in 0.2 s."""
RATE_SLEW = 0.25
BEAT_CLOCK_FASTEST = 2.0
"""Clocks come at most this much faster than the tempo asks, whatever is to be caught up."""


def song_position(sixteenths: int) -> bytes:
    """F2, low seven bits, high seven bits."""
    sixteenths = min(max(sixteenths, 0), MOST_SIXTEENTHS)
    return bytes((0xF2, sixteenths & 0x7F, sixteenths >> 7))


@dataclass(slots=True)
class _Line:
    """The clock's own place: beats at a moment, and beats a second."""

    beats: float
    at_s: float
    rate: float

    def at(self, now: float) -> float:
        return self.beats + self.rate * (now - self.at_s)


class BeatClock:
    """Says when the next clock is due."""

    def __init__(self) -> None:
        self._line: _Line | None = None
        self._next = 0
        """The clock to come, counted from the start of the routine."""
        self._sent_s = -math.inf
        self._starts = False
        """Start or continue is still to be sent, just before the first clock."""

    @property
    def running(self) -> bool:
        """Whether clocks go out."""
        return self._line is not None

    def told(self, beats: float | None, rate: float, now: float) -> list[bytes]:
        """The performer is `beats` from the routine's start at `rate` beats a second; None: the
        music does not run. What is to be sent at once."""
        if beats is None or rate <= 0:
            return self._stop()
        line = self._line
        if line is None or abs(beats - line.at(now)) > LEAP_BEATS:
            return [*self._stop(), *self._go_to(beats, rate, now)]
        place = line.at(now)
        line.beats = place + SLEW * (beats - place)
        line.at_s = now
        line.rate += RATE_SLEW * (rate - line.rate)
        return []

    def due_s(self) -> float | None:
        """When the next clock is to be sent."""
        line = self._line
        if line is None:
            return None
        due_s = line.at_s + (self._next / PER_BEAT - line.beats) / line.rate
        return max(due_s, self._sent_s + 1.0 / (PER_BEAT * line.rate * BEAT_CLOCK_FASTEST))

    def clock(self, now: float) -> list[bytes]:
        """The clock that is due."""
        if self._line is None:
            return []
        self._sent_s = now
        starting, self._starts = self._starts, False
        first = self._next == 0
        self._next += 1
        if starting:
            return [START if first else CONTINUE, CLOCK]
        return [CLOCK]

    def _stop(self) -> list[bytes]:
        """Nothing was sent since a leap: nothing to stop."""
        running, self._line = self._line is not None and not self._starts, None
        return [STOP] if running else []

    def _go_to(self, beats: float, rate: float, now: float) -> list[bytes]:
        """From the next sixteenth on; from the very start when that is less than one away."""
        sixteenth = max(0, math.ceil(beats * 4 - 1e-9))
        if -1.0 < beats <= 0.1:
            sixteenth = 0
        self._line = _Line(beats, now, rate)
        self._next, self._starts = sixteenth * PER_SIXTEENTH, True
        return [song_position(sixteenth)] if sixteenth else []
