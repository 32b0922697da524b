"""The sentences after a take said aloud, by the speech synthesiser that is on the machine."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence

from liveaid.errors import UsageError

SYNTHESISER = "espeak-ng"
_WORDS_A_MINUTE = "160"
_AMPLITUDE = "60"
"""Of 200, the program's own being 100: beside records it starts quiet, as clicks do."""


class Speaker:
    """Says sentences one set at a time: what is said anew cuts off what is still being said."""

    def __init__(self, program: str = SYNTHESISER) -> None:
        """UsageError when there is no such program here."""
        found = shutil.which(program)
        if found is None:
            raise UsageError(
                f"--speak: no {program} on this machine; installed, or without --speak, would do"
            )
        self._program = found
        self._saying: subprocess.Popen[bytes] | None = None

    def say(self, sentences: Sequence[str]) -> None:
        """Begin to say them; does not wait, and nothing at all is said of none."""
        self.stop()
        if sentences:
            self._saying = subprocess.Popen(
                [self._program, "-s", _WORDS_A_MINUTE, "-a", _AMPLITUDE, "--stdin"],
                stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            assert self._saying.stdin is not None
            try:
                self._saying.stdin.write(" ".join(sentences).encode())
                self._saying.stdin.close()
            except BrokenPipeError:
                self._saying = None  # it has no sound to play on; what is written stays

    def stop(self) -> None:
        """Say no more."""
        if self._saying is not None and self._saying.poll() is None:
            self._saying.terminate()
        if self._saying is not None:
            self._saying.wait()
        self._saying = None
