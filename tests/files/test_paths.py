"""Files as other rooms get them: written whole, told apart, named harmlessly, never led astray."""

from __future__ import annotations

import hashlib
import os
import stat
from types import SimpleNamespace

import pytest

from liveaid.errors import LiveaidError
from liveaid.files import folders
from liveaid.files.aside import write_aside, write_keeping_old
from liveaid.files.file_bytes import content_hash, signature_of, still_is
from liveaid.files.harmless import harmless
from liveaid.files.inside import Stray, followed, is_below, is_plain, odd_name, plain_file
from liveaid.files.names import plain_text, reads_back, shown, stem
from liveaid.files.unreadable import Unreadable

SECOND_NS = 10**9


def test_a_file_is_put_in_place_whole_with_its_folder_and_for_all_to_read(tmp_path):
    target = tmp_path / "new" / "map.yaml"
    write_aside(target, b"one")
    write_aside(target, b"two")
    assert target.read_bytes() == b"two"
    assert stat.S_IMODE(target.stat().st_mode) == 0o644
    assert os.listdir(target.parent) == ["map.yaml"]
    write_aside(target, b"three", mode=0o600)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_a_link_is_replaced_and_a_failed_write_leaves_nothing(tmp_path):
    theirs, link = tmp_path / "theirs", tmp_path / "ours"
    theirs.write_bytes(b"theirs")
    link.symlink_to(theirs)
    write_aside(link, b"ours")
    assert (theirs.read_bytes(), link.read_bytes()) == (b"theirs", b"ours")
    (tmp_path / "folder").mkdir()
    with pytest.raises(OSError, match="folder"):
        write_aside(tmp_path / "folder", b"x")
    assert sorted(os.listdir(tmp_path)) == ["folder", "ours", "theirs"]


def test_the_longest_name_a_folder_takes_is_written_too(tmp_path):
    # NAME_MAX is 255 bytes (ext4, APFS); the name aside must not be longer.
    write_aside(tmp_path / ("n" * 255), b"x")
    assert os.listdir(tmp_path) == ["n" * 255]


def test_a_file_is_known_by_160_bits_of_blake2b(tmp_path):
    # RFC 7693, by Python's own hashlib.
    file = tmp_path / "a"
    file.write_bytes(b"abc")
    digest, signature = content_hash(str(file))
    assert digest == hashlib.blake2b(b"abc", digest_size=20).hexdigest()
    assert len(digest) == 40
    assert signature.size == 3


def test_a_file_settles_two_seconds_after_its_last_change(tmp_path):
    # FAT keeps times to two seconds.
    file = tmp_path / "a"
    file.write_bytes(b"abc")
    os.utime(file, ns=(0, 100 * SECOND_NS))
    for now_s, settled in [(101.9, False), (102.0, False), (102.1, True)]:
        now_ns = round(now_s * SECOND_NS)
        assert signature_of(os.stat(file), now_ns=now_ns).settled is settled
        assert content_hash(str(file), clock_ns=lambda now=now_ns: now)[1].settled is settled


def test_inode_and_device_fit_a_signed_column():
    """SQLite keeps 64 signed bits: 2^63 + 5 would not fit, its low 63 bits are 5."""
    status = SimpleNamespace(st_size=1, st_mtime_ns=0, st_ino=2**63 + 5, st_dev=2**63 + 7)
    signature = signature_of(status, now_ns=0)
    assert (signature.inode, signature.device) == (5, 7)


def test_a_file_written_to_since_is_not_the_same(tmp_path):
    file = tmp_path / "a"
    file.write_bytes(b"abc")
    signature = content_hash(str(file))[1]
    assert still_is(str(file), signature)
    os.utime(file, ns=(0, signature.mtime_ns + 1))
    assert not still_is(str(file), signature)
    file.write_bytes(b"abcd")
    os.utime(file, ns=(0, signature.mtime_ns))
    assert not still_is(str(file), signature)
    file.unlink()
    assert not still_is(str(file), signature)


def test_only_plain_files_are_hashed_and_the_rest_is_named(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path, what in [
        (tmp_path / "pipe", "a pipe, not a file"),
        (tmp_path, "a folder, not a file"),
        ("/dev/null", "a device, not a file"),
        (tmp_path / "none", "cannot be opened: no such file or directory"),
    ]:
        with pytest.raises(Unreadable) as error:
            content_hash(str(path))
        assert str(error.value) == what


@pytest.mark.parametrize(
    ("name", "odd"),
    [
        ("a.wav", ""),
        ("", "a name of nothing but blanks"),
        (" \t", "a name of nothing but blanks"),
        ("a\nb", "a name with control characters"),
        ("a\x1b[2Jb", "a name with control characters"),
        ("n" * 255, ""),
        ("n" * 256, "a name of 256 bytes"),
        # Two bytes a letter in UTF-8 (RFC 3629): 128 of them are 256 bytes.
        ("short/" + "ü" * 128 + "/short", "a name of 256 bytes"),
        ("/".join("n" * 100 for _ in range(9)), ""),
    ],
)
def test_what_is_odd_about_a_name(name, odd):
    assert odd_name(name) == odd


def test_a_name_is_followed_to_its_end_and_no_farther_than_allowed(tmp_path):
    scene, outside = tmp_path / "scene", tmp_path / "outside"
    scene.mkdir()
    outside.mkdir()
    (scene / "out").symlink_to(outside)
    assert followed("a.wav", scene, [scene]) == scene / "a.wav"
    assert followed("../outside/a.wav", scene, [scene, outside]) == outside / "a.wav"
    with pytest.raises(Stray) as error:
        followed("../outside/a.wav", scene, [scene])
    assert error.value.outside
    assert error.value.found == f"{outside}/a.wav, outside the scene's folder"
    with pytest.raises(Stray) as error:
        followed("out/a.wav", scene, [scene])
    assert error.value.outside
    assert error.value.found == (
        f"{scene}/out/a.wav, which leads out of the scene's folder, to {outside}/a.wav"
    )
    with pytest.raises(Stray) as error:
        followed(" ", scene, [scene])
    assert not error.value.outside


def test_a_folder_is_below_itself_and_a_namesake_beside_it_is_not(tmp_path):
    assert is_below(tmp_path, tmp_path)
    assert is_below(tmp_path / "a" / "b", tmp_path)
    assert not is_below(tmp_path.with_name(tmp_path.name + "2") / "a", tmp_path)
    assert not is_below(tmp_path.parent, tmp_path)


def test_only_plain_files_are_opened(tmp_path):
    (tmp_path / "a").write_bytes(b"")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "round").symlink_to("round")
    assert plain_file("a", tmp_path, [tmp_path]) == tmp_path / "a"
    assert plain_file("to come", tmp_path, [tmp_path]) == tmp_path / "to come"
    for name, why in [("pipe", "a pipe"), (".", "a folder"), ("round", "a link in a circle")]:
        with pytest.raises(Stray, match=why):
            plain_file(name, tmp_path, [tmp_path])
    (tmp_path / "link").symlink_to("a")
    plain = {name: is_plain(tmp_path / name) for name in ("a", "link", "pipe", "none")}
    assert plain == {"a": True, "link": False, "pipe": False, "none": False}


def test_the_old_file_is_kept_under_the_first_free_number(tmp_path):
    target = tmp_path / "set.yaml"
    assert write_keeping_old(target, b"one") is None
    assert write_keeping_old(target, b"one") is None
    assert write_keeping_old(target, b"two") == tmp_path / "set-old-1.yaml"
    assert write_keeping_old(target, b"three") == tmp_path / "set-old-2.yaml"
    kept = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert kept == {"set.yaml": b"three", "set-old-1.yaml": b"one", "set-old-2.yaml": b"two"}


def test_a_place_that_cannot_be_written_is_told_with_the_systems_reason(tmp_path):
    (tmp_path / "set.yaml").mkdir()
    with pytest.raises(LiveaidError) as error:
        write_keeping_old(tmp_path / "set.yaml", b"x")
    assert str(error.value) == (
        f"{tmp_path}/set.yaml: found is a directory; a file that can be written would do"
    )


def test_a_name_is_shown_on_one_harmless_line_and_told_when_it_is_not_itself():
    assert shown(b"b\xe9ll\n.wav") == "b\\xe9ll\\n.wav"
    assert reads_back("läuten.wav")
    assert not reads_back("a\nb")
    assert stem("/market/first rain.take.wav") == "first rain.take"
    # A byte that is no UTF-8 becomes the replacement character (Unicode 3.9).
    assert plain_text("  first\n rain \udce9 ") == "first rain \ufffd"


def test_nothing_steers_a_terminal():
    # ECMA-48: C0 and C1; UAX #9: direction overrides. Tab and line feed are text.
    assert harmless("a\tb\n\x1b[2J\x9b\u202e\u2028") == "a\tb\n\\x1b[2J\\x9b\\u202e\\u2028"
    assert harmless("a\tb\n", lines=False) == "a\\tb\\n"


def test_what_comes_along_lies_in_the_package_or_beside_it(tmp_path, monkeypatch):
    monkeypatch.setattr(folders, "_PACKAGE", tmp_path / "liveaid")
    assert folders.shipped("configs") == tmp_path / "configs"
    (tmp_path / "liveaid" / "configs").mkdir(parents=True)
    assert folders.shipped("configs") == tmp_path / "liveaid" / "configs"
