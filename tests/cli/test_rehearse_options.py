"""What `rehearse` does by its options, step by step, with the stage left out."""

from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import rehearse
from liveaid.errors import UsageError
from liveaid.practice.ladder import Ladder

PIECES = (
    SimpleNamespace(name="Trams", energy=2, tempo_bpm=92.0),
    SimpleNamespace(name="Woks", energy=5, tempo_bpm=96.0),
    SimpleNamespace(name="Bells", energy=4, tempo_bpm=90.0),
)
ROUTINE = SimpleNamespace(pieces=PIECES, turntable=SimpleNamespace(pitch_range_percent=8.0))


@dataclass(frozen=True)
class Aim:
    piece: str = ""
    sender: str = ""
    delays: str = ""


@pytest.fixture
def rehearsed(monkeypatch, tmp_path):
    """rehearsed(**options): what was done, in order, and the session that was begun."""
    file = tmp_path / "routine.yaml"

    def of(**options):
        did = []

        async def begun(session, found, settings, takes, trace, options, learnt):
            did.append(("rehearse", session, settings, takes, trace, learnt))

        steps = {
            "opened_to_play": lambda scene: SimpleNamespace(
                playable_file=file, playable=lambda: ROUTINE
            ),
            "aim_of": lambda routine, wanted, limits: Aim(wanted),
            "stored_trace": lambda which, takes: (which, takes),
            "_report_at_once": lambda trace, aim, as_json: did.append(("at once", aim)) or 0,
            "stage_settings": lambda words, routine, map_file: "settings",
            "calibrate": lambda *told, **how: did.append(("calibrate", how)),
            "_with_delays": lambda aim, takes, sender, output: Aim(aim.piece, sender, output),
            "with_slower_decks": lambda aim, found, part: Aim(f"{aim.piece} at {part}"),
            "with_habits": lambda *told, **how: ("learnt settings", ["a habit"]),
            "Session": lambda aim, *, ladder, count_in_bars: (aim, ladder, count_in_bars),
            "_ladder": lambda aim, options: "ladder",
            "_rehearse": begun,
        }
        for name, step in steps.items():
            monkeypatch.setattr(rehearse, name, step)
        nothing = {parameter.name: None for parameter in rehearse.command.params}
        nothing |= dict.fromkeys(rehearse.STAGE_WORDS)
        del nothing["scene"]
        asked = nothing | {"limits": "performer", "output": "page", "count_in": 1} | options
        assert rehearse.command.callback("market", **asked) == 0
        return did

    return SimpleNamespace(of=of, folder=tmp_path)


def test_a_whole_routine_is_practised_with_what_is_learnt_of_habits(rehearsed):
    """Takes lie beside the map unless another file is named; the click is the page's."""
    takes = rehearsed.folder / "takes.sqlite"
    session = (Aim("", "default", "page"), "ladder", 1)
    assert rehearsed.of() == [("rehearse", session, "learnt settings", takes, None, ["a habit"])]
    ((_, _, _, own, *_),) = rehearsed.of(takes=Path("own.sqlite"))
    assert own == Path("own.sqlite")


@pytest.mark.parametrize("options", [{"piece": "Trams"}, {"minutes": 30.0}, {"no_habits": True}])
def test_habits_are_left_alone_where_a_stretch_is_practised_or_none_are_wanted(rehearsed, options):
    ((_, _, settings, _, _, learnt),) = rehearsed.of(**options)
    assert (settings, learnt) == ("settings", [])


def test_a_trace_runs_again_at_once_or_through_the_stage(rehearsed):
    ((_, _, _, takes, trace, _),) = rehearsed.of(replayed="7")
    assert trace == ("7", takes)
    assert rehearsed.of(replayed="7", fast=True) == [("at once", Aim(""))]
    with pytest.raises(UsageError, match="--fast goes with --replay"):
        rehearsed.of(fast=True)


def test_delays_are_measured_and_nothing_else(rehearsed):
    assert rehearsed.of(calibrate=True, osc_map="/maps/osc-turns.yaml", output="headphones") == [
        ("calibrate", {"sender": "osc-turns", "output": "headphones"})
    ]


def test_slower_decks_are_made_for_one_stretch(rehearsed):
    ((_, (aim, *_), *_),) = rehearsed.of(piece="Trams", slower_decks=True, start_at=0.5)
    assert aim.piece == "Trams at 0.5"
    for options in ({}, {"piece": "Trams", "minutes": 30.0}):
        with pytest.raises(UsageError, match="with --piece and one stretch, it would do"):
            rehearsed.of(slower_decks=True, **options)


def test_a_stretch_that_is_none_is_told_with_those_there_are(monkeypatch, tmp_path):
    monkeypatch.setattr(rehearse, "aim_of", lambda routine, wanted, limits: None)
    monkeypatch.setattr(rehearse, "_limits", lambda options: None)
    with pytest.raises(UsageError, match="--piece Horn: no such stretch; one of these would do:"
                                         " Trams, Woks, Bells; or"):  # fmt: skip
        rehearse._aim(ROUTINE, {"piece": "Horn"}, tmp_path / "takes.sqlite")


def test_before_the_first_take_the_weakest_is_the_one_of_most_energy(monkeypatch, tmp_path):
    wanted = []
    monkeypatch.setattr(rehearse, "aim_of", lambda routine, name, limits: wanted.append(name) or 1)
    monkeypatch.setattr(rehearse, "_limits", lambda options: None)
    rehearse._aim(ROUTINE, {"piece": "weakest"}, tmp_path / "takes.sqlite")
    rehearse._aim(ROUTINE, {"piece": None}, tmp_path / "takes.sqlite")
    assert wanted == ["Woks", ""]


def test_afterwards_it_is_the_first_of_what_is_to_be_gained(monkeypatch, tmp_path):
    class Reader:
        def __init__(self, file):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def delays(self, sender, output):
            return f"{sender} through {output}"

    takes = tmp_path / "takes.sqlite"
    monkeypatch.setattr(rehearse, "TakeReader", Reader)
    monkeypatch.setattr(rehearse, "score_unscored", lambda takes, routine: None)
    found = SimpleNamespace(order=[SimpleNamespace(name="Bells"), SimpleNamespace(name="Woks")])
    monkeypatch.setattr(rehearse, "look", lambda routine, reader, **how: found)
    none = rehearse._with_delays(Aim("Trams"), takes, "default", "page")
    assert none == Aim("Trams", "default", rehearse.NO_DELAYS)
    takes.touch()
    assert rehearse._weakest(ROUTINE, takes) == "Bells"
    known = rehearse._with_delays(Aim("Trams"), takes, "default", "page")
    assert known.delays == "default through page"


def test_a_ladder_goes_by_the_options_and_the_decks_there_are():
    options = {"start_at": 0.7, "step": 0.02, "up_after": 3, "down_after": 2}
    aim = SimpleNamespace(
        piece="Trams", asked=SimpleNamespace(pieces=PIECES[1:]), decks={}, routine=ROUTINE
    )
    assert rehearse._ladder(SimpleNamespace(piece=""), options) is None
    for decks, parts in (({}, (1.0,)), ({1.0: "whole", 0.5: "half"}, (1.0, 0.5))):
        aim.decks = decks
        assert rehearse._ladder(aim, options) == Ladder(
            full_tempo_bpm=96.0, decks_parts=parts, pitch_range_percent=8.0, start_part=0.7,
            step_part=0.02, up_after=3, down_after=2,
        )  # fmt: skip


def test_a_trace_replayed_at_once_is_told_take_by_take(monkeypatch, capsys):
    takes = [SimpleNamespace(score=n, ended="end", to_json=lambda n=n: {"n": n}) for n in (1, 2)]
    monkeypatch.setattr(rehearse, "replay_at_once", lambda trace, aim: takes[: len(trace)])
    monkeypatch.setattr(rehearse, "take_line", lambda score, *, ended: f"take {score}, {ended}")
    assert rehearse._report_at_once((1, 2), None, as_json=False) == 0
    assert rehearse._report_at_once((), None, as_json=False) == 0
    assert capsys.readouterr().out.splitlines() == [
        "take 1, end", "take 2, end", "No take in this trace.",
    ]  # fmt: skip
    assert rehearse._report_at_once((1,), None, as_json=True) == 0
    assert "".join(capsys.readouterr().out.split()) == '{"takes":[{"n":1}]}'
