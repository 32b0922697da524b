"""A whole performance with faults, drawn frame by frame: boxes stand still, numbers are the told
ones, and nothing flashes."""

import io
from bisect import bisect_right
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

FPS = 20
"""Frames looked at in a second: enough for ten flashes, more than three times what is allowed."""
TOLD_EVERY = FPS // 10
SECONDS = 2.0
"""How long is looked for flashes: a second, at any moment of another."""


@pytest.fixture(scope="module")
def performed(on_page, begin, recorded):
    """What was shown every 40 ms of the whole performance, and how far each box strayed."""

    def look(page):
        begin(page, "laptop")
        return page.evaluate("(recorded) => drive.perform(recorded)", recorded)

    return on_page(look, "laptop")


def told_at(recorded, now, back_ms=0):
    """The statuses told within the last `back_ms`, the one before them included."""

    def after(ms):
        return bisect_right(recorded, ms, key=lambda one: one["at_ms"])

    return [one["status"] for one in recorded[max(0, after(now - back_ms) - 1) : after(now)]]


def test_the_recording_holds_the_whole_performance_and_its_faults(recorded, carousel):
    states = {one["status"]["state"] for one in recorded}
    pieces = {one["status"]["piece"]["index"] for one in recorded if one["status"]["piece"]}
    assert {"following", "unsure"} <= states
    assert len(pieces) == len(carousel.pieces)


def test_no_box_moves_in_a_whole_performance(performed):
    assert {"count", "name", "left", "right", "left-order", "strip"} <= set(performed["strays"])
    assert max(performed["strays"].values()) <= 2.0


def test_numbers_are_those_told_within_a_tenth_of_a_second(performed, recorded):
    """Bars left, state, next deck at any moment are of a status told within the last 100 ms, but
    where several changes came within one second and the picture kept still."""
    looks = performed["told"]
    wrong = dict.fromkeys(("bars", "state", "next"), 0)
    for look in looks:
        told = told_at(recorded, look["now"], 100)
        wrong["bars"] += look["bars"] not in {_bars(status) for status in told}
        wrong["state"] += look["state"] not in {status["state"] for status in told}
        wrong["next"] += look["next"] not in [status["next_cue"] for status in told]
    assert len(looks) > 3000
    assert {name: round(count / len(looks), 3) for name, count in wrong.items()} == {
        "bars": pytest.approx(0.0, abs=0.004),
        "state": pytest.approx(0.0, abs=0.01),
        "next": pytest.approx(0.0, abs=0.01),
    }


def _bars(status):
    return "–" if status["bars_left"] is None else str(status["bars_left"])


def test_the_count_is_drawn_smoothly_and_never_backwards(performed, recorded):
    """But where the follower itself went back, which the needle jump made it do."""
    looks = performed["told"]
    back, leaps = 0, 0
    for before, after in pairwise(looks):
        if before["piece"] != after["piece"] or None in (before["drawn"], after["drawn"]):
            continue
        told = [one["beats_left"] for one in told_at(recorded, after["now"], 400)]
        step = before["drawn"] - after["drawn"]
        if max(told) - min(told) > 1.5:  # the follower moved
            continue
        back += step < -1e-9
        leaps += step > 0.4  # 40 ms at 108 to 120 BPM are 0.08 beats
    assert (back, leaps) == (0, 0)


# -- flashes


def flashes_a_second(frames, fps=FPS):
    """The most flashes at any spot in any one second.

    WCAG 2.2, "general flash": a pair of opposing changes of relative luminance of 10 % or more,
    where the darker is below 0.80. Counted at every pixel, however small the area.
    """
    luminance = np.stack([relative_luminance(frame) for frame in frames])
    last = luminance[0].copy()
    way = np.zeros(last.shape, np.int8)
    changes = np.zeros(luminance.shape, bool)
    for k in range(1, len(luminance)):
        now = luminance[k]
        # The last extreme follows a value that goes on in the same direction.
        last = np.where((way > 0) & (now > last), now, last)
        last = np.where((way < 0) & (now < last), now, last)
        step = now - last
        turned = (np.abs(step) >= 0.1) & (np.minimum(now, last) < 0.8) & (np.sign(step) != way)
        changes[k] = turned
        way = np.where(turned, np.sign(step), way).astype(np.int8)
        last = np.where(turned, now, last)
    window = min(fps, len(changes))
    total = np.cumsum(np.concatenate([np.zeros((1, *last.shape)), changes]), axis=0)
    return float((total[window:] - total[:-window]).max() / 2)


def relative_luminance(frame):
    """WCAG 2.2: sRGB (IEC 61966-2-1) made linear, then 0.2126 R + 0.7152 G + 0.0722 B."""
    value = frame.astype(np.float64) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


def test_the_flash_counter_counts():
    """By hand: a spot going dark and light every other frame at 30 frames a second changes 30 times
    a second, 15 flashes; one that changes four times a second flashes twice."""
    dark, light = np.zeros((2, 2, 3), np.uint8), np.full((2, 2, 3), 255, np.uint8)
    fast = [(dark, light)[k % 2] for k in range(60)]
    slow = [(dark, light)[(k // 8) % 2] for k in range(60)]
    assert flashes_a_second(fast, fps=30) == 15
    assert 1.5 <= flashes_a_second(slow, fps=30) <= 2
    assert flashes_a_second([dark] * 60, fps=30) == 0


def captured(page, steps):
    """Frames of the view while `steps` (milliseconds, status or None) are told and drawn."""
    session = page.context.new_cdp_session(page)
    frames = []
    for now, status in steps:
        page.evaluate(
            "([now, status]) => { if (status) drive.hear(status, now); drive.draw(now); }",
            [now, status],
        )
        shot = page.screenshot(type="jpeg", quality=90, animations="disabled")
        picture = (
            Image.open(io.BytesIO(shot)).convert("RGB").resize((160, 90), Image.Resampling.BOX)
        )
        frames.append(np.asarray(picture))
    session.detach()
    return frames


def at_180(told, seconds, flip):
    """Statuses ten times a second at 180 BPM in three-four; `flip(k, status)` spoils them."""
    base = told["states"]["following"]
    long = base["piece"] | {"bars": 8}
    for frame in range(int(seconds * FPS)):
        now = 1000 * frame / FPS
        status = None
        if frame % TOLD_EVERY == 0:
            left = 24 - 3.0 * now / 1000
            status = base | {
                "tempo": 180.0, "piece": long, "beats_left": left, "bars_left": -int(-left // 3),
                "bar": 8 + int(-left // 3) + 1, "beat": int(24 - left) % 3 + 1,
            }  # fmt: skip
            status = flip(frame // TOLD_EVERY, status)
        yield now, status


def every_third_is_unsure(k, status):
    return status | ({"state": "unsure", "confidence": 0.5} if k % 3 == 0 else {})


def every_other_differs(k, status):
    """The worst a run of messages can do: everything there and back, ten times a second."""
    if k % 2:
        return status
    decks = status["decks"]
    return status | {
        "state": "silent", "bars_left": 88, "beats_left": 260.0, "next_cue": ["left"],
        "piece": status["piece"] | {"index": 4, "bars": 90},
        "next": status["next"] | {"name": "MMMMMMMMMMMM", "prompt": "WWWWWWWWWWWWWWWW"},
        "decks": {"left": decks["right"] | {"ready": True}, "right": decks["left"]},
        "elapsed_s": 170.0, "tempo": 88.0,
    }  # fmt: skip


def acts_at_180(alley, seconds):
    """Both hands at a juggle at 180 BPM; every other status is of another set piece's words."""
    for frame in range(int(seconds * FPS)):
        now = 4000 + 1000 * frame / FPS
        status = None
        if frame % TOLD_EVERY == 0:
            beat = 1.0 + 3.0 * (now / 1000 - 4)
            status = alley["at"](1 if frame // TOLD_EVERY % 2 else 6, beat, tempo=180.0)
        yield now, status


def test_acts_that_are_drawn_do_not_flash_either(on_page, begin, alley):
    """WCAG 2.2, SC 2.3.1: pages that turn, what is over going grey, and leaps, all at once."""

    def look(page):
        begin(page, "laptop", routine=alley["routine"])
        page.evaluate("(s) => { drive.stand(s); }", alley["at"](6, 1.0))
        return page.locator(".deck.drawn").count(), captured(page, acts_at_180(alley, SECONDS))

    drawn, frames = on_page(look, (683, 384, 14.0))
    assert drawn == 2
    assert flashes_a_second(frames) <= 3


@pytest.mark.parametrize(
    ("flip", "theme"),
    [
        (every_third_is_unsure, "dark"),
        (every_other_differs, "dark"),
        (every_other_differs, "bright"),
    ],
)
def test_no_spot_flashes_more_than_three_times_a_second(flip, theme, on_page, begin, told):
    """WCAG 2.2, SC 2.3.1, at every spot of the frames, not only a quarter of ten degrees."""

    def look(page):
        begin(page, "laptop", theme=theme)
        return captured(page, at_180(told, SECONDS, flip))

    assert flashes_a_second(on_page(look, (683, 384, 14.0))) <= 3
