"""One living map: what an edit changes, what the deck files still hold, and how it is said."""

import shutil

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from liveaid.errors import LiveaidError
from liveaid.render.render import render_scene
from liveaid.routine import RoutineError, load_routine
from liveaid.routine.carry import carried
from liveaid.routine.digest import map_digest, piece_digest
from liveaid.routine.edits import edits
from liveaid.routine.load import read_routine
from liveaid.routine.opened import open_scene

MAP = """\
title: Tide Table   # a comment
sounds:
  surf: {file: sounds/surf.wav, kind: instrumental, tempo: 120, first_beat: 0, key: A minor}
  gull: {file: sounds/gull.wav, kind: sample, first_beat: 0, key: A minor}
pieces:
  - {name: Ebb, bars: 2, tempo: 120, count: left, left: {hand: runs, sound: surf}}
  - name: Gulls
    bars: 2
    tempo: 120
    count: left
    left: {hand: runs, sound: surf, bars_in: 2}
    right: {hand: works, sound: gull}
  - {name: Flood, bars: 2, tempo: 120, count: right, right: {hand: runs, sound: surf}}
"""


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tide")
    (folder / "sounds").mkdir()
    (folder / "routine.yaml").write_text(MAP)
    noise = np.random.default_rng(1).standard_normal(20 * 8000) * 0.1
    soundfile.write(folder / "sounds/surf.wav", noise, 8000)
    soundfile.write(folder / "sounds/gull.wav", noise[:8000], 8000)
    render_scene(folder / "routine.yaml")
    return folder


@pytest.fixture
def scene(rendered, tmp_path):
    return shutil.copytree(rendered, tmp_path / "tide")


@pytest.fixture
def edited(scene):
    """edited(old, new, ...): the scene opened after these replacements in its map."""

    def edit(*pairs):
        text = (scene / "routine.yaml").read_text()
        for old, new in pairs:
            assert old in text
            text = text.replace(old, new, 1)
        (scene / "routine.yaml").write_text(text)
        return open_scene(scene / "routine.yaml")

    return edit


def routine_of(text):
    return read_routine(text.encode())


def told(*pairs):
    text = MAP
    for old, new in pairs:
        text = text.replace(old, new, 1)
    return [str(edit) for edit in edits(routine_of(MAP), routine_of(text))]


def test_a_sound_under_another_name_is_one_edit_and_lies_where_it_did(edited):
    names = [("surf: {", "swell: {"), *[("sound: surf", "sound: swell")] * 3]
    assert told(*names) == ["sound swell: name was surf, now swell"]
    found = edited(*names)
    assert found.says() == (
        "The section map was edited since the render; the deck files hold it all.",
        "Sound swell: name was surf, now swell.",
    )
    assert found.playable().pieces[2].right.sound == "swell"
    assert [p.left.at_s for p in found.playable().pieces[:2]] == [
        p.left.at_s for p in found.placed.pieces[:2]
    ]


def test_a_new_sound_and_one_that_is_gone_are_one_line_each():
    gull = "  gull: {file: sounds/gull.wav, kind: sample, first_beat: 0, key: A minor}\n"
    other = "  tern: {file: sounds/tern.wav, kind: sample}\n"
    assert told((gull, other), ("sound: gull", "sound: tern")) == [
        "sound tern is new",
        "sound gull is gone",
        "set piece 2 Gulls: right.sound was gull, now tern",
    ]


def test_a_map_as_rendered_says_nothing_and_is_judged_with_its_seconds(edited):
    found = edited()
    assert (found.state, found.says()) == ("as rendered", ())
    assert found.judged.placed
    assert found.judged == found.placed.model_copy(update={"sounds": found.judged.sounds})


def test_comments_and_the_order_of_fields_are_no_edit(edited):
    found = edited(
        ("# a comment", "# another\n# and more"), ("bars: 2, tempo: 120", "tempo: 120, bars: 2")
    )
    assert found.state == "as rendered"


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([("energy", "energy")], []),
        ([("    tempo: 120", "    tempo: 126")], ["set piece 2 Gulls: tempo was 120, now 126"]),
        ([("bars_in: 2", "bars_in: 4")], ["set piece 2 Gulls: left.bars_in was 2, now 4"]),
        ([("name: Gulls", "name: Terns")], ["set piece 2 Terns: name was Gulls, now Terns"]),
        ([("Tide Table", "High Water")], ["title was Tide Table, now High Water"]),
        ([("kind: sample", "kind: effect")], ["sounds.gull.kind was sample, now effect"]),
        ([("Ebb, bars: 2", "Ebb, energy: 4, bars: 2")],
         ["set piece 1 Ebb: energy was 3, now 4"]),
        ([("Ebb, bars: 2", "Ebb, prompt: slowly, bars: 2")],
         ["set piece 1 Ebb: prompt is now slowly"]),
        ([("right: {hand: works, sound: gull}", "right: {hand: rests}")],
         ["set piece 2 Gulls: right.hand was works, now rests",
          "set piece 2 Gulls: right.sound was gull, now nothing",
          "set piece 2 Gulls: right.bars_in was 0, now nothing"]),
    ],
)  # fmt: skip
def test_an_edit_is_told_by_set_piece_and_field(pairs, says):
    assert told(*pairs) == says


def test_new_gone_and_moved_set_pieces_are_told():
    ebb, rest = MAP.split("  - name: Gulls")
    first = ebb[ebb.index("  - {name: Ebb") :]
    moved = ebb[: ebb.index("  - {name: Ebb")] + "  - name: Gulls" + rest + first
    assert [str(e) for e in edits(routine_of(MAP), routine_of(moved))] == [
        "set piece 3 Ebb was number 1"
    ]
    gone = ebb[: ebb.index("  - {name: Ebb")] + "  - name: Gulls" + rest
    assert [str(e) for e in edits(routine_of(MAP), routine_of(gone))] == ["set piece 1 Ebb is gone"]
    assert [str(e) for e in edits(routine_of(gone), routine_of(MAP))] == ["set piece 1 Ebb is new"]


def test_a_renamed_set_piece_keeps_its_digest_and_a_changed_one_does_not():
    before = routine_of(MAP)
    renamed = routine_of(MAP.replace("name: Gulls", "name: Terns"))
    busier = routine_of(MAP.replace("sound: gull}", "sound: gull, strokes: [0, 2]}"))
    assert piece_digest(renamed, 1) == piece_digest(before, 1)
    assert piece_digest(busier, 1) != piece_digest(before, 1)
    assert piece_digest(busier, 0) == piece_digest(before, 0)
    assert map_digest(renamed) != map_digest(before)


def test_a_set_piece_keeps_its_digest_when_it_is_placed(scene):
    written = load_routine(scene / "routine.yaml")
    placed = load_routine(scene / "decks/routine.yaml")
    for index in range(3):
        assert piece_digest(placed, index) == piece_digest(written, index)


@pytest.mark.parametrize(
    "pairs",
    [
        [("name: Gulls", "name: Terns")],
        [("Ebb, bars: 2", "Ebb, energy: 5, prompt: slowly, bars: 2")],
        [("sound: gull}", "sound: gull, strokes: [0, 2]}")],
        [("Ebb, bars: 2", "Ebb, bars: 1")],
        [("right: {hand: works, sound: gull}", "right: {hand: rests}")],
        [("Tide Table", "High Water"), ("tempo: 120, first_beat: 0, key: A minor",
                                        "tempo: 120, first_beat: 0, key: C major")],
    ],
)  # fmt: skip
def test_an_edit_that_needs_no_new_sound_is_on_the_deck_files(edited, scene, pairs):
    found = edited(*pairs)
    before = load_routine(scene / "decks/routine.yaml")
    assert found.state == "edited since"
    assert found.fits.placed
    assert found.fits.pieces[0].left.at_s == before.pieces[0].left.at_s
    assert found.playable() == found.judged == found.fits
    assert "the deck files hold it all" in found.says()[0]


def test_the_order_may_change_without_a_new_render(edited, scene):
    before = load_routine(scene / "decks/routine.yaml")
    found = edited(
        ("name: Ebb", "name: X"), ("name: Flood", "name: Ebb"), ("name: X", "name: Flood")
    )
    # Each is known by its name, and lies where what it plays now was rendered.
    assert found.fits.pieces[0].left.at_s == before.pieces[0].left.at_s
    assert found.fits.pieces[2].right.at_s == before.pieces[2].right.at_s


@pytest.mark.parametrize(
    "pairs",
    [
        [("    tempo: 120", "    tempo: 126")],
        [("bars_in: 2", "bars_in: 4")],
        [("Ebb, bars: 2", "Ebb, bars: 3")],
        [("kind: instrumental, tempo: 120", "kind: instrumental, tempo: 118")],
        [("left: {hand: runs, sound: surf}}", "right: {hand: runs, sound: surf}}"),
         ("count: left", "count: right")],
        [("title:", "metre: 3\ntitle:")],
        [("title:", "turntable: {rpm: 45}\ntitle:")],
    ],
)  # fmt: skip
def test_an_edit_that_needs_new_sound_is_judged_as_written_and_played_as_rendered(edited, pairs):
    found = edited(*pairs)
    if pairs[0][0].startswith("left"):
        # Ebb's bars of the surf are on the right deck too, for Flood.
        assert found.fits.pieces[0].right.at_s == found.placed.pieces[2].right.at_s
        return
    assert found.fits is None
    assert not found.judged.placed
    assert found.judged == found.written
    assert found.playable() == found.placed
    assert "the deck files are the old ones, and so is what is followed on" in found.says()[0]


def test_a_sound_with_other_bytes_is_said(edited, scene):
    soundfile.write(scene / "sounds/gull.wav", np.zeros(8000), 8000)
    found = edited()
    assert found.state == "edited since"
    assert "The file of gull has changed." in found.says()


def test_a_broken_edit_leaves_the_last_good_map_and_tells_its_line(edited):
    found = edited(("    tempo: 120", "    tempo: fast"))
    assert found.state == "broken"
    assert found.playable() == found.placed
    assert any("line 9: pieces[1].tempo: found fast" in line for line in found.says())
    with pytest.raises(RoutineError):
        _ = found.judged


def test_what_was_never_rendered_says_the_way_out(edited, scene):
    shutil.rmtree(scene / "decks")
    found = edited()
    assert found.state == "not rendered"
    assert f"`liveaid render {scene}`" in found.says()[0]
    with pytest.raises(LiveaidError, match="not every cue has its place"):
        found.playable()


def test_a_map_with_every_second_of_its_own_needs_no_render(tmp_path, routines):
    shutil.copy(routines / "three.yaml", tmp_path / "routine.yaml")
    found = open_scene(tmp_path / "routine.yaml")
    assert (found.state, found.says()) == ("as rendered", ())
    assert found.playable() == found.written


def test_an_older_render_that_does_not_say_what_it_was_made_from_is_not_trusted(edited, scene):
    placed = (scene / "decks/routine.yaml").read_text()
    (scene / "decks/routine.yaml").write_text(placed[: placed.index("rendered:")]
                                              + placed[placed.index("pieces:") :])  # fmt: skip
    found = edited()
    assert found.state == "edited since"
    assert "What changed is not known" in found.says()[-1]


def test_a_spoiled_copy_of_the_rendered_map_is_not_believed(edited, scene):
    (scene / "decks/written.yaml").write_text(MAP.replace("bars_in: 2", "bars_in: 4"))
    found = edited(("bars_in: 2", "bars_in: 4"))
    assert found.unknown
    assert found.fits is None


@given(
    st.permutations(range(3)), st.lists(st.sampled_from(["energy", "prompt", "name"]), max_size=3)
)
def test_any_order_and_any_silent_edit_is_carried_to_the_same_seconds(order, fields):
    then = routine_of(MAP)
    seconds = [{"left": 10.0}, {"left": 14.0, "right": 3.0}, {"right": 50.0}]
    placed = then.model_copy(update={"pieces": tuple(
        piece.model_copy(update={
            side: piece.plan(side).model_copy(update=(
                {"at_s": at} if piece.plan(side).hand == "runs" else {"from_s": at, "to_s": at + 1}
            ))
            for side, at in seconds[index].items()
        })
        for index, piece in enumerate(then.pieces)
    )})  # fmt: skip
    new = {"energy": 5, "prompt": "now", "name": "Another"}
    pieces = [then.pieces[old] for old in order]
    for step, field in enumerate(fields):
        pieces[step] = pieces[step].model_copy(update={field: new[field]})
    found = carried(then.model_copy(update={"pieces": tuple(pieces)}), then, placed)
    assert found is not None
    for index, old in enumerate(order):
        for side in ("left", "right"):
            assert found.pieces[index].plan(side).cue_s == placed.pieces[old].plan(side).cue_s
