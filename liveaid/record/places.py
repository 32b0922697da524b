"""When two places of a record count as one. Every room asks here; none has a figure of its own.

All in seconds of record: at 33 1/3 turns a minute a turn is 1.8 s, so 0.05 s are 10 degrees of the
sticker and 0.15 s are 30.
"""

from __future__ import annotations

SAME_S = 1e-4
"""Two places of a sound closer than this are one place: a few samples."""

THERE_S = 0.05
"""A record this near its cue is there by itself: a nudge, heard as no more than a loose beat
(Friberg and Sundberg, JASA 98 (1995): displacements from some 2.5 % of a beat are noticed; common
practice, no source, that a hand puts twice that right in passing)."""

READY_S = 0.15
"""A record that stands this near its cue is ready: the sticker within 30 degrees of where it must
be, near enough to see, and to throw from (common practice, no source)."""

STANDS_SPEED = 0.3
"""A record slower than this part of nominal is held or stands (as the follower hears motion)."""

OFF_COURSE = 0.03
"""A running record may be off its way to a cue by this part of what is left of it: pitch and the
beat are known no better while a set piece lasts."""


LOST_S = 0.9
"""A running record this much farther off its way to a cue than `on_course` allows has left it: half
a turn, more than a beat of the count can be told wrong for a moment."""


def _within(at_s: float, cue_s: float, reach_s: float) -> bool:
    return abs(at_s - cue_s) <= reach_s + 1e-9


def is_there(at_s: float, cue_s: float) -> bool:
    """Whether a record at one deck-file second is at a cue without a hand's help."""
    return _within(at_s, cue_s, THERE_S)


def stands_at(at_s: float, cue_s: float, speed: float) -> bool:
    """Whether a record stands ready at a cue; `speed` 1.0 is nominal."""
    return _within(at_s, cue_s, READY_S) and abs(speed) < STANDS_SPEED


def on_course(
    at_s: float, cue_s: float, speed: float, due_in_s: float, waits_s: float = 0.0,
    *, within_s: float = READY_S,
) -> bool:  # fmt: skip
    """Whether a record that goes on as it does will be at its cue when it is due.

    `waits_s`: by how much sooner it may pass there, where a hand takes it.
    """
    passes_s = min(max((cue_s - at_s) / speed, due_in_s - waits_s), due_in_s) if speed else due_in_s
    return _within(at_s + speed * passes_s, cue_s, within_s + OFF_COURSE * max(due_in_s, 0.0))


def has_left_course(
    at_s: float, cue_s: float, speed: float, due_in_s: float, waits_s: float = 0.0
) -> bool:
    """Whether a record that was to run on to a cue was stopped, turned back or set elsewhere."""
    return not on_course(at_s, cue_s, speed, due_in_s, waits_s, within_s=LOST_S)
