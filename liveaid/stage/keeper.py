"""Keeps a stage running: starts it again at once when it was killed, crashed, or hangs.

A second process stands by with everything loaded, so that only ports have to be opened. Each stage
process gives a sign of life every second on a pipe; one that stops doing so is killed.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Sequence
from types import FrameType

from liveaid.follow.prompt import Prompt
from liveaid.stage.ending import ENDINGS
from liveaid.stage.watcher import Watcher

STANDBY = "--standby"
ALIVE_FD = "LIVEAID_ALIVE_FD"
HUNG_S = 4.0
"""No sign of life for this long: the process hangs. Four signs; a busy machine misses one or two.
"""
SPARE_AFTER_S = 2.0
"""The process that stands by is made this long after the first, which needs the machine to load;
one that stood by has loaded, so the next is made at once."""
SETTLED_S = 5.0
"""Whatever ends by itself before this was called wrongly, or its ports are taken: no use again."""
MOST_AGAIN = 5
WITHIN_S = 20.0
"""Started again more often than this within so many seconds: it will not run at all."""
POLL_S = 0.02
KEEPER_END_S = 10.0
"""A stage that was asked to end puts its lamps out and keeps its take within this."""
_OWN_ENDS = (0, 1, 2, 130)
"""Exit statuses that a stage ends with by itself: asked to, a problem, wrong use, Ctrl-C."""


class SignOfLife(Watcher):
    """In the stage process: a byte on the keeper's pipe at most every half second."""

    EVERY_S = 0.5

    def __init__(self, fd: int) -> None:
        os.set_blocking(fd, False)
        self._fd, self._told_s = fd, float("-inf")

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Every prompt shows that the loop runs, the follower works, and the lamps are told."""
        if now_s - self._told_s >= self.EVERY_S:
            self._told_s = now_s
            with contextlib.suppress(OSError):  # the keeper is gone: the show goes on
                os.write(self._fd, b".")


def sign_of_life() -> list[Watcher]:
    """What tells the keeper that this process lives; nothing where there is no keeper."""
    fd = os.environ.get(ALIVE_FD, "")
    return [SignOfLife(int(fd))] if fd.isdigit() else []


def stand_by() -> None:
    """Wait for the word to go on; end quietly when the keeper is gone."""
    if sys.stdin.readline().strip() != "go":
        sys.exit(0)


class _Stage:
    """One stage process, standing by until `go`."""

    def __init__(self, command: Sequence[str]) -> None:
        reading, writing = os.pipe()
        os.set_blocking(reading, False)
        self._reading = reading
        environment = {**os.environ, ALIVE_FD: str(writing)}
        self.process = subprocess.Popen(
            [*command, STANDBY],
            stdin=subprocess.PIPE,
            env=environment,
            pass_fds=(writing,),
            start_new_session=True,  # Ctrl-C is the keeper's to pass on, once
        )
        os.close(writing)
        self.began_s = self._sign_s = time.monotonic()
        self._lives = False

    def go(self) -> None:
        """Begin."""
        self.began_s = self._sign_s = time.monotonic()
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):
            self.process.stdin.write(b"go\n")
            self.process.stdin.flush()

    def hangs(self) -> bool:
        """Whether it has shown life, and shows none any more."""
        now = time.monotonic()
        with contextlib.suppress(BlockingIOError):
            if os.read(self._reading, 4096):
                self._lives, self._sign_s = True, now
        return self._lives and now - self._sign_s > HUNG_S

    def close(self) -> None:
        """Let go of its pipes; one that stands by ends of it."""
        with contextlib.suppress(OSError):
            os.close(self._reading)
        with contextlib.suppress(OSError):
            assert self.process.stdin is not None
            self.process.stdin.close()


class Keeper:
    """Runs a stage until it ends by itself or is asked to."""

    def __init__(
        self, command: Sequence[str], *, lamps_out: Callable[[], object], say: Callable[[str], None]
    ) -> None:
        """`lamps_out` puts the lamps out from outside, when no stage is left to do it."""
        self._command, self._lamps_out, self._say = tuple(command), lamps_out, say
        self._stage: _Stage | None = None
        self._spare: _Stage | None = None
        self._asked = False
        self._again_s: deque[float] = deque(maxlen=MOST_AGAIN)

    def run(self) -> int:
        """The exit status of the last stage."""
        for number in ENDINGS:
            signal.signal(number, self._ask)
        self._stage = _Stage(self._command)
        self._stage.go()
        while True:
            status = self._until_it_ends(self._stage)
            if self._asked or self._ended_itself(self._stage, status) or self._too_often():
                break
            self._say(f"liveaid {_why(status)}; it goes on at once.")
            self._stage.close()
            self._stage, self._spare = self._spare or _Stage(self._command), None
            self._stage.go()
        if self._spare is not None:
            self._spare.close()
            self._spare.process.wait()
        if status not in _OWN_ENDS:
            self._say(f"liveaid {_why(status)}.")
            self._lamps_out()
        return status if status >= 0 else 1

    def _until_it_ends(self, stage: _Stage) -> int:
        asked_s: float | None = None
        while (status := stage.process.poll()) is None:
            now = time.monotonic()
            if self._asked and asked_s is None:
                asked_s = now
                stage.process.terminate()
            if stage.hangs() or (asked_s is not None and now - asked_s > KEEPER_END_S):
                stage.process.kill()
            wait_s = 0.0 if self._again_s else SPARE_AFTER_S
            if self._spare is None and not self._asked and now - stage.began_s > wait_s:
                self._spare = _Stage(self._command)
            time.sleep(POLL_S)
        return status

    def _ended_itself(self, stage: _Stage, status: int) -> bool:
        """Asked to end by its own page or signal, or of no use to start again."""
        early = time.monotonic() - stage.began_s < SETTLED_S
        return status in _OWN_ENDS and (status != 1 or early)

    def _too_often(self) -> bool:
        now = time.monotonic()
        full = len(self._again_s) == MOST_AGAIN and now - self._again_s[0] < WITHIN_S
        self._again_s.append(now)
        if full:
            self._say(f"liveaid ended {MOST_AGAIN} times in {WITHIN_S:g} s; it is left ended.")
        return full

    def _ask(self, _: int, __: FrameType | None) -> None:
        self._asked = True


def _why(status: int) -> str:
    if status >= 0:
        return f"ended with status {status}"
    try:
        return f"was ended by {signal.Signals(-status).name}"
    except ValueError:
        return f"was ended by signal {-status}"
