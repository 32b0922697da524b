"""Contrast by WCAG's formula, axe-core's rules, and what zoom does."""

import json
import re
from importlib import resources
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
LOOK = ROOT / "liveaid" / "stage" / "page" / "look.css"


def contrast(one, other):
    """WCAG 2.2: (lighter + 0.05) / (darker + 0.05) of the relative luminances."""
    dark, light = sorted(map(_luminance, (one, other)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour):
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_formula_gives_the_published_pairs():
    """W3C, Understanding SC 1.4.3: #777777 on white is 4.48, #767676 4.54; black on white is 21."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def colours(theme):
    """The custom properties of one theme of look.css."""
    css = LOOK.read_text()
    found = {}
    blocks = [r":root"] + ([r'\[data-theme="bright"\]'] if theme == "bright" else [])
    for block in blocks:
        body = re.search(block + r" \{(.*?)\n\}", css, re.S)[1]
        found |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", body))
    return found


@pytest.mark.parametrize("theme", ["dark", "bright"])
def test_text_stands_at_seven_to_one_and_shapes_at_three(theme):
    """WCAG 2.2, SC 1.4.6 (7:1) and SC 1.4.11 (3:1), each colour on both grounds."""
    found = colours(theme)
    for ground in ("night", "stall"):
        for ink in ("paper", "ash", "lantern", "mint", "ember"):
            assert contrast(found[ink], found[ground]) >= 7, (ink, ground)
        assert contrast(found["line"], found[ground]) >= 3, ground
    assert contrast(found["on-ember"], found["ember"]) >= 7
    assert contrast(found["night"], found["mint"]) >= 7  # the letter on a closed record


@pytest.fixture(scope="session")
def axe():
    """axe-core's source, as the package for Python carries it."""
    return (resources.files("axe_playwright_python") / "axe.min.js").read_text()


RUN = """async () => (await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a',
  'wcag21aa', 'wcag22aa', 'wcag2aaa', 'best-practice'] })).violations
  .map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 160)).slice(0, 3)])"""


@pytest.mark.parametrize("theme", ["dark", "bright"])
def test_axe_finds_nothing_in_any_state_of_the_stage(theme, on_page, begin, told, alley, axe):
    def look(page):
        begin(page, "1080p", theme=theme, routine=alley["routine"])
        page.evaluate(axe)
        found = {}
        for state, status in (told["states"] | {"acts": alley["at"](6, 1.0)}).items():
            page.evaluate("(s) => { drive.stand(s); }", status)
            found[state] = page.evaluate(RUN)
        return found

    assert {state: found for state, found in on_page(look).items() if found} == {}


VIEWS = {
    "map": ("/map", None),
    "map, a set piece chosen": ("/map", "#pieces button"),
    "no rehearsal": ("/rehearse", None),
    "rehearsal": ("/rehearse.html", None),
    "review": ("/review.html", None),
    "stage, the panel": ("/", "#more"),
}
"""Every view beside the driven stage: its address, and what is pressed there."""


@pytest.fixture
def in_view(on_page, told):
    """in_view(view, look, theme): `look(page)` on a tablet's view that was told all it shows."""
    status = json.dumps(told["states"]["following"] | {"rehearsal": told["rehearsal"]})

    def run(view, look, theme="dark"):
        path, pressed = VIEWS[view]

        def inside(page):
            page.add_init_script(
                f"localStorage.setItem('liveaid', '{json.dumps({'theme': theme, 'away': '1 m'})}')"
            )
            page.route_web_socket(re.compile("/live"), lambda socket: socket.send(status))
            page.route("**/review/*.png*", lambda route: route.fulfill(status=404))
            page.goto(f"http://stage.test{path}")
            page.wait_for_selector(SHOWN[path])
            if pressed:
                page.locator(pressed).first.click()
            return look(page)

        return on_page(inside, "tablet upright", path=path, driven=False)

    return run


SHOWN = {
    "/map": "#pieces button",
    "/rehearse": "main code",
    "/rehearse.html": "#verdict.not",
    "/review.html": "#found:not([hidden])",
    "/": "body[data-state=following]",
}


@pytest.mark.parametrize("view", VIEWS)
def test_axe_finds_nothing_in_the_other_views(view, in_view, axe):
    """On the bright ground, which was chosen, and on the dark one."""

    def look(page):
        page.evaluate(axe)
        chosen, bright = page.evaluate("document.documentElement.dataset.theme"), page.evaluate(RUN)
        page.evaluate("document.documentElement.dataset.theme = 'dark'")
        return chosen, bright, page.evaluate(RUN)

    assert in_view(view, look, "bright") == ("bright", [], [])


def overlaps(lines):
    """Pairs of lines whose letters' boxes cross by more than a pixel."""
    found = []
    for k, a in enumerate(lines):
        for b in lines[k + 1 :]:
            across = min(a["x"] + a["w"], b["x"] + b["w"]) - max(a["x"], b["x"])
            down = min(a["y"] + a["h"], b["y"] + b["h"]) - max(a["y"], b["y"])
            if across > 1 and down > 0.3 * min(a["h"], b["h"]):
                found.append((a["text"], b["text"]))
    return found


ALL_LINES = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [];
  const over = document.querySelector("dialog[open]");
  while (walker.nextNode()) {
    const text = walker.currentNode, holder = text.parentElement, style = getComputedStyle(holder);
    if (!text.textContent.trim() || !holder.checkVisibility({ visibilityProperty: true })) continue;
    if (["SCRIPT", "STYLE", "OPTION"].includes(holder.tagName)) continue;
    if (over && !over.contains(holder)) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    for (const at of range.getClientRects()) {
      found.push({ text: text.textContent.trim().slice(0, 40), x: at.x, y: at.y, w: at.width, h: at.height });
    }
  }
  const aside = document.documentElement.scrollWidth - window.innerWidth;
  return { lines: found, aside };
}"""  # noqa: E501


@pytest.mark.parametrize("view", VIEWS)
def test_the_other_views_can_be_twice_as_large(view, in_view):
    """WCAG 2.2, SC 1.4.4 and 1.4.10: nothing overlaps, and nothing is to be scrolled sideways; on a
    tablet, and a page zoom to 200 % of it is a window of half its width."""

    def look(page):
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        text_zoom = page.evaluate(ALL_LINES)
        page.evaluate("document.documentElement.style.fontSize = ''")
        page.set_viewport_size({"width": 410, "height": 590})
        return text_zoom, page.evaluate(ALL_LINES)

    for found in in_view(view, look):
        assert found["lines"]
        assert overlaps(found["lines"]) == []
        assert found["aside"] <= 1


@pytest.mark.parametrize("kind", ["page zoom", "text zoom"])
@pytest.mark.parametrize("device", ["phone upright", "1080p"])
def test_twice_as_large_overlaps_nothing(kind, device, on_page, begin, told, devices):
    """WCAG 2.2, SC 1.4.4. Page zoom is half as many of the page's pixels, each twice as large."""
    width, height, inches = devices[device]
    half = (width // 2, height // 2, inches)

    def look(page):
        if kind == "text zoom":
            page.evaluate("document.documentElement.style.fontSize = '200%'")
        begin(page, device, 1.5)
        found = {}
        for state, status in told["states"].items():
            page.evaluate("(s) => { drive.stand(s); }", status)
            found[state] = page.evaluate("drive.lines()")
        return found

    where = half if kind == "page zoom" else device
    screen = {"width": width, "height": height}
    for state, lines in on_page(look, where, screen=screen).items():
        assert overlaps(lines) == [], state
        assert {line["id"] for line in lines} & {"bars", "name"} or kind == "page zoom"


def test_a_rehearsal_says_of_a_deck_that_nothing_is_heard_of_it(on_page, told):
    rehearsal = told["rehearsal"] | {"at_cue": {"left": False, "right": False}}
    rehearsal["last"] = rehearsal["last"] | {"pieces": [
        {"index": at, "name": name, "verdict": verdict, "why": why, "events": []}
        for at, (name, verdict, why) in enumerate([
            ("Gate", "not judged", ["nothing to time"]),
            ("Rope", "not clean", ["1 missed", "early"]),
            ("Lids", "not clean", ["3 added"]),
        ])
    ]}  # fmt: skip
    status = json.dumps(told["states"]["waiting"] | {"rehearsal": rehearsal})

    def look(page):
        page.route_web_socket(re.compile("/live"), lambda socket: socket.send(status))
        page.goto("http://stage.test/rehearse.html")
        page.wait_for_selector("#verdict.not")
        return [page.locator(f"{at} >> nth=0").inner_text() for at in ("#cue-left", "#why")]

    assert on_page(look, "tablet upright", path="/rehearse.html", driven=False) == [
        "left record: not heard",
        "Rope: 1 missed, early; Lids: 3 added",
    ]
