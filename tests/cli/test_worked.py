"""What the commands print and do, in small worked cases without a process of their own."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from liveaid.commands import (
    check,
    draft,
    gather,
    gather_report,
    opening,
    parts_report,
    review,
    shelf_tables,
)
from liveaid.commands.stage_options import _controllers
from liveaid.routine import Routine
from liveaid.routine.check import Fastest
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study.facts import Study

PIECE = {"name": "Stall", "bars": 2, "tempo": 100, "count": "left",
         "left": {"hand": "runs", "at": 1.0}}  # fmt: skip


def test_parts_are_tied_to_a_file_by_twelve_letters_of_its_digest(tmp_path, monkeypatch, capsys):
    """16**12 = 2**48 of them: two of a thousand sounds share one by a chance of 499500 / 2**48."""
    monkeypatch.setattr(parts_report, "content_hash", lambda _: ("0123456789abcdef" * 4, None))
    part = SimpleNamespace(name="yes", from_s=0.5, to_s=0.75, attack_s=0.51)
    parts_report._show(tmp_path / "call.wav", [part], write=None, as_json=True)
    said = capsys.readouterr().out
    assert '"0123456789ab"' in said


def test_the_last_layout_goes_for_the_controllers_left():
    row, grid = "row-16", "grid-8x8"
    found = _controllers({"midi": ["One", "Two", "Three"], "lamps": [row, grid], "pads": "Four"})
    assert [one.midi for one in found] == ["One", "Two", "Three"]
    assert found[0].layout != found[1].layout
    assert found[1].layout == found[2].layout
    assert [one.pads for one in found] == ["Four", None, None]
    (alone,) = _controllers({"midi": [], "lamps": [grid], "pads": None})
    assert (alone.midi, alone.layout) == (None, found[1].layout)


def test_the_facts_of_a_sound_hold_what_was_studied(capsys, monkeypatch):
    monkeypatch.setattr(gather_report, "_show_breaks", lambda _: None)
    sound = SimpleNamespace(
        as_json=lambda: {"name": "tram", "gone": False, "study": {"tempo": 92.0, "key": ""}}
    )
    gather_report.show_facts(sound, as_json=False)
    assert [line.split() for line in capsys.readouterr().out.splitlines()] == [
        ["name", "tram"], ["tempo", "92"],
    ]  # fmt: skip


def _on_shelf(**facts):
    known = {"duration_s": 62.0, "sample_rate_hz": 44100, "channels": 1, "format": "WAV",
             "frames_declared": 1, "frames_read": 1, "kind": "sample",
             "kind_confidence": 0.9}  # fmt: skip
    study = Study(**(known | facts))
    return ShelfSound(hash="a", path="/s/wok.wav", gone=False, study=study, marks=Marks())


def test_only_sounds_that_are_studied_and_there_are_drafted_from(tmp_path):
    here, deleted = tmp_path / "tram.wav", str(tmp_path / "bell.wav")
    here.write_bytes(b"")
    good = replace(_on_shelf(), hash="good", path=str(here))
    known = [
        good,
        replace(good, hash="copied", path=deleted, copies=(str(here),)),
        replace(good, hash="unstudied", study=None),
        replace(good, hash="gone", gone=True),
        replace(good, hash="deleted", path=deleted),
    ]
    assert list(draft._there(known)) == ["good", "copied"]


def test_a_change_keeps_to_one_line_but_for_the_name_of_its_set_piece():
    table = check._change_table(Routine.model_validate({"title": "One", "pieces": [PIECE]}))
    names = [column.header for column in table.columns if not column.no_wrap]
    assert names == ["into"]
    assert len(table.columns) == 8


def test_what_sets_the_fastest_tempo_is_told_by_bar_and_beat():
    """100 BPM written: 108 is as far as an 8 % fader goes."""
    routine = Routine.model_validate({"title": "T", "pieces": [PIECE]})
    demand = SimpleNamespace(beat=5.5, says="push hey")

    def said(fastest_bpm, within):
        return check._set_by(routine, Fastest(0, "Stall", 100.0, fastest_bpm, demand, within))

    assert said(104.0, True) == "bar 2 beat 2.5: push hey"
    assert said(120.0, False) == "bar 2 beat 2.5: push hey; the pitch fader does not reach it"
    assert said(90.0, True) == "bar 2 beat 2.5: push hey; slower than written"
    assert said(0.0, True) == "bar 2 beat 2.5: push hey; at no tempo"
    assert [check._fastest_said(tempo) for tempo in (None, 0.0, 90.04)] == ["", "none", "90.0"]
    none = Fastest(0, "Stall", 100.0, None, None, True)
    assert check._set_by(routine, none) == "no act that time is short for"


def test_of_a_long_list_the_first_eight_are_told_and_how_many_there_are():
    assert gather_report._plain([*range(9)]) == "0, 1, 2, 3, 4, 5, 6, 7, ... (9)"
    assert gather_report._plain([*range(8)]) == "0, 1, 2, 3, 4, 5, 6, 7"


def test_a_take_without_a_tempo_tells_no_drift():
    piece = SimpleNamespace(index=0, name="Stall", bias_ms=12.0, tempo_bpm=None, drift_percent=None)
    assert review._piece_line(piece) == "1 Stall: 12 ms late"
    piece.tempo_bpm, piece.drift_percent = 100.0, -1.25
    assert review._piece_line(piece).startswith("1 Stall: 12 ms late, 100.0 BPM, drift -1.2 %")


def test_a_sounds_key_stands_in_its_row_and_a_dash_where_it_has_none():
    known, unknown = _on_shelf(key="A minor", key_confidence=0.9), _on_shelf()
    assert str(shelf_tables._sound_row(known, wide=False)[2]) == "A minor"
    assert str(shelf_tables._sound_row(unknown, wide=False)[2]) == "-"


@pytest.mark.parametrize(("width", "words"), [(120, 6), (79, 3)])
def test_on_a_narrow_terminal_what_sounds_alike_has_kind_tempo_and_length_alone(width, words):
    table = shelf_tables.alike_table(
        [(SimpleNamespace(distance=1.0, copy=False), _on_shelf())], width=width
    )
    named = [str(column.header) for column in table.columns]
    assert len(named) == 2 + words
    assert [named[2], named[-1]] == ["kind", "length"]


def test_what_is_marked_as_guessed_is_the_studys_again(monkeypatch):
    did = []
    shelf = SimpleNamespace(
        mark=lambda digest, *, set_to, **_: did.append((digest, set_to)),
        these=lambda _: [_on_shelf()],
    )
    monkeypatch.setattr(gather, "_whole", lambda _, name: _on_shelf())
    gather._mark(shelf, ["wok"], {"key": "guessed", "tempo": 92.0, "note": "guessed", "tag": ()})
    assert did == [("a", {"key": None, "tempo": 92.0, "note": "guessed"})]


def test_a_scene_that_comes_along_is_there_once_it_was_made(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(opening, "cache_folder", lambda: tmp_path / "cache")
    made = tmp_path / "cache" / "spice-alley" / "routine.yaml"
    assert opening._made("spice-alley") is None
    made.parent.mkdir(parents=True)
    made.touch()
    assert opening._made("spice-alley") == made
    (tmp_path / "spice-alley").mkdir()  # the performer's own goes before
    assert opening._made("spice-alley") is None
