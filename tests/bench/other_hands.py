"""Performances by other hands than the simulator's: for judging the follower, not for tuning it.

A record's way is a row of corners (time, second of record), straight between them; a platter's
wander is laid over what turns by itself. These hands count late, listen before they play, stop,
start again, correct a record that slips, and let go where they like. Habits and their shares are
common practice (no source), and were written down before any figure of the follower was seen.
"""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass, field

import numpy as np

from liveaid.routine import SIDES, Routine, Side

FAULTS = ("clean", "twice", "back one", "stop", "running", "skip", "early leave", "middle", "late")
HABITS = ("pre-listening", "drags", "spin-backs", "needle drops")
"""What a clean performance may be full of, asked for instead of a fault."""


@dataclass
class Record:
    """One deck's corners so far."""

    t: list[float] = field(default_factory=list)
    x: list[float] = field(default_factory=list)
    runs: bool = False
    rate: float = 1.0
    habit: str = ""

    def at(self, now: float) -> float:
        """Second of record at a time not before the last corner."""
        return self.x[-1] + (self.rate * (now - self.t[-1]) if self.runs else 0.0)

    def corner(self, now: float, *, runs: bool = False, x: float | None = None) -> None:
        """Turn over into standing or turning, at `x` if it is set down elsewhere."""
        here = self.at(now)
        self.t += [now] if x is None else [now, now + 0.001]
        self.x += [here] if x is None else [here, x]
        self.runs = runs

    def to(self, now: float, until: float, x: float) -> None:
        """By hand from here to a second of record."""
        self.corner(now)
        self.t.append(max(until, now + 0.01))
        self.x.append(x)
        self.runs = False


@dataclass(frozen=True)
class Played:
    """Messages (time, side, second of record) and truth (time, set piece or -1, beat)."""

    messages: list[tuple[float, Side, float]]
    truth: list[tuple[float, int, float]]
    marks: list[float]


def order_of(pieces: int, fault: str, rng: random.Random) -> list[tuple[int, float, float]]:
    """Set piece, first and last share of it, in the order played; -1 is a stop of so many s."""
    plain = [(i, 0.0, 1.0) for i in range(pieces)]
    k = rng.randrange(1, max(pieces - 2, 2))
    cut = (k, 0.0, rng.uniform(0.3, 0.85))
    return {
        "twice": [*plain[: k + 1], *plain[k:]],
        "back one": [*plain[: k + 1], *plain[k - 1 :]],
        "stop": [*plain[:k], cut, (-1, 10.0, 0.0), *plain[k:]],
        "skip": [*plain[:k], *plain[k + 1 :]],
        "early leave": [*plain[:k], cut, *plain[k + 1 :]],
        "middle": [(k, rng.uniform(0.1, 0.7), 1.0), *plain[k + 1 :]],
        "late": [*plain[:k], (k, 0.0, 1.0 + 2 / 16), *plain[k + 1 :]],
    }.get(fault, plain)


def perform(routine: Routine, fault: str, seed: int) -> Played:
    """One performance."""
    rng = random.Random(f"{routine.title}/{fault}/{seed}")
    order = order_of(len(routine.pieces), fault, rng)
    habit = fault if fault in HABITS else ""
    records = {side: Record(rate=1 + rng.gauss(0, 0.012), habit=habit) for side in SIDES}
    records["right"].rate = records["left"].rate + rng.gauss(0, 0.001)
    first = rng.uniform(2.0, 5.0)
    for side, record in records.items():
        cue = _next_cue(routine, order, -1, side)
        record.t, record.x = [0.0], [cue if cue is not None else 1.0]
        record.runs = fault == "running"
    truth: list[tuple[float, int, float]] = []
    marks, now = [], 0.0 if fault == "middle" else first
    for n, (piece, b0, b1) in enumerate(order):
        if piece < 0:
            _stop(routine, order, n, records, now, b0, rng)
            now += b0
            marks.append(now)
            continue
        if (n and (order[n - 1][0] != piece - 1 or order[n - 1][2] != 1.0)) or (not n and b0):
            marks.append(now)
        now = _play(routine, order, n, records, now, truth, rng, (b0, b1))
    for record in records.values():
        record.corner(now)
        record.t.append(now + 1.0)
        record.x.append(record.x[-1])
    return Played(
        _sent(records, now, rng), truth, [m for m in marks if fault != "clean" and not habit]
    )


def _play(routine, order, n, records, now, truth, rng, shares):
    piece_index = order[n][0]
    piece, beats = routine.pieces[piece_index], routine.beats(piece_index)
    b0, b1 = shares[0] * beats, max(round(shares[1] * beats), 1)
    hands = {side: piece.plan(side) for side in SIDES}
    lead = next((s for s in (piece.count, *SIDES) if s in hands and hands[s].hand == "runs"), None)
    rate = records[lead or "left"].rate
    if lead is None:
        rate *= 1 + rng.gauss(0, 0.004)  # counted by the clock: a shade off
        if rng.random() < 0.1:
            b1 += rng.choice([0.25, 0.5])  # and the next comes in late
    beat_s = 60.0 / piece.tempo_bpm / rate
    begin = now - b0 * beat_s
    end = begin + b1 * beat_s
    for side, plan in hands.items():
        record = records[side]
        if plan.hand == "runs":
            _run(record, plan.at_s + b0 * beat_s * rate, now, end, rng, leads=side == lead)
    works = [side for side in SIDES if hands[side].hand == "works"]
    if len(works) == 2:
        _juggle(records, hands, begin, beat_s, b0, b1, rng)
    for side in SIDES:
        if hands[side].hand == "works" and len(works) == 1:
            _scratch(records[side], hands[side], now, end, beat_s, rng)
        elif hands[side].hand == "rests":
            cue = _next_cue(routine, order, n, side)
            _rest(records[side], cue, now, end, beat_s, rng)
    lag = records[lead].rate if lead else rate
    for k in range(math.ceil(now / 0.05), math.ceil(end / 0.05)):
        t = k * 0.05
        truth.append((t, piece_index, (t - begin) / beat_s * lag / rate))
    return end


def _run(record, at_s, now, end, rng, *, leads):
    if not (record.runs and abs(record.at(now) - at_s) < 0.12):
        if abs(record.at(now) - at_s) > 0.3:
            record.corner(now - 0.002, x=at_s + rng.gauss(0, 0.01))
        let_go = now + (rng.gauss(0, 0.012) if leads else rng.gauss(0, 0.025))
        record.corner(max(let_go, record.t[-1] + 0.002), runs=True)
    if not leads:  # it slips, and is ridden back
        t = now + rng.uniform(2, 6)
        while t < end - 1:
            record.to(t, t + 0.25, record.at(t) + 0.25 * record.rate + rng.gauss(0, 0.02))
            record.corner(record.t[-1], runs=True)
            t += rng.uniform(3, 8)


def _scratch(record, plan, now, end, beat_s, rng):
    cue, high = plan.cue_s, plan.to_s
    span, t = high - plan.from_s, now
    if abs(record.at(now) - cue) > 0.3:
        record.corner(max(now - 0.002, record.t[-1] + 0.001), x=cue)
    while t < end - 0.3 * beat_s:
        often = {"drags": [2, 2, 8, 2, 0.5], "spin-backs": [3, 2, 1, 2, 6]}
        shares = often.get(record.habit, [4, 4, 1.5, 3, 0.5])
        how = rng.choices(["let go", "strokes", "drag", "hold", "spin"], shares)[0]
        last = min(t + rng.choice([0.5, 1, 1, 2]) * beat_s, end)
        start = max(t + rng.gauss(0, 0.02), record.t[-1] + 0.002)
        if how == "let go":
            record.corner(start, runs=True)
            stop = min(last - 0.12, start + (high - record.x[-1]))
            record.to(max(stop, start + 0.05), last, cue + rng.gauss(0, 0.02))
        elif how == "strokes":
            for _ in range(rng.randint(2, 6)):
                step = (last - start) / 12
                where = plan.from_s + rng.uniform(0, min(0.35, span))
                record.to(
                    record.t[-1] if record.t[-1] > start else start, record.t[-1] + step, where
                )
            record.to(record.t[-1], max(last, record.t[-1] + 0.05), cue + rng.gauss(0, 0.03))
        elif how == "drag":
            speed = rng.uniform(0.3, 0.8)
            record.to(start, last - 0.1, min(record.at(start) + speed * (last - start), high))
            record.to(record.t[-1], last, cue + rng.gauss(0, 0.02))
        elif how == "spin":
            record.to(start, start + 0.25, record.at(start) - 1.6)
            record.to(record.t[-1], max(last, start + 0.6), cue + rng.gauss(0, 0.03))
        t = max(last, record.t[-1])


def _juggle(records, hands, begin, beat_s, b0, b1, rng):
    beat, turn = math.ceil(b0), rng.randrange(2)
    span_s = min(hands[side].to_s - hands[side].from_s for side in SIDES)
    for side in SIDES:
        record = records[side]
        if abs(record.at(begin + b0 * beat_s) - hands[side].cue_s) > 0.3:
            record.corner(max(begin + b0 * beat_s - 0.002, record.t[-1]), x=hands[side].cue_s)
        elif record.runs:
            record.corner(max(begin + b0 * beat_s - 0.002, record.t[-1]))
    while beat < b1 - 0.25:
        unit = min(rng.choice([0.5, 1, 1, 1, 2]), max(math.floor(span_s / beat_s * 2) / 2, 0.5))
        side = SIDES[turn]
        record, cue = records[side], hands[side].cue_s
        start = max(begin + beat * beat_s + rng.gauss(0, 0.02), record.t[-1] + 0.002)
        stop = begin + min(beat + unit, b1) * beat_s + rng.gauss(0, 0.015)
        if rng.random() > 0.04:  # a missed one else
            record.corner(start, runs=True)
            record.to(
                max(stop, start + 0.05), stop + rng.uniform(0.1, 0.22), cue + rng.gauss(0, 0.02)
            )
            if rng.random() < 0.15:  # put right: not quite where it should be
                record.to(record.t[-1] + 0.03, record.t[-1] + 0.08, cue + rng.gauss(0, 0.008))
        turn, beat = 1 - turn, beat + unit


def _rest(record, cue, now, end, beat_s, rng):
    stays = rng.choice([0.1, 0.5, 1.5, 4.0]) * beat_s if record.runs else 0.0
    t = min(now + stays, end - 0.5 * beat_s)
    record.corner(max(t, record.t[-1] + 0.001))
    if cue is None:
        return
    t += rng.uniform(0.1, 0.3) * (end - t)
    drops = 1.0 if record.habit == "needle drops" else 0.2
    if rng.random() < drops or abs(record.at(t) - cue) > 4.0 * (end - t):
        record.corner(t, x=cue + rng.gauss(0, 0.3))
    for part in (0.55, 0.95):
        far = cue - record.at(t)
        if abs(far) > 0.5:
            record.to(t, t + abs(far) * part / rng.uniform(4, 8), record.at(t) + part * far)
            t = record.t[-1] + rng.uniform(0.05, 0.3)
    record.to(t, t + 0.3, cue + rng.gauss(0, 0.015))
    t = record.t[-1] + rng.uniform(0.1, 0.6)
    ways = ["no", "rocks", "plays", "plays up to it"]
    listens = rng.choice(ways[1:] if record.habit == "pre-listening" else ways)
    if listens == "no" or t > end - 2.5:
        return
    if listens == "rocks":
        for step in range(rng.randint(4, 12)):
            record.to(t, t + 0.12, cue + (0.12 if step % 2 else -0.08))
            t = record.t[-1]
    else:
        before = rng.uniform(1.0, 2.0) if listens == "plays up to it" else 0.0
        record.to(t, t + 0.3, cue - before)
        record.corner(record.t[-1] + 0.1, runs=True)
        t = record.t[-1] + before + (rng.uniform(0.5, 2.0) if not before else 0.0)
    record.to(min(t, end - 0.6), min(t, end - 0.6) + 0.4, cue + rng.gauss(0, 0.012))


def _stop(routine, order, n, records, now, lasts_s, rng):
    for side, record in records.items():
        record.corner(max(now + rng.uniform(0.0, 0.4), record.t[-1]))
        cue = _next_cue(routine, order, n, side)
        if cue is not None:
            record.to(now + rng.uniform(3, 6), now + rng.uniform(6.5, 8), cue + rng.gauss(0, 0.01))


def _next_cue(routine, order, n, side):
    for piece, *_ in order[n + 1 :]:
        if piece >= 0 and routine.pieces[piece].plan(side).hand != "rests":
            return routine.pieces[piece].plan(side).cue_s
    return None


def _sent(records, end, rng) -> list[tuple[float, Side, float]]:
    """Told at a rate of the sender's own, late by a little, now and then lost."""
    rate, late_s = rng.choice([60.0, 100.0, 200.0]), rng.choice([0.001, 0.004])
    told: list[tuple[float, Side, float]] = []
    for side, record in records.items():
        times = np.arange(0.0, end + 0.5, 1.0 / rate)
        corners = np.maximum.accumulate(np.array(record.t) + np.arange(len(record.t)) * 1e-9)
        places = np.interp(times, corners, record.x)
        moving = np.clip(np.abs(np.gradient(places, times)), 0.0, 1.0)
        places = places + 0.003 * moving * np.sin(2 * np.pi * 0.55 * times + rng.uniform(0, 6))
        for t, x in zip(times.tolist(), places.tolist(), strict=True):
            if rng.random() > 0.005:
                told.append((t + rng.expovariate(1 / late_s), side, x))
    return sorted(told)


def runs(at: float) -> dict[str, object]:
    """A record that turns by itself from a deck-file second on."""
    return {"hand": "runs", "at": at}


def works(low: float, high: float) -> dict[str, object]:
    """A record worked in a span."""
    return {"hand": "works", "from": low, "to": high}


def made(title: str, tempo: float, rows: list[tuple]) -> Routine:
    """A routine of (bars, left, right), counted by the first deck that runs, else the clock."""
    pieces = []
    for number, (bars, left, right) in enumerate(rows):
        hands = {side: plan for side, plan in (("left", left), ("right", right)) if plan}
        count = next((side for side, plan in hands.items() if plan["hand"] == "runs"), "clock")
        pieces.append(
            {"name": f"Stall {number + 1}", "bars": bars, "tempo": tempo, "count": count, **hands}
        )
    return Routine.model_validate({"title": title, "pieces": pieces})


def _in_turn(rows: list[tuple[int, str, str]], tempo: float) -> list[tuple]:
    """Passages laid one after another; r runs, w works, - rests."""
    at, made_rows, before = {"left": 1.5, "right": 3.0}, [], {"left": "", "right": ""}
    for bars, *hands in rows:
        row: list[object] = [bars]
        for side, hand in zip(SIDES, hands, strict=True):
            if hand == "-":
                row.append(None)
            else:
                if not (hand == "r" and before[side] == "r"):
                    at[side] += 4.7
                long_s = bars * 240.0 / tempo if hand == "r" else 1.8
                here = round(at[side], 3)
                row.append(runs(here) if hand == "r" else works(here, round(here + long_s, 3)))
                at[side] += long_s
            before[side] = hand
        made_rows.append(tuple(row))
    return made_rows


def routines() -> dict[str, Routine]:
    """The kinds of routine: doubles, shared cues, solos, one-bar set pieces, and the usual ones."""
    a, b, c = 18.0, 47.5, 83.2
    usual = [(4, "r", "-"), (8, "r", "w"), (4, "-", "r"), (8, "w", "r"), (4, "r", "r"),
             (8, "w", "w"), (4, "-", "r"), (4, "r", "-")]  # fmt: skip
    short = [(1, *pair) for pair in itertools.islice(itertools.cycle(
        [("r", "-"), ("r", "w"), ("-", "r"), ("w", "r"), ("w", "w")]), 16)]  # fmt: skip
    return {
        "doubles": made("Doubles", 94, [
            (4, runs(a), None), (8, works(a, a + 2.6), works(a, a + 2.6)), (4, None, runs(a)),
            (6, works(b, b + 2.6), works(b, b + 2.6)), (4, works(b, b + 1.3), works(b, b + 1.3)),
            (4, runs(b), None), (8, works(a, a + 2.6), works(a, a + 2.6)), (4, runs(c), None)]),
        "shared cue": made("Shared", 90, [
            (4, runs(6.0), None), (8, runs(25.0), works(44.0, 45.4)), (4, None, runs(66.0)),
            (8, runs(25.0), works(58.0, 59.5)), (4, None, runs(88.0)), (4, runs(25.0), None),
            (8, runs(25.0), works(44.0, 45.4)), (4, None, runs(110.0))]),
        "solo": made("Solo", 88, [
            (4, runs(4.0), None), (12, None, works(27.0, 29.1)), (4, runs(58.0), None),
            (8, works(86.0, 87.5), None), (4, None, runs(52.0))]),
        "usual": made("Usual", 97, _in_turn(usual, 97)),
        "one bar": made("One bar", 93, _in_turn(short, 93)),
    }  # fmt: skip
