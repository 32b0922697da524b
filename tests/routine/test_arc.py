"""The energy arc: what is wanted when, by the usual arc or by an idea's own wants."""

import pytest

from liveaid.routine import Routine
from liveaid.routine.arc import arc_energy, off_arc_by_piece


def routine_of(*pieces, wants=()):
    """Set pieces of (bars, energy) at 120 BPM: a bar is 2 s."""
    told = [
        {"name": f"P{n}", "bars": bars, "tempo": 120, "energy": energy, "count": "clock"}
        for n, (bars, energy) in enumerate(pieces)
    ]
    idea = {"theme": "rain", "wants": [{"part": "story", "energy": each} for each in wants]}
    return Routine.model_validate(
        {"title": "T", "pieces": told} | ({"idea": idea} if wants else {})
    )


@pytest.mark.parametrize(
    ("share", "energy"),
    [(0.0, 2.0), (0.25, 2.5), (0.5, 3.0), (0.65, 4.0), (0.8, 5.0), (0.9, 3.5), (1.0, 2.0)],
)
def test_the_usual_arc_rises_late_and_comes_down(share, energy):
    """2 at the start, 3 in the middle, 5 at four fifths, 2 at the end: straight between."""
    assert arc_energy(share) == pytest.approx(energy)
    assert arc_energy(share, routine_of((4, 3))) == pytest.approx(energy)
    assert arc_energy(share, routine_of((4, 3), wants=(1, 5))) == pytest.approx(energy)


@pytest.mark.parametrize(
    ("share", "energy"), [(0.0, 1.0), (1 / 6, 1.0), (1 / 3, 3.0), (0.5, 5.0), (5 / 6, 2.0)]
)
def test_three_wants_stand_at_the_middles_of_their_thirds(share, energy):
    assert arc_energy(share, routine_of((4, 3), wants=(1, 5, 2))) == pytest.approx(energy)


def test_each_set_piece_is_held_against_the_arc_at_its_middle():
    """4, 8 and 4 bars: middles at 1/8, 1/2 and 7/8, where 2.25, 3 and 3.875 are wanted."""
    assert off_arc_by_piece(routine_of((4, 3), (8, 2), (4, 5))) == pytest.approx(
        [0.75, 1.0, 1.125]
    )  # fmt: skip
    # With an idea of its own: 1, 5 and 2 at 1/6, 1/2 and 5/6.
    told = off_arc_by_piece(routine_of((4, 3), (8, 2), (4, 5), wants=(1, 5, 2)))
    assert told == pytest.approx([2.0, 3.0, 3.0])
