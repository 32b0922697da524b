"""`liveaid check` and `liveaid arrange` as they are called: status, JSON, files, errors."""

from __future__ import annotations

import json
import wave

import pytest
from click.testing import CliRunner

from liveaid.routine import load_routine

PLAYABLE = """
title: Short Walk
limit: "0:40"
sounds:
  bells: {file: sounds/bells.wav, tempo: 120, licence: CC0-1.0}
pieces:
  - {name: In, part: intro, bars: 4, tempo: 120, energy: 2, left: {hand: runs, sound: bells}}
  - {name: Out, part: outro, bars: 4, tempo: 120, energy: 2, right: {hand: runs, sound: bells}}
"""
UNPLAYABLE = """
title: Torn
pieces:
  - {name: "[red]One", bars: 4, tempo: 120, left: {hand: runs, at: 0}}
  - {name: Two, bars: 4, tempo: 120, left: {hand: runs, at: 90}}
"""


def bells_of(seconds, folder):
    """A file of that length where the map looks for the bells."""
    (folder / "sounds").mkdir(exist_ok=True)
    with wave.open(str(folder / "sounds" / "bells.wav"), "wb") as sound:
        sound.setparams((1, 2, 8000, 0, "NONE", ""))
        sound.writeframes(bytes(2 * 8000 * seconds))


@pytest.fixture
def good(tmp_path):
    (tmp_path / "routine.yaml").write_text(PLAYABLE)
    bells_of(8, tmp_path)
    return tmp_path / "routine.yaml"


@pytest.fixture
def torn(tmp_path):
    (tmp_path / "torn.yaml").write_text(UNPLAYABLE)
    return tmp_path / "torn.yaml"


def test_check_leaves_with_0_where_nothing_is_impossible(liveaid, good):
    status, out, _ = liveaid("check", good)
    assert status == 0
    assert "0 errors" in out


def test_check_leaves_with_1_and_names_the_place_and_a_way_out(liveaid, torn):
    # 90 - 8 = 82 s = 45.6 turns with no time.
    status, out, _ = liveaid("check", torn)
    assert status == 1
    assert "2 Two, bar 1" in out
    assert "+45.6 turns" in " ".join(out.split())
    assert "→" in out
    assert "[red]One" in out


def test_check_as_json_holds_findings_changes_and_hands(liveaid, torn):
    status, out, _ = liveaid("check", torn, "--json")
    report = json.loads(out)
    assert status == 1
    [error] = [f for f in report["findings"] if f["severity"] == "error"]
    assert (error["piece"], error["bar"], error["side"]) == (1, 1, "left")
    assert report["changes"][-1]["turns"] == pytest.approx(45.5556)
    assert report["hands"][0]["left_hand"] == "releases left"
    assert report["total_s"] == 16.0


def test_check_fits_80_columns(liveaid, good, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    _, out, _ = liveaid("check", good, "--hands")
    assert max(map(len, out.splitlines())) <= 80


def test_check_draws_the_picture(liveaid, good, tmp_path):
    status, _, _ = liveaid("check", good, "--picture", tmp_path / "p.svg")
    assert status == 0
    assert (tmp_path / "p.svg").read_text().startswith("<?xml")


def test_check_reads_how_long_the_files_are(liveaid, good):
    # 4 bars at 120 BPM are 8 s; a sound of 6 s has 3 bars.
    bells_of(6, good.parent)
    status, out, _ = liveaid("check", good)
    assert status == 1
    assert "bells has 3.0 bars left" in " ".join(out.split())


def test_check_refuses_a_map_that_is_none(liveaid, tmp_path):
    status, _, err = liveaid("check", tmp_path / "nothing")
    assert status == 2
    assert "no section map there" in err


def test_arrange_says_what_may_move_when_nothing_is_marked(liveaid, good):
    status, out, _ = liveaid("arrange", good)
    assert status == 0
    assert "no set piece is marked" in out
    assert "the best there is" in out


def test_arrange_writes_a_map_that_loads_and_finds_its_sounds(liveaid, good, tmp_path, allow):
    (tmp_path / "new").mkdir()
    status, out, _ = liveaid("arrange", good, "--write", tmp_path / "new" / "map.yaml")
    assert status == 0
    assert "outside the scene's folder" in out
    allow("read", good.parent)
    new = load_routine(tmp_path / "new" / "map.yaml")
    assert [piece.name for piece in new.pieces] == ["In", "Out"]
    assert (tmp_path / "new" / new.sounds["bells"].file).resolve() == (
        good.parent / "sounds" / "bells.wav"
    )


def test_arrange_moves_only_what_it_is_told(liveaid, good):
    _, out, _ = liveaid("arrange", good, "--free", "Out", "--json")
    report = json.loads(out)
    assert len(report["answers"]) == 1
    assert report["exact"] is True


def test_arrange_counts_by_the_weights_it_is_given(liveaid, good):
    _, out, _ = liveaid("arrange", good, "--weight", "part_back=0", "--weight", "energy_per_step=0",
                    "--json")  # fmt: skip
    assert json.loads(out)["weights"]["part_back"] == 0
    status, _, err = liveaid("arrange", good, "--weight", "glitter=3")
    assert status == 2
    assert "glitter" in err


@pytest.mark.parametrize("wrong", [["--free", "Nowhere"], ["--weight", "tight"], ["--best", "0"]])
def test_arrange_refuses_what_cannot_be_meant(liveaid, good, wrong):
    assert liveaid("arrange", good, *wrong)[0] == 2


def test_arrange_says_what_hard_set_pieces_running_cost(liveaid, tmp_path):
    # A quarter turn in 0.125 s takes 0.89 of what a hand has: hard, twice running: 80 points.
    hard = (
        "{hand: works, from: 10, to: 13, acts: {0: push a for 1/4},"
        " places: {a: {from: 10, to: 10.45}}}"
    )
    pieces = [f"  - {{name: {n}, bars: 2, tempo: 120, right: {hard}}}" for n in ("One", "Two")]
    (tmp_path / "hard.yaml").write_text("\n".join(["title: Hard", "pieces:", *pieces]))
    status, out, err = liveaid("arrange", tmp_path / "hard.yaml")
    assert (status, err) == (0, "")
    (row,) = [line for line in out.splitlines() if "hard set pieces running" in line]
    assert row.split()[4] == "80"


@pytest.mark.parametrize("name", ["check", "arrange"])
def test_help_has_an_example(name):
    from liveaid.cli import liveaid

    assert f"Example: liveaid {name}" in CliRunner().invoke(liveaid, [name, "--help"]).output


OWN_DECKS = """title: Own
decks:
  left: {file: tape/left.wav}
  right: {file: tape/right.wav}
pieces:
  - {name: One, bars: 4, tempo: 120, left: {hand: runs, at: 0}}
"""


def test_a_deck_file_of_ones_own_that_is_not_there_is_told_by_its_line(liveaid, tmp_path):
    (tmp_path / "routine.yaml").write_text(OWN_DECKS)
    bells_of(20, tmp_path)
    (tmp_path / "tape").mkdir()
    (tmp_path / "sounds" / "bells.wav").rename(tmp_path / "tape" / "left.wav")
    status, out, _ = liveaid("check", tmp_path, "--json")
    (told,) = [one for one in json.loads(out)["findings"] if "tape" in one["says"]]
    assert told["severity"] == "warning"
    assert told["says"] == (
        "line 4: decks.right.file: found tape/right.wav, where there is no such file"
    )
    assert status == 0


def test_deck_files_that_the_map_does_not_name_may_lie_elsewhere(liveaid, tmp_path):
    title, _, _, _, *pieces = OWN_DECKS.splitlines()
    (tmp_path / "routine.yaml").write_text("\n".join([title, *pieces]))
    _, out, _ = liveaid("check", tmp_path, "--json")
    assert not [one for one in json.loads(out)["findings"] if "file" in one["says"]]
