"""A few worker processes with a time limit a task: a broken file cannot hang or end the run.

A task that takes too long or brings its process down costs that task alone; the process is
replaced. Workers die with their parent, however it ends, and leave Ctrl-C to it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing import connection, forkserver, resource_tracker
from multiprocessing.process import BaseProcess
from typing import Any

from liveaid.errors import LiveaidError

_THREAD_LIMITS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_START_S = 60.0
"""Allowed for a new process to load its libraries; its first task's time counts from then on."""
_BURY_S = 5.0
"""How long to wait for a killed process; one stuck in the system's own reading may never end."""
_READY = "ready"
_COPIES = sys.platform == "linux"
"""Whether workers are copies of one process that has loaded the libraries, which saves each of them
seconds. Elsewhere a copy may miss what the system's own libraries hold, and each loads anew
(`multiprocessing`, contexts and start methods)."""


@dataclass(frozen=True, slots=True)
class Task:
    """A function of a module, called in a worker with arguments that can be pickled."""

    key: tuple[str, str]
    """What is done, and to what; comes back with the outcome."""
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    limit_s: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a task ended: its value, or the one line that says why there is none."""

    key: tuple[str, str]
    value: Any = None
    fault: str | None = None


@dataclass(slots=True)
class _Worker:
    process: BaseProcess
    pipe: Any  # a Connection, or on Windows a PipeConnection
    fresh: bool = True
    task: Task | None = None
    deadline_s: float = 0.0


class Workers:
    """Runs tasks in up to `processes` processes; a context manager that leaves none behind.

    Processes read the main script anew, so a script that uses this needs the usual
    ``if __name__ == "__main__":`` guard.
    """

    def __init__(self, processes: int, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._most = max(1, processes)
        self._clock = clock
        self._waiting: deque[Task] = deque()
        self._workers: list[_Worker] = []

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def busy(self) -> bool:
        """Whether a task waits or is being worked on."""
        return bool(self._waiting) or any(worker.task for worker in self._workers)

    def submit(self, task: Task, *, first: bool = False) -> None:
        """Put a task at the end of the line, or at its head."""
        (self._waiting.appendleft if first else self._waiting.append)(task)

    def next(self) -> Outcome:
        """Wait for the next task to end. IndexError when none is under way."""
        while True:
            self._hand_out()
            working = [worker for worker in self._workers if worker.task]
            if not working:
                raise IndexError("no task under way")
            patience_s = min(worker.deadline_s for worker in working) - self._clock()
            ready = connection.wait([w.pipe for w in working], timeout=max(0.0, patience_s))
            for worker in working:
                if worker.pipe in ready:
                    outcome = self._heard(worker)
                elif self._clock() >= worker.deadline_s:
                    outcome = self._too_long(worker)
                else:
                    continue
                if outcome:
                    return outcome

    def stop(self) -> None:
        """End every process at once, whatever it is doing."""
        self._waiting.clear()
        for worker in self._workers:
            worker.process.kill()
        for worker in self._workers:
            self._bury(worker)
        self._workers.clear()

    def _hand_out(self) -> None:
        while self._waiting and sum(1 for w in self._workers if w.task) < self._most:
            task = self._waiting.popleft()
            worker = next((w for w in self._workers if not w.task), None)
            if worker is None:
                worker = _start(loading=task.function.__module__)
                self._workers.append(worker)
            worker.deadline_s = self._clock() + (_START_S if worker.fresh else task.limit_s)
            try:
                worker.task = task
                worker.pipe.send((task.function, task.arguments))
            except OSError:
                if not worker.fresh:  # died while idle, which is not this task's fault
                    self._remove(worker)
                    self._waiting.appendleft(task)

    def _heard(self, worker: _Worker) -> Outcome | None:
        """What a worker says: how its task ended, or only that it is ready now."""
        assert worker.task is not None
        task = worker.task
        try:
            heard = worker.pipe.recv()
        except (EOFError, OSError):
            self._remove(worker)
            return Outcome(task.key, fault=_death(worker.process.exitcode))
        if heard == _READY:
            worker.fresh, worker.deadline_s = False, self._clock() + task.limit_s
            return None
        worker.task = None
        value, fault = heard
        return Outcome(task.key, value, fault)

    def _too_long(self, worker: _Worker) -> Outcome:
        assert worker.task is not None
        task = worker.task
        self._remove(worker)
        return Outcome(task.key, fault=f"took longer than {task.limit_s:g} s and was stopped")

    def _remove(self, worker: _Worker) -> None:
        worker.process.kill()
        self._bury(worker)
        self._workers.remove(worker)

    @staticmethod
    def _bury(worker: _Worker) -> None:
        worker.process.join(_BURY_S)
        worker.pipe.close()


def processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _context(loading: str) -> Any:
    """How a process is started; where the one to be copied cannot be reached, each loads anew: its
    socket wants a folder for temporary files, with a short name."""
    if _COPIES:
        forkserver.set_forkserver_preload([loading])
        with contextlib.suppress(OSError):
            forkserver.ensure_running()
            return multiprocessing.get_context("forkserver")
    return multiprocessing.get_context("spawn")


def _start(*, loading: str) -> _Worker:
    """A new process; the first decides which module is loaded before all others are copied."""
    # The tracker unblocks SIGINT when it starts, so it has to be up before we block it.
    resource_tracker.ensure_running()
    with _single_threaded(), _without_ctrl_c():
        context = _context(loading)
        ours, theirs = context.Pipe()
        process = context.Process(
            target=_serve, args=(theirs, dict(os.environ)), daemon=True, name="liveaid-worker"
        )
        process.start()
    theirs.close()
    return _Worker(process, ours)


@contextlib.contextmanager
def _single_threaded() -> Iterator[None]:
    """Environment for a child whose libraries keep to one thread: there is a process a core."""
    before = {name: os.environ.get(name) for name in _THREAD_LIMITS}
    os.environ.update({name: "1" for name in _THREAD_LIMITS if before[name] is None})
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)


@contextlib.contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Children inherit the blocked signal: a terminal's Ctrl-C reaches the parent alone."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: connection.Connection, environment: dict[str, str]) -> None:
    """A worker's life: take a task, send back (value, fault), until the parent is gone.

    A copy has the environment of when the first was started; it is given the present one.
    """
    os.environ.clear()
    os.environ.update(environment)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_die_with_parent, daemon=True).start()
    _silence()
    pipe.send(_READY)
    while True:
        try:
            function, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer: tuple[Any, str | None] = (function(*arguments), None)
        except BaseException as error:  # whatever a decoder raises is this file's fault
            answer = (None, _one_line(error))
        try:
            pipe.send(answer)
        except OSError:
            return
        except Exception as error:  # an answer that cannot be pickled
            pipe.send((None, _one_line(error)))


def _die_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _silence() -> None:
    """Decoders written in C chatter on the terminal; a worker speaks through its pipe alone."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.close(nowhere)


def _one_line(error: BaseException) -> str:
    if isinstance(error, MemoryError):
        return "needs more memory than there is"
    lines = str(error).strip().splitlines() or [""]
    if isinstance(error, LiveaidError):
        return lines[0]
    return f"{type(error).__name__}: {lines[0]}" if lines[0] else type(error).__name__


def _death(exit_code: int | None) -> str:
    """What a process that ended of itself died of: a signal by name, or its exit status."""
    with contextlib.suppress(ValueError):  # of a status from 0 on
        return f"brought its reader down ({signal.Signals(-(exit_code or 0)).name})"
    return f"ended its reader (exit status {exit_code})"
