"""The options of every command that sets the stage: what is taken, and what comes of it."""

from pathlib import Path
from types import SimpleNamespace

import click
import pytest
from click.testing import CliRunner

from liveaid.commands import stage_options as module
from liveaid.commands.stage_options import (
    habits_option,
    rehearse_page,
    share_lines,
    stage_options,
    stage_settings,
    stage_watchers,
    with_habits,
)
from liveaid.errors import LiveaidError, UsageError
from liveaid.routine import Routine
from liveaid.stage.settings import Settings
from liveaid.stage.stage_log import StageLog

ROUTINE = Routine.model_validate(
    {"title": "T", "pieces": [{"name": "P", "bars": 1, "tempo": 100, "count": "clock"}]}
)


def asked(*words):
    """What a command with these options is given; its output where it refuses."""
    taken = {}

    @click.command()
    @habits_option
    @stage_options
    def perform(**options):
        taken.update(options)

    found = CliRunner(env={"COLUMNS": "200"}).invoke(perform, list(words))
    return taken or found.output


def test_what_is_asked_for_when_nothing_is_said():
    assert asked() == {
        "osc": "127.0.0.1:9000", "osc_map": None, "http": "127.0.0.1:8080", "midi": (),
        "pads": None, "midi_api": "auto", "lamps": ("grid-8x8",), "token": None, "share": False,
        "out": None, "send_osc": (), "clock": (), "timecode": (), "log": None,
        "share_at": "0.0.0.0:8443", "screen": None, "away": None, "no_habits": False,
    }  # fmt: skip


def test_what_may_be_said_more_than_once_and_what_is_said_by_its_name_alone():
    found = asked(
        "--midi", "one", "--midi", "two", "--lamps", "row-16", "--lamps", "row-8", "--send-osc",
        "a:1", "--send-osc", "b:2", "--clock", "x", "--clock", "y", "--timecode", "left=deck",
        "--timecode", "right=other", "--share", "--no-habits",
    )  # fmt: skip
    assert (found["midi"], found["lamps"]) == (("one", "two"), ("row-16", "row-8"))
    assert (found["send_osc"], found["clock"]) == (("a:1", "b:2"), ("x", "y"))
    assert found["timecode"] == ("left=deck", "right=other")
    assert (found["share"], found["no_habits"]) == (True, True)


@pytest.mark.parametrize("wrong", ["middle=deck", "left", "left=", "=deck"])
def test_a_player_is_named_by_side_and_port(wrong):
    assert f"'{wrong}': left=PORT or right=PORT would do" in asked("--timecode", wrong)


def test_help_says_what_is_taken_when_nothing_is_said():
    told = " ".join(asked("--help").split())
    for default in ("127.0.0.1:9000", "127.0.0.1:8080", "grid-8x8", "0.0.0.0:8443"):
        assert f"[default: {default}]" in told


def given(**more):
    return asked() | more


def settings_of(**more):
    return stage_settings(given(**more), ROUTINE, Path("routine.yaml"))


def test_a_page_for_this_machine_alone_needs_no_token_and_another_is_given_one(monkeypatch):
    monkeypatch.delenv("LIVEAID_TOKEN_KEPT", raising=False)
    assert settings_of().token is None
    made = settings_of(http="0.0.0.0:8080").token
    assert len(made) == 12  # nine bytes, six bits a letter
    assert settings_of(http="0.0.0.0:8080").token != made
    assert settings_of(http="0.0.0.0:8080", token="night").token == "night"
    assert settings_of(token="night-1_2.~").token == "night-1_2.~"
    with pytest.raises(UsageError, match="--token a b: letters, digits"):
        settings_of(token="a b")


def test_a_stage_that_is_started_again_keeps_its_token(monkeypatch):
    monkeypatch.setenv("LIVEAID_TOKEN_KEPT", "kept")
    assert settings_of(http="0.0.0.0:8080").token == "kept"


def test_the_sender_s_map_and_whether_its_lengths_are_needed(monkeypatch, tmp_path):
    monkeypatch.setattr(module, "deck_lengths_s", lambda routine, file: {"left": 60.0})
    assert settings_of().osc_map.position.address == "/deck/{deck}/position"
    assert settings_of().file_s == {}
    own = tmp_path / "osc-own.yaml"
    own.write_text("position: {address: '/p/{deck}', unit: fraction}\n")
    found = settings_of(osc_map=str(own))
    assert (found.osc_map.position.address, found.file_s) == ("/p/{deck}", {"left": 60.0})
    own.write_text("position: {address: '/p/{deck}'}\n")
    assert settings_of(osc_map=str(own)).file_s == {}


def test_it_is_shared_only_when_asked_for(monkeypatch):
    monkeypatch.setattr(module, "share_at", lambda address, token: (str(address), token))
    assert settings_of().share is None
    assert settings_of(share=True, token="night").share == ("0.0.0.0:8443", "night")


def test_more_layouts_than_controllers_are_refused():
    with pytest.raises(UsageError, match="--lamps row-16: one --midi for each"):
        settings_of(midi=("one",), lamps=("row-8-control", "row-16"))


def watchers_of(settings=None, **more):
    return stage_watchers(given(**more), settings or Settings())


def names_of(*watchers):
    return [type(one).__name__ for one in watchers]


def test_what_stands_beside_the_stage(monkeypatch, tmp_path):
    monkeypatch.setattr(module, "data_folder", lambda: tmp_path / "data")
    assert names_of(*watchers_of()) == ["StageLog", "Screen"]
    assert names_of(*watchers_of(log="no")) == ["Screen"]
    assert names_of(*watchers_of(log="no", send_osc=("127.0.0.1:7",))) == [
        "Screen", "PromptSender",
    ]  # fmt: skip
    shared = SimpleNamespace(share=SimpleNamespace(), midi_api="auto")
    assert names_of(*watchers_of(shared, log="no")) == ["Screen", "Sharing"]
    assert names_of(*watchers_of(log="no", out="lights-and-clock", clock=())) == [
        "Screen", *names_of(*module.load_config(
            module.config_path("lights-and-clock", "out"), module.Out).watchers("auto")),
    ]  # fmt: skip


def test_where_what_happened_is_logged(monkeypatch, tmp_path):
    logged = []
    monkeypatch.setattr(module, "StageLog", lambda file: logged.append(file) or StageLog(file))
    monkeypatch.setattr(module, "data_folder", lambda: tmp_path / "data")
    watchers_of()
    watchers_of(log=str(tmp_path / "own.log"))
    watchers_of(log="no")
    assert logged == [tmp_path / "data" / "stage.log", tmp_path / "own.log"]


def test_the_screen_s_size_and_how_far_away_it_is(monkeypatch):
    told = []
    monkeypatch.setattr(module, "Screen", lambda size, away: told.append((size, away)))
    watchers_of(log="no")
    watchers_of(log="no", screen="6in", away="3m")
    assert told == [(None, None), (6.0, 3.0)]


def test_the_page_that_clicks_keeps_the_token():
    assert (
        rehearse_page(SimpleNamespace(address="http://h/?token=x")) == "http://h/rehearse?token=x"
    )
    assert rehearse_page(SimpleNamespace(address="http://h/")) == "http://h/rehearse"


def test_what_to_open_on_a_phone(monkeypatch):
    """The code holds a number where there is one: it needs no name to be found."""
    coded = []
    monkeypatch.setattr(module, "qr_text", lambda url: coded.append(url) or "QR\n")
    assert share_lines(None) == []
    both = share_lines(SimpleNamespace(urls=lambda: ["https://name/", "https://10.0.0.2/"]))
    assert both[:2] == ["Shared   https://name/", "         https://10.0.0.2/"]
    assert both[-1] == "QR"
    assert share_lines(SimpleNamespace(urls=lambda: ["https://name/"]))[0].endswith("name/")
    assert coded == ["https://10.0.0.2/", "https://name/"]


def test_habits_are_learnt_from_the_takes_beside_the_map_or_from_those_named(monkeypatch):
    asked_of, answers = [], [None, SimpleNamespace(says="12 takes")]
    monkeypatch.setattr(module, "learnt", lambda takes, _: asked_of.append(takes) or answers.pop(0))
    file = Path("/s/routine.yaml")
    settings = Settings()
    assert with_habits(settings, ROUTINE, map_file=file, takes=None) == (settings, [])
    found, lines = with_habits(settings, ROUTINE, map_file=file, takes=Path("/t.sqlite"))
    assert (found.habits.says, lines) == ("12 takes", ["Learnt   12 takes"])
    assert asked_of == [module.takes_file(file), Path("/t.sqlite")]

    def spoiled(takes, routine):
        raise LiveaidError("spoiled")

    monkeypatch.setattr(module, "learnt", spoiled)
    assert with_habits(settings, ROUTINE, map_file=file, takes=None) == (
        settings, ["Learnt   nothing: spoiled"],
    )  # fmt: skip


def test_a_stage_that_starts_again_runs_its_own_words_but_for_restart(monkeypatch):
    ran = []

    class Keeper:
        def __init__(self, run, *, lamps_out, say):
            self.run_again = run

        def run(self):
            self.run_again(lambda: ran.append("standing by"))
            return 7

    monkeypatch.setattr(module, "Keeper", Keeper)
    monkeypatch.setattr(module.sys, "argv", ["liveaid", "perform", "--restart", "market"])
    monkeypatch.setenv("LIVEAID_TOKEN_KEPT", "kept")
    monkeypatch.setattr("liveaid.cli.main", ran.append)
    asked("--restart")
    assert ran == ["standing by", ["perform", "market"]]


def test_what_keeps_lamps_from_going_out_is_said_beside_the_report(monkeypatch, capsys):
    asked_of = []

    def put_out(settings):
        asked_of.append((settings.midi_api, [one.midi for one in settings.controllers]))
        return {"One": "no such port"}

    monkeypatch.setattr(module, "lamps_out_now", put_out)
    assert module._put_lamps_out(given(midi=("One",), midi_api="jack")) == 0
    assert asked_of == [("jack", ["One"])]
    assert capsys.readouterr() == ("", "One: no such port\n")


def test_a_kept_stage_has_a_token_for_good_and_its_own_words(monkeypatch, capsys):
    """Nine bytes are twelve letters of six bits. What is said goes beside the report."""
    monkeypatch.setenv("LIVEAID_TOKEN_KEPT", "")
    monkeypatch.delenv("LIVEAID_TOKEN_KEPT")
    monkeypatch.setattr(module.sys, "argv", ["liveaid", "perform", "market", "--restart"])
    loaded, dark = [], []
    monkeypatch.setattr(module, "_load", loaded.append)
    monkeypatch.setattr(module, "_put_lamps_out", dark.append)

    class Kept:
        def __init__(self, work, *, lamps_out, say):
            self.work, self.lamps_out, self.say = work, lamps_out, say

        def run(self):
            self.say("It goes on at once.")
            self.lamps_out()
            return 7

    monkeypatch.setattr(module, "Keeper", Kept)
    assert module._keep({"midi": ()}) == 7
    assert (loaded, dark) == ([["perform", "market"]], [{"midi": ()}])
    token = module.os.environ["LIVEAID_TOKEN_KEPT"]
    assert len(token) == 12
    assert capsys.readouterr() == ("", "It goes on at once.\n")
    module._keep({})
    assert module.os.environ["LIVEAID_TOKEN_KEPT"] == token


def test_the_options_that_end_a_command_before_it_begins(monkeypatch):
    """Said by their names alone: no word is taken after them."""
    monkeypatch.setattr(module, "_put_lamps_out", lambda options: print("lamps out"))
    monkeypatch.setattr(module, "_keep", lambda options: print("kept"))
    assert asked("--lamps-out") == asked("--lamps-out", "--restart") == "lamps out\n"
    assert asked("--restart") == "kept\n"
