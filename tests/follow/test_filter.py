"""The filter against worked examples from a textbook and by hand."""

import numpy as np
import pytest

from liveaid.follow.filter import checked, forward, weighed

# Russell and Norvig, Artificial Intelligence: A Modern Approach, chapter "Probabilistic Reasoning
# over Time", the umbrella world: P(rain) 0.5, rain stays rain 0.7, umbrella if rain 0.9, else 0.2.
STAYS = np.array([[0.7, 0.3], [0.3, 0.7]])
UMBRELLA = np.array([0.9, 0.2])


def _step(belief):
    return forward(belief, lambda b: b @ STAYS, UMBRELLA)


def test_two_umbrellas_in_a_row_give_the_textbooks_figures():
    first = _step(np.array([0.5, 0.5]))
    second = _step(first)
    assert first[0] == pytest.approx(0.818, abs=5e-4)
    assert second[0] == pytest.approx(0.883, abs=5e-4)


def test_whole_run_is_the_same_as_step_by_step():
    """Forward weights multiplied out to the end and normalised once: P(x, all evidence)."""
    weights = np.array([0.5, 0.5])
    belief = np.array([0.5, 0.5])
    for _ in range(6):
        weights = UMBRELLA * (weights @ STAYS)
        belief = _step(belief)
    assert belief == pytest.approx(weights / weights.sum(), abs=1e-12)


def test_three_cells_worked_out_by_hand():
    """Belief 1, 0, 0 moves on by one cell with 3/4; evidence 1 : 2 : 4.

    Moved: 1/4, 3/4, 0. Weighed: 1/4, 6/4, 0 = 1/7, 6/7, 0. Again: 1/28, 9/28, 18/28 moved,
    1/28, 18/28, 72/28 weighed = 1/91, 18/91, 72/91.
    """
    on = np.array([[0.25, 0.75, 0.0], [0.0, 0.25, 0.75], [0.0, 0.0, 1.0]])
    told = np.array([1.0, 2.0, 4.0])
    one = forward(np.array([1.0, 0.0, 0.0]), lambda b: b @ on, told)
    two = forward(one, lambda b: b @ on, told)
    assert one == pytest.approx([1 / 7, 6 / 7, 0.0])
    assert two == pytest.approx([1 / 91, 18 / 91, 72 / 91])


@pytest.mark.parametrize("bad", [[0.5, 0.6], [1.5, -0.5], [np.nan, 1.0], [0.0, 0.0]])
def test_what_is_no_distribution_is_refused(bad):
    with pytest.raises(ValueError, match="no distribution"):
        checked(np.array(bad))


@pytest.mark.parametrize("nothing", [[0.0, 0.0], [np.nan, 1.0], [np.inf, 1.0]])
def test_evidence_that_says_nothing_leaves_belief(nothing):
    assert weighed(np.array([0.3, 0.7]), np.array(nothing)).tolist() == [0.3, 0.7]
