"""The same performances with each deck late by its own 0 to 60 ms: what scores make of it.

Run by hand:  python tests/bench/delays.py [--seeds 2]

Per pair of delays, in virtual time: the bias told after a calibration less the one told without
any delay, how long the calibration took a hand, whether verdicts are the same, and, where nothing
was measured, what is said and whether verdicts are. The baseline is the same without knowing of
delays at all: errors as they arrive.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

from liveaid.practice.aim import Aim, aim_of
from liveaid.practice.calibration import (
    BEAT_S,
    GOES,
    METRE,
    PUSHES,
    Amount,
    Calibrated,
    calibrated,
)
from liveaid.practice.delays import Delays
from liveaid.practice.records import Kept
from liveaid.practice.replay import takes_in
from liveaid.practice.score import score_of
from liveaid.practice.take_score import TakeScore
from liveaid.routine import load_routine
from liveaid.simulate import Hands, perform

ROUTINE = Path(__file__).resolve().parent.parent / "practice" / "spice-row.yaml"
STEPS_MS = (0, 20, 40, 60)
LEAD_S, NETWORK_S = 3.0, 0.002
HANDS = Hands(timing_error_s=0.010, stroke_error_s=0.010)


def ended_of(aim: Aim, messages: list[tuple[float, str, float]]) -> Kept | None:
    takes = takes_in(messages, aim)
    return takes[0] if len(takes) == 1 else None


def scored(aim: Aim, ended: Kept, delays: Delays) -> TakeScore:
    aim = replace(aim, delays=delays)
    return score_of(aim, replace(ended, counted_in_s=LEAD_S, delays=aim.delays))


SPREAD_BEATS, SHARED = 0.02, 0.4
"""A trained tapper's spread, and what of one go's error is in the next click's (Repp, Psychon Bull
Rev 12 (2005), from memory)."""
LET_GO_CLICKS = 2 * METRE
"""A record is let go, stopped and brought back in so many."""


def gone_s(late_s: float, wanted: Amount, clicks: int, rng) -> list[float]:
    """One hand's errors until there are enough; its habit is the click's."""
    own = spread_s = SPREAD_BEATS * BEAT_S
    own *= rng.standard_normal()
    goes: list[float] = []
    while not wanted.enough(goes):
        goes.append(late_s + own)
        kept = SHARED**clicks
        own = kept * own + spread_s * np.sqrt(1.0 - kept**2) * rng.standard_normal()
    return goes


def calibrated_by_hand(late: dict[str, float], seed: int) -> tuple[Calibrated, float]:
    """What goes and pushes find, and the minutes of the hands that it took."""
    rng = np.random.default_rng((seed, round(1e6 * late["left"]), round(1e6 * late["right"])))
    true = {side: one + NETWORK_S for side, one in late.items()}
    goes = {side: gone_s(true[side], GOES, LET_GO_CLICKS, rng) for side in late}
    pushes = {side: gone_s(true[side] + 0.015, PUSHES, 1, rng) for side in late}
    lasts_s = sum(len(one) for one in goes.values()) * LET_GO_CLICKS * BEAT_S
    lasts_s += sum(len(one) for one in pushes.values()) * BEAT_S
    return calibrated(goes, pushes), lasts_s / 60


def verdicts(score: TakeScore) -> list[str]:
    return [piece.verdict for piece in score.pieces]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seeds", type=int, default=2)
    chosen = options.parse_args()
    routine = load_routine(ROUTINE)
    print("left right ms | measured: bias off ms, verdicts same | not measured: same, named |"
          " delays ignored: verdicts same")  # fmt: skip
    worst, same, of, lasted, off_all = 0.0, 0, 0, [], []
    plays = [
        (aim_of(routine, name), perform(alone, seed=seed, lead_s=LEAD_S, hands=HANDS))
        for seed in range(chosen.seeds)
        for name, alone in (
            ("", routine),
            ("Mortar twins", aim_of(routine, "Mortar twins").routine),
        )
    ]
    base = {}
    for left_ms, right_ms in product(STEPS_MS, STEPS_MS):
        late = {"left": left_ms / 1000, "right": right_ms / 1000}
        rows = []
        for number, (aim, played) in enumerate(plays):
            messages = sorted(
                (m.now_s + late[m.side], m.side, m.position_s) for m in played.messages
            )
            ended = ended_of(aim, messages)
            if ended is None:
                rows.append((float("nan"), False, False, False, False))
                continue
            known, minutes = calibrated_by_hand(late, number)
            true = scored(aim, ended, known.delays)
            lasted.append(minutes)
            exact = Delays(left_s=NETWORK_S, right_s=NETWORK_S, measured=True)
            base.setdefault(number, scored(aim, ended, exact))  # the first pair is 0 and 0
            plain = scored(aim, ended, Delays())
            ignored = scored(aim, ended, Delays(measured=True))
            first = base[number]
            off = true.bias_ms - first.bias_ms
            # A start alone can't be told from a delay: such a set piece is then not judged.
            alike = all(
                a == b or b == "not judged"
                for a, b in zip(verdicts(first), verdicts(plain), strict=True)
            )
            rows.append((off, verdicts(true) == verdicts(first), alike,
                         any(one.named for one in plain.shifts),
                         verdicts(ignored) == verdicts(first)))  # fmt: skip
        offs = max(abs(row[0]) for row in rows)
        off_all += [abs(row[0]) for row in rows]
        counts = [sum(row[k] for row in rows) for k in (1, 2, 3, 4)]
        worst, same, of = max(worst, offs), same + counts[0], of + len(rows)
        print(f"{left_ms:4d} {right_ms:5d}    | {offs:17.2f}   {counts[0]:8d} of {len(rows)}  |"
              f" {counts[1]:14d}, {counts[2]:5d} |"
              f" {counts[3]:10d} of {len(rows)}", flush=True)  # fmt: skip
    print(f"after calibration of {np.mean(lasted):.1f} min, {max(lasted):.1f} at most: bias within"
          f" {worst:.2f} ms, 3 ms in {np.mean(np.array(off_all) <= 3.0):.0%}; {same} of {of} takes"
          " with the verdicts they have without delay")  # fmt: skip


if __name__ == "__main__":
    main()
