"""The stage's log: plain JSON lines, and never more than a disk can take."""

from __future__ import annotations

import asyncio
import json
import logging
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.errors import UsageError
from liveaid.stage.stage_log import (
    LOGGER,
    MOST_A_SECOND,
    STAGE_LOG_MOST_BYTES,
    StageLog,
    log_lines,
)


def test_a_second_s_lines_are_bounded_and_what_was_left_out_is_counted(tmp_path):
    """25 lines within one second: 20 are written; the next second's first says that 5 were not."""
    log = StageLog(tmp_path / "stage.log")
    log.started(SimpleNamespace(routine=SimpleNamespace(title="Laternenfähre")))
    for number in range(25):
        LOGGER.handle(_line(f"drop {number}", at=5000.0 + number / 100))
    LOGGER.handle(_line("drop again", at=5001.0))
    LOGGER.handle(_line("and again", at=5001.5))
    asyncio.run(log.stopped())
    text = (tmp_path / "stage.log").read_text(encoding="utf-8")
    says = [json.loads(line)["says"] for line in text.splitlines()]
    assert MOST_A_SECOND == 20
    assert says[1:23] == [
        *(f"drop {number}" for number in range(20)),
        "drop again (5 lines left out before)",
        "and again",
    ]
    assert "Laternenfähre" in text  # as it is written, for who reads it by eye


def test_a_stage_that_never_began_leaves_no_line_and_fails_at_nothing(tmp_path):
    """A port that is taken ends it before the log is told of its start."""
    log = StageLog(tmp_path / "stage.log")
    asyncio.run(log.stopped())
    assert (tmp_path / "stage.log").read_text() == ""


def test_a_full_disk_is_told_once_in_plain_words(tmp_path, capsys):
    """/dev/full takes nothing (full(4)); on a system without it there is nothing to try."""
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    (tmp_path / "stage.log").symlink_to("/dev/full")
    log = StageLog(tmp_path / "stage.log")
    log.started(SimpleNamespace(routine=SimpleNamespace(title="Lanterns")))
    LOGGER.info("another line")
    asyncio.run(log.stopped())
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 1
    assert "the log cannot be written ([Errno 28] No space left on device)" in told[0]


def test_a_line_for_each_state_and_each_set_piece(tmp_path, waiting, make_prompt):
    """With its set piece and how sure it was, to a thousandth; read back, oldest first."""
    log = StageLog(tmp_path / "deep" / "stage.log")
    log.started(SimpleNamespace(routine=SimpleNamespace(title="Lanterns")))
    prompt = make_prompt(confidence=0.98765, elapsed_s=41.2)
    other = replace(prompt, piece=replace(prompt.piece, index=9, name="Last tram"))
    for told in (waiting, waiting, prompt, replace(prompt, beat=3), other):
        log.prompted(told, 0.0)
    asyncio.run(log.stopped())
    (tmp_path / "deep" / "stage.log.1").write_text('{"says": "before"}\nno JSON\n')
    lines = log_lines(tmp_path / "deep" / "stage.log")
    assert [line["says"] for line in lines] == [
        "before", "started", "waiting", "following", "following", "stopped",
    ]  # fmt: skip
    assert {key: lines[3][key] for key in ("level", "piece", "elapsed_s", "confidence")} == {
        "level": "info", "piece": "Lanterns", "elapsed_s": 41.2, "confidence": 0.988,
    }  # fmt: skip
    assert (lines[2]["piece"], lines[4]["piece"]) == (None, "Last tram")
    assert lines[1]["title"] == "Lanterns"
    assert log_lines(tmp_path / "none.log") == []


def test_the_log_and_the_one_before_it_stay_below_a_megabyte(tmp_path):
    """What other programs say to their own loggers is none of its lines."""
    log = StageLog(tmp_path / "stage.log")
    assert (STAGE_LOG_MOST_BYTES, log._file.maxBytes, log._file.backupCount) == (
        400_000, 400_000, 1,
    )  # fmt: skip
    log.started(SimpleNamespace(routine=SimpleNamespace(title="Lanterns")))
    assert LOGGER.propagate is False
    asyncio.run(log.stopped())
    with pytest.raises(UsageError, match=r"--log .*: is a directory; another file would do"):
        StageLog(tmp_path)
    StageLog(tmp_path / "stage.log")  # its folder is there already


def _line(words: str, *, at: float) -> logging.LogRecord:
    return logging.makeLogRecord(
        {"msg": words, "created": at, "levelno": logging.INFO, "levelname": "INFO"}
    )
