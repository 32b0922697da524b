"""The picture of a routine: written whole, the same each time, with all that check found in it."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Annotation, Text

from liveaid.errors import LiveaidError, UsageError
from liveaid.render.picture import draw_picture, picture
from liveaid.routine import Routine, load_routine
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


@pytest.fixture(scope="module")
def drawn(routine):
    """The picture with all that check found, drawn once, and the canvas it is on."""
    figure = picture(routine, findings=check(routine))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return figure, canvas


def test_every_word_stands_inside_the_picture_and_every_panel_can_be_seen(drawn):
    """A twentieth of the picture is half an inch; each mark stands by its set piece: one beside the
    other, 15 points apart, and none of this map has more than two."""
    figure, canvas = drawn
    width, height = canvas.get_width_height()
    for text in (*figure.texts, *(text for axes in figure.axes for text in axes.texts)):
        box = text.get_window_extent()
        assert -1 <= box.x0 <= box.x1 <= width + 1, text
        assert -1 <= box.y0 <= box.y1 <= height + 1, text
    assert all(axes.get_position().height > 0.05 for axes in figure.axes)
    marks = figure.axes[0].findobj(Annotation)
    assert marks
    for mark in marks:
        box = mark.get_window_extent()
        at = figure.axes[0].transData.transform(mark.xy)
        off = (np.array([box.x0 + box.x1, box.y0 + box.y1]) / 2 - at) * 72 / figure.dpi
        assert 0.0 < off[0] < 22.0
        assert 0.0 < off[1] < 12.0


def test_worked_spans_and_resting_hands_differ_in_grey(drawn):
    """Without colour a worked record, a crossfader and a free hand are still told apart."""
    figure, canvas = drawn
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


def _axes(figure, label):
    return next(axes for axes in figure.axes if axes.get_ylabel().startswith(label))


def test_a_running_record_is_a_line_in_turns_and_a_worked_one_a_box_about_its_span(routine):
    """four.yaml at 33 1/3 rpm, 1.8 s a turn. First hawker's left runs from 22.6696 s, 12.594 turns,
    for 8 bars at 92: 32 * 60 / 92 = 20.8696 s, to 43.5392 s, 24.188 turns; it begins after 8 such
    bars. Its right is worked from 1.8 to 3.1043 s, 1 to 1.7246 turns: less than 2.5 turns high, so
    drawn 2.5 high about 1.3623."""
    figure = picture(routine)
    left, right = (_axes(figure, f"{side} record") for side in ("left", "right"))
    runs = [line.get_xydata() for line in left.lines if line.get_linewidth() > 3]
    assert runs[1] == pytest.approx(np.array([[20.8696, 12.594], [41.7391, 24.188]]), abs=1e-3)
    box = right.patches[0]
    assert (box.get_x(), box.get_width()) == pytest.approx((20.8696, 20.8696), abs=1e-3)
    assert (box.get_y(), box.get_height()) == pytest.approx((0.1123, 2.5), abs=1e-3)


def test_a_part_s_line_keeps_within_its_set_pieces(routine):
    """intro is two set pieces of 20.8696 s: its line lies a tenth of a second inside 0 to 41.74."""
    figure = picture(routine)
    lines = [line.get_xydata() for axes in figure.axes for line in axes.lines]
    parts = [line[:, 0] for line in lines if list(line[:, 1]) == [0.93, 0.93]]
    assert parts[0] == pytest.approx([0.1, 41.6391], abs=1e-3)
    assert len(parts) == 4


def test_no_word_of_the_performer_s_is_read_as_a_formula():
    """A dollar sign is a dollar sign, in a name and a sound alike."""
    odd = {"name": "$5$", "left": {"hand": "runs", "sound": "$7$"}}
    sounds = {"$7$": {"file": "a.wav"}}
    routine = Routine.model_validate(
        {"title": "$4$", "sounds": sounds, "pieces": [{**odd, "bars": 4, "tempo": 90}]}
    )
    texts = picture(routine).findobj(Text)
    for word in ("$5$", "$7$"):
        assert [text.get_parse_math() for text in texts if word in text.get_text()] == [False]
