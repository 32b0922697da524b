"""The demo as it is typed: one command, the whole job, in a process of its own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

LIVEAID = [sys.executable, "-c", "from liveaid.cli import main; main()"]


@pytest.fixture(scope="module")
def scene(tmp_path_factory) -> Path:
    """Where both play: what the first has made, the second finds."""
    return tmp_path_factory.mktemp("demo")


def test_the_fast_demo_does_the_whole_job_and_follows_it(scene: Path):
    done = subprocess.run(
        [*LIVEAID, "demo", "--fast", "--json", "--into", str(scene)],
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
    made = {path.name for path in (scene / "decks").iterdir()}
    assert {"left.wav", "right.wav", "guide.wav", "routine.yaml", "sheet.html"} <= made
    assert (scene / "takes.sqlite").exists()
    assert (scene / "practice" / "take-1.png").exists()
    sentence, tune, juggle = figures["alley"]
    assert sentence["words"] >= 8
    assert sentence["sounds"] == 3
    assert tune["figures"] == ["A4", "C5", "D5", "E5"]
    assert juggle["figures"] == ["trade", "come-back"]
    for played in figures["alley"]:
        assert played["beats_right"] > 97.0, played
        assert (played["missed"], played["added"]) == (0, 0), played
        assert played["cuts"] > 10, played
        assert played["fastest_bpm"] > 92.0  # as written it can be played


# All that comes before the performance is there: the fast demo has just made it.
ON_STAGE = [
    sys.executable, "-c",
    "from liveaid.demo import tour; tour._prepare = lambda *_: None\n"
    "from liveaid.cli import main; main()",
]  # fmt: skip


def test_ctrl_c_ends_the_demo_at_once_with_what_was_measured(scene: Path):
    child = subprocess.Popen(
        [*ON_STAGE, "demo", "--into", str(scene)],
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
