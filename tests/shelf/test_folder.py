"""Walking folders that hold everything a stranger's drive can hold."""

from __future__ import annotations

import hashlib
import os
import socket
from pathlib import Path

import pytest

from liveaid.files.file_bytes import content_hash, still_is
from liveaid.files.names import plain_text, reads_back, shown
from liveaid.files.unreadable import Unreadable
from liveaid.shelf.folder import Entry, Passed, Trouble, below, walk


def entries(root: Path | str) -> list[str]:
    return [found.path for found in walk(str(root)) if isinstance(found, Entry)]


def troubles(root: Path | str) -> dict[str, str]:
    return {f.path: f.why for f in walk(str(root)) if isinstance(f, Trouble)}


def test_sounds_are_found_by_their_endings_and_other_files_passed(tmp_path: Path):
    for name in ("a.wav", "B.FLAC", "cover.jpg", ".hidden.wav", "inner/c.mp3", ".trash/d.wav"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    assert entries(tmp_path) == [str(tmp_path / n) for n in ("B.FLAC", "a.wav", "inner/c.mp3")]
    passed = [f.path for f in walk(str(tmp_path)) if isinstance(f, Passed)]
    assert passed == [str(tmp_path / n) for n in (".hidden.wav", "cover.jpg")]


def test_one_file_can_be_gathered_whatever_its_ending(tmp_path: Path):
    (tmp_path / "odd.name").write_bytes(b"x")
    assert entries(tmp_path / "odd.name") == [str(tmp_path / "odd.name")]


def test_what_is_no_file_is_named_and_never_opened(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "null.wav").symlink_to("/dev/null")
    (tmp_path / "nowhere.wav").symlink_to(tmp_path / "missing")
    (tmp_path / "self.wav").symlink_to(tmp_path / "self.wav")
    (tmp_path / "empty.wav").write_bytes(b"")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(tmp_path / "s.wav"))
        found = {os.path.basename(path): why for path, why in troubles(tmp_path).items()}
    assert found.pop("self.wav").startswith("cannot be looked at: ")
    assert found == {
        "pipe.wav": "a pipe, not a file",
        "null.wav": "a device, not a file",
        "nowhere.wav": "a link that leads nowhere",
        "empty.wav": "an empty file, 0 bytes",
        "s.wav": "a socket, not a file",
    }


def test_hashing_a_pipe_is_refused_at_once(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(Unreadable, match="a pipe, not a file"):
        content_hash(str(tmp_path / "pipe.wav"))


def test_a_circle_of_links_is_told_and_ends(tmp_path: Path):
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "a" / "b" / "x.wav").write_bytes(b"x")
    (tmp_path / "a" / "b" / "back").symlink_to(tmp_path / "a")
    assert entries(tmp_path) == [str(tmp_path / "a/b/x.wav")]
    assert troubles(tmp_path) == {
        str(tmp_path / "a/b/back"): f"a link in a circle, back to {tmp_path / 'a'}"
    }


def test_a_folder_reached_twice_is_entered_by_its_own_name(tmp_path: Path):
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "x.wav").write_bytes(b"x")
    (tmp_path / "a-link").symlink_to(tmp_path / "real")
    assert entries(tmp_path) == [str(tmp_path / "real/x.wav")]
    assert troubles(tmp_path) == {}


def test_a_linked_folder_elsewhere_is_followed(tmp_path: Path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "x.wav").write_bytes(b"x")
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "link").symlink_to(tmp_path / "out")
    assert entries(tmp_path / "in") == [str(tmp_path / "in/link/x.wav")]


def test_a_folder_that_cannot_be_read_is_one_line_and_hides_what_is_below(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Root reads everything, so the refusal is made here."""
    (tmp_path / "shut").mkdir()
    (tmp_path / "x.wav").write_bytes(b"x")
    scan = os.scandir

    def refusing(path: str):
        if path.endswith("shut"):
            raise PermissionError(13, "Permission denied")
        return scan(path)

    monkeypatch.setattr(os, "scandir", refusing)
    found = [f for f in walk(str(tmp_path)) if isinstance(f, Trouble)]
    assert [(f.why, f.out_of_sight) for f in found] == [
        ("this folder cannot be read: permission denied", True)
    ]
    assert entries(tmp_path) == [str(tmp_path / "x.wav")]


def test_names_that_are_no_text_are_walked_and_shown_harmlessly(tmp_path: Path):
    raw = os.path.join(os.fsencode(tmp_path), b"caf\xe9\x1b[31m\n.wav")
    with open(raw, "wb") as stream:
        stream.write(b"x")
    (tmp_path / "ночь.wav").write_bytes(b"x")
    names = [shown(os.path.basename(path)) for path in entries(tmp_path)]
    assert names == ["caf\\xe9\\x1b[31m\\n.wav", "ночь.wav"]
    assert [reads_back(path) for path in entries(tmp_path)] == [False, True]
    assert plain_text("a\udce9\n b ") == "a� b"


# RFC 7693 (BLAKE2), Appendix A gives BLAKE2b-512 of "abc"; a 20-byte digest has its own parameter
# block, so hashlib's reference implementation is asked for that one directly.
def test_the_hash_is_of_the_bytes_alone(tmp_path: Path):
    for name in ("a.wav", "b.wav"):
        (tmp_path / name).write_bytes(b"abc")
    one, two = (content_hash(str(tmp_path / name))[0] for name in ("a.wav", "b.wav"))
    assert one == two == hashlib.blake2b(b"abc", digest_size=20).hexdigest()


def test_a_file_changed_a_moment_ago_has_not_settled(tmp_path: Path):
    file = tmp_path / "a.wav"
    file.write_bytes(b"abc")
    at_ns = file.stat().st_mtime_ns
    early = content_hash(str(file), clock_ns=lambda: at_ns + 1_000_000_000)[1]
    late = content_hash(str(file), clock_ns=lambda: at_ns + 3_000_000_000)[1]
    assert (early.settled, late.settled) == (False, True)


def test_a_file_written_to_meanwhile_is_noticed(tmp_path: Path):
    file = tmp_path / "a.wav"
    file.write_bytes(b"abc")
    signature = content_hash(str(file))[1]
    assert still_is(str(file), signature)
    file.write_bytes(b"abcd")
    assert not still_is(str(file), signature)
    file.unlink()
    assert not still_is(str(file), signature)


@pytest.mark.parametrize(
    ("path", "folder", "is_below"),
    [("/a/b", "/a", True), ("/a", "/a", True), ("/ab", "/a", False), ("/x", "/", True)],
)
def test_below_goes_by_whole_names(path: str, folder: str, is_below: bool):
    assert below(path, folder) == is_below
