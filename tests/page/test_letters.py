"""What is read from three metres: how large, in which ink, what is left out, what is cut."""

import math

import pytest

NEVER_DROPPED = {"bars", "name"}


def arc_minutes(px, device, away_m, devices):
    """By hand: px to mm by the diagonal, then twice the angle of half of it."""
    width, height, inches = devices[device]
    mm = px * inches * 25.4 / math.hypot(width, height)
    return 60 * math.degrees(2 * math.atan(mm / 2 / (1000 * away_m)))


def test_sixteen_minutes_at_three_metres_are_fourteen_millimetres(on_page):
    """ISO 9241-303:2011, character height: 16 minutes the least, 20 good; by hand 3000 mm times
    tan(16/60 deg) = 13.96 mm and tan(20/60 deg) = 17.45 mm."""
    found = on_page(
        lambda page: page.evaluate(
            "import('/sizes.js').then((s) => [s.heightMm(16, 3), s.heightMm(20, 3),"
            " s.readScreen('15,24 cm'), s.readAway('80 cm'), s.readScreen('big')])"
        )
    )
    assert found[0] == pytest.approx(13.96, abs=0.01)
    assert found[1] == pytest.approx(17.45, abs=0.01)
    assert found[2:] == [pytest.approx(6.0), pytest.approx(0.8), None]


@pytest.mark.parametrize(
    ("device", "away_m"),
    [
        ("phone upright", 3.0),
        ("phone flat", 3.0),
        ("tablet upright", 3.0),
        ("tablet flat", 3.0),
        ("1080p", 3.0),
        ("phone upright", 0.7),
        ("laptop", 1.0),
    ],
)
def test_every_line_is_large_enough_and_inside_its_box(
    device, away_m, on_page, begin, told, devices
):
    """ISO 9241-303: no capital below 16 minutes, in any state."""

    def look(page):
        begin(page, device, away_m)
        return {
            state: page.evaluate(
                "(status) => { drive.stand(status); return drive.lines(); }",
                status,
            )
            for state, status in told["states"].items()
        }

    for state, lines in on_page(look, device).items():
        ids = {line["id"] for line in lines}
        assert ids >= NEVER_DROPPED, state
        for line in lines:
            seen = arc_minutes(line["capital"], device, away_m, devices)
            assert seen >= 16, (state, line["id"], line["text"], seen)
            box = line["box"]
            assert line["x"] >= box["x"] - 1, (state, line)
            assert line["x"] + line["w"] <= box["x"] + box["w"] + 1, (state, line)


def test_the_next_name_and_its_prompt_are_the_largest_words(on_page, begin, told):
    def look(page):
        begin(page, "1080p")
        page.evaluate("(status) => drive.stand(status)", told["states"]["following"])
        return {line["id"]: line["capital"] for line in page.evaluate("drive.lines()")}

    sizes = on_page(look)
    words = {
        name: size for name, size in sizes.items() if name not in ("bars", "name", "left", "right")
    }
    assert sizes["name"] > max(words.values())
    assert sizes["now"] <= sizes["prompt"]


def test_the_count_has_one_size_from_1_to_99(on_page, begin, told):
    def look(page):
        begin(page, "phone upright")
        found = []
        for bars in (1, 8, 10, 88, 99):
            status = told["states"]["following"] | {"bars_left": bars, "beats_left": 3.0 * bars - 1}
            status["piece"] = status["piece"] | {"bars": 99}
            page.evaluate(
                "(s) => drive.stand(s)",
                status,
            )
            (line,) = [one for one in page.evaluate("drive.lines()") if one["id"] == "bars"]
            found.append(
                (
                    line["text"],
                    round(line["capital"], 1),
                    line["x"] >= 0 and line["x"] + line["w"] <= 390,
                )
            )
        return found

    found = on_page(look, "phone upright")
    assert [text for text, _, _ in found] == ["1", "8", "10", "88", "99"]
    assert len({size for _, size, _ in found}) == 1
    assert all(inside for _, _, inside in found)


def test_what_has_no_room_goes_in_the_order_that_is_stated(on_page, devices):
    """The same screen from farther and farther away: what is dropped is always a first part of the
    stated order, and grows."""

    def look(page):
        return page.evaluate(
            """async ([width, height, inches]) => {
              const { layout, DROPPED_IN_ORDER } = await import('/layout.js');
              const { minutePx } = await import('/sizes.js');
              const found = [];
              for (let awayM = 0.5; awayM <= 8; awayM += 0.25) {
                const screen = { inches, awayM, screenWidth: width, screenHeight: height };
                found.push(layout({ width, height, minute: minutePx(screen) }).dropped);
              }
              return [DROPPED_IN_ORDER, found];
            }""",
            list(devices["laptop"]),
        )

    order, found = on_page(look)
    assert order == ["tempo", "now", "acts", "clock", "label", "orders", "prompt"]
    assert all(dropped == order[: len(dropped)] for dropped in found)
    lengths = [len(dropped) for dropped in found]
    assert lengths == sorted(lengths)
    assert lengths[0] == 0
    assert lengths[-1] == len(order)


@pytest.mark.parametrize("device", ["phone upright", "tablet upright", "1080p"])
def test_no_box_lies_under_the_button_in_the_corner(device, on_page, begin, told, devices):
    def look(page):
        begin(page, device, 1.0)
        page.evaluate("(s) => drive.stand(s)", told["states"]["following"])
        corner = "(({ x, y }) => [x, y])(document.getElementById('more').getBoundingClientRect())"
        return page.evaluate(f"[{corner}, drive.boxes()]")

    (left, above), boxes = on_page(look, device)
    reaching = [name for name, (x, y, w, h) in boxes.items() if x + w > left and y + h > above]
    assert "tempo" in boxes
    assert reaching == []


@pytest.mark.parametrize("device", ["phone upright", "phone flat", "laptop"])
def test_the_count_stands_however_far_away(device, on_page, begin, told, devices):
    """Thirty metres hold no letter of sixteen minutes on any of these; the count is there still,
    as large as it goes, and nothing lies outside the screen."""

    def look(page):
        begin(page, device, 30.0)
        page.evaluate("(s) => drive.stand(s)", told["states"]["following"])
        return page.evaluate("[drive.lines(), drive.boxes()]")

    lines, boxes = on_page(look, device)
    width, height, _ = devices[device]
    (count,) = [line for line in lines if line["id"] == "bars"]
    assert count["capital"] > 0.1 * height
    for x, y, w, h in boxes.values():
        assert x >= 0
        assert y >= 0
        assert x + w <= width + 1
        assert y + h <= height + 1


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("Tram", ["Tram"]),
        ("Lantern walk", ["Lantern", "walk"]),
        ("Lantern walk home", ["Lantern", "walk…"]),
        ("Donaudampfschifffahrt", ["Donauda…"]),
        ("", []),
    ],
)
def test_a_long_name_is_known_by_how_it_begins(name, lines, on_page):
    """Eight letters wide, two lines high; every letter counted as one."""
    found = on_page(
        lambda page: page.evaluate(
            "(name) => import('/fit.js').then(({ fit }) => fit(name, { width: 80, height: 21,"
            " size: 10, least: 10, lines: 2, measure: (text) => [...text].length }).lines)",
            name,
        )
    )
    assert found == lines


def test_a_name_from_right_to_left_stands_in_its_own_order(on_page, begin, told):
    """Unicode UAX 9: the paragraph's direction is its first strong letter's."""
    name = "سوق الليل"

    def look(page):
        begin(page, "tablet flat")
        status = told["states"]["following"]
        page.evaluate("(s) => drive.stand(s)", status | {"next": status["next"] | {"name": name}})
        return page.evaluate(
            "[document.querySelector('#name .line').textContent,"
            " getComputedStyle(document.querySelector('#name .line')).direction,"
            " document.querySelector('#name .line').getBoundingClientRect().right]"
        )

    assert on_page(look, "tablet flat")[:2] == [name, "rtl"]
