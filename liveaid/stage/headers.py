"""The headers every answer carries, errors included, so that no other page can get at ours."""

from __future__ import annotations

from aiohttp import web

HEADERS = {
    # What a page may load and where it may be shown (W3C Content Security Policy Level 3).
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; media-src 'self' blob:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    # The screen is kept awake and filled by us alone; nothing else of the device is asked for.
    "Permissions-Policy": (
        "screen-wake-lock=(self), fullscreen=(self), camera=(), microphone=(), geolocation=()"
    ),
    "Server": "liveaid",
}
KEEP = "no-store"
"""What is shown on stage is never taken from a browser's own store, unless an answer says so."""


async def add_headers(_: web.Request, response: web.StreamResponse) -> None:
    """For an application's `on_response_prepare`: pages, streams and errors alike."""
    response.headers.update(HEADERS)
    response.headers.setdefault("Cache-Control", KEEP)
