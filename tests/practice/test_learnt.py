"""What kept takes say of the performer reaches the follower on stage, and stops nothing."""

import math
import time
from dataclasses import replace

import pytest

from liveaid.cli import main
from liveaid.follow import Habits
from liveaid.follow.habits import PieceGone
from liveaid.practice.aim import aim_of, played_in
from liveaid.practice.learnt import _gone, learnt
from liveaid.practice.records import Kept
from liveaid.practice.store import TakeStore
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.routine import load_routine
from liveaid.routine.load import read_routine
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service

MAP = """
title: Four stalls
metre: 4
pieces:
  - {name: Lids, bars: 4, tempo: 120, count: left, left: {hand: runs, at: 2.0}}
  - {name: Pestle, bars: 4, tempo: 120, count: right, right: {hand: runs, at: 5.0}}
  - name: Twins
    bars: 4
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0}
    right: {hand: works, from: 40.0, to: 41.0}
  - {name: Down, bars: 4, tempo: 120, count: left, left: {hand: runs, at: 50.0}}
"""
# 16 beats at 120 BPM last 8 s; at a pitch of +3 per cent, 8 / 1.03 s.
PLAYED_S = 8.0 / 1.03


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    file = tmp_path_factory.mktemp("stalls") / "routine.yaml"
    file.write_text(MAP)
    return file


@pytest.fixture(scope="module")
def routine(scene):
    return load_routine(scene)


def take(routine, order, *, at=0.0, aim="", trace=(), left_at=16.0):
    """The set pieces of `order` whole, but for the last, one after another from second 10."""
    visits = tuple(
        Visit(piece, 0.0, 16.0 if k + 1 < len(order) else left_at,
              10.0 + k * PLAYED_S, 10.0 + (k + 1) * PLAYED_S)
        for k, piece in enumerate(order)
    )  # fmt: skip
    return Kept(title=routine.title, at=at, aim=aim, ended="complete", duration_s=40.0,
                tempo_part=1.0, start_s=10.0, counted_in_s=None, visits=visits,
                trace=trace_of(trace), played=played_in(aim_of(routine, "")))  # fmt: skip


def kept_in(folder, *takes):
    """A file of takes; those with a word said of them are given as (take, word)."""
    file = folder / "takes.sqlite"
    store = TakeStore(file)
    for one in takes:
        kept, said = one if isinstance(one, tuple) else (one, "")
        number = store.keep(kept)
        if said:
            store.say(number.result(), said)
    store.close()
    return file


@pytest.fixture(scope="module")
def ten(routine, tmp_path_factory):
    """Ten takes of the four set pieces, the third played twice each time."""
    takes = [take(routine, (0, 1, 2, 2, 3), at=float(k)) for k in range(10)]
    return kept_in(tmp_path_factory.mktemp("ten"), *takes)


def test_ten_takes_with_one_set_piece_played_twice(routine, ten):
    """50 visits, 10 begun anew: -ln((200 e^-7 + 10) / 250) = 3.2008."""
    habits = learnt(ten, routine)
    assert (habits.takes, habits.pieces, habits.again) == (10, 50, 10)
    assert (habits.skipped, habits.early, habits.back) == (0, 0, 0)
    assert habits.numbers().again == pytest.approx(3.2008, abs=1e-4)
    # The twins are counted by the clock and tell no pitch: 3 of 5 do.
    assert (habits.pitched, habits.pitch_percent) == (30, pytest.approx(3.0))


def test_only_what_was_performed_as_it_is_written_counts(routine, tmp_path):
    """Left out: what the performer dropped, one set piece practised, Pestle as it was before.

    Lids left at beat 9 of 16, then Pestle as it was: nobody knows whether it was left for that.
    """
    old = {**played_in(aim_of(routine, "")), "1": "as it was"}
    file = kept_in(
        tmp_path,
        (take(routine, (0, 0, 0)), "drop"),
        take(routine, (2, 2, 2), aim="Twins"),
        replace(take(routine, (0, 1, 3)), played=old),
        replace(take(routine, (1, 1)), played=old),
    )
    found = learnt(file, routine)
    assert (found.takes, found.pieces) == (1, 2)
    assert (found.again, found.skipped) == (0, 0)


def test_a_short_or_cut_visit_tells_no_pitch(routine, tmp_path):
    found = learnt(kept_in(tmp_path, take(routine, (0,), left_at=9.0)), routine)
    assert (found.pieces, found.pitched, found.pitch_percent) == (1, 0, 0.0)


def test_how_far_from_its_cue_a_record_is_let_go(routine, tmp_path):
    """In Twins, 10 s to 18 s, left stands at 30.10 and is let go on every second beat of .5 s, for
    half a second, and is then back within .1 s: always .10 s from the cue at 30.0, to a message
    of .01 s."""

    def left(now):
        since_s = (now - 10.5) % 1.0 if now > 10.5 else 0.9
        return 30.1 + (since_s if since_s < 0.5 else max(0.5 - 5.0 * (since_s - 0.5), 0.0))

    heard = [(k / 100, "left", left(k / 100)) for k in range(900, 1750)]
    found = learnt(kept_in(tmp_path, take(routine, (2,), trace=heard)), routine)
    assert found.let_go == 7
    assert found.off_cue_s == pytest.approx(0.10, abs=0.01)


@pytest.mark.parametrize(
    ("visit", "percent"),
    [
        # 8 beats at 120 BPM last 4 s. A fader of 8 % and 2 more: beyond 10 nobody set it so.
        (Visit(0, 0.0, 8.0, 10.0, 14.0), 0.0), (Visit(0, 0.0, 8.0, 10.0, 13.2), None),
        (Visit(0, 0.0, 8.0, 10.0, 10.0 + 4 / 1.0999), 9.99), (Visit(0, 0.0, 8.0, 10.0, 10.0), None),
        (Visit(0, 0.0, 8.0, 10.0, 10.0 + 4 / 1.1001), None),
        (Visit(0, 0.0, 8.0, 10.0, 10.0 + 4 / 0.9001), -9.99),
        (Visit(0, 0.0, 8.0, 10.0, 10.0 + 4 / 0.8999), None),
        # Left early, begun late, short, or counted by the clock.
        (Visit(0, 0.0, 7.0, 10.0, 14.0), None), (Visit(0, 1.0, 8.0, 10.0, 14.0), None),
        (Visit(1, 0.0, 4.0, 10.0, 12.0), None), (Visit(2, 0.0, 8.0, 10.0, 14.0), None),
    ],
)  # fmt: skip
def test_which_visits_tell_the_pitch(visit, percent):
    short = read_routine(b"""
title: Stalls
pieces:
  - {name: Lids, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 2.0}}
  - {name: Short, bars: 1, tempo: 120, count: left, left: {hand: runs, at: 9.0}}
  - name: Twins
    bars: 2
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0}
""")
    told = percent if percent is None else pytest.approx(percent)
    assert _gone(short, visit) == PieceGone(visit.piece, visit.to_beat, told)


@pytest.mark.parametrize(
    ("stands_s", "let_go_s", "heard"),
    [
        # Within .3 s of the cue at 30.0, and from .3 s before the visit at 10 s.
        (30.29, 11.0, 1), (30.31, 11.0, 0), (29.71, 11.0, 1), (29.69, 11.0, 0),
        (30.0, 9.75, 1), (30.0, 9.65, 0), (30.0, 17.5, 1), (30.0, 17.9, 0),
    ],
)  # fmt: skip
def test_which_releases_were_meant_for_the_cue(routine, tmp_path, stands_s, let_go_s, heard):
    trace = [(now, "left", stands_s + min(max(now - let_go_s, 0.0), 1.0))
             for now in (9.0 + k / 100 for k in range(1000))]  # fmt: skip
    found = learnt(kept_in(tmp_path, take(routine, (2,), trace=trace)), routine)
    assert found.let_go == heard


def test_twelve_takes_are_gone_through(routine, tmp_path):
    trace = [(now, "left", 30.0 + min(max(now - 11.0, 0.0), 1.0))
             for now in (9.0 + k / 50 for k in range(200))]  # fmt: skip
    takes = [take(routine, (2,), at=float(k), trace=trace) for k in range(13)]
    found = learnt(kept_in(tmp_path, *takes), routine)
    assert (found.takes, found.let_go) == (13, 12)


def test_without_takes_nothing_is_learnt(routine, tmp_path):
    assert learnt(tmp_path / "none.sqlite", routine) is None


@pytest.fixture
def staged(monkeypatch, capsys, scene):
    """staged(command, *options): a command run on the scene in this process.

    Answers what it printed, and the running stage's tempo and habits: held at the cues for .3 s,
    and again once the map was edited.
    """

    def run(*words):
        seen = {}

        async def look(stage):
            for edition in ("tempo", "edited tempo"):
                now = time.monotonic() - 0.3
                for k in range(30):
                    for side, at in (("left", 2.0), ("right", 5.0)):
                        stage.hear(Heard("position", side, at, now + k / 100))
                seen[edition] = stage.status()["tempo"]
                stage.use(stage.routine)
            seen["habits"] = stage.health()["habits"]

        monkeypatch.setattr(Service, "run", look)
        free = ("--osc", "127.0.0.1:0", "--http", "127.0.0.1:0", "--log", "no")
        with pytest.raises(SystemExit) as left:
            main((words[0], str(scene), *free, *words[1:]))
        assert not left.value.code
        return capsys.readouterr().out, seen

    return run


@pytest.mark.parametrize("command", ["perform", "rehearse"])
def test_the_stage_starts_from_what_was_learnt(staged, ten, command):
    """+3 per cent at 120 BPM is 123.6, before anything has turned and after an edit."""
    said, seen = staged(command, "--takes", str(ten))
    assert "Learnt   from 10 takes, 50 set pieces: pitch +3.0 %, 10 begun anew" in said
    assert (seen["habits"]["takes"], seen["habits"]["again"]) == (10, 10)
    assert seen["tempo"] == pytest.approx(123.6, abs=0.05)
    assert seen["edited tempo"] == pytest.approx(123.6, abs=0.05)


@pytest.mark.parametrize(
    "words",
    [
        ("perform", "--no-habits"),
        ("rehearse", "--no-habits"),
        ("rehearse", "--piece", "Twins"),
        ("rehearse", "--minutes", "10"),
    ],
)
def test_habits_are_left_out_when_not_wanted_and_when_a_part_is_practised(staged, ten, words):
    said, seen = staged(*words, "--takes", str(ten))
    assert "Learnt" not in said
    assert seen["habits"] is None
    assert seen["tempo"] == pytest.approx(120.0)


def test_takes_that_cannot_be_read_stop_no_performance(staged, tmp_path):
    (tmp_path / "takes.sqlite").write_bytes(b"no database at all, only words" * 40)
    said, seen = staged("perform", "--takes", str(tmp_path / "takes.sqlite"))
    assert [line for line in said.splitlines() if "Learnt   nothing: " in line]
    assert seen["habits"] is None


def test_habits_are_finite_whatever_they_are_made_of():
    assert math.isfinite(Habits(pieces=1e9, again=1e9).numbers().again)
