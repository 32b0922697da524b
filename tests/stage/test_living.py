"""A map edited while it is rehearsed or performed: it comes in, or it is told; nothing stops."""

import asyncio
import socket
import time

import pytest
from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.practice.aim import aim_of
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session
from liveaid.routine.opened import open_scene
from liveaid.stage.address import Address
from liveaid.stage.living import LivingMap
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
