"""What the practice tests share: a short routine, a take of it, and the follower run over it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
import pytest
from matplotlib.collections import Collection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.path import Path as MplPath
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter

from liveaid.practice.aim import Aim
from liveaid.practice.records import Kept
from liveaid.practice.replay import takes_in
from liveaid.practice.trace import Message
from liveaid.routine import Routine, load_routine
from liveaid.simulate import Performance, perform

HERE = Path(__file__).resolve().parent


@pytest.fixture(scope="session")
def spice_row() -> Routine:
    return load_routine(HERE / "spice-row.yaml")


@pytest.fixture(scope="session")
def performed(spice_row: Routine) -> Callable[..., Performance]:
    """performed(seed=1, hands=...): one performance of the short routine, 3 s of quiet first."""

    def play(routine: Routine = spice_row, **how: object) -> Performance:
        return perform(routine, lead_s=3.0, **{"seed": 1, **how})

    return play


@pytest.fixture(scope="session")
def rehearsed() -> Callable[..., list[Kept]]:
    """rehearsed(aim, messages): the takes a session finds, told every message and prompt."""

    def run(aim: Aim, messages: list[Message], *, count_in_bars: int = 1) -> list[Kept]:
        return takes_in(messages, aim, count_in_bars=count_in_bars)

    return run


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Callable[[object, Callable[[], bytes]], str]:
    """drawn(module, draw): what a picture's module draws, in words; no pixel is made."""

    def read(module: object, draw: Callable[[], bytes]) -> str:
        figures: list[Figure] = []
        monkeypatch.setattr(module, "png", lambda figure: figures.append(figure) or b"")
        draw()
        return "\n".join(said_of(figures[0]))

    return read


def said_of(figure: Figure) -> Iterator[str]:
    """A picture's frame, and each axis' lines, areas and words; a long line's every 48th point."""
    pars = figure.subplotpars
    yield f"size {rounded(figure.get_size_inches())} at {figure.dpi:g}"
    yield f"within {rounded([pars.left, pars.right, pars.bottom, pars.top])}"
    yield from map(said_of_text, figure.texts)
    for axis in figure.axes:
        yield f"axis {rounded([*axis.get_xlim(), *axis.get_ylim()])} {axis.get_ylabel()!r}"
        if isinstance(axis.xaxis.get_major_formatter(), FixedFormatter):
            ticks = [tick.get_text() for tick in axis.get_xticklabels()]
            yield f"ticks {rounded(axis.get_xticks())} {ticks}"
        for line in axis.lines:
            x, y = (np.asarray(each, float) for each in line.get_data())
            x, y = (each[:: 48 if len(x) > 48 else 1] for each in (x, y))
            how = f"{to_hex(line.get_color())} {line.get_linewidth():g} thick"
            if line.get_marker() != "None":
                inks = (line.get_markerfacecolor(), line.get_markeredgecolor())
                how = f"{line.get_marker()} {' '.join(map(to_hex, inks))} {line.get_markersize():g}"
                how += f" edge {line.get_markeredgewidth():g} {line.get_linestyle()}"
            yield f"line {how} over {line.zorder:g}: {rounded(x)} {rounded(y)}"
        for area in (*axis.collections, *axis.patches):
            paths = area.get_paths() if isinstance(area, Collection) else [placed(area)]
            ends = [(*path.vertices.min(0), *path.vertices.max(0)) for path in paths]
            inks = np.atleast_2d([*area.get_facecolor()] or area.get_edgecolor())
            ink = f"{to_hex(inks[0])} {np.max(area.get_linewidth()):g}"
            yield f"area {ink} over {area.zorder:g}: {' '.join(map(rounded, ends))}"
        yield from map(said_of_text, axis.texts)
        if axis.get_legend():
            yield f"legend {[text.get_text() for text in axis.get_legend().get_texts()]}"


def said_of_text(text: Text) -> str:
    """Its words, place and look."""
    look = f"{text.get_ha()} {text.get_va()} {to_hex(text.get_color())} {text.get_fontsize():g}"
    return f"{text.get_text()!r} at {rounded(text.get_position())} {look}"


def placed(patch: Patch) -> MplPath:
    """A bar's outline where it stands."""
    return patch.get_path().transformed(patch.get_patch_transform())


def rounded(values: Iterable[float]) -> str:
    """Numbers to a thousandth."""
    return "[" + " ".join(f"{round(float(x), 3) + 0.0:g}" for x in values) + "]"
