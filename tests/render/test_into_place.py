"""Files written aside and moved into place together."""

import os
import stat

import pytest

from liveaid.errors import LiveaidError
from liveaid.render.into_place import folder_aside, move_into_place, set_aside


def test_nothing_is_seen_until_everything_is_written(tmp_path):
    (tmp_path / "a").write_text("old")
    with folder_aside(tmp_path, ("a", "b")) as aside:
        (aside / "a").write_text("new")
        (aside / "b").write_text("new")
        assert (tmp_path / "a").read_text() == "old"
        assert not (tmp_path / "b").exists()
        move_into_place(aside, tmp_path, ("b", "a"))
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "new", "b": "new"}
    # Written for its owner, read by all.
    assert [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in "ab"] == [0o644, 0o644]


@pytest.mark.parametrize("error", [OSError(28, "no space"), KeyboardInterrupt()])
def test_whatever_stops_it_leaves_what_was_there_and_nothing_else(tmp_path, error):
    (tmp_path / "a").write_text("old")

    def stopped():
        with folder_aside(tmp_path, ("a", "b")) as aside:
            (aside / "a").write_text("half")
            raise error

    with pytest.raises(type(error)):
        stopped()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "old"}


def test_what_a_crash_left_is_cleared_and_what_is_under_way_is_not(tmp_path):
    old, crashed = tmp_path / ".making-old", tmp_path / ".making-2147483646-x"
    going = tmp_path / f".making-{os.getpid()}-x"
    for folder in (old, crashed, going):
        folder.mkdir()
        (folder / "deck.wav").write_text("half")
    os.utime(old, (1, 1))
    with folder_aside(tmp_path, ("deck.wav",)):
        pass
    assert not old.exists()
    assert going.exists()
    if os.name == "posix":
        assert not crashed.exists()


def test_only_files_by_the_names_given_are_ever_cleared(tmp_path):
    foreign = tmp_path / ".making-old"
    foreign.mkdir()
    for name in ("deck.wav", ".deck.wav.x7", "thesis.txt"):
        (foreign / name).write_text("mine")
    os.utime(foreign, (1, 1))
    with folder_aside(tmp_path, ("deck.wav",)):
        pass
    assert [path.name for path in foreign.iterdir()] == ["thesis.txt"]


def test_a_folder_that_cannot_be_made_is_said_clearly(tmp_path):
    (tmp_path / "decks").write_text("a file stands here")
    said = pytest.raises(LiveaidError, match=r"decks: found .*; a folder that can be written to")
    with said, folder_aside(tmp_path / "decks", ()):
        pass


def test_a_file_that_is_not_ours_gets_a_free_name(tmp_path):
    for number in range(2):
        (tmp_path / "left.wav").write_text(str(number))
        set_aside(tmp_path / "left.wav")
    names = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert names == {"left-kept-1.wav": "0", "left-kept-2.wav": "1"}
