"""Scenes from strangers: nothing outside their folder is read, written or deleted.

Each scene is set beside a folder with files of the performer's own. Every command that reads or
makes files is run on it; the files outside must be as they were and unread (by their access
time), and what is wrong is told in one line that cannot steer the terminal.
"""

from __future__ import annotations

import os
import re
import socket
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.cli import main
from liveaid.routine.opened import open_scene

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX links, pipes and devices")

COMMANDS = ("check", "render", "arrange", "review", "fit", "gather --for")
MAP = """\
title: Borrowed
sounds:
  bells: {file: sounds/bells.wav, kind: instrumental, tempo: 120, first_beat: 0, key: A minor}
pieces:
  - {name: One, bars: 1, tempo: 120, count: left, left: {hand: runs, sound: bells}}
"""
STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")


class Street:
    """A stranger's scene, and beside it what must not be touched."""

    def __init__(self, folder: Path) -> None:
        self.scene = folder / "scene"
        self.outside = folder / "mine"
        (self.scene / "sounds").mkdir(parents=True)
        self.outside.mkdir()
        silence = np.full(4 * 48_000, 0.1)
        for place in (self.scene / "sounds" / "bells.wav", self.outside / "bells.wav"):
            soundfile.write(place, silence, 48_000)
        for name in ("routine.yaml", "left.wav", "guide.wav", "notes.json", "x.npy", "x.part"):
            (self.outside / name).write_text(f"title: mine, {name}\n")
        database = sqlite3.connect(self.outside / "mine.sqlite")
        database.execute("CREATE TABLE mine (what)")
        database.commit()
        database.close()
        self.write(MAP)

    def write(self, text: str) -> None:
        (self.scene / "routine.yaml").write_text(text)

    def sound(self, name: str) -> None:
        self.write(MAP.replace("sounds/bells.wav", name))

    def link(self, name: str, to: str | Path) -> None:
        path = self.scene / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            path.unlink()
        path.symlink_to(to)

    def seen(self) -> dict[str, object]:
        """Everything outside: bytes, and whether anything was read since the last look."""
        found: dict[str, object] = {}
        for path in sorted(self.outside.rglob("*")):
            status = path.lstat()
            found[str(path.relative_to(self.outside))] = (
                status.st_mode, status.st_size, status.st_mtime_ns, status.st_atime_ns,
            )  # fmt: skip
        return found

    def unread(self) -> None:
        """Put access times long before the last change, so that the next read moves them."""
        for path in self.outside.rglob("*"):
            if path.is_file():
                os.utime(path, ns=(10**18, path.stat().st_mtime_ns))


@pytest.fixture
def street(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    made = Street(tmp_path)
    made.unread()
    probe = made.outside / "notes.json"
    probe.read_bytes()
    if probe.stat().st_atime_ns == 10**18:
        pytest.skip("this file system keeps no access times")
    made.unread()
    return made


@pytest.fixture
def told(street, capfd):
    """told(): every command run on the scene; their exit statuses and all they said."""

    def run() -> tuple[dict[str, int], str]:
        status, said = {}, ""
        for command in COMMANDS:
            with pytest.raises(SystemExit) as left:
                main([*command.split(), str(street.scene)])
            status[command] = int(left.value.code or 0)
            heard = capfd.readouterr()
            said += heard.out + heard.err
        return status, said

    return run


def deep(street: Street) -> None:
    street.link("a", "b")
    street.link("b", "c")
    street.link("c", street.outside)
    street.sound("a/bells.wav")


def inner_link(street: Street) -> None:
    (street.scene / "sounds" / "loops").mkdir()
    street.link("sounds/loops/bells.wav", "../../../mine/bells.wav")
    street.sound("sounds/loops/bells.wav")


def folder_link(street: Street) -> None:
    (street.scene / "sounds" / "bells.wav").unlink()
    (street.scene / "sounds").rmdir()
    street.link("sounds", street.outside)


def pipe(street: Street) -> None:
    os.mkfifo(street.scene / "sounds" / "pipe.wav")
    street.sound("sounds/pipe.wav")


def pipe_by_link(street: Street) -> None:
    os.mkfifo(street.scene / "pipe")
    street.link("sounds/bells.wav", "../pipe")


def a_socket(street: Street) -> None:
    held = socket.socket(socket.AF_UNIX)
    here = Path.cwd()
    os.chdir(street.scene)  # a socket's path is short
    held.bind("sounds/sock.wav")
    os.chdir(here)
    held.close()
    street.sound("sounds/sock.wav")


def folder(street: Street) -> None:
    (street.scene / "sounds" / "folder.wav").mkdir()
    street.sound("sounds/folder.wav")


def circle(street: Street) -> None:
    street.link("sounds/bells.wav", "bells.wav")


def deck_out(street: Street) -> None:
    street.write("decks: {left: {file: ../mine/left.wav}}\n" + MAP)


def deck_pipe(street: Street) -> None:
    os.mkfifo(street.scene / "left.wav")
    street.write("decks: {left: {file: left.wav}}\n" + MAP)


# What a map may not name: how the scene is made, and what the one line says.
NAMES = {
    "up and out": (lambda s: s.sound("../mine/bells.wav"), "outside the scene's folder"),
    "up from below": (lambda s: s.sound("sounds/../../mine/bells.wav"), "outside the scene's"),
    "far up": (lambda s: s.sound("../" * 40 + "etc/passwd"), "/etc/passwd, outside"),
    "absolute": (lambda s: s.sound(str(s.outside / "bells.wav")), "outside the scene's folder"),
    "home": (lambda s: s.sound("~/bells.wav"), "outside the scene's folder"),
    "process": (lambda s: s.sound("/proc/self/environ"), "environ, which leads out"),
    "device": (lambda s: s.sound("/dev/zero"), "outside the scene's folder"),
    "a link": (lambda s: s.link("sounds/bells.wav", s.outside / "bells.wav"), "leads out"),
    "a link within": (inner_link, "leads out of the scene's folder"),
    "a folder's link": (folder_link, "leads out of the scene's folder"),
    "links to links": (deep, "leads out of the scene's folder"),
    "a device's link": (lambda s: s.link("sounds/bells.wav", "/dev/zero"), "leads out"),
    "a link to nothing outside": (lambda s: s.link("sounds/bells.wav", "/nowhere/x"), "leads out"),
    "pipe": (pipe, "pipe.wav, a pipe"),
    "a link to a pipe": (pipe_by_link, "pipe, a pipe"),
    "socket": (a_socket, "sock.wav, a socket"),
    "folder": (folder, "folder.wav, a folder"),
    "circle": (circle, "a link in a circle"),
    "newline": (lambda s: s.sound(r'"sounds/a\nb.wav"'), "a name with control characters"),
    "NUL": (lambda s: s.sound(r'"sounds/a\0b.wav"'), r"sounds/a\x00b.wav"),
    "ESC": (lambda s: s.sound(r'"sounds/\e[2Jb.wav"'), r"sounds/\x1b[2Jb.wav"),
    "300 letters": (lambda s: s.sound("a" * 300), "a name of 300 bytes"),
    "blank": (lambda s: s.sound('"  "'), "nothing but blanks"),
    "deck outside": (deck_out, "decks.left.file"),
    "deck a pipe": (deck_pipe, "left.wav, a pipe"),
    "title steers": (lambda s: s.write(MAP.replace("Borrowed", r'"\e]0;mine\a"')), r"\x1b]0;mine"),
    "C1 title": (lambda s: s.write(MAP.replace("Borrowed", r'"\x9b2J"')), r"\x9b2J"),
    "turned title": (lambda s: s.write(MAP.replace("Borrowed", r'"a\u202eb"')), r"a\u202eb"),
    "key steers": (lambda s: s.write(MAP + '"\\e[2J": 3\n'), r"\x1b[2J"),
    "piece of two lines": (lambda s: s.write(MAP.replace("One", r'"a\nb"')), "on one line"),
    "raw ESC": (lambda s: s.write(MAP.replace("Borrowed", "\x1b[2J")), "the character U+001B"),
}  # fmt: skip


@pytest.mark.parametrize("case", NAMES)
def test_what_a_map_names_outside_is_neither_read_nor_written(street, told, case):
    make, says = NAMES[case]
    make(street)
    street.unread()
    before = street.seen()
    status, said = told()
    assert street.seen() == before
    assert set(status.values()) == {1}
    assert not STEERS.search(said)
    lines = [line for line in said.splitlines() if line]
    assert len(lines) == len(COMMANDS), said
    assert all(says in line for line in lines if "routine.yaml, line" in line)
    assert sum("routine.yaml, line" in line for line in lines) >= 5


def link_a_part(street: Street) -> None:
    # Whatever name a passage is kept under: every number a process may have is a link out.
    (street.scene / "decks" / ".rendered").mkdir(parents=True)
    street.link(f"decks/.rendered/{'0' * 32}.npy.{os.getpid()}.part", street.outside / "x.part")


def foreign_files(street: Street) -> None:
    kept = street.scene / "decks" / ".rendered"
    kept.mkdir(parents=True)
    for name in ("thesis.json", "photo.npy", "draft.part", "0" * 31 + ".json"):
        (kept / name).write_text("mine")
    (street.scene / "decks" / ".making-1-x").mkdir()
    (street.scene / "decks" / ".making-1-x" / "thesis.txt").write_text("mine")
    os.utime(street.scene / "decks" / ".making-1-x", (1, 1))


def making_link(street: Street) -> None:
    street.link("decks/.making-1-x", street.outside)


# What stands where our own files go. Rendering may go well or be refused; nothing outside moves.
PLACES = {
    "decks a link": (lambda s: s.link("decks", s.outside), "decks, which leads out"),
    "decks up": (lambda s: s.link("decks", "../mine"), "decks, which leads out"),
    "decks a file": (lambda s: (s.scene / "decks").write_text("x"), "decks, no folder"),
    "kept a link": (lambda s: s.link("decks/.rendered", s.outside), ".rendered, which leads out"),
    "placed a link": (
        lambda s: s.link("decks/routine.yaml", s.outside / "routine.yaml"), "leads out"),
    "placed a pipe": (
        lambda s: ((s.scene / "decks").mkdir(), os.mkfifo(s.scene / "decks/routine.yaml")), ""),
    "deck a link": (lambda s: s.link("decks/left.wav", s.outside / "left.wav"), ""),
    "deck a pipe": (
        lambda s: ((s.scene / "decks").mkdir(), os.mkfifo(s.scene / "decks/left.wav")), ""),
    "guide a link": (lambda s: s.link("decks/guide.wav", s.outside / "guide.wav"), ""),
    "sheet a link": (lambda s: s.link("decks/sheet.html", s.outside / "notes.json"), ""),
    "half-made a link": (making_link, ""),
    "a part a link": (link_a_part, ""),
    "foreign files": (foreign_files, ""),
    "map a link": (lambda s: s.link("routine.yaml", s.outside / "routine.yaml"), "leads out"),
    "takes a link": (lambda s: s.link("takes.sqlite", s.outside / "mine.sqlite"), "leads out"),
    "takes' log a link": (lambda s: s.link("takes.sqlite-wal", s.outside / "x.part"), "leads out"),
    "takes a pipe": (lambda s: os.mkfifo(s.scene / "takes.sqlite"), "a pipe"),
    "shelf a link": (lambda s: s.link("shelf.sqlite", s.outside / "mine.sqlite"), "leads out"),
    "shelf's log a link": (
        lambda s: s.link("shelf.sqlite-journal", s.outside / "x.part"), "leads out"),
}  # fmt: skip


@pytest.mark.parametrize("case", PLACES)
def test_what_stands_where_our_files_go_is_not_followed_out(street, told, case):
    make, says = PLACES[case]
    make(street)
    mine = {p: p.read_text() for p in street.scene.rglob("*") if p.is_file() and in_way(p, street)}
    street.unread()
    before = street.seen()
    status, said = told()
    assert street.seen() == before
    assert {p: p.read_text() for p in mine} == mine
    assert says in said
    assert "Traceback" not in said
    if says:
        assert 1 in status.values()
    else:
        assert status["render"] == 0


def in_way(path: Path, street: Street) -> bool:
    """Files in the scene that are not ours to delete."""
    return street.outside not in path.resolve().parents and path.read_bytes() == b"mine"


def test_what_the_performer_allows_is_read(street, told, allow):
    street.sound("../mine/bells.wav")
    allow("read", street.outside)
    status, said = told()
    assert status["check"] == status["render"] == 0, said
    assert (street.scene / "decks" / "left.wav").is_file()


def test_what_may_be_read_may_not_be_written(street, told, allow):
    street.link("decks", street.outside)
    allow("read", street.outside)
    before = set(street.seen())
    status, said = told()
    assert status["render"] == 1
    assert "`write:`" in said
    assert set(street.seen()) == before


def test_decks_may_lead_where_the_performer_allows(street, told, allow, tmp_path):
    (tmp_path / "stick").mkdir()
    street.link("decks", tmp_path / "stick")
    allow("write", tmp_path / "stick")
    status, said = told()
    assert status["render"] == 0, said
    assert (tmp_path / "stick" / "left.wav").is_file()
    opened = open_scene(street.scene / "routine.yaml")
    assert (opened.state, opened.playable().placed) == ("as rendered", True)


def test_a_mistake_in_the_settings_is_told_with_its_line(street, told, allow):
    street.sound("../mine/bells.wav")
    allow("raed", street.outside)
    _, said = told()
    assert "settings.yaml, line 1: raed" in said
    assert "did you mean read?" in said


def test_the_demo_follows_no_link_out(street, capfd):
    street.link("routine.yaml", street.outside / "routine.yaml")
    before = street.seen()
    with pytest.raises(SystemExit) as left:
        main(["demo", "--fast", "--into", str(street.scene)])
    assert left.value.code == 1
    assert "leads out" in capfd.readouterr().err
    assert street.seen() == before


def test_names_in_a_stranger_s_folder_cannot_steer_the_terminal(street, capfd):
    (street.scene / "sounds" / "a\x1b[2J\nb.wav").write_bytes(b"no sound")
    (street.scene / "sounds" / "c\x9b2J.wav").write_bytes(b"no sound")
    with pytest.raises(SystemExit):
        main(["gather", str(street.scene / "sounds"), "--shelf", str(street.scene / "s.sqlite")])
    heard = capfd.readouterr()
    assert "b.wav" in heard.out + heard.err
    assert not STEERS.search(heard.out + heard.err)
