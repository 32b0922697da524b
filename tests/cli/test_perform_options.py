"""What `perform` does by its options and says as it begins and ends, with the stage left out."""

import asyncio
import io
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
from click.testing import CliRunner

from liveaid.commands import perform
from liveaid.commands.shared_options import FILE, FOLDER, midi_api_option, osc_option
from liveaid.stage.settings import Controller, Settings
from liveaid.terminal import HarmlessConsole


@pytest.fixture
def stage(monkeypatch):
    """What stands on the stage and what is printed; `found` is the scene."""
    met = SimpleNamespace(out=io.StringIO(), watchers=None, items=[], shouted=[], lasting=[])

    class Service:
        address, osc_address, midi_state = "http://h/", "127.0.0.1:9000", "open"
        ask_stop = None

        def __init__(self, routine, settings, *, watchers):
            met.watchers = [type(each).__name__ for each in watchers]

        async def __aenter__(self):
            return self

        async def __aexit__(self, *_):
            pass

        async def run(self):
            met.out.write("(the show)\n")

    class View:
        def __init__(self, settings, screen, *, map_says, done):
            self.items = met.items

    def console(*, lasting=False):
        met.lasting.append(lasting)
        return HarmlessConsole(file=met.out)

    monkeypatch.setenv("COLUMNS", "100")
    steps = {
        "Service": Service, "SoundCheckView": View, "console": console,
        "LivingMap": lambda found, *, told: {}, "TerminalView": lambda layout, screen: [],
        "ends_by_signal": lambda ask: nullcontext(), "share_lines": lambda share: [],
        "shout": lambda screen, found: met.shouted.append(found),
    }  # fmt: skip
    for name, step in steps.items():
        monkeypatch.setattr(perform, name, step)
    met.found = SimpleNamespace(playable=lambda: "routine", says=tuple)
    return met


WHERE = ["Page http://h/", "OSC in 127.0.0.1:9000"]


def lines(stage):
    return [" ".join(line.split()) for line in stage.out.getvalue().splitlines()]


def test_a_performance_says_where_it_is_and_what_was_learnt(stage):
    asyncio.run(perform._perform(stage.found, Settings(), ["beside"], ["a habit"]))
    assert lines(stage) == [
        *WHERE, "Lamps no controller (--midi NAME would light one)", "a habit", "(the show)",
        "Lamps off, ports closed.",
    ]  # fmt: skip
    assert stage.watchers == ["dict", "list", "str"]
    assert stage.shouted == [stage.found]
    assert stage.lasting == [True]
    lit = Settings(controllers=(Controller(midi="grid"),))
    asyncio.run(perform._perform(stage.found, lit, [], []))
    assert "Lamps grid: open" in lines(stage)


@pytest.mark.parametrize(
    ("standings", "status", "said"),
    [
        (("ok", "not asked for"), 0, ["Ready."]),
        (("missing", "ok", "wrong"), 1, ["Not ready:", "n0: says 0", "n2: says 2"]),
        (("wrong",), 1, ["Not ready:", "n0: says 0"]),
    ],
)
def test_a_sound_check_ends_with_what_is_missing_or_wrong(stage, standings, status, said):
    stage.items += [
        SimpleNamespace(name=f"n{at}", standing=each, says=f"says {at}")
        for at, each in enumerate(standings)
    ]
    assert asyncio.run(perform._sound_check(stage.found, Settings(), ["beside"])) == status
    assert lines(stage)[3:] == ["(the show)", *said]
    assert stage.watchers == ["View", "str"]
    assert stage.lasting == [False]


@pytest.mark.parametrize(
    ("options", "did"),
    [
        ({}, ("perform", "learnt settings", ["beside learnt settings"], ["a habit"])),
        ({"no_habits": True}, ("perform", "settings", ["beside settings"], [])),
        ({"soundcheck": True}, ("check", "learnt settings", ["beside learnt settings"])),
    ],
)
def test_habits_are_learnt_unless_they_are_not_wanted(monkeypatch, options, did):
    """A sound check's status is its own: 1 where something is missing."""
    done, asked = [], []
    found = SimpleNamespace(playable_file=Path("m"), playable=lambda: "routine")
    monkeypatch.setattr(perform, "opened_to_play", lambda scene: found)
    monkeypatch.setattr(perform, "stage_settings", lambda options, routine, file: "settings")
    monkeypatch.setattr(
        perform, "with_habits",
        lambda settings, routine, **how: asked.append(how) or ("learnt settings", ["a habit"]),
    )  # fmt: skip
    monkeypatch.setattr(perform, "stage_watchers", lambda options, settings: [f"beside {settings}"])
    monkeypatch.setattr(perform, "_sound_check", lambda found, *told: ("check", *told))
    monkeypatch.setattr(perform, "_perform", lambda found, *told: ("perform", *told))
    monkeypatch.setattr(perform, "run_on_loop", lambda job: done.append(job) or 1)
    nothing = dict.fromkeys(("no_habits", "soundcheck", "restart", "lamps_out"), False)
    nothing["takes"] = Path("t")
    status = perform.command.callback("market", **nothing | options)
    assert (status, done) == (1 if "soundcheck" in options else 0, [did])
    assert asked == (
        [] if "no_habits" in options else [{"map_file": Path("m"), "takes": Path("t")}]
    )


def test_a_file_is_no_folder_a_folder_no_file_and_what_is_left_out_is_shown(tmp_path):
    """The MIDI system may be told by the environment."""
    (tmp_path / "file").touch()
    for kind, wrong in ((FILE, tmp_path), (FOLDER, tmp_path / "file")):
        with pytest.raises(click.BadParameter):
            kind.convert(str(wrong), None, None)
        assert kind.convert(str(tmp_path / "none"), None, None) == tmp_path / "none"

    @click.command()
    @osc_option("Where it listens.")
    @midi_api_option()
    def told(osc, midi_api):
        click.echo(f"{osc} {midi_api}")

    run = CliRunner().invoke
    assert run(told, []).output == "127.0.0.1:9000 auto\n"
    assert run(told, [], env={"LIVEAID_MIDI_API": "jack"}).output == "127.0.0.1:9000 jack\n"
    assert run(told, ["--help"]).output.count("[default: ") == 2
