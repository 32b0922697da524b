"""The loop a stage runs on, and how it is asked to end: Ctrl-C, a polite kill, a hang-up."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Coroutine, Iterator
from typing import Any, TypeVar

Result = TypeVar("Result")

ENDINGS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
"""SIGHUP, the terminal's closing, is not known everywhere."""


@contextlib.contextmanager
def ends_by_signal(ask: Callable[[], None]) -> Iterator[None]:
    """While inside, every such signal calls `ask` on the running loop, and nothing else."""
    loop = asyncio.get_running_loop()
    before = {}
    for number in ENDINGS:
        try:
            loop.add_signal_handler(number, ask)
        except NotImplementedError:  # a loop that knows no signals, as on Windows

            def handed_over(*_: object) -> None:
                loop.call_soon_threadsafe(ask)

            before[number] = signal.signal(number, handed_over)
    try:
        yield
    finally:
        for number in ENDINGS:
            if number in before:
                signal.signal(number, before[number])
            else:
                loop.remove_signal_handler(number)


def run_on_loop(job: Coroutine[Any, Any, Result]) -> Result:
    """Run to the end on a loop that can watch sockets, which Windows' own default cannot."""
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(job)
