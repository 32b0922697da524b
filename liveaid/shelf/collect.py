"""Gather folders onto the shelf: only what is new or changed is read, only new bytes are studied.

Each sound is kept the moment its study ends. Reading and studying happen in worker processes,
writing to the shelf in this one.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from liveaid.files.file_bytes import Signature
from liveaid.files.workers import Outcome, Task, Workers
from liveaid.shelf.folder import Entry, Trouble, below, walk
from liveaid.shelf.one_file import (
    LIMIT_S,
    Changing,
    Looked,
    look,
    look_limit_s,
    study_limit_s,
    study_unchanged,
)
from liveaid.shelf.shelf import KnownFile, Shelf
from liveaid.study import study
from liveaid.study.facts import Study

Deed: TypeAlias = Literal["studied", "known", "moved", "same", "failed before", "passed"]
"""What became of a file: studied now; its bytes were known; known and moved here; unchanged;
unchanged and of no use before; no sound by its name."""


@dataclass(frozen=True, slots=True)
class Done:
    """One file dealt with."""

    path: str
    deed: Deed
    study: Study | None = None


@dataclass(frozen=True, slots=True)
class Gone:
    """A file the shelf knew is no longer there, nor are its bytes elsewhere; its study is kept."""

    path: str


@dataclass(frozen=True, slots=True)
class Counted:
    """How many files there are to deal with, once the folders have been walked."""

    files: int


Event: TypeAlias = Counted | Done | Trouble | Gone


def gather(
    roots: Iterable[str],
    shelf: Shelf,
    *,
    processes: int,
    limit_s: float = LIMIT_S,
    again: bool = False,
    measure: Callable[[str], Study] = study,
) -> Generator[Event, None, None]:
    """Bring the shelf up to date with folders (or single files), an event for all that happens.

    `again` tries those anew that could not be studied. `measure` studies one file, in a process
    that has to be able to import it. Ending the iteration early, by an error or
    Ctrl-C, ends the workers at once; what was reported as done is kept.
    """
    with Workers(processes) as workers:
        yield from _Run(shelf, workers, limit_s, again, measure).run(
            [os.path.abspath(root) for root in roots]
        )


class _Run:
    """One gathering: what the shelf knew before, and which bytes are being studied now."""

    def __init__(
        self,
        shelf: Shelf,
        workers: Workers,
        limit_s: float,
        again: bool,
        measure: Callable[[str], Study],
    ) -> None:
        self._shelf, self._workers, self._limit_s = shelf, workers, limit_s
        self._measure = measure
        self._known = {place.path: place for place in shelf.places()}
        self._by_trace = {_trace(p.signature): p for p in self._known.values()}
        self._redo = shelf.outdated(faults_too=again)
        self._vain = shelf.in_vain()
        self._entries: dict[str, Entry] = {}
        self._hidden: set[str] = set()
        self._studying: dict[str, list[tuple[str, Looked]]] = {}

    def run(self, roots: list[str]) -> Iterator[Event]:
        """Walk, look at what is new, study what is new, and say what is gone."""
        yield from self._walked(roots)
        yield Counted(len(self._entries))
        for entry in self._entries.values():
            if (done := self._without_reading(entry)) is not None:
                yield done
        while self._workers.busy:
            yield from self._heard(self._workers.next())
        yield from self._missing(roots)

    def _walked(self, roots: list[str]) -> Iterator[Event]:
        """Note every file below the roots, each once."""
        passed: set[str] = set()
        for found in (found for root in roots for found in walk(root)):
            if isinstance(found, Entry):
                self._entries[found.path] = found
            elif isinstance(found, Trouble):
                if found.out_of_sight:
                    self._hidden.add(found.path)
                yield found
            elif found.path not in passed:
                passed.add(found.path)
                yield Done(found.path, "passed")

    def _without_reading(self, entry: Entry) -> Done | None:
        """What is known of a file from outside; None when it has to be read, which is begun."""
        place = self._known.get(entry.path) or self._moved_here(entry)
        if (
            place is None
            or not _looks_the_same(place.signature, entry.signature)
            or place.hash in self._redo
        ):
            self._look(entry.path, entry.signature.size)
            return None
        if place.path != entry.path:
            self._shelf.place(entry.path, place.hash, entry.signature)
            return Done(entry.path, "moved")
        if place.gone or place.signature != entry.signature:
            self._shelf.refresh(entry.path, entry.signature)
        return Done(entry.path, "failed before" if place.hash in self._vain else "same")

    def _moved_here(self, entry: Entry) -> KnownFile | None:
        """The place this very file was known under, when nothing lies there any more."""
        place = self._by_trace.get(_trace(entry.signature))
        return place if place and not os.path.lexists(place.path) else None

    def _look(self, path: str, size: int) -> None:
        limit_s = look_limit_s(size, self._limit_s)
        self._workers.submit(Task(("look", path), look, (path,), limit_s))

    def _heard(self, outcome: Outcome) -> Iterator[Event]:
        step, subject = outcome.key
        if step == "study":
            yield from self._studied(subject, outcome)
        elif outcome.fault:
            yield Trouble(subject, outcome.fault)
        else:
            yield from self._looked(subject, outcome.value)

    def _looked(self, path: str, looked: Looked) -> Iterator[Event]:
        """The bytes are known by now: place them, wait with others for them, or study them."""
        if looked.hash in self._studying:
            self._studying[looked.hash].append((path, looked))
        elif looked.hash not in self._redo and self._shelf.is_studied(looked.hash):
            self._shelf.place(path, looked.hash, looked.signature)
            yield Done(path, "failed before" if looked.hash in self._vain else "known")
        else:
            self._studying[looked.hash] = [(path, looked)]
            self._workers.submit(
                Task(
                    ("study", looked.hash),
                    study_unchanged,
                    (path, looked.signature, self._measure),
                    study_limit_s(looked.declared_s, self._limit_s),
                ),
                first=True,
            )

    def _studied(self, digest: str, outcome: Outcome) -> Iterator[Event]:
        places = self._studying.pop(digest)
        if isinstance(outcome.value, Changing):
            yield Trouble(places[0][0], "is being written to; gather it again when it is finished")
            for path, looked in places[1:]:
                self._look(path, looked.signature.size)
            return
        self._redo.discard(digest)
        fault = outcome.fault or ""
        self._shelf.keep(digest, outcome.value, fault=fault, labels=places[0][1].labels)
        for path, looked in places:
            self._shelf.place(path, digest, looked.signature)
        if fault:
            self._vain.add(digest)
            yield Trouble(places[0][0], fault)
        else:
            yield Done(places[0][0], "studied", outcome.value)
        for path, _ in places[1:]:
            yield Done(path, "failed before" if fault else "known")

    def _missing(self, roots: list[str]) -> Iterator[Gone]:
        """Files known below the roots and not met now; behind a closed door they may yet be."""
        missing = [
            path
            for path in self._known
            if path not in self._entries
            and any(below(path, root) for root in roots)
            and not any(below(path, door) for door in self._hidden)
        ]
        self._shelf.mark_gone(missing)
        before = {place.path for place in self._known.values() if place.gone}
        gone = {place.path for place in self._shelf.places() if place.gone}
        yield from (Gone(path) for path in missing if path in gone - before)


def _trace(signature: Signature) -> tuple[int, int, int, int]:
    return signature.device, signature.inode, signature.size, signature.mtime_ns


def _looks_the_same(known: Signature, now: Signature) -> bool:
    """Whether a file need not be read: same size, time and inode, and it had settled when read.

    The device may differ: its number is dealt anew when a drive is plugged in.
    """
    return known.settled and (known.size, known.mtime_ns, known.inode) == (
        now.size,
        now.mtime_ns,
        now.inode,
    )
