"""The port's owner, on a made backend that fails the way real ones do: late, twice, or for ever."""

import asyncio
import threading
import time

import pytest

from liveaid.errors import UsageError
from liveaid.stage import midi, midi_ports
from liveaid.stage.jack_server import jack_mark
from liveaid.stage.midi import MidiPort
from liveaid.stage.midi_ports import Ports, apis_for, list_ports

rtmidi = pytest.importorskip("rtmidi")


class Backend:
    """A MIDI system: what is plugged in, and everything that was made on it."""

    def __init__(self):
        self.absent = False
        self.names = []
        self.made = []
        self.open_takes_s = 0.0
        self.sending_fails = False
        self.sent = []
        self.stall = threading.Event()
        self.stall.set()

    @property
    def alive(self):
        return [port for port in self.made if not port.deleted]


def backend_class(backend, base):
    class Port(base):
        def __new__(cls, *_, **__):
            return object.__new__(cls)

        def __init__(self, api, name):
            if backend.absent:
                raise SystemError("no sequencer")
            self.deleted, self.is_open, self.callback = False, False, None
            self.opened = self.left_out = None
            backend.made.append(self)

        def get_ports(self):
            assert not self.deleted, "a deleted port crashes the process"
            return list(backend.names)

        def open_port(self, index, name):
            time.sleep(backend.open_takes_s)
            self.is_open, self.opened = True, (index, name)

        def ignore_types(self, **left_out):
            self.left_out = left_out

        def send_message(self, message):
            assert self.is_open, "sending on a closed port crashes the process"
            backend.stall.wait()
            if backend.sending_fails:
                raise RuntimeError("stalled")
            backend.sent.append(bytes(message))

        def set_callback(self, callback):
            self.callback = callback

        def cancel_callback(self):
            self.callback = None

        def close_port(self):
            self.is_open = False

        def delete(self):
            assert not self.deleted
            self.deleted = True

    return Port


class Plain:
    """In place of rtmidi's own classes."""


@pytest.fixture
def backend(monkeypatch):
    made = Backend()
    monkeypatch.setattr(rtmidi, "MidiOut", backend_class(made, Plain))
    monkeypatch.setattr(rtmidi, "MidiIn", backend_class(made, Plain))
    monkeypatch.setattr(rtmidi, "get_compiled_api", lambda: [rtmidi.API_UNIX_JACK])
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "no-such-server")
    monkeypatch.setattr(midi, "MIDI_POLL_S", 0.01)
    monkeypatch.setattr(midi, "MIDI_SETTLE_S", 0.0)
    monkeypatch.setattr(midi, "MIDI_LIMIT_S", 0.3)
    return made


async def until(look, for_s=5.0):
    end = time.monotonic() + for_s
    while not look():
        assert time.monotonic() < end, f"not within {for_s} s"
        await asyncio.sleep(0.005)


def with_port(check, wanted="pads", **options):
    async def run():
        port = MidiPort(wanted, **options)
        await port.start()
        try:
            await check(port)
        finally:
            begun_s = time.monotonic()
            await port.stop()
            assert time.monotonic() - begun_s < 15, "stopping waited for its own time limit"

    asyncio.run(asyncio.wait_for(run(), 20))


def test_it_starts_without_a_midi_system_and_lights_up_when_there_is_one(backend):
    backend.absent, backend.names = True, ["Pads:Pads 20:0"]
    opened = []

    async def check(port):
        assert port.state == "no MIDI system on this machine"
        port.send([b"\x90\x01\x7f"])
        backend.absent = False
        await until(lambda: port.state == "open")
        port.send([b"\x90\x02\x7f"])

    with_port(check, opened=lambda: opened.append(1))
    assert opened
    assert backend.sent == [b"\x90\x02\x7f"]
    assert backend.alive == []


def test_a_server_that_is_not_there_is_asked_for_every_so_often_or_when_its_socket_shows(
    backend, monkeypatch
):
    """Each time in vain loses memory; 60 looks are the first, and those 30 and 60 looks on."""
    backend.absent, backend.names = True, ["Pads:Pads 20:0"]
    monkeypatch.setattr(midi_ports, "jack_mark", lambda: None)
    ports, asked = Ports("out", apis_for("jack")), []
    monkeypatch.setattr(midi_ports, "_new", lambda *to: asked.append(to) or rtmidi.MidiOut(1, ""))
    looks = [ports.names() for _ in range(61)]
    assert len(asked) == 3
    assert looks == [[]] * 61
    assert ports.absent == {"jack": "no sequencer"}
    backend.absent = False
    monkeypatch.setattr(midi_ports, "jack_mark", lambda: "a server")
    assert ports.names() == [("jack", "Pads:Pads 20:0")]
    ports.close()


def test_without_the_midi_library_all_else_runs_and_it_is_said(monkeypatch):
    """Where there is no wheel of it for a Python, as for 3.13 when this was written."""
    monkeypatch.setattr(midi_ports, "rtmidi", None)

    async def check(port):
        assert port.state == midi_ports.NOT_INSTALLED
        port.send([b"\x90\x01\x7f"])

    with_port(check)
    assert midi_ports.list_ports() == (
        {"in": [], "out": []}, {"midi": midi_ports.NOT_INSTALLED}
    )  # fmt: skip
    with pytest.raises(UsageError, match="python-rtmidi"):
        midi_ports.apis_for("jack")


def test_unplugged_and_plugged_in_again_under_another_number(backend):
    backend.names = ["Pads:Pads 20:0"]
    opened = []

    async def check(port):
        await until(lambda: len(opened) == 2)  # at once, and again in case the first was lost
        backend.names = []
        await until(lambda: port.state == "no port of that name")
        port.send([b"\x90\x01\x7f"])
        backend.names = ["Pads:Pads 28:0"]
        await until(lambda: len(opened) >= 3)
        assert port.name == "Pads:Pads 28:0"

    with_port(check, opened=lambda: opened.append(1))
    assert backend.sent == []
    assert backend.alive == []


def test_looking_makes_no_new_clients(backend):
    backend.names = ["Pads:Pads 20:0"]

    async def check(port):
        await until(lambda: port.state == "open")
        made = len(backend.made)
        await asyncio.sleep(0.2)  # some twenty looks
        assert len(backend.made) == made

    with_port(check)


def test_two_that_fit_are_not_guessed_between(backend):
    backend.names = ["Pads A 20:0", "Pads B 24:0"]

    async def check(port):
        assert port.state == "several ports fit: Pads A 20:0, Pads B 24:0"

    with_port(check)


def test_sending_that_fails_is_counted_and_the_port_taken_up_anew(backend):
    backend.names = ["Pads 20:0"]
    opened = []

    async def check(port):
        await until(lambda: port.state == "open")
        backend.sending_fails = True
        port.send([b"\x90\x01\x7f", b"\x90\x02\x7f"])
        await until(lambda: port.failed == 1)
        backend.sending_fails = False
        await until(lambda: len(backend.made) == 2)
        await until(lambda: port.state == "open")
        port.send([b"\x90\x03\x7f"])

    with_port(check, opened=lambda: opened.append(1))
    assert backend.sent == [b"\x90\x03\x7f"]


@pytest.mark.flaky(reruns=2)  # a machine that gives this process no turn for half a second
def test_a_driver_that_stalls_is_noticed_let_go_and_holds_up_nothing(backend):
    """A send that never comes back: noticed within 2 s by the port's own progress, the loop going
    on meanwhile; when another port of that name is there, it is taken up."""
    backend.names = ["Pads 20:0"]

    async def check(port):
        await until(lambda: port.state == "open")
        backend.stall.clear()
        longest_s, before_s = 0.0, time.monotonic()
        began_s = before_s
        while port.stalls == 0:
            port.send([b"\x90\x01\x7f"])
            await asyncio.sleep(0.01)
            now_s = time.monotonic()
            longest_s, before_s = max(longest_s, now_s - before_s), now_s
        assert now_s - began_s < 2.0
        assert longest_s < 0.5
        backend.stall.set()
        await until(lambda: port.state == "open")
        port.send([b"\x90\x02\x7f"])
        await until(lambda: b"\x90\x02\x7f" in backend.sent)
        assert port.to_json()["stalls"] == 1

    with_port(check)


def test_a_slow_driver_that_makes_progress_is_not_stalled(backend):
    backend.names = ["Pads 20:0"]

    async def check(port):
        await until(lambda: port.state == "open")
        for number in range(6):
            backend.stall.clear()
            port.send([bytes([0x90, number, 127])])
            await asyncio.sleep(0.3)
            backend.stall.set()
            await until(lambda number=number: len(backend.sent) == number + 1)
        assert port.stalls == 0

    with_port(check)


def test_what_comes_while_the_driver_is_busy_is_sent_after_it_and_none_is_left_out(backend):
    """As 24 clocks a beat on a busy machine: half a second of them waits, in order."""
    backend.names = ["Pads 20:0"]
    clocks = [bytes([0x90, number, 127]) for number in range(24)]

    async def check(port):
        await until(lambda: port.state == "open")
        backend.stall.clear()
        for data in clocks:
            port.send([data])
        backend.stall.set()
        await until(lambda: len(backend.sent) == len(clocks))
        assert backend.sent == clocks

    with_port(check)


def test_a_port_that_takes_too_long_to_open_holds_up_nothing(backend):
    backend.names, backend.open_takes_s = ["Pads 20:0"], 1.0

    async def check(port):
        assert port.state == "opening takes too long"
        turns = 0
        for _ in range(5):
            await asyncio.sleep(0)
            turns += 1
        assert turns == 5
        backend.names = []
        await asyncio.sleep(1.1)
        # What was opened too late was closed again by the thread that had opened it.
        assert [made.is_open for made in backend.made].count(True) == 0

    with_port(check)


def test_what_an_input_hears_is_handed_to_the_loop(backend):
    backend.names = ["Pads 20:0"]
    heard = []

    def on_loop(data, now_s):
        heard.append((data, now_s, threading.current_thread()))

    async def check(port):
        await until(lambda: port.state == "open")
        (opened,) = [made for made in backend.made if made.callback]
        before = time.monotonic()
        foreign = threading.Thread(target=opened.callback, args=(([0x90, 60, 100], 0.0), None))
        foreign.start()
        foreign.join()
        await until(lambda: heard)
        data, now_s, thread = heard[0]
        assert data == bytes([0x90, 60, 100])
        assert before <= now_s <= time.monotonic()
        assert thread is threading.current_thread()

    with_port(check, direction="in", heard=on_loop)
    assert all(made.callback is None for made in backend.made)


def test_ports_are_listed_by_system_and_what_is_not_reached_is_said(backend):
    backend.names = ["Pads 20:0"]
    found, absent = list_ports()
    assert found == {"in": [("jack", "Pads 20:0")], "out": [("jack", "Pads 20:0")]}
    assert absent == {}
    backend.absent = True
    found, absent = list_ports()
    assert found == {"in": [], "out": []}
    assert absent == {"jack": "no sequencer"}


def test_a_system_this_machine_has_not_is_wrong_use(backend):
    with pytest.raises(UsageError, match="auto, jack would do"):
        apis_for("winmm")


def test_one_run_of_a_jack_server_is_told_from_the_next(tmp_path, monkeypatch):
    """Lines as /proc/net/unix has them (proc(5)); only the listening socket counts."""
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "default")
    table = tmp_path / "unix"
    head = "Num       RefCount Protocol Flags    Type St Inode Path\n"
    listening = "0: 00000002 00000000 00010000 0001 01 {} /dev/shm/jack_{}_0_0\n"
    connected = "0: 00000003 00000000 00000000 0001 03 4711 /dev/shm/jack_default_0_0\n"
    table.write_text(
        head + connected + listening.format(51, "other") + listening.format(7, "default")
    )
    first = jack_mark(table)
    table.write_text(head + connected)
    gone = jack_mark(table)
    table.write_text(head + listening.format(8, "default"))
    assert (first, gone) == ("7", None)
    assert jack_mark(table) not in (first, None)
    assert jack_mark(tmp_path / "no such table") is None


def test_a_jack_port_is_the_look_out_itself_and_another_system_s_one_of_its_own(
    backend, monkeypatch
):
    backend.names = ["Pads:Pads 20:0"]
    monkeypatch.setattr(midi_ports, "jack_mark", lambda: "one server")
    shared, apart = Ports("in", {"jack": 1}), Ports("in", {"coremidi": 2})
    for ports, made in ((shared, 1), (apart, 2)):
        backend.made.clear()
        ((api, name),) = ports.names()
        opened = ports.open(api, name)
        assert len(backend.made) == made
        assert opened.is_open
        ports.release(opened)
        ports.close()
        assert backend.alive == []


@pytest.mark.parametrize(
    ("direction", "timing", "called", "left_out"),
    [("in", False, "pads", None), ("out", False, "lamps", None),
     ("in", True, "pads", {"sysex": False, "timing": False, "active_sense": True})],
)  # fmt: skip
def test_a_port_is_opened_by_its_number_under_our_word_for_it_and_hears_time_where_it_is_to(
    backend, direction, timing, called, left_out
):
    backend.names = ["Pads", "Grid", f"{midi_ports.CLIENT_NAME}:pads"]
    ports = Ports(direction, {"coremidi": 2}, **({"timing": True} if timing else {}))
    assert ports.names() == [("coremidi", "Pads"), ("coremidi", "Grid")]  # ours is left out
    opened = ports.open("coremidi", "Grid")
    opened.callback = print
    assert (opened.opened, opened.left_out) == ((1, called), left_out)
    ports.release(opened)
    assert (opened.is_open, opened.deleted) == (False, True)
    assert opened.callback is (None if direction == "in" else print)
    with pytest.raises(ValueError, match="Rack"):
        ports.open("coremidi", "Rack")
    assert len(backend.alive) == 1  # the look-out
    ports.close()


def test_all_let_go_of_a_server_that_has_died_before_anybody_asks_the_next(backend, monkeypatch):
    mark = "first"
    monkeypatch.setattr(midi_ports, "jack_mark", lambda: mark)
    backend.names = ["Pads"]
    old, new = Ports("in", {"jack": 1}), Ports("out", {"jack": 1})
    assert not old.gone()
    assert old.names() == [("jack", "Pads")]
    assert not old.gone()
    mark = "second"
    assert old.gone()
    assert old.of_a_dead_server()
    with pytest.raises(SystemError, match="has gone"):
        old.open("jack", "Pads")
    assert (new.names(), new.absent) == ([], {"jack": "the server has gone"})
    old.close()
    assert not old.gone()
    assert not old.of_a_dead_server()
    assert (new.names(), new.absent) == ([("jack", "Pads")], {})
    new.close()


def test_a_port_that_is_forgotten_is_never_touched_again(backend, monkeypatch):
    monkeypatch.setattr(midi_ports, "jack_mark", lambda: "one server")
    backend.names = ["Pads"]
    ports = Ports("in", {"jack": 1, "coremidi": 2})
    assert (ports.systems, len(ports.names())) == (2, 2)
    stalled = ports.open("jack", "Pads")
    ports.forget(stalled)
    assert len(ports.names()) == 2
    assert len(backend.made) == 3  # one anew in its place
    ports.close()
    assert backend.alive == [stalled]


@pytest.mark.parametrize(("device", "absent"), [(True, {}), (False, {"alsa": "no such device"})])
def test_alsa_is_asked_only_where_it_has_its_device(backend, monkeypatch, device, absent):
    """`/dev/snd/seq`: the sequencer's device (ALSA, from memory)."""
    monkeypatch.setattr(midi_ports.os.path, "exists", lambda path: device or path != "/dev/snd/seq")
    backend.names = ["Pads"]
    ports = Ports("in", {"alsa": 3})
    assert ports.names() == ([("alsa", "Pads")] if device else [])
    assert ports.absent == absent
    ports.close()


def test_only_systems_that_are_compiled_in_are_there(backend, monkeypatch):
    assert list(apis_for("auto")) == list(apis_for("jack")) == ["jack"]
    monkeypatch.setattr(rtmidi, "get_compiled_api", list)
    assert list_ports() == ({"in": [], "out": []}, {"midi": midi_ports.NOT_INSTALLED})
