"""What the demo tells and notes, line by line, from small made performances."""

import io
from types import SimpleNamespace

import pytest
from rich.console import Console

from liveaid.demo import alley, show, tour
from liveaid.demo.tally import FollowTally, ShownAt
from liveaid.practice.records import Kept
from liveaid.routine import Routine
from liveaid.stage.address import HTTP_ADDRESS, OSC_ADDRESS


@pytest.fixture
def screen():
    """So narrow that what is not left whole is broken."""
    return Console(file=io.StringIO(), width=50)


def lines(screen):
    return [line.rstrip() for line in screen.file.getvalue().splitlines()]


SCORE = FollowTally(moments=400, pieces_right=99.756, beats_right=98.504, sure=97.06,
                    sure_and_right=99.128, beat_error_ms=12.34)  # fmt: skip


def test_how_well_it_was_followed_is_told_in_figures(screen):
    outcome = SimpleNamespace(stopped=False)
    tour._say_score(screen, SCORE, outcome, [10.0, 12.56, 40.0])
    head, *said = lines(screen)
    assert head.startswith("How well it was followed ─")
    assert said == [
        "Set piece right   99.76 % of 400 moments",
        "Beat right        98.50 %, give or take one",
        "Beat off by        12.3 ms in the median",
        "Called itself sure 97.1 % of the time, and was right 99.13 % of that",
        "A beat was shown 12.6 ms after it fell, in the median of 3 beats over UDP",
    ]


def test_what_was_not_heard_is_not_told_and_an_early_end_is(screen):
    nothing = FollowTally(0, 0.0, 0.0, 0.0, 0.0, None)
    tour._say_score(screen, nothing, SimpleNamespace(stopped=True), [])
    assert lines(screen)[1:] == [
        "Stopped early; this is the part that was played.",
        "Set piece right    0.00 % of 0 moments",
        "Beat right         0.00 %, give or take one",
        "Called itself sure 0.0 % of the time, and was right 0.00 % of that",
    ]


@pytest.mark.parametrize("fast", [True, False])
def test_the_fast_demo_plays_at_once_and_eight_seconds_over_the_socket(monkeypatch, fast):
    """Not fast, all of it goes over the addresses that a performer uses, and is kept from there."""
    did = []

    def at_once(routine, performance, console, *, takes):
        did.append(("at once", takes))
        return "whole"

    def live(routine, performance, console, *, settings, until_s, takes):
        (controller,) = settings.controllers
        assert controller.layout == show.lamp_layout()
        did.append((settings.osc.port, settings.http.port, until_s, takes))
        return "on socket"

    monkeypatch.setattr(tour, "at_once", at_once)
    monkeypatch.setattr(tour, "live", live)
    performance = SimpleNamespace(duration_s=200.0)
    told = tour._perform(None, performance, None, fast=fast, takes="takes")
    if fast:
        assert told == ("whole", "on socket")
        assert did == [("at once", "takes"), (0, 0, 8.0, None)]
    else:
        assert told == ("on socket", "on socket")
        assert did == [(OSC_ADDRESS.port, HTTP_ADDRESS.port, 200.0, "takes")]


def test_a_beat_is_noted_when_it_is_shown_first(monkeypatch):
    """Bars of four, counted from 1: bar 3 beat 2 is the tenth beat, 9 from the first."""
    now = 100.0
    monkeypatch.setattr(show.time, "monotonic", lambda: now)
    outcome = show.ShowOutcome()
    beats = show._Beats(outcome, 4)
    beats.begin_s = 90.0

    def prompt(index, bar, beat):
        piece = None if index is None else SimpleNamespace(index=index)
        return SimpleNamespace(piece=piece, bar=bar, beat=beat)

    for told in ((None, 1, 1), (0, None, 1), (0, 1, None), (1, 3, 2), (1, 3, 2), (2, 3, 2)):
        beats.prompted(prompt(*told), 5.0)
        now += 0.5
    assert outcome.shown == [ShownAt(11.5, 1, 9), ShownAt(12.5, 2, 9)]
    beats.heard(None)
    assert outcome.heard == 1


def test_a_take_is_kept_by_the_time_of_day_it_began(monkeypatch):
    take = Kept(title="T", at=0.0, aim="", ended="complete", duration_s=1.0, tempo_part=1.0,
                start_s=2.5, counted_in_s=None, visits=(), trace={})  # fmt: skip
    (kept,) = show._kept([take, "a count-in"], None, 1000.0)
    assert kept.at == 1002.5


def test_the_lamps_are_told_once_a_set_piece_that_is_followed(screen, monkeypatch):
    routine = Routine.model_validate({"title": "T", "pieces": [
        {"name": "P", "bars": 1, "tempo": 90, "count": "clock"}] * 2})  # fmt: skip
    monkeypatch.setattr(show, "lamps_for", lambda prompt, layout, cue: {})
    monkeypatch.setattr(show, "lamp_line", lambda levels: "lamps")
    monkeypatch.setattr(show, "prompt_line", lambda prompt: f"piece {prompt.piece.index}")
    lamps = show._Lamps(routine, screen)
    for index, state in ((None, "silent"), (0, "unsure"), (0, "following"), (0, "following"),
                         (1, "following"), (0, "following")):  # fmt: skip
        piece = None if index is None else SimpleNamespace(index=index)
        lamps.show(SimpleNamespace(piece=piece, state=state), 1.0)
    assert lines(screen) == [
        "lamps", "  piece 0", "lamps", "  piece 1", "lamps", "  piece 0",
    ]  # fmt: skip


def test_a_set_piece_of_the_alley_is_told_with_its_acts_and_how_it_went(screen):
    told = {"piece": "Ask", "fastest_bpm": 107.6, "beats_right": 98.75, "score": "clean",
            "hands": ["right: early"]}  # fmt: skip
    calls = [SimpleNamespace(says=f"act {number}") for number in range(15)]
    alley._say(screen, calls, told)
    alley._say(screen, calls[:14], told | {"score": None, "hands": []})
    fourteen = " · ".join(f"act {number}" for number in range(14))
    assert lines(screen) == [
        f"Ask: {fourteen} · ...",
        "  playable up to 108 BPM; followed to the beat 98.8 % of the time; take clean",
        "  right: early",
        f"Ask: {fourteen}",
        "  playable up to 108 BPM; followed to the beat 98.8 % of the time; take not found",
    ]


def test_what_a_take_of_the_alley_counts(monkeypatch):
    monkeypatch.setattr(alley, "piece_line", lambda piece: f"line of {piece.name}")
    monkeypatch.setattr(alley, "hand_lines", lambda score: ["a hand"])
    piece = SimpleNamespace(
        name="last", missed=1, added=2,
        faders=[SimpleNamespace(cuts=[1, 2]), SimpleNamespace(cuts=[3])],
    )  # fmt: skip
    first = SimpleNamespace(score=SimpleNamespace(pieces=[]))
    last = SimpleNamespace(score=SimpleNamespace(pieces=[SimpleNamespace(), piece]))
    assert alley._score(SimpleNamespace(scores=[first, first, last])) == {
        "score": "line of last", "hands": ["a hand"], "missed": 1, "added": 2, "cuts": 3,
    }  # fmt: skip
    assert alley._score(SimpleNamespace(scores=[])) == {"score": None}


def test_a_set_piece_without_a_count_of_its_own_is_played_after_the_one_before():
    pieces = [{"name": name, "bars": 1, "tempo": 90, "count": count} for name, count in (
        ("A", "clock"), ("B", "left"), ("C", "clock"))]  # fmt: skip
    for piece in pieces[1:2]:
        piece["left"] = {"hand": "runs"}
    routine = Routine.model_validate({"title": "T", "limit": 1, "pieces": pieces})
    aims = [alley._aim(routine, index) for index in range(3)]
    assert [(aim.first, aim.piece, [p.name for p in aim.routine.pieces]) for aim in aims] == [
        (0, "A", ["A"]), (1, "B", ["B"]), (1, "C", ["B", "C"]),
    ]  # fmt: skip
    assert {aim.routine.limit_s for aim in aims} == {None}


def test_a_scene_is_opened_where_it_is_told_and_again_where_it_was(screen, monkeypatch, tmp_path):
    monkeypatch.setattr(tour, "write_sounds", lambda folder, *, on_sound: on_sound("tram"))
    folder = tmp_path / "a folder with a name" / "that is longer than a line" / "market"
    for _ in range(2):
        tour._open_scene(folder, screen)
    assert (folder / "routine.yaml").is_file()
    assert lines(screen).count(f"Scene  {folder}") == 2


def test_only_the_first_set_piece_with_acts_is_seen_on_the_page(screen, monkeypatch):
    """Of three the second has no acts; the first can be played at no tempo that is known."""
    routine = Routine.model_validate({"title": "T", "pieces": [
        {"name": name, "bars": 1, "tempo": 90, "count": "clock"} for name in "ABC"]})  # fmt: skip
    fastest = [SimpleNamespace(piece=0, fastest_bpm=None),
               SimpleNamespace(piece=1, fastest_bpm=99.0),
               SimpleNamespace(piece=2, fastest_bpm=101.26)]  # fmt: skip
    played = []

    def play(aim, console, seed, on_stage):
        played.append((aim.piece, seed, on_stage))
        return {"beats_right": 99.0, "score": None}

    monkeypatch.setattr(alley, "fastest", lambda routine: fastest)
    monkeypatch.setattr(
        alley, "calls",
        lambda routine, index: [] if index == 1 else [SimpleNamespace(says="hey", part="hey")],
    )  # fmt: skip
    monkeypatch.setattr(alley, "_played", play)
    told = alley.play_alley(routine, screen, seed=5, on_stage="page")
    assert played == [("A", 5, "page"), ("C", 5, None)]
    nothing = {"words": 1, "sounds": 0, "figures": [], "beats_right": 99.0, "score": None}
    assert told == [
        {"piece": "A", "fastest_bpm": 0.0, **nothing},
        {"piece": "C", "fastest_bpm": 101.3, **nothing},
    ]


def test_what_a_prompt_says_is_noted_by_its_set_piece():
    told = show._said(2.0, SimpleNamespace(
        piece=SimpleNamespace(index=3), beat_position=1.5, state="following"))  # fmt: skip
    assert (told.piece, told.beat_position, told.sure) == (3, 1.5, True)
    lost = show._said(2.0, SimpleNamespace(piece=None, beat_position=None, state="lost"))
    assert (lost.piece, lost.sure) == (None, False)
