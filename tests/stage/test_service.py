"""The stage in one process, on real sockets: told, shown, refused, struck."""

import asyncio
import errno
import queue
import socket
import struct
import time
from dataclasses import replace
from logging.handlers import QueueHandler

import aiohttp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.follow import Follower
from liveaid.routine.config_file import config_path, load_config
from liveaid.stage import receiver, service
from liveaid.stage.address import Address, StageError
from liveaid.stage.kernel_drops import ask_for_buffer
from liveaid.stage.lamp_layout import LampLayout
from liveaid.stage.osc import REASONS
from liveaid.stage.osc_map import OscMap, Position
from liveaid.stage.receiver import in_order
from liveaid.stage.service import Service
from liveaid.stage.settings import Controller, Settings
from liveaid.stage.stage_log import LOGGER
from liveaid.stage.watcher import Watcher

ANY = Address("127.0.0.1", 0)
HERE = Settings(osc=ANY, http=ANY)


def stage_test(check):
    """Run an async test on a loop of its own, with an end to it."""

    def run(*arguments, **named):
        asyncio.run(asyncio.wait_for(check(*arguments, **named), 30))

    run.__name__ = check.__name__
    run.__signature__ = __import__("inspect").signature(check)
    return run


@pytest.fixture
def patient(monkeypatch):
    """Nothing is too late, however busy this machine."""
    monkeypatch.setattr(receiver, "RECEIVER_LATE_S", 60.0)


async def until(look, for_s=20.0):
    end = time.monotonic() + for_s
    while not look():
        assert time.monotonic() < end, f"not within {for_s} s"
        await asyncio.sleep(0.01)


class Onlooker(Watcher):
    def __init__(self):
        self.seen, self.prompts, self.lit, self.ended = [], [], {}, False

    def heard(self, heard):
        self.seen.append(heard)

    def prompted(self, prompt, now_s):
        self.prompts.append((prompt, now_s))

    def lamps_changed(self, changes):
        self.lit.update(changes)

    def status(self):
        return {"takes": len(self.seen)}

    def routes(self):
        async def hello(_):
            return aiohttp.web.Response(text="from the onlooker")

        return [aiohttp.web.get("/onlooker", hello)]

    def scripts(self):
        return ["/onlooker.js"]

    async def stopped(self):
        self.ended = True


async def get(stage, path, **options):
    async with (
        aiohttp.ClientSession() as session,
        session.get(stage.address + path, **options) as response,
    ):
        body = await response.text()
        return response.status, body, response.headers


async def get_json(stage, path):
    async with (
        aiohttp.ClientSession() as session,
        session.get(stage.address + path) as response,
    ):
        return await response.json()


@stage_test
async def test_positions_reach_the_follower_with_their_arrival_time(
    three, told_follower, message, send
):
    async with Service(three, HERE, follower=told_follower) as stage:
        before = time.monotonic()
        send(stage.osc_address, message("/deck/left/position", 12.5))
        send(stage.osc_address, message("/deck/right/speed", 0.5))
        send(stage.osc_address, message("/deck/right/pitch", -2.0))
        send(stage.osc_address, message("/mixer/crossfader", 0.5))
        send(stage.osc_address, message("/mixer/right/level", 1.0))
        await until(lambda: len(told_follower.told) == 5)
        after = time.monotonic()
    assert [told[:3] for told in told_follower.told] == [
        ("position", "left", 12.5),
        ("speed", "right", 0.5),
        ("pitch", "right", -2.0),
        ("crossfader", None, 0.5),
        ("level", "right", 1.0),
    ]
    assert all(before - 0.05 <= told[3] <= after for told in told_follower.told)


@stage_test
async def test_a_busy_loop_does_not_bunch_arrival_times(three, told_follower, message, send):
    """Positions 0.2 s apart stay 0.2 s apart though both are read at once: no needle jump."""
    async with Service(three, HERE, follower=told_follower) as stage:
        send(stage.osc_address, message("/deck/left/position", 1.0))
        time.sleep(0.2)  # the loop is held up, on purpose
        between = time.monotonic()
        send(stage.osc_address, message("/deck/left/position", 1.2))
        await until(lambda: len(told_follower.told) == 2)
    first, second = (told[3] for told in told_follower.told)
    assert first < between - 0.1
    assert second > between - 0.01


@stage_test
async def test_what_lay_in_the_queue_too_long_is_not_replayed(three, told_follower, message, send):
    async with Service(three, HERE, follower=told_follower) as stage:
        send(stage.osc_address, message("/deck/left/position", 1.0))
        for _ in range(20):
            send(stage.osc_address, message("/deck/left/position", 2.0))
        time.sleep(1.2)  # as after a machine's sleep, or a stopped process
        send(stage.osc_address, message("/deck/left/position", 9.0))
        await until(lambda: told_follower.told)
        assert stage.health()["osc"]["refused"] == {"too late": 21}
        await until(lambda: any("held up" in note for note in stage.health()["notes"]))
        assert not any("not understood" in note for note in stage.health()["notes"])
    assert [told[2] for told in told_follower.told] == [9.0]


@stage_test
async def test_a_machine_that_slept_is_noticed_and_ports_taken_up_anew(
    three, told_follower, monkeypatch
):
    """CLOCK_BOOTTIME goes on through sleep, the monotonic clock does not (clock_gettime(2))."""
    slept = [0.0]
    real = time.clock_gettime

    def clock(which):
        return real(which) + (slept[0] if which == time.CLOCK_BOOTTIME else 0.0)

    monkeypatch.setattr(time, "clock_gettime", clock)
    async with Service(three, HERE, follower=told_follower) as stage:
        slept[0] = 3600.0
        await until(lambda: stage.health()["sleeps"] == 1)
        await asyncio.sleep(1.1)
        assert stage.health()["sleeps"] == 1


@stage_test
async def test_a_hitch_in_which_positions_queued_up_is_heard_whole_before_it_is_shown(
    three, told_follower, message, send, patient
):
    """Else the follower would be told `now` first, and then of positions all at that moment."""
    onlooker = Onlooker()
    async with Service(three, HERE, follower=told_follower, watchers=[onlooker]) as stage:
        for step in range(300):
            send(stage.osc_address, message("/deck/left/position", step * 0.001))
            time.sleep(0.0005)
        shown = len(onlooker.prompts)
        await until(lambda: len(told_follower.told) == 300)
        between = onlooker.prompts[shown:]
    heard = [told[3] for told in told_follower.told]
    assert heard == sorted(heard)
    assert heard[-1] - heard[0] > 0.1
    assert all(now_s >= heard[-1] for _, now_s in between)


def test_a_datagram_stamped_when_read_is_not_newer_than_those_behind_it():
    arrived = [(b"a", 12.0, "x"), (b"b", 11.9, "x"), (b"c", 11.95, "x"), (b"d", 11.94, "x")]
    assert [(data, at_s) for data, at_s, _ in in_order(arrived)] == [
        (b"a", 11.9), (b"b", 11.9), (b"c", 11.94), (b"d", 11.94),
    ]  # fmt: skip
    assert in_order([]) == []


@stage_test
async def test_a_bundle_dated_an_hour_ahead_counts_now(three, told_follower, message, send):
    part = message("/deck/left/position", 3.0)
    ahead = struct.pack(">II", int(time.time()) + 2208988800 + 3600, 0)
    async with Service(three, HERE, follower=told_follower) as stage:
        send(stage.osc_address, b"#bundle\0" + ahead + struct.pack(">i", len(part)) + part)
        await until(lambda: told_follower.told)
        assert told_follower.told[0][:3] == ("position", "left", 3.0)


@stage_test
async def test_the_follower_is_the_real_one_by_default(three, message, send):
    async with Service(three, HERE) as stage:
        start = time.monotonic()
        for step in range(80):
            await asyncio.sleep(max(0.0, start + step * 0.02 - time.monotonic()))
            at = 1.8 + 4.0 + time.monotonic() - start  # the record turns by the clock
            send(stage.osc_address, message("/deck/left/position", at))
            send(stage.osc_address, message("/deck/right/position", 0.0))
        await until(lambda: stage.prompt.state == "following")
        status = await get_json(stage, "status")
        # Organ wakes: first beat at 1.8, 108 BPM, so second 7.38 is beat (7.38 - 1.8) * 1.8 = 10.04
        assert status["piece"]["name"] == "Organ wakes"
        assert status["beat_position"] == pytest.approx(10.1, abs=1.0)
        assert status["tempo"] == pytest.approx(108.0, abs=2.0)
        assert status["next_cue"] == ["right"]


@stage_test
async def test_on_change_reaches_the_follower(three):
    quiet = OscMap(sends="on_change", position=Position(address="/deck/{deck}/position"))
    seen = []

    class Spy(Follower):
        def __init__(self, routine, *, sends="always", habits=None):
            seen.append(sends)
            super().__init__(routine, sends=sends, habits=habits)

    import liveaid.follow

    kept, liveaid.follow.Follower = liveaid.follow.Follower, Spy
    try:
        Service(three, Settings(osc=ANY, http=None, osc_map=quiet))
        Service(three, HERE)
    finally:
        liveaid.follow.Follower = kept
    assert seen == ["on_change", "always"]


@stage_test
async def test_a_stopped_record_that_sends_nothing_is_not_silence(three, message, send):
    """`sends: on_change`: the left record runs, then stands; its last word still holds for a while
    in which a sender that always sends would be called silent."""
    quiet = load_config(config_path("seconds-on-change", "osc"), OscMap)
    states = {}
    for sends in ("always", "on_change"):
        osc_map = quiet.model_copy(update={"sends": sends})
        async with Service(three, Settings(osc=ANY, http=None, osc_map=osc_map)) as stage:
            start = time.monotonic()
            for step in range(50):
                await asyncio.sleep(max(0.0, start + step * 0.01 - time.monotonic()))
                send(stage.osc_address, message("/deck/left/position", 5.0 + step * 0.01))
            await asyncio.sleep(0.7)
            states[sends] = stage.prompt.state
    assert states["always"] == "silent"
    assert states["on_change"] != "silent"


@stage_test
async def test_watchers_see_all_and_add_to_status_and_pages(three, told_follower, message, send):
    onlooker = Onlooker()
    grid = load_config(config_path("grid-8x8", "lamps"), LampLayout)
    settings = Settings(osc=ANY, http=ANY, controllers=(Controller(layout=grid),))
    async with Service(three, settings, follower=told_follower, watchers=[onlooker]) as stage:
        send(stage.osc_address, message("/deck/left/position", 12.5))
        await until(lambda: onlooker.seen)
        status = await get_json(stage, "status")
        _, text, _ = await get(stage, "onlooker")
        _, page, _ = await get(stage, "")
    assert (onlooker.seen[0].what, onlooker.seen[0].value) == ("position", 12.5)
    assert onlooker.prompts[-1][0] is told_follower.shown
    assert {lamp for lamp in onlooker.lit if onlooker.lit[lamp] == "on"} >= {"bars.4", "beats.1"}
    assert status["takes"] == 1
    assert text == "from the onlooker"
    assert '<script type="module" src="/onlooker.js"></script>' in page
    assert onlooker.ended


@stage_test
async def test_a_watcher_that_fails_is_counted_and_stops_nothing(
    three, told_follower, message, send
):
    class Clumsy(Watcher):
        def heard(self, heard):
            raise RuntimeError("oops")

        def status(self):
            raise RuntimeError("no status")

    async with Service(three, HERE, follower=told_follower, watchers=[Clumsy()]) as stage:
        send(stage.osc_address, message("/deck/left/position", 12.5))
        await until(lambda: told_follower.told)
        assert (await get_json(stage, "status"))["piece"]["name"] == "Lanterns"
        health = await get_json(stage, "health")
    assert health["errors"]["count"] >= 2
    assert any("oops" in error for error in health["errors"]["last"])


@stage_test
async def test_what_no_page_can_be_told_is_a_mishap_and_the_show_goes_on(three, told_follower):
    """A status that is no JSON any more: pages are answered 500, and /health says why."""

    class Odd(Onlooker):
        odd = 1

        def status(self):
            return {"odd": self.odd}

        def routes(self):
            async def broken(_):
                raise KeyError("no such stall")

            return [aiohttp.web.get("/broken", broken)]

    odd = Odd()
    async with Service(three, HERE, follower=told_follower, watchers=[odd]) as stage:
        async with aiohttp.ClientSession() as session, session.ws_connect(stage.address + "live"):
            odd.odd, before = object(), len(odd.prompts)
            await until(lambda: len(odd.prompts) > before + 1)  # once a second, and again
        assert (await get(stage, "status"))[0] == 500
        assert (await get(stage, "broken"))[0] == 500
        last = (await get_json(stage, "health"))["errors"]["last"]
    assert any(one.startswith("pages: TypeError") for one in last)
    assert any(one.startswith("/status: TypeError") for one in last)
    assert "/broken: KeyError('no such stall')" in last


@stage_test
async def test_the_follower_is_woken_for_the_next_beat(three, told_follower):
    onlooker = Onlooker()
    async with Service(three, HERE, follower=told_follower, watchers=[onlooker]) as stage:
        shown = len(onlooker.prompts)
        wake = time.monotonic() + 0.05
        told_follower.wakes = [wake]
        stage.push()
        await until(lambda: len(onlooker.prompts) >= shown + 2)
        assert onlooker.prompts[shown + 1][1] >= wake


@stage_test
async def test_a_deck_that_speaks_after_a_rest_is_shown_at_once(
    three, told_follower, message, send, monkeypatch
):
    """However seldom prompts are worked out while positions stream in."""
    monkeypatch.setattr("liveaid.stage.showing.SHOW_S", 60.0)
    monkeypatch.setattr("liveaid.stage.service.HEARTBEAT_S", 60.0)
    monkeypatch.setattr("liveaid.stage.showing.SHOWING_REST_S", 5.0)
    onlooker = Onlooker()
    async with Service(three, HERE, follower=told_follower, watchers=[onlooker]) as stage:
        counts = []
        for side in ("left", "left", "right", "right"):
            heard = len(onlooker.seen)
            send(stage.osc_address, message(f"/deck/{side}/position", 1.0))
            await until(lambda heard=heard: len(onlooker.seen) > heard)
            counts.append(len(onlooker.prompts))
    started = counts[0] - 1
    assert [count - started for count in counts] == [1, 1, 2, 2]


@stage_test
async def test_a_taken_osc_port_is_said_and_everything_let_go(three, told_follower):
    with socket.socket(type=socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        there = Address(*taken.getsockname())
        with pytest.raises(StageError, match=f"{there}.*listens there already"):
            await Service(three, Settings(osc=there, http=ANY), follower=told_follower).start()


@stage_test
async def test_a_taken_page_port_is_said_and_the_osc_port_let_go(three, told_follower, free_port):
    osc = Address("127.0.0.1", free_port())
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        there = Address(*taken.getsockname())
        with pytest.raises(StageError, match=f"{there}.*listens there already"):
            await Service(three, Settings(osc=osc, http=there), follower=told_follower).start()
    async with Service(three, Settings(osc=osc, http=ANY), follower=told_follower):
        pass


@stage_test
async def test_a_foreign_address_is_said(three, told_follower):
    for host in ("203.0.113.7", "no-such-host.invalid"):
        settings = Settings(osc=Address(host, 0), http=None)
        with pytest.raises(StageError, match=host):
            await Service(three, settings, follower=told_follower).start()


@stage_test
async def test_bad_datagrams_are_counted_and_move_nothing(three, message, send):
    bad = {
        "not OSC": b"\x00\x01\x02\x03",
        "cut short or garbled": message("/deck/left/position", 12.5)[:-4],
        "not finite": message("/deck/left/position", float("nan")),
        "out of range": message("/deck/left/position", 1e20),
        "wildcard in address": message("/deck/*/position", 3.0),
        "unknown deck": message("/deck/middle/position", 3.0),
        "unknown address": message("/elsewhere", 3.0),
        "too large": message("/deck/left/position", "x" * 9000),
    }
    async with Service(three, HERE) as stage:
        before = stage.prompt
        for data in bad.values():
            send(stage.osc_address, data)
        await until(lambda: stage.health()["osc"]["datagrams"] == len(bad))
        health = await get_json(stage, "health")
        assert health["osc"]["refused"] == dict.fromkeys(bad, 1)
        assert health["osc"]["last_refused"]["reason"] in REASONS
        assert health["osc"]["buffer_bytes"] > 0
        assert stage.prompt == before


@given(st.lists(st.binary(max_size=120), min_size=1, max_size=25))
@settings(max_examples=25)
def test_random_datagrams_never_move_the_prompt(three_routine, datagrams):
    async def check():
        async with Service(three_routine, Settings(osc=ANY, http=None)) as stage:
            before = stage.prompt
            with socket.socket(type=socket.SOCK_DGRAM) as sender:
                for data in datagrams:
                    sender.sendto(data, (stage.osc_address.host, stage.osc_address.port))
            await until(lambda: stage.health()["osc"]["datagrams"] == len(datagrams))
            health = stage.health()
            assert set(health["osc"]["refused"]) <= set(REASONS)
            assert health["errors"]["count"] == 0
            assert stage.prompt == before

    asyncio.run(check())


@pytest.fixture(scope="module")
def three_routine(routines):
    from liveaid.routine import load_routine

    return load_routine(routines / "three.yaml")


@stage_test
async def test_a_flood_of_bad_datagrams_does_not_keep_health_from_answering(three, message):
    """Counted in turns of the loop, not in time: asked in the middle of 20 000, it still answers
    before they are all read."""
    async with Service(three, HERE) as stage:
        junk = message("/deck/*/position", 1.0)
        with socket.socket(type=socket.SOCK_DGRAM) as sender:
            for _ in range(20_000):
                sender.sendto(junk, (stage.osc_address.host, stage.osc_address.port))
        seen = (await get_json(stage, "health"))["osc"]["datagrams"]
        await until(lambda: stage.health()["osc"]["datagrams"] > seen, 10)


@stage_test
async def test_an_edited_routine_is_followed_from_then_on(three, message, send):
    edited = three.model_copy(update={"title": "Carousel Row", "pieces": three.pieces[1:]})
    async with Service(three, HERE) as stage:
        assert (await get_json(stage, "status"))["routine"]["pieces"] == len(three.pieces)
        stage.use(edited)
        start = time.monotonic()
        while not (stage.prompt and stage.prompt.piece):
            send(stage.osc_address, message("/deck/left/position", 31 + time.monotonic() - start))
            await asyncio.sleep(0.01)
        status = await get_json(stage, "status")
    assert (status["routine"]["title"], status["routine"]["pieces"]) == (
        "Carousel Row", len(three.pieces) - 1,
    )  # fmt: skip
    assert status["piece"]["name"] in {piece.name for piece in edited.pieces}


@stage_test
async def test_health_tells_lag_rates_and_what_was_dropped(three, told_follower, message, send):
    async with Service(three, HERE, follower=told_follower) as stage:
        for _ in range(30):
            send(stage.osc_address, message("/deck/left/position", 1.0))
        await until(lambda: stage.health()["rates"].get("heard", 0) > 0)
        health = await get_json(stage, "health")
    assert health["osc"]["messages"] == 30
    assert health["osc"]["dropped"]["over budget"] == 0
    assert health["loop"]["worst_10s_ms"] >= health["loop"]["lag_ms"] >= 0
    assert health["notes"] == []


@stage_test
async def test_a_flood_of_messages_is_dropped_oldest_first_and_counted(
    three, told_follower, message, send, patient
):
    """20 bundles of 250 at once, from one sender: more than may wait. What is heard is the newest,
    and heard and dropped together are what was sent."""
    one = message("/deck/left/position", 0.0)[:-4]

    def bundle(first):
        parts = [one + struct.pack(">f", float(first + step)) for step in range(250)]
        return b"#bundle\0" + bytes(8) + b"".join(struct.pack(">i", len(p)) + p for p in parts)

    async with Service(three, HERE, follower=told_follower) as stage:
        for number in range(20):
            send(stage.osc_address, bundle(250 * number))
        await until(lambda: told_follower.told and told_follower.told[-1][2] == 4999.0)
        osc = stage.health()["osc"]
    heard = [told[2] for told in told_follower.told]
    assert heard == [float(n) for n in range(5000 - len(heard), 5000)]
    assert osc["messages"] == 5000
    assert osc["dropped"]["over budget"] == 5000 - len(heard) >= 2500


@stage_test
async def test_a_controller_that_is_not_there_is_in_the_log_once(three, told_follower, monkeypatch):
    monkeypatch.setattr(service, "HEARTBEAT_S", 0.02)
    lines: queue.SimpleQueue = queue.SimpleQueue()
    handler = QueueHandler(lines)
    LOGGER.addHandler(handler)
    try:
        async with Service(
            three, replace(HERE, controllers=(Controller("nightbox"),)), follower=told_follower
        ):
            await until(lambda: not lines.empty())
            await asyncio.sleep(0.2)  # some ten looks
    finally:
        LOGGER.removeHandler(handler)
    told = [lines.get().getMessage() for _ in range(lines.qsize())]
    assert sum(line.startswith("nightbox: ") for line in told) == 1


@stage_test
async def test_every_status_field_of_the_interface_is_there(three, told_follower):
    fields = {
        "state", "confidence", "elapsed_s", "limit_s", "piece", "beat_position", "bar", "beat",
        "bars_left", "beats_left", "seconds_left", "tempo", "next", "decks",
    }  # fmt: skip
    async with Service(three, HERE, follower=told_follower) as stage:
        status = await get_json(stage, "status")
    assert fields <= set(status)
    assert set(status["piece"]) >= {"index", "name", "part", "technique", "bars", "count"}
    assert set(status["next"]) == {"index", "name", "part", "technique", "tempo", "prompt"}
    assert set(status["decks"]["left"]) >= {
        "position", "speed", "age_ms", "hand", "cue", "wind", "ready"
    }  # fmt: skip


@stage_test
async def test_a_follower_that_fails_leaves_the_stage_up(three, make_prompt):
    class Broken:
        def hear(self, side, *, position, now):
            raise ZeroDivisionError

        def wake_at(self):
            raise ZeroDivisionError

        def prompt(self, *, now):
            raise ZeroDivisionError

    async with Service(three, HERE, follower=Broken()) as stage:
        assert (await get_json(stage, "status"))["error"]
        assert (await get_json(stage, "health"))["errors"]["count"] > 0


@stage_test
async def test_a_useless_address_is_refused_each_time_and_a_useful_one_never(
    three, told_follower, message, send
):
    """Its first message is read, those after it are known; the count is the same."""
    async with Service(three, HERE, follower=told_follower) as stage:
        for number in range(6):
            send(stage.osc_address, message("/deck/middle/position", float(number)))
            send(stage.osc_address, message("/elsewhere", float(number)))
            send(stage.osc_address, message("/deck/left/position", float(number)))
            await until(lambda n=number: stage.health()["osc"]["datagrams"] == 3 * (n + 1))
        osc = stage.health()["osc"]
    assert osc["refused"] == {"unknown deck": 6, "unknown address": 6}
    assert osc["messages"] == 18
    assert [told[2] for told in told_follower.told] == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]


class _Strict(socket.socket):
    """Refuses what is beyond the system's limit, as macOS does (setsockopt(2): ENOBUFS)."""

    took = ()

    def setsockopt(self, level, name, value):
        if value > 1_000_000:
            raise OSError(errno.ENOBUFS, "No buffer space available")
        super().setsockopt(level, name, value)
        self.took += (value,)


def test_a_system_that_refuses_a_large_buffer_is_asked_for_a_smaller_one():
    with _Strict(type=socket.SOCK_DGRAM) as opened:
        assert ask_for_buffer(opened, 4_000_000) > 0
        assert opened.took == (1_000_000,)
