"""Keeps a stage running: starts it again at once when it was killed, crashed, or hangs.

A second process stands by with everything loaded, so that only the map is read and ports are
opened. On Linux it is a copy of this process, there within milliseconds however busy the machine;
elsewhere, where a copy is not safe or not known, it loads anew. Each stage process gives a sign of
life on a pipe; one that stops doing so is killed.
"""

from __future__ import annotations

import contextlib
import gc
import math
import multiprocessing
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable
from multiprocessing.connection import Connection, wait
from types import FrameType
from typing import Any

from liveaid.follow.prompt import Prompt
from liveaid.stage.ending import ENDINGS
from liveaid.stage.watcher import Stage, Watcher

HUNG_S = 4.0
"""No sign of life for this long: the process hangs. Four signs; a busy machine misses one or two.
"""
BEGIN_AGAIN_S = 60.0
"""And so does one that took over and has given no first sign within this. The first stage may take
its time: a scene that comes along is rendered before it begins."""
STANDBY_AFTER_S = 2.0
"""The process that stands by is made this long after the first, which needs the machine to load;
one that stood by has loaded, so the next is made at once."""
SETTLED_S = 5.0
"""Whatever ends by itself before this was called wrongly, or its ports are taken: no use again."""
MOST_AGAIN = 5
WITHIN_S = 20.0
"""Started again more often than this within so many seconds: it will not run at all."""
POLL_S = 0.1
KEEPER_END_S = 10.0
"""A stage that was asked to end puts its lamps out and keeps its take within this."""
COPIES = "fork" if sys.platform == "linux" else "spawn"
"""macOS's own libraries don't outlive being copied, and Windows copies no process (the library
reference of `multiprocessing`, contexts and start methods)."""
_GO, _END, _LIVES = b"go", b"end", b"."
_OWN_ENDS = (0, 1, 2, 130)
"""Exit statuses that a stage ends with by itself: asked to, a problem, wrong use, Ctrl-C."""

Work = Callable[[Callable[[], None]], object]
"""What a stage process does: load, call what it is given, which returns when it is to begin, and
run, ending by SystemExit."""

_keeper: list[Connection] = []
"""In a stage process: the pipe to its keeper."""


class SignOfLife(Watcher):
    """In the stage process: a byte on the keeper's pipe at most every half second."""

    EVERY_S = 0.5

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._told_s = pipe, float("-inf")
        self._stage: Stage | None = None

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._stage = stage

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """Every prompt shows that the loop runs, the follower works, and the lamps are told."""
        if now_s - self._told_s < self.EVERY_S:
            return
        self._told_s = now_s
        with contextlib.suppress(OSError, EOFError):  # the keeper is gone: the show goes on
            self._pipe.send_bytes(_LIVES)
            if self._pipe.poll() and self._pipe.recv_bytes() == _END and self._stage is not None:
                self._stage.ask_stop()


def sign_of_life() -> list[Watcher]:
    """What tells the keeper that this process lives; nothing where there is no keeper."""
    return [SignOfLife(pipe) for pipe in _keeper]


def _stage_process(work: Work, pipe: Connection, keepers: Connection) -> None:
    """All of a stage process."""
    keepers.close()  # this process holds the keeper's end too: that it is gone would not be told
    if sys.platform != "win32":
        os.setsid()  # Ctrl-C is the keeper's to pass on, once
        os.set_blocking(pipe.fileno(), False)  # a keeper that was stopped must not stop us
    for number in ENDINGS:
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    _keeper[:] = [pipe]

    def stand_by() -> None:
        """Wait for the word to go on; end quietly when the keeper is gone."""
        wait([pipe])
        try:
            if pipe.recv_bytes() != _GO:
                sys.exit(0)
        except (OSError, EOFError):
            sys.exit(0)

    work(stand_by)


class _Kept:
    """One stage process, standing by until `go`."""

    def __init__(self, work: Work, start_method: str) -> None:
        context: Any = multiprocessing.get_context(start_method)
        self._pipe, theirs = context.Pipe()
        self.process = context.Process(target=_stage_process, args=(work, theirs, self._pipe))
        self.process.start()
        theirs.close()
        self.began_s = self._sign_s = time.monotonic()
        self._patience_s = math.inf

    def go(self, within_s: float = math.inf) -> None:
        """Begin, and give the first sign of life in so many seconds."""
        self.began_s = self._sign_s = time.monotonic()
        self._patience_s = within_s
        self._say(_GO)

    def ask_to_end(self) -> None:
        """Lamps out, take kept, and end."""
        self._say(_END)
        if sys.platform != "win32":  # there it would end at once, lamps lit
            self.process.terminate()

    def status(self, within_s: float) -> int | None:
        """Its exit status, below 0 a signal's number; None when it runs on for so long."""
        wait([self.process.sentinel], within_s)
        status: int | None = self.process.exitcode
        return status

    def hangs(self) -> bool:
        """Whether it shows no life any more, or was to show it by now."""
        now = time.monotonic()
        with contextlib.suppress(OSError, EOFError):
            while self._pipe.poll():
                self._pipe.recv_bytes()
                self._sign_s, self._patience_s = now, HUNG_S
        return now - self._sign_s > self._patience_s

    def close(self) -> None:
        """Let go of its pipe; one that stands by ends of it."""
        self._pipe.close()
        self.process.join()

    def _say(self, word: bytes) -> None:
        with contextlib.suppress(OSError):
            self._pipe.send_bytes(word)


class Keeper:
    """Runs a stage until it ends by itself or is asked to."""

    def __init__(
        self,
        work: Work,
        *,
        lamps_out: Callable[[], object],
        say: Callable[[str], None],
        start_method: str = COPIES,
    ) -> None:
        """`lamps_out` puts the lamps out from outside, when no stage is left to do it."""
        self._work, self._lamps_out, self._say = work, lamps_out, say
        self._start_method = start_method
        self._stage: _Kept | None = None
        self._standby: _Kept | None = None
        self._asked = False
        self._again_s: deque[float] = deque(maxlen=MOST_AGAIN)

    def run(self) -> int:
        """The exit status of the last stage."""
        for number in ENDINGS:
            signal.signal(number, self._ask)
        gc.freeze()  # what is loaded by now stays, shared with every copy
        self._stage = self._new()
        self._stage.go()
        while True:
            status = self._until_it_ends(self._stage)
            if self._asked or self._ended_itself(self._stage, status) or self._too_often():
                break
            self._say(f"liveaid {_why(status)}; it goes on at once.")
            self._stage.close()
            self._stage, self._standby = self._standby or self._new(), None
            self._stage.go(BEGIN_AGAIN_S)
        self._stage.close()
        if self._standby is not None:
            self._standby.close()
        if status not in _OWN_ENDS:
            self._say(f"liveaid {_why(status)}.")
            self._lamps_out()
        return status if status >= 0 else 1

    def _new(self) -> _Kept:
        return _Kept(self._work, self._start_method)

    def _until_it_ends(self, stage: _Kept) -> int:
        asked_s: float | None = None
        while (status := stage.status(POLL_S)) is None:
            now = time.monotonic()
            if self._asked and asked_s is None:
                asked_s = now
                stage.ask_to_end()
            if stage.hangs() or (asked_s is not None and now - asked_s > KEEPER_END_S):
                stage.process.kill()
            wait_s = 0.0 if self._again_s else STANDBY_AFTER_S
            if self._standby is None and not self._asked and now - stage.began_s > wait_s:
                self._standby = self._new()
        return status

    def _ended_itself(self, stage: _Kept, status: int) -> bool:
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
