"""Gathering folders onto the shelf, with a stand-in for the measuring that can hang and crash."""

from __future__ import annotations

import importlib
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from liveaid.shelf.collect import Counted, Done, Gone, gather
from liveaid.shelf.folder import Trouble
from liveaid.shelf.one_file import LIMIT_S, look_limit_s, study_limit_s
from liveaid.shelf.shelf import Shelf

STAND_IN = """
import os, time
from liveaid.files.unreadable import Unreadable
from liveaid.study.facts import Study

def measure(path):
    with open(path, "rb") as stream:
        text = stream.read().decode(errors="replace").strip()
    with open(os.environ["STUDIED"], "a") as log:
        log.write(os.path.basename(path) + "\\n")
    if text == "hang":
        time.sleep(3600)
    if text == "crash":
        os.abort()
    if text == "bad":
        raise Unreadable(f"{path}: holds text, no sound")
    if text == "slow":
        time.sleep(0.5)
    if text == "grows":
        with open(path, "a") as stream:
            stream.write(".")
    return Study(duration_s=float(len(text)), sample_rate_hz=8000, channels=1,
                 format="WAV PCM_16", frames_declared=1, frames_read=1)
"""


class Bench:
    """A folder of sounds, a shelf, and a count of what was studied."""

    def __init__(self, root: Path, measure: Callable) -> None:
        self.folder, self.log, self.file = root / "sounds", root / "log", root / "shelf.sqlite"
        self.folder.mkdir()
        self.log.touch()
        self._measure = measure

    def write(self, name: str, text: str) -> Path:
        """A file that has been lying there for a while."""
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
        long_ago = time.time() - 3600
        os.utime(path, (long_ago, long_ago))
        return path

    def gather(
        self, *, limit_s: float = 60.0, again: bool = False, processes: int = 1
    ) -> dict[str, str]:
        """What became of each file, by its name: the deed, or the trouble."""
        found: dict[str, str] = {}
        with Shelf(self.file) as shelf:
            for event in gather(
                [str(self.folder)],
                shelf,
                processes=processes,
                limit_s=limit_s,
                again=again,
                measure=self._measure,
            ):
                match event:
                    case Done(path, deed, _):
                        found[os.path.basename(path)] = deed
                    case Trouble(path, why, _):
                        found[os.path.basename(path)] = why
                    case Gone(path):
                        found[os.path.basename(path)] = "gone"
                    case Counted():
                        pass
        return found

    def studied(self) -> list[str]:
        """Names studied since last asked."""
        names = sorted(self.log.read_text().split())
        self.log.write_text("")
        return names

    def sounds(self) -> dict[str, bool]:
        """Names on the shelf, and whether gone."""
        with Shelf(self.file) as shelf:
            return {os.path.basename(sound.path): sound.gone for sound in shelf.sounds()}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    (tmp_path / "standin_measure.py").write_text(STAND_IN)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setenv("STUDIED", str(tmp_path / "log"))
    sys.modules.pop("standin_measure", None)
    return Bench(tmp_path, importlib.import_module("standin_measure").measure)


@pytest.mark.flaky(reruns=2)  # its limit is by the clock, and good files are studied by it too
def test_one_broken_file_costs_itself_alone(bench: Bench):
    for name in ("a", "hang", "crash", "bad", "b"):
        bench.write(f"{name}.wav", name)
    found = bench.gather(limit_s=4.0, processes=2)
    assert found == {
        "a.wav": "studied",
        "b.wav": "studied",
        "bad.wav": "holds text, no sound",
        "crash.wav": "brought its reader down (SIGABRT)",
        "hang.wav": "took longer than 4 s and was stopped",
    }


def test_only_what_is_new_or_changed_is_studied(bench: Bench):
    bench.write("a.wav", "one")
    bench.write("b.wav", "two")
    bench.gather()
    assert bench.studied() == ["a.wav", "b.wav"]
    bench.write("b.wav", "two, changed")
    bench.write("c.wav", "three")
    assert bench.gather() == {"a.wav": "same", "b.wav": "studied", "c.wav": "studied"}
    assert bench.studied() == ["b.wav", "c.wav"]


def test_moving_renaming_and_copying_cost_no_study(bench: Bench):
    bench.write("a.wav", "one")
    bench.write("b.wav", "two")
    bench.gather()
    bench.studied()
    (bench.folder / "a.wav").rename(bench.folder / "renamed.wav")
    shutil.copyfile(bench.folder / "b.wav", bench.folder / "copy.wav")
    found = bench.gather()
    assert found == {
        "renamed.wav": "moved", "b.wav": "same", "copy.wav": "known"
    }  # fmt: skip
    assert bench.studied() == []
    assert set(bench.sounds()) == {"renamed.wav", "b.wav"}


def test_equal_files_met_at_once_are_studied_once(bench: Bench):
    for name in ("a.wav", "b.wav", "c.wav"):
        bench.write(name, "slow")
    assert sorted(bench.gather(processes=2).values()) == ["known", "known", "studied"]
    assert len(bench.studied()) == 1


def test_failures_are_not_tried_again_unless_asked(bench: Bench):
    bench.write("bad.wav", "bad")
    bench.gather()
    assert bench.gather() == {"bad.wav": "failed before"}
    assert bench.studied() == ["bad.wav"]
    assert bench.gather(again=True) == {"bad.wav": "holds text, no sound"}


def test_a_missing_file_is_gone_and_back_without_a_study(bench: Bench):
    path = bench.write("a.wav", "one")
    bench.gather()
    path.rename(path.with_suffix(".away"))
    assert bench.gather()["a.wav"] == "gone"
    assert bench.sounds() == {"a.wav": True}
    path.with_suffix(".away").rename(path)
    bench.gather()
    assert bench.sounds() == {"a.wav": False}
    assert bench.studied() == ["a.wav"]


def test_what_lies_behind_a_closed_door_is_not_called_gone(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
):
    bench.write("inner/a.wav", "one")
    bench.gather()
    scan = os.scandir

    def refusing(path: str):
        if path.endswith("inner"):
            raise PermissionError(13, "Permission denied")
        return scan(path)

    monkeypatch.setattr(os, "scandir", refusing)
    assert bench.gather() == {"inner": "this folder cannot be read: permission denied"}
    assert bench.sounds() == {"a.wav": False}


def test_another_folder_is_left_as_it_was(bench: Bench, tmp_path: Path):
    bench.write("a.wav", "one")
    bench.gather()
    (tmp_path / "sounds").rename(tmp_path / "elsewhere")
    (tmp_path / "sounds").mkdir()
    other = tmp_path / "sounds2"
    other.mkdir()
    with Shelf(bench.file) as shelf:
        list(gather([str(other)], shelf, processes=1))
    assert bench.sounds() == {"a.wav": False}


def test_a_file_still_being_written_is_left_for_later(bench: Bench):
    bench.write("a.wav", "grows")
    found = bench.gather()
    assert found == {"a.wav": "is being written to; gather it again when it is finished"}
    assert bench.sounds() == {}


def test_an_outdated_study_is_made_again(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    bench.write("a.wav", "one")
    bench.gather()
    monkeypatch.setattr("liveaid.shelf.shelf.STUDY_VERSION", 10**6)
    assert bench.gather() == {"a.wav": "studied"}
    assert bench.gather() == {"a.wav": "same"}


def test_a_file_changed_within_the_clocks_grain_is_looked_at_again(bench: Bench):
    """Same size, same time stamp, other bytes: only rereading tells."""
    path = bench.folder / "a.wav"
    path.write_text("one")
    stamp = time.time_ns() + 60_000_000_000  # however late a busy machine looks, it is fresh
    os.utime(path, ns=(stamp, stamp))
    bench.gather()
    path.write_text("two")
    os.utime(path, ns=(stamp, stamp))
    assert bench.gather() == {"a.wav": "studied"}


SCRIPT = """
import sys
from liveaid.shelf.collect import Done, gather
from liveaid.shelf.shelf import Shelf
sys.path.insert(0, sys.argv[3])
from standin_measure import measure
if __name__ == "__main__":
    with Shelf(sys.argv[2]) as shelf:
        for event in gather([sys.argv[1]], shelf, processes=2, measure=measure):
            if isinstance(event, Done):
                print(event.path, flush=True)
"""


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_what_was_done_before_an_end_of_any_kind_is_kept(
    bench: Bench, tmp_path: Path, how: signal.Signals
):
    for n in range(12):
        bench.write(f"{n:02}.wav", ("slow" if n > 3 else "quick") + " " * n)
    script = tmp_path / "run.py"
    script.write_text(textwrap.dedent(SCRIPT))
    run = subprocess.Popen(
        [sys.executable, str(script), str(bench.folder), str(bench.file), str(tmp_path)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert run.stdout is not None
    done = [os.path.basename(run.stdout.readline().strip()) for _ in range(4)]
    run.send_signal(how)
    run.wait(30)
    run.stdout.close()
    assert set(done) <= set(bench.sounds())
    assert len(bench.sounds()) < 12
    found = bench.gather()
    assert {found[name] for name in done} == {"same"}


def test_a_long_or_large_file_is_given_more_time_but_no_header_buys_for_ever():
    """By hand: half a second for each second of sound, an hour at most; two megabytes a second."""
    long = {-5.0: 60.0, 0.0: 60.0, 100.0: 110.0, 7080.0: 3600.0, 1e12: 3600.0}
    assert {declared_s: study_limit_s(declared_s, LIMIT_S) for declared_s in long} == long
    assert study_limit_s(100.0, 7000.0) == 7000.0  # what was asked for is not cut
    assert (look_limit_s(0, 60.0), look_limit_s(2 * 10**9, 60.0)) == (60.0, 1060.0)


def test_a_file_emptied_or_replaced_by_something_else_is_gone(bench: Bench):
    for name in ("a.wav", "b.wav"):
        bench.write(name, name)
    bench.gather()
    (bench.folder / "a.wav").write_text("")
    (bench.folder / "b.wav").unlink()
    os.mkfifo(bench.folder / "b.wav")
    bench.gather()
    assert bench.sounds() == {"a.wav": True, "b.wav": True}
