"""What the performer has to know said aloud, by the speech synthesiser that is on the machine."""

from __future__ import annotations

import queue
import shutil
import subprocess
import threading
from collections.abc import Sequence

from liveaid.errors import UsageError

SYNTHESISER = "espeak-ng"
_WORDS_A_MINUTE = "160"
_AMPLITUDE = "60"
"""Of 200, the program's own being 100: beside records it starts quiet, as clicks do."""


class Speaker:
    """Says sentences one set after another, in a thread of its own.

    A take's sentences cut off those of the take before; a notice is always said to its end.
    """

    def __init__(self, program: str = SYNTHESISER) -> None:
        """UsageError when there is no such program here."""
        found = shutil.which(program)
        if found is None:
            raise UsageError(
                f"--speak: no {program} on this machine; installed, or without --speak, would do"
            )
        self._program = found
        self._waiting: queue.SimpleQueue[tuple[Sequence[str], int] | None] = queue.SimpleQueue()
        self._takes = 0
        """How many takes were told; sentences of an earlier one are said no more."""
        self._saying: tuple[subprocess.Popen[bytes], int] | None = None
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._say_all, name="speaking", daemon=True)
        self._thread.start()

    def say(self, sentences: Sequence[str], *, notice: bool = False) -> None:
        """Say a take's sentences, or a notice, as soon as it may; does not wait."""
        if not notice:
            with self._lock:
                self._takes += 1
                self._cut_off(takes_only=True)
        self._waiting.put((sentences, 0 if notice else self._takes))

    def stop(self) -> None:
        """Say no more."""
        self._waiting.put(None)
        with self._lock:
            self._takes = -1
            self._cut_off(takes_only=False)
        self._thread.join()

    def _cut_off(self, *, takes_only: bool) -> None:
        if self._saying is not None and (self._saying[1] or not takes_only):
            self._saying[0].terminate()

    def _say_all(self) -> None:
        while (told := self._waiting.get()) is not None:
            sentences, take = told
            with self._lock:
                if self._takes < 0 or (take and take != self._takes) or not sentences:
                    continue
                process = subprocess.Popen(
                    [self._program, "-s", _WORDS_A_MINUTE, "-a", _AMPLITUDE, "--stdin"],
                    stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                )  # fmt: skip
                self._saying = (process, take)
            process.communicate(" ".join(sentences).encode())  # no sound to play on is no error
            self._saying = None
