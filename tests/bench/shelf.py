"""How long a large shelf takes to bring up to date, to search and to rank, beside plain walking.

Run by hand: python tests/bench/shelf.py [sounds]
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from liveaid.files.file_bytes import content_hash
from liveaid.fit.fit import fits
from liveaid.routine.keys import TONICS
from liveaid.shelf.collect import gather
from liveaid.shelf.find import matching, parse_query
from liveaid.shelf.shelf import Shelf
from liveaid.study.facts import Study


def made_up(dice: random.Random) -> Study:
    """A study with as many onsets and phrases as a track has."""
    return Study(
        duration_s=240.0, sample_rate_hz=44100, channels=2, format="FLAC PCM_16",
        frames_declared=10584000, frames_read=10584000, tempo=dice.uniform(60, 180),
        tempo_confidence=dice.random(), metre=4, key=f"{dice.choice(TONICS)} minor",
        key_confidence=dice.random(), loudness_lufs=dice.uniform(-20, -6),
        energy=dice.randint(1, 5),
        onsets_s=tuple(i * 0.3 for i in range(800)),
        phrases_s=tuple((i * 8.0, i * 8.0 + 6.0) for i in range(30)),
        kind="instrumental", kind_confidence=0.8,
    )  # fmt: skip


def timed(label: str, work: Callable[[], object]) -> None:
    """One row: what was done, and how long it took."""
    begun_s = time.perf_counter()
    count = work()
    print(f"{label:58} {time.perf_counter() - begun_s:8.3f} s   {count}")


def plain_walk(folder: str) -> int:
    """The baseline: every name and status of the folder, nothing more."""
    return sum(
        len([os.stat(os.path.join(where, name)) for name in names])
        for where, _, names in os.walk(folder)
    )


def main(count: int) -> None:
    """Fill a shelf and time what a performer waits for."""
    dice = random.Random(1)
    with tempfile.TemporaryDirectory() as folder, Shelf(Path(folder) / "shelf.sqlite") as shelf:
        sounds = Path(folder) / "sounds"
        for number in range(count):
            file = sounds / f"{number % 100:02}" / f"{number}.wav"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(str(number).encode())
            os.utime(file, (1e9, 1e9))

        def fill() -> int:
            for number in range(count):
                path = str(sounds / f"{number % 100:02}" / f"{number}.wav")
                digest, signature = content_hash(path)
                shelf.keep(digest, made_up(dice))
                shelf.place(path, digest, signature)
            return count

        timed("hash, keep and place each by itself", fill)
        timed("walk and stat (baseline)", lambda: plain_walk(str(sounds)))
        timed("gather a folder that has not changed",
              lambda: len(list(gather([str(sounds)], shelf, processes=1))))  # fmt: skip
        found = shelf.sounds(onsets=False)
        timed("read the whole shelf with all onsets", lambda: len(shelf.sounds()))
        timed("read the whole shelf for find and fit", lambda: len(shelf.sounds(onsets=False)))
        for terms in (
            "tempo 88..96 half double, key near A minor, energy 3..5, by tempo",
            "not tag used, by loudness down",
            "text 77",
            "",
        ):
            query = parse_query(terms)
            timed(f"find '{terms}'", lambda q=query: len(shelf.find(q, most=100)))
            timed("  count them", lambda q=query: shelf.count(q))
        query = parse_query("tempo 88..96 half double, key near A minor, energy 3..5, by tempo")
        timed("  beside: every sound looked at one by one", lambda: len(matching(query, found)))
        studies = {s.hash: s.study for s in found if s.study}
        timed("rank what fits one sound", lambda: len(fits(made_up(dice), studies)))
        size_mb = (Path(folder) / "shelf.sqlite").stat().st_size / 1e6
        print(f"{'shelf file':58} {size_mb:8.1f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
