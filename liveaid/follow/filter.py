"""One forward step of a hidden Markov model. Knows no music: cells, weights, likelihoods.

Source: the forward algorithm, Russell and Norvig, Artificial Intelligence: A Modern Approach,
chapter "Probabilistic Reasoning over Time"; belief = normalised(likelihood * predicted).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TOLERANCE = 1e-6


def checked(belief: Floats) -> Floats:
    """The belief itself. ValueError unless it is finite, nowhere below 0, and sums to 1."""
    total = float(belief.sum())
    if not abs(total - 1.0) <= TOLERANCE or belief.min() < 0.0:
        low = float(belief.min())
        raise ValueError(f"no distribution: sums to {total:g}, lowest {low:g}; >= 0 and 1 would do")
    return belief


def weighed(belief: Floats, likelihood: Floats) -> Floats:
    """Belief after evidence: belief * likelihood, normalised; shape (cells,).

    Only ratios of the likelihood count. Evidence that rules out every cell, or is not a number,
    says nothing and leaves the belief as it was.
    """
    weights = belief * likelihood
    total = float(weights.sum())
    if not 0.0 < total < np.inf or weights.min() < 0.0:
        return belief
    return weights / total


def forward(belief: Floats, move: Callable[[Floats], Floats], likelihood: Floats) -> Floats:
    """Belief one step on: moved, then weighed by the evidence. `move` must keep the sum."""
    return weighed(checked(move(belief)), likelihood)
