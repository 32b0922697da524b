"""When a scene is laid out to be judged, and what keeps it from that; all that it asks is made."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import laying
from liveaid.render.sound_header import SoundHeader
from liveaid.routine import Routine
from liveaid.routine.problems import Hindrance

FAULT = Hindrance(("sounds", "tram", "file"), "no such file", "a file would do")
ROUTINE = Routine.model_validate({
    "title": "T",
    "sounds": {"tram": {"file": "t.wav"}, "bell": {"file": "b.wav"}, "spare": {"file": "s.wav"}},
    "pieces": [
        {"name": "P", "bars": 1, "tempo": 90, "left": {"hand": "runs", "sound": "tram"},
         "right": {"hand": "works", "sound": "bell"}},
    ],
})  # fmt: skip
PLACED = Routine.model_validate({"title": "T", "pieces": [
    {"name": "P", "bars": 1, "tempo": 90, "left": {"hand": "runs", "at": 1.0}}]})  # fmt: skip


@pytest.fixture
def scene(monkeypatch, tmp_path):
    """A scene whose sounds are known, whose files are there, and that can be laid out."""
    made = SimpleNamespace(
        faults=[], unstudied=[], laid=SimpleNamespace(faults=(), placed=PLACED), laid_out=0,
        known={},
    )  # fmt: skip

    def lay_out(routine, materials):
        made.laid_out += 1
        return made.laid

    monkeypatch.setattr(laying, "shelf_for", lambda file: None)
    monkeypatch.setattr(laying, "known_sounds", lambda routine, file, shelf: made.known)
    monkeypatch.setattr(laying, "with_shelf_words", lambda routine, known: routine)
    monkeypatch.setattr(laying, "with_marks", lambda routine, known: routine)
    monkeypatch.setattr(laying, "_headers", lambda *_: ({}, list(made.faults)))
    monkeypatch.setattr(laying, "_materials", lambda *_: ({"tram": 1}, list(made.unstudied)))
    monkeypatch.setattr(laying, "part_faults", lambda *_, **__: [])
    monkeypatch.setattr(laying, "lay_out_routine", lay_out)

    def judge(routine=ROUTINE):
        file = tmp_path / "routine.yaml"
        found = SimpleNamespace(judged=routine, judged_file=file, file=file, written=routine)
        seen = laying.judged(found)
        return seen.routine is PLACED, seen.laid_out, made.laid_out, seen.faults

    made.judge = judge
    return made


def test_what_has_no_seconds_yet_and_nothing_against_it_is_laid_out(scene):
    assert scene.judge() == (True, True, 1, ())


def test_what_has_its_seconds_is_judged_by_them(scene):
    assert scene.judge(PLACED) == (True, False, 0, ())


def test_what_is_wrong_or_unknown_is_not_laid_out(scene):
    scene.faults = [FAULT]
    assert scene.judge() == (False, False, 0, (FAULT,))
    scene.faults, scene.unstudied = [], ["bell"]
    assert scene.judge() == (False, False, 0, ())


def test_what_keeps_it_from_being_laid_out_is_told(scene):
    scene.laid = SimpleNamespace(faults=[FAULT], placed=None)
    assert scene.judge() == (False, False, 1, (FAULT,))


def test_a_scene_that_comes_along_is_judged_as_it_is_written(scene, monkeypatch, tmp_path):
    monkeypatch.setattr(laying, "shipped", lambda word: tmp_path)
    assert scene.judge() == (False, False, 0, ())


def test_phrases_are_those_of_what_is_spoken_or_sung(scene, tmp_path):
    def known(kind):
        return SimpleNamespace(study=SimpleNamespace(kind=kind, phrases_s=((0.0, 1.0),)))

    scene.known = {"bell": known("a cappella"), "tram": known("instrumental"),
                   "spare": SimpleNamespace(study=None)}  # fmt: skip
    file = tmp_path / "routine.yaml"
    found = SimpleNamespace(judged=ROUTINE, judged_file=file, file=file, written=ROUTINE)
    assert laying.judged(found).phrases == {"bell": ((0.0, 1.0),)}


@pytest.mark.parametrize(
    ("faults", "unstudied", "materials", "lays"),
    [((), (), {"tram": 1}, True), ((FAULT,), (), {"tram": 1}, False),
     ((), ("bell",), {"tram": 1}, False), ((), (), {}, False)],
)  # fmt: skip
def test_orders_are_laid_out_only_where_all_sounds_are_known(
    monkeypatch, faults, unstudied, materials, lays
):
    seen = SimpleNamespace(faults=faults, unstudied=unstudied, materials=materials)
    monkeypatch.setattr(laying, "judged", lambda found: seen)
    monkeypatch.setattr(
        laying, "lay_out_routine", lambda routine, known: SimpleNamespace(placed=(routine, known))
    )
    lay = laying.layer(None)
    assert (lay is not None) is lays
    if lay is not None:
        assert lay("order") == ("order", materials)


def test_a_file_that_is_not_there_is_a_fault_where_it_is_played_by_its_written_name(monkeypatch):
    """Nothing plays `spare`. The placed map calls files by other names than the written one."""
    called_by = {}

    def header(name, file, map_file, *, called):
        called_by[name] = called
        return SoundHeader.__new__(SoundHeader) if name == "tram" else (FAULT, name)

    monkeypatch.setattr(laying, "sound_header", header)
    written = ROUTINE.model_copy(
        update={"sounds": {"bell": ROUTINE.sounds["bell"].model_copy(update={"file": "own.wav"})}}
    )
    headers, faults = laying._headers(ROUTINE, Path("m.yaml"), written)
    assert (list(headers), faults) == (["tram"], [(FAULT, "bell")])
    assert called_by == {"tram": "t.wav", "bell": "own.wav", "spare": "s.wav"}
    laying._headers(ROUTINE, Path("m.yaml"), None)
    assert called_by["bell"] == "b.wav"


def test_a_sound_is_known_by_the_shelf_or_by_what_an_earlier_render_studied(monkeypatch, tmp_path):
    """What is not asked for is not looked up; what has no file is left to its fault."""
    kept, looked = {}, []
    (tmp_path / "decks").mkdir()

    class Kept:
        def __init__(self, folder):
            assert folder == tmp_path / "decks" / ".rendered"

        def find_study(self, digest):
            looked.append(digest)
            return kept.get(digest)

    asks = {"tram", "bell"}
    monkeypatch.setattr(laying, "Cache", Kept)
    monkeypatch.setattr(laying, "content_hash", lambda path: (f"bytes of {path}", None))
    monkeypatch.setattr(laying, "asks_for_study", lambda routine, name: name in asks)
    monkeypatch.setattr(laying, "material_of", lambda routine, name, *_, study, **__: study)
    headers = {name: SimpleNamespace(path=f"{name}.wav", frames=1, rate_hz=2)
               for name in ("tram", "bell")}  # fmt: skip
    file = tmp_path / "routine.yaml"

    def known(studies, headers=headers):
        looked.clear()
        return laying._materials(ROUTINE, file, headers, studies)

    assert known({"tram": "shelf's"}) == ({"tram": "shelf's"}, ["bell"])
    assert looked == ["bytes of bell.wav"]
    kept["bytes of bell.wav"] = "render's"
    assert known({"tram": "shelf's"}) == ({"tram": "shelf's", "bell": "render's"}, [])
    asks.discard("bell")
    assert known({"tram": "shelf's"}) == ({"tram": "shelf's", "bell": None}, [])
    assert looked == []
    assert known({}, {"bell": headers["bell"]}) == ({"bell": None}, [])
