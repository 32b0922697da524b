"""What `review` does by its options, and what it says of one take or a recording."""

import io
import json
from datetime import date, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import review
from liveaid.errors import UsageError
from liveaid.practice.schema import StoreError
from liveaid.terminal import HarmlessConsole


@pytest.fixture
def reviewed(monkeypatch, tmp_path):
    """reviewed.of(**options): what was asked for and said, in order."""
    did = []
    placed, judged = SimpleNamespace(name="placed"), SimpleNamespace(name="as written")
    opening = SimpleNamespace(
        placed=placed, judged=judged, playable_file=tmp_path / "routine.yaml",
        to_json=lambda: "as found",
    )  # fmt: skip

    class Reader:
        def __init__(self, file):
            did.append(("takes", file))

        def __enter__(self):
            return "reader"

        def __exit__(self, *_):
            pass

    def noted(name):
        return lambda *told, **_: did.append((name, told[1])) or 0

    def found(routine, reader, **how):
        how.pop("now")
        did.append(("review", routine.name, how))
        return SimpleNamespace(outlook="outlook", weeks="weeks")

    steps = {
        "opened": lambda scene: opening, "say_state": lambda opening: None,
        "score_unscored": lambda takes, routine: None, "TakeReader": Reader, "review": found,
        "_write_trace": noted("trace"), "_recording": lambda routine, file, options: 7,
        "_say_strokes": lambda screen, reader, number, as_json: did.append((number, as_json)) or 0,
        "_draw": lambda routine, reader, folder: [f"{folder}/a.png"],
        "next_json": lambda outlook: {"next": outlook}, "review_json": lambda found: {"all": 1},
        "print_json": lambda plain: did.append(plain), "_say_next": noted("next"),
        "_say_weeks": noted("weeks"), "_say_plan": noted("plan"),
        "_say": lambda screen, found, drawn: did.append(("say", drawn)),
    }  # fmt: skip
    for name, step in steps.items():
        monkeypatch.setattr(review, name, step)

    def of(**options):
        did.clear()
        nothing = {parameter.name: None for parameter in review.command.params}
        del nothing["scene"]
        asked = nothing | {"ready_at": 80.0, "last": 20} | options
        return review.command.callback("market", **asked), did

    return SimpleNamespace(of=of, opening=opening, folder=tmp_path)


def test_a_review_is_of_the_placed_map_and_the_takes_beside_it(reviewed):
    """80 % is .8; a day on stage is a date."""
    status, did = reviewed.of()
    how = {"ready_at": 0.8, "booth_dba": None, "last": 20, "stage": None}
    assert status == 0
    assert did[:2] == [("takes", reviewed.folder / "takes.sqlite"), ("review", "placed", how)]
    assert did[2] == ("say", [])
    assert did[3][0] == "plan"
    reviewed.opening.placed = None
    _, did = reviewed.of(takes=Path("own.sqlite"), stage_on=datetime(2026, 3, 20), folder="p")
    assert did[:2] == [
        ("takes", Path("own.sqlite")), ("review", "as written", how | {"stage": date(2026, 3, 20)})
    ]  # fmt: skip
    assert did[2] == ("say", ["p/a.png"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"only_next": True}, ("next", "outlook")),
        ({"by_week": True}, ("weeks", "weeks")),
        ({"as_json": True}, {"map": "as found", "all": 1}),
        ({"as_json": True, "folder": "p"}, {"map": "as found", "pictures": ["p/a.png"], "all": 1}),
        ({"as_json": True, "only_next": True, "folder": "p"}, {"next": "outlook"}),
    ],
)
def test_what_is_asked_for_is_said_and_nothing_else(reviewed, options, said):
    assert reviewed.of(**options)[1][2:] == [said]


def test_one_take_or_a_recording_is_gone_into_alone(reviewed):
    assert reviewed.of(trace_of=(3, Path("t")))[1][1:] == [("trace", 3)]
    assert reviewed.of(strokes_of=4)[1][1:] == [(4, None)]
    assert reviewed.of(strokes_of=4, as_json=True)[1][1:] == [(4, True)]
    assert reviewed.of(recording=Path("r.wav")) == (7, [])


@pytest.fixture
def screen(monkeypatch):
    out = io.StringIO()
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setattr(review, "console", lambda: HarmlessConsole(file=out))
    return out


def test_every_stroke_of_a_take_in_a_line(screen, monkeypatch, capsys):
    """What has no way is no stroke."""

    def act(kind, **more):
        known = {"beat": 2.5, "side": "left", "kind": kind, "outcome": "heard", "way_turns": 0.25,
                 "error_ms": 12.0, "turn_ms": -8.0, "longer_percent": None,
                 "openings": ()}  # fmt: skip
        return SimpleNamespace(**known | more)

    acts = [act("push"), act("hold", way_turns=None), act("pull", outcome="missed")]
    score = SimpleNamespace(pieces=[SimpleNamespace(name="Trams", acts=acts)])
    reader = SimpleNamespace(score=lambda number: score if number == 3 else None)
    assert review._say_strokes(review.console(), reader, 3, as_json=False) == 0
    assert [" ".join(line.split()) for line in screen.getvalue().splitlines()] == [
        "Strokes of take 3; ms late, below 0 early",
        "Set piece Beat Hand Act Begun Turned Way Opened Shut",
        "Trams 2.5 left push +12 -8 0.25 turns",
        "Trams 2.5 left pull missed",
    ]
    columns = screen.getvalue().splitlines()[1]
    rows = screen.getvalue().splitlines()[2]
    for head, cell in (("Beat", "2.5"), ("Hand", "left"), ("Begun", "+12"), ("Turned", "-8")):
        assert rows.index(cell) + len(cell) == columns.index(head) + len(head)
    assert rows.index("push") == columns.index("Act")
    monkeypatch.setattr(review, "strokes_json", lambda score: {"strokes": []})
    assert review._say_strokes(None, reader, 3, as_json=True) == 0
    assert json.loads(capsys.readouterr().out) == {"take": 3, "strokes": []}
    with pytest.raises(UsageError, match="take 4: not kept, or not scored"):
        review._say_strokes(None, reader, 4, as_json=False)


def test_tables_of_takes_and_set_pieces_have_no_rules():
    found = SimpleNamespace(takes=[], standings=[])
    for table in (review._takes_table(found), review._pieces_table(found)):
        assert table.box is None


def test_pictures_are_written_each_into_its_file(monkeypatch, tmp_path):
    monkeypatch.setattr(review, "pictures", lambda *_: {"a.png": lambda: b"a", "b.png": bytes})
    folder = tmp_path / "deep" / "pictures"
    for _ in range(2):
        written = review._draw(None, None, folder)
    assert written == [f"{folder}/a.png", f"{folder}/b.png"]
    assert (folder / "a.png").read_bytes() == b"a"

    def full(file, data):
        raise OSError("no room")

    monkeypatch.setattr(review, "write_aside", full)
    with pytest.raises(StoreError, match=r"pictures/a\.png: can't be written \(no room\)"):
        review._draw(None, None, folder)


def test_a_take_s_trace_is_written_as_it_was(screen, monkeypatch, tmp_path):
    monkeypatch.setattr(review, "pack", lambda trace: trace)
    reader = SimpleNamespace(kept=lambda number: SimpleNamespace(trace=bytes([number])))
    assert review._write_trace(reader, 5, tmp_path / "t") == 0
    assert (tmp_path / "t").read_bytes() == b"\5"
    assert screen.getvalue() == f"{tmp_path}/t: take 5\n"


# -- a recording


@pytest.fixture
def recorded(monkeypatch, tmp_path, screen):
    """recorded(**options): what is said of a recording over the guide mix in decks/."""
    given = []
    piece = SimpleNamespace(index=1, name="Trams", bias_ms=12.0, tempo_bpm=92.04,
                            drift_percent=-0.26,
                            acts=[SimpleNamespace(beat=0.0, kind="push", side="left",
                                                  error_ms=-25.0, outcome="hit")])  # fmt: skip
    bare = SimpleNamespace(index=2, name="Woks", bias_ms=None, tempo_bpm=None, drift_percent=None,
                           acts=[])  # fmt: skip
    score = SimpleNamespace(pieces=[piece, bare], to_json=lambda: {"clean": True})
    monkeypatch.setattr(review, "read_sound", lambda file: (file.name, 8000))
    monkeypatch.setattr(
        review, "assess_recording", lambda *told: given.append(told[1:]) or (told[3] != "hush.wav")
    )
    monkeypatch.setattr(review, "take_line", lambda score: "a take")

    def scored(routine, played, *, delays):
        given.append(delays.measured)
        return score

    monkeypatch.setattr(review, "score_take", scored)

    def of(**options):
        given.clear()
        asked = {"guide": None, "as_json": False, "recording": Path("r.wav")} | options
        status = review._recording("routine", tmp_path / "routine.yaml", asked)
        return status, given, screen.getvalue().splitlines()

    return SimpleNamespace(of=of, folder=tmp_path)


def test_a_recording_is_laid_over_the_guide_mix_with_the_deck_files_beside_it(recorded, capsys):
    decks = recorded.folder / "decks"
    decks.mkdir()
    with pytest.raises(UsageError, match=r"decks/guide\.wav: no guide mix there"):
        recorded.of()
    for name in ("guide.wav", "left.wav", "own.wav"):
        (decks / name).touch()
    heard = ("guide.wav", 8000, "r.wav", 8000, {"left": ("left.wav", 8000)})
    status, given, lines = recorded.of()
    assert (status, given) == (0, [heard, True])
    assert lines == [
        "a take", "2 Trams: 12 ms late, 92.0 BPM, drift -0.3 %",
        "    beat   0.00  push    left   25 ms early", f"3 Woks: {review.timing_line(None)}",
    ]  # fmt: skip
    assert recorded.of(guide=decks / "own.wav")[1][0][0] == "own.wav"
    assert recorded.of(as_json=True)[0] == 0
    assert json.loads(capsys.readouterr().out) == {"clean": True}
    with pytest.raises(UsageError, match=r"hush\.wav: nothing of the routine is heard in it"):
        recorded.of(recording=Path("hush.wav"))


def test_the_guide_mix_lies_beside_a_placed_map_and_in_decks_beside_a_written_one(tmp_path):
    assert review._guide(tmp_path / "routine.yaml") == tmp_path / "decks" / "guide.wav"
    assert review._guide(tmp_path / "decks" / "routine.yaml") == tmp_path / "decks" / "guide.wav"
