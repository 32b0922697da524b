"""The shelf keeps what was learnt, whatever happens to files, names and other processes."""

from __future__ import annotations

import contextlib
import functools
import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.errors import UsageError
from liveaid.files.file_bytes import Signature
from liveaid.shelf import database
from liveaid.shelf.choose import choose
from liveaid.shelf.database import APPLICATION_ID, SCHEMA_VERSION, ShelfError, default_shelf
from liveaid.shelf.find import matching, parse_query
from liveaid.shelf.shelf import Shelf
from liveaid.sound.labels import Labels
from liveaid.study.facts import Study

HASH = "ab" * 20
OTHER = "cd" * 20


def study(**facts: object) -> Study:
    known = {
        "duration_s": 10.0,
        "sample_rate_hz": 44100,
        "channels": 2,
        "format": "WAV PCM_16",
        "frames_declared": 441000,
        "frames_read": 441000,
        "tempo": 92.0,
        "tempo_confidence": 0.4,
        "key": "A minor",
        "key_confidence": 0.3,
        "kind": "sample",
        "onsets_s": (0.1, 0.2),
        "phrases_s": ((0.0, 1.0), (2.0, 3.0)),
    }
    return Study(**(known | facts))  # type: ignore[arg-type]


def looks(size: int = 1, *, inode: int = 1) -> Signature:
    return Signature(size, 1_000, inode, 1)


@pytest.fixture
def shelf(tmp_path: Path):
    with Shelf(tmp_path / "shelf.sqlite") as opened:
        yield opened


def put(shelf: Shelf, path: str = "/s/a.wav", digest: str = HASH, **facts: object) -> None:
    shelf.keep(digest, study(**facts))
    shelf.place(path, digest, looks())


def test_what_was_studied_comes_back_the_same(shelf: Shelf):
    put(shelf)
    (sound,) = shelf.sounds()
    assert sound.study == study()
    assert (sound.path, sound.name, sound.gone) == ("/s/a.wav", "a", False)


def test_a_fault_is_kept_as_one_line(shelf: Shelf):
    shelf.keep(HASH, None, fault="no sound\nin it")
    shelf.place("/s/a.wav", HASH, looks())
    (sound,) = shelf.sounds()
    assert (sound.study, sound.fault) == (None, "no sound in it")
    assert shelf.is_studied(HASH)
    assert not shelf.is_studied(HASH, faults_too=False)
    assert shelf.outdated() == set()
    assert shelf.outdated(faults_too=True) == {HASH}


def test_a_study_of_another_way_of_measuring_is_outdated(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
):
    put(shelf)
    assert shelf.outdated() == set()
    monkeypatch.setattr("liveaid.shelf.shelf.STUDY_VERSION", 10**6)
    assert shelf.outdated() == {HASH}
    assert not shelf.is_studied(HASH)


def test_marks_outrank_the_study_and_survive_a_new_one(shelf: Shelf):
    put(shelf)
    shelf.mark(HASH, set_to={"kind": "effect", "tempo": 46.0, "key": "C major", "note": "a  b"})
    shelf.mark(HASH, set_to={"energy": 5})
    shelf.mark(HASH, tags=["rain", "night"], untag=["rain"])
    put(shelf, duration_s=11.0)
    (sound,) = shelf.sounds()
    assert sound.study is not None
    assert (sound.study.kind, sound.study.kind_confidence) == ("effect", 1.0)
    assert (sound.study.tempo, sound.study.tempo_confidence) == (46.0, 1.0)
    assert (sound.study.key, sound.study.key_confidence) == ("C major", 1.0)
    assert (sound.study.energy, sound.study.duration_s) == (5, 11.0)
    assert (sound.marks.note, sound.marks.tags) == ("a b", frozenset({"night"}))


def test_a_mark_taken_back_leaves_the_study(shelf: Shelf):
    put(shelf)
    shelf.mark(HASH, set_to={"kind": "effect", "note": "x"})
    shelf.mark(HASH, set_to={"kind": None, "note": None})
    (sound,) = shelf.sounds()
    assert sound.study == study()
    assert sound.marks.note == ""


def test_a_tempo_set_to_half_halves_the_beats_of_a_loop(shelf: Shelf):
    put(shelf, tempo=96.0, duration_s=10.0, loop_beats=16)
    shelf.mark(HASH, set_to={"tempo": 48.0})
    (sound,) = shelf.sounds()
    assert sound.study is not None
    assert sound.study.loop_beats == 8


def test_a_moved_file_keeps_everything_and_its_old_place_is_dropped(shelf: Shelf):
    put(shelf)
    shelf.mark(HASH, tags=["rain"])
    shelf.place("/s/new.wav", HASH, looks())
    shelf.mark_gone(["/s/a.wav"])
    (sound,) = shelf.sounds()
    assert (sound.path, sound.copies, sound.gone) == ("/s/new.wav", (), False)
    assert sound.marks.tags == {"rain"}


def test_copies_are_one_sound(shelf: Shelf):
    put(shelf)
    shelf.place("/s/b.wav", HASH, looks())
    (sound,) = shelf.sounds()
    assert (sound.path, sound.copies) == ("/s/a.wav", ("/s/b.wav",))


def test_a_missing_file_is_gone_and_comes_back(shelf: Shelf):
    put(shelf)
    shelf.mark_gone(["/s/a.wav"])
    assert [sound.gone for sound in shelf.sounds()] == [True]
    shelf.refresh("/s/a.wav", looks(2))
    assert [sound.gone for sound in shelf.sounds()] == [False]


def test_an_edited_file_keeps_its_marks(shelf: Shelf):
    put(shelf)
    shelf.mark(HASH, set_to={"kind": "effect", "source": "own"}, tags=["rain"])
    shelf.keep(OTHER, study(duration_s=5.0))
    shelf.place("/s/a.wav", OTHER, looks(2))
    (sound,) = shelf.sounds()
    assert sound.study is not None
    assert (sound.hash, sound.study.duration_s, sound.study.kind) == (OTHER, 5.0, "effect")
    assert (sound.marks.source, sound.marks.tags) == ("own", {"rain"})


def test_an_edited_copy_leaves_the_other_copy_as_it_was(shelf: Shelf):
    put(shelf)
    shelf.place("/s/b.wav", HASH, looks())
    shelf.mark(HASH, tags=["rain"])
    put(shelf, "/s/b.wav", OTHER)
    found = {sound.path: sound.marks.tags for sound in shelf.sounds()}
    assert found == {"/s/a.wav": {"rain"}, "/s/b.wav": frozenset()}


def test_a_forgotten_sound_leaves_nothing(shelf: Shelf):
    put(shelf)
    shelf.mark(HASH, tags=["rain"])
    shelf.forget(HASH)
    assert (shelf.sounds(), shelf.places()) == ([], [])
    put(shelf)
    assert [sound.marks.tags for sound in shelf.sounds()] == [frozenset()]


def test_an_unknown_mark_changes_nothing(shelf: Shelf):
    put(shelf)
    with pytest.raises(ValueError, match="no such mark: colour"):
        shelf.mark(HASH, set_to={"note": "x", "colour": "red"})
    assert [sound.marks.note for sound in shelf.sounds()] == [""]


@given(
    st.binary(min_size=1, max_size=40).filter(lambda name: b"\0" not in name and b"/" not in name)
)
def test_any_name_a_file_can_have_comes_back_byte_for_byte(name: bytes):
    with Shelf(":memory:") as shelf:
        put(shelf, os.fsdecode(b"/s/" + name))
        (sound,) = shelf.sounds()
    assert os.fsencode(sound.path) == b"/s/" + name
    assert sound.name.isprintable()


def test_a_signature_of_any_size_fits(shelf: Shelf):
    shelf.keep(HASH, study())
    big = Signature(2**62, 2**62, 2**63 - 1, 2**63 - 1, settled=False)
    shelf.place("/s/a.wav", HASH, big)
    assert [place.signature for place in shelf.places()] == [big]


# How an SQLite file says whose it is: application id at byte 68, user version at byte 60, both
# big-endian (SQLite file format, section 1.3).
def test_the_file_says_in_its_header_that_it_is_a_shelf(tmp_path: Path):
    file = tmp_path / "shelf.sqlite"
    Shelf(file).close()
    head = file.read_bytes()[:100]
    assert int.from_bytes(head[68:72], "big") == APPLICATION_ID
    assert int.from_bytes(head[60:64], "big") == SCHEMA_VERSION


def test_files_that_are_no_shelf_are_refused_and_not_touched(tmp_path: Path):
    text = tmp_path / "text.sqlite"
    text.write_text("no shelf at all, " * 100)
    foreign = tmp_path / "foreign.sqlite"
    with sqlite3.connect(foreign) as db:
        db.execute("CREATE TABLE sound (x)")
    db.close()
    before = {file: file.read_bytes() for file in (text, foreign)}
    with pytest.raises(ShelfError, match="not a shelf"):
        Shelf(text)
    with pytest.raises(ShelfError, match="no shelf; another file would do"):
        Shelf(foreign)
    assert {file: file.read_bytes() for file in before} == before


def test_a_shelf_of_the_first_version_is_brought_up_to_date(tmp_path: Path):
    """The first version had no energy of the performer's own, the second no columns or labels,
    the fourth no bar lines of the performer's own, the fifth no imprints, the
    sixth no breaks as sounds of their own."""
    file = tmp_path / "shelf.sqlite"
    with Shelf(file) as shelf:
        put(shelf)
    with sqlite3.connect(file) as db:
        for column in ("energy", "artist", "title", "album", "bar", "metre"):
            db.execute(f"ALTER TABLE sound DROP COLUMN {column}")
        for table in ("fact", "timbre", "picture"):
            db.execute(f"DROP TABLE {table}")
        db.execute("PRAGMA user_version = 1")
    db.close()
    with Shelf(file) as shelf:
        shelf.mark(HASH, set_to={"energy": 5})
        assert [sound.study and sound.study.energy for sound in shelf.sounds()] == [5]
        assert [sound.name for sound in shelf.find(parse_query("tempo 92, energy 5"))] == ["a"]


def test_a_newer_shelf_is_refused(tmp_path: Path):
    file = tmp_path / "shelf.sqlite"
    Shelf(file).close()
    with sqlite3.connect(file) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(ShelfError, match="version 99, made by a newer liveaid"):
        Shelf(file)


def test_a_shelf_that_is_not_there_or_cannot_be_made_is_told(tmp_path: Path):
    with pytest.raises(ShelfError, match="liveaid gather FOLDER"):
        Shelf(tmp_path / "none.sqlite", make=False)
    assert not (tmp_path / "none.sqlite").exists()
    (tmp_path / "file").write_text("")
    with pytest.raises(ShelfError, match="cannot be opened"):
        Shelf(tmp_path / "file" / "shelf.sqlite")


def test_a_shelf_another_process_writes_to_is_told_as_busy(tmp_path: Path):
    file = tmp_path / "shelf.sqlite"
    with Shelf(file, busy_s=0.1) as shelf:
        other = sqlite3.connect(file, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ShelfError, match="another process has been writing"):
            put(shelf)
        assert shelf.sounds() == []  # reading goes on
        other.execute("ROLLBACK")
        other.close()
        put(shelf)


def test_a_new_shelf_waits_until_whoever_reads_its_file_is_done(tmp_path: Path):
    """SQLite does not wait for a reader where the write-ahead log is turned on."""
    file = tmp_path / "shelf.sqlite"
    reader = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM sqlite_schema").fetchall()
    with pytest.raises(ShelfError, match="another process"):
        Shelf(file, busy_s=0.05)
    done = threading.Timer(0.2, reader.rollback)
    done.start()
    with Shelf(file, busy_s=60.0) as shelf:
        assert shelf.sounds() == []
    done.join()
    reader.close()


def test_sounds_asked_for_by_hash_come_in_that_order_with_onsets_where_wanted(shelf: Shelf):
    put(shelf)
    put(shelf, "/s/b.wav", OTHER)
    found = shelf.these([OTHER, "ff" * 20, HASH])
    told = [(sound.hash, sound.study and sound.study.onsets_s) for sound in found]
    assert told == [(OTHER, ()), (HASH, ())]
    (whole,) = shelf.these([HASH], onsets=True)
    assert whole.study is not None
    assert whole.study.onsets_s == (0.1, 0.2)


WRITER = """
import sys
from liveaid.study.facts import Study
from liveaid.files.file_bytes import Signature
from liveaid.shelf.shelf import Shelf
facts = Study(duration_s=1.0, sample_rate_hz=8000, channels=1, format="WAV PCM_16",
              frames_declared=8000, frames_read=8000)
with Shelf(sys.argv[1]) as shelf:
    for n in range(40):
        digest = f"{int(sys.argv[2]):02x}{n:02x}" * 10
        shelf.keep(digest, facts)
        shelf.place(f"/{sys.argv[2]}/{n}.wav", digest, Signature(1, 1, n, 1))
"""


@pytest.mark.parametrize("after", ["sqlite_schema", "application_id", "user_version"])
def test_a_shelf_that_another_makes_meanwhile_is_still_a_shelf(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: str
):
    """Between any two questions about the file another process may finish making it."""
    file, connect = tmp_path / "shelf.sqlite", sqlite3.connect
    made = "\n".join(
        f"{line};"
        for line in (
            "BEGIN IMMEDIATE",
            *database._STATEMENTS,
            f"PRAGMA application_id = {APPLICATION_ID}",
            f"PRAGMA user_version = {SCHEMA_VERSION}",
            "COMMIT",
        )
    )

    class Interrupted(sqlite3.Connection):
        last, interrupted = "", False

        def execute(self, statement, *values):
            if after in self.last and not self.interrupted:
                self.interrupted = True
                with (
                    contextlib.closing(connect(file, timeout=0)) as other,
                    contextlib.suppress(sqlite3.OperationalError),  # it has to wait
                ):
                    other.executescript(made)
            self.last = statement
            return super().execute(statement, *values)

    monkeypatch.setattr(sqlite3, "connect", functools.partial(connect, factory=Interrupted))
    with Shelf(file) as shelf:
        assert shelf.sounds() == []


def test_processes_that_make_and_fill_one_shelf_at_once_lose_nothing(tmp_path: Path):
    file = tmp_path / "shelf.sqlite"
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(file), str(n)]) for n in range(4)
    ]
    assert [writer.wait(60) for writer in writers] == [0, 0, 0, 0]
    with Shelf(file, make=False) as shelf:
        assert len(shelf.sounds()) == 160
    with sqlite3.connect(file) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    db.close()


# XDG Base Directory Specification: data files go to $XDG_DATA_HOME, $HOME/.local/share when it is
# unset or empty; a relative path there is invalid and to be ignored.
@pytest.mark.parametrize(
    ("said", "folder"),
    [("/data", "/data"), ("", "/home/p/.local/share"), ("relative", "/home/p/.local/share")],
)
def test_the_default_shelf_is_where_the_desktop_standard_puts_it(
    monkeypatch: pytest.MonkeyPatch, said: str, folder: str
):
    monkeypatch.setenv("HOME", "/home/p")
    monkeypatch.setenv("XDG_DATA_HOME", said)
    assert default_shelf() == Path(folder) / "liveaid" / "shelf.sqlite"


def test_a_sound_is_chosen_by_path_name_or_part(shelf: Shelf):
    put(shelf, "/s/Stall Break.wav", HASH)
    put(shelf, "/s/stall-call.wav", OTHER)
    sounds = shelf.sounds()
    for meant in ("/s/Stall Break.wav", "stall break", "stall break.WAV", "brea"):
        assert choose(sounds, meant).hash == HASH
    with pytest.raises(UsageError, match="which of these"):
        choose(sounds, "stall")
    with pytest.raises(UsageError, match="did you mean stall-call"):
        choose(sounds, "stal-cal")


# The shelf finds by its columns what `matching` finds by the sounds themselves.
@given(
    facts=st.lists(
        st.fixed_dictionaries({
            "tempo": st.none() | st.floats(40, 220),
            "key": st.sampled_from([None, "A minor", "C major", "F# minor"]),
            "energy": st.integers(1, 5),
            "kind": st.sampled_from(["instrumental", "a cappella", "sample"]),
        }),
        max_size=6,
    ),
    query=st.sampled_from([
        "tempo 88..96 half double, by tempo", "key near A minor, not energy 3", "tempo none",
        "kind sample or a cappella, by tempo down", "not key none, energy 2..4",
    ]),
)  # fmt: skip
def test_the_shelf_finds_what_its_sounds_say(facts: list[dict[str, object]], query: str):
    with tempfile.TemporaryDirectory() as folder, Shelf(Path(folder) / "s.sqlite") as shelf:
        for number, each in enumerate(facts):
            put(shelf, f"/s/{number}.wav", f"{number:040x}", **each)
        asked = parse_query(query)
        found = [sound.hash for sound in shelf.find(asked)]
        assert found == [sound.hash for sound in matching(asked, shelf.sounds())]
        assert shelf.count(asked) == len(found)
        assert [sound.hash for sound in shelf.find(asked, most=2)] == found[:2]


def test_marks_moves_and_losses_are_found_at_once(shelf: Shelf):
    put(shelf, "/crates/dusk/a.wav", HASH)
    assert shelf.count(parse_query("folder dusk")) == 1
    shelf.mark(HASH, set_to={"tempo": 140.0, "note": "für später"}, tags=["Rain"])
    assert shelf.count(parse_query("tempo 140, tag rain, text fur")) == 1
    shelf.mark_gone(["/crates/dusk/a.wav"])
    assert shelf.count(parse_query("gone")) == 1
    shelf.refresh("/crates/dusk/a.wav", looks())
    assert shelf.count(parse_query("gone")) == 0
    shelf.place("/crates/dawn/b.wav", HASH, looks(inode=2))
    shelf.mark_gone(["/crates/dusk/a.wav"])
    assert [s.path for s in shelf.find(parse_query("folder dawn, not gone"))] == [
        "/crates/dawn/b.wav"
    ]
    shelf.forget(HASH)
    assert shelf.count(parse_query("")) == 0


def test_a_maps_word_on_a_sound_stands_in_for_the_shelfs(shelf: Shelf):
    put(shelf, "/s/a.wav", HASH, tempo=92.0)
    put(shelf, "/s/b.wav", OTHER, tempo=93.0)
    (own,) = shelf.at(["/s/a.wav"])
    said = replace(own, study=study(tempo=120.0))
    query = parse_query("tempo 90..125, by tempo down")
    found = shelf.find(query, instead=[said])
    assert [(sound.name, sound.study and sound.study.tempo) for sound in found] == [
        ("a", 120.0), ("b", 93.0),
    ]  # fmt: skip
    assert shelf.count(parse_query("tempo 90..95"), instead=[said]) == 1


def test_what_a_file_says_of_itself_is_found(shelf: Shelf):
    shelf.keep(HASH, study(), labels=Labels("The Lamplighters", "First Rain", "Night Stalls"))
    shelf.place("/s/track01.wav", HASH, looks())
    for query in ("artist lamplight", "title rain", "text night rain", "not artist none"):
        assert shelf.count(parse_query(query)) == 1
    assert shelf.sounds()[0].labels.album == "Night Stalls"
