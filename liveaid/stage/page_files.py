"""The stage's own pages and their parts, read once and served from memory.

A page is one HTML file without a build step; what pages share (look.css, stream.js and so on)
stands beside them in page/. The practice room's pages load the same parts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import resources
from typing import Any

from aiohttp import web

SCRIPTS = b"<!-- scripts -->"
"""Where a page takes the scripts of those who look on (`Watcher.scripts`)."""
PAGES = {
    "/": "stage.html",
    "/stage": "stage.html",
    "/map": "map.html",
    "/rehearse": "no-rehearsal.html",
}
"""Views by address. A watcher that serves one of these itself goes before."""
KINDS = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
}
_TEXT = (".html", ".css", ".js", ".svg", ".webmanifest")
_KEPT = "public, max-age=604800"
"""Fonts do not change during a week on the road; all else is asked for anew."""

Answer = Callable[[web.Request], Any]


def page_routes(scripts: Sequence[str], taken: Sequence[web.RouteDef]) -> list[web.RouteDef]:
    """Every view and part, but those addresses that `taken` serves already."""
    folder = resources.files("liveaid.stage") / "page"
    parts = {f"/{part.name}": part.name for part in folder.iterdir() if _kind(part.name)}
    named = {path: name for path, name in parts.items() if not name.endswith(".html")} | PAGES
    theirs = {route.path for route in taken}
    tags = "".join(f'<script type="module" src="{script}"></script>\n' for script in scripts)
    return [
        web.get(path, served((folder / name).read_bytes().replace(SCRIPTS, tags.encode()), name))
        for path, name in sorted(named.items())
        if path not in theirs
    ]


def _kind(name: str) -> str | None:
    return KINDS.get("." + name.rpartition(".")[2])


def served(body: bytes, name: str) -> Answer:
    """What answers with a file's bytes, by its name's ending."""
    kind = _kind(name)
    charset = "utf-8" if name.endswith(_TEXT) else None
    headers = {"Cache-Control": _KEPT} if name.endswith(".woff2") else {}

    async def serve(_: web.Request) -> web.Response:
        return web.Response(body=body, content_type=kind, charset=charset, headers=headers)

    return serve
