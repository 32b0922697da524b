"""The mixer's faders over real UDP, through the running stage, into a take's score.

Tolerance: the system stamps each datagram as it arrives, so a cut is scored within 5 ms of when it
was really sent, however busy the machine; how late the sender itself was woken is not the score's,
and each message's own moment of sending is what the scores are held against.
"""

from __future__ import annotations

import asyncio
import socket
import time

import numpy as np

from liveaid.practice.aim import Aim
from liveaid.practice.reading import TakeReader
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.routine import Routine
from liveaid.simulate import Hands, perform
from liveaid.simulate.send import datagrams
from liveaid.stage.address import Address
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings

HERE = Address("127.0.0.1", 0)
BEAT_S = 60.0 / 140.0
ACTS = {"0": "chirp yes", "2": "transform hey for 2", "4": "flare yes", "6": "transform hey for 2"}


def scratch() -> Routine:
    places = {"yes": {"from": 10.0, "to": 10.3}, "hey": {"from": 11.1, "to": 11.4}}
    right = {"hand": "works", "from": 10.0, "to": 11.4, "acts": ACTS, "places": places}
    piece = {
        "name": "P", "bars": 2, "tempo": 140, "count": "left", "right": right,
        "left": {"hand": "runs", "at": 2.0},
    }  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": [piece]})


async def _sent(stage: Service, performance) -> list[tuple[float, bytes]]:
    """Every datagram at its time, with the monotonic second at which it really went."""
    began_s, sent = time.monotonic() + 0.1, []
    to = (stage.osc_address.host, stage.osc_address.port)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for at_s, data in datagrams(performance):
            while (wait_s := began_s + at_s - time.monotonic()) > 0.0:
                await asyncio.sleep(wait_s)
            sent.append((time.monotonic(), data))
            out.sendto(data, to)
    return sent


async def _rehearse(performance, file) -> tuple[list, list[tuple[float, bytes]]]:
    routine, told, store = performance.routine, [], TakeStore(file)
    session = Session(Aim(routine=routine), count_in_bars=0)
    rehearsal = Rehearsal(session, routine, store=store, file=file, told=told.append)
    settings = Settings(osc=HERE, http=HERE)
    async with Service(routine, settings, watchers=[rehearsal]) as stage:
        sent = await _sent(stage, performance)
        for _ in range(400):
            if told:
                break
            await asyncio.sleep(0.05)
    store.close()
    return told, sent


def test_cuts_sent_over_udp_are_scored_within_5_ms_of_when_they_were_sent(tmp_path):
    hands = Hands(stroke_error_s=0.004, timing_error_s=0.004, cue_error_s=0.003)
    performance = perform(scratch(), seed=3, lead_s=1.2, hands=hands)
    times = [at_s for at_s, _ in datagrams(performance)]
    # What a busy machine sends by fits and starts is another performance: it is sent anew.
    for attempt in range(5):
        file = tmp_path / f"takes-{attempt}.sqlite"
        told, sent = asyncio.run(_rehearse(performance, file))
        woken_late_ms = 1000 * np.ptp([s - at_s for (s, _), at_s in zip(sent, times, strict=True)])
        if woken_late_ms < 20.0:
            break
    assert told
    with TakeReader(file) as reader:
        report = reader.score(told[0].number)
    (fader,) = report.pieces[0].faders
    assert (fader.side, fader.heard, fader.missed, fader.added) == ("right", True, 0, 0)
    scored = [cut for cut in fader.cuts if cut.room_beats == 0.0]
    assert len(scored) >= 12
    # The left record is heard throughout: the fader goes between 0 and 0.5, half-way at 0.25.
    moves = [(at_s, data) for at_s, data in sent if data.startswith(b"/mixer/crossfader")]
    values = [one.value for one in performance.mixer if one.control == "crossfader"]
    half = [at_s for (at_s, _), value in zip(moves, values, strict=True) if value == 0.25]
    assert len(half) >= len(scored)
    assert max(min(abs(cut.at_s - at_s) for at_s in half) for cut in scored) < 0.005
    # Held against the count that the same socket told: off by what the hand was off, and what the
    # sender was woken late by.
    assert max(abs(cut.off_ms) for cut in scored) < 3.5 * 1000 * hands.fader_error_s + woken_late_ms
