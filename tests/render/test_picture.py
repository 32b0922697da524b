"""The picture of a routine: written whole, the same each time, with all that check found in it."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from liveaid.errors import LiveaidError, UsageError
from liveaid.render.picture import draw_picture, picture
from liveaid.routine import load_routine
from liveaid.routine.check import check


@pytest.fixture(scope="module")
def routine(routines):
    return load_routine(routines / "four.yaml")


def test_png_has_its_signature_and_is_not_blank(routine, tmp_path):
    # W3C PNG specification, section 5.2: the eight bytes a PNG file starts with.
    draw_picture(routine, tmp_path / "r.png")
    assert (tmp_path / "r.png").read_bytes()[:8] == bytes([137, 80, 78, 71, 13, 10, 26, 10])


def test_svg_is_well_formed_and_names_every_set_piece_and_finding(routine, tmp_path):
    findings = check(routine)
    draw_picture(routine, tmp_path / "r.svg", findings=findings)
    root = ElementTree.parse(tmp_path / "r.svg").getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    text = " ".join("".join(root.itertext()).split())
    for piece in routine.pieces:
        for word in piece.name.split():
            assert word in text
    for finding in findings:
        if finding.severity == "error":
            assert f"error: {finding.name}" in text
    for hand in ("left hand", "right hand", "energy", "left record", "right record"):
        assert hand in text


def test_the_same_routine_gives_the_same_file(routine, tmp_path):
    for name in ("a.svg", "b.svg"):
        draw_picture(routine, tmp_path / name, findings=check(routine))
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_worked_spans_and_resting_hands_differ_in_grey(routine):
    """Without colour a worked record, a crossfader and a free hand are still told apart."""
    figure = picture(routine)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[..., :3].astype(float)
    grey = pixels @ [0.2126, 0.7152, 0.0722]
    hands = next(axes for axes in figure.axes if axes.get_yticks().tolist() == [1.5, 0.5])

    def ink(seconds, row):
        """Share of a small window of the hands' rows that is dark."""
        x, y = hands.transData.transform((seconds, row))
        height = grey.shape[0]
        window = grey[height - int(y) - 8 : height - int(y) + 8, int(x) - 12 : int(x) + 12]
        return (window < 200).mean()

    # First hawker, 30 s in: right hand works, left at the crossfader; 10 s in both are free.
    worked, fader, free = ink(30, 0.5), ink(30, 1.5), ink(10, 0.5)
    assert worked > 0.9
    assert 0.02 < fader < 0.6
    assert free == 0.0


def test_a_map_without_seconds_is_drawn_as_not_placed(routine, tmp_path):
    bare = routine.model_copy(
        update={
            "pieces": tuple(
                piece.model_copy(
                    update={"left": piece.right.__class__(), "right": piece.right.__class__(),
                            "count": "clock"}
                )
                for piece in routine.pieces
            )
        }
    )  # fmt: skip
    draw_picture(bare, tmp_path / "r.svg")
    whole = "".join(ElementTree.parse(tmp_path / "r.svg").getroot().itertext())
    assert "not placed" in whole


def test_names_are_drawn_as_they_are_written(routine, tmp_path):
    odd = routine.pieces[0].model_copy(update={"name": "$x_1$ & <b>"})
    draw_picture(routine.model_copy(update={"pieces": (odd,)}), tmp_path / "r.svg")
    whole = "".join(ElementTree.parse(tmp_path / "r.svg").getroot().itertext())
    assert "$x_1$ & <b>" in " ".join(whole.split())


@pytest.mark.parametrize("placed", [True, False])
def test_boxes_stand_for_worked_records_and_lines_for_running_ones(routine, placed):
    if not placed:
        bare = {"at_s": None, "from_s": None, "to_s": None, "own_cue_s": None}
        pieces = tuple(
            piece.model_copy(
                update={side: piece.plan(side).model_copy(update={
                    name: None for name in bare if name in type(piece.plan(side)).model_fields})
                    for side in ("left", "right")}
            )
            for piece in routine.pieces
        )  # fmt: skip
        routine = routine.model_copy(update={"pieces": pieces})
    figure = picture(routine)
    for side in ("left", "right"):
        axes = next(a for a in figure.axes if a.get_ylabel().startswith(f"{side} record"))
        hands = [piece.plan(side).hand for piece in routine.pieces]
        assert len(axes.patches) == hands.count("works")
        thick = [line for line in axes.lines if line.get_linewidth() > 3]
        assert len(thick) == hands.count("runs")


def test_other_endings_are_refused(routine, tmp_path):
    with pytest.raises(UsageError, match=r"\.svg or \.png"):
        draw_picture(routine, tmp_path / "r.gif")


def test_a_picture_that_cannot_be_written_leaves_nothing_behind(routine, tmp_path):
    target = tmp_path / "there.png"
    target.mkdir()
    with pytest.raises(LiveaidError, match="could not be written"):
        draw_picture(routine, target)
    assert sorted(tmp_path.iterdir()) == [target]
