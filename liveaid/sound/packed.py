"""Sounds in packed containers (M4A, AAC, WMA and the like), which the plain reader does not know.

Decoded by PyAV (FFmpeg's libraries) straight through, in the shape the plain reader has.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

PACKED_ENDINGS = frozenset(
    {".m4a", ".m4b", ".mp4", ".aac", ".wma", ".opus", ".ogg", ".webm", ".mka"}
)
"""Endings of files worth a try; anything else that the plain reader refuses is no sound to us."""


MOST_PADDING = 4096
"""Frames that a coder may add at the end to fill its last packets; the header of an M4A (ISO/IEC
14496-12, edit list) tells where the sound itself ends, so a loop stays as long as it was."""


class PackedError(Exception):
    """The file holds no sound that can be decoded, or decoding stopped."""


class Packed:
    """An open file; `read(out=...)` fills blocks in order. PackedError when there is no sound."""

    def __init__(self, path: str | bytes | os.PathLike[str]) -> None:
        import av  # loaded when first needed: it is large

        stream: Any
        try:
            # From 19 on there is no such choice: tags that are not UTF-8 keep no file from opening.
            early = int(av.__version__.split(".")[0]) < 19
            choice: dict[str, Any] = {"metadata_errors": "replace"} if early else {}
            self._container: Any = av.open(os.fsdecode(path), **choice)
            stream = next(iter(self._container.streams.audio), None)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise PackedError(_without_path(error)) from error
        if stream is None or not stream.rate:
            self._container.close()
            raise PackedError("no sound in it")
        self.samplerate = int(stream.rate)
        self.channels = int(stream.codec_context.channels)
        self.format = str(self._container.format.name).split(",")[0].upper()
        self.subtype = str(stream.codec_context.name).upper()
        # Of a bare AAC stream the library guesses a length from its first packets.
        told = stream.duration and self.format != "AAC"
        told_s = float(stream.duration * stream.time_base) if told else 0.0
        self.frames = round(told_s * self.samplerate)
        """What the header tells; 0 where it says nothing. Not to the frame in lossy codings."""
        blocks = self._decoded(stream)
        self._blocks = self._unpadded(blocks) if self.format == "MOV" and self.frames else blocks
        self._left: npt.NDArray[np.float32] = np.zeros((0, self.channels), dtype=np.float32)

    def read(self, *, out: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """The next frames, as many as fit into `out`; fewer at the end. PackedError when decoding
        stops before it."""
        at = 0
        while at < len(out):
            if not len(self._left):
                block = next(self._blocks, None)
                if block is None:
                    break
                self._left = block
            some = self._left[: len(out) - at]
            out[at : at + len(some)] = some
            self._left = self._left[len(some) :]
            at += len(some)
        return out[:at]

    def close(self) -> None:
        """Close the file."""
        self._container.close()

    def _unpadded(
        self, blocks: Iterator[npt.NDArray[np.float32]]
    ) -> Iterator[npt.NDArray[np.float32]]:
        """The blocks as far as the header tells, and what goes on far beyond it all the same."""
        at = 0
        beyond: list[npt.NDArray[np.float32]] = []
        for block in blocks:
            inside = min(max(self.frames - at, 0), len(block))
            at += len(block)
            if inside:
                yield block[:inside]
            if inside < len(block):
                beyond.append(block[inside:])
        if sum(map(len, beyond)) > MOST_PADDING:
            yield from beyond

    def _decoded(self, stream: Any) -> Iterator[npt.NDArray[np.float32]]:
        import av

        layout = stream.codec_context.layout.name
        plain = av.AudioResampler(format="flt", layout=layout, rate=self.samplerate)
        try:
            for frame in self._container.decode(stream):
                for each in plain.resample(frame):
                    samples: npt.NDArray[Any] = each.to_ndarray()
                    yield samples.reshape(-1, self.channels).astype(np.float32, copy=False)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise PackedError(f"decoding stopped: {_without_path(error)}") from error


def _without_path(error: Exception) -> str:
    """What the system or the decoder says, without its number and the path."""
    return getattr(error, "strerror", None) or str(error)
