"""MIDI time code: where a player says it is. Pure.

Quarter frames (F1 and a byte: three bits which piece, four bits of the time) come four a frame,
eight to the whole time; a full message tells where a player has gone to. MIDI Time Code (MIDI
Manufacturers Association, 1987), drop frames as SMPTE ST 12-1 counts them.
"""

from __future__ import annotations

from fractions import Fraction

RATES = (Fraction(24), Fraction(25), Fraction(30000, 1001), Fraction(30))
"""Frames a second by the two bits of the rate; the third is 30 drop-frame."""
DROP = 2


def seconds_of(hours: int, minutes: int, seconds: int, frames: int, rate: int) -> float:
    """Seconds from 00:00:00:00, `rate` being the two bits (RATES).

    Drop-frame leaves out frame numbers 0 and 1 of every minute but each tenth.
    """
    whole = (hours * 60 + minutes) * 60 + seconds
    count = whole * round(RATES[rate]) + frames
    if rate == DROP:
        passed = hours * 60 + minutes
        count -= 2 * (passed - passed // 10)
    return float(count / RATES[rate])


class Timecode:
    """Puts quarter frames together; says the time at each once it knows it."""

    def __init__(self) -> None:
        self._pieces = [0] * 8
        self._last: int | None = None
        self._run = 0
        """Pieces in unbroken order up to now: above 0 forwards, below 0 back."""
        self._time_s: float | None = None
        self._frame_s = 0.0

    def hear(self, data: bytes) -> float | None:
        """The time in seconds at this message; None while it is not known, or for any other."""
        if len(data) == 2 and data[0] == 0xF1:
            return self._quarter(data[1] >> 4, data[1] & 0x0F)
        if len(data) == 10 and data[0] == 0xF0 and data[1] == 0x7F and data[3:5] == b"\x01\x01":
            return self._full(data[5:9])
        return None

    def _quarter(self, piece: int, bits: int) -> float | None:
        step = self._step(piece)
        self._last = piece
        self._pieces[piece] = bits
        if step == 0:  # a piece is missing: nothing is known
            self._run, self._time_s = 1, None
            return None
        same_way = self._run * step > 0
        self._run = step + (self._run if same_way else step)
        if self._time_s is not None:
            self._time_s += step * self._frame_s / 4
        if abs(self._run) >= 8 and piece == (7 if step == 1 else 0):
            self._take_up(step)
        return self._time_s

    def _step(self, piece: int) -> int:
        if self._last is None:
            return 0
        return {1: 1, 7: -1}.get((piece - self._last) % 8, 0)

    def _take_up(self, step: int) -> None:
        """All eight are there. They tell of the frame that began with piece 0: forwards that is
        seven quarters ago, back it is now (the second from memory)."""
        low = self._pieces
        rate = (low[7] >> 1) & 0x03
        told_s = seconds_of(
            low[6] | (low[7] & 0x01) << 4, low[4] | (low[5] & 0x03) << 4,
            low[2] | (low[3] & 0x03) << 4, low[0] | (low[1] & 0x01) << 4, rate,
        )  # fmt: skip
        self._frame_s = float(1 / RATES[rate])
        self._time_s = told_s + (7 * self._frame_s / 4 if step == 1 else 0.0)

    def _full(self, time: bytes) -> float | None:
        self._last, self._run, self._time_s = None, 0, None
        return seconds_of(time[0] & 0x1F, time[1], time[2], time[3], (time[0] >> 5) & 0x03)
