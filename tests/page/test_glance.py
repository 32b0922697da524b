"""What an eye of 20/20 can tell in one glance from three metres: read back from blurred pictures.

The blur: a Gaussian of 0.8 arc minutes. 20/20 resolves strokes of one minute (Snellen; ISO
8596:2017), gratings of 30 cycles a degree; this kernel leaves exp(-2 pi^2 (0.8/60)^2 30^2) = 4 % of
such a grating's contrast, about the threshold. Words are read by a general-purpose text recogniser
(Tesseract), the count by comparison with sharp pictures of all counts, as is a lone digit's due.
`tests/bench/glance.py` does this for every device, state and name.
"""

from __future__ import annotations

import difflib
import io
import math
import subprocess

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

SIGMA_MINUTES = 0.8
AWAY_M = 3.0
READ_PX = (40, 30, 56)
"""Height of a capital that is handed to the recogniser: what it reads best first (common practice).
Now and then it finds no text at all in a large word; then it is shown another size."""


def minute_px(device):
    """Pixels under one arc minute at three metres."""
    width, height, inches = device
    px_per_mm = math.hypot(width, height) / (inches * 25.4)
    return 1000 * AWAY_M * math.tan(math.radians(1 / 60)) * px_per_mm


def seen(shot, device):
    """A screenshot as the eye has it: grey, linear light blurred, 0 to 255."""
    grey = np.asarray(Image.open(io.BytesIO(shot)).convert("L"), dtype=float) / 255
    blurred = gaussian_filter(grey**2.2, SIGMA_MINUTES * minute_px(device))
    return 255 * np.clip(blurred, 0, 1) ** (1 / 2.2)


def cut(picture, box, part=1.0):
    """A box out of a picture, its middle part."""
    x, y, w, h = box
    dx, dy = w * (1 - part) / 2, h * (1 - part) / 2
    return picture[int(y + dy) : int(y + h - dy), int(x + dx) : int(x + w - dx)]


def read(picture, capital_px, *kinds):
    """The text a recogniser finds in a light-on-dark picture, taken as each kind and size in turn
    until there is any."""
    looks = ((kind, px) for px in READ_PX for kind in kinds)
    return next(filter(None, (_look(picture, px / capital_px, kind) for kind, px in looks)), "")


def _look(picture, scale, kind):
    dark_on_light = Image.fromarray((255 - picture).astype(np.uint8))
    size = (max(8, round(dark_on_light.width * scale)), max(8, round(dark_on_light.height * scale)))
    out = io.BytesIO()
    page = Image.new("L", (size[0] + 60, size[1] + 60), int(255 - picture.min()))
    page.paste(dark_on_light.resize(size, Image.Resampling.LANCZOS), (30, 30))
    page.save(out, "PNG")
    found = subprocess.run(
        ["tesseract", "-", "-", "--psm", kind], input=out.getvalue(), capture_output=True,
        timeout=60, check=True, env={"PATH": "/usr/bin:/bin", "OMP_THREAD_LIMIT": "1"},
    )  # fmt: skip
    return " ".join(found.stdout.decode().split())


def nearest(text, names):
    """The name that a text is most like, and how like: 1 the same."""
    likeness = {
        name: difflib.SequenceMatcher(None, text.lower(), name.lower()).ratio() for name in names
    }
    best = max(likeness, key=likeness.__getitem__)
    return best, likeness[best]


def bracketed(picture, boxes):
    """The side whose box has light corners."""
    light = {}
    for side in ("left", "right"):
        x, y, w, h = boxes[side]
        corner = max(4, w * 0.2)
        corners = [
            cut(picture, (cx, cy, corner, corner))
            for cx in (x, x + w - corner)
            for cy in (y, y + h - corner)
        ]
        light[side] = float(np.mean([patch.max() - patch.min() for patch in corners]))
    return max(light, key=light.__getitem__) if max(light.values()) > 60 else None


def closed(picture, box):
    """Whether a record is closed: its face, between letter and band, light nearly all round."""
    x, y, w, h = box
    ys, xs = np.mgrid[int(y) : int(y + h), int(x) : int(x + w)]
    radius = np.hypot(xs - x - w / 2, ys - y - h / 2) / (w / 2)
    face = picture[int(y) : int(y + h), int(x) : int(x + w)]
    return bool(np.percentile(face[(radius > 0.4) & (radius < 0.62)], 20) > 128)


def counts(page, status, device, numbers):
    """Sharp pictures of the count, one a number."""
    found = {}
    for number in numbers:
        told = status | {"bars_left": number, "beats_left": 3.0 * number - 1}
        page.evaluate(STAND, told | {"piece": status["piece"] | {"bars": max(numbers)}})
        x, y, w, h = page.evaluate(COUNT_BOX)
        clip = {
            "x": int(x), "y": int(y), "width": int(x + w) - int(x), "height": int(y + h) - int(y)
        }  # fmt: skip
        found[number] = np.asarray(Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("L"))
    return found


def most_like(picture, sharp):
    """The number whose sharp picture agrees best, by normalised cross-correlation."""
    flat = (picture - picture.mean()).ravel()

    def agrees(other):
        level = (other - other.mean()).ravel()
        return flat @ level / (np.linalg.norm(flat) * np.linalg.norm(level) + 1e-9)

    return max(sharp, key=lambda number: agrees(sharp[number].astype(float)))


STAND = "(s) => { drive.stand(s); }"
COUNT_BOX = """(() => { const at = document.getElementById('bars').getBoundingClientRect();
  return [at.x + at.width * 0.1, at.y, at.width * 0.8, at.height]; })()"""


def _kind(lines):
    """What the recogniser is told it is given: a word, a line, a block."""
    alone = " " not in lines[0]["text"]
    return "6" if len(lines) > 1 else "8" if alone else "7"


def glance(page, device, status, names, sharp):
    """{count, side, name, ready} as read back from one blurred picture."""
    page.evaluate(STAND, status)
    picture = seen(page.screenshot(), device)
    boxes = page.evaluate("drive.boxes()")
    lines = [line for line in page.evaluate("drive.lines()") if line["id"] == "name"]
    side = bracketed(picture, boxes)
    left, right = min(line["x"] for line in lines), max(line["x"] + line["w"] for line in lines)
    top, foot = min(line["y"] for line in lines), max(line["y"] + line["h"] for line in lines)
    at = (max(0, left - 12), max(0, top), right - left + 24, foot - max(0, top))
    name = cut(picture, at)
    words = read(name, lines[0]["capital"], _kind(lines), "7", "13")
    return {
        "count": most_like(cut(picture, page.evaluate(COUNT_BOX)), sharp),
        "name": nearest(words, names)[0] if words else None,
        "words": words,
        "like": nearest(words, [" ".join(line["text"] for line in lines)])[1],
        "shown": " ".join(line["text"] for line in lines),
        "side": side,
        "ready": side is not None and closed(picture, boxes[side]),
    }


def statuses(told):
    """A few things to be told apart: bars, side, next name, ready or not."""
    base = told["states"]["following"]
    names = [piece["name"] for piece in told["routine"]["pieces"]]
    for k, (bars, side, ready) in enumerate(
        [(3, "right", False), (8, "left", True), (12, "right", True), (1, "left", False)]
    ):
        deck = base["decks"]["right"] | {"ready": ready, "wind": 0.0 if ready else -6.3}
        other = "left" if side == "right" else "right"
        yield {
            "count": bars, "side": side, "name": names[k + 2], "ready": ready,
        }, base | {
            "piece": base["piece"] | {"bars": 16}, "bars_left": bars, "beats_left": 3.0 * bars - 1,
            "bar": 17 - bars, "next": base["next"] | {"name": names[k + 2]}, "next_cue": [side],
            "decks": {side: deck, other: base["decks"]["left"]},
        }  # fmt: skip


@pytest.mark.parametrize("device", ["phone upright", "1080p"])
def test_count_side_next_name_and_ready_are_read_in_a_glance(
    device, on_page, begin, told, devices, needs
):
    needs("tesseract", "tesseract-ocr")
    names = [piece["name"] for piece in told["routine"]["pieces"]]

    def look(page):
        begin(page, device)
        sharp = counts(page, told["states"]["following"], device, range(1, 17))
        return [
            (want, glance(page, devices[device], s, names, sharp)) for want, s in statuses(told)
        ]

    for want, got in on_page(look, device):
        assert (got["count"], got["side"], got["ready"]) == (
            want["count"], want["side"], want["ready"],
        ), got  # fmt: skip
        assert got["name"] == want["name"], got
        assert got["like"] >= 0.6, got  # a name that was cut, as it stands there
