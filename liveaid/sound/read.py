"""Read a sound straight through: blocks of samples, cleaned, and what is wrong with the file.

A straight reader never seeks: a cut FLAC file can hang its decoder on a seek.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

import numpy as np
import numpy.typing as npt
import soundfile

from liveaid.files.names import shown
from liveaid.files.unreadable import Unreadable
from liveaid.sound.container import promised
from liveaid.sound.packed import PACKED_ENDINGS, Packed, PackedError

Samples = npt.NDArray[np.float32]

BLOCK_SAMPLES = 1 << 18
RATES_HZ = (1000, 768_000)
READ_MOST_CHANNELS = 64
"""Beyond these a header is spoiled."""
LOUDEST = 1000.0
"""Full scale is 1; what is 60 dB above it is no sound but a damaged float."""
PACKED_SLACK_S = 0.2
"""A packed file's header counts whole packets and the coder's own delay: some tenths of a second
at most (AAC's packets are 1024 frames, its delay 2112: from memory of ISO/IEC 14496-3)."""


NO_MPEG_FRAME = 7
"""libsndfile's SFE_BAD_FILE: what it says of a file that it tried as MPEG for its ending alone. Its
words are of a missing file, which this one is not."""


class _Straight(soundfile.SoundFile):  # type: ignore[misc]
    """A sound file whose reader does not seek after every block."""

    def seekable(self) -> bool:
        return False


@dataclass(slots=True)
class Reader:
    """One open sound file; iterate over it once for its blocks, (frames, channels) float32."""

    path: Path
    _file: _Straight | Packed
    declared: int
    """Frames the header promises; what the decoder tells where the container says nothing."""
    padding: tuple[int, int] = (0, 0)
    """Frames of silence, at least and at most, that the coder added without telling."""
    slack: int = 0
    """Frames by which a lossy container's promise may be off without a fault."""
    frames: int = 0
    """Frames read so far."""
    damaged: int = 0
    """Samples that were no numbers, taken as silence."""
    faults: list[str] = field(default_factory=list)

    @property
    def rate_hz(self) -> int:
        """Frames a second."""
        return int(self._file.samplerate)

    @property
    def channels(self) -> int:
        """Samples in a frame."""
        return int(self._file.channels)

    @property
    def format(self) -> str:
        """Container and coding."""
        return f"{self._file.format} {self._file.subtype}"

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def __iter__(self) -> Iterator[Samples]:
        going = True
        while going:
            # What was decoded before an error is in the block, but its length is lost with the
            # error: the rest is still NaN.
            frames = BLOCK_SAMPLES // self.channels
            room = np.full((frames, self.channels), np.nan, dtype=np.float32)
            try:
                block = self._file.read(out=room)
            except (soundfile.SoundFileError, PackedError) as error:
                block = room[: _filled(room)]
                at_s = (self.frames + len(block)) / self.rate_hz
                self.faults.append(f"decoding stopped at {at_s:.3f} s: {_reason(error)}")
                going = False
            going = going and len(block) > 0
            self.frames += len(block)
            if len(block):
                yield self._cleaned(block)

    def _cleaned(self, block: Samples) -> Samples:
        """The block with whatever is no sound taken as silence, and counted."""
        # Both comparisons fail where a NaN is the largest, as it is of any block that has one.
        with np.errstate(invalid="ignore", over="ignore"):
            if block.max() <= LOUDEST and block.min() >= -LOUDEST:
                return block
            bad = ~(np.abs(block) <= LOUDEST)
        self.damaged += int(bad.sum())
        return np.where(bad, np.float32(0.0), block)

    def all_faults(self) -> tuple[str, ...]:
        """What is wrong with the file, once all its blocks were read."""
        faults = list(self.faults)
        told = any(fault.startswith(("cut off", "decoding stopped")) for fault in faults)
        if self.frames < self.declared - self.slack and not told:
            faults.append(
                f"cut off: {self.declared} frames are promised, {self.frames} could be read"
            )
        if self.damaged:
            faults.append(f"{self.damaged} samples are no numbers and were taken as silence")
        return tuple(faults)


def open_sound(path: str | Path) -> Reader:
    """An open reader. Unreadable, in one line, for what holds no sound we can read."""
    file = Path(path)
    try:
        if file.exists() and not file.is_file():
            raise Unreadable(f"{shown(file)}: not a file")
        with file.open("rb") as stream:
            promise = promised(stream)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise Unreadable(f"{shown(file)}: {reason.lower()}") from error
    try:
        sound = _opened(file)
    except (soundfile.SoundFileError, RuntimeError, ValueError, TypeError, PackedError) as error:
        raise Unreadable(f"{shown(file)}: no sound that can be read ({_reason(error)})") from error
    if not RATES_HZ[0] <= sound.samplerate <= RATES_HZ[1] or sound.channels > READ_MOST_CHANNELS:
        header = f"{sound.channels} channels at {sound.samplerate} Hz"
        sound.close()
        raise Unreadable(f"{shown(file)}: no sound that can be read ({header})")
    # A stream whose length is unknown is told as a huge number, not as none.
    told = sound.frames if 0 <= sound.frames < 1 << 60 else 0
    declared = told if promise.frames is None else promise.frames
    reader = Reader(file, sound, declared, promise.padding)
    if isinstance(sound, Packed):
        reader.slack = round(PACKED_SLACK_S * sound.samplerate)
    if promise.fault:
        reader.faults.append(promise.fault)
    return reader


def _opened(file: Path) -> _Straight | Packed:
    """The plain reader's file, else the packed one's where the ending says it may be."""
    try:
        return _Straight(os.fsencode(file))
    except soundfile.SoundFileError:
        if file.suffix.lower() not in PACKED_ENDINGS:
            raise
        return Packed(file)


def _filled(room: Samples) -> int:
    """Frames before the last that is no longer NaN."""
    there = np.flatnonzero(~np.isnan(room[:, 0]))
    return int(there[-1]) + 1 if len(there) else 0


def _reason(error: Exception) -> str:
    """The decoder's own words without the path that it repeats."""
    text = getattr(error, "error_string", None) or str(error)
    if getattr(error, "code", None) == NO_MPEG_FRAME:
        text = "no MPEG frame in it"
    return str(text).strip().rstrip(".").lower()
