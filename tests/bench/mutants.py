"""Do the tests notice? Seeded small mistakes in every room, each held against that room's tests.

    .venv/bin/pip install coverage
    .venv/bin/python tests/bench/mutants.py                   # 120 mistakes, some 30 minutes
    .venv/bin/python tests/bench/mutants.py --room follow --count 20 --seed 3

A mistake is what a tired hand would make: a comparison turned, a sign lost, a number ten times
off, left for right, `and` for `or`, a condition dropped. The package is copied aside, one mistake
is made at a time, and only those tests run that reach its line (found by one run under coverage);
a line that no test reaches in its own process is held against all tests of its room, since a
worker process may run it. A mistake that leaves the program the same in all
that matters is explained in EXCUSED below and counted apart. The baseline is the same run without
a mistake; a test that fails there is named and left out.
"""

from __future__ import annotations

import argparse
import ast
import itertools
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Iterator, Set
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
ALSO = {
    "record": ("routine",),
    "commands": ("cli", "fit", "shelf", "render", "practice", "simulate"),
    "files": ("shelf",),
    "sound": ("study",),
}
"""Test folders beside a room's own whose claims are about that room."""
ROOMS = sorted(each.parent.name for each in (ROOT / "liveaid").glob("*/__init__.py"))
MOST_TESTS = 40
MOST_S = 60.0
"""So many tests, and tests of so long together, are run against one mistake, the quickest first.
What only slower ones would notice counts as survived."""
LIMIT_S = 60
SLOWER = 5
"""A mistake that makes its tests hang is noticed too: so long, and so many times their own time."""

EXCUSED: dict[tuple[str, str], str] = {
    ("liveaid/routine/arrange/bound.py", "ROUNDS = 150"):
        "more rounds of a bound that has settled take longer and change no order",
    ("liveaid/fit/costs.py",
     "divides = np.abs(long / short - np.round(long / short)) < 1e-9"):
        "no two loops' lengths stand exactly a billionth beside a whole ratio",
    ("liveaid/fit/why.py", 'three = "the other" if fit.meeting.beats > 1.0 else "this one"'):
        "beat on beat was answered before",
    ("liveaid/study/beats.py", "ready[:longest] = -1e6"):
        "what is never chosen is never chosen",
    ("liveaid/study/beats.py",
     "drift = 100.0 * (first / last - 1.0) if first > 0 and last > 0 else 0.0"):
        "beats rise: no parabola through them begins with a period of exactly nothing",
    ("liveaid/render/to_tempo.py", "at = (start - begins) * ratio"):
        "a start that lands beside a frame is moved there by the sinc: the same sound, made slower",
    ("liveaid/shelf/for_map.py", "if not paths or not shelf_file.is_file():"):
        "a shelf that is not there is refused by name when opened, and knows nothing then too",
    ("liveaid/practice/warp.py",
     "return np.where(np.isfinite(cost), total, np.inf), total < enter - 1e-12"):
        "a billionth of a beat either way",
    ("liveaid/study/grid.py", "if len(times) < 8:"):
        "of eight onsets one stretch at most holds six, and one median wanders from no other",
    ("liveaid/practice/hear.py",
     "above = np.flatnonzero(x[begins:rough] > x[low] + 0.3 * way)"):
        "no position stands exactly at three tenths of the way",
    ("liveaid/commands/review.py", "screen.print(found.today.noise, markup=False)"):
        "the sentence about the noise holds no square bracket",
}  # fmt: skip
"""(file, the changed line as it stands) and why no test can or need notice."""
EXCUSED_PART = {"strict=True": "a zip's word that both are as long; they are"}
"""The same for a word that only stands guard."""

TURNED = {
    ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "==",
    ast.Is: "is not", ast.IsNot: "is", ast.In: "not in", ast.NotIn: "in",
}  # fmt: skip
TRADED = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Mod: "//"}
ROUNDING = 1e-6
"""A smaller number only forgives what binary fractions do to a sum."""
SWAPPED = {"left": "right", "right": "left", "min": "max", "max": "min"}


@dataclass(frozen=True, slots=True)
class Mistake:
    """One change of a source file: characters from `start` to `end` become `text`."""

    file: str
    line: int
    what: str
    start: int
    end: int
    text: str

    def made_in(self, source: str) -> str:
        return source[: self.start] + self.text + source[self.end :]


def mistakes_in(file: Path) -> Iterator[Mistake]:
    """Every mistake that can be made in one file."""
    source = file.read_text(encoding="utf-8")
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def at(line: int, column: int) -> int:
        text = source[starts[line - 1] : starts[line]]
        return starts[line - 1] + len(text.encode()[:column].decode())

    name = file.relative_to(ROOT).as_posix()

    def span(node: ast.expr) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return at(node.lineno, node.col_offset), at(node.end_lineno, node.end_col_offset)

    def text_of(node: ast.expr) -> str:
        return source[slice(*span(node))]

    def mistake(node: ast.expr, text: str, what: str) -> Mistake:
        return Mistake(name, node.lineno, what, *span(node), text)

    for node in _code(ast.parse(source)):
        written = text_of(node)
        match node:
            case ast.Compare(ops=[op], left=left, comparators=[right]) if type(op) in TURNED:
                a, b = text_of(left), text_of(right)
                sign = TURNED[type(op)]
                yield mistake(node, f"({a} {sign} {b})", f"{written!r} turned to {sign}")
            case ast.BinOp(op=op, left=left, right=right) if type(op) in TRADED:
                if any(_is_text(each) for each in (left, right)):
                    continue  # a path's or a text's joining: it fails at once, and tells nothing
                a, b = text_of(left), text_of(right)
                sign = TRADED[type(op)]
                yield mistake(node, f"({a}) {sign} ({b})", f"{written!r} with {sign}")
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                inner = text_of(operand)
                yield mistake(node, inner, f"{written!r} without its sign")
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                inner = text_of(operand)
                yield mistake(node, f"({inner})", f"{written!r} without its not")
            case ast.BoolOp(op=op, values=values):
                word = " or " if isinstance(op, ast.And) else " and "
                parts = [f"({text_of(each)})" for each in values]
                yield mistake(node, f"({word.join(parts)})", f"{written!r} with{word}")
            case ast.IfExp(orelse=orelse):
                other = text_of(orelse)
                yield mistake(node, f"({other})", f"{written!r} always its else")
            case ast.Constant(value=bool()):
                yield mistake(node, str(not node.value), f"{written} turned")
            case ast.Constant(value=int() | float()) if (
                abs(node.value) > ROUNDING and node.value != 1
            ):
                yield mistake(node, repr(node.value * 10), f"{written} ten times")
            case ast.Constant(value="left" | "right"):
                yield mistake(node, repr(SWAPPED[node.value]), f"{node.value} for the other side")
            case ast.Name(id="min" | "max"):
                yield mistake(node, SWAPPED[node.id], f"{node.id} for {SWAPPED[node.id]}")
            case ast.Call(func=ast.Name(id="abs"), args=[inner_node]):
                inner = text_of(inner_node)
                yield mistake(node, f"({inner})", f"{written!r} without abs")


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _code(tree: ast.AST) -> Iterator[ast.expr]:
    """Every expression run for its value: no annotation, type alias, decorator or f-string part."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.JoinedStr):
            continue
        if isinstance(node, ast.AnnAssign):
            alias = isinstance(node.annotation, ast.Name) and node.annotation.id == "TypeAlias"
            if node.value is not None and not alias:
                if isinstance(node.value, ast.expr):
                    yield node.value
                yield from _code(node.value)
            continue
        if isinstance(node, ast.arguments):
            yield from (d for d in (*node.defaults, *node.kw_defaults) if d is not None)
            continue
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for part in (*node.body, node.args):
                yield from _code(ast.Module([part], []) if isinstance(part, ast.stmt) else part)
            continue
        if isinstance(node, ast.ClassDef):
            yield from _code(ast.Module(node.body, []))
            continue
        if isinstance(node, ast.expr):
            yield node
        yield from _code(node)


def drawn(rooms: list[str], count: int, seed: int) -> dict[str, list[Mistake]]:
    """So many mistakes over all rooms, each room its share by the root of its size, none twice on
    a line. What a room gets does not hang on which rooms are asked for."""
    found = {
        room: [m for file in sorted((ROOT / "liveaid" / room).rglob("*.py"))
               for m in mistakes_in(file)]
        for room in ROOMS
    }  # fmt: skip
    total = sum(len(all_) ** 0.5 for all_ in found.values())
    taken: dict[str, list[Mistake]] = {}
    for room in rooms:
        all_, lines = found[room], dict[tuple[str, int], Mistake]()
        share = max(2, round(count * len(all_) ** 0.5 / total))
        random.Random(f"{seed} {room}").shuffle(all_)
        for mistake in all_:
            if len(lines) < share:
                lines.setdefault((mistake.file, mistake.line), mistake)
        taken[room] = list(lines.values())
    return taken


def tests_of(room: str) -> list[str]:
    """The test folders that answer for a room."""
    folders = [room, *ALSO.get(room, ())]
    return [f"tests/{folder}" for folder in folders if (ROOT / "tests" / folder).is_dir()]


BY_TEST = """
import coverage, pytest

def _now(name):
    coverage.Coverage.current().switch_context(name)

@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    _now("shared")

@pytest.hookimpl(tryfirst=True)
def pytest_runtest_call(item):
    _now(item.nodeid.partition("[")[0])

@pytest.hookimpl(tryfirst=True)
def pytest_runtest_teardown(item):
    _now("shared")
"""
"""A pytest plugin that tells coverage which test runs. What is shared is made once for many."""


@dataclass(frozen=True, slots=True)
class Reach:
    """One run of a room's tests under coverage, no mistake made."""

    by_line: dict[tuple[str, int], set[str]]
    """The tests that run each line, by pytest's name; "shared" where a fixture does."""
    took_s: dict[str, float]
    """How long all cases of each test took."""

    def tests(self, line: tuple[str, int]) -> list[list[str]]:
        """The tests that may tell of a mistake on a line, those asked first in the first list.

        A line run while modules load is in no test's own context, nor is one run by a worker
        process or for a fixture: the tests that run any line of its file are asked first, then
        all the room's.
        """
        names = self.by_line.get(line, set()) - {""}
        if names and "shared" not in names:
            return [self._quickest(names)]
        near = {name for (file, _), at in self.by_line.items() if file == line[0] for name in at}
        first = self._quickest((names or near) - {"", "shared"})
        others = self._quickest(self.took_s.keys() - set(first), len(self.took_s))
        return [each for each in (first, others) if each]

    def _quickest(self, names: Set[str], most: int = MOST_TESTS) -> list[str]:
        ordered = sorted(names & self.took_s.keys(), key=lambda name: self.took_s[name])[:most]
        sums = itertools.accumulate(self.took_s[name] for name in ordered)
        return [name for name, sum_s in zip(ordered, sums, strict=True) if sum_s <= MOST_S]

    def took(self, tests: list[str]) -> float:
        """Seconds that so many tests take."""
        return sum(self.took_s[name] for name in tests)


def reached(copy: Path, room: str) -> Reach:
    """Which tests run each line of a room, and how long they take."""
    data, times = copy / f".coverage-{room}", copy / f"times-{room}.xml"
    (copy / "by_test.py").write_text(BY_TEST)
    command = [
        sys.executable, "-m", "coverage", "run", f"--data-file={data}",
        "--include", f"{copy}/liveaid/{room}/*", "-m", "pytest", "-q", "-p", "no:cacheprovider",
        "-p", "by_test", f"--junitxml={times}", *tests_of(room),
    ]  # fmt: skip
    run = subprocess.run(command, cwd=copy, capture_output=True, text=True, env=_env(copy))
    if run.returncode not in (0, 1, 5):
        sys.exit(f"{room}: its tests can't be run:\n{run.stdout[-2000:]}")
    found, failed = _times(times)
    for name in failed:
        print(f"{room}: left out, fails without any mistake: {name}", flush=True)
    return Reach(_by_line(copy, data), {n: s for n, s in found.items() if n not in failed})


def _times(file: Path) -> tuple[dict[str, float], set[str]]:
    """How long each test took, and those that failed."""
    times: dict[str, float] = {}
    failed: set[str] = set()
    for case in ET.parse(file).iter("testcase"):
        module = str(case.get("classname")).replace(".", "/")
        name = f"{module}.py::{str(case.get('name')).partition('[')[0]}"
        times[name] = times.get(name, 0.0) + float(case.get("time") or 0.0)
        if case.find("failure") is not None or case.find("error") is not None:
            failed.add(name)
    return times, failed


def _by_line(copy: Path, data: Path) -> dict[tuple[str, int], set[str]]:
    from coverage.numbits import numbits_to_nums

    lines: dict[tuple[str, int], set[str]] = {}
    with sqlite3.connect(data) as base:
        rows = base.execute(
            "select file.path, context.context, line_bits.numbits from line_bits"
            " join file on file.id = file_id join context on context.id = context_id"
        )
        for path, context, bits in rows:
            name = Path(path).relative_to(copy).as_posix()
            for line in numbits_to_nums(bits):
                lines.setdefault((name, line), set()).add(context)
    return lines


def _env(copy: Path) -> dict[str, str]:
    quiet = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg"}
    return {**os.environ, **quiet, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}


def noticed(copy: Path, mistake: Mistake, reach: Reach) -> bool:
    """Whether some test fails, or does not end, with the mistake made."""
    file = copy / mistake.file
    source = file.read_text(encoding="utf-8")
    try:
        file.write_text(mistake.made_in(source), encoding="utf-8")
        asked = reach.tests((mistake.file, mistake.line))
        return any(_some_fail(copy, tests, reach.took(tests)) for tests in asked)
    finally:
        file.write_text(source, encoding="utf-8")


def _some_fail(copy: Path, tests: list[str], took_s: float) -> bool:
    try:
        run = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests],
            cwd=copy, capture_output=True, env=_env(copy), timeout=LIMIT_S + SLOWER * took_s,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return True
    if b"no match in any of" in run.stdout + run.stderr:
        sys.exit(f"no such tests: {tests}\n{run.stderr.decode()[-1000:]}")
    return run.returncode not in (0, 5)  # 4: with the mistake the package can't even be loaded


def judge_room(room: str, mistakes: list[Mistake]) -> list[tuple[Mistake, bool]]:
    """Each mistake of a room with whether it was noticed; in a copy of its own."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in ("liveaid", "tests", "configs", "scenes"):
            shutil.copytree(ROOT / name, copy / name)
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, copy)
        reach = reached(copy, room)
        verdicts = []
        for mistake in mistakes:
            killed = noticed(copy, mistake, reach)
            mark = "noticed " if killed else "SURVIVED"
            print(f"{mark} {mistake.file}:{mistake.line}: {mistake.what[:90]}", flush=True)
            verdicts.append((mistake, killed))
        return verdicts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--room", action="append", choices=ROOMS, help="only this room; may be given again"
    )
    parser.add_argument("--at-once", type=int, default=2, help="rooms judged side by side")
    options = parser.parse_args()
    # Run in the background, Ctrl-C is ignored and would be by every test's own processes too.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    made = drawn(options.room or ROOMS, options.count, options.seed)
    with ThreadPoolExecutor(options.at_once) as pool:
        judged = [v for verdicts in pool.map(judge_room, made, made.values()) for v in verdicts]
    report(judged)


def excuse(mistake: Mistake, line: str) -> str | None:
    """Why no test need notice a mistake on a line; None where one should."""
    turned = mistake.what == "True turned"
    part = next((why for word, why in EXCUSED_PART.items() if turned and word in line), None)
    return part or EXCUSED.get((mistake.file, line.strip()))


def report(judged: list[tuple[Mistake, bool]]) -> None:
    """A table by room, then every survivor."""
    made, killed, excused = Counter[str](), Counter[str](), Counter[str]()
    survivors = []
    for mistake, noticed_ in judged:
        room = mistake.file.split("/")[1]
        line = (ROOT / mistake.file).read_text(encoding="utf-8").splitlines()[mistake.line - 1]
        made[room] += 1
        killed[room] += noticed_
        if not noticed_:
            why = excuse(mistake, line)
            excused[room] += why is not None
            survivors.append((mistake, why))
    print(f"\n{'room':10s} made noticed excused")
    for room in sorted(made):
        print(f"{room:10s} {made[room]:4d} {killed[room]:7d} {excused[room]:7d}")
    total, all_killed, all_excused = made.total(), killed.total(), excused.total()
    share = 100 * all_killed / max(1, total - all_excused)
    print(f"{'all':10s} {total:4d} {all_killed:7d} {all_excused:7d}   {share:.1f} % noticed")
    for mistake, why in survivors:
        print(f"{mistake.file}:{mistake.line}: {mistake.what}{f' ({why})' if why else ''}")


if __name__ == "__main__":
    main()
