"""An open break on the shelf: a row of its own that lies in its record's file."""

from __future__ import annotations

import dataclasses
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
from liveaid.shelf.open_break import open_breaks
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
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


def alone(study: Study) -> list[ShelfSound]:
    return open_breaks(ShelfSound(hash=HASH, path="/crate/market.wav", study=study))


def test_a_break_is_told_by_itself():
    """Four bars of 4 in 10 s are 16 beats, 96 BPM, at 44,100 Hz 441,000 frames."""
    whole = record(voice=0.4, tempo_alternative=48.0, tempo_rival=144.0, silence_start_s=1.0,
                   silence_end_s=1.0, faults=("cut off",),
                   tempo_curve=((0.0, 96.0), (40.0, 97.0)))  # fmt: skip
    (only,) = alone(whole)
    assert (only.hash, only.name, only.part) == (
        f"{HASH}01", "market break", ("break", 20.0, 30.0),
    )  # fmt: skip
    assert only.study == dataclasses.replace(
        whole, duration_s=10.0, frames_declared=441_000, frames_read=441_000, faults=(),
        silence_start_s=0.0, silence_end_s=0.0, tempo=96.0, tempo_alternative=None,
        tempo_rival=None, first_beat=0.0, first_downbeat=0.0, steady=True,
        tempo_drift_percent=0.0, beats_s=(), tempo_curve=(), loop_beats=16,
        key=None, key_confidence=0.0, onsets_s=tuple(float(n) for n in range(10)),
        phrases_s=((0.0, 10.0),), voice=0.0,
        sections=((0.0, 10.0, "drums alone", 4.0),),
    )  # fmt: skip
    assert open_breaks(only) == []


def test_several_breaks_are_numbered_and_odd_lengths_are_no_loops():
    """4.01 bars are 16.04 beats, near enough to 16; 4.02 are 16.08."""
    sections = ((0.0, 10.0, "drums alone", 4.01), (10.0, 20.0, "full", 4.0),
                (20.0, 30.0, "drums alone", 4.02))  # fmt: skip
    one, two = alone(record(sections=sections, metre=None, first_downbeat=None))
    assert (one.part, two.part) == (("break-1", 0.0, 10.0), ("break-2", 20.0, 30.0))
    assert (one.study.loop_beats, two.study.loop_beats) == (16, None)
    assert (one.hash, two.hash) == (f"{HASH}01", f"{HASH}02")
    assert two.study.tempo == pytest.approx(96.48)
    assert two.study.first_downbeat is None


def test_a_break_whose_beats_are_followed_keeps_them():
    """Its first beat, 10 ms before it, is its begin; .6 s a beat and .65 differ by 8.33 %, half of
    it on either side of the mean. Of seven beats nothing is followed."""
    beats = (
        19.4,
        19.99,
        *(20.6 + 0.6 * n for n in range(7)),
        *(24.85 + 0.65 * n for n in range(8)),
    )
    (found,) = alone(record(beats_s=beats, steady=False))
    study = found.study
    assert study.beats_s == pytest.approx([0.0, *(at - 20.0 for at in beats[2:])])
    assert (study.steady, study.first_beat) == (False, 0.0)
    assert study.tempo_drift_percent == pytest.approx(100 * (0.65 / 0.6 - 1) / 2)
    late = tuple(20.5 + n for n in range(8))
    for own, followed in ((late, late), (late[:7], ())):
        (found,) = alone(record(beats_s=own, steady=False))
        assert found.study.beats_s == pytest.approx([at - 20.0 for at in followed])
        assert (found.study.steady, found.study.first_beat) == (not followed, pytest.approx(0.5))
    edges = tuple(19.97 + 1.002 * n for n in range(11))  # before it, and at its end
    (found,) = alone(record(beats_s=edges, steady=False))
    assert found.study.beats_s == pytest.approx([at - 20.0 for at in edges[1:10]])
