"""What the commands print and do, in small worked cases without a process of their own."""

from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from liveaid.commands import check, draft, gather_report, parts_report
from liveaid.commands.speaking import Speaker
from liveaid.commands.stage_options import _controllers
from liveaid.routine import Routine

PIECE = {"name": "Stall", "bars": 2, "tempo": 100, "count": "left",
         "left": {"hand": "runs", "at": 1.0}}  # fmt: skip


def test_parts_are_tied_to_a_file_by_twelve_letters_of_its_digest(tmp_path, monkeypatch, capsys):
    """16**12 = 2**48 of them: two of a thousand sounds share one by a chance of 499500 / 2**48."""
    monkeypatch.setattr(parts_report, "content_hash", lambda _: ("0123456789abcdef" * 4, None))
    part = SimpleNamespace(name="yes", from_s=0.5, to_s=0.75, attack_s=0.51)
    parts_report._show(tmp_path / "call.wav", [part], write=None, as_json=True)
    said = capsys.readouterr().out
    assert '"0123456789ab"' in said


@pytest.mark.parametrize(("running", "ended"), [(True, True), (False, False)])
def test_what_is_still_being_said_is_cut_off_and_what_is_over_is_not(running, ended):
    did = []
    speaker = Speaker("true")
    speaker._saying = SimpleNamespace(
        poll=lambda: None if running else 0,
        terminate=lambda: did.append("terminate"),
        wait=lambda: did.append("wait"),
    )
    speaker.stop()
    assert did == ["terminate", "wait"] if ended else did == ["wait"]


def test_the_last_layout_goes_for_the_controllers_left():
    row, grid = "row-16", "grid-8x8"
    found = _controllers(["One", "Two", "Three"], [row, grid])
    assert [one.midi for one in found] == ["One", "Two", "Three"]
    assert found[0].layout != found[1].layout
    assert found[1].layout == found[2].layout
    (alone,) = _controllers([], [grid])
    assert (alone.midi, alone.layout) == ("", found[1].layout)


def test_the_facts_of_a_sound_hold_what_was_studied(capsys, monkeypatch):
    monkeypatch.setattr(gather_report, "_show_breaks", lambda _: None)
    sound = SimpleNamespace(
        as_json=lambda: {"name": "tram", "gone": False, "study": {"tempo": 92.0, "key": ""}}
    )
    gather_report.show_facts(sound, as_json=False)
    assert [line.split() for line in capsys.readouterr().out.splitlines()] == [
        ["name", "tram"], ["tempo", "92"],
    ]  # fmt: skip


@dataclass
class Known:
    """As much of a sound on the shelf as a draft asks which sounds are there."""

    hash: str
    study: object
    gone: bool
    path: str
    copies: tuple[str, ...] = ()


def test_only_sounds_that_are_studied_and_there_are_drafted_from(tmp_path):
    here = tmp_path / "tram.wav"
    here.write_bytes(b"")
    study = object()
    known = [
        Known(hash=name, study=studied, gone=gone, path=str(path))
        for name, studied, gone, path in (
            ("good", study, False, here),
            ("unstudied", None, False, here),
            ("gone", study, True, here),
            ("deleted", study, False, tmp_path / "bell.wav"),
        )
    ]
    assert list(draft._there(known)) == ["good"]


def test_a_change_keeps_to_one_line_but_for_the_name_of_its_set_piece():
    table = check._change_table(Routine.model_validate({"title": "One", "pieces": [PIECE]}), ())
    names = [column.header for column in table.columns if not column.no_wrap]
    assert names == ["into"]
    assert len(table.columns) == 8
