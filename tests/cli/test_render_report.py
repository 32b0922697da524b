"""What `render` says of the deck files it made, what `gather` says of a sound's parts."""

import io
import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import deck_files, parts_report, render
from liveaid.errors import LiveaidError
from liveaid.routine import Routine
from liveaid.study.part_finding import PartFound
from liveaid.terminal import HarmlessConsole


def cut(**more):
    level = SimpleNamespace(loudness_lufs=-14.04, true_peak_dbtp=-1.26)
    known = {"side": "left", "cue_s": 1.8, "sticker_degrees": 359.6, "length_s": 10.004,
             "sounds": ("rain", "hey"), "level": level, "pieces": (0, 2), "kept": True}  # fmt: skip
    return SimpleNamespace(**known | more)


def deck(**more):
    known = {"file": "left.wav", "length_s": 125.4, "cues": 3, "winds": 2, "wound_turns": 7.04,
             "least_turns": 7.04, "shared": 0}  # fmt: skip
    return SimpleNamespace(**known | more)


def printed(monkeypatch, **more):
    out = io.StringIO()
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setattr(render, "console", lambda: HarmlessConsole(file=out))
    known = {"cuts": [cut()], "decks": [deck()], "guide": "guide.wav", "guide_s": 59.6,
             "routine": "routine.yaml", "sheet": "sheet.html", "set_aside": (), "remarks": (),
             "unplayable": ()}  # fmt: skip
    render._print(SimpleNamespace(**known | more))
    return [" ".join(line.split()) for line in out.getvalue().splitlines()]


def test_every_cut_and_deck_in_a_line(monkeypatch):
    """359.6 degrees are as good as 0; set pieces count from 1; 125.4 s are 2:05, 59.6 1:00."""
    silent = SimpleNamespace(loudness_lufs=None, true_peak_dbtp=None)
    lines = printed(
        monkeypatch, cuts=[cut(), cut(level=silent, kept=False, sticker_degrees=90.4)],
        decks=[deck(), deck(file="right.wav", least_turns=5.0, shared=2)],
    )  # fmt: skip
    assert lines == [
        "On the records",
        "deck cue sticker lasts sound LUFS dBTP set pieces",
        "left 1.800 s 0° 10.00 s rain + hey -14.0 -1.3 1, 3",
        "left 1.800 s 90° 10.00 s rain + hey silent 1, 3",
        "left.wav: 2:05, 3 cues, 2 winds of 7.0 turns in all (the least there is)",
        "right.wav: 2:05, 3 cues, 2 winds of 7.0 turns in all (no order needs less than 5.0);"
        " 2 refrains share a copy",
        "guide.wav: 1:00", "routine.yaml", "sheet.html",
        "1 of 2 are from the last render: nothing in them changed",
    ]  # fmt: skip


def test_what_is_to_be_known_beside_is_said_last(monkeypatch):
    whole = SimpleNamespace(piece=None, name="", says="too long", way_out="cut it")
    one = SimpleNamespace(piece=1, name="Two", says="no hand", way_out="rest")
    lines = printed(
        monkeypatch, cuts=[cut(kept=False)], set_aside=("old.wav",), remarks=("rain is soft.",),
        unplayable=(whole, one),
    )  # fmt: skip
    assert lines[-5:] == [
        "sheet.html", "A file of yours stood there; it is now old.wav", "Note: rain is soft.",
        "Not playable: too long → cut it", "Not playable: 2 Two: no hand → rest",
    ]  # fmt: skip


# -- parts

PARTS = [PartFound("hey", 0.2404, 0.49, 0.25), PartFound("ah", 1.5, 1.75, 1.5)]
DIGEST = "0123456789abcdef" * 4


@pytest.fixture
def parts(monkeypatch):
    """What is written, and where from."""
    asked = []
    monkeypatch.setattr(parts_report, "content_hash", lambda _: (DIGEST, None))
    monkeypatch.setattr("liveaid.study.by_hand.mono_of", lambda path: (f"heard {path}", 8000))
    monkeypatch.setattr(
        "liveaid.study.by_hand.write_parts",
        lambda *told: asked.append(told) or ["parts/call-hey.wav"],
    )
    return asked


def test_parts_are_told_ready_for_the_map(parts, capsys):
    parts_report._show(Path("s/call.wav"), PARTS, write=Path("parts"), as_json=False)
    assert capsys.readouterr().out.splitlines() == [
        "# under `sounds:`, beside the file; change names and seconds as you like",
        "    parts_of: 0123456789ab", "    parts:",
        "      hey: {from: 0.240, to: 0.490, attack: 0.250}",
        "      ah: {from: 1.500, to: 1.750, attack: 1.500}",
        "# to be heard: parts/call-hey.wav",
    ]  # fmt: skip
    assert parts == [("heard s/call.wav", 8000, PARTS, Path("parts"), "call")]
    parts_report._show(Path("s/call.wav"), PARTS[1:], write=None, as_json=True)
    assert json.loads(capsys.readouterr().out) == {
        "file": "s/call.wav", "parts_of": "0123456789ab", "written": [],
        "parts": {"ah": {"from": 1.5, "to": 1.75, "attack": 1.5}},
    }  # fmt: skip
    assert len(parts) == 1


def test_parts_as_a_map_has_them_or_where_there_are_some(monkeypatch, tmp_path):
    told = []
    sounds = {"call": {"file": "call.wav", "parts": {"hey": {"from": 0.5, "to": 0.75}}},
              "rain": {"file": "rain.wav"}}  # fmt: skip
    piece = {"name": "P", "bars": 1, "tempo": 90, "count": "clock"}
    judged = Routine.model_validate({"title": "T", "sounds": sounds, "pieces": [piece]})
    found = SimpleNamespace(judged=judged, judged_file=tmp_path / "routine.yaml")
    monkeypatch.setattr(parts_report, "opened", lambda scene: found)
    monkeypatch.setattr(parts_report, "reach", lambda file, seen_from: seen_from.parent / file)
    monkeypatch.setattr(
        parts_report, "_show", lambda path, parts, **how: told.append((path, parts, how))
    )
    parts_report.show_own_parts("call", "market", write=None, as_json=True)
    assert told == [
        (tmp_path / "call.wav", [PartFound("hey", 0.5, 0.75, 0.5)],
         {"write": None, "as_json": True})
    ]  # fmt: skip
    for sound in ("rain", "none"):
        with pytest.raises(LiveaidError, match=f"{sound}: no parts in market; one of call would"):
            parts_report.show_own_parts(sound, "market", write=None, as_json=True)
    found.judged = judged.model_copy(update={"sounds": {}})
    with pytest.raises(LiveaidError, match=r"`liveaid gather --parts SOUND` first would do"):
        parts_report.show_own_parts("call", "market", write=None, as_json=True)


def test_a_sound_without_a_part_or_a_tone_says_so(parts, monkeypatch, capsys):
    monkeypatch.setattr("liveaid.study.part_finding.parts_of", lambda file, said: [])
    with pytest.raises(LiveaidError, match="nothing in it that a hand could find"):
        parts_report.show_parts(Path("call.wav"), said="", write=None, as_json=False)
    tones = [None]
    monkeypatch.setattr("liveaid.study.tone.find_tone", lambda mono, rate: tones[0])
    with pytest.raises(LiveaidError, match="no tone in it that is steady"):
        parts_report.show_tone(Path("call.wav"), as_json=False)
    # 440 Hz is A4; 445 Hz is 1200 log2(445 / 440) = 19.56 cents above.
    tones[0] = SimpleNamespace(hz=445.004, from_s=0.5004, to_s=1.25, stray_cents=3.26)
    parts_report.show_tone(Path("call.wav"), as_json=False)
    said = capsys.readouterr().out.splitlines()
    assert said[0].endswith(" +20 cents, steady within 3 cents")
    assert said[1:] == [
        "    tone: 445.00", "    parts_of: 0123456789ab", "    parts:",
        "      tone: {from: 0.500, to: 1.250}",
    ]  # fmt: skip
    parts_report.show_tone(Path("call.wav"), as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert (told["tone"], told["cents"], told["stray_cents"]) == (445.0, 19.6, 3.3)


# -- deck files that are there


def test_how_long_the_deck_files_are_and_which_are_missing(monkeypatch, tmp_path):
    """Frames by the header over the rate; only those that the map names itself are missed."""

    class Reader:
        declared, rate_hz = 88_200, 44_100

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

    def reach(name, seen_from):
        return tmp_path / Path(name).name

    def open_sound(file):
        if not file.is_file():
            raise OSError
        return Reader()

    monkeypatch.setattr(deck_files, "reach", reach)
    monkeypatch.setattr(deck_files, "open_sound", open_sound)
    (tmp_path / "left.wav").touch()
    piece = {"name": "P", "bars": 1, "tempo": 90, "left": {"hand": "runs", "at": 0.0}}
    decks = {side: {"file": f"{side}.wav"} for side in ("left", "right")}
    named = Routine.model_validate({"title": "T", "decks": decks, "pieces": [piece]})
    assert deck_files.deck_lengths_s(named, tmp_path / "m") == {"left": 2.0}
    (missed,) = deck_files.missing_deck_files(named, tmp_path / "m")
    assert (missed.path, missed.found) == (
        ("decks", "right", "file"), "right.wav, where there is no such file",
    )  # fmt: skip
    (tmp_path / "left.wav").unlink()
    bare = Routine.model_validate({"title": "T", "pieces": [piece]})
    assert deck_files.missing_deck_files(bare, tmp_path / "m") == []
    sound = {"s": {"file": "s.wav"}}
    waits = [piece | {"left": {"hand": "runs", "sound": "s"}}]
    open_yet = Routine.model_validate(
        {"title": "T", "decks": decks, "sounds": sound, "pieces": waits}
    )
    assert deck_files.missing_deck_files(open_yet, tmp_path / "m") == []
    rendered = named.model_copy(update={"rendered": "stamp"})
    assert deck_files.missing_deck_files(rendered, tmp_path / "m") == []
