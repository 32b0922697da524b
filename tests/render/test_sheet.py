"""The sheet: everything a performer needs on paper, and nothing of the map run as markup."""

import re
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest
import soundfile

from liveaid.render.render import render_scene
from liveaid.render.sheet import Printed, _strip, deck_time, sheet_html
from liveaid.routine import Routine, load_routine
from liveaid.routine.layout.deck import lay_out
from liveaid.routine.layout.lay import grain_of

NASTY = "<script>alert(1)</script> & \"q\" 'a' <b>"
VOID = {"meta", "line", "circle", "rect", "path", "link", "br", "img"}


class Page(HTMLParser):
    """The page's tags and its text."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.texts, self.attributes = [], [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def page(done):
    return Page((done[0] / "decks/sheet.html").read_text(encoding="utf-8"))


def test_every_set_piece_with_its_prompt_and_every_cue_in_deck_time_is_there(page, done):
    placed = load_routine(done[0] / "decks/routine.yaml")
    for piece in placed.pieces:
        assert piece.name in page.text
        assert piece.prompt in page.text
        for side in ("left", "right"):
            if piece.plan(side).cue_s is not None:
                assert deck_time(piece.plan(side).cue_s) in page.text


def test_the_sticker_s_turn_and_angle_stand_beside_the_cue(page):
    # The first cue is one turn of 1.8 s into the record.
    assert "0:01.800 turn 1, sticker 0°" in page.text


def test_what_lies_on_a_record_is_told_by_the_time_of_its_cue(page, done):
    """Every cue that a set piece of the placed map has stands in the table of its record."""
    html = (done[0] / "decks/sheet.html").read_text(encoding="utf-8")
    placed = load_routine(done[0] / "decks/routine.yaml")
    for side in ("left", "right"):
        table = html.partition(f"<caption>The {side} record")[2].partition("</table>")[0]
        told = set(re.findall(r"<tr><td>([\d:.]+)<td>", table))
        cues = {p.plan(side).cue_s for p in placed.pieces if p.plan(side).cue_s is not None}
        assert told
        assert told <= {deck_time(cue_s) for cue_s in cues}


def test_a_hand_that_goes_between_two_sounds_has_both_named():
    """Parts of two sounds side by side: both are said, in their order along the record."""
    sounds = {name: {"file": f"{name}.wav", "parts": {part: {"from": 0.0, "to": 0.3}}}
              for name, part in (("hawker", "fresh"), ("bell", "ding"))}  # fmt: skip
    places = {"ding": {"from": 3.6, "to": 3.9}, "fresh": {"from": 4.05, "to": 4.35}}
    right = {"hand": "works", "from": 3.6, "to": 4.35, "places": places,
             "acts": {"0": "push fresh for 1/2", "1": "push ding for 1/2"}}  # fmt: skip
    piece = {"name": "P", "bars": 1, "tempo": 60, "right": right}
    routine = Routine.model_validate({"title": "T", "sounds": sounds, "pieces": [piece]})
    layouts = {side: lay_out(side, [], grain_of(routine)) for side in ("left", "right")}
    page = Page(sheet_html(Printed(routine, layouts, 44_100)))
    assert "works bell + hawker" in page.text


def test_what_is_not_cleared_is_listed_with_the_caution(page):
    assert "seller not stated all rights reserved" in page.text
    assert "to be cleared" in page.text
    assert "licensed professional" in page.text


def test_the_page_fetches_nothing_and_runs_nothing(page):
    assert not {"script", "link", "img", "iframe", "object"} & set(page.tags)
    assert not [name for name, _ in page.attributes if name in ("src", "href") or name[:2] == "on"]


def test_texts_of_the_map_are_shown_and_never_taken_as_markup(scene):
    text = (scene / "routine.yaml").read_text()
    quoted = "'" + NASTY.replace("'", "''") + "'"
    text = text.replace("Rain Check", quoted).replace("Drizzle", quoted)
    text = text.replace("right hand ready", quoted).replace("all rights reserved", quoted)
    text = text.replace("technique: drop", f"technique: {quoted}")
    (scene / "routine.yaml").write_text(text)
    render_scene(scene / "routine.yaml")
    page = Page((scene / "decks/sheet.html").read_text(encoding="utf-8"))
    assert "script" not in page.tags
    assert page.text.count(NASTY) >= 6  # title, heading, name thrice, technique, prompt, licence


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0.0, "0:00.000"), (1.8, "0:01.800"), (59.9996, "1:00.000"), (83.25, "1:23.250")],
)
def test_deck_time_rounds_to_the_thousandth_and_carries(seconds, shown):
    assert deck_time(seconds) == shown


def test_the_strips_marks_stand_at_the_cues(page, done):
    """The strip is 1000 wide for the whole deck file, whose length soundfile reads: a cue at c of
    l seconds stands at 1000 c / l."""
    placed = load_routine(done[0] / "decks/routine.yaml")
    marks = [float(value[1:].split()[0]) for name, value in page.attributes
             if name == "d" and value.endswith("v22")]  # fmt: skip
    wanted = []
    for side in ("left", "right"):
        lasts_s = soundfile.info(done[0] / f"decks/{side}.wav").duration
        cues = {piece.plan(side).cue_s for piece in placed.pieces} - {None}
        wanted += sorted(1000 * cue_s / lasts_s for cue_s in cues)
    assert len(marks) >= 5
    for mark in marks:
        assert min(abs(mark - at) for at in wanted) < 0.1


def test_a_cue_within_its_sound_is_marked_so_far_into_it():
    """A deck of 100 s is 1000 wide. A sound from 50 s to 75 s with its cue 5 s in: 500, 250 wide,
    marked at 550."""
    uses = [SimpleNamespace(use=SimpleNamespace(piece=2))]
    passage = SimpleNamespace(cue_s=5.0, uses=uses)
    laid = SimpleNamespace(begin=50_000, length=25_000, passage=passage)
    strip = _strip(SimpleNamespace(rate_hz=1000), SimpleNamespace(frames=100_000, laid=[laid]))
    assert '<rect x="500.0" y="8" width="250.0"' in strip
    assert '<path d="M550.0 4v22"/><text x="553.0" y="38">3</text>' in strip
