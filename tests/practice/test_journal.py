"""No ended take is lost: a locked, foreign, full or spoiled database, and kills at any moment."""

import contextlib
import sqlite3
import subprocess
import sys
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.practice import store as store_module
from liveaid.practice.history import of_this_map
from liveaid.practice.journal import Journal, Spoiled, from_bytes, to_bytes
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept, PieceRow
from liveaid.practice.schema import STEPS, StoreError
from liveaid.practice.store import TakeStore
from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine.digest import piece_digest


def take(at=1000.0, **also):
    trace = trace_of([(10 + k / 200, "left", 1.8 + k / 200) for k in range(40)])
    return Kept(title="Spice row", at=at, aim="", ended="complete", duration_s=2.0, tempo_part=1.0,
                start_s=10.0, counted_in_s=None, visits=(Visit(0, 0.0, 12.0, 10.0, 12.0),),
                trace=trace, **also)  # fmt: skip


def ats(file):
    with contextlib.closing(sqlite3.connect(file)) as db:
        return [row[0] for row in db.execute("SELECT at FROM take ORDER BY at")]


@pytest.fixture
def file(tmp_path):
    return tmp_path / "takes.sqlite"


@pytest.fixture
def impatient(monkeypatch):
    """A store that waits for a locked file a tenth of a second, not five."""
    monkeypatch.setattr("liveaid.practice.schema.LOCKED_S", 0.1)


def locked(file):
    db = sqlite3.connect(file, isolation_level=None)
    db.execute("BEGIN EXCLUSIVE")
    return contextlib.closing(db)


def test_a_kept_take_leaves_no_journal_behind(file):
    store = TakeStore(file)
    store.keep(take()).result()
    store.close()
    assert [path.name for path in file.parent.iterdir()] == ["takes.sqlite"]


def test_a_take_that_ends_while_the_file_is_locked_goes_in_when_it_is_free(file, impatient):
    store = TakeStore(file, retry_s=0.05)
    with locked(file):
        with pytest.raises(StoreError, match=r"waits in .*takes\.sqlite\.waiting"):
            store.keep(take(at=1.0)).result()
        assert len(Journal(file).waiting()) == 1
    deadline = time.monotonic() + 20
    while store.waiting and time.monotonic() < deadline:
        time.sleep(0.02)
    assert ats(file) == [1.0]
    store.keep(take(at=2.0)).result()
    store.close()
    assert ats(file) == [1.0, 2.0]


def test_what_waited_when_the_process_was_gone_goes_in_when_the_next_opens(file, impatient):
    store = TakeStore(file)
    with locked(file):
        future = store.keep(take(at=1.0))
        with pytest.raises(StoreError):
            future.result()
        store.close()
        assert store.waiting == 1
    TakeStore(file).close()
    assert ats(file) == [1.0]
    assert Journal(file).waiting() == []


def test_a_store_opens_on_a_locked_file_and_keeps(file, impatient):
    TakeStore(file).close()
    with locked(file):
        store = TakeStore(file, retry_s=0.05)
        with pytest.raises(StoreError, match="waits"):
            store.keep(take(at=3.0)).result()
    store.close()
    assert ats(file) == [3.0]


def test_a_take_that_was_put_in_and_not_yet_taken_out_of_the_journal_is_not_doubled(
    file, monkeypatch
):
    monkeypatch.setattr(Journal, "drop", lambda self, code: None)  # killed between the two
    store = TakeStore(file)
    store.keep(take(at=1.0)).result()
    store.close()
    monkeypatch.undo()
    assert len(Journal(file).waiting()) == 1
    TakeStore(file).close()
    assert ats(file) == [1.0]
    assert Journal(file).waiting() == []


def test_a_disk_too_full_for_the_journal_holds_the_take_in_memory_until_there_is_room(
    file, monkeypatch
):
    store = TakeStore(file, retry_s=0.05)
    full = OSError(28, "No space left on device")

    def no_room(*_):
        raise full

    monkeypatch.setattr(store_module.Journal, "write", no_room)
    monkeypatch.setattr(store_module, "_insert", no_room)
    with pytest.raises(StoreError, match="waits in memory"):
        store.keep(take(at=4.0)).result()
    assert store.in_memory == 1
    monkeypatch.undo()
    store.close()
    assert ats(file) == [4.0]
    assert store.waiting == 0


@pytest.mark.parametrize("make", [
    "CREATE TABLE mine (what)",
    "CREATE TABLE take (what); PRAGMA application_id = 7",
    "PRAGMA application_id = 7; PRAGMA user_version = 2",
])  # fmt: skip
def test_another_program_s_database_is_refused_and_left_as_it_was(file, make):
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.executescript(make)
    before = file.read_bytes()
    with pytest.raises(StoreError, match="not one of takes; another --takes FILE would do"):
        TakeStore(file)
    with pytest.raises(StoreError, match="not one of takes"):
        TakeReader(file)
    assert file.read_bytes() == before
    assert [path.name for path in file.parent.iterdir()] == ["takes.sqlite"]


def test_no_database_at_all_is_refused_and_left_as_it_was(file):
    file.write_bytes(b"my thesis" * 1000)
    with pytest.raises(StoreError, match="not a database"):
        TakeStore(file)
    assert file.read_bytes() == b"my thesis" * 1000


def test_a_file_of_an_older_version_is_read_on(file):
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.executescript(STEPS[0] + STEPS[1] + "PRAGMA user_version = 2;")
        db.execute("INSERT INTO take (title, at, aim, ended, duration_s, tempo_part, start_s,"
                   " visits, trace, score) VALUES ('x', 1.0, '', 'complete', 1, 1, 0, '[]', x'00',"
                   " '{}')")  # fmt: skip
        db.execute("INSERT INTO piece (take, place, name, clean, whole, heard, missed, added,"
                   " skipped) VALUES (1, 0, 'Saffron', 1, 1, 4, 0, 0, 0)")  # fmt: skip
        db.commit()
    with TakeReader(file) as reader:
        (row,) = reader.pieces()
        assert (row.name, row.digest) == ("Saffron", "")
    with contextlib.closing(sqlite3.connect(file)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (7,)
        names = db.execute("SELECT name FROM sqlite_master WHERE type = 'index' AND sql NOT NULL")
        assert {name for (name,) in names} == {"piece_name", "take_at", "take_code", "take_scored"}
        assert db.execute("PRAGMA application_id").fetchone() == (0x6C766174,)


def test_a_spoiled_row_is_told_and_the_others_are_read(file):
    store = TakeStore(file)
    numbers = [store.keep(take(at=float(at))).result() for at in range(3)]
    store.close()
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.execute("UPDATE take SET score = '{' WHERE id = ?", (numbers[0],))
        db.execute("UPDATE take SET trace = x'00' WHERE id = ?", (numbers[1],))
        db.commit()
    with TakeReader(file) as reader:
        with pytest.raises(StoreError, match=f"take {numbers[0]} is spoiled"):
            reader.score(numbers[0])
        with pytest.raises(StoreError, match=f"take {numbers[1]} is spoiled"):
            reader.kept(numbers[1])
        assert reader.kept(numbers[2]).at == 2.0


def test_a_spoiled_waiting_take_is_left_and_keeps_no_other_out(file):
    journal = Journal(file)
    journal.write("0" * 32, take(at=1.0))
    journal.write("1" * 32, take(at=2.0))
    (journal.folder / ("0" * 32 + ".take")).write_bytes(b"half a")
    (journal.folder / "thesis.txt").write_text("mine")
    TakeStore(file).close()
    assert ats(file) == [2.0]
    assert sorted(path.name for path in journal.folder.iterdir()) == ["0" * 32 + ".take",
                                                                      "thesis.txt"]  # fmt: skip


@given(st.data())
def test_any_spoiled_byte_of_a_waiting_take_is_noticed(data):
    whole = to_bytes(take(sender="bridge", played={"3": "ab"}))
    at = data.draw(st.integers(0, len(whole) - 1))
    spoiled = bytearray(whole)
    spoiled[at] ^= data.draw(st.integers(1, 255))
    with pytest.raises(Spoiled):
        from_bytes(bytes(spoiled))
    with pytest.raises(Spoiled):
        from_bytes(whole[:at])


def test_a_waiting_take_comes_back_whole():
    there = take(sender="bridge", played={"3": "ab"})
    back = from_bytes(to_bytes(there))
    assert (back.at, back.sender, back.played, back.visits) == (1000.0, "bridge", {"3": "ab"},
                                                                there.visits)  # fmt: skip
    before, after = (list(one.trace["left"].position_s) for one in (there, back))
    assert after == pytest.approx(before)


KEEPER = """
import sys
from pathlib import Path
sys.path[:0] = {path!r}
from test_journal import take
from liveaid.practice.store import TakeStore
store = TakeStore(Path({file!r}))
for number in range(1000):
    store.keep(take(at=float(number))).result()
    print(number, flush=True)
"""


def test_killed_at_any_moment_every_take_told_as_kept_is_there_once(file, request):
    told = set()
    here = str(request.path.parent)
    for moment_s in (0.0, 0.03, 0.11):
        if file.exists():
            with contextlib.closing(sqlite3.connect(file)) as db:
                db.execute("DELETE FROM take")
                db.commit()
        program = KEEPER.format(path=[here], file=str(file))
        process = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(moment_s)
        process.kill()
        told = {0, *(int(line) for line in process.stdout.read().split())}
        process.wait()
        TakeStore(file).close()
        found = ats(file)
        assert told <= set(found)
        assert len(found) == len(set(found))


def row(name, digest="", take=1):
    return PieceRow(take=take, at=1.0, aim=name, tempo_part=1.0, name=name, digest=digest,
                    clean=True, missed=0, added=0, bias_ms=None, spread_ms=None)  # fmt: skip


def test_a_renamed_set_piece_keeps_its_takes_and_a_changed_one_starts_anew(spice_row):
    first = spice_row.pieces[0]
    rows = [row(first.name, piece_digest(spice_row, 0)), row("Nobody's")]
    renamed = spice_row.model_copy(
        update={"pieces": (first.model_copy(update={"name": "Cumin"}), *spice_row.pieces[1:])}
    )
    changed = spice_row.model_copy(
        update={"pieces": (first.model_copy(update={"bars": 16}), *spice_row.pieces[1:])}
    )
    assert [(r.name, r.aim) for r in of_this_map(rows, renamed)] == [("Cumin", "Cumin")]
    assert of_this_map(rows, changed) == []
    assert [r.name for r in of_this_map([row(first.name)], changed)] == [first.name]


def test_a_scored_take_knows_what_was_played_in_each_set_piece(file):
    store = TakeStore(file)
    number = store.keep(take(played={"2": "abc"})).result()
    none = {"heard": 0, "missed": 0, "added": 0, "skipped": 0, "bias_ms": None, "spread_ms": None}
    piece = PieceScore(index=2, name="Saffron", verdict="clean", why=(), whole=True,
                        tempo_percent=None, drift_percent=None, **none)  # fmt: skip
    score = TakeScore(verdict="clean", run_through=False, pieces=(piece,), **none)
    store.score(number, score).result()
    store.close()
    with TakeReader(file) as reader:
        assert [(r.name, r.digest) for r in reader.pieces()] == [("Saffron", "abc")]
