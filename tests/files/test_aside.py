"""A file comes into place whole or not at all."""

import pytest

from liveaid.files.aside import made_aside


def test_what_is_broken_off_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    target = tmp_path / "take.wav"
    target.write_bytes(b"old")

    def broken_off():
        with made_aside(target) as aside:
            aside.write_bytes(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        broken_off()
    assert [path.name for path in tmp_path.iterdir()] == ["take.wav"]
    assert target.read_bytes() == b"old"
    with made_aside(target, mode=0o600) as aside:
        aside.write_bytes(b"new")
    assert target.read_bytes() == b"new"
    assert target.stat().st_mode & 0o777 == 0o600


def test_what_broke_is_told_though_the_file_beside_is_gone_already(tmp_path):
    def broken_off():
        with made_aside(tmp_path / "take.wav") as aside:
            aside.unlink()
            raise ValueError("a cable")

    with pytest.raises(ValueError, match="a cable"):
        broken_off()
    assert list(tmp_path.iterdir()) == []
