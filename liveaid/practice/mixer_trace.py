"""What the mixer told over a take, kept beside its positions: crossfader and channel levels.

Layout: the magic, then zlib of a JSON list of [second, control, value]. A few hundred messages a
take, so nothing finer is worth it.
"""

from __future__ import annotations

import json
import math
import zlib
from collections import deque
from collections.abc import Iterable, Sequence
from typing import Any, Literal, NamedTuple, TypeAlias, get_args

from liveaid.practice.trace import TraceError
from liveaid.routine import Side

Control: TypeAlias = Literal["crossfader"] | Side
"""The crossfader, or a side's channel level."""

_MIXER_MAGIC = b"liveaid mixer 1\n"
_CONTROLS = ("crossfader", *get_args(Side))
_MIXER_LARGEST = 64_000_000
"""Bytes it may unfold to: an hour of two faders moved without a rest, at a thousand a second."""
_TIME_DIGITS = 5
_VALUE_DIGITS = 4
"""Finer than any mixer sends (12 bits: common practice, no source)."""


MIXER_MOST = 200_000
"""Messages kept at most, else the later half: an hour of a fader moved at fifty a second."""


class FaderHeard(NamedTuple):
    """A fader at a new place."""

    now_s: float
    """Monotonic second of arrival."""
    control: Control
    value: float
    """Crossfader: 0 left to 1 right, as sent; level: 0 to 1."""


MixerTrace: TypeAlias = tuple[FaderHeard, ...]


class MixerHeard:
    """What the mixer has told so far, as much of it as is asked to be kept."""

    def __init__(self) -> None:
        self._stood: dict[Control, FaderHeard] = {}
        """Where each fader stood before what is kept."""
        self._messages: deque[FaderHeard] = deque()

    def hear(self, message: FaderHeard) -> None:
        """One message, in order of time."""
        self._messages.append(message)
        if len(self._messages) > MIXER_MOST:
            self.forget(self._messages[MIXER_MOST // 2].now_s)

    def forget(self, before_s: float) -> None:
        """Keep of what came before only where each fader stood then."""
        while self._messages and self._messages[0].now_s < before_s:
            gone = self._messages.popleft()
            self._stood[gone.control] = gone

    def between(self, start_s: float, end_s: float) -> MixerTrace:
        """The messages from start to end, and the last of each fader from before."""
        stood = dict(self._stood)
        stood.update({m.control: m for m in self._messages if m.now_s < start_s})
        inside = [m for m in self._messages if start_s <= m.now_s <= end_s]
        return tuple(sorted([*stood.values(), *inside]))


def rows_of(mixer: Sequence[FaderHeard]) -> list[list[Any]]:
    """The messages as plain values."""
    return [[round(t, _TIME_DIGITS), what, round(v, _VALUE_DIGITS)] for t, what, v in mixer]


def mixer_of(rows: Iterable[Any]) -> MixerTrace:
    """The messages in `rows_of`'s values. TraceError for anything else."""
    try:
        found = tuple(FaderHeard(float(t), what, float(value)) for t, what, value in rows)
    except (TypeError, ValueError) as error:
        raise TraceError(f"no mixer messages ({error})") from error
    if not all(m.control in _CONTROLS and math.isfinite(m.now_s + m.value) for m in found):
        raise TraceError("no mixer messages: an unknown fader, or a value that is no number")
    return found


def pack_mixer(mixer: Sequence[FaderHeard]) -> bytes:
    """The messages as bytes, times rounded to 10 microseconds."""
    return _MIXER_MAGIC + zlib.compress(
        json.dumps(rows_of(mixer), separators=(",", ":")).encode(), 6
    )


def unpack_mixer(data: bytes | None) -> MixerTrace:
    """The messages in the bytes that `pack_mixer` wrote; none for none. TraceError else."""
    if data is None:
        return ()
    if not data.startswith(_MIXER_MAGIC):
        raise TraceError("not what a mixer told")
    inflate = zlib.decompressobj()
    try:
        body = inflate.decompress(data[len(_MIXER_MAGIC) :], _MIXER_LARGEST)
        if not inflate.eof:
            raise TraceError("an account of the mixer that is cut short")
        return mixer_of(json.loads(body))
    except (zlib.error, ValueError) as error:
        raise TraceError(f"a damaged account of the mixer ({error})") from error
