"""MIDI clock on its way out: which beat it is told, and when its port hears of it."""

import asyncio
from types import SimpleNamespace

import pytest

from liveaid.stage import clock_out
from liveaid.stage.clock_out import ClockOut


@pytest.fixture
def clock(monkeypatch):
    """A clock whose beats, port and timer are noted; a routine of 16, 12 and 8 beats."""
    told, sent, due = [], [], []

    class BeatClock:
        running = True

        def told(self, beats, rate, now_s):
            told.append((beats, rate, now_s))
            return [f"told {beats}"]

        def clock(self, now_s):
            return [f"tick at {now_s}"]

        def due_s(self):
            return 7.5

    class Port:
        def __init__(self, wanted, *, api, opened):
            self.made, self.opened = (wanted, api), opened

        def send(self, messages):
            sent.extend(messages)

        async def start(self):
            sent.append("started")

        async def stop(self):
            sent.append("stopped")

        def to_json(self):
            return {"state": "open"}

    monkeypatch.setattr(clock_out, "BeatClock", BeatClock)
    monkeypatch.setattr(clock_out, "MidiPort", Port)
    monkeypatch.setattr(
        clock_out, "OnTime", lambda call, early_s: SimpleNamespace(set=due.append)
    )  # fmt: skip
    monkeypatch.setattr(clock_out.time, "monotonic", lambda: 9.0)
    out = ClockOut("drums", "jack")
    lengths = (16, 12, 8)
    routine = SimpleNamespace(pieces=lengths, beats=lambda index: lengths[index])
    return SimpleNamespace(
        out=out, told=told, sent=sent, due=due, stage=SimpleNamespace(routine=routine)
    )


@pytest.mark.parametrize(
    ("changes", "beats"),
    [
        ({}, 2.5), ({"piece": 1}, 18.5), ({"piece": 2}, 30.5), ({"state": "silent"}, 2.5),
        ({"state": "before"}, None), ({"state": "over"}, None), ({"piece": None}, None),
        ({"beat_position": None}, None), ({"beat_position": 0.0}, 0.0),
    ],
)  # fmt: skip
def test_beats_are_counted_from_the_start_of_the_routine(clock, changes, beats):
    """16 and 12 beats come before the second and the third. 90 BPM are 1.5 a second."""
    piece = changes.pop("piece", 0)
    found = SimpleNamespace(
        **{"state": "following", "beat_position": 2.5, "tempo": 90.0} | changes,
        piece=None if piece is None else SimpleNamespace(index=piece),
    )
    clock.out._stage = clock.stage
    clock.out.prompted(found, 4.0)
    assert clock.told == [(beats, 1.5, 4.0)]
    assert (clock.sent, clock.due) == ([f"told {beats}"], [7.5])


def test_what_is_not_sure_changes_nothing_and_no_tempo_is_no_rate(clock):
    unsure = SimpleNamespace(state="unsure", piece=None, beat_position=1.0, tempo=90.0)
    clock.out.prompted(unsure, 4.0)
    assert (clock.told, clock.sent, clock.due) == ([], [], [])
    bare = SimpleNamespace(
        state="following", piece=SimpleNamespace(index=0), beat_position=1.0, tempo=None
    )
    clock.out.prompted(bare, 4.0)  # no stage yet
    clock.out._stage = clock.stage
    clock.out.prompted(bare, 5.0)
    assert clock.told == [(None, 0.0, 4.0), (1.0, 0.0, 5.0)]


def test_who_is_plugged_in_anew_begins_anew_and_all_stop_at_the_end(clock):
    async def evening():
        clock.out.started(clock.stage)
        clock.out._port.opened()
        clock.out._tick()
        await clock.out.stopped()

    asyncio.run(evening())
    assert clock.out._port.made == ("drums", "jack")
    assert clock.sent == ["told None", "tick at 9.0", "started", "told None", "stopped"]
    assert clock.told == [(None, 0.0, 9.0)] * 2
    assert clock.due == [7.5, None]
    assert clock.out.status() == {"clock": {"running": True, "state": "open"}}
    asyncio.run(clock.out.stopped())
