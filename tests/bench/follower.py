"""How well the follower follows: a table of simulated performances, one row a kind of fault.

    python tests/bench/follower.py --performances 240 --jobs 2

Each performance is looked at every 50 ms from the first message on, wherever the simulator's truth
is inside the routine, with no grace after a leap: a moment too late is a moment wrong.
  piece    the set piece is right
  beat     the beat is right to one beat, either way, counted over the whole routine
  sure     share of looks with confidence >= 0.9, and how many of these have both right
  beats    beats from the end of the fault until both are right and stay so for a beat (median);
           `running` counts only performances found again where a deck runs
  us       cost of a message, `hear` alone, in microseconds of processor time
  look-up  piece and beat of the plain position look-up on the same messages, and of one that
           remembers its last answer (follower_lookup.py)
Every performance has a sender of its own: 50, 100 or 200 messages a second and deck, 1, 3 or 8 ms
of mean jitter, a hundredth lost, doubled or overtaken, or none. --rate and --jitter fix them.
"""

from __future__ import annotations

import argparse
import json
import statistics
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from follower_score import KINDS, Score, Task, followed

ROUTINES = Path(__file__).resolve().parent.parent / "routines"
BARS = {
    "clean": (99.9, 99.8),
    "skip": (99.8, 99.8),
    "early leave": (99.8, 99.8),
    "needle jump": (99.5, 99.5),
    "drop-out": (99.8, 99.8),
    "repeat": (99.8, 97.0),
    "restart": (99.0, 99.0),
    "start in the middle": (98.5, 96.0),
}


def row(kind: str, scores: Sequence[Score]) -> dict[str, object]:
    """One line of the table."""
    looks: Counter[str] = Counter()
    for score in scores:
        looks.update(score.looks)
    found = [s.recovery_beats for s in scores if s.recovery_beats is not None]
    running = [s.recovery_beats for s in scores if s.recovery_beats is not None and s.deck_runs]
    return {
        "kind": kind,
        "performances": len(scores),
        "piece": _share(looks["piece"], looks["all"]),
        "beat": _share(looks["beat"], looks["all"]),
        "bar": BARS.get(kind),
        "sure": _share(looks["sure"], looks["all"]),
        "sure_right": _share(looks["sure_right"], looks["sure"]),
        "following_right": _share(looks["following_right"], looks["following"]),
        "recovery_beats": statistics.median(found) if found else None,
        "recovery_running": statistics.median(running) if running else None,
        "us": 1e6 * sum(s.hear_s for s in scores) / sum(s.messages for s in scores),
        **{
            key: _share(looks[key], looks["all"])
            for key in ("plain_piece", "plain_beat", "memory_piece", "memory_beat")
        },
    }


def _share(part: int, whole: int) -> float:
    return 100.0 * part / max(whole, 1)


HEAD = (
    f"{'':20} {'n':>4} {'piece':>7} {'beat':>7}  {'bars':>10} {'sure':>6} {'right':>6}"
    f" {'beats':>6} {'running':>7} {'us':>5}  look-up      with memory"
)


def line(data: dict[str, object]) -> str:
    """One row as text."""
    bars = "/".join(f"{bar:g}" for bar in data["bar"]) if data["bar"] else ""
    beats = [
        "-" if data[key] is None else f"{data[key]:.2f}"
        for key in ("recovery_beats", "recovery_running")
    ]
    return (
        f"{data['kind']:20} {data['performances']:4} {data['piece']:7.2f} {data['beat']:7.2f}"
        f"  {bars:>10} {data['sure']:6.1f} {data['sure_right']:6.2f} {beats[0]:>6} {beats[1]:>7}"
        f" {data['us']:5.0f}  {data['plain_piece']:.1f} / {data['plain_beat']:.1f}"
        f"  {data['memory_piece']:.1f} / {data['memory_beat']:.1f}"
    )


def tasks_of(options: argparse.Namespace) -> list[Task]:
    """The performances asked for, spread evenly over kinds and routines."""
    files = sorted(ROUTINES.glob("*.yaml"))
    if options.routine:
        files = [Path(name) if Path(name).is_file() else ROUTINES / f"{name}.yaml"
                 for name in options.routine.split(",")]  # fmt: skip
    kinds = options.kind.split(",") if options.kind else list(BARS)
    each = max(round(options.performances / (len(kinds) * len(files))), 1)
    return [
        Task(file, kind, options.seed + 1000 * number + count, options.rate, options.jitter)
        for kind in kinds
        for number, file in enumerate(files)
        for count in range(each)
    ]


def show_wrong(scores: Sequence[Score]) -> None:
    """The worst performances and when they went wrong, for whoever mends the follower."""
    for score in sorted(scores, key=lambda s: -len(s.wrong))[:6]:
        print(f"    {score.task.file.stem} {score.task.seed}: {len(score.wrong)} looks wrong")
        last = -9.0
        for now, piece, beat, told, told_beat, confidence in score.wrong:
            if now - last > 0.06:
                print(
                    f"      {now:7.2f} s: {piece}, {beat:.1f}; told {told}, {told_beat:.1f}"
                    f" at {confidence:.2f}"
                )
            last = now


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--performances", type=int, default=240)
    parser.add_argument("--routine", help="names in tests/routines or files, comma between")
    parser.add_argument("--kind", help=f"of {', '.join(KINDS)}; comma between")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, help="messages a second and deck")
    parser.add_argument("--jitter", type=float, help="mean jitter in seconds")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--wrong", action="store_true", help="list the worst performances")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    tasks = tasks_of(options)
    rows: list[dict[str, object]] = []
    if not options.json:
        print(HEAD)
    with ProcessPoolExecutor(options.jobs) as pool:
        scores = iter(pool.map(followed, tasks))
        for kind in dict.fromkeys(task.kind for task in tasks):
            of_kind = [next(scores) for task in tasks if task.kind == kind]
            rows.append(row(kind, of_kind))
            if not options.json:
                print(line(rows[-1]), flush=True)
            if options.wrong:
                show_wrong(of_kind)
    if options.json:
        print(json.dumps(rows, indent=2))


if __name__ == "__main__":
    main()
