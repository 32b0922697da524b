"""Every push and pull a trace tells: when it began, when it turned or stood still, and its way."""

from __future__ import annotations

from dataclasses import dataclass, replace

from liveaid.practice.hear import Stroke, strokes
from liveaid.practice.motion import Motion

_APART_S = 0.05
"""A stroke's end is looked for up to this far past its next message."""


@dataclass(frozen=True, slots=True)
class StrokeHeard:
    """One movement from a stand or a turn to the next."""

    forward: bool
    at_s: float
    """When it began."""
    ends_s: float | None
    """When it turned, or came to a stand; None where the messages do not tell."""
    from_s: float
    to_s: float


def strokes_heard(motion: Motion, *, start_s: float, end_s: float) -> list[StrokeHeard]:
    """All movements that began from start to end, both ways, in order.

    A pull is a push on a record mirrored; an end is the begin of one heard backward in time.
    """
    found = [
        heard
        for forward in (True, False)
        for heard in _one_way(motion, forward, start_s=start_s, end_s=end_s)
    ]
    return sorted(found, key=lambda heard: heard.at_s)


def _one_way(motion: Motion, forward: bool, *, start_s: float, end_s: float) -> list[StrokeHeard]:
    onward = motion if forward else _mirrored(motion)
    begins = strokes(onward, start_s=start_s, end_s=end_s, stands_part=True)
    backward = _reversed(_mirrored(onward))
    ends = strokes(backward, start_s=-end_s - 2.0, end_s=-start_s, stands_part=True)
    sign = 1.0 if forward else -1.0
    out = []
    for place, begin in enumerate(begins):
        until = begins[place + 1].at_s if place + 1 < len(begins) else float("inf")
        end = _end_of(begin, ends, until)
        out.append(
            StrokeHeard(
                forward, begin.at_s, end, sign * begin.from_s, sign * (begin.from_s + begin.way_s)
            )
        )
    return out


def _end_of(begin: Stroke, ends: list[Stroke], until_s: float) -> float | None:
    """The end, in forward time, of the same rise: the first after its begin and before the next."""
    times = sorted(-end.at_s for end in ends)
    return next((t for t in times if begin.at_s < t <= until_s + _APART_S), None)


def _mirrored(motion: Motion) -> Motion:
    return replace(motion, x_s=-motion.x_s, speed=-motion.speed, phases=())


def _reversed(motion: Motion) -> Motion:
    return replace(
        motion,
        t_s=-motion.t_s[::-1],
        x_s=motion.x_s[::-1],
        speed=-motion.speed[::-1],
        phases=(),
    )
