"""How long a review takes with 2,000 takes over two years in the file.

Run by hand:  python tests/bench/two_years.py [--takes 2000]

Beside it, in the same run: reading every score in full, as a review without columns would.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from liveaid.practice.aim import aim_of
from liveaid.practice.history import of_this_map
from liveaid.practice.pictures import pictures
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.report import review
from liveaid.practice.review_json import review_json
from liveaid.practice.score import score_of
from liveaid.practice.store import TakeStore
from liveaid.practice.take_score import Verdict
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine import load_routine
from liveaid.simulate import perform

ROUTINE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
NOW = 1_800_000_000.0
DAY_S = 86400.0


def fill(file: Path, takes: int) -> None:
    """Takes with one real trace's score each, clean more and more often."""
    routine, rng = load_routine(ROUTINE), np.random.default_rng(1)
    aim = aim_of(routine, "")
    assert aim is not None
    played = perform(routine, seed=1, lead_s=3.0)
    trace = trace_of((m.now_s, m.side, m.position_s) for m in played.messages)
    starts = [3.0 + 0.6 * sum(routine.beats(k) for k in range(piece)) for piece in range(5)]
    gone = tuple(
        Visit(piece, 0.0, float(routine.beats(piece)), starts[piece], starts[piece + 1])
        for piece in range(4)
    )
    store = TakeStore(file)
    score = None
    for number in range(takes):
        at = NOW - 730 * DAY_S * (1 - number / takes)
        kept = Kept(title=routine.title, at=at, aim="", ended="complete", duration_s=34.0,
                    tempo_part=1.0, start_s=3.0, counted_in_s=3.0, visits=gone,
                    trace=trace)  # fmt: skip
        score = score or score_of(aim, kept)
        clean = bool(rng.random() < 0.3 + 0.5 * number / takes)
        verdict: Verdict = "clean" if clean else "not clean"
        pieces = tuple(replace(piece, verdict=verdict) for piece in score.pieces)
        store.keep(kept)
        store.score(number + 1, replace(score, verdict=verdict, pieces=pieces))
    store.close()


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--takes", type=int, default=2000)
    chosen = options.parse_args()
    routine = load_routine(ROUTINE)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "takes.sqlite"
        fill(file, chosen.takes)
        began = time.perf_counter()
        with TakeReader(file) as reader:
            found = review(routine, reader, now=NOW, ready_at=0.6)
        review_s = time.perf_counter() - began
        began, began_cpu = time.perf_counter(), time.process_time()
        with TakeReader(file) as reader:
            rows = of_this_map(reader.pieces(), routine)
            shown = review_json(review(routine, reader, now=NOW, ready_at=0.6, rows=rows))
            shown["pictures"] = list(pictures(routine, reader, pieces=rows))
        page_s, page_cpu_s = time.perf_counter() - began, time.process_time() - began_cpu
        began = time.perf_counter()
        with TakeReader(file) as reader:
            for take in reader.takes(limit=chosen.takes):
                reader.score(take.id)
        plain_s = time.perf_counter() - began
    weeks = sum(len(one.weeks) for one in found.weeks)
    print(f"{chosen.takes} takes, {weeks} weeks told: review {1000 * review_s:.0f} ms;"
          f" the page's first look {1000 * page_s:.0f} ms ({1000 * page_cpu_s:.0f} of one core);"
          f" every score in full {1000 * plain_s:.0f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
