"""A scene opened: how its written map stands to the placed one, and what is said of it."""

import pytest

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.routine.digest import map_digest
from liveaid.routine.load import read_routine
from liveaid.routine.opened import Opened, open_scene
from liveaid.routine.problems import Problem, RoutineError

MAP = """\
title: Market
sounds: {rain: {file: rain.wav}}
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs, sound: rain}}
"""
WRITTEN = read_routine(MAP.encode())
PLACED = read_routine(MAP.replace("sound: rain", "sound: rain, at: 1.0").encode())
FITS = read_routine(MAP.replace("sound: rain", "sound: rain, at: 2.0").encode())
BROKEN = RoutineError("routine.yaml", [Problem(3, "pieces", "none", "one would do")])


def opened(tmp_path, **more):
    return Opened(file=tmp_path / "routine.yaml", **{"written": WRITTEN} | more)


@pytest.mark.parametrize(
    ("more", "state"),
    [
        ({}, "not rendered"),
        ({"placed": PLACED}, "as rendered"),
        ({"placed": PLACED, "edits": ("one",)}, "edited since"),
        ({"placed": PLACED, "other_sounds": ("rain",)}, "edited since"),
        ({"placed": PLACED, "unknown": True}, "edited since"),
        ({"placed": PLACED, "broken": BROKEN, "written": None}, "broken"),
        ({"broken": BROKEN, "written": None}, "broken"),
    ],
)
def test_how_the_written_map_stands_to_the_placed_one(tmp_path, more, state):
    assert opened(tmp_path, **more).state == state


def test_what_is_judged_and_what_is_played(tmp_path):
    """The written map on the deck files where they hold it; else the one is judged as it is
    written, and the last good placed one is played."""
    file, decks = tmp_path / "routine.yaml", tmp_path / "decks" / "routine.yaml"
    bare = opened(tmp_path)
    assert (bare.judged, bare.judged_file, bare.playable_file) == (WRITTEN, file, file)
    with pytest.raises(
        LiveaidError, match="not every cue has its place on a deck; `liveaid render"
    ):
        bare.playable()
    old = opened(tmp_path, placed=PLACED, placed_file=decks)
    assert (old.judged, old.judged_file) == (WRITTEN, file)
    assert (old.playable(), old.playable_file) == (PLACED, decks)
    held = opened(tmp_path, placed=PLACED, placed_file=decks, fits=FITS)
    assert (held.judged, held.judged_file) == (FITS, decks)
    assert (held.playable(), held.playable_file) == (FITS, decks)
    alone = opened(tmp_path, placed=PLACED, fits=PLACED)
    assert (alone.judged, alone.judged_file) == (PLACED, file)
    broken = opened(tmp_path, written=None, broken=BROKEN)
    for ask in (broken.playable, lambda: broken.judged):
        with pytest.raises(RoutineError):
            ask()
    spare = opened(tmp_path, written=None, broken=BROKEN, placed=PLACED, placed_file=decks)
    assert spare.playable() == PLACED


RENDER = "`liveaid render {}` makes new ones."


def test_what_is_said_of_it(tmp_path):
    def said(**more):
        return opened(tmp_path, **more).says()

    assert said() == (f"Not rendered yet: `liveaid render {tmp_path}` makes the deck files.",)
    assert said(placed=PLACED) == ()
    line = str(BROKEN).splitlines()
    assert said(broken=BROKEN) == ("The section map cannot be read.", *line)
    assert said(broken=BROKEN, placed=PLACED) == (
        "The section map cannot be read; the last good one is used.", *line,
    )  # fmt: skip
    old = (
        "The section map was edited since the render; the deck files are the old ones, and so is"
        f" what is followed on stage. {RENDER.format(tmp_path)}"
    )
    holds = "The section map was edited since the render; the deck files hold it all."
    assert said(placed=PLACED, fits=FITS, edits=("one is new",)) == (holds, "One is new.")
    assert said(placed=PLACED, edits=("one is new",)) == (old, "One is new.")
    assert said(placed=PLACED, fits=FITS, other_sounds=("rain",)) == (
        old, "The file of rain has changed.",
    )  # fmt: skip
    assert said(placed=PLACED, unknown=True) == (
        old, "What changed is not known: an older render does not say.",
    )  # fmt: skip


@pytest.mark.parametrize(("edits", "lines", "last"), [(8, 9, "Edit 7."), (9, 10, "And 1 more.")])
def test_at_most_eight_edits_are_told_and_the_rest_counted(tmp_path, edits, lines, last):
    found = opened(
        tmp_path, placed=PLACED, fits=FITS, edits=tuple(f"edit {n}" for n in range(edits))
    ).to_json()
    assert found["state"] == "edited since"
    assert (len(found["says"]), found["says"][-1]) == (lines, last)


@pytest.fixture
def scene(tmp_path):
    """scene(written, placed=..., stamp=..., kept=...): the scene's files, opened."""

    def of(written=MAP, *, placed=None, stamp=None, kept=None, rain=b"rain"):
        (tmp_path / "decks").mkdir(exist_ok=True)
        (tmp_path / "rain.wav").write_bytes(rain)
        (tmp_path / "routine.yaml").write_text(written)
        if placed is not None:
            (tmp_path / "decks" / "routine.yaml").write_text(f"{stamp or ''}{placed}")
        if kept is not None:
            (tmp_path / "decks" / "written.yaml").write_text(kept)
        return open_scene(tmp_path / "routine.yaml")

    return of


PLACED_TEXT = MAP.replace("sound: rain", "sound: rain, at: 1.0").replace("rain.wav", "../rain.wav")
BELLS = MAP.replace("title: Market", "title: Bells").replace("tempo: 120", "tempo: 124")


def stamp(text, tmp_path, sound=b"rain"):
    file = tmp_path / "stamped.wav"
    file.write_bytes(sound)
    return (
        f"rendered: {{map: {map_digest(read_routine(text.encode()))},"
        f" sounds: {{rain: {content_hash(str(file))[0]}}}}}\n"
    )


def test_a_map_that_is_as_it_was_rendered(scene, tmp_path):
    found = scene(placed=PLACED_TEXT, stamp=stamp(MAP, tmp_path))
    assert found.state == "as rendered"
    assert found.fits.pieces[0].left.at_s == 1.0
    assert found.placed_file == tmp_path / "decks" / "routine.yaml"


def test_sounds_that_are_other_bytes_are_told_and_those_that_are_gone_are_not(scene, tmp_path):
    made = stamp(MAP, tmp_path)
    assert scene(placed=PLACED_TEXT, stamp=made, rain=b"hail").other_sounds == ("rain",)
    (tmp_path / "rain.wav").unlink()
    assert open_scene(tmp_path / "routine.yaml").other_sounds == ()


def test_what_changed_is_known_from_the_map_that_was_kept(scene, tmp_path):
    """Only the one that was rendered tells; another, or none, does not."""
    made = stamp(MAP, tmp_path)
    known = scene(BELLS, placed=PLACED_TEXT, stamp=made, kept=MAP)
    assert (known.state, known.unknown, len(known.edits) > 0) == ("edited since", False, True)
    for kept in (BELLS, "title: [", ""):
        lost = scene(BELLS, placed=PLACED_TEXT, stamp=made, kept=kept)
        assert (lost.state, lost.unknown, lost.edits, lost.fits) == ("edited since", True, (), None)
    (tmp_path / "decks" / "written.yaml").unlink()
    assert open_scene(tmp_path / "routine.yaml").unknown
    older = scene(MAP, placed=PLACED_TEXT, stamp="")
    assert (older.state, older.unknown) == ("edited since", True)


def test_without_a_placed_map_that_can_be_used_a_written_one_with_all_seconds_stands_alone(scene):
    assert scene().state == "not rendered"
    assert scene(placed="title: [").placed is None
    assert scene(placed=MAP.replace("rain.wav", "../rain.wav")).placed is None
    whole = scene(MAP.replace("sound: rain", "sound: rain, at: 1.0"))
    assert (whole.state, whole.playable()) == ("as rendered", whole.written)


def test_a_written_map_that_is_broken_leaves_the_placed_one(scene, tmp_path):
    found = scene("title: [", placed=PLACED_TEXT, stamp=stamp(MAP, tmp_path))
    assert (found.state, found.written) == ("broken", None)
    assert found.playable().pieces[0].left.at_s == 1.0


def test_a_placed_map_that_is_asked_for_itself_stands_alone(scene, tmp_path):
    scene(placed=PLACED_TEXT, stamp=stamp(MAP, tmp_path))
    found = open_scene(tmp_path / "decks" / "routine.yaml")
    assert (found.state, found.placed_file) == ("as rendered", None)
    assert found.file == tmp_path / "decks" / "routine.yaml"
