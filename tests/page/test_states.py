"""What the view says in each state: ink, card, decks."""

import pytest

LOOK = """() => ({ ...drive.shown(), label: document.getElementById('label').textContent,
  prompt: [...document.querySelectorAll('#prompt .line')].map((one) => one.textContent).join(' '),
  names: [...document.querySelectorAll('#name .line')].map((one) => one.textContent).join(' ') })"""


@pytest.fixture(scope="module")
def looks(on_page, begin, told):
    """What is shown in each state, after a moment of it; `old` after three seconds of nothing."""

    def look(page):
        begin(page, "1080p")
        found = {}
        for state, status in told["states"].items():
            page.evaluate("(s) => drive.stand(s)", status)
            found[state] = page.evaluate(LOOK)
        page.evaluate(
            "(s) => { const at = drive.stand(s);"
            " for (let now = at; now < at + 3500; now += 100) drive.draw(now); }",
            told["states"]["following"],
        )
        return found | {"old": page.evaluate(LOOK)}

    return on_page(look)


@pytest.fixture(scope="module")
def states(told):
    return told["states"]


@pytest.mark.parametrize(
    ("state", "ink", "label"),
    [
        ("waiting", "full", "Waiting"),
        ("before", "full", "Let go first: left"),
        ("following", "full", "Next"),
        ("last bar", "full", "In 1 bar"),
        ("first bar", "full", "Now"),
        ("unsure", "outlined", "Unsure: 55 %"),
        ("held", "outlined", "Held"),
        ("by the clock", "hatched", "By the clock"),
        ("over", "full", "Over"),
        ("old", "struck", "Old: 3 s"),
    ],
)
def test_ink_and_words_tell_the_state(state, ink, label, looks):
    assert (looks[state]["ink"], looks[state]["label"]) == (ink, label)


def test_no_order_that_is_not_believed_stands_in_full_ink(looks):
    """Nothing but what the follower is sure of is full; and unsure, no wind is told."""
    assert {looks[state]["ink"] for state in ("unsure", "two places", "held")} == {"outlined"}
    assert looks["unsure"]["right"] != "wind"


def test_the_card_says_what_comes_until_it_is_to_be_done(looks, told):
    """The next name up to the change, then the same name and its prompt until its first bar is
    over: never gone when it is due."""
    pieces = told["routine"]["pieces"]
    assert looks["last bar"]["names"] == looks["following"]["names"] == pieces[3]["name"]
    assert looks["last bar"]["prompt"] == pieces[3]["prompt"]
    assert looks["first bar"]["names"] == pieces[2]["name"]
    assert looks["first bar"]["prompt"] == pieces[2]["prompt"]


def test_two_places_are_both_told(looks, told):
    pieces = told["routine"]["pieces"]
    assert looks["two places"]["names"] == f"{pieces[1]['name']} or {pieces[4]['name']}"


def test_two_places_are_both_told_where_there_is_room_for_little(on_page, begin, told):
    """Of each as much as goes: the letters it begins with."""

    def look(page):
        begin(page, "phone upright")
        page.evaluate("(s) => drive.stand(s)", told["states"]["two places"])
        return page.evaluate(LOOK)["names"]

    one, other = on_page(look, "phone upright").split(" or ")
    for begins, index in ((one, 1), (other, 4)):
        name = told["routine"]["pieces"][index]["name"]
        assert len(begins) >= 4
        assert name.startswith(begins.removesuffix("…"))


def test_nothing_is_ordered_when_all_is_over(looks):
    assert (looks["over"]["left"], looks["over"]["right"]) == ("rests", "rests")


def test_before_the_start_the_first_prompt_and_the_deck_that_lets_go_first(looks, told):
    assert looks["before"]["next"] == ["left"]
    assert looks["before"]["names"] == told["routine"]["pieces"][0]["name"]
    assert looks["before"]["left"] == "ready"


def test_at_the_end_the_time_played_and_whether_the_limit_was_kept(looks):
    """By hand: 176 s are 2:56, within 3:00; 184 s are 3:04, four seconds over."""
    assert (looks["over"]["names"], looks["over"]["prompt"]) == ("2:56", "limit kept")
    over = looks["over the limit"]
    assert (over["names"], over["prompt"]) == ("3:04", "over the limit by 0:04")


@pytest.mark.parametrize(
    ("state", "left", "right"),
    [
        ("following", "runs", "wind"),
        ("ready", "runs", "ready"),
        ("needle", "works", "needle"),
        ("waiting", "unheard", "unheard"),
    ],
)
def test_each_deck_has_one_order_as_a_mark(state, left, right, looks):
    assert (looks[state]["left"], looks[state]["right"]) == (left, right)


def test_a_deck_that_sounds_is_left_alone_however_far_its_next_cue(on_page, begin, told):
    status = told["states"]["following"]
    running = status["decks"]["right"] | {"hand": "runs"}

    def look(page):
        begin(page, "1080p")
        page.evaluate(
            "(s) => drive.stand(s)", status | {"decks": {"left": running, "right": running}}
        )
        return page.evaluate("drive.shown()")

    assert on_page(look)["right"] == "runs"


def test_a_note_about_the_stage_is_told_before_what_is_played(on_page, begin, told):
    note = "Positions of the left deck are lost"

    def look(page):
        begin(page, "1080p")
        page.evaluate("(s) => drive.stand(s)", told["states"]["following"] | {"notes": [note]})
        return page.inner_text("#now")

    assert on_page(look) == note


@pytest.mark.parametrize(
    ("followed", "state", "line"),
    [
        (False, "waiting", "The section map cannot be read; the last good one is used."),
        (False, "following", "now"),  # while playing what is played goes before
        (True, "waiting", ""),
    ],
)
def test_an_old_map_is_told_until_it_is_played(followed, state, line, on_page, begin, states):
    says = ["The section map cannot be read; the last good one is used.", "line 3: no"]
    status = states[state] | {"map": {"state": "broken", "says": says, "followed": followed}}

    def look(page):
        begin(page, "1080p", 1.0)
        page.evaluate("(s) => { drive.stand(s); }", status)
        return page.inner_text("#now")

    shown = on_page(look)
    assert shown.startswith(line)
    assert bool(shown) == bool(line)


def test_beats_are_still_for_those_who_ask_for_it(on_page, begin, told):
    """WCAG 2.2, SC 2.3.3: prefers-reduced-motion."""

    def look(page, still):
        begin(page, "1080p", still=still)
        page.evaluate("(s) => drive.stand(s)", told["states"]["following"])
        return page.locator("#beats li").count()

    assert on_page(lambda page: look(page, False)) == 3
    assert on_page(lambda page: look(page, True)) == 0
