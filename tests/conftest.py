"""What every room's tests share: the places, and optional parts of the machine.

A missing optional part is a skip that says so; under CI=true it is a failure.
"""

from __future__ import annotations

import gc
import itertools
import os
import shutil
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, settings

from liveaid.cli import main

# All that is loaded and collected stays to the end: the garbage collector need not go through it
# again and again.
gc.disable()

# A run started in the background has Ctrl-C switched off, and hands that on to what it starts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

ROOT = Path(__file__).resolve().parent.parent

# The machine is shared and slow at times: a property's examples are counted, not timed. Every run
# draws others.
settings.register_profile(
    "steady",
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("steady")


# What waits for sockets, MIDI ports or a browser sleeps more than it computes. The tests of each
# group run one after another in one process: there is one JACK server, and one browser.
WAITS = {
    "ports": ("stage",),
    "performances": (
        "demo/test_demo.py", "practice/test_commands.py", "practice/test_rehearsal.py",
        "practice/test_runs_on.py", "practice/test_mixer_osc.py", "simulate/test_send.py",
    ),
    "page": ("page",),
}  # fmt: skip
# The longest of the others begin first, so that no process has one left when the rest are done.
LONG = (
    "render/test_render.py", "render/test_real_sounds.py", "shelf/test_shelf_gathering.py",
    "cli/test_terminals.py", "practice/test_calibration.py", "demo", "practice", "routine",
)  # fmt: skip


def _group(nodeid: str) -> tuple[int, str]:
    """When a test's group begins, the first at 0, and its name: a group of WAITS, else its file."""
    place = nodeid.split("::")[0].removeprefix("tests/")
    for at, (group, starts) in enumerate(WAITS.items()):
        if place.startswith(starts):
            return at, group
    at = next((k for k, start in enumerate(LONG) if place.startswith(start)), len(LONG))
    return len(WAITS) + at, place


@pytest.hookimpl(optionalhook=True, tryfirst=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Which tests run in one process: a group's, one after another, so that a group's fixtures are
    made once."""
    from xdist.scheduler import LoadScopeScheduling

    class ByGroup(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _group(nodeid)[1]

    return ByGroup(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """In which order the groups begin; and what is tried again."""
    items.sort(key=lambda item: _group(item.nodeid))
    for item in items:
        if _group(item.nodeid)[1] in WAITS:
            # A busy machine starves ports, and JACK's dummy driver drops MIDI without a word.
            # A fault fails each time; the summary counts what was tried again.
            item.add_marker(pytest.mark.flaky(reruns=2))


def pytest_collection_finish() -> None:
    """From here on there is garbage."""
    gc.freeze()
    gc.enable()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """In a process that is one of several, what only computes lets those go first that wait."""
    beside = "PYTEST_XDIST_WORKER" in os.environ and hasattr(os, "nice")
    if beside and _group(item.nodeid)[1] not in WAITS and os.nice(0) < 10:
        os.nice(10)


def _absent(what: str) -> NoReturn:
    if os.environ.get("CI") == "true":
        pytest.fail(f"needed in CI: {what}")
    pytest.skip(f"not on this machine: {what}")


@pytest.fixture(scope="session")
def needs() -> Callable[[str, str], str]:
    """needs(program, package): its path, or a skip (in CI a failure) naming the package."""

    def path_of(program: str, package: str) -> str:
        found = shutil.which(program)
        return found or _absent(f"{program} (Debian package {package})")

    return path_of


@pytest.fixture(scope="session")
def needs_folder() -> Callable[[str, str], Path]:
    """needs_folder(folder, package): itself, or a skip (in CI a failure) naming the package."""

    def path_of(folder: str, package: str) -> Path:
        return Path(folder) if Path(folder).is_dir() else _absent(f"{folder} ({package})")

    return path_of


@pytest.fixture(scope="session", autouse=True)
def no_settings(tmp_path_factory):
    """Every test starts from a performer who has allowed nothing beyond a scene."""
    with pytest.MonkeyPatch.context() as patch:
        for word in ("CONFIG", "CACHE", "DATA"):
            patch.setenv(f"XDG_{word}_HOME", str(tmp_path_factory.mktemp(word.lower())))
        yield


@pytest.fixture
def allow(tmp_path, monkeypatch) -> Callable[[str, Path], None]:
    """allow("read" or "write", folder): as the performer does it, in the settings file."""

    def say(word: str, folder: Path) -> None:
        home = tmp_path / "settings"
        (home / "liveaid").mkdir(parents=True)
        (home / "liveaid" / "settings.yaml").write_text(f"{word}: [{folder}]\n")
        monkeypatch.setenv("XDG_CONFIG_HOME", str(home))

    return say


class Ran(NamedTuple):
    """How a command ended, and all it printed."""

    status: int
    out: str
    err: str


@pytest.fixture
def liveaid(capfd: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """liveaid(*arguments): the command run in this process, which saves starting another."""

    def run(*arguments: object) -> Ran:
        with pytest.raises(SystemExit) as left:
            main([str(argument) for argument in arguments])
        return Ran(int(left.value.code or 0), *capfd.readouterr())

    return run


@pytest.fixture(scope="session")
def routines() -> Path:
    """The folder of placed section maps the tests share."""
    return ROOT / "tests" / "routines"


# Sounds whose facts are known because they are made here, and a way to put them into files.

RATE = 44100


def _hit(seconds: float, decay_s: float, seed: int, low_hz: float = 0.0) -> np.ndarray:
    """A struck sound: noise, or a falling tone with a click."""
    t = np.arange(int(seconds * RATE)) / RATE
    noise = np.random.default_rng(seed).normal(0, 1, len(t)) * (1 - t / seconds)
    if not low_hz:
        return noise * np.exp(-t / decay_s)
    tone = np.sin(2 * np.pi * low_hz * (t + 0.02 * (1 - np.exp(-t / 0.02))))
    return tone * (1 - t / seconds) * np.exp(-t / decay_s) + 0.3 * noise * np.exp(-t / 0.002)


KICK, SNARE = _hit(0.3, 0.09, 1, 55.0), _hit(0.25, 0.05, 2)
HAT = np.diff(_hit(0.08, 0.012, 3), prepend=0.0)
# Sixteenths of a bar of four at which each part strikes: a plain break, common practice.
PATTERN = ((KICK, (0, 7, 10), 1.0), (SNARE, (4, 12), 0.7), (HAT, range(0, 16, 2), 0.3))


def drums(beats_s: np.ndarray, tail_s: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    """Four-beat bars played on these beats (the last only ends the bar); and the true onsets."""
    whole = np.zeros(int((beats_s[-1] + tail_s) * RATE))
    onsets = set()
    for beat, (start, end) in enumerate(itertools.pairwise(beats_s)):
        for quarter in range(4):
            step = beat % 4 * 4 + quarter
            at = round((start + (end - start) * quarter / 4) * RATE)
            for sound, steps, gain in PATTERN:
                if step in steps:
                    piece = sound[: len(whole) - at]
                    whole[at : at + len(piece)] += gain * piece
                    onsets.add(at / RATE)
    return whole / np.abs(whole).max() * 0.7, np.array(sorted(onsets))


def tone(midi: float, seconds: float, rate: int = RATE) -> np.ndarray:
    """A note with eight harmonics, in equal temperament from A440 (ISO 16)."""
    t = np.arange(int(seconds * rate)) / rate
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    return sum(np.sin(2 * np.pi * hz * h * t) / h for h in range(1, 9)) * np.exp(-t)


@pytest.fixture(scope="session")
def play() -> Callable[..., tuple[np.ndarray, np.ndarray]]:
    """play(beats_s, tail_s=0.5): drums on those beats and their onsets, at 44.1 kHz."""
    return drums


@pytest.fixture(scope="session")
def note() -> Callable[..., np.ndarray]:
    """note(midi, seconds, rate=44100)."""
    return tone


@pytest.fixture(scope="session")
def chords() -> Callable[..., np.ndarray]:
    """chords([[midi, ...], ...], seconds, rate=44100): one after another."""

    def build(notes: list[list[float]], seconds: float, rate: int = RATE) -> np.ndarray:
        parts = [sum(tone(midi, seconds, rate) for midi in chord) for chord in notes]
        whole = np.concatenate(parts)
        return whole / np.abs(whole).max() * 0.5

    return build


@pytest.fixture
def file(tmp_path: Path) -> Callable[..., Path]:
    """file(samples, name='x.wav', rate=44100): a sound file."""

    def write(samples: np.ndarray, name: str = "x.wav", rate: int = RATE, **how: str) -> Path:
        path = tmp_path / name
        soundfile.write(path, samples, rate, **how)
        return path

    return write
