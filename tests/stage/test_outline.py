"""The routine as the pages draw it."""

import hashlib
import json
from types import SimpleNamespace

import pytest

from liveaid.routine import Routine, load_routine
from liveaid.stage.outline import Outlined, outline


def test_set_pieces_stand_on_one_line_of_beats_and_seconds(routines):
    """three.yaml by hand: three-four: three beats a bar, 60 / BPM s a beat."""
    routine = load_routine(routines / "three.yaml")
    found = outline(routine)
    beat, at_s = 0, 0.0
    for piece, told in zip(routine.pieces, found["pieces"], strict=True):
        assert (told["from_beat"], round(told["from_s"], 2)) == (beat, round(at_s, 2))
        beat += 3 * piece.bars
        at_s += 3 * piece.bars * 60.0 / piece.tempo_bpm
    assert found["beats"] == beat


def test_an_edited_map_has_another_edition_and_is_drawn_anew(routines):
    routine = load_routine(routines / "three.yaml")
    outlined = Outlined()
    before = outlined.of(routine)
    assert outlined.of(routine) is before
    first = routine.pieces[0].model_copy(update={"name": "Another name"})
    edited = routine.model_copy(update={"pieces": (first, *routine.pieces[1:])})
    after = outlined.of(edited)
    assert after["pieces"][0]["name"] == "Another name"
    assert after["edition"] != before["edition"]


def test_written_acts_are_drawn_by_place_and_fader():
    """A baby over 0.36 s of 1.8 s a turn: 0.2 turns out in half a beat, and back."""
    right = {"hand": "works", "from": 10, "to": 11, "places": {"a": {"from": 10, "to": 10.36}},
             "acts": {0: "baby a"}}  # fmt: skip
    pieces = [{"name": "P", "bars": 1, "tempo": 120, "right": right}]
    acts = outline(Routine.model_validate({"title": "T", "pieces": pieces}))["pieces"][0]["acts"]
    assert set(acts) == {"right"}
    line = dict(map(tuple, acts["right"]["line"]))
    assert (line[0.0], line[0.5], line[1.0]) == (0.0, 0.2, 0.0)
    assert acts["right"]["open"] == [[0.0, 1.0]]


@pytest.mark.parametrize(
    ("rule", "severity", "piece", "told"),
    [
        ("winding", "impossible", 1, True), ("time", "tight", 1, True),
        ("winding", "remark", 1, False), ("energy", "tight", 1, False),
        ("winding", "impossible", None, False),
    ],
)  # fmt: skip
def test_only_what_matters_while_playing_is_told_and_at_its_set_piece(
    monkeypatch, routines, rule, severity, piece, told
):
    finding = SimpleNamespace(
        rule=rule, severity=severity, piece=piece, side="left", bar=3, says="Two turns in a beat."
    )
    monkeypatch.setattr("liveaid.stage.outline.check", lambda routine: [finding])
    pieces = outline(load_routine(routines / "three.yaml"))["pieces"]
    tight = {"severity": severity, "side": "left", "bar": 3, "says": "Two turns in a beat."}
    assert [one["tight"] for one in pieces[:2]] == [[], [tight] if told else []]


def test_an_edition_is_twelve_hexadecimal_digits_of_the_outline_s_sum():
    """SHA-256 of its JSON with sorted keys, as Python's own library writes it."""
    found = dict(outline(Routine.model_validate({"title": "Tütü", "pieces": [
        {"name": "P", "bars": 2, "tempo": 93, "count": "clock"}]})))  # fmt: skip
    edition = found.pop("edition")
    text = json.dumps(found, sort_keys=True, ensure_ascii=False)
    assert edition == hashlib.sha256(text.encode()).hexdigest()[:12]
    assert found["seconds"] == 5.161  # 8 beats of 60 / 93 s
    assert found["pieces"][0]["from_s"] == 0.0
