"""The follower's state as one table.

Here live the four states and what leads from one to another. When something counts as sure,
doubtful or quiet is decided by who reports it; this module knows no positions and no time.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from liveaid.follow.prompt import State

Event: TypeAlias = Literal["sure", "between", "doubtful", "quiet"]
"""What the decks tell of the place: well, half, badly; or nothing, since they stopped telling."""

SURE, DOUBTFUL = 0.9, 0.7

TABLE: dict[tuple[State, Event], State] = {
    ("waiting", "sure"): "following",
    ("waiting", "between"): "unsure",
    ("waiting", "doubtful"): "unsure",
    ("waiting", "quiet"): "waiting",
    ("following", "sure"): "following",
    ("following", "between"): "following",
    ("following", "doubtful"): "unsure",
    ("following", "quiet"): "silent",
    ("unsure", "sure"): "following",
    ("unsure", "between"): "unsure",
    ("unsure", "doubtful"): "unsure",
    ("unsure", "quiet"): "silent",
    ("silent", "sure"): "following",
    ("silent", "between"): "unsure",
    ("silent", "doubtful"): "unsure",
    ("silent", "quiet"): "silent",
}


def event_of(confidence: float, *, quiet: bool) -> Event:
    """What a confidence, 0 to 1, and the decks' silence amount to."""
    if quiet:
        return "quiet"
    if confidence >= SURE:
        return "sure"
    return "between" if confidence >= DOUBTFUL else "doubtful"


def after(state: State, event: Event) -> State:
    """The state an event leads to."""
    return TABLE[state, event]
