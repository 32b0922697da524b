"""A worked deck's acts on the stage view: the record's place over time, the open fader beneath."""

import math

import pytest

STAND = "(status) => { drive.stand(status, 1500); }"
DRAWN = """(side) => {
  const svg = document.querySelector(`#${side} .ahead`), box = document.getElementById(side).getBoundingClientRect();
  const dial = document.querySelector(`#${side} .dial`), at = svg.getBoundingClientRect();
  const number = (one, name) => Number(one.getAttribute(name));
  return {
    drawn: getComputedStyle(svg).display !== "none", dial: getComputedStyle(dial).visibility,
    width: svg.viewBox.baseVal.width, inside: at.x >= box.x && at.right <= box.right && at.y >= box.y && at.bottom <= box.bottom,
    line: [...svg.querySelectorAll(".coming .line")].map((one) => one.getAttribute("points").split(" ").map((p) => p.split(",").map(Number))),
    stroke: Math.min(...[...svg.querySelectorAll(".line")].map((one) => number(one, "stroke-width"))),
    blocks: [...svg.querySelectorAll(".coming .fader")].map((one) => [number(one, "x"), number(one, "x") + number(one, "width"), number(one, "y")]),
    over: svg.querySelector("clipPath rect")?.width.baseVal.value,
  };
}"""  # noqa: E501
JUGGLE, WORDS, RUNS = 6, 1, 0


@pytest.fixture
def shown(on_page, begin, alley):
    """shown(device, status, side="right"): what is drawn of a deck, after a moment of it."""

    def run(device, *statuses, side="right", **options):
        def look(page):
            begin(page, device, routine=alley["routine"], **options)
            found = []
            for status in statuses:
                page.evaluate(STAND, status | {"tempo": 1e-6})  # the count stands
                found.append(page.evaluate(DRAWN, side))
            return found

        return on_page(look, device)

    return run


def test_the_line_is_the_records_place_and_the_blocks_the_open_fader(shown, alley):
    """By hand from the map: `trade` lets the left record run from beat 0 to 2, then it is brought
    back by beat 4, and again; the fader is open while it runs. Nine beats are shown."""
    (found,) = shown("1080p", alley["at"](JUGGLE, 0.0), side="left")
    (line,), beat = found["line"], found["width"] / 9
    height = {round(x / beat, 2): y for x, y in line}
    top, foot = min(height.values()), max(height.values())
    assert [height[at] for at in (2.0, 6.0)] == [pytest.approx(top, abs=0.11)] * 2
    assert [height[at] for at in (0.0, 4.0, 8.0)] == [pytest.approx(foot, abs=0.11)] * 3
    assert [height[at] - foot for at in (1.0, 5.0)] == [
        pytest.approx((top - foot) / 2, abs=0.6)  # it runs: half of the way in half of the time
    ] * 2
    spans = [(round(a / beat, 1), round(b / beat, 1)) for a, b, _ in found["blocks"]]
    assert spans == [(0, 2), (4, 6), (8, 9)]
    assert all(y > foot for _, _, y in found["blocks"])  # beneath


def test_a_page_stands_while_what_is_over_goes_grey_and_turns_after_its_bars(shown, alley):
    at = alley["at"]
    first, later, turned = shown("1080p", at(JUGGLE, 1.0), at(JUGGLE, 5.0), at(JUGGLE, 8.5))
    assert first["line"] == later["line"]
    assert [one["over"] / one["width"] for one in (first, later, turned)] == [
        pytest.approx(over, abs=0.003) for over in (1 / 9, 5 / 9, 0.5 / 9)
    ]
    # By hand: `right 2 to 4` begins at beat 2 of each four, so at 10 of the piece, 2 of the page.
    assert round(turned["blocks"][0][0] / turned["width"] * 9, 1) == 2.0


def test_a_deck_that_is_not_worked_shows_its_record(shown, alley):
    (found,) = shown("1080p", alley["at"](RUNS, 1.0))
    assert (found["drawn"], found["dial"]) == (False, "visible")


def test_acts_stand_for_those_who_ask_for_stillness(shown, alley):
    """WCAG 2.2, SC 2.3.3: the page is there, and nothing of it moves."""
    (found,) = shown("1080p", alley["at"](JUGGLE, 5.0), still=True)
    assert found["drawn"]
    assert found["over"] == 0


@pytest.mark.parametrize(
    ("device", "away_m", "beats"),
    [
        ("phone upright", 3.0, 5),
        ("phone flat", 3.0, 5),
        ("phone flat", 6.0, 0),
        ("tablet upright", 3.0, 5),
        ("laptop", 3.0, 5),
        ("1080p", 3.0, 9),
    ],
)
def test_acts_are_drawn_only_where_they_can_be_read(device, away_m, beats, shown, alley, devices):
    """From there a beat is six arc minutes wide or more, so that a stroke of half a beat is three;
    a line is one or more, which 20/20 resolves (ISO 8596:2017). Else the record is shown."""
    width, height, inches = devices[device]
    px_per_mm = math.hypot(width, height) / (inches * 25.4)
    minute = 1000 * away_m * math.tan(math.radians(1 / 60)) * px_per_mm
    (found,) = shown(device, alley["at"](WORDS, 0.0), away_m=away_m)
    assert (found["drawn"], found["dial"]) == (beats > 0, "hidden" if beats else "visible")
    if beats:
        assert found["width"] / beats / minute >= 6
        assert found["stroke"] / minute >= 1
        assert found["inside"]


def test_the_line_below_says_the_next_act_once_it_is_two_bars_away_and_no_sooner(on_page, told):
    """Of three beats a bar: 6 beats. Until then it says what is played now."""
    said = """async (statuses) => {
      const { picture } = await import('/picture.js');
      return statuses.map((status) => picture(status).now);
    }"""
    following = told["states"]["following"]
    assert following["routine"]["metre"] == 3
    act = {"side": "left", "act": "let go", "part": None, "piece": 4, "says": "left: let go"}
    asked = [following | {"coming": [act | {"in_beats": beats}]} for beats in (6.2, 6.0, 0.5)]
    far, near, now = on_page(lambda page: page.evaluate(said, asked))
    assert far == f"now {following['piece']['name']}"
    assert (near, now) == ("left: let go", "left: let go")
