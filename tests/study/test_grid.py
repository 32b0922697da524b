"""The grid of evenly spaced lines, against sums worked out by hand and numpy's weighted lines."""

import numpy as np
import pytest

from liveaid.study.grid import (
    Grid,
    _drawn,
    _further,
    _line,
    _middling,
    _sharpest,
    come_back,
    distance,
    fit_grid,
    judged,
    metronome_s,
    nearest_phase_s,
    wander_s,
)
from liveaid.study.onsets import Onsets


def strokes(times_s, strength=1.0):
    """Onsets at so many seconds, all as strong or each as it is told."""
    times_s = np.asarray(times_s, dtype=np.float64)
    strengths = np.broadcast_to(np.float32(strength), times_s.shape).astype(np.float32)
    return Onsets(times_s, strengths, strengths[:, None])


def lines(step_s=1.0, parts=1):
    """Lines from second 0 on."""
    return Grid(step_s * parts, 0.0, parts, hit_share=1.0, excess=9.0, residual_s=0.0)


@pytest.mark.parametrize(
    ("times_s", "strength", "period_s"),
    [
        (np.arange(6) * 0.5, 1.0, 0.5),
        (np.arange(5) * 0.5, 1.0, None),  # too few
        # 40 to 220 BPM.
        (np.arange(6) * 1.5, 1.0, 1.5),
        (np.arange(6) * 1.51, 1.0, None),
        (np.arange(6) * 0.275, 1.0, 0.275),
        (np.arange(6) * 0.27, 1.0, None),
        # Nine of ten distances are even to within 4 %.
        (np.append(np.arange(10) * 0.5, 5.5), 1.0, 0.5),
        (np.append(np.arange(10) * 0.5, [5.5, 6.5]), 1.0, None),
        (np.arange(6) * 0.5 + 0.009 * (np.arange(6) % 2), 1.0, pytest.approx(0.509)),
        (np.arange(6) * 0.5 + 0.011 * (np.arange(6) % 2), 1.0, None),
        # As alike as half of them are within 15 % of the middling one.
        (np.arange(7) * 0.5, [1, 1, 1, 1.14, 1.14, 0.86, 0.86], 0.5),
        (np.arange(7) * 0.5, [1, 1, 1, 1.16, 1.16, 0.84, 0.84], None),
    ],
)  # fmt: skip
def test_a_bare_count_is_told_by_its_even_and_equal_strokes(times_s, strength, period_s):
    assert metronome_s(strokes(times_s, strength)) == period_s


def test_distances_are_to_the_nearest_line_and_signed():
    away = distance(np.array([0.05, 0.45, 0.55, 1.0, -0.15]), 0.5, 0.1)
    assert away == pytest.approx([-0.05, -0.15, -0.05, -0.1, -0.25])


def test_a_phase_is_the_angle_that_strokes_agree_on():
    """Strokes an eighth of a second, a quarter turn, beside the line count as the root of their
    strength: 1 and 1 are 45 degrees, 1 and root 3 are 60."""
    step_s = 0.5
    assert nearest_phase_s(strokes([1.0, 1.125]), step_s) == pytest.approx(0.0625)
    assert nearest_phase_s(strokes([1.0, 1.125], [1.0, 3.0]), step_s) == pytest.approx(0.5 / 6)
    assert nearest_phase_s(strokes([0.9, 1.4]), step_s) == pytest.approx(-0.1)


def test_a_grid_is_judged_by_what_falls_on_its_lines():
    """Lines half a second apart; strokes weigh the root of their strength, 2, 1, 1 and 1, and lie
    0, 20, -24 and 30 ms away: 4 of 5 within 25 ms, sqrt((.02^2 + .024^2) / 4) = 15.62 ms off.

    Within 5 ms lies 2 of 100 by chance and 2 of 5 of these, which count as 25 / 7 strokes, three
    of them fitted: (.4 - .02) / sqrt(.02 * .98) * sqrt(25 / 7 - 3) = 2.0518. Within 12 ms, and
    within 25, that is 1.24 and 1.76."""
    found = judged(
        strokes([0.1, 0.62, 1.076, 1.63], [4, 1, 1, 1]), period_s=1.0, phase_s=0.1, parts=2
    )
    assert found == Grid(
        1.0, 0.1, 2, pytest.approx(0.8), pytest.approx(2.0518, abs=1e-4),
        pytest.approx(0.01562, abs=1e-5),
    )  # fmt: skip
    assert found.step_s == 0.5


@pytest.mark.parametrize(
    ("away_s", "excess"),
    [
        # Ten of ten so far off: (1 - c) / sqrt(c (1 - c)) * sqrt(7), c = 4 within_s.
        (0.004, (0.98 / 0.02 * 7) ** 0.5),
        (0.011, (0.952 / 0.048 * 7) ** 0.5),
        (0.024, (0.9 / 0.1 * 7) ** 0.5),
        (0.026, -((0.02 / 0.98 * 7) ** 0.5)),
    ],
)
def test_chance_is_told_within_5_12_and_25_ms(away_s, excess):
    times_s = np.arange(10) * 0.5 + away_s
    found = judged(strokes(times_s), period_s=0.5, phase_s=0.0, parts=1)
    assert found.excess == pytest.approx(excess)


def test_on_a_narrow_grid_a_fifth_of_a_step_is_near():
    """Lines 1 / 16 s apart: 12.5 ms, which chance gives two fifths of the time."""
    times_s = np.arange(10) / 16
    for away_s, share in ((0.0124, 1.0), (0.0126, 0.0)):
        found = judged(strokes(times_s + away_s), period_s=0.125, phase_s=0.0, parts=2)
        assert found.hit_share == share
    near = judged(strokes(times_s + 0.0124), period_s=0.125, phase_s=0.0, parts=2)
    assert near.excess == pytest.approx((0.6 / 0.4 * 7) ** 0.5)
    assert near.residual_s == pytest.approx(0.0124)


def test_no_strokes_are_on_no_lines():
    assert judged(strokes([]), period_s=0.5, phase_s=0.1, parts=4) == Grid(0.5, 0.1, 4, 0, 0, 0)
    assert fit_grid(strokes([]), 0.5) == Grid(0.5, 0.0, 4, 0, 0, 0)
    # Three strokes, or what counts as three, prove nothing.
    assert judged(strokes([0.0, 0.5, 1.0]), period_s=0.5, phase_s=0.0, parts=1).excess == 0.0


@pytest.mark.parametrize("period_s", [0.498, 0.502])
def test_a_grid_grows_so_that_no_line_slips(period_s):
    """Strokes on every quarter of a beat for 100 s, looked for .4 % off: over 200 beats at once
    they would be eight tenths of a beat apart, over eight they are a thirtieth."""
    times_s = 3.0 + np.arange(800) * period_s / 4
    found = fit_grid(strokes(times_s), 0.5)
    assert found.period_s == pytest.approx(period_s, abs=1e-9)
    assert distance(np.array([3.0]), found.step_s, found.phase_s) == pytest.approx(0.0, abs=1e-6)
    assert (found.parts, found.hit_share) == (4, 1.0)


@pytest.mark.parametrize(
    ("step_s", "beside_s"),
    [
        (0.1, 0.036),  # .35 of a step
        (0.08, 0.03),
        (1.0, 0.041),  # 1.6 times the 25 ms that are on a line
    ],
)
def test_what_lies_out_of_reach_draws_no_line(step_s, beside_s):
    """A thousand times as heavy, on the lines between."""
    index = np.arange(20.0)
    beside = index % 2 == 1
    times_s = index * step_s + beside_s * beside
    weight = np.where(beside, 1000.0, 1.0)
    assert _line(times_s, weight, step_s, 0.0) == pytest.approx((step_s, 0.0), abs=1e-9)


def test_a_line_is_drawn_as_numpys_weighted_one():
    """Tukey's biweight within 30 ms: (1 - (away / .03)^2)^2 times each weight."""
    rng = np.random.default_rng(3)
    index = np.arange(2.0, 14.0)
    away = rng.uniform(-0.02, 0.02, 12)
    weight = rng.uniform(0.5, 2.0, 12)
    times_s = 0.1 + index * 0.25 + away
    biweight = weight * (1 - (away / 0.03) ** 2) ** 2
    slope, phase = np.polyfit(index, away, 1, w=np.sqrt(biweight))
    found = _drawn(
        np.append(times_s, 3.85 + 0.031), np.append(weight, 50.0), 0.25, 0.1, 0.03
    )  # and one out of reach
    assert found == pytest.approx((0.25 + slope, 0.1 + phase), abs=1e-9)


@pytest.mark.parametrize(
    ("times_s", "drawn"),
    [
        ([0.01, 1.01, 2.01], (1.0, 0.01)),
        ([0.01, 2.01], (1.0, 0.0)),  # two strokes lie on any line
        ([0.01, 0.01, 1.01], (1.0, 0.0)),  # and so do two places
        ([0.01, 1.01, 2.06], (1.0, 0.0)),  # one is out of reach
    ],
)
def test_a_line_wants_three_strokes_over_three_lines(times_s, drawn):
    times_s = np.array(times_s)
    assert _drawn(times_s, np.ones(len(times_s)), 1.0, 0.0, 0.05) == pytest.approx(drawn)


# Signs that add up to nothing, by themselves and by their numbers (Thue and Morse's row).
EVEN = np.array([1, -1, -1, 1, -1, 1, 1, -1])


@pytest.mark.parametrize(
    ("usual_s", "count", "beside_s", "counts"),
    [
        # Those 2 ms off are the usual ones: three times as far counts.
        (0.002, 8, 0.0059, True),
        (0.002, 8, 0.0061, False),
        # Of those right on the line 3 ms.
        (0.0, 8, 0.0029, True),
        (0.0, 8, 0.0031, False),
        (0.002, 7, 0.0059, False),  # fewer than eight tell of nothing usual
    ],
)
def test_the_strokes_that_agree_best_set_the_line(usual_s, count, beside_s, counts):
    """Strokes on so many lines in all, a light one beside the next."""
    skipped = 2 * (count < 8)  # seven in all
    times_s = np.append(np.arange(8.0) + usual_s * EVEN, 8.0 + beside_s)[skipped:]
    weight = np.append(np.ones(8), 0.5)[skipped:]
    step_s, phase_s = _sharpest(times_s, weight, 1.0, 0.0)
    assert ((step_s, phase_s) != pytest.approx((1.0, 0.0), abs=1e-7)) == counts


def test_the_middling_stroke_is_the_weighted_median():
    values = np.array([3.0, 1.0, 2.0])
    assert _middling(values, np.ones(3)) == 2.0
    assert _middling(values, np.array([1.0, 5.0, 1.0])) == 1.0
    assert _middling(values, np.array([2.0, 1.0, 1.0])) == 2.0
    assert _middling(values, np.array([2.1, 1.0, 1.0])) == 3.0


@pytest.mark.parametrize(
    ("count", "span", "told"), [(16, 64, True), (15, 64, False), (16, 63, False)]
)
def test_accents_are_told_from_sixteen_strokes_over_sixty_five_lines_on(count, span, told):
    line = np.append(np.arange(count - 1) * 4, span)
    assert (come_back(strokes(0.1 * line), lines(0.1), 4) != [0.0]) == told


def test_accents_are_of_what_is_on_the_lines_and_the_strongest_there():
    """Strong every third line; stronger ones 26 ms beside the lines, and weaker ones on the strong
    lines, change nothing. The root of 4 is 2: 2, 1, 1 repeat wholly every three."""
    line = np.arange(90)
    plain = strokes(line, np.where(line % 3 == 0, 4.0, 1.0))
    beside = [*plain.times_s, *(line + 0.026), *line[::3]]
    strength = [*plain.strength, *np.full(90, 9.0), *np.full(30, 0.1)]
    told = come_back(plain, lines(), 3, 4, 6)
    assert come_back(strokes(beside, strength), lines(), 3, 4, 6) == pytest.approx(told)
    # Sums over the pairs so many lines apart, by hand for one lag of three: of 90 lines 30 strong.
    accent = np.where(line % 3 == 0, 2.0, 1.0) - 4 / 3
    for every, lags in ((3, (3, 6, 9)), (4, (4, 8, 16)), (6, (6, 12, 18))):
        wanted = np.mean([(accent[lag:] * accent[:-lag]).mean() for lag in lags]) / (2 / 9)
        assert told[(3, 4, 6).index(every)] == pytest.approx(wanted)
    assert (_further(3), _further(4), _further(6)) == ((3, 6, 9), (4, 8, 16), (6, 12, 18))
    # Strokes all alike have no accents.
    assert come_back(strokes(line), lines(), 3) == [0.0]


@pytest.mark.parametrize(
    ("late", "count", "wandered"),
    [
        # In sixteen beats: n late ones against those on the line, (n - m) / sqrt(n + m) beyond 2.
        (6, 6, True),
        (5, 5, False),  # fewer than six tell nothing
        (8, 10, False),  # 6 / sqrt(10) = 1.9
        (9, 10, True),
    ],
)
def test_strokes_wander_where_more_than_chance_are_late(late, count, wandered):
    index = np.arange(float(count))
    times_s = index + 0.05 * (index < late)
    found = wander_s(strokes(times_s), lines())
    assert found == pytest.approx(0.05 if wandered else 0.0, abs=1e-6)


def test_each_sixteen_beats_wander_by_themselves_and_the_farthest_counts():
    """Five in the first sixteen beats of half a second, and as many in the second, 50 ms late; six
    30 ms early in the third, six 10 ms late in the fourth."""
    first = np.arange(5) * 0.5
    times_s = np.concatenate(
        [[0.0], 0.55 + first, 8.55 + first, 16.47 + np.arange(6) * 0.5, 24.01 + np.arange(6) * 0.5]
    )
    assert wander_s(strokes(times_s), lines(0.5)) == pytest.approx(0.03, abs=1e-6)
    assert wander_s(strokes([]), lines()) == 0.0
