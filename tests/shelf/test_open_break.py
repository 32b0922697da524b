"""An open break on the shelf: a row of its own that lies in its record's file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from liveaid.cli import liveaid
from liveaid.files.file_bytes import Signature
from liveaid.fit.audition import AUDITION_RATE_HZ, ToHear, audition
from liveaid.fit.fit import fits
from liveaid.shelf.find import parse_query
from liveaid.shelf.shelf import Shelf
from liveaid.study.facts import Study

HASH = "ab" * 20
# Bars of 4 at 96 BPM are 2.5 s: eight full bars, four of the drums alone, four more.
SECTIONS = ((0.0, 20.0, "full", 8.0), (20.0, 30.0, "drums alone", 4.0), (30.0, 40.0, "full", 4.0))


def record(**facts: object) -> Study:
    known = {
        "duration_s": 40.0,
        "sample_rate_hz": 44100,
        "channels": 1,
        "format": "WAV PCM_16",
        "frames_declared": 1764000,
        "frames_read": 1764000,
        "tempo": 96.0,
        "tempo_confidence": 0.9,
        "first_beat": 0.0,
        "first_downbeat": 0.0,
        "metre": 4,
        "steady": True,
        "key": "A minor",
        "key_confidence": 0.8,
        "loudness_lufs": -14.0,
        "onsets_s": tuple(float(n) for n in range(40)),
        "phrases_s": ((0.0, 40.0),),
        "sections": SECTIONS,
        "kind": "instrumental",
        "kind_confidence": 0.9,
    }
    return Study(**(known | facts))  # type: ignore[arg-type]


@pytest.fixture
def shelf_file(tmp_path: Path) -> Path:
    file = tmp_path / "market.wav"
    # A tone that is loud from 20 to 30 s and faint elsewhere, so that what is heard is known.
    time_s = np.arange(40 * 8000) / 8000
    loud = np.where((time_s >= 20.0) & (time_s < 30.0), 0.5, 0.001)
    soundfile.write(file, loud * np.sin(2 * np.pi * 300 * time_s), 8000)
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        shelf.keep(HASH, record(sample_rate_hz=8000))
        shelf.place(str(file), HASH, Signature(1, 1, 1, 1))
        shelf.keep("cd" * 20, record(sections=(), tempo=96.5))
        shelf.place(str(tmp_path / "bells.wav"), "cd" * 20, Signature(1, 1, 2, 1))
    return tmp_path / "shelf.sqlite"


def run(*arguments: str) -> str:
    return CliRunner(env={"COLUMNS": "110"}).invoke(
        liveaid, list(arguments), catch_exceptions=False
    ).stdout  # fmt: skip


def test_a_break_has_the_facts_of_its_own_bars(shelf_file: Path):
    with Shelf(shelf_file) as shelf:
        (found,) = shelf.find(parse_query("break 2..8 bars, tempo 90..100"), onsets=True)
        assert len(shelf) == 2
        assert len(shelf.find(parse_query(""))) == 2
    facts = found.study
    assert facts is not None
    assert (found.name, found.part) == ("market break", ("break", 20.0, 30.0))
    assert facts.duration_s == 10.0
    assert facts.tempo == pytest.approx(96.0)
    assert facts.loop_beats == 16
    assert (facts.first_beat, facts.first_downbeat, facts.tempo_drift_percent) == (0.0, 0.0, 0.0)
    assert (facts.key, facts.kind) == (None, "instrumental")
    assert facts.onsets_s == tuple(float(n) for n in range(10))


def test_a_break_of_a_followed_record_has_the_tempo_of_its_own_beats(tmp_path: Path):
    # The record slows to 90 BPM in its break: 16 beats of 0.6667 s, and 8 of them make a chain.
    beats = (*np.arange(0.0, 20.0, 0.625), *(20.0 + np.arange(17) * 10.667 / 16))
    sections = ((0.0, 20.0, "full", 8.0), (20.0, 30.667, "drums alone", 4.0))
    with Shelf(tmp_path / "s.sqlite") as shelf:
        shelf.keep(HASH, record(steady=False, beats_s=beats, sections=sections))
        shelf.place("/s/a.wav", HASH, Signature(1, 1, 1, 1))
        (found,) = shelf.find(parse_query("break"))
    facts = found.study
    assert facts is not None
    assert facts.tempo == pytest.approx(60 * 16 / 10.667)
    assert facts.beats_s[:3] == pytest.approx((0.0, 0.6667, 1.3333), abs=1e-3)
    assert len(facts.beats_s) == 16
    assert not facts.steady


def test_a_break_that_slows_drifts_by_half_its_range_and_keeps_no_bar_line_of_its_own(
    tmp_path: Path,
):
    """Beats of .600, .608 ... .720 s, and the last ends with the break: (.712 / .6 - 1) / 2 is 9.33
    per cent. The record has no bar line."""
    own = 20.0 + np.concatenate([[0.0], np.cumsum(np.linspace(0.60, 0.72, 16))])
    beats = (*np.arange(0.0, 20.0, 0.625), *own)
    sections = ((0.0, 20.0, "full", 8.0), (20.0, 30.56, "drums alone", 4.0))
    with Shelf(tmp_path / "s.sqlite") as shelf:
        slowing = record(steady=False, beats_s=beats, sections=sections, first_downbeat=None)
        shelf.keep(HASH, slowing)
        shelf.place("/s/a.wav", HASH, Signature(1, 1, 1, 1))
        (found,) = shelf.find(parse_query("break"))
    facts = found.study
    assert facts is not None
    assert facts.tempo_drift_percent == pytest.approx(9.333, abs=1e-3)
    assert facts.first_downbeat is None


def test_a_break_goes_with_its_record(shelf_file: Path):
    query = parse_query("break")
    with Shelf(shelf_file) as shelf:
        place = shelf.places()[0].path
        shelf.mark(HASH, set_to={"tempo": 48.0})  # half time: bars are as they were cut
        assert shelf.count(query) == 1
        shelf.mark_gone([place])
        assert [each.gone for each in shelf.find(query)] == [True]
        shelf.refresh(place, Signature(1, 1, 1, 1))
        assert shelf.columns(("gone",), query)[0][1] == 0
        shelf.keep(HASH, record(sections=()))
        assert shelf.count(query) == 0
        shelf.keep(HASH, record())
        shelf.forget(HASH)
        assert shelf.count(query) == 0


def test_a_break_is_shown_as_a_part_for_the_map_and_cannot_be_marked(shelf_file: Path):
    at = ("gather", "--shelf", str(shelf_file))
    assert "market break" in run(*at, "--find", "break")
    said = run(*at, "--show", "market break")
    assert "  market:\n    parts:\n      break: {from: 20.000, to: 30.000}  # 4 bars" in said
    (told,) = json.loads(run(*at, "--find", "break", "--json"))
    assert told["part"] == {"name": "break", "from": 20.0, "to": 30.0}
    refused = CliRunner().invoke(liveaid, [*at, "--mark", "market break", "--energy", "4"])
    assert "a part of" in str(refused.exception)


def test_a_break_is_fitted_and_heard_from_its_own_bars(shelf_file: Path):
    at = ("--shelf", str(shelf_file))
    found = json.loads(run("fit", "bells", *at, "--among", "break 2..8 bars", "--json"))
    assert [fit["name"] for fit in found["fits"]] == ["market break"]
    # Four bars of its own against bars at 96.5: one deck is brought to the other's tempo.
    assert found["fits"][0]["length_bars"] == pytest.approx(4.0)
    assert json.loads(run("fit", "market break", *at, "--json"))["sound"] == "market break"
    with Shelf(shelf_file) as shelf:
        (one,) = shelf.find(parse_query("break"))
    assert one.study is not None
    (fit,) = fits(one.study, {"same": one.study})
    both = ToHear(one.path, one.study, one.from_s)
    mix = audition(both, both, fit)
    # Eight bars of it: the four come round, never the faint stretch beside them.
    assert len(mix) == pytest.approx(20.0 * AUDITION_RATE_HZ, abs=2)
    loud = np.abs(mix[:, 0]).reshape(-1, AUDITION_RATE_HZ // 10).max(axis=1)
    assert loud.min() > 0.4
