"""A map edited while it is rehearsed or performed: it comes in, or it is told; nothing stops."""

import asyncio
import socket
import time
from types import SimpleNamespace

import pytest
from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.errors import LiveaidError
from liveaid.practice.aim import aim_of
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session
from liveaid.routine.opened import open_scene
from liveaid.stage.address import Address
from liveaid.stage.living import LivingMap, Stillness
from liveaid.stage.osc import Heard
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings

ANY = Address("127.0.0.1", 0)
MAP = """\
title: Two Stalls
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 1.0}}
  - {name: Two, bars: 2, tempo: 120, count: right, right: {hand: runs, at: 1.0}}
"""
ENOUGH_S = 20.0
"""Longest any of these may wait on a busy machine; a second or two on a quiet one."""


class Decks:
    """Tells the stage where both records are, 50 times a second, until it is stopped."""

    def __init__(self, to: Address) -> None:
        self.to, self.speed, self.at_s = to, 0.0, 1.0
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._task = asyncio.ensure_future(self._run())

    async def _run(self) -> None:
        before = time.monotonic()
        while True:
            now = time.monotonic()
            self.at_s += self.speed * (now - before)
            before = now
            for side, at_s in (("left", self.at_s), ("right", 1.0)):
                message = OscMessageBuilder(f"/deck/{side}/position")
                message.add_arg(at_s, "f")
                self._socket.sendto(message.build().dgram, (self.to.host, self.to.port))
            await asyncio.sleep(0.02)

    def stop(self) -> None:
        self._task.cancel()
        self._socket.close()


async def until(what) -> None:
    async with asyncio.timeout(ENOUGH_S):
        while not what():
            await asyncio.sleep(0.02)


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "routine.yaml").write_text(MAP)
    return tmp_path


def on_stage(scene, body, *, piece=None):
    """Run `body(stage, decks)` on a stage that performs the scene, or rehearses it."""

    async def go():
        found = open_scene(scene / "routine.yaml")
        if piece is None:
            stage = Service(found.playable(), Settings(osc=ANY, http=None),
                            watchers=[LivingMap(found)])  # fmt: skip
        else:
            session = Session(aim_of(found.playable(), piece))
            rehearsal = Rehearsal(session, found.playable(), store=None, file=scene / "x.sqlite")
            living = LivingMap(
                found,
                use=lambda whole: stage.use(rehearsal.use(whole)),
                busy=lambda: session.phase(time.monotonic()) in ("count-in", "take"),
            )
            stage = Service(session.aim.routine, Settings(osc=ANY, http=None),
                            watchers=[living, rehearsal])  # fmt: skip
        async with stage:
            decks = Decks(stage.osc_address)
            try:
                await until(lambda: stage.status()["state"] != "waiting")
                await body(stage, decks)
            finally:
                decks.stop()

    asyncio.run(go())


def write(scene, text):
    (scene / "routine.yaml").write_text(text)


def test_an_edit_comes_in_while_both_records_stand(scene):
    async def body(stage, decks):
        write(scene, MAP.replace("Two Stalls", "Three Stalls"))
        await until(lambda: stage.routine.title == "Three Stalls")
        assert stage.status()["map"]["state"] == "as rendered"
        assert stage.health()["map"] == stage.status()["map"]

    on_stage(scene, body)


def test_an_edit_waits_while_a_record_runs(scene):
    async def body(stage, decks):
        decks.speed = 1.0
        await until(lambda: stage.status()["state"] == "following")
        write(scene, MAP.replace("Two Stalls", "Three Stalls"))
        await until(lambda: "It comes in when both records stand." in stage.status()["map"]["says"])
        assert stage.routine.title == "Two Stalls"
        decks.speed = 0.0
        await until(lambda: stage.routine.title == "Three Stalls")

    on_stage(scene, body)


def test_a_broken_edit_leaves_the_old_map_and_tells_its_line(scene):
    async def body(stage, decks):
        before = stage.routine
        write(scene, MAP.replace("Two, bars: 2", "Two, bars: many"))
        await until(lambda: stage.status()["map"]["state"] == "broken")
        says = stage.status()["map"]["says"]
        assert any("line 4: pieces[1].bars: found many" in line for line in says)
        assert stage.routine is before
        decks.speed = 1.0
        await until(lambda: stage.status()["state"] == "following")  # it goes on
        decks.speed = 0.0
        write(scene, MAP.replace("Two, bars: 2", "Two, bars: 4"))  # mended
        await until(lambda: stage.routine.pieces[1].bars == 4)

    on_stage(scene, body)


def test_what_needs_a_render_is_told_and_not_followed(scene):
    async def body(stage, decks):
        before = stage.routine
        write(scene, MAP.replace("right: {hand: runs, at: 1.0}", "right: {hand: runs}"))
        await until(lambda: stage.status()["map"]["state"] == "not rendered")
        assert "`liveaid render" in stage.status()["map"]["says"][0]
        assert stage.routine is before

    on_stage(scene, body)


def test_a_map_edited_during_a_rehearsal_comes_in_under_its_new_name(scene):
    async def body(stage, decks):
        assert [piece.name for piece in stage.routine.pieces] == ["One"]
        write(scene, MAP.replace("name: One", "name: Lanterns"))
        await until(lambda: [piece.name for piece in stage.routine.pieces] == ["Lanterns"])
        assert stage.status()["rehearsal"]["piece"] == "Lanterns"

    on_stage(scene, body, piece="One")


def test_a_set_piece_taken_out_is_practised_on(scene):
    async def body(stage, decks):
        write(scene, "\n".join(line for line in MAP.splitlines() if "One" not in line))
        await until(lambda: "One is gone from the map; it is practised on as it was"
                    in stage.status()["map"]["says"])  # fmt: skip
        assert [piece.name for piece in stage.routine.pieces] == ["One"]

    on_stage(scene, body, piece="One")


def test_the_first_render_is_noticed(scene):
    async def body(stage, decks):
        (scene / "decks").mkdir()
        (scene / "decks" / "routine.yaml").write_text(MAP.replace("Two Stalls", "Old Stalls"))
        await until(lambda: stage.status()["map"]["state"] == "edited since")

    on_stage(scene, body)


def test_both_records_stand_from_when_either_moved_last():
    """Farther than 20 ms of record from where it stood is a move, either way; less is a tremble."""
    still = Stillness()
    assert still.lasts_s(100.0) == float("inf")
    for side, position_s, now, stood_s in (
        ("left", 1.0, 0.0, 0.0), ("right", 5.0, 0.5, 0.0), ("left", 1.019, 1.0, 0.5),
        ("left", 1.021, 2.0, 0.0), ("left", 1.002, 2.5, 0.5), ("left", 1.0, 3.0, 0.0),
        ("right", 5.0, 9.0, 6.0),
    ):  # fmt: skip
        still.hear(side, position_s, now)
        assert still.lasts_s(now) == pytest.approx(stood_s)


class Played:
    """A stage as a living map sees it: what it was told to follow, and how often to show."""

    def __init__(self, refuses=None):
        self.followed, self.pushed, self.refuses = [], 0, refuses

    def use(self, routine):
        if self.refuses:
            raise LiveaidError(self.refuses)
        self.followed.append(routine.title)

    def push(self):
        self.pushed += 1


def edited(scene, text, *steps, stage=None, busy=False, file=None):
    """The key `map` and what is followed after an edit and then each step, told by hand."""
    stage, seen, read = stage or Played(), [], asyncio.Event()

    async def changes(_):
        (file or scene / "routine.yaml").write_text(text)
        yield
        read.set()

    async def go():
        found = open_scene(scene / "routine.yaml")
        living = LivingMap(found, changes=changes, busy=lambda: busy)
        living.started(stage)
        await read.wait()
        seen.append((living.status()["map"], list(stage.followed)))
        for step in steps:
            step(living)
            await asyncio.sleep(0)
            seen.append((living.status()["map"], list(stage.followed)))
        await living.stopped()

    asyncio.run(go())
    return seen


def stands_at(at_s, *, state="following", left_s=1.0, now=None):
    """Both records where they are at a moment; the prompt of that moment, or of a later one."""

    def step(living):
        living.heard(Heard("position", "left", left_s, at_s))
        living.heard(Heard("position", "right", 1.0, at_s))
        living.heard(Heard("speed", "left", 50.0 + at_s, (now or at_s) - 0.01))
        living.heard(Heard("crossfader", None, at_s, (now or at_s) - 0.01))
        living.prompted(SimpleNamespace(state=state), now or at_s)

    return step


RENAMED = MAP.replace("Two Stalls", "Three Stalls")


@pytest.mark.parametrize(
    ("state", "stood_s", "busy", "in_"),
    [
        ("waiting", 0.0, False, True), ("over", 0.0, False, True),
        ("following", 1.5, False, True), ("following", 1.4, False, False),
        ("unsure", 1.5, False, True), ("before", 1.4, False, False),
        ("silent", 60.0, False, False), ("waiting", 60.0, True, False),
        ("following", 60.0, True, False),
    ],
)  # fmt: skip
def test_an_edit_comes_in_once_nothing_plays(scene, state, stood_s, busy, in_):
    """A second and a half is longer than a rest within a juggle; a silent deck tells nothing."""
    step = stands_at(8.0, state=state, now=8.0 + stood_s)
    before, after = edited(scene, RENAMED, step, busy=busy)
    says = "It comes in when both records stand."
    assert before == ({"state": "as rendered", "says": [says], "followed": False}, [])
    assert after[1] == (["Three Stalls"] if in_ else [])
    assert after[0]["followed"] is in_
    assert after[0]["says"] == (["The edited map is followed now."] if in_ else [says])


def test_a_record_that_moves_puts_an_edit_off(scene):
    steps = [stands_at(8.0), stands_at(9.0, left_s=1.5), stands_at(10.4, left_s=1.5)]
    steps.append(stands_at(10.5, left_s=1.5))
    *before, after = edited(scene, RENAMED, *steps)
    assert [followed for _, followed in before] == [[]] * 4
    assert after[1] == ["Three Stalls"]


def test_an_edit_is_taken_in_once(scene):
    steps = [stands_at(0.0, state="waiting")] * 3
    assert edited(scene, RENAMED, *steps)[-1][1] == ["Three Stalls"]


def test_a_stage_that_refuses_an_edit_says_why(scene):
    stage = Played(refuses="Not in the middle of that.")
    after = edited(scene, RENAMED, stands_at(0.0, state="waiting"), stage=stage)[-1]
    assert after[0]["says"] == ["Not in the middle of that."]


def test_an_edit_that_changes_nothing_says_nothing(scene):
    """A comment is no edit: nothing is to come in."""
    after = edited(scene, MAP.replace("tempo: 120", "tempo: 120.0") + "# a word\n",
                   stands_at(0.0, state="waiting"))[-1]  # fmt: skip
    assert after == ({"state": "as rendered", "says": [], "followed": True}, [])


@pytest.mark.parametrize(
    ("was", "becomes", "state", "says"),
    [
        ("bars: 2", "bars: many", "broken",
         ["The section map cannot be read.",
          "{scene}/routine.yaml, line 3: pieces[0].bars: found many; bars such as 8 or 2 1/2 would"
          " do",
          "{scene}/routine.yaml, line 4: pieces[1].bars: found many; bars such as 8 or 2 1/2 would"
          " do"]),
        ("runs, at: 1.0", "runs", "not rendered",
         ["Not rendered yet: `liveaid render {scene}` makes the deck files."]),
    ],
)  # fmt: skip
def test_what_cannot_be_followed_is_told_and_what_was_goes_on(scene, was, becomes, state, says):
    after, followed = edited(scene, MAP.replace(was, becomes), stands_at(0.0, state="waiting"))[-1]
    assert followed == []
    assert after == {
        "state": state, "followed": False,
        "says": [*(line.format(scene=scene) for line in says),
                 "What was followed so far is followed on."],
    }  # fmt: skip


def test_new_deck_files_are_to_be_loaded(scene):
    """The placed map that a render wrote says what it was rendered from."""
    from liveaid.routine.digest import map_digest

    written = open_scene(scene / "routine.yaml").written
    stamp = f"rendered: {{map: {map_digest(written)}}}\n"
    (scene / "decks").mkdir()
    placed = scene / "decks" / "routine.yaml"
    before, after = edited(scene, stamp + MAP, stands_at(0.0, state="waiting"), file=placed)
    assert before[0]["says"] == [
        "New deck files were rendered: load both. The map comes in when both records stand."
    ]
    assert after[0]["says"] == ["The edited map is followed now.", "Load both new deck files."]
    assert after[1] == ["Two Stalls"]


def reopened(
    *,
    state="as rendered",
    fits="new",
    rendered="stamp",
    sounds=(),
    use=None,
    stage=True,
):
    """A living map of which another version is opened: the map, and what was used and pushed."""
    did = []
    followed = SimpleNamespace(rendered="stamp", name="old")
    new = followed if fits == "old" else SimpleNamespace(rendered=rendered, name="new")
    opened = SimpleNamespace(
        file="m", playable=lambda: followed, says=lambda: ("Before.",), state="as rendered",
        fits=followed, other_sounds=(),
    )  # fmt: skip
    living = LivingMap(opened, use=use, told=lambda found: did.append("told"))
    if stage:
        living._stage = SimpleNamespace(
            push=lambda: did.append("pushed"), use=lambda routine: did.append(routine.name)
        )
    found = SimpleNamespace(
        says=lambda: ("Edited.",), state=state, fits=None if fits is None else new,
        other_sounds=sounds,
    )  # fmt: skip
    living._edited(found)
    living._edited(found)  # once more the same is nothing new
    return living, did


STANDS = "It comes in when both records stand."
LOAD = (
    "New deck files were rendered: load both. The map comes in when both records stand."
)  # fmt: skip
GOES_ON = "What was followed so far is followed on."


@pytest.mark.parametrize(
    ("how", "says", "next_name"),
    [
        ({}, ("Edited.", STANDS), "new"),
        ({"rendered": "other"}, ("Edited.", LOAD), "new"),
        ({"fits": "old"}, ("Edited.",), None),
        ({"fits": "old", "state": "edited since"}, ("Edited.",), None),
        ({"fits": None, "state": "edited since"}, ("Edited.", GOES_ON), None),
        ({"fits": None}, ("Edited.",), None),
        ({"state": "broken"}, ("Edited.", GOES_ON), None),
        ({"sounds": ("rain",), "state": "edited since"}, ("Edited.", GOES_ON), None),
    ],
)
def test_what_is_said_of_an_edit_and_whether_it_comes_in(how, says, next_name):
    living, did = reopened(**how)
    assert living._says == says
    assert (living._next and living._next.name) == next_name
    assert did == ["told", "pushed"]
    bare, did = reopened(stage=False, **how)
    assert (bare._says, did) == (says, ["told"])


def test_an_edit_is_taken_in_once_and_told_as_followed():
    living, did = reopened()
    assert living.status()["map"]["followed"] is False
    living._take_in()
    living._take_in()
    assert did[2:] == ["new", "pushed"]
    assert living.status()["map"] == {
        "state": "as rendered", "says": ["Edited.", "The edited map is followed now."],
        "followed": True,
    }  # fmt: skip
    living, _ = reopened(rendered="other")
    living._take_in()
    assert living._says[-1] == "Load both new deck files."
    living, did = reopened(stage=False)
    living._take_in()
    assert (living._next.name, did) == ("new", ["told"])
    asyncio.run(living.stopped())  # one that never began


def test_why_an_edit_could_not_be_taken_in_is_told():
    def refuse(routine):
        raise LiveaidError("It has no such set piece.")

    living, did = reopened(use=refuse)
    living._take_in()
    assert living._says == ("Edited.", "It has no such set piece.")
    assert did == ["told", "pushed", "pushed"]


def test_a_record_that_trembles_within_two_hundredths_stands():
    still = Stillness()
    still.hear("left", 0.0, 1.0)
    still.hear("left", 0.02, 2.0)
    assert still.lasts_s(5.0) == 4.0
    still.hear("left", 0.0203125, 3.0)
    assert still.lasts_s(5.0) == 2.0
    assert Stillness().lasts_s(5.0) == float("inf")
