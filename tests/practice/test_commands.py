"""`liveaid rehearse` and `liveaid review` from the command line, on a file of simulated takes."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.practice.aim import aim_of
from liveaid.practice.reading import TakeReader
from liveaid.practice.report import review
from liveaid.practice.score import score_of
from liveaid.practice.store import TakeStore
from liveaid.practice.take_keeping import score_unscored
from liveaid.simulate import Hands, perform
from liveaid.simulate.send import send

SCENE = Path(__file__).resolve().parent / "spice-row.yaml"


@pytest.fixture(scope="module")
def takes(tmp_path_factory, spice_row, performed, rehearsed) -> Path:
    """Three run-throughs, the last of them kept but never scored, as after a kill."""
    file = tmp_path_factory.mktemp("review") / "takes.sqlite"
    store, aim = TakeStore(file), aim_of(spice_row, "")
    for seed in range(3):
        played = performed(seed=seed, hands=Hands(timing_error_s=0.012, miss_rate=0.03 * seed))
        messages = [(m.now_s, m.side, m.position_s) for m in played.messages]
        (ended,) = rehearsed(aim, messages, count_in_bars=0)
        kept = replace(ended, counted_in_s=3.002, at=time.time() - 3600 * (3 - seed))
        number = store.keep(kept).result()
        if seed < 2:
            store.score(number, score_of(aim, kept)).result()
    store.close()
    return file


def test_review_reports_every_take_and_scores_the_one_left_unscored(liveaid, takes):
    done = liveaid("review", str(SCENE), "--takes", str(takes), "--json", "--booth-level", "94")
    assert done.status == 0, done.err
    found = json.loads(done.out)
    assert [take["number"] for take in found["takes"]] == [3, 2, 1]
    assert all(take["run_through"] for take in found["takes"])
    names = [piece["name"] for piece in found["pieces"]]
    assert names == ["Lids", "Pestle", "Mortar twins", "Lids down"]
    # Lids asks for one start, and no delay is known that it could be told from: not judged.
    assert [piece["of"] for piece in found["pieces"]] == [0, 3, 3, 3]
    assert not found["stage_ready"]["ready"]
    assert "clinician" in found["care"]["hands"]
    assert "NIOSH" in found["care"]["noise"]
    with TakeReader(takes) as reader:
        assert reader.unscored() == []


def test_a_renamed_set_piece_is_reviewed_with_the_takes_it_had(takes, spice_row):
    score_unscored(takes, spice_row)
    lids, pestle, *rest = spice_row.pieces
    cumin = pestle.model_copy(update={"name": "Cumin"})
    renamed = spice_row.model_copy(update={"pieces": (lids, cumin, *rest)})
    with TakeReader(takes) as reader:
        found = review(renamed, reader, now=time.time(), ready_at=0.6)
    standing = found.outlook.standings[1]
    assert (standing.name, standing.takes, standing.rate.takes) == ("Cumin", 3, 3)
    assert [one.name for one in found.weeks] == [piece.name for piece in renamed.pieces]


def test_review_says_what_is_next_and_what_the_rule_rests_on(liveaid, takes):
    done = liveaid("review", str(SCENE), "--takes", str(takes), "--next")
    assert done.out.startswith("1. ")
    assert "rule of thumb" in done.out
    assert "Shea and Morgan 1979" in done.out


def test_review_draws_its_pictures(liveaid, takes, tmp_path):
    done = liveaid("review", str(SCENE), "--takes", str(takes), "--pictures", str(tmp_path))
    assert done.status == 0, done.err
    names = sorted(path.name for path in tmp_path.iterdir())
    assert "losses.png" in names
    assert {"take-1.png", "take-2.png", "take-3.png", "piece-3.png"} <= set(names)
    for path in tmp_path.iterdir():
        assert path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # ISO/IEC 15948, 5.2


def test_a_trace_written_by_review_is_found_again_by_rehearse(liveaid, takes, tmp_path):
    trace = tmp_path / "take.trace"
    wrote = liveaid("review", str(SCENE), "--takes", str(takes), "--trace", "1", str(trace))
    assert wrote.status == 0, wrote.err
    done = liveaid("rehearse", str(SCENE), "--replay", str(trace), "--fast", "--json")
    assert done.status == 0, done.err
    (take,) = json.loads(done.out)["takes"]
    assert take["ended"] == "complete"
    assert [piece["index"] for piece in take["pieces"]] == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["review", str(SCENE), "--takes", "none.sqlite"], 1, "no takes kept yet"),
        (["review", str(SCENE), "--recording", str(SCENE)], 2, "no guide mix"),
        (["rehearse", str(SCENE), "--piece", "Lantern"], 2, "Mortar twins"),
        (["rehearse", str(SCENE), "--start-at", "quick"], 2, "per cent such as 70%"),
        (["rehearse", str(SCENE), "--piece", "Lids", "--start-at", "140%"], 2, "up to 100 %"),
        (["rehearse", str(SCENE), "--fast"], 2, "goes with --replay"),
        (["rehearse", str(SCENE), "--replay", "nothing.trace"], 2, "no such file"),
        (["rehearse", str(SCENE), "--replay", str(SCENE), "--fast"], 1, "not a trace"),
    ],
)  # fmt: skip
def test_wrong_use_is_told_with_what_would_do(liveaid, arguments, status, says):
    done = liveaid(*arguments)
    assert done.status == status
    assert says in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize("name", ["rehearse", "review"])
def test_help_has_an_example(liveaid, name):
    assert f"Example: liveaid {name}" in liveaid(name, "--help").out


def test_review_scores_a_recording_against_the_guide_mix(liveaid, tmp_path):
    """A click a beat and a tone a set piece; the third set piece 35 ms late."""
    rate, beat_s = 24000, 0.6
    sound = np.zeros(int(34.5 * rate))
    later = np.zeros_like(sound)
    t = np.arange(int(0.1 * rate)) / rate
    rng = np.random.default_rng(2)
    for beat in range(14 * 4):
        hit = rng.standard_normal(len(t)) * np.exp(-40 * t)
        hit += np.sin(2 * np.pi * 110 * (1 + beat % 5) * t) * np.exp(-20 * t)
        for into, late_s in ((sound, 0.0), (later, 0.035 if beat >= 28 else 0.0)):
            at = round((beat * beat_s + late_s) * rate)
            into[at : at + len(t)] += 0.2 * hit
    soundfile.write(tmp_path / "guide.wav", sound, rate)
    soundfile.write(tmp_path / "take.wav", np.concatenate([np.zeros(rate // 2), later]), rate)
    done = liveaid("review", str(SCENE), "--recording", str(tmp_path / "take.wav"), "--guide",
                   str(tmp_path / "guide.wav"), "--json")  # fmt: skip
    assert done.status == 0, done.err
    pieces = json.loads(done.out)["pieces"]
    starts = {
        piece["name"]: event["error_ms"]
        for piece in pieces for event in piece["events"]
        if event["kind"] == "start"
    }  # fmt: skip
    assert starts["Mortar twins"] == pytest.approx(35, abs=5)
    assert starts["Lids down"] == pytest.approx(0, abs=5)


def test_rehearse_keeps_a_take_and_ends_on_ctrl_c(tmp_path, spice_row):
    """Real process, real UDP: performed at it, stopped by SIGINT, the take is in the file."""
    file = tmp_path / "takes.sqlite"
    served = subprocess.Popen(
        [sys.executable, "-c", "from liveaid.cli import main; main()", "rehearse", str(SCENE),
         "--piece", "bars 1 to 2 of Lids down", "--start-at", "100%", "--count-in", "0",
         "--takes", str(file),         "--osc", "127.0.0.1:0", "--http", "127.0.0.1:0"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert served.stdout is not None
    lines = []
    while not any(line.startswith("Tempo") for line in lines):
        lines.append(served.stdout.readline())
        assert lines[-1], served.communicate()
    port = int(next(line for line in lines if line.startswith("OSC in")).rsplit(":", 1)[1])
    alone = aim_of(spice_row, "bars 1 to 2 of Lids down").routine
    asyncio.run(send(perform(alone, seed=4, lead_s=1.0), "127.0.0.1", port, also=()))
    said = served.stdout.readline()
    served.send_signal(signal.SIGINT)
    rest, errors = served.communicate(timeout=60)
    assert served.returncode == 0, errors
    assert said.startswith("#1 ")
    assert "1 takes" in rest
    with TakeReader(file) as reader:
        assert [row.aim for row in reader.takes()] == ["bars 1 to 2 of Lids down"]
