"""How a scene is opened: what is said loudly, and a scene that comes along made once."""

import io
from types import SimpleNamespace

import pytest

from liveaid.commands import opening
from liveaid.errors import LiveaidError
from liveaid.routine import Routine, load_routine
from liveaid.routine.digest import map_digest
from liveaid.terminal import HarmlessConsole


@pytest.mark.parametrize(
    ("state", "placed", "loud"),
    [
        ("edited since", True, True), ("broken", True, True), ("broken", False, False),
        ("not rendered", False, False), ("as rendered", True, False), ("not rendered", True, False),
    ],
)  # fmt: skip
def test_that_another_map_is_used_than_the_written_one_is_said_loudly(
    monkeypatch, state, placed, loud
):
    out = io.StringIO()
    monkeypatch.setattr(opening, "console", lambda **_: HarmlessConsole(file=out))
    found = SimpleNamespace(
        state=state, placed=object() if placed else None, says=lambda: ("Edited.", "One is new.")
    )
    opening.say_state(found)
    assert out.getvalue() == (" Edited. \n  One is new.\n" if loud else "")


def test_the_first_line_of_it_stands_out(monkeypatch):
    """Printed in colour it is reversed; what follows is plain."""
    said = []
    screen = SimpleNamespace(say=said.append)
    opening.shout(screen, SimpleNamespace(says=lambda: ("Edited.", "One is new.", "Two too.")))
    assert [str(line.style) for line in said] == ["bold reverse", "", ""]


MAP = """\
title: Market
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs}}
"""
PLACED = MAP.replace("runs}", "runs, at: 1.0}")


@pytest.fixture
def along(monkeypatch, tmp_path):
    """A scene `market` that comes along; what was made of it is noted."""
    shipped = tmp_path / "shipped" / "market"
    shipped.mkdir(parents=True)
    (shipped / "routine.yaml").write_text(MAP)
    made = []

    def render(file, *, progress):
        made.append("rendered")
        (file.parent / "decks").mkdir(exist_ok=True)
        digest = map_digest(load_routine(file))
        (file.parent / "decks" / "routine.yaml").write_text(
            f"rendered: {{map: {digest}}}\n{PLACED}"
        )

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(opening, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(opening, "shipped", lambda word: tmp_path / "shipped")
    monkeypatch.setattr(opening, "map_file", lambda scene: shipped / "routine.yaml")
    monkeypatch.setattr("liveaid.demo.market.write_sounds", lambda folder: made.append(folder.name))
    monkeypatch.setattr("liveaid.render.render.render_scene", render)
    return SimpleNamespace(made=made, folder=tmp_path / "cache" / "market")


def test_a_scene_that_comes_along_is_made_and_rendered_before_it_is_played(along, capsys):
    found = opening.opened_to_play("market")
    assert isinstance(found.playable(), Routine)
    assert along.made == ["sounds", "rendered"]
    assert (along.folder / "routine.yaml").read_text() == MAP
    assert f"market comes along unrendered: making it in {along.folder}, once." in (
        capsys.readouterr().err
    )


def test_what_the_performer_changed_in_it_stays(along):
    along.folder.mkdir(parents=True)
    mine = MAP.replace("title: Market", "title: My market")
    (along.folder / "routine.yaml").write_text(mine)
    opening.opened_to_play("market")
    assert (along.folder / "routine.yaml").read_text() == mine


def test_a_map_with_all_its_seconds_is_rendered_all_the_same(along):
    """Its deck files are not there yet."""
    along.folder.mkdir(parents=True)
    (along.folder / "routine.yaml").write_text(PLACED)
    opening.opened_to_play("market")
    assert along.made == ["sounds", "rendered"]


def test_one_that_is_rendered_already_is_not_made_again(along):
    (along.folder / "decks").mkdir(parents=True)
    (along.folder / "routine.yaml").write_text(MAP)
    digest = map_digest(load_routine(along.folder / "routine.yaml"))
    (along.folder / "decks" / "routine.yaml").write_text(f"rendered: {{map: {digest}}}\n{PLACED}")
    opening.opened_to_play("market")
    assert along.made == []


def test_one_that_an_older_render_made_without_its_stamp_is_rendered_once_more_and_then_kept(along):
    (along.folder / "decks").mkdir(parents=True)
    (along.folder / "routine.yaml").write_text(MAP)
    (along.folder / "decks" / "routine.yaml").write_text(PLACED)
    for _ in range(2):
        opening.opened_to_play("market")
        assert along.made == ["sounds", "rendered"]


def test_a_cache_that_cannot_be_written_says_what_would_do(along, monkeypatch):
    def full(file, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(opening, "write_aside", full)
    with pytest.raises(LiveaidError, match="a cache folder that can be written to would do"):
        opening.opened_to_play("market")


def test_a_scene_of_the_performer_s_own_that_is_not_rendered_is_refused(along, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "routine.yaml").write_text(MAP)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "map_file", lambda scene: tmp_path / "mine" / "routine.yaml")
        with pytest.raises(LiveaidError, match="liveaid render"):
            opening.opened_to_play("mine")
    assert along.made == []
