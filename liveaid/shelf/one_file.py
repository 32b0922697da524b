"""What a worker does with one file, look at it and study it, and how long that may take."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass

from liveaid.files.file_bytes import Signature, content_hash, still_is
from liveaid.files.names import shown
from liveaid.files.unreadable import Unreadable
from liveaid.files.workers import Task, Workers
from liveaid.sound.labels import NO_LABELS, Labels, read_labels
from liveaid.study import study
from liveaid.study.facts import Study

LIMIT_S = 60.0
"""Seconds a sound's study may take, whatever its length."""
LIMIT_PER_SECOND = 0.5
"""Seconds allowed on top for each second of sound its header declares."""
SLOW_BYTES_PER_S = 2e6
"""What a slow card reader or network drive still delivers."""
LONGEST_LIMIT_S = 3600.0
"""A damaged header can declare years."""


@dataclass(frozen=True, slots=True)
class Looked:
    """What a first look at a file told: its bytes' hash and how long it says it is."""

    hash: str
    signature: Signature
    declared_s: float
    labels: Labels = NO_LABELS
    """What the file says of itself."""


@dataclass(frozen=True, slots=True)
class Changing:
    """Stands for a study that was not made because the file was being written to."""


def look(path: str) -> Looked:
    """Read a file's bytes for their hash, and its header for its length (0 when it has none) and
    what it says of itself."""
    digest, signature = content_hash(path)
    return Looked(digest, signature, _declared_s(path), read_labels(path))


def study_unchanged(
    path: str, signature: Signature, measure: Callable[[str], Study] = study
) -> Study | Changing:
    """Study a file, making sure that these are the bytes that were hashed."""
    try:
        found = measure(path)
    except Unreadable as error:
        if not still_is(path, signature):
            return Changing()
        raise Unreadable(_without_path(str(error), path)) from error
    return found if still_is(path, signature) else Changing()


def look_limit_s(size: int, limit_s: float) -> float:
    """Seconds reading so many bytes may take: a fixed share, and more for a large file."""
    return limit_s + size / SLOW_BYTES_PER_S


def study_limit_s(declared_s: float, limit_s: float) -> float:
    """Seconds one sound may take: a fixed share, and more for a long sound."""
    return min(limit_s + LIMIT_PER_SECOND * max(0.0, declared_s), max(limit_s, LONGEST_LIMIT_S))


def study_apart(path: str, *, limit_s: float = LIMIT_S) -> Study:
    """Study one file in a process of its own, without a shelf. Unreadable, also for a time-out."""
    with Workers(1) as workers:
        size = os.path.getsize(path) if os.path.isfile(path) else 0
        workers.submit(Task(("look", path), look, (path,), look_limit_s(size, limit_s)))
        looked = workers.next()
        if looked.fault:
            raise Unreadable(f"{shown(path)}: {looked.fault}")
        limit_s = study_limit_s(looked.value.declared_s, limit_s)
        workers.submit(Task(("study", path), study, (path,), limit_s))
        outcome = workers.next()
    if outcome.fault:
        raise Unreadable(f"{shown(path)}: {_without_path(outcome.fault, path)}")
    assert isinstance(outcome.value, Study)
    return outcome.value


def _declared_s(path: str) -> float:
    import soundfile

    try:
        return float(soundfile.info(path).duration)
    except (RuntimeError, ValueError, ZeroDivisionError):
        return 0.0


def _without_path(message: str, path: str) -> str:
    """The reason alone: the report puts the path before it anyway."""
    for said in (path, shown(path)):
        message = message.removeprefix(f"{said}: ")
    return message
