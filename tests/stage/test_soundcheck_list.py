"""The sound check's list where no terminal renews it: what changes is written once."""

from __future__ import annotations

import io
from types import SimpleNamespace

from rich.console import Console

from liveaid.routine.model import Turntable
from liveaid.stage.settings import Settings
from liveaid.stage.soundcheck_view import SoundCheckView, line_of


class Hall:
    """A stage with one page, then none, and no decks yet."""

    routine = SimpleNamespace(turntable=Turntable(), rendered=None)
    pages = 1

    def health(self):
        return {"page": {"clients": self.pages}}

    def ports_missing(self):
        return {}


def test_a_line_is_written_when_it_is_new_or_changes_and_not_again():
    out = io.StringIO()
    hall, done = Hall(), []
    view = SoundCheckView(
        Settings(), Console(file=out, width=120), map_says=lambda: (), done=lambda: done.append(1)
    )
    view.started(hall)
    first = [line_of(item) for item in view.items]
    view.look()
    assert out.getvalue().splitlines() == first
    hall.pages = 0
    view.look()
    changed = [line_of(item) for item in view.items if line_of(item) not in first]
    assert len(changed) == 1
    assert out.getvalue().splitlines() == first + changed
    assert done == []  # no deck was heard
