"""Do the tests notice? Seeded small mistakes in every room, each held against that room's tests.

    .venv/bin/pip install '.[test,bench]'
    .venv/bin/python tests/bench/mutants.py --keep /tmp/mutants    # 120 mistakes, some 30 minutes
    .venv/bin/python tests/bench/mutants.py --room follow --count 200 --seed 3

A mistake is what a tired hand would make: a comparison turned, a sign lost, a number ten times
off, left for right, `and` for `or`, a condition dropped. The package is copied aside, one mistake
is made at a time, and only those tests run that reach its line (found by one run under coverage);
a line that no test reaches in its own process is held against all tests of its room, since a
worker process may run it. Which mistakes are made hangs on the seed and on each line alone, so an
edit elsewhere changes no other draw. With `--keep` a run that was broken off goes on where it
was; when the package or its tests have changed since, every mistake is made again, and the test
that noticed it before is asked first.

A mistake that leaves the program the same in all that matters is explained in EXCUSED below, not
made, and counted apart. The baseline is the same run without a mistake; a test that fails there is
named and left out.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import functools
import hashlib
import itertools
import json
import math
import multiprocessing
import os
import py_compile
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from collections.abc import Iterator, Set
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
ALSO = {
    "record": ("routine",),
    "commands": ("cli", "fit", "shelf", "render", "practice", "simulate"),
    "files": ("shelf",),
    "sound": ("study",),
    "study": ("shelf",),
}
"""Test folders beside a room's own whose claims are about that room."""
WITH_PORTS = {"commands", "demo", "practice", "simulate", "stage"}
"""Rooms whose tests open ports: judged one after another, beside all others."""
ROOMS = sorted(each.parent.name for each in (ROOT / "liveaid").glob("*/__init__.py"))
MOST_TESTS = 200
MOST_S = 60.0
"""So many tests, and tests of so long together, are run against one mistake, the quickest first.
What only slower ones would notice counts as survived. Most tests take milliseconds: with a few
dozen of them the quick ones would crowd out those that are about the line."""
LIMIT_S = 60
SLOWER = 5
"""A mistake that makes its tests hang is noticed too: so long, and so many times their own time."""

EXCUSED: dict[tuple[str, str], str] = {
    ("liveaid/routine/arrange/bound.py", "ROUNDS = 150"):
        "more rounds of a bound that has settled take longer and change no order",
    ("liveaid/fit/costs.py",
     "divides = np.abs(long / short - np.round(long / short)) < 1e-9"):
        "no two loops' lengths stand exactly a billionth beside a whole ratio",
    ("liveaid/fit/audition.py", "SETTLE = 256"):
        "what more there is on either side is cut off again",
    ("liveaid/fit/meeting.py", "return [tempo_bpm * beats for beats in PLAIN_BEATS]"):
        "half and double time are each other's inverse",
    ("liveaid/fit/meeting.py", "return (down, up) if ratio >= 1.0 else (up, down)"):
        "at one speed both pitches are nothing",
    ("liveaid/fit/why.py", "if fit.keys is None or fit.keys_locked is None:"):
        "both are known, or neither",
    ("liveaid/study/beats.py", "ready[:longest] = -1e6"):
        "what is never chosen is never chosen",
    ("liveaid/study/beats.py",
     "drift = 100.0 * (first / last - 1.0) if first > 0 and last > 0 else 0.0"):
        "beats rise: no parabola through them begins with a period of exactly nothing",
    ("liveaid/render/to_tempo.py", "at = (start - begins) * ratio"):
        "a start that lands beside a frame is moved there by the sinc: the same sound, made slower",
    ("liveaid/shelf/for_map.py", "if not paths or not shelf_file.is_file():"):
        "a shelf that is not there is refused by name when opened, and knows nothing then too",
    ("liveaid/shelf/open_break.py",
     "loop_beats=round(beats) if abs(beats - round(beats)) < WHOLE_WITHIN else None,"):
        "no break is just a twentieth of a beat beside a whole number of them",
    ("liveaid/shelf/shelf.py", "for sound in _loaded(db, hashes, onsets=False):"):
        "onsets read along take time and go into no row",
    ("liveaid/follow/follower.py", "if self._confidence > LEARNS:"):
        "no confidence worked out of scores stands just at the bound",
    ("liveaid/stage/timecode.py", "self._pieces = [0] * 8"):
        "only the eight pieces of a time are ever set and read",
    ("liveaid/stage/timecode.py", "same_way = self._run * step > 0"):
        "a run holds a piece once a step is known, and a step is 1 either way: no product is 0",
    ("liveaid/stage/beat_clock.py", "self._starts = False"):
        "set with the first place, before anything is sent",
    ("liveaid/stage/soundcheck.py",
     "if deck.started_s is not None and abs(now - deck.started_s) < 1.0:"):
        "no word comes just a second after a record was let go",
    ("liveaid/stage/keeper.py", 'COPIES = "fork" if sys.platform == "linux" else "spawn"'):
        "both start methods run; which one is safe is the system's",
    ("liveaid/render/limiter.py", "AT_ONCE = 1 << 16"):
        "more places looked at in one go take more memory and find the same",
    ("liveaid/render/limiter.py", "for channel in (0,) if alike else (0, 1):"):
        "two channels alike looked at both give the same, more slowly",
    ("liveaid/render/limiter.py", "over = np.flatnonzero(peaks > ceiling)"):
        "a peak just at the ceiling needs a gain of one",
    ("liveaid/render/limiter.py", "high = size[:, channel] > LIMITER_NEAR * above"):
        "no sample stands exactly at that share of a peak",
    ("liveaid/render/limiter.py",
     "for few in np.split(over, np.flatnonzero(np.diff(over) > 4 * reach) + 1):"):
        "peaks far apart looked at together get the same gain, more slowly",
    ("liveaid/shelf/shelf.py", "if any(len(each) > HASH_BYTES for each in hashes):"):
        "parts that nobody asked for are left out after",
    ("liveaid/demo/market.py", "figure = (0, 3, 5, 4, 6, 5, 3, 2)"):
        "a scale of nine notes comes round: its degree 30 is its degree 3",
    ("liveaid/demo/voices.py", "np.sin(2 * np.pi * hertz(note) * (1.0 + detune) * t)"):
        "one reed is tuned as much above the note as the other below it",
    ("liveaid/study/grid.py", "if len(times) < 8:"):
        "of eight onsets one stretch at most holds six, and one median wanders from no other",
    ("liveaid/practice/assess.py",
     'begins = kind == "release" and abs(one.act.beat) < 1e-9'):
        "no act lies just a thousand millionth of a beat beside the first beat",
    ("liveaid/practice/hear.py",
     "above = np.flatnonzero(x[begins:rough] > x[low] + 0.3 * way)"):
        "no position stands exactly at three tenths of the way",
    ("liveaid/record/places.py", "return abs(at_s - cue_s) <= reach_s + 1e-9"):
        "no place is just a billionth of a second beside its reach",
    ("liveaid/record/platter.py", "return LP_RPM if abs(rpm - LP_RPM) < 0.35 else rpm"):
        "no turntable turns just .35 a minute beside 33 1/3",
    ("liveaid/record/bring.py", "for _ in range(50):"):
        "more halvings than a number has digits take longer and find the same",
    ("liveaid/record/bring.py",
     "low, high = (middle, high) if by_hand_s(middle, hands) <= seconds else (low, middle)"):
        "a middle that takes just that time is where the halving ends either way",
    ("liveaid/record/strokes.py", "if math.sqrt(way * turns_per_s2) <= turns_per_s:"):
        "at just that way both sums are the same time",
    ("liveaid/study/downbeat.py", "return 3 if three > four + THREE_GAIN else 4"):
        "no two means of products lie just a fifth apart",
    ("liveaid/sound/loudness.py", "heard = block + ALL_BUT_SILENT"):
        "what keeps a filter from subnormal numbers may lie on either side of silence",
    ("liveaid/sound/packed.py", 'early = int(av.__version__.split(".")[0]) < 19'):
        "one version of the decoder is installed, and the tests run with it",
    ("liveaid/sound/read.py", "if block.max() <= LOUDEST and block.min() >= -LOUDEST:"):
        "what the quick look does not let through is looked at sample by sample, more slowly",
    ("liveaid/sound/packed.py", "if inside < len(block):"):
        "a piece of nothing adds nothing, but would keep its block in memory",
    ("liveaid/sound/packed.py",
     "yield samples.reshape(-1, self.channels).astype(np.float32, copy=False)"):
        "a copy more takes time and holds the same",
    ("liveaid/commands/hearing.py", "if last > first:"):
        "of no frames none are read",
    ("liveaid/commands/hearing.py", 'rate = int(decks["left"].samplerate)'):
        "a render gives both deck files one rate",
    ("liveaid/commands/hearing.py",
     "around = np.concatenate([[times[0] - 1 / rate], times, [times[-1] + 1 / rate]])"):
        "a frame before the first and one after the last tell those two frames' speed alone",
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
    stands: str
    """The whole line as it stands."""

    def made_in(self, source: str) -> str:
        return source[: self.start] + self.text + source[self.end :]


def mistakes_in(tree: Path, file: Path) -> Iterator[Mistake]:
    """Every mistake that can be made in one file."""
    source = file.read_text(encoding="utf-8")
    lines = source.splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))

    def at(line: int, column: int) -> int:
        text = source[starts[line - 1] : starts[line]]
        return starts[line - 1] + len(text.encode()[:column].decode())

    name = file.relative_to(tree).as_posix()

    def span(node: ast.expr) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return at(node.lineno, node.col_offset), at(node.end_lineno, node.end_col_offset)

    def text_of(node: ast.expr) -> str:
        return source[slice(*span(node))]

    def mistake(node: ast.expr, text: str, what: str) -> Mistake:
        stands = lines[node.lineno - 1].strip()
        return Mistake(name, node.lineno, what, *span(node), text, stands)

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


def drawn(tree: Path, rooms: list[str], count: int, seed: int) -> dict[str, list[Mistake]]:
    """At least so many mistakes over all rooms, each room its share by the root of its size, none
    twice on a line. What a room gets does not hang on which rooms are asked for."""
    found = {
        room: [m for file in sorted((tree / "liveaid" / room).rglob("*.py"))
               for m in mistakes_in(tree, file)]
        for room in ROOMS
    }  # fmt: skip
    total = sum(len(all_) ** 0.5 for all_ in found.values())

    def lot(mistake: Mistake) -> bytes:
        words = f"{seed} {mistake.file} {mistake.stands} {mistake.what}"
        return hashlib.sha256(words.encode()).digest()

    taken: dict[str, list[Mistake]] = {}
    for room in rooms:
        share = math.ceil(count * len(found[room]) ** 0.5 / total)
        by_line: dict[tuple[str, int], Mistake] = {}
        for mistake in sorted(found[room], key=lot):
            by_line.setdefault((mistake.file, mistake.line), mistake)
        taken[room] = list(by_line.values())[:share]
    return taken


def tests_of(room: str) -> list[str]:
    """The test folders that answer for a room."""
    folders = [room, *ALSO.get(room, ())]
    return [folder for folder in folders if (ROOT / "tests" / folder).is_dir()]


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


_ONE_RUN: defaultdict[str, threading.Lock] = defaultdict(threading.Lock)


def run_under_coverage(tree: Path, folder: str) -> None:
    """Which lines each test of a folder runs, and how long it takes, kept beside the tree."""
    data, times = _kept(tree, folder)
    with _ONE_RUN[folder]:
        if times.is_file():
            return
        (tree / "by_test.py").write_text(BY_TEST)
        unfinished = times.with_suffix(".part")
        command = [
            sys.executable, "-m", "coverage", "run", f"--data-file={data}",
            "--include", f"{tree}/liveaid/*", "-m", "pytest", "-q", "-p", "no:cacheprovider",
            "-p", "by_test", f"--junitxml={unfinished}", f"tests/{folder}",
        ]  # fmt: skip
        env = _env(tree)
        del env["PYTHONDONTWRITEBYTECODE"]  # nothing is changed here: copies find it compiled
        run = subprocess.run(command, cwd=tree, capture_output=True, text=True, env=env)
        if run.returncode not in (0, 1, 5):
            sys.exit(f"{folder}: its tests can't be run:\n{run.stdout[-2000:]}")
        unfinished.replace(times)


def _kept(tree: Path, folder: str) -> tuple[Path, Path]:
    return tree.parent / f"{folder}.coverage", tree.parent / f"{folder}.xml"


@functools.cache
def reached(tree: Path, room: str) -> Reach:
    """Which tests run each line of a room, and how long they take."""
    by_line: dict[tuple[str, int], set[str]] = {}
    took_s: dict[str, float] = {}
    for folder in tests_of(room):
        run_under_coverage(tree, folder)
        data, times = _kept(tree, folder)
        found, failed = _times(times)
        for name in failed:
            print(f"{room}: left out, fails without any mistake: {name}", flush=True)
        took_s |= {name: s for name, s in found.items() if name not in failed}
        for line, tests in _by_line(tree, room, data).items():
            by_line.setdefault(line, set()).update(tests)
    return Reach(by_line, took_s)


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


def _by_line(tree: Path, room: str, data: Path) -> dict[tuple[str, int], set[str]]:
    from coverage.numbits import numbits_to_nums

    lines: dict[tuple[str, int], set[str]] = {}
    with sqlite3.connect(data) as base:
        rows = base.execute(
            "select file.path, context.context, line_bits.numbits from line_bits"
            " join file on file.id = file_id join context on context.id = context_id"
            " where file.path like ?",
            (f"{tree}/liveaid/{room}/%",),
        )
        for path, context, bits in rows:
            name = Path(path).relative_to(tree).as_posix()
            for line in numbits_to_nums(bits):
                lines.setdefault((name, line), set()).add(context)
    return lines


QUIET = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg"}


def _env(copy: Path) -> dict[str, str]:
    return {**os.environ, **QUIET, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}


HANGS = "does not end"


def noticed_by(copy: Path, tree: Path, mistake: Mistake, before: str | None) -> str | None:
    """The test that fails with the mistake made, HANGS where none ends; None: nobody notices.

    `before` is who noticed it in another tree.
    """
    file = copy / mistake.file
    source = file.read_text(encoding="utf-8")
    try:
        file.write_text(mistake.made_in(source), encoding="utf-8")
        if before and before != HANGS:
            who = _failing(copy, [before], MOST_S)
            if who:
                return who
        reach = reached(tree, mistake.file.split("/")[1])
        asked = reach.tests((mistake.file, mistake.line))
        return next(filter(None, (_failing(copy, each, reach.took(each)) for each in asked)), None)
    finally:
        file.write_text(source, encoding="utf-8")


LOADED_FIRST = [
    "aiohttp", "hypothesis.strategies", "matplotlib.pyplot", "numpy", "pydantic", "pytest",
    "rich.console", "scipy.ndimage", "scipy.optimize", "scipy.signal", "soundfile", "yaml",
]  # fmt: skip
"""What the package and its tests import of others: loaded once, in the process whose copies run
the tests."""
PASSED = "\nnone of them failed"
FORKS = multiprocessing.get_context("forkserver")


def _failing(copy: Path, tests: list[str], took_s: float) -> str | None:
    """The first of some tests that fails."""
    told = copy.parent / "told.txt"
    child = FORKS.Process(target=_run_tests, args=(copy, tests, told))
    child.start()
    child.join(LIMIT_S + SLOWER * took_s)
    hangs = child.is_alive()
    with suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.join()
    if hangs:
        return HANGS
    said = told.read_text(errors="replace")
    if said.endswith(PASSED) or "not found: " in said:  # a test that is no longer there
        return None
    failed = re.search(r"^(?:FAILED|ERROR) (tests/\S+::\w+)", said, re.MULTILINE)
    return failed[1] if failed else tests[0]  # with the mistake the package can't even be loaded


def _run_tests(copy: Path, tests: list[str], told: Path) -> None:
    """Pytest in a process of its own, begun in `copy`; what it says goes to `told`."""
    import pytest

    os.setsid()  # it and all that its tests start are ended together
    output = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(output, stream)
    os.chdir(copy)
    os.environ |= _env(copy)
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = True  # what a mistake was compiled to would outlive it
    status = pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests])
    sys.stdout.flush()
    if status in (0, 5):
        os.write(output, PASSED.encode())
    os._exit(0)


def judge_room(tree: Path, room: str, mistakes: list[Mistake]) -> list[tuple[Mistake, bool]]:
    """Each mistake of a room with whether it was noticed; in a copy of its own."""
    kept = tree.parent / f"{room}.verdicts"
    now = (tree.parent / FILES).read_text()[-64:]
    known = {key: rest for key, *rest in map(json.loads, _lines(kept))}
    verdicts = []
    with tempfile.TemporaryDirectory() as folder, kept.open("a") as keep:
        copy = Path(folder) / "tree"
        shutil.copytree(tree, copy)
        for mistake in mistakes:
            key = f"{mistake.file}: {mistake.stands}: {mistake.what}"
            sums, who = known.get(key, ("", None))
            if excuse(mistake):
                who = None
            elif sums != now:
                who = noticed_by(copy, tree, mistake, before=who)
                print(json.dumps([key, now, who]), file=keep, flush=True)
            mark = f"noticed by {who}" if who else excuse(mistake) or "SURVIVED"
            print(f"{mistake.file}:{mistake.line}: {mistake.what[:90]}: {mark}", flush=True)
            verdicts.append((mistake, who is not None))
    return verdicts


def _lines(file: Path) -> list[str]:
    return file.read_text().splitlines() if file.is_file() else []


COPIED = ("liveaid", "tests", "configs", "scenes", "pyproject.toml", "README.md", "DEVELOPERS.md")


FILES = "files.txt"
"""What a copy holds, and a sum over all of it at the end."""


def tree_in(keep: Path) -> Path:
    """A copy of all that is tested; the one of a run broken off, if nothing has changed since."""
    files = [
        file
        for name in COPIED
        for file in sorted([ROOT / name, *(ROOT / name).rglob("*")])
        if file.is_file() and "__pycache__" not in file.parts and file != Path(__file__)
    ]
    sums = "".join(f"{f} {hashlib.sha256(f.read_bytes()).hexdigest()}\n" for f in files)
    sums += hashlib.sha256(sums.encode()).hexdigest()
    tree, kept = keep / "tree", keep / FILES
    if kept.is_file() and kept.read_text() == sums:
        return tree
    if kept.is_file():
        shutil.rmtree(tree)
        for old in (*keep.glob("*.xml"), *keep.glob("*.coverage")):
            old.unlink()
    elif keep.is_dir() and any(keep.iterdir()):
        sys.exit(f"{keep} holds other things; --keep wants a folder of its own")
    for file in files:
        to = tree / file.relative_to(ROOT)
        to.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(file, to)
    # Compiled by what stands in a file, not by when it was written: a mistake is compiled anew.
    compileall.compile_dir(
        tree / "liveaid", quiet=1, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH
    )
    kept.write_text(sums)
    return tree


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--room", action="append", choices=ROOMS, help="only this room; may be given again"
    )
    parser.add_argument("--keep", type=Path, help="a folder of its own for what was found out")
    options = parser.parse_args()
    # Run in the background, Ctrl-C is ignored and would be by every test's own processes too.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.environ |= QUIET
    FORKS.set_forkserver_preload(LOADED_FIRST)
    with nullcontext(options.keep) if options.keep else tempfile.TemporaryDirectory() as keep:
        tree = tree_in(Path(keep).resolve())
        made = drawn(tree, options.room or ROOMS, options.count, options.seed)
        report(judge(tree, made))


def judge(tree: Path, made: dict[str, list[Mistake]]) -> list[tuple[Mistake, bool]]:
    """Every room's mistakes judged, in two rows side by side: tests with ports, and all others."""
    with ThreadPoolExecutor(1) as ports, ThreadPoolExecutor(1) as others:
        judged = [
            (ports if room in WITH_PORTS else others).submit(judge_room, tree, room, mistakes)
            for room, mistakes in made.items()
        ]
        return [verdict for room in judged for verdict in room.result()]


def excuse(mistake: Mistake) -> str | None:
    """Why no test need notice a mistake; None where one should."""
    turned = mistake.what == "True turned"
    part = next(
        (why for word, why in EXCUSED_PART.items() if turned and word in mistake.stands), None
    )
    return part or EXCUSED.get((mistake.file, mistake.stands))


def report(judged: list[tuple[Mistake, bool]]) -> None:
    """A table by room, then every survivor."""
    made, killed, excused = Counter[str](), Counter[str](), Counter[str]()
    survivors = []
    for mistake, noticed_ in judged:
        room = mistake.file.split("/")[1]
        made[room] += 1
        killed[room] += noticed_
        if not noticed_:
            why = excuse(mistake)
            excused[room] += why is not None
            survivors.append((mistake, why))
    print(f"\n{'room':10s} drawn noticed excused")
    for room in sorted(made):
        print(f"{room:10s} {made[room]:5d} {killed[room]:7d} {excused[room]:7d}")
    total, all_killed, all_excused = made.total(), killed.total(), excused.total()
    share = 100 * all_killed / max(1, total - all_excused)
    print(f"{'all':10s} {total:5d} {all_killed:7d} {all_excused:7d}   {share:.1f} % noticed")
    for mistake, why in survivors:
        print(f"{mistake.file}:{mistake.line}: {mistake.what}{f' ({why})' if why else ''}")


if __name__ == "__main__":
    main()
