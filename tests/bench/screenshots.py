"""Pictures of the views for the guide, made anew.

    python tests/bench/screenshots.py [--into scenes/night-market/.pictures]

Each is a small PNG of few colours; the night market is told, no stage is set.
"""

from __future__ import annotations

import argparse
import io
import json
import re
from pathlib import Path
from typing import Any

from glance import ROOT, stand
from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from liveaid.routine.load import read_routine

MOST_BYTES = 60_000
WIDE = 900
"""Pixels across in the guide; phones less."""


def told_now() -> dict[str, Any]:
    """The night market as the views tell it."""
    file = ROOT / "tests" / "routines" / "market.yaml"
    told: dict[str, Any] = stand.told_of(read_routine(file.read_bytes(), str(file)))
    return told


def picture(shot: bytes, width: int) -> bytes:
    """A screenshot scaled down, with as few colours as its drawing needs."""
    found = Image.open(io.BytesIO(shot)).convert("RGB")
    if found.width > width:
        size = (width, round(found.height * width / found.width))
        found = found.resize(size, Image.Resampling.LANCZOS)
    out = io.BytesIO()
    found.quantize(32, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def take(browser: Browser, told: dict[str, Any], view: dict[str, Any]) -> bytes:
    """One view's picture."""
    width, height, _ = stand.DEVICES[view["device"]]
    size = {"width": width, "height": height}
    context = browser.new_context(viewport=size, screen=size)
    choices = json.dumps(json.dumps(view["choices"]))
    context.add_init_script(f"localStorage.setItem('liveaid', {choices})")
    context.route(
        f"{stand.ORIGIN}/**",
        lambda route: stand.answer(route, driven=False, outlined=told["routine"]),
    )
    page = context.new_page()
    shown = view.get("status") or told["states"][view["state"]]
    status = json.dumps(shown | {"rehearsal": told["rehearsal"]})
    page.route_web_socket(re.compile("/live"), lambda socket: socket.send(status))
    page.goto(stand.ORIGIN + view["path"])
    page.wait_for_timeout(1600)
    shot = page.screenshot()
    context.close()
    return picture(shot, WIDE if width > height else 300)


VIEWS = (
    {"name": "stage", "path": "/", "device": "tablet flat", "state": "following"},
    {"name": "stage-ready", "path": "/", "device": "phone flat", "state": "ready"},
    {"name": "stage-by-the-clock", "path": "/", "device": "phone upright", "state": "by the clock"},
    {"name": "stage-acts", "path": "/", "device": "laptop", "state": "acts"},
    {"name": "map", "path": "/map", "device": "tablet flat", "state": "following"},
    {"name": "rehearse", "path": "/rehearse.html", "device": "tablet flat", "state": "following"},
)


def main() -> None:
    """Write every picture."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    kept = ROOT / "scenes" / "night-market" / ".pictures"
    options.add_argument("--into", type=Path, default=kept)
    into = options.parse_args().into
    into.mkdir(parents=True, exist_ok=True)
    told, alley_told = told_now(), stand.alley_told()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for view in VIEWS:
            inches = stand.DEVICES[view["device"]][2]
            choices = {"screen": f"{inches} in", "away": "3 m"}
            alley = view["state"] == "acts"
            if alley:  # another scene, at the first bar of its juggle
                view = {**view, "status": alley_told["at"](6, 2.4, next_cue=[])}
            data = take(browser, alley_told if alley else told, {**view, "choices": choices})
            assert len(data) < MOST_BYTES, f"{view['name']}: {len(data)} bytes"
            (into / f"{view['name']}.png").write_bytes(data)
            print(f"{into / view['name']}.png  {len(data)} bytes")
        browser.close()


if __name__ == "__main__":
    main()
