"""Whether a good run after a false start is a take of its own, wherever it stopped.

Run by hand:  python tests/bench/takes.py [--aims "" "Mortar twins"]

The short routine is begun, stopped at ten places for 0.5 to 5 s, both records wound back by hand,
and played well. Beside it, what a finder does that only knows records standing for longer than a
bar: one take for each stretch between such rests.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from liveaid.practice.aim import aim_of
from liveaid.practice.records import Kept
from liveaid.practice.replay import takes_in
from liveaid.routine import load_routine
from liveaid.simulate import Hands, Performance, perform

ROUTINE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
LEAD_S = 2.0
STOPS_S = (0.5, 1.0, 2.0, 3.5, 5.0)
RATE_S = 0.005
Messages = list[tuple[float, str, float]]


def stopped_and_begun_anew(
    first: Performance, good: Performance, *, at_s: float, stop_s: float, wind_s: float = 1.2
) -> tuple[Messages, float]:
    """Messages of one played to `at_s`, held, wound back, then of one played well; its start."""
    found = [(m.now_s, m.side, m.position_s) for m in first.messages if m.now_s < at_s]
    last = {side: x for _, side, x in found}
    begin = {}
    for m in good.messages:
        begin.setdefault(m.side, m.position_s)
    for k in range(int((stop_s + wind_s) / RATE_S)):
        t = k * RATE_S
        part = float(np.clip((t - stop_s) / wind_s, 0, 1))
        part = part * part * (3 - 2 * part)
        for side, x in last.items():
            found.append((at_s + t, side, x + part * (begin[side] - x)))
    later = at_s + stop_s + wind_s
    found += [(m.now_s + later, m.side, m.position_s) for m in good.messages]
    return found, later + LEAD_S


def own(found: list[Kept], starts_s: float, pieces: int) -> bool:
    """Whether the good run is a take of its own, whole."""
    return any(
        one.ended == "complete"
        and abs(one.start_s - starts_s) < 0.6
        and [visit.piece for visit in one.visits] == list(range(pieces))
        for one in found
    )


def by_rests(messages: Messages, bar_s: float, starts_s: float) -> bool:
    """The baseline: whether a rest of both records of more than a bar comes before the good run."""
    rest = 0.0
    times = np.arange(messages[0][0], starts_s, 0.05)
    moving = np.zeros(len(times), bool)
    for side in ("left", "right"):
        deck = np.array([(t, x) for t, s, x in messages if s == side])
        moving |= np.abs(np.gradient(np.interp(times, *deck.T), times)) > 0.12
    runs = np.flatnonzero(np.diff(np.concatenate([[1], moving.astype(int), [1]])))
    for a, b in zip(runs[::2], runs[1::2], strict=True):
        rest = max(rest, (b - a) * 0.05)
    return bool(rest > 1.25 * bar_s)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--aims", nargs="+", default=["", "Pestle", "Mortar twins"])
    options.add_argument("--places", type=int, default=10)
    chosen = options.parse_args()
    routine = load_routine(ROUTINE)
    print("aim            stop s |  own take of  | two takes | by rests alone")
    for name in chosen.aims:
        aim = aim_of(routine, name)
        assert aim is not None
        pieces = len(aim.routine.pieces)
        lasts = sum(aim.routine.piece_s(k) for k in range(pieces))
        for stop_s in STOPS_S:
            good = two = plain = 0
            for place in range(chosen.places):
                at_s = LEAD_S + lasts * (0.12 + 0.8 * place / chosen.places)
                first, second = (
                    perform(aim.routine, seed=10 * place + k, lead_s=LEAD_S, hands=Hands())
                    for k in (1, 2)
                )
                messages, starts = stopped_and_begun_anew(first, second, at_s=at_s, stop_s=stop_s)
                found = takes_in(messages, aim)
                good += own(found, starts, pieces)
                two += len(found) == 2
                plain += by_rests(messages, 4 * 0.6, starts)
            print(f"{name or 'whole':14s} {stop_s:6.1f} | {good:6d} of {chosen.places:2d} |"
                  f" {two:9d} | {plain:6d}")  # fmt: skip


if __name__ == "__main__":
    main()
