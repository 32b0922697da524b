"""How long a large shelf takes to bring up to date, to search and to rank, beside plain walking.

Run by hand: python tests/bench/shelf.py [sounds] [crate]
`sounds` (5,000) are gathered as files, `crate` (100,000) are put on a shelf at once and searched.
"""

from __future__ import annotations

import os
import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from liveaid.cli import liveaid
from liveaid.files.file_bytes import content_hash
from liveaid.fit.fit import fits
from liveaid.routine.keys import TONICS
from liveaid.shelf.alike import find_alike, imprint_of
from liveaid.shelf.collect import gather
from liveaid.shelf.find import Query, matching, parse_query
from liveaid.shelf.shelf import Shelf
from liveaid.study.facts import STUDY_VERSION, Study


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
    best_of(label, work, times=1)


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


FINDS = (
    "tempo 88..96 half double, key near A minor, energy 3..5, by tempo",
    "kind a cappella, not tag used, by energy down",
    "text 77",
    "artist lamplighter, folder crates",
    "break 2..8 bars, tempo 90..100",
    "not steady, duration 1:00..5:00, by loudness down",
    "",
)


def fill_at_once(file: Path, count: int) -> None:
    """So many sounds put on a shelf without their files, every tenth with an open break."""
    dice, noise = random.Random(2), np.random.default_rng(2)
    Shelf(file).close()
    kinds = ("instrumental", "a cappella", "sample", "effect")
    with sqlite3.connect(file) as db:
        for number in range(count):
            study = replace(
                made_up(dice),
                kind=kinds[number % 4],
                onsets_s=tuple(i * 0.3 for i in range(80)),
                sections=((0.0, 30.0, "full", 12.0), (30.0, 40.0, "drums alone", 4.0))
                if number % 10 == 0
                else (),
            )
            digest = number.to_bytes(20, "big")
            artist = "lamplighter" if number % 50 == 0 else f"artist {number % 997}"
            db.execute(
                "INSERT INTO sound (hash, study, study_version, artist) VALUES (?, ?, ?, ?)",
                (digest, study.to_json(), STUDY_VERSION, artist),
            )
            path = f"/crates/{number % 100:02}/sound {number}.wav".encode()
            db.execute("INSERT INTO file VALUES (?, ?, 1, 1, ?, 1, 1, 0)", (path, digest, number))
            timbre = noise.normal(size=33).astype(np.float16).tobytes()
            db.execute("INSERT INTO timbre VALUES (?, ?)", (digest, timbre))
            picture = noise.integers(-40, 40, (60, 15)).astype(np.int8).tobytes()
            db.execute("INSERT INTO picture VALUES (?, ?)", (digest, picture))
    db.close()


def best_of(label: str, work: Callable[[], object], *, times: int = 5) -> None:
    """One row: the quickest of several goes, by the clock and in processor seconds, since other
    work on the machine only adds."""
    spent, used = [], []
    for _ in range(times):
        begun_s, used_s = time.perf_counter(), time.process_time()
        count = work()
        spent.append(time.perf_counter() - begun_s)
        used.append(time.process_time() - used_s)
    print(f"{label:58} {min(spent):8.3f} s, {min(used):.3f} of the processor   {count}", flush=True)


def crate(count: int) -> None:
    """Searches over a crate, the shelf opened anew for each as a command does."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "shelf.sqlite"
        fill_at_once(file, count)
        timed(f"columns of {count:,} sounds made anew", lambda: len(Shelf(file)))
        for terms in FINDS:

            def find(query: Query) -> int:
                with Shelf(file) as shelf:
                    return len(shelf.find(query, most=100))

            query = parse_query(terms)
            best_of(f"find '{terms}'", lambda asked=query: find(asked))

        def alike(terms: str) -> int:
            with Shelf(file) as shelf:
                mine = imprint_of(shelf, (4).to_bytes(20, "big").hex())
                assert mine is not None
                return len(find_alike(shelf, mine, parse_query(terms) if terms else None))

        best_of("sounds like one", lambda: alike(""))
        best_of("sounds like one, among kind sample", lambda: alike("kind sample"))

        def fit() -> int:
            said = ["fit", "sound 8.wav", "--shelf", str(file), "--json"]
            return len(CliRunner().invoke(liveaid, said, catch_exceptions=False).stdout)

        best_of("liveaid fit, libraries loaded, bytes of its answer", fit)
        plain = "SELECT count(*) FROM fact WHERE instr(said, 'no such text')"
        with sqlite3.connect(file) as db:
            best_of("beside: SQLite reads every row once", lambda: db.execute(plain).fetchone()[0])


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:]]
    main(numbers[0] if numbers else 5000)
    crate(numbers[1] if len(numbers) > 1 else 100_000)
