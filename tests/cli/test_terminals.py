"""Full disks, closed pipes, poor terminals and odd locales: no traceback, and the right status."""

import os
import subprocess
import sys

import pytest

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]
MAP = """\
title: Stall — Ж ✂
pieces:
  - {name: Eins, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 1.0}, prompt: "→ ü"}
"""
needs_full = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="Linux has /dev/full")


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "routine.yaml").write_text(MAP, encoding="utf-8")
    return tmp_path


def run(*arguments, env=None, **how):
    return subprocess.run(
        [*LIVEAID, *map(str, arguments)], env={**os.environ, **(env or {})}, timeout=60,
        stdin=subprocess.DEVNULL, **{"stderr": subprocess.PIPE, **how},
    )  # fmt: skip


@needs_full
@pytest.mark.parametrize("command", ["check", "check --json", "--help", "draft --help"])
def test_a_full_disk_behind_the_output_is_one_clear_line(scene, command):
    words = command.split()
    words = [*words, scene] if "help" not in command else words
    with open("/dev/full", "w") as full:
        ran = run(*words, stdout=full)
    assert ran.returncode == 1
    assert (
        ran.stderr.decode() == "the output: cannot be written or read (No space left on device)\n"
    )


@needs_full
def test_an_error_that_cannot_be_told_keeps_its_status(scene):
    with open("/dev/full", "w") as full:
        assert run("check", "nowhere", stderr=full).returncode == 2
        (scene / "routine.yaml").write_text("title: x")
        assert run("check", scene, stderr=full).returncode == 1


@pytest.mark.parametrize("command", ["check", "check --json"])
def test_a_reader_that_leaves_is_no_matter(scene, command):
    reading, writing = os.pipe()
    os.close(reading)
    ran = run(*command.split(), scene, stdout=writing)
    os.close(writing)
    assert (ran.returncode, ran.stderr) == (141, b"")


@pytest.mark.parametrize("closed", [1, 2])
def test_a_stream_that_is_closed_is_no_matter(scene, closed):
    command = f'"{sys.executable}" -c "from liveaid.cli import main; main()" check "{scene}"'
    ran = subprocess.run(["sh", "-c", f"{command} {closed}>&-"], capture_output=True, timeout=60)
    assert ran.returncode == 0
    assert b"Traceback" not in ran.stdout + ran.stderr


@pytest.mark.parametrize("env", [
    {"LC_ALL": "C"}, {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    {"PYTHONIOENCODING": "ascii"}, {"PYTHONIOENCODING": "cp1252"}, {"LC_ALL": "tr_TR.UTF-8"},
    {"TERM": "dumb"}, {"TERM": "nonsense", "FORCE_COLOR": "1"}, {"COLUMNS": "8"},
    {"NO_COLOR": "1"},
])  # fmt: skip
def test_any_terminal_and_locale_will_do(scene, env):
    ran = run("check", scene, env=env, stdout=subprocess.PIPE)
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert b"Stall" in ran.stdout.replace(b"\n", b"") or env.get("COLUMNS") == "8"


@needs_full
def test_a_performance_goes_on_though_its_output_cannot_be_written(scene):
    with open("/dev/full", "w") as full:
        stage = subprocess.Popen(
            [*LIVEAID, "perform", str(scene), "--http", "127.0.0.1:0", "--osc", "127.0.0.1:0"],
            stdout=full, stderr=subprocess.PIPE,
        )  # fmt: skip
        try:
            with pytest.raises(subprocess.TimeoutExpired):
                stage.wait(timeout=4)  # it would have ended long before
        finally:
            stage.terminate()
            _, said = stage.communicate(timeout=30)
    assert b"Traceback" not in said
