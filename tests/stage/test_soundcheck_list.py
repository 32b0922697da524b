"""The sound check's list where no terminal renews it: what changes is written once."""

from __future__ import annotations

import io
from types import SimpleNamespace

from rich.console import Console

from liveaid.routine.config_file import config_path, load_config
from liveaid.routine.model import Turntable
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.osc import Heard
from liveaid.stage.settings import Controller, Settings
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


def view_of(settings=None, *, out=None, rendered=None, done=lambda: None):
    hall = Hall()
    hall.routine = SimpleNamespace(turntable=Turntable(), rendered=rendered)
    console = Console(file=out or io.StringIO(), width=40)
    view = SoundCheckView(settings or Settings(), console, map_says=lambda: (), done=done)
    view.started(hall)
    return view


def test_a_line_is_left_whole_however_narrow_the_terminal():
    """What stands in brackets is said too."""
    out = io.StringIO()
    view_of(out=out)
    assert "- map: its deck files were made elsewhere: hear a cue on each" in out.getvalue()


def test_the_list_is_looked_at_twice_a_second(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("liveaid.stage.soundcheck_view.time.monotonic", lambda: now[0])
    view = view_of()
    first = view.items
    for now[0], anew in ((100.4375, False), (100.5, True), (100.9375, False), (101.0, True)):
        view.prompted(None, now[0])
        assert (view.items is not first) is anew
        first = view.items
    now[0] = 101.5
    view.heard(Heard("pitch", "left", 0.0, 101.5))
    assert view.items is not first


def test_it_is_done_when_all_that_is_asked_for_is_there(monkeypatch):
    """Both records run at pitch 0 for two seconds: heard, forwards, in seconds; no controller."""
    now, done = [0.0], []
    monkeypatch.setattr("liveaid.stage.soundcheck_view.time.monotonic", lambda: now[0])
    view = view_of(done=lambda: done.append(1), rendered=object())
    for step in range(200):
        now[0] = step / 100
        for side in ("left", "right"):
            view.heard(Heard("position", side, step / 100, now[0]))
    view.look()
    found = {item.name: item.standing for item in view.items}
    assert (found["map"], found["lamps"], found["left unit"]) == ("ok", "not asked for", "ok")
    assert view.ready
    assert done


def test_a_word_is_heard_and_a_controller_s_pads_are_asked_for():
    layout = load_config(config_path("grid-8x8", "lamps"), LampLayout)
    view = view_of(Settings(controllers=(Controller("nightbox", layout),)))
    assert view.told_word("next", None) is True
    view.look()
    found = {item.name: item.says for item in view.items}
    assert found["pads"] == "heard: next"
    assert found["lamps"] == "the port is open; one lamp changes every second"
