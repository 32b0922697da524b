"""The sheet: everything a performer needs on paper, and nothing of the map run as markup."""

import re
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
import soundfile

from liveaid.render.render import render_scene
from liveaid.render.sheet import Printed, deck_time, sheet_html
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


def _laid(begin: int, length: int, cue_s: float, sounds: tuple[str, ...], *pieces: int):
    uses = [SimpleNamespace(use=SimpleNamespace(piece=piece)) for piece in pieces]
    passage = SimpleNamespace(cue_s=cue_s, sounds=sounds, uses=uses)
    return SimpleNamespace(begin=begin, length=length, passage=passage)


def test_a_sheet_is_printed_as_it_was_read():
    """Kept in sheet.txt, the numbers by hand: a turn is 1.8 s, so 2.7 s are turn 1 and 180 degrees,
    and 4 s are 2.2222 turns: 80 degrees. A beat is 36 wide. A strip is 1000 wide: of 100 s a cue at
    2.7 s stands at 27, of 50 s one at 3.6 s at 72; a sound of 10 ms is drawn 1.5 wide, to be seen.
    """
    sounds = {
        "tram": {"file": "t.wav", "source": "own", "licence": "own"},
        "bell": {"file": "b.wav"},
        "gong": {"file": "g.wav", "licence": "all rights reserved"},
    }
    acts = {"-1": "push for 1/2", "0": "pull for 1/2", "3": "stab x3 for 1", "18": "let go for 1"}
    pieces = [
        {"name": "Dusk", "bars": 5, "tempo": 60, "count": "left", "technique": "drop",
         "prompt": "breathe", "left": {"hand": "runs", "sound": "tram", "at": 2.7},
         "right": {"hand": "works", "sound": "bell", "from": 3.6, "to": 5.4, "acts": acts}},
        {"name": "Call", "bars": 1, "tempo": 60, "count": "clock"},
        {"name": "Home", "bars": 2, "tempo": 60, "energy": 4, "count": "left",
         "left": {"hand": "runs", "sound": "tram", "at": 26.7},
         "right": {"hand": "works", "sound": "bell", "from": 3.6, "to": 5.4, "cue": 4.0}},
        {"name": "Away", "bars": 2, "tempo": 60, "count": "right",
         "right": {"hand": "runs", "sound": "gong", "at": 40.0}},
        {"name": "Last", "bars": 2, "tempo": 60, "count": "left",
         "left": {"hand": "runs", "sound": "tram", "at": 50.0},
         "right": {"hand": "works", "sound": "bell", "from": 3.6, "to": 5.4}},
    ]  # fmt: skip
    whole = {"title": "Lanterns", "limit": 50, "idea": {"theme": "<late>"}}
    routine = Routine.model_validate(whole | {"sounds": sounds, "pieces": pieces})
    left = [_laid(2600, 24_000, 0.1, ("tram",), 0, 2)]
    right = [_laid(3500, 1900, 0.1, ("bell", "tram"), 0), _laid(40_000, 10, 0.0, ("gong",), 3)]
    layouts = {"left": SimpleNamespace(frames=100_000, laid=left),
               "right": SimpleNamespace(frames=50_000, laid=right)}  # fmt: skip
    body = sheet_html(Printed(routine, layouts, 1000)).partition("</style>")[2]
    kept = Path(__file__).with_name("sheet.txt")
    assert (
        re.sub("(<(?:t[rdh]|p|h|rect|text|section|svg|polyline))", r"\n\1", body)
        == kept.read_text()
    )


def test_a_record_with_nothing_on_it_says_so():
    routine = Routine.model_validate(
        {"title": "T", "pieces": [{"name": "P", "bars": 1, "tempo": 60}]}
    )
    layouts = {side: SimpleNamespace(frames=0, laid=[]) for side in ("left", "right")}
    page = Page(sheet_html(Printed(routine, layouts, 1000)))
    assert page.text.count("Nothing lies on it.") == 2
    assert "rests done" in page.text
