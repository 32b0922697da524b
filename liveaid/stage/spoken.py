"""The performer's words on their way in: from page, pad or OSC to whoever they are for."""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Callable
from typing import Any

from aiohttp import web

from liveaid.stage.words import By, Said, WordError, read_word, word_from_json

MOST_PER_S = 20
"""Nobody says more words in a second; a pad that chatters, or a flood, does."""


class Spoken:
    """Takes each word to its hearers, and remembers the last."""

    def __init__(self, hear: Callable[[Said], bool], pieces: Callable[[], int]) -> None:
        """`hear` takes a word to whoever it is for, and says whether there was anybody."""
        self._hear, self._pieces = hear, pieces
        self._last: Said | None = None
        self._taken = False
        self._times_s: deque[float] = deque(maxlen=MOST_PER_S)
        self.refused = 0

    def say(self, word: object, piece: object, by: By) -> bool:
        """Take one word in; whether anybody was there for it. WordError when it is none."""
        known, index = read_word(word, piece, self._pieces())
        said = Said(known, index, by, self._in_time())
        taken = self._hear(said)
        self._last, self._taken = said, taken
        return taken

    def _in_time(self) -> float:
        """Now, in monotonic seconds; WordError when too many words came just before."""
        now = time.monotonic()
        if len(self._times_s) == MOST_PER_S and now - self._times_s[0] < 1.0:
            raise WordError(f"more than {MOST_PER_S} words a second; fewer would do")
        self._times_s.append(now)
        return now

    def say_live(self, text: str) -> None:
        """A page's message over /live; what is no word is only counted."""
        try:
            word, piece = word_from_json(json.loads(text), self._pieces())
            self.say(word, piece, "page")
        except (ValueError, RecursionError):
            self.refused += 1

    def status(self) -> dict[str, Any] | None:
        """The last word, how long ago it was said, and whether anybody was there for it."""
        if self._last is None:
            return None
        return {
            "word": self._last.word,
            "piece": self._last.piece,
            "by": self._last.by,
            "age_s": round(time.monotonic() - self._last.now_s, 3),
            "taken": self._taken,
        }

    def routes(self) -> list[web.RouteDef]:
        """POST /word."""
        return [web.post("/word", self._serve)]

    async def _serve(self, request: web.Request) -> web.Response:
        try:
            data = await request.json()
            word, piece = word_from_json(data, self._pieces())
            taken = self.say(word, piece, "page")
        except (ValueError, RecursionError) as error:
            self.refused += 1
            text = str(error) if isinstance(error, WordError) else "JSON would do"
            raise web.HTTPBadRequest(text=f"{text}\n") from error
        return web.json_response({"word": word, "piece": piece, "taken": taken})
