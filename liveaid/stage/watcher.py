"""What may look on while the stage runs: rehearsal, recording, a terminal view.

A watcher is told everything on the loop's thread, and must return at once; one that raises is
counted in /health and never stops the stage.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from aiohttp import web

from liveaid.follow.prompt import Prompt
from liveaid.routine import Routine
from liveaid.stage.lamp_layout import Lamp, Level
from liveaid.stage.osc import Heard
from liveaid.stage.words import Word


class Stage(Protocol):
    """What a watcher may ask of the stage it looks on."""

    @property
    def routine(self) -> Routine:
        """The routine that is followed."""

    def hear(self, heard: Heard) -> None:
        """A deck's position from another source than OSC."""

    def push(self) -> None:
        """Renew every open page now, and the lamps: a watcher's status changed."""

    def status(self) -> dict[str, Any]:
        """What /status says, worked out for this moment."""

    def health(self) -> dict[str, Any]:
        """What /health says."""

    def ports_missing(self) -> dict[str, str]:
        """The controllers' ports that were asked for and are not open, with what is the matter."""

    def use(self, routine: Routine) -> None:
        """Follow this edition of the routine from now on."""

    def ask_stop(self) -> None:
        """Let the stage end, lamps out and takes kept."""


@dataclass(frozen=True, slots=True)
class Whole:
    """The routine of which only a stretch is followed, such as one set piece in rehearsal."""

    routine: Routine
    first: int = 0
    """Where in it the first set piece followed stands, from 0."""
    gone_beats: tuple[int, ...] = ()
    """Beats of each set piece followed that lie before the stretch; none where it is whole."""

    def followed(self, piece: int, pieces: int) -> int | None:
        """A set piece's place in what is followed, which has so many; None: it is not in it."""
        return piece - self.first if 0 <= piece - self.first < pieces else None


class Watcher:
    """Override what is wanted; everything here does nothing."""

    def started(self, stage: Stage) -> None:
        """The stage is set; `stage.push()` may be called from now on to renew the page."""

    def heard(self, heard: Heard) -> None:
        """One thing a sender told, in the order of arrival, before the follower hears it."""

    def told_word(self, word: Word, piece: int | None) -> bool:
        """The performer's word, by pad, page, key or OSC; `piece` of the whole routine, from 0.
        True: it was for us."""
        return False

    def stretch_of(self) -> Whole | None:
        """The whole routine, where this one has the stage follow a stretch of it."""
        return None

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """The prompt was worked out anew, at monotonic second `now_s`."""

    def lamps_changed(self, changes: Sequence[tuple[Lamp, Level]]) -> None:
        """These lamps were just changed (with or without a controller to show them)."""

    def lamps(self, levels: Mapping[Lamp, Level]) -> Mapping[Lamp, Level]:
        """What the lamps should show instead, such as a count-in; `levels` as it stands."""
        return levels

    def status(self) -> Mapping[str, Any]:
        """Keys to add to /status and /live; must be fit for JSON."""
        return {}

    def routes(self) -> Sequence[web.RouteDef]:
        """Pages and actions to serve beside ours; guarded by the same Host and token checks."""
        return ()

    def scripts(self) -> Sequence[str]:
        """Addresses of scripts the page at / is to load (served by `routes`).

        The page fires `status` on `document` with each status as `detail`, and has an empty
        `<section id="extra">` for what is to be shown.
        """
        return ()

    async def stopped(self) -> None:
        """The stage is being struck: finish what must be kept."""
