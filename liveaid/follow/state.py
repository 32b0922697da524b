"""The follower's state as one table.

Here live the six states and what leads from one to another. When something counts as sure,
doubtful or quiet is decided by who reports it; this module knows no positions and no time.
"""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

from liveaid.follow.prompt import State

STATES: tuple[State, ...] = get_args(State)
Event: TypeAlias = Literal["sure", "between", "doubtful", "quiet", "before", "over"]
"""What the decks tell of the place: well, half, badly; nothing, since they stopped telling; or
that the routine has not begun, or is over."""

SURE, DOUBTFUL = 0.9, 0.7

TABLE: dict[Event, dict[State, State]] = {
    "sure": dict.fromkeys(STATES, "following"),
    "between": {**dict.fromkeys(STATES, "unsure"), "following": "following"},
    "doubtful": dict.fromkeys(STATES, "unsure"),
    "quiet": {
        **dict.fromkeys(STATES, "silent"),
        "waiting": "waiting",
        "before": "before",
        "over": "over",
    },
    "before": dict.fromkeys(STATES, "before"),
    "over": dict.fromkeys(STATES, "over"),
}
"""What an event leads to, from every state."""


def event_of(confidence: float, *, quiet: bool, ends: Event | None = None) -> Event:
    """What a confidence, 0 to 1, and the decks' silence amount to.

    `ends`: the place is no set piece, but before them or after.
    """
    if quiet:
        return "quiet"
    if confidence < DOUBTFUL:
        return "doubtful"
    if ends is not None:
        return ends
    return "sure" if confidence >= SURE else "between"


def after(state: State, event: Event) -> State:
    """The state an event leads to."""
    return TABLE[event][state]
