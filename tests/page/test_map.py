"""The map view on a stage that rehearses: what it shows, what a tap does, end to end."""

import asyncio
import json
import re
import threading

import pytest

from liveaid.practice.aim import aim_of
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session
from liveaid.stage.address import Address
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings

FIRST = 2
"""The set piece rehearsed at first."""


class Rehearsing:
    """A stage that rehearses one set piece, in a loop and thread of its own."""

    def __init__(self, routine, file, aim):
        self.rehearsal = Rehearsal(Session(aim_of(routine, aim)), routine, store=None, file=file)
        here = Address("127.0.0.1", 0)
        settings = Settings(osc=here, http=here)
        self.stage = Service(self.rehearsal.aim.routine, settings, watchers=[self.rehearsal])
        self._up, self._loop = threading.Event(), asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_until_complete, args=(self._run(),))
        self._thread.start()
        assert self._up.wait(20)

    async def _run(self):
        async with self.stage:
            self.address = str(self.stage.address)
            self._up.set()
            await self.stage.run()

    def strike(self):
        self._loop.call_soon_threadsafe(self.stage.ask_stop)
        self._thread.join(20)
        self._loop.close()


@pytest.fixture
def rehearsing(carousel, tmp_path):
    stage = Rehearsing(carousel, tmp_path / "takes.sqlite", carousel.pieces[FIRST].name)
    yield stage
    stage.strike()


@pytest.fixture
def map_page(browser_thread, rehearsing):
    """map_page(act): `act(page)` on the rehearsing stage's map, on a phone that is touched."""
    thread, browser = browser_thread

    def run(act):
        def inside():
            context = browser.new_context(
                viewport={"width": 390, "height": 844}, has_touch=True, service_workers="block"
            )
            page = context.new_page()
            faults = []
            page.on("pageerror", lambda error: faults.append(str(error)))
            try:
                page.goto(f"{rehearsing.address}map")
                page.wait_for_selector("#pieces button")
                return act(page), faults
            finally:
                context.close()

        found, faults = thread.submit(inside).result()
        assert faults == []
        return found

    return run


def names(page):
    return page.locator("#pieces .name").all_inner_texts()


def rehearse(page, index):
    """Tap a set piece, then the button; the sentence on how that went."""
    page.locator("#pieces button").nth(index).tap()
    page.locator("#chosen button", has_text="Rehearse it").tap()
    page.wait_for_selector("#chosen [role=status]:has-text('heard')")
    said = page.inner_text("#chosen [role=status]")
    page.locator("#chosen button", has_text="Close").tap()
    return said


def test_a_tap_on_the_map_rehearses_that_set_piece_and_then_another(map_page, rehearsing, carousel):
    """All set pieces stay on the map though one is rehearsed, and each tap means that one."""
    aims = []

    def act(page):
        before = names(page)
        for index in (4, 1):
            said = rehearse(page, index)
            aims.append((index, rehearsing.rehearsal.aim.piece, said))
        page.wait_for_timeout(300)
        return before, names(page)

    before, after = map_page(act)
    wanted = [piece.name for piece in carousel.pieces]
    assert [name.split(" ·")[0] for name in before] == wanted
    assert [name.split(" ·")[0] for name in after] == wanted
    assert aims == [
        (4, wanted[4], "“take start” was heard."), (1, wanted[1], "“take start” was heard.")
    ]  # fmt: skip
    assert [piece.name for piece in rehearsing.stage.routine.pieces] == [wanted[1]]


def test_here_on_another_set_piece_than_the_rehearsed_is_not_taken(map_page, rehearsing):
    def act(page):
        page.locator("#pieces button").nth(4).tap()
        page.locator("#chosen button", has_text="I am here").tap()
        page.wait_for_selector("#chosen [role=status]:has-text('“here”')")
        return page.inner_text("#chosen [role=status]")

    assert map_page(act) == "“here” is not taken here."
    word = rehearsing.stage.status()["word"]
    assert (word["word"], word["piece"], word["taken"]) == ("here", 4, False)


def test_the_status_says_where_in_the_whole_routine_it_is(rehearsing, carousel):
    whole = rehearsing.stage.status()["whole"]
    assert (whole["first"], whole["gone_beats"]) == (FIRST, [0])


def test_the_last_takes_errors_stand_at_their_set_piece(on_page, told):
    """Of each the latest take, whatever it was a take of."""
    name = told["routine"]["pieces"][2]["name"]
    played = {"index": 2, "name": name, "verdict": "not clean", "missed": 1, "added": 0}
    takes = [{"pieces": [played | {"bias_ms": 14.2}]}, {"pieces": [played | {"bias_ms": -90.0}]}]

    def look(page):
        rehearsed = told["states"]["following"] | {"rehearsal": {}}
        page.route_web_socket(re.compile("/live"), lambda s: s.send(json.dumps(rehearsed)))
        page.route("**/review.json", lambda route: route.fulfill(body=json.dumps({"takes": takes})))
        page.goto("http://stage.test/map")
        page.wait_for_selector(".errors:has-text('Last take')")
        return [
            text for text in page.locator("#pieces .errors").all_text_contents() if "take" in text
        ]

    (said,) = on_page(look, "tablet upright", path="/map", driven=False)
    assert said.startswith("Last take not clean, 14 ms late, 1 missed.")


def test_on_stage_no_takes_are_asked_for(on_page, told):
    """`perform` keeps none: a page that asked would only fill the console with 404."""
    asked = []

    def look(page):
        page.on("request", lambda request: asked.append(request.url.rpartition("/")[2]))
        page.route_web_socket(
            re.compile("/live"), lambda s: s.send(json.dumps(told["states"]["following"]))
        )
        page.goto("http://stage.test/map")
        page.wait_for_selector("#pieces button[aria-current=true], #pieces [aria-current=true]")

    on_page(look, "tablet upright", path="/map", driven=False)
    assert "whole.json" in asked
    assert "review.json" not in asked
