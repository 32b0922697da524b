"""The picture of a routine: written whole, the same each time, with all that check found in it."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.patches import Patch, StepPatch
from matplotlib.text import Annotation, Text

from liveaid.errors import LiveaidError, UsageError
from liveaid.render.picture import draw_picture, picture
from liveaid.routine import Routine, load_routine
from liveaid.routine.check import Finding, check


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


def test_names_are_drawn_as_they_are_written(routine, tmp_path):
    odd = routine.pieces[0].model_copy(update={"name": "$x_1$ & <b>"})
    draw_picture(routine.model_copy(update={"pieces": (odd,)}), tmp_path / "r.svg")
    whole = "".join(ElementTree.parse(tmp_path / "r.svg").getroot().itertext())
    assert "$x_1$ & <b>" in " ".join(whole.split())


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


def told(figure) -> Iterator[str]:
    """All that is drawn, a line each: where it stands in its panel, and how it looks."""
    yield f"figure {_short(figure.get_size_inches())} {to_hex(figure.get_facecolor())}"
    yield from map(_told_text, figure.texts)
    for axes in figure.axes:
        yield f"panel {axes.get_ylabel()!r} {_short(axes.get_position().get_points())}"
        if axes.axison:
            yield _told_frame(axes)
        for line in axes.lines:
            end = f" {line.get_marker()} {line.get_markersize():g} {line.get_markeredgewidth():g}"
            yield (
                f"line {_short(line.get_xydata())} {line.get_linewidth()} {line.get_linestyle()}"
                f" {to_hex(line.get_color())}{end * (line.get_marker() != 'None')}"
                f" over {line.get_zorder():g}"
            )
        yield from (_told_box(patch) for patch in axes.patches)
        yield from map(_told_text, axes.texts)
        if legend := axes.get_legend():
            at = axes.transAxes.inverted().transform(legend.get_bbox_to_anchor().p0)
            yield f"legend {_short(at)} {legend._ncols} wide, framed {legend.get_frame_on()}"
            yield from (_told_box(patch) for patch in legend.get_patches())
            yield from (f"{text.get_text()} {text.get_fontsize():g}" for text in legend.texts)


def _short(numbers) -> str:
    return " ".join(f"{number + 0.0:.5g}" for number in np.round(np.ravel(numbers), 6))


def _told_frame(axes) -> str:
    shown = [name for name, spine in axes.spines.items() if spine.get_visible()]
    first, last = axes.get_xlim()
    marks = [at for at in axes.xaxis.get_major_locator()() if first <= at <= last]
    time = [axes.xaxis.get_major_formatter()(at) for at in marks]
    params = axes.xaxis.get_tick_params()
    under = {name: params[name] for name in ("labelbottom", "bottom", "labelsize", "labelcolor")}
    return (
        f"x {_short(axes.get_xlim())} by {' '.join(time)} {under}; y {_short(axes.get_ylim())} by"
        f" {_short(axes.get_yticks())}; framed {shown}, {to_hex(axes.get_facecolor())}"
    )


def _told_box(patch: Patch) -> str:
    look = (
        f"{to_hex(patch.get_facecolor())} {to_hex(patch.get_edgecolor())} {patch.get_hatch()!r}"
        f" {patch.get_linewidth():g} {patch.get_label()!r} filled {patch.get_fill()}"
    )
    if isinstance(patch, StepPatch):
        levels, edges, base = patch.get_data()
        return f"stairs {_short(levels)} at {_short(edges)} from {base} {look}"
    box = patch.get_x(), patch.get_y(), patch.get_width(), patch.get_height()
    return f"box {_short(box)} {look}"


def _told_text(text: Text) -> str:
    about = f"{text.get_ha()} {text.get_va()} {text.get_fontsize():g} {text.get_fontweight()}"
    about += f" {text.get_fontstyle()} {to_hex(text.get_color())} clipped {text.get_clip_on()}"
    at = _short(text.get_position())
    if isinstance(text, Annotation):
        at = f"{_short(text.xy)} and {at} points, clipped {text.get_annotation_clip()}"
    if frame := text.get_bbox_patch():
        about += f" in {to_hex(frame.get_facecolor())} {frame.get_boxstyle().__class__.__name__}"
        about += f" {frame.get_boxstyle().pad:g} {frame.get_linewidth():g}"
    return f"{text.get_text()!r} {at} {about}"


def small_routine(*, placed: bool) -> Routine:
    """34 s: a record that runs on, one wound in good time, and others there is no time for."""

    def runs(at_s: float, sound: str = "tram") -> dict:
        return {"hand": "runs", "sound": sound} | ({"at": at_s} if placed else {})

    def works(from_s: float, to_s: float) -> dict:
        span = {"from": from_s, "to": to_s}
        return {"hand": "works", "sound": "bell"} | (span if placed else {})

    pieces = [
        {"name": "Dusk", "bars": 4, "tempo": 60, "energy": 2, "count": "left", "left": runs(1.8)},
        {"name": "Call", "bars": 4, "tempo": 120, "energy": 3, "part": "story", "count": "left",
         "left": runs(19.8), "right": works(3.6, 5.4)},
        {"name": "A name that is too long for so few bars", "bars": 1, "tempo": 120,
         "part": "story", "energy": 5, "count": "right", "right": runs(54.0, "bell")},
        {"name": "Home", "bars": 2, "tempo": 60, "part": "outro", "energy": 1, "count": "left",
         "left": runs(36.0), "right": works(9.0, 18.0)},
        {"name": "And home again", "bars": 2, "tempo": 60, "part": "outro", "energy": 1,
         "count": "right", "right": runs(27.0)},
    ]  # fmt: skip
    sounds = {name: {"file": f"{name}.wav"} for name in ("tram", "bell")}
    whole = {"title": "Lanterns", "limit": 60, "sounds": sounds, "pieces": pieces}
    return Routine.model_validate(whole)


def _found(severity, piece: int | None, says: str) -> Finding:
    return Finding(severity, "winding", says, "", piece, "" if piece is None else "Call")


@pytest.mark.parametrize("placed", [True, False])
def test_a_picture_is_drawn_as_it_was_looked_at(placed):
    """Kept in picture.txt, the numbers beside it by hand: pieces of 16, 8, 2, 8 and 8 s, a turn of
    1.8 s. The left record runs from 1.8 s, a turn, for 16 s to 17.8 s, 9.889 turns."""
    findings = [
        _found("error", 1, "too far"),
        _found("warning", 1, "far"),
        _found("remark", 1, "near"),
        _found("warning", None, "all in all" + 60 * " word"),
        *[_found("warning", 3, "far")] * 13,
    ]
    figure = picture(small_routine(placed=placed), findings=findings if placed else [])
    kept = Path(__file__).with_name(f"picture{'' if placed else '_not_placed'}.txt")
    assert list(told(figure)) == kept.read_text().splitlines()
