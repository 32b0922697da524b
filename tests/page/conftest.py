"""One browser for all page tests, in a thread of its own, and what it is shown.

Pages are served from memory to a browser without a network. `on_page` runs a function on a page in
the browser's thread, so that other tests may have event loops of their own.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from liveaid.follow import Follower
from liveaid.routine import Routine, load_routine
from liveaid.routine.load import read_routine
from liveaid.simulate import Fault, Network, perform
from liveaid.stage import page_files
from liveaid.stage.cues import next_cues
from liveaid.stage.headers import HEADERS
from liveaid.stage.outline import brief, outline

HERE = Path(__file__).parent
PAGES = Path(page_files.__file__).parent / "page"
PRACTICE = PAGES.parent.parent / "practice" / "page"
ORIGIN = "http://stage.test"

# Screens as sold: width, height in the page's pixels, diagonal in inches.
DEVICES = {
    "phone upright": (390, 844, 6.1),
    "phone flat": (844, 390, 6.1),
    "tablet upright": (820, 1180, 10.9),
    "tablet flat": (1180, 820, 10.9),
    "laptop": (1366, 768, 14.0),
    "1080p": (1920, 1080, 24.0),
}


@pytest.fixture(scope="session")
def devices():
    return DEVICES


@pytest.fixture(scope="session")
def browser_thread(needs):
    """(thread, browser): everything that touches the browser runs in the thread."""
    sync_api = pytest.importorskip("playwright.sync_api")
    program = needs("chromium", "chromium")
    thread = ThreadPoolExecutor(1, thread_name_prefix="browser")
    started = thread.submit(sync_api.sync_playwright().start).result()
    browser = thread.submit(
        started.chromium.launch,
        executable_path=program,
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--disable-background-networking",
            "--hide-scrollbars",
        ],
    ).result()
    yield thread, browser
    thread.submit(browser.close).result()
    thread.submit(started.stop).result()
    thread.shutdown()


def answer(
    route: Any, *, driven: bool, outlined: dict[str, Any], review: dict[str, Any] | None = None
) -> None:
    path = "/" + route.request.url.removeprefix(ORIGIN).lstrip("/").partition("?")[0]
    headers = {name: value for name, value in HEADERS.items() if name != "Server"}
    data = {"/routine.json": outlined, "/whole.json": outlined, "/review.json": review}.get(path)
    if data is not None:
        route.fulfill(body=json.dumps(data), content_type="application/json", headers=headers)
        return
    if path == "/drive.js":
        file = HERE / "drive.js"
    elif (PRACTICE / path.lstrip("/")).is_file():
        file = PRACTICE / path.lstrip("/")
    else:
        file = PAGES / page_files.PAGES.get(path, path.lstrip("/"))
    if not file.is_file():
        route.fulfill(status=404, body="")
        return
    body = b"" if driven and path == "/stage.js" else file.read_bytes()
    kind = page_files.KINDS["." + file.name.rpartition(".")[2]]
    route.fulfill(body=body, content_type=kind, headers=headers)


@pytest.fixture(scope="session")
def on_page(browser_thread, told) -> Callable[..., Any]:
    """on_page(work, device=..., path="/", driven=True, **context): `work(page)` in the browser.

    A driven page has no stream and no clock: `import("/drive.js")` is both. It is loaded anew for
    each work, in a window that all works of its size share. Errors on the page fail the test.
    """
    thread, browser = browser_thread
    kept: dict[str, Any] = {}

    def opened(driven, options):
        context = browser.new_context(**options)
        context.route(
            f"{ORIGIN}/**",
            lambda route: answer(
                route, driven=driven, outlined=told["routine"], review=told["review"]
            ),
        )
        return context.new_page()

    def run(work, device="1080p", *, path="/", driven=True, **options):
        width, height, _ = DEVICES[device] if isinstance(device, str) else device
        size = {"width": width, "height": height}
        options = {"viewport": size, "screen": size, "service_workers": "block", **options}
        window = repr(sorted(options.items())) if driven else ""

        def inside():
            page = kept.pop(window, None) or opened(driven, options)
            faults: list[str] = []
            note = lambda error: faults.append(str(error))  # noqa: E731
            page.on("pageerror", note)
            try:
                if driven or path != "/":
                    page.goto(ORIGIN + path)
                found = work(page)
            except BaseException:
                page.context.close()
                raise
            page.remove_listener("pageerror", note)
            if driven:
                kept[window] = page
            else:
                page.context.close()
            assert faults == []
            return found

        return thread.submit(inside).result()

    return run


@pytest.fixture(scope="session")
def begin(told) -> Callable[..., None]:
    """begin(page, device, away_m=3, **options): the driven stage view, laid out for a device;
    `routine` is the one it knows, `inches` another diagonal."""

    def run(page, device, away_m=3.0, **options):
        inches = DEVICES[device][2]
        page.evaluate(
            "async (options) => { window.drive = await import('/drive.js');"
            " await window.drive.begin(options); }",
            {"routine": told["routine"], "inches": inches, "awayM": away_m, **options},
        )

    return run


@pytest.fixture(scope="session")
def carousel(routines):
    return load_routine(routines / "three.yaml")


@pytest.fixture(scope="session")
def told(carousel) -> dict[str, Any]:
    """The routine as pages draw it, and one status of each state."""
    return told_of(carousel)


@pytest.fixture(scope="session")
def alley() -> dict[str, Any]:
    """As `alley_told`."""
    return alley_told()


def alley_told() -> dict[str, Any]:
    """What pages are told of the scene with written acts, and `at(index, beat, **more)`: a status
    of one of its set pieces."""
    file = HERE.parent.parent / "scenes" / "spice-alley" / "routine.yaml"
    found = told_of(read_routine(file.read_bytes(), str(file)))
    base, pieces = found["states"]["following"], found["routine"]["pieces"]

    def at(index: int, beat: float, **more: Any) -> dict[str, Any]:
        piece, metre = pieces[index], found["routine"]["metre"]
        bars_gone, deck = int(beat // metre), base["decks"]["left"]
        return base | {
            "piece": {key: piece[key] for key in base["piece"]}, "tempo": piece["tempo"],
            "beat_position": beat, "bar": bars_gone + 1, "beat": int(beat % metre) + 1,
            "bars_left": piece["bars"] - bars_gone, "beats_left": metre * piece["bars"] - beat,
            "decks": {side: deck | {"hand": hand} for side, hand in piece["hands"].items()},
        } | more  # fmt: skip

    return found | {"at": at}


def told_of(routine: Routine) -> dict[str, Any]:
    """A routine as pages draw it, a prompt for every set piece, and one status of each state."""
    found = dict(outline(routine))
    found["pieces"] = [
        piece | {"prompt": piece["prompt"] or f"ease the {piece['name'].split()[-1].lower()} in"}
        for piece in found["pieces"]
    ]
    now, then = found["pieces"][2], found["pieces"][3]
    deck = {
        "position": 31.2,
        "speed": 1.0,
        "age_ms": 8.0,
        "hand": "runs",
        "cue": 72.0,
        "way": "runs on",
        "wind": None,
        "ready": False,
        "in_time": None,
        "sticker": None,
    }
    away = {
        **deck,
        "position": 44.2,
        "speed": 0.0,
        "hand": "rests",
        "way": "by hand",
        "wind": -6.3,
        "in_time": True,
        "sticker": 40.0,
    }
    following = {
        "state": "following",
        "confidence": 0.99,
        "elapsed_s": 41.2,
        "limit_s": 180.0,
        "piece": {key: now[key] for key in ("index", "name", "part", "technique", "bars", "count")},
        "beat_position": 4.4,
        "bar": 2,
        "beat": 2,
        "bars_left": now["bars"] - 1,
        "beats_left": 3.0 * now["bars"] - 4.4,
        "seconds_left": 12.0,
        "tempo": 108.4,
        "next": {
            key: then[key] for key in ("index", "name", "part", "technique", "tempo", "prompt")
        },
        "decks": {"left": deck, "right": away},
        "next_cue": ["right"],
        "held": False,
        "places": [],
        "hints": [],
        "first": [],
        "limit_kept": None,
        "notes": [],
        "coming": [],
        "routine": brief(routine, found["edition"], "always"),
        "whole": {"edition": found["edition"], "first": 0, "gone_beats": []},
    }
    nothing = {
        "piece": None,
        "beat_position": None,
        "bar": None,
        "beat": None,
        "bars_left": None,
        "beats_left": None,
        "seconds_left": None,
        "tempo": None,
        "next": None,
    }
    unheard = {**deck, "position": None, "age_ms": None, "speed": None, "hand": None, "cue": None}
    fits = [{"index": 1, "name": found["pieces"][1]["name"], "beat_position": 3.0},
            {"index": 4, "name": found["pieces"][4]["name"], "beat_position": 9.0}]  # fmt: skip
    ready = {**away, "wind": 0.02, "ready": True}
    rehearsal = {
        "now_s": 12.0,
        "piece": now["name"],
        "phase": "wind",
        "at_cue": {"left": True, "right": False},
        "bars_left": None,
        "takes": 4,
        "clean": 2,
        "tempo": 101.5,
        "count_in": None,
        "kept": True,
        "ladder": {
            "rung": 3,
            "rungs": 9,
            "part": 0.94,
            "pitch": -6.0,
            "in_a_row": 1,
            "up_after": 3,
            "held_up": False,
            "wanted_part": 0.94,
            "pitch_range": 8.0,
        },
        "last": {
            "number": 4,
            "ended": "complete",
            "verdict": "not clean",
            "clean": False,
            "shift": "",
            "delays": None,
            "bias_ms": 14.0,
            "spread_ms": 9.0,
            "missed": 1,
            "added": 0,
            "skipped": 0,
            "tempo_part": 0.94,
            "counted_in": True,
            "advice": {"left": "left hand, beat 3: later by 14 ms"},
            "why": [],
            "pieces": [
                {
                    "index": 2,
                    "why": [],
                    "events": [
                        {"side": "left", "error_ms": 14.0},
                        {"side": "right", "error_ms": -6.0},
                    ],
                }
            ],
        },
        "break": {
            "due": False,
            "hands_on_s": 600,
            "after_s": 1500,
            "caution": "Stop when it hurts.",
        },
        "noise": None,
        "error": None,
    }
    states = {
        "waiting": {
            **following,
            **nothing,
            "state": "waiting",
            "confidence": 0.0,
            "elapsed_s": None,
            "next_cue": [],
            "decks": {"left": unheard, "right": unheard},
        },
        "before": {
            **following,
            **nothing,
            "state": "before",
            "elapsed_s": None,
            "first": ["left"],
            "decks": {"left": ready | {"hand": "runs"}, "right": away},
        },
        "following": following,
        "ready": {**following, "decks": {"left": deck, "right": ready}},
        "needle": {
            **following,
            "decks": {
                "left": {**deck, "hand": "works"},
                "right": {**away, "way": "needle", "wind": None},
            },
        },
        "too far": {**following, "decks": {"left": deck, "right": {**away, "in_time": False}}},
        "last bar": {**following, "bar": now["bars"], "bars_left": 1, "beats_left": 2.4},
        "first bar": {
            **following,
            "bar": 1,
            "bars_left": now["bars"],
            "beats_left": 3.0 * now["bars"] - 1.4,
        },
        "unsure": {
            **following,
            "state": "unsure",
            "confidence": 0.55,
            "decks": {"left": deck, "right": {**away, "wind": None, "way": None}},
        },
        "two places": {**following, "state": "unsure", "confidence": 0.48, "places": fits},
        "held": {**following, "state": "unsure", "confidence": 0.3, "held": True},
        "by the clock": {**following, "state": "silent"},
        "over": {
            **following,
            "state": "over",
            "bars_left": 0,
            "beats_left": 0.0,
            "next": None,
            "elapsed_s": 176.0,
            "limit_kept": True,
            "next_cue": [],
        },
        "over the limit": {
            **following,
            "state": "over",
            "bars_left": 0,
            "beats_left": 0.0,
            "next": None,
            "elapsed_s": 184.0,
            "limit_kept": False,
            "next_cue": [],
        },
    }
    return {
        "routine": found, "states": states, "rehearsal": rehearsal, "review": review_of(found)
    }  # fmt: skip


def review_of(outlined: dict[str, Any]) -> dict[str, Any]:
    """A review of two takes, as /review.json tells it."""
    pieces = outlined["pieces"]
    take = {
        "number": 2, "at": "2026-03-20T19:04:00", "piece": pieces[2]["name"], "ended": "complete",
        "tempo_part": 0.94, "clean": False, "verdict": "not clean", "bias_ms": 14.0,
        "spread_ms": 9.0, "missed": 1, "added": 0, "pieces": [],
    }  # fmt: skip
    standing = {
        "clean": 3, "of": 9, "low": 0.12, "high": 0.65, "bias_ms": 14.0, "spread_ms": 9.0,
        "days_since": 1.5, "ready": False,
    }  # fmt: skip
    rate = {"clean": 1, "of": 4, "low": 0.05, "high": 0.7}
    why = "three of nine clean; the acts of bar 2 come late"
    return {
        "title": outlined["title"],
        "takes": [take, take | {"number": 1, "piece": None, "clean": True, "verdict": "clean"}],
        "next": {"order": [{"name": one["name"], "why": why} for one in pieces[:3]], "rule": why},
        "stage_ready": {"ready": False, "level": 0.6, "run_throughs": rate, "missing": ["a"]},
        "pieces": [standing | {"name": one["name"]} for one in pieces],
        "pictures": ["losses.png", "take-2.png", "piece-1.png"],
        "care": {"hands_on_s": 900, "hands": "Stop when it hurts.", "noise": "94 dB(A), 12 %"},
    }


@pytest.fixture(scope="session")
def recorded(carousel, told) -> list[dict[str, Any]]:
    """A whole performance with faults, as the stage would have told it: [{at_ms, status}].

    Told at every beat and change of state, else ten times a second.
    """
    faults = [Fault(kind="needle-jump"), Fault(kind="drop-out"), Fault(kind="early")]
    network = Network(rate_hz=50.0, jitter_s=0.003, loss=0.01, duplicates=0.01, reorder=0.01)
    played = perform(carousel, seed=5, faults=faults, network=network)
    follower, cues = Follower(carousel), next_cues(carousel)
    messages, at, statuses, key, last = list(played.messages), 0, [], None, -1.0
    now = messages[0].now_s
    end = played.duration_s + 1.0
    while now < end:
        now += 0.02
        while at < len(messages) and messages[at].now_s <= now:
            message = messages[at]
            follower.hear(message.side, position=message.position_s, now=message.now_s)
            at += 1
        prompt = follower.prompt(now=now)
        turned = (prompt.state, prompt.piece and prompt.piece.index, prompt.bar, prompt.beat)
        if turned != key or now - last >= 0.1:
            key, last = turned, now
            status = prompt.to_json()
            status["next_cue"] = list(cues[prompt.piece.index]) if prompt.piece else []
            status["routine"] = told["states"]["following"]["routine"]
            statuses.append({"at_ms": round(1000 * now), "status": status})
    return statuses
