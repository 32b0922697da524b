"""The stream and what hangs on it: many pages, a daemon that dies, clocks that differ, words."""

import asyncio
import json
import re
import threading
from pathlib import Path

import aiohttp
import pytest

from liveaid.stage import page_files
from liveaid.stage.address import Address
from liveaid.stage.web import Web

HERE = Address("127.0.0.1", 0)


class Daemon:
    """A Web with a made status in a loop and thread of its own, pushing ten times a second."""

    def __init__(self, status, port=0):
        self.status, self._port = status, port
        self._loop = asyncio.new_event_loop()
        self._up = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        assert self._up.wait(20)

    def _run(self):
        self._loop.run_until_complete(self._serve())

    async def _serve(self):
        self._end = asyncio.Event()
        web = Web(status=lambda: self.status, health=dict)
        await web.start(Address("127.0.0.1", self._port), [], [])
        self.port = web.address.port
        self._up.set()
        while not self._end.is_set():
            web.push(json.dumps(self.status))
            await asyncio.sleep(0.1)
        await web.stop()

    def kill(self):
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(20)


def test_thirty_pages_are_served_though_one_is_mute(told):
    """The mute one opens the stream and never reads; the others get every last status."""

    async def run():
        web = Web(status=lambda: told["states"]["following"], health=dict)
        await web.start(HERE, [], [])
        url = f"http://127.0.0.1:{web.address.port}/live"
        reader, mute = await asyncio.open_connection("127.0.0.1", web.address.port)
        mute.write(
            b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\n"
            b"Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
        )
        await reader.readuntil(b"\r\n\r\n")
        mute.transport.pause_reading()
        async with aiohttp.ClientSession() as session:
            pages = [await session.ws_connect(url) for _ in range(29)]
            assert web.clients == 30
            for number in range(20):
                web.push(json.dumps({"state": "following", "n": number, "fill": "x" * 50_000}))
                await asyncio.sleep(0.01)
            last = await asyncio.gather(*(_last(page) for page in pages))
        mute.transport.abort()
        await web.stop()
        return last

    assert asyncio.run(asyncio.wait_for(run(), 60)) == [19] * 29


async def _last(page):
    while True:
        found = json.loads((await page.receive()).data).get("n")
        if found == 19:
            return found


AN_HOUR_OFF = """(() => { const now = Date.now; window.offHours = 1;
  Date.now = () => now() + 3600000 * window.offHours; })();"""


def test_a_daemon_that_dies_is_seen_and_found_again_whatever_the_clock_says(browser_thread, told):
    """Also a reload while it is away: the pages kept on the device open, and say what they lack.

    The browser's time of day is an hour off, and jumps on the way.
    """
    thread, browser = browser_thread
    daemon = Daemon(told["states"]["following"])
    port = daemon.port

    def open_page():
        context = browser.new_context()
        context.add_init_script(AN_HOUR_OFF)
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        page.wait_for_selector("body[data-ink=full][data-state=following]")
        page.evaluate("navigator.serviceWorker.ready.then(() => window.offHours = -7)")
        page.wait_for_timeout(600)
        assert page.get_attribute("body", "data-ink") == "full"
        return page

    def without_it(page):
        page.wait_for_selector("body[data-ink=struck]", timeout=10000)
        label = page.inner_text("#label")
        page.reload()
        page.wait_for_selector("body[data-ink=struck]", timeout=10000)
        return label, page.inner_text("#label"), page.inner_text("#bars")

    def with_it_again(page):
        page.wait_for_selector("body[data-ink=full][data-state=following]", timeout=15000)
        bars = page.inner_text("#bars")
        page.context.close()
        return bars

    page = thread.submit(open_page).result()
    daemon.kill()
    old, reloaded, bars = thread.submit(without_it, page).result()
    daemon = Daemon(told["states"]["following"], port)
    again = thread.submit(with_it_again, page).result()
    daemon.kill()
    assert re.fullmatch(r"Old: \d+ s", old)
    assert (reloaded, bars) == ("No word", "–")
    assert int(again) == told["states"]["following"]["bars_left"]


def test_whatever_a_page_loads_is_kept_for_a_reload_without_the_network():
    """Each of the stage's own parts but the worker itself and the letters' licence."""
    folder = Path(page_files.__file__).parent / "page"
    listed = re.search(r"const PAGES = (\[.*?\]);", (folder / "worker.js").read_text())
    kept = set(json.loads(listed[1]))
    parts = {
        f"/{file.name}" for file in folder.iterdir()
        if file.suffix != ".html" and file.name not in ("worker.js", "letters-licence.txt")
    }  # fmt: skip
    assert parts <= kept
    assert set(page_files.PAGES) <= kept


@pytest.fixture
def spoken(on_page, told):
    """spoken(path, act): what was posted to /word while `act(page)` went on, and a text."""

    def run(path, act, **more):
        posted = []
        status = json.dumps(told["states"]["following"] | more)

        def look(page):
            page.route_web_socket(re.compile("/live"), lambda socket: socket.send(status))

            def answer(route):
                posted.append(json.loads(route.request.post_data))
                route.fulfill(status=200, body="{}")

            page.route("**/word", answer)
            page.goto(f"http://stage.test{path}")
            return act(page)

        return on_page(look, "1080p", path=path, driven=False), posted

    return run


def test_a_foot_switch_is_a_keyboard_and_says_words(spoken):
    """USB HID usage tables: foot switches come as keyboards, most often Page Down and Page Up."""

    def act(page):
        page.wait_for_selector("body[data-state=following]")
        for key in ("PageDown", "PageUp", "End", "x"):
            page.keyboard.press(key)
        page.wait_for_selector("#now:has-text('heard')")
        page.keyboard.press("Control+PageDown")  # the browser's own
        return page.inner_text("#now")

    said, posted = spoken("/", act)
    assert posted == [{"word": "step on"}, {"word": "step back"}, {"word": "hold"}]
    assert "was heard" in said


def test_a_key_can_be_given_another_word_or_none(spoken):
    """WCAG 2.2, SC 2.1.4."""

    def act(page):
        page.click("#more")
        page.select_option("#key-word", "mark")
        page.click("text=Give it a key")
        page.keyboard.press("b")
        page.select_option("#key-word", "")
        page.click("text=Give it a key")
        page.keyboard.press("PageDown")
        page.click("text=Back to the stage")
        page.keyboard.press("PageDown")
        page.keyboard.press("b")
        page.wait_for_selector("#now:has-text('mark')")

    assert spoken("/", act)[1] == [{"word": "mark"}]


def test_a_set_piece_tapped_on_the_map_says_here(spoken, told):
    def act(page):
        page.click("#pieces li:nth-child(4) button")
        page.click("text=I am here")
        page.wait_for_selector("#chosen [role=status]:has-text('heard')")
        return page.inner_text("#chosen-name")

    name, posted = spoken("/map", act)
    assert posted == [{"word": "here", "piece": 3}]
    assert name == told["routine"]["pieces"][3]["name"]


@pytest.mark.parametrize(
    ("screen", "shown"),
    [
        ({"inches": None, "away_m": None}, True),  # supposed: 15.6 inches, three metres
        ({"inches": 24.0, "away_m": 3.0}, True),
        ({"inches": 15.6, "away_m": 1.0}, True),
        ({"inches": 15.6, "away_m": 6.0}, False),
    ],
)
def test_the_commands_screen_and_distance_decide_what_has_room(spoken, screen, shown):
    """`--screen`, `--away`: the tempo is the first line to go."""

    def act(page):
        page.wait_for_selector("body[data-state=following]")
        page.wait_for_timeout(200)
        return page.is_visible("#tempo")

    visible, _ = spoken("/", act, screen=screen)
    assert visible == shown
