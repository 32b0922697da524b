"""The performer's words on their way in: from page, pad or OSC to whoever they are for."""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from aiohttp import web

from liveaid.stage.words import By, Said, WordError, read_word

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
        return self._say(word, piece, by)[1]

    def _say(self, word: object, piece: object, by: By) -> tuple[Said, bool]:
        known, index = read_word(word, piece, self._pieces())
        said = Said(known, index, by, self._in_time())
        self._last, self._taken = said, self._hear(said)
        return said, self._taken

    def _say_page(self, data: Any) -> tuple[Said, bool]:
        if not isinstance(data, Mapping):
            raise WordError('an object such as {"word": "here", "piece": 3} would do')
        return self._say(data.get("word"), data.get("piece"), "page")

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
            self._say_page(json.loads(text))
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
            said, taken = self._say_page(await request.json())
        except (ValueError, RecursionError) as error:
            self.refused += 1
            text = str(error) if isinstance(error, WordError) else "JSON would do"
            raise web.HTTPBadRequest(text=f"{text}\n") from error
        return web.json_response({"word": said.word, "piece": said.piece, "taken": taken})
