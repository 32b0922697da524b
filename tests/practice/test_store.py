"""Takes on the disk: none that ended is lost, others may read meanwhile, faults are told."""

import contextlib
import functools
import json
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
from dataclasses import replace

import pytest

from liveaid.practice.act_score import ActScore
from liveaid.practice.delays import Delays
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.report import review
from liveaid.practice.schema import STEPS, StoreError, open_to_write, version
from liveaid.practice.store import Late, TakeStore
from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.practice.trace import pack, trace_of
from liveaid.practice.visits import Visit

SCORE = {  # as the first version wrote it
    "clean": True, "run_through": False, "skipped_pieces": [], "missed": 0,
    "added": 0, "skipped": 0, "heard": 3, "bias_ms": 4.0, "spread_ms": 9.0,
    "pieces": [{
        "index": 0, "name": "Lids", "clean": True, "why": [], "whole": True,
        "missed": 0, "added": 0, "skipped": 0, "heard": 3, "bias_ms": 4.0, "spread_ms": 9.0,
        "tempo_percent": 0.1, "drift_percent": None, "events": [],
    }],
}  # fmt: skip


REPORT = TakeScore(
    verdict="clean", run_through=False, missed=0, added=0, skipped=0, heard=3, bias_ms=4.0,
    spread_ms=9.0,
    pieces=(PieceScore(
        index=0, name="Lids", verdict="clean", why=(), whole=True, missed=0, added=0, skipped=0,
        heard=3, bias_ms=4.0, spread_ms=9.0, tempo_percent=0.1, drift_percent=None,
        acts=(ActScore(kind="start", side="left", beat=2.0, outcome="heard", heard_s=11.204,
                       due_s=11.2, beat_s=0.6, by="right"),),
    ),),
)  # fmt: skip


def take(at=1000.0, aim=""):
    trace = trace_of([(10 + k / 200, "left", 1.8 + k / 200) for k in range(400)])
    return Kept(title="Spice row", at=at, aim=aim, ended="complete", duration_s=2.0,
                tempo_part=1.0, start_s=10.0, counted_in_s=None,
                visits=(Visit(0, 0.0, 12.0, 10.0, 12.0),), trace=trace)  # fmt: skip


@pytest.fixture
def store(tmp_path):
    found = TakeStore(tmp_path / "takes.sqlite")
    yield found
    found.close()


def test_a_take_comes_back_as_it_was_kept(store):
    number = store.keep(take()).result()
    store.score(number, REPORT).result()
    with TakeReader(store.file) as reader:
        back = reader.kept(number)
        assert back.visits == take().visits
        assert back.trace["left"].position_s == pytest.approx(
            take().trace["left"].position_s, abs=2e-5
        )
        assert reader.score(number) == REPORT
        assert [(row.id, row.first_piece) for row in reader.takes()] == [(number, 0)]
        assert [(row.name, row.bias_ms) for row in reader.pieces()] == [("Lids", 4.0)]


def test_scoring_a_take_again_replaces_its_score(store):
    number = store.keep(take()).result()
    store.score(number, REPORT).result()
    store.score(number, replace(REPORT, verdict="not clean", pieces=())).result()
    with TakeReader(store.file) as reader:
        assert [row.clean for row in reader.takes()] == [False]
        assert reader.pieces() == []


def test_a_take_not_yet_scored_waits_and_is_not_listed(store):
    number = store.keep(take()).result()
    with TakeReader(store.file) as reader:
        assert reader.unscored() == [number]
        assert reader.takes() == []


def test_hands_on_time_adds_up_by_day(store):
    store.work("2026-03-01", 60.0)
    store.work("2026-03-01", 30.0).result()
    with TakeReader(store.file) as reader:
        assert (reader.hands_on_s("2026-03-01"), reader.hands_on_s("2026-03-02")) == (90.0, 0.0)


WRITER = """
    import sys
    sys.path.insert(0, {tests!r})
    from pathlib import Path
    from test_store import take
    from liveaid.practice.store import TakeStore
    store = TakeStore(Path({file!r}))
    for number in range(1000):
        store.keep(take(at=float(number))).result()
        print(number, flush=True)
"""


def test_kill_9_loses_no_take_that_ended(tmp_path):
    file = tmp_path / "takes.sqlite"
    code = textwrap.dedent(WRITER).format(tests=os.path.dirname(__file__), file=str(file))
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True
    ) as writer:
        for line in writer.stdout:
            if int(line) >= 7:
                writer.send_signal(signal.SIGKILL)
                break
        told = int(line) + 1 + len(writer.stdout.readlines())
    with TakeReader(file) as reader:
        kept = reader.unscored()
    assert writer.returncode == -signal.SIGKILL
    assert told <= len(kept) <= told + 1  # the one more was written but not yet told


def test_reading_goes_on_while_another_process_writes(store):
    store.keep(take()).result()
    blocker = sqlite3.connect(store.file, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    with TakeReader(store.file) as reader:
        assert reader.unscored() == [1]
    blocker.execute("ROLLBACK")
    blocker.close()


def test_a_file_that_holds_no_takes_is_refused_by_name(tmp_path):
    file = tmp_path / "takes.sqlite"
    file.write_text("not a database, but long enough to be taken for one" * 20)
    with pytest.raises(StoreError, match=r"takes\.sqlite.*--takes FILE would do"):
        TakeStore(file)


def test_takes_of_the_first_version_are_taken_over_with_their_figures(tmp_path):
    """The tables as they were at first, one scored take in them."""
    file = tmp_path / "takes.sqlite"
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.executescript(STEPS[0] + "PRAGMA user_version = 1;")
        db.execute(
            "INSERT INTO take (title, at, aim, ended, duration_s, tempo_part, clean, start_s,"
            " visits, score, trace)"
            " VALUES ('Spice row', 5, '', 'complete', 2, 1, 1, 0, '[]', ?, ?)",
            (json.dumps(SCORE), pack(take().trace)),
        )
        db.commit()
    with TakeReader(file) as reader:
        (row,) = reader.takes()
        assert (row.clean, row.first_piece) == (True, 0)
        assert reader.kept(1).delays == Delays()
        score = reader.score(1)
        assert (score.verdict, score.pieces[0].verdict, score.heard) == ("clean", "clean", 3)
        assert (score.pieces[0].name, score.bias_ms, score.advice) == ("Lids", 4.0, {})


@pytest.mark.parametrize("written", ["[]", '{"pieces": [{"clean": true}]}', '{"clean": true}'])
def test_a_score_that_is_none_is_told_and_left_out_of_a_review(store, spice_row, written):
    for _ in range(2):
        store.score(store.keep(take()).result(), REPORT).result()
    with contextlib.closing(sqlite3.connect(store.file)) as db:
        db.execute("UPDATE take SET score = ? WHERE id = 1", (written,))
        db.commit()
    with TakeReader(store.file) as reader:
        with pytest.raises(StoreError, match="take 1 is spoiled"):
            reader.score(1)
        found = review(spice_row, reader, now=2000.0, ready_at=0.6)
    assert (found.spoiled, [row.id for row, _ in found.takes]) == ((1,), [2])


def test_the_performers_word_and_notes_are_kept_and_a_dropped_take_counts_no_more(store):
    number = store.keep(take()).result()
    store.score(number, REPORT).result()
    store.note("left slipmat sticks", at=1001.0, take=number, aim="Lids").result()
    with TakeReader(store.file) as reader:
        assert [row.name for row in reader.pieces()] == ["Lids"]
        assert [(note.take, note.text) for note in reader.notes()] == [(1, "left slipmat sticks")]
    store.say(number, "drop").result()
    with TakeReader(store.file) as reader:
        assert reader.pieces() == []
        assert [row.said for row in reader.takes()] == ["drop"]


def test_delays_are_kept_by_sender_and_by_output_and_the_latest_counts(store):
    def found(deck, ms, sender="bridge", output="headphones", at=1.0):
        late = Late(late_s=ms / 1000, sure_s=0.001, acts=12)
        store.delay(at=at, sender=sender, output=output, deck=deck, late=late).result()

    found("left", 40)
    with TakeReader(store.file) as reader:
        assert not reader.delays("bridge", "headphones").measured  # the right deck is not known
    found("right", 25)
    found("click", 12)
    found("left", 44, at=2.0)
    with TakeReader(store.file) as reader:
        here = reader.delays("bridge", "headphones")
        assert (here.left_s, here.right_s, here.click_s) == (0.044, 0.025, 0.012)
        assert reader.delays("bridge", "speakers").click_s == 0.0
        assert not reader.delays("other bridge", "headphones").measured


@pytest.mark.parametrize("steps", [0, len(STEPS) - 1])
def test_a_file_that_another_process_brings_up_to_date_meanwhile_is_taken_as_it_is(
    tmp_path, monkeypatch, steps
):
    """Both find it out of date; the other is done before this one begins."""
    file, connect = tmp_path / "takes.sqlite", sqlite3.connect
    with contextlib.closing(connect(file)) as db:
        db.executescript("".join(STEPS[:steps]) + f"PRAGMA user_version = {steps};")

    class Overtaken(sqlite3.Connection):
        def executescript(self, script):
            with contextlib.closing(connect(file)) as other:
                other.executescript(script)
            return super().executescript(script)

    monkeypatch.setattr(sqlite3, "connect", functools.partial(connect, factory=Overtaken))
    with contextlib.closing(open_to_write(file)) as db:
        assert (version(db), db.in_transaction) == (len(STEPS), False)


def test_takes_of_another_version_are_refused(tmp_path):
    file = tmp_path / "takes.sqlite"
    with sqlite3.connect(file) as db:
        db.execute("PRAGMA user_version = 8")
    with pytest.raises(StoreError, match="version 8; version 7 would do"):
        TakeStore(file)


def test_no_file_is_told_with_what_makes_one(tmp_path):
    with pytest.raises(StoreError, match="liveaid rehearse"):
        TakeReader(tmp_path / "none.sqlite")


def test_no_such_take_is_told(store):
    with TakeReader(store.file) as reader, pytest.raises(StoreError, match="no take 99"):
        reader.kept(99)


def test_a_review_asked_for_again_is_not_worked_out_again_before_a_take_comes(
    store, spice_row, monkeypatch
):
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    from liveaid.practice import pages

    asked, worked_out = [], pages.review
    monkeypatch.setattr(
        pages, "review", lambda *a, **words: asked.append(1) or worked_out(*a, **words)
    )
    with ThreadPoolExecutor(1) as aside:
        routes = pages.review_routes(lambda: spice_row, store.file, aside, wall=lambda: 7.0)

        async def ask():
            return await routes[0].handler(None)

        store.keep(take()).result()
        for _ in range(3):
            assert asyncio.run(ask()).status == 200
        assert len(asked) == 1
        store.score(store.keep(take()).result(), REPORT).result()
        asyncio.run(ask())
        assert len(asked) == 2
