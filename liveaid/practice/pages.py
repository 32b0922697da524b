"""The pages /rehearse and /review: their files, the review's data, and its pictures."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from concurrent.futures import Executor
from importlib import resources
from pathlib import Path
from typing import Any

from aiohttp import web

from liveaid.practice.history import of_this_map
from liveaid.practice.next import READY_AT
from liveaid.practice.pictures import pictures
from liveaid.practice.reading import TakeReader
from liveaid.practice.report import review
from liveaid.practice.review_json import review_json
from liveaid.practice.schema import StoreError
from liveaid.routine import Routine
from liveaid.stage.page_files import served

_TOLD_FOR_S = 60.0
"""A review is worked out anew this often though no take was added: days go by."""

_FILES = {
    "/rehearse": "rehearse.html",
    "/rehearse.js": "rehearse.js",
    "/clicks.js": "clicks.js",
    "/review": "review.html",
    "/review.js": "review.js",
    "/practice.css": "practice.css",
}


def file_routes() -> list[web.RouteDef]:
    """The pages' own files, read once."""
    folder = resources.files("liveaid.practice") / "page"
    return [
        web.get(path, served((folder / name).read_bytes(), name)) for path, name in _FILES.items()
    ]


def clock_route(clock: Callable[[], float]) -> web.RouteDef:
    """The monotonic clock that count-ins are told in, for a page to compare its own with."""

    async def serve(_: web.Request) -> web.Response:
        return web.json_response({"now_s": clock()})

    return web.get("/rehearse/clock", serve)


def review_routes(
    whole: Callable[[], Routine],
    file: Path,
    aside: Executor,
    wall: Callable[[], float] = time.time,
    booth_dba: float | None = None,
) -> list[web.RouteDef]:
    """`/review.json` and `/review/<picture>.png`, read from the takes' file as it stands."""

    last: list[tuple[object, dict[str, Any]]] = []
    """What was told last, and of which state of the file, the map and the minute."""

    def data() -> dict[str, Any]:
        state = (_stamps(file), id(whole()), int(wall() // _TOLD_FOR_S))
        if last and last[0][0] == state:
            return last[0][1]
        with TakeReader(file) as reader:
            rows = of_this_map(reader.pieces(), whole())
            found = review(
                whole(), reader, now=wall(), ready_at=READY_AT, booth_dba=booth_dba, rows=rows
            )
            shown = pictures(whole(), reader, pieces=rows)
            told = {**review_json(found), "pictures": list(shown)}
        last[:] = [(state, told)]
        return told

    def picture(name: str) -> bytes | None:
        with TakeReader(file) as reader:
            draw = pictures(whole(), reader).get(name)
            return draw() if draw else None

    async def serve_data(_: web.Request) -> web.Response:
        loop = asyncio.get_running_loop()
        try:
            return web.json_response(await loop.run_in_executor(aside, data))
        except StoreError as error:
            return web.json_response({"error": str(error)}, status=404)

    async def serve_picture(request: web.Request) -> web.Response:
        name = request.match_info["name"]
        loop = asyncio.get_running_loop()
        try:
            found = await loop.run_in_executor(aside, picture, name)
        except (StoreError, ValueError) as error:
            raise web.HTTPNotFound(text=f"{error}\n") from error
        if found is None:
            raise web.HTTPNotFound(text=f"No picture {name}.\n")
        return web.Response(body=found, content_type="image/png")

    return [
        web.get("/review.json", serve_data),
        web.get(r"/review/{name:[a-z0-9-]{1,40}\.png}", serve_picture),
    ]


def _stamps(file: Path) -> tuple[tuple[int, int], ...]:
    """When the takes' file and its newest pages were written, and how long they are."""
    beside = (file, file.with_name(f"{file.name}-wal"))
    return tuple((s.st_mtime_ns, s.st_size) for f in beside if f.exists() and (s := f.stat()))
