"""What `rehearse` does by its options, step by step, with the stage left out."""

import asyncio
import io
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import rehearse
from liveaid.errors import UsageError
from liveaid.practice.ladder import Ladder
from liveaid.stage.settings import Settings
from liveaid.terminal import HarmlessConsole

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


# -- the rehearsal itself, with the stage and the store left out

NOTICE = "A [break] of five minutes is due, after 25 minutes of work."
"""Longer than the line it is told in, and left whole; brackets are no style."""


@pytest.fixture
def evening(monkeypatch):
    """evening(trace, **options): a rehearsal of one take, and all that took part."""
    monkeypatch.setenv("COLUMNS", "200")
    plan = SimpleNamespace(turn=SimpleNamespace(what="Trams"), turns=())

    class Store:
        closed, in_memory, waiting = False, 2, 0

        def __init__(self, file):
            self.file = file

        def close(self):
            self.closed = True

    class Speaker:
        def __init__(self):
            self.said, self.stopped = [], False

        def say(self, lines, notice=False):
            self.said.append((lines, notice))

        def stop(self):
            self.stopped = True

    class Rehearsal:
        def __init__(self, session, routine, **how):
            self.how, self.gone_to = how, []

        def go_to(self, what):
            self.gone_to.append(what)

    class Service:
        ask_stop = None

        def __init__(self, routine, settings, *, watchers):
            self.settings, self.watchers = settings, watchers

        async def __aenter__(self):
            return self

        async def __aexit__(self, *_):
            pass

    def of(trace=None, *, planned=plan, **options):
        narrow = HarmlessConsole(file=(out := io.StringIO()))
        narrow.width = 40
        met = SimpleNamespace(scored=[], where=[], phase="rest")

        def kept(kind, name):
            def make(*told, **how):
                setattr(met, name, kind(*told, **how))
                return getattr(met, name)

            return make

        async def done(stage, trace):
            """A take is told, and a notice given."""
            how = met.rehearsal.how
            how["told"](SimpleNamespace(score=1))
            how["notice"](NOTICE)

        steps = {
            "TakeStore": kept(Store, "store"), "Speaker": kept(Speaker, "speaker"),
            "Rehearsal": kept(Rehearsal, "rehearsal"), "Service": kept(Service, "stage"),
            "LivingMap": kept(lambda found, **how: SimpleNamespace(**how), "living"),
            "score_unscored": lambda *told: met.scored.append(told[0]),
            "_plan": lambda routine, takes, minutes: planned,
            "stage_watchers": lambda options, settings: ["lamps"],
            "_until_done": done, "ends_by_signal": lambda ask: nullcontext(),
            "say_state": lambda found: None, "_ladder": lambda aim, options: f"ladder of {aim}",
            "_say_where": lambda *told, kept: met.where.append((told[4], kept)),
            "_tell": lambda screen, take, session, as_json: screen.say(f"take {as_json}"),
            "spoken_lines": lambda score: [f"take {score}"], "spoken": str.upper,
            "console": lambda *, lasting: narrow if lasting else None,
        }  # fmt: skip
        for name, step in steps.items():
            monkeypatch.setattr(rehearse, name, step)
        aim = SimpleNamespace(limits=None, routine=ROUTINE)
        session = SimpleNamespace(aim=aim, takes=3, clean=1, judged=2, phase=lambda now: met.phase)
        found = SimpleNamespace(playable=lambda: ROUTINE)
        asked = {"as_json": False, "minutes": None, "speak": False, "booth_level": 96.0,
                 "break_after": 25.0} | options  # fmt: skip
        asyncio.run(
            rehearse._rehearse(
                session, found, Settings(osc_map="own"), Path("t"), trace, asked, ["a habit"]
            )
        )
        met.said = out.getvalue().splitlines()
        return met

    return of


def test_a_rehearsal_keeps_its_takes_and_tells_what_comes_of_them(evening, capsys):
    met = evening()
    how = met.rehearsal.how
    assert met.said == [
        "a habit", "take False", NOTICE, "3 takes, 1 clean of 2 judged.",
    ]  # fmt: skip
    assert (met.store.file, met.store.closed, met.scored) == (Path("t"), True, [Path("t")])
    assert capsys.readouterr().err == "2 takes are lost: the disk has no room for them.\n"
    assert (how["store"], how["booth_dba"], how["break_after_s"]) == (met.store, 96.0, 1500.0)
    assert (how["plan"], how["ladder_for"]("Woks")) == (None, "ladder of Woks")
    assert met.where == [(None, True)]
    assert met.stage.watchers == [met.rehearsal, "lamps", met.living]
    assert met.stage.settings.osc_map == "own"
    assert not hasattr(met, "speaker")
    for met.phase, busy in (("rest", False), ("count-in", True), ("take", True)):
        assert met.living.busy() is busy


def test_as_json_only_takes_are_told(evening):
    met = evening(as_json=True)
    assert met.said == ["take True"]
    assert met.where == []


def test_a_replay_is_not_kept_and_its_trace_is_sent_as_liveaid_s_own_messages(evening, capsys):
    met = evening("trace")
    assert not hasattr(met, "store")
    assert met.scored == []
    assert capsys.readouterr().err == ""
    assert met.stage.watchers == [met.rehearsal, "lamps"]
    assert met.stage.settings.osc_map == rehearse.DEFAULT_MAP
    assert met.where == [(None, False)]


def test_what_is_told_is_spoken_too(evening):
    """A notice may wait for a quiet moment; what is said of a take may not."""
    met = evening(speak=True)
    assert met.speaker.said == [(["take 1"], False), ([NOTICE.upper()], True)]
    assert met.speaker.stopped


def test_a_session_begins_with_its_first_turn(evening):
    met = evening(minutes=30.0)
    assert met.rehearsal.gone_to == ["Trams"]
    assert met.where[0][0].turn.what == "Trams"
    over = SimpleNamespace(turn=None)
    assert evening(minutes=30.0, planned=over).rehearsal.gone_to == []
    assert evening().rehearsal.gone_to == []


@pytest.mark.parametrize("first", ["sending", "running"])
def test_a_replay_ends_with_its_trace_or_with_the_stage_and_tells_what_failed(monkeypatch, first):
    """What has not ended by then is given up."""
    ended, sent_to = [], []

    async def lasts(name):
        try:
            await asyncio.sleep(0 if name == first else 60)
        except asyncio.CancelledError:
            ended.append(name)
            raise

    async def replay(trace, to):
        sent_to.append((trace, to))
        await lasts("sending")

    monkeypatch.setattr(rehearse, "replay", replay)
    stage = SimpleNamespace(
        osc_address=SimpleNamespace(host="127.0.0.1", port=9000), run=lambda: lasts("running")
    )
    asyncio.run(rehearse._until_done(stage, "trace"))
    assert ended == [{"sending": "running", "running": "sending"}[first]]
    assert sent_to == [("trace", rehearse.Address("127.0.0.1", 9000))]
    sent_to.clear()
    if first == "running":
        asyncio.run(rehearse._until_done(stage, None))
        assert sent_to == []

        async def fails():
            raise OSError("the port is gone")

        stage.run = fails
        with pytest.raises(OSError, match="the port is gone"):
            asyncio.run(rehearse._until_done(stage, "trace"))
