"""The demo as it is typed: one command, the whole job, in a process of its own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]


def test_the_fast_demo_does_the_whole_job_and_follows_it(tmp_path: Path):
    done = subprocess.run(
        [*LIVEAID, "demo", "--fast", "--json", "--into", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    assert figures["moments"] > 3000
    # What a performer can rely on; the benchmark measures it finer and over many performances.
    assert figures["pieces_right"] > 99.0
    assert figures["beats_right"] > 99.0
    assert figures["sure_and_right"] > 97.0
    assert abs(figures["beat_shown_late_ms"]) < 250.0  # not a beat off; the benchmark times it
    made = {path.name for path in (tmp_path / "decks").iterdir()}
    assert {"left.wav", "right.wav", "guide.wav", "routine.yaml", "sheet.html"} <= made
    assert (tmp_path / "takes.sqlite").exists()
    assert (tmp_path / "practice" / "take-1.png").exists()


def test_ctrl_c_ends_the_demo_at_once_with_what_was_measured(tmp_path: Path):
    child = subprocess.Popen(
        [*LIVEAID, "demo", "--into", str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert child.stdout is not None
    try:
        said = ""
        for line in child.stdout:
            said += line
            if line.startswith("Lamps "):
                break
        time.sleep(2.0)
        child.send_signal(signal.SIGINT)
        said += child.communicate(timeout=20)[0]
    finally:
        child.kill()
    assert "Stopped early" in said, said
    assert "Set piece right" in said
