"""The course of the tempo: what each stretch tells, by hand at every bound."""

import numpy as np
import pytest

from liveaid.study import tempo_course
from liveaid.study.grid import Grid
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, GROUPS
from liveaid.study.tempo_course import CourseStretch, changes, follow_course


def onsets(times_s):
    strength = np.ones(len(times_s), np.float32)
    return Onsets(np.asarray(times_s, float), strength, np.tile(strength[:, None], GROUPS))


def grid(period_s=0.5, excess=0.0):
    return Grid(period_s, 0.0, 4, 1.0, excess, 0.0)


@pytest.mark.parametrize(
    ("count", "usual", "common", "own", "told"),
    [
        # Of less than eight onsets nothing is told.
        (7, 4.0, 9.0, None, ("stays", False, False)),
        (8, 4.0, 9.0, None, ("stays", True, False)),
        # The common grid holds from 2.5 on, and from three fifths of what is usual on.
        (8, 4.0, 2.5, 9.0, ("stays", True, False)),
        (8, 4.0, 2.4, 9.0, ("own", False, True)),
        (8, 6.0, 3.7, 9.0, ("stays", True, False)),
        (8, 6.0, 3.5, 9.0, ("own", False, True)),
        # An own one has to hold by 5, and by 3 more than the common one.
        (8, 4.0, 0.0, 5.0, ("own", False, True)),
        (8, 4.0, 0.0, 4.9, ("stays", False, False)),
        (8, 6.0, 2.5, 5.5, ("own", False, True)),
        (8, 6.0, 2.5, 5.4, ("stays", True, False)),
        (8, 6.0, 2.4, 5.3, ("stays", False, False)),
        (8, 6.0, 2.4, None, ("stays", False, False)),
    ],
)
def test_a_stretch_holds_the_common_grid_or_one_clearly_better(
    monkeypatch, count, usual, common, own, told
):
    """Sixteen beats of half a second from 10 s on: its middle is at 14, its frames end at 18."""
    asked = []

    def held(rise, few, common):
        asked.append(len(rise))
        return None if own is None else grid(0.45, own)

    monkeypatch.setattr(tempo_course, "_own", held)
    rise = np.zeros((round(30 * FRAMES_HZ), GROUPS), np.float32)
    found = tempo_course._stretch(
        rise, onsets(10.0 + np.arange(count)), grid(), grid(excess=common), 10.0, usual
    )
    assert found == CourseStretch(14.0, {"stays": 0.5, "own": 0.45}[told[0]], *told[1:])
    assert asked in ([], [round(18 * FRAMES_HZ) - round(10 * FRAMES_HZ)])


@pytest.mark.parametrize(
    ("period_s", "own"),
    [(0.497, True), (0.4971, False), (0.5029, False), (0.5031, True), (1.0, False), (0.99, True)],
)
def test_a_tempo_within_six_in_a_thousand_is_the_common_one(monkeypatch, period_s, own):
    """3 ms of half a second."""
    monkeypatch.setattr(tempo_course, "_own", lambda *heard: grid(period_s, 9.0))
    rise = np.zeros((4000, GROUPS), np.float32)
    found = tempo_course._stretch(rise, onsets(np.arange(8)), grid(), grid(), -1e-3, 0.0)
    assert (found.holds, found.own) == (False, own)


def test_a_period_is_folded_by_what_one_grid_may_be_told_as():
    """Halves, thirds and quarters of what is told, and doubles and threes, whichever is nearest to
    half a second."""
    told = (0.51, 1.02, 0.255, 0.17, 1.53, 0.765, 0.34, 0.68, 0.3825)
    assert [tempo_course._folded(period, 0.5) for period in told] == pytest.approx([0.51] * 9)
    # Nearest by ratio: .6 is 1.2 times half a second, its 3/4 are .45, 1.11 times less.
    assert tempo_course._folded(0.6, 0.5) == pytest.approx(0.45)


@pytest.fixture
def stretches(monkeypatch):
    """stretches(times, period): start, onsets and usual excess of each stretch that is looked at;
    a stretch's grid holds by a tenth of its onsets."""
    looked = []

    def look(rise, few, common, own, start, usual):
        looked.append((round(start, 4), len(few), pytest.approx(usual)))
        return CourseStretch(start, 0.5, True, False)

    def held(few, *, period_s, phase_s, parts):
        return grid(excess=len(few.times_s) / 10)

    monkeypatch.setattr(tempo_course, "_stretch", look)
    monkeypatch.setattr(tempo_course, "judged", held)

    def of(times_s, period_s):
        looked.clear()
        follow_course(np.zeros((9, GROUPS), np.float32), onsets(times_s), grid(period_s))
        return looked

    return of


def test_stretches_of_sixteen_beats_overlap_by_half(stretches):
    """Beats of .25 s: 4 s each, 2 s apart, from a thousandth before the first onset until half a
    stretch before the last, at 9 s. Of 4, 5, 5 and 7 onsets the third quartile is 5.5."""
    times_s = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0]
    found = stretches(times_s, 0.25)
    assert found == [(0.999, 4, 0.55), (2.999, 5, 0.55), (4.999, 7, 0.55), (6.999, 5, 0.55)]
    assert stretches([1.0, 3.1], 0.25) == [(0.999, 2, 0.2)]
    assert stretches([1.0, 2.9], 0.25) == []  # less than half a stretch
    assert stretches([0.0, 0.5], 0.25) == [(-0.001, 2, 0.2)]  # but from the very begin
    assert stretches([0.002, 0.5], 0.25) == []
    assert stretches([], 0.25) == []


@pytest.mark.parametrize(
    ("course", "changed"),
    [
        ("o", True),
        ("hoh", False),
        ("oh", True),
        ("ho", True),
        ("hohoo", True),
        # Mostly before and after: one of two is not.
        ("hoohhh", True),
        ("hhoohhh", False),
        ("hhoohh", False),
        (".hoh.", False),
        ("..", False),
    ],
)
def test_a_tempo_changes_where_the_common_one_does_not_mostly_hold_on_both_sides(course, changed):
    """`h` the common grid holds, `o` another tempo does, `.` neither."""
    told = [CourseStretch(8.0 * at, 0.5, one == "h", one == "o") for at, one in enumerate(course)]
    assert changes(told) is changed


def test_of_three_periods_that_come_back_the_best_grid_is_a_stretchs_own():
    """Strokes every .24 s, which are tried as beats and halves of beats: all on lines of four."""
    times_s = np.arange(40) * 0.24
    rise = np.zeros((round(10 * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(times_s * FRAMES_HZ).astype(int)] = 1.0
    own = tempo_course._own(rise, onsets(times_s), grid())
    assert own.period_s / 0.24 == pytest.approx(round(own.period_s / 0.24), abs=0.01)
    assert own.parts == 4
