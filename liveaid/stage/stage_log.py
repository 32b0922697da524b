"""What happened on stage, a JSON object a line, in a file that stays small.

A thread of its own writes, so that a slow disk holds up no beat. What comes thick is cut off and
counted.
"""

from __future__ import annotations

import contextlib
import json
import logging
import queue
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from logging.handlers import QueueHandler, QueueListener, RotatingFileHandler
from pathlib import Path
from typing import Any

from liveaid.errors import UsageError
from liveaid.files.harmless import harmless
from liveaid.follow.prompt import Prompt
from liveaid.stage.watcher import Stage, Watcher

STAGE_LOG_MOST_BYTES = 400_000
"""Of the file and of the one before it: together below a megabyte."""
MOST_A_SECOND = 20
LOGGER = logging.getLogger("liveaid.stage")


class _AsJson(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        data: Mapping[str, Any] = getattr(record, "data", {})
        line = {"at": at, "level": record.levelname.lower(), "says": record.getMessage(), **data}
        return json.dumps(line, ensure_ascii=False, default=str)


class _LogFile(RotatingFileHandler):
    """A full disk is told once, and the show goes on: lines are lost until there is room again."""

    told = False

    def handleError(self, record: logging.LogRecord) -> None:
        """What the library calls while it handles the error."""
        if not self.told:
            self.told = True
            _tell(f"{self.baseFilename}: the log cannot be written ({sys.exc_info()[1]})")

    def close(self) -> None:
        """Close, whatever is still to be written."""
        with contextlib.suppress(OSError):
            super().close()


def _tell(words: str) -> None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        print(harmless(words), file=sys.stderr)


class _NotTooMany(logging.Filter):
    """So many lines a second; then how many were left out."""

    def __init__(self) -> None:
        super().__init__()
        self._second, self._lines, self._left_out = 0, 0, 0

    def filter(self, record: logging.LogRecord) -> bool:
        second = int(record.created)
        if second != self._second:
            if self._left_out:
                record.msg = f"{record.getMessage()} ({self._left_out} lines left out before)"
                record.args = ()
            self._second, self._lines, self._left_out = second, 0, 0
        self._lines += 1
        if self._lines > MOST_A_SECOND:
            self._left_out += 1
            return False
        return True


class StageLog(Watcher):
    """Keeps the log while the stage runs: its start and end, states, set pieces, and all that the
    stage's own parts tell the logger."""

    def __init__(self, file: Path) -> None:
        """UsageError when the file cannot be written."""
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            self._file = _LogFile(
                file,
                maxBytes=STAGE_LOG_MOST_BYTES,
                backupCount=1,
                encoding="utf-8",
                errors="replace",
            )
        except OSError as error:
            raise UsageError(
                f"--log {file}: {(error.strerror or str(error)).lower()}; another file would do"
            ) from error
        self._file.setFormatter(_AsJson())
        lines: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._handler = QueueHandler(lines)
        self._handler.addFilter(_NotTooMany())
        self._listener = QueueListener(lines, self._file)
        self._said: object = None

    def started(self, stage: Stage) -> None:
        """The stage is set."""
        self._listener.start()
        LOGGER.addHandler(self._handler)
        LOGGER.setLevel(logging.INFO)
        LOGGER.propagate = False
        LOGGER.info("started", extra={"data": {"title": stage.routine.title}})

    def prompted(self, prompt: Prompt, now_s: float) -> None:
        """A line whenever state or set piece change."""
        said = (prompt.state, prompt.piece.index if prompt.piece else None)
        if said != self._said:
            self._said = said
            data = {
                "piece": prompt.piece.name if prompt.piece else None,
                "elapsed_s": prompt.elapsed_s,
                "confidence": round(prompt.confidence, 3),
            }
            LOGGER.info(prompt.state, extra={"data": data})

    async def stopped(self) -> None:
        """The last line, if there was a first: a port that is taken ends a stage before it."""
        if self._handler in LOGGER.handlers:
            LOGGER.info("stopped")
            LOGGER.removeHandler(self._handler)
            self._listener.stop()
        self._file.close()


def log_lines(file: Path) -> list[dict[str, Any]]:
    """A log read back, oldest first, the file before it included; what is no JSON is left out."""
    found = []
    for part in (file.with_name(f"{file.name}.1"), file):
        if part.is_file():
            for line in part.read_text(encoding="utf-8", errors="replace").splitlines():
                try:
                    found.append(json.loads(line))
                except ValueError:
                    continue
    return found
