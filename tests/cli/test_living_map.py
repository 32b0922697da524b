"""After an edit the commands answer from the edit, and say what is old."""

import json

import pytest

MAP = """\
title: Two Stalls
limit: "1:00"
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 1.0}}
  - {name: Two, bars: 2, tempo: 120, count: right, right: {hand: runs, at: 1.0}}
"""


@pytest.fixture
def scene(tmp_path):
    """A scene with a placed map as an older render left it, from before its last edit."""
    (tmp_path / "decks").mkdir()
    (tmp_path / "routine.yaml").write_text(MAP)
    (tmp_path / "decks" / "routine.yaml").write_text(MAP)
    return tmp_path


def test_check_after_an_edit_answers_from_the_edit(liveaid, scene):
    # 2 set pieces of 2 bars of 4 beats at 120 BPM: 8 s. The first made 4 bars long: 12 s.
    assert json.loads(liveaid("check", scene, "--json")[1])["total_s"] == 8.0
    (scene / "routine.yaml").write_text(MAP.replace("One, bars: 2", "One, bars: 4"))
    status, out, err = liveaid("check", scene, "--json")
    assert status == 0
    report = json.loads(out)
    assert report["total_s"] == 12.0
    assert report["map"]["state"] == "edited since"
    assert "edited since the render" in err


def test_check_of_a_broken_edit_tells_its_line_and_not_the_old_verdict(liveaid, scene):
    (scene / "routine.yaml").write_text(MAP.replace("Two, bars: 2", "Two, bars: many"))
    status, out, err = liveaid("check", scene)
    assert (status, out) == (1, "")
    assert "line 5: pieces[1].bars: found many" in err


@pytest.mark.parametrize("command", ["simulate", "review", "perform", "rehearse"])
def test_what_cannot_be_played_says_how_it_could(liveaid, tmp_path, command):
    (tmp_path / "routine.yaml").write_text(MAP.replace(", at: 1.0", ""))
    status, _, err = liveaid(command, tmp_path)
    if command == "review":
        assert "no takes kept yet" in err
        return
    assert status == 1
    assert f"`liveaid render {tmp_path}` first" in err


COMMENTED = """\
# mine
title: Two Stalls   # do not lose me
sounds: {bells: {file: "sounds/bells.wav",  kind: instrumental}}

pieces:
  # the way in
  - {name: Out, part: outro, bars: 2,   tempo: 120, energy: 1}   # last

  # the way out
  - name: In
    part: intro
    bars: 2
    tempo: 120   # steady
    energy: 3
"""


def test_arrange_writes_the_map_in_place_every_other_line_byte_for_byte(liveaid, scene):
    file = scene / "routine.yaml"
    (scene / "decks" / "routine.yaml").unlink()
    file.write_text(COMMENTED)
    status, out, _ = liveaid("arrange", scene, "--write", file)
    assert status == 0
    first, second = COMMENTED.index("  # the way in"), COMMENTED.index("\n  # the way out")
    head, out_piece, in_piece = COMMENTED[:first], COMMENTED[first:second], COMMENTED[second + 1 :]
    assert file.read_text() == head + in_piece + "\n" + out_piece
    assert (scene / "routine-old-1.yaml").read_text() == COMMENTED
    assert "routine-old-1.yaml" in out
    assert "anew" not in out


def test_arrange_that_changes_nothing_writes_nothing(liveaid, scene):
    file = scene / "routine.yaml"
    file.write_text(COMMENTED)
    liveaid("arrange", scene, "--write", file)
    liveaid("arrange", scene, "--write", file)
    assert sorted(path.name for path in scene.glob("routine*")) == [
        "routine-old-1.yaml", "routine.yaml",
    ]  # fmt: skip
