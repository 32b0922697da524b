"""What can be told in one glance from three metres, at every device, as a table.

    python tests/bench/glance.py

Each of the views' pictures is blurred as an eye of 20/20 sees it at 3 m (tests/page/test_glance.py
says how), then count, side, next name and ready are read back. `letters` is the smallest capital
shown, in arc minutes; `left out` what had no room. The baseline in the same run is the same
picture unblurred: what is missed there is the reader's fault, not the eye's.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))


def module(name: str) -> ModuleType:
    """One of the page tests' modules."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "page" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


stand, glance = module("conftest"), module("test_glance")


def every_status(told: dict[str, Any]) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Each name of the routine as the next one, with counts, sides and readiness that differ."""
    base = told["states"]["following"]
    found = []
    for k, piece in enumerate(told["routine"]["pieces"][1:], 1):
        bars, side, ready = 1 + (5 * k) % 15, ("left", "right")[k % 2], k % 3 == 0
        deck = base["decks"]["right"] | {"ready": ready, "wind": 0.0 if ready else 1.7 * k}
        other = "left" if side == "right" else "right"
        told_now = base | {
            "piece": base["piece"] | {"bars": 16}, "bars_left": bars, "beats_left": 3.0 * bars - 1,
            "bar": 17 - bars, "next": base["next"] | {"name": piece["name"]}, "next_cue": [side],
            "decks": {side: deck, other: base["decks"]["left"]},
        }  # fmt: skip
        want = {"count": bars, "side": side, "ready": ready, "name": piece["name"]}
        found.append((want, told_now))
    return found


def look(page: Page, name: str, told: dict[str, Any], *, misses: bool) -> dict[str, Any]:
    """One device's line."""
    device = stand.DEVICES[name]
    names = [piece["name"] for piece in told["routine"]["pieces"]]
    page.evaluate(
        "async (o) => { window.drive = await import('/drive.js'); await window.drive.begin(o); }",
        {"routine": told["routine"], "inches": device[2], "awayM": glance.AWAY_M},
    )
    sharp = glance.counts(page, told["states"]["following"], device, range(1, 17))
    right = dict.fromkeys(("count", "side", "ready", "name"), 0)
    plain = dict(right)
    asked = every_status(told)
    for want, status in asked:
        for tally, sigma in ((right, 0.8), (plain, 0.0)):
            glance.SIGMA_MINUTES = sigma
            got = glance.glance(page, device, status, names, sharp)
            for key in tally:
                tally[key] += got[key] == want[key]
                if got[key] != want[key] and misses:
                    print(f"  {name}: {key} {want[key]!r} read as {got[key]!r} ({got['words']!r})")
    lines = page.evaluate("drive.lines()")
    least = min(line["capital"] for line in lines) / glance.minute_px(device)
    out = page.evaluate("drive.show.laid.dropped")
    return {"of": len(asked), "right": right, "plain": plain, "least": least, "out": out}


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--device", action="append", choices=list(stand.DEVICES))
    options.add_argument("--misses", action="store_true", help="Say what was misread.")
    asked = options.parse_args()
    routine = stand.load_routine(ROOT / "tests" / "routines" / "three.yaml")
    told = stand.told_of(routine)
    print(f"{'':16}{'letters':>8}  {'count':>9}{'side':>9}{'name':>9}{'ready':>9}   left out")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for name in asked.device or stand.DEVICES:
            width, height, _ = stand.DEVICES[name]
            size = {"width": width, "height": height}
            context = browser.new_context(viewport=size, screen=size)
            context.route(
                f"{stand.ORIGIN}/**",
                lambda route: stand.answer(route, driven=True, outlined=told["routine"]),
            )
            page = context.new_page()
            page.goto(stand.ORIGIN)
            found = look(page, name, told, misses=asked.misses)
            for title, tally in ((name, found["right"]), ("  unblurred", found["plain"])):
                told_apart = ("count", "side", "name", "ready")
                cells = "".join(f"{tally[key]:>6}/{found['of']:<2}" for key in told_apart)
                letters = f"{found['least']:.1f}'" if title == name else ""
                out = ", ".join(found["out"]) if title == name else ""
                print(f"{title:16}{letters:>8}  {cells}   {out}")
            context.close()
        browser.close()


if __name__ == "__main__":
    main()
