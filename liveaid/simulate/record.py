"""The truth of a performance as plain data, to be written down and held against what was heard."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from liveaid.simulate.line import Array
from liveaid.simulate.performance import Performance


def truth_record(performance: Performance, *, rate_hz: float = 50.0) -> dict[str, Any]:
    """JSON-ready: the events, the faults, and piece, beat and both positions at even times.

    Seconds count from the first thing sent. `piece` is -1 and `beat` null outside the routine.
    """
    truth = performance.truth
    times = np.arange(0.0, performance.duration_s, 1.0 / rate_hz)
    piece, beat = truth.places(times)
    return {
        "title": performance.routine.title,
        "seed": performance.seed,
        "duration_s": round(performance.duration_s, 3),
        "faults": [
            {**asdict(what.fault), "at_s": what.at_s, "until_s": what.until_s}
            for what in performance.faults
        ],
        "events": [
            {**asdict(event), "error_s": event.error_s, "missed": event.missed}
            for event in performance.events
        ],
        "times_s": _rounded(times),
        "piece": piece.tolist(),
        "beat": [None if np.isnan(b) else b for b in _rounded(beat)],
        "left_s": _rounded(truth.position_s("left", times)),
        "right_s": _rounded(truth.position_s("right", times)),
    }


def _rounded(values: Array) -> list[float]:
    return np.round(values, 5).tolist()  # type: ignore[no-any-return]
