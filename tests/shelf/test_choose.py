"""Which sound is meant by a path, a name or a part of it, and what a map says over its facts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from liveaid.errors import UsageError
from liveaid.routine.model import Sound
from liveaid.shelf.choose import choose, lying_there
from liveaid.shelf.columns import COLUMNS
from liveaid.shelf.map_words import with_map_words
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study.facts import Study

FACTS = Study(
    duration_s=10.0,
    sample_rate_hz=44100,
    channels=1,
    format="WAV PCM_16",
    frames_declared=441000,
    frames_read=441000,
    tempo=92.0,
    metre=4,
    key="A minor",
    kind="instrumental",
    energy=3,
    loudness_lufs=-12.0,
    true_peak_dbtp=-1.0,
    silence_start_s=0.5,
    silence_end_s=1.5,
    phrases_s=((0.5, 4.0), (5.0, 8.5)),
    sections=((0.0, 5.0, "full", 2.0), (5.0, 10.0, "drums alone", 2.2)),
    voice=0.25,
    brightness_hz=2000.0,
    faults=("cut off",),
)


def lying(path: str, **more: object) -> ShelfSound:
    return ShelfSound(hash="ab" * 20, path=path, **more)  # type: ignore[arg-type]


CRATE = (
    lying("/crate/lantern.wav"),
    lying("/crate/lantern-two.wav"),
    lying("/other/lantern.wav", copies=("/copy/lamp.wav",)),
    lying("/crate/tram.wav"),
    lying("/crate/tram.wav", part=("break", 2.0, 4.0)),
)


@pytest.mark.parametrize(
    ("meant", "which"),
    [
        ("/crate/lantern.wav", 0),
        ("/copy/lamp.wav", 2),
        ("lantern-two", 1),
        ("Lantern-Two.wav", 1),
        ("two", 1),
        ("tram break", 4),
        ("break", 4),
        ("tram.wav", 3),
    ],
)
def test_a_sound_is_meant_by_its_place_its_name_or_a_part_of_it(meant, which):
    crate = CRATE if meant != "tram.wav" else CRATE[:4]
    assert choose(crate, meant) is CRATE[which]


@pytest.mark.parametrize(
    ("sounds", "meant", "said"),
    [
        (CRATE, "lantern", "lantern: which of these? /crate/lantern.wav, /other/lantern.wav"),
        ([lying(f"/{n}/lantern.wav") for n in "abcdef"], "lantern", "lantern: which of these? "
         + ", ".join(f"/{n}/lantern.wav" for n in "abcdef")),
        ([lying(f"/{n}/lantern.wav") for n in "abcdefg"], "lantern", "lantern: which of these? "
         + ", ".join(f"/{n}/lantern.wav" for n in "abcdef") + " and 1 more"),
        (CRATE[1:4], "lantrn", "lantrn: no such sound on the shelf;"
         " did you mean lantern or lantern-two?"),
        ([lying(f"/{n}.wav") for n in ("bell1", "bell2", "bell3", "bell4")], "bel5",
         "bel5: no such sound on the shelf; did you mean bell4 or bell3 or bell2?"),
        (CRATE, "zzz", "zzz: no such sound on the shelf; `liveaid gather FOLDER` puts it there"),
        # Two of four letters of each are shared: half alike, which is as little as is offered.
        ([lying("/drum.wav")], "drip", "drip: no such sound on the shelf; did you mean drum?"),
        ([lying("/drum.wav")], "dxyz", "dxyz: no such sound on the shelf;"
         " `liveaid gather FOLDER` puts it there"),
    ],
)  # fmt: skip
def test_what_is_not_one_sound_is_told_with_what_would_do(sounds, meant, said):
    with pytest.raises(UsageError) as told:
        choose(sounds, meant)
    assert str(told.value) == said


def test_a_sound_lies_where_a_file_is_now(tmp_path: Path):
    there, gone = tmp_path / "there.wav", str(tmp_path / "gone.wav")
    there.touch()
    for places in ([gone, str(there)], [str(there), gone]):
        found = lying_there(lying(places[0], copies=(places[1],)))
        assert (found.path, found.copies) == (str(there), (gone,))


def test_a_map_has_the_last_word_on_its_own_sounds():
    marked = Marks(kind="sample", tempo_bpm=80.0, key="C major", source="stall", licence="own")
    sounds = [
        lying("/crate/a.wav", study=FACTS, marks=marked),
        lying("/crate/b.wav", copies=("/scene/sounds/b.wav",), study=FACTS, marks=marked),
        lying("/scene/sounds/c.wav", marks=marked),
        lying("/scene/sounds/d.wav", study=FACTS),
    ]
    said = {
        "b": Sound(file="sounds/b.wav", kind="a cappella", tempo=90.0, key="D minor",
                   source="market", licence="CC0"),
        "c": Sound(file="sounds/c.wav", kind="effect"),
        "d": Sound(file="sounds/d.wav", kind="effect"),
    }  # fmt: skip
    a, b, c, d = with_map_words(sounds, said, "/scene")
    assert a is sounds[0]
    assert b.marks == Marks(
        kind="a cappella", tempo_bpm=90.0, key="D minor", source="market", licence="CC0"
    )
    assert b.study == b.marks.applied(FACTS)
    assert (b.study.kind, b.study.tempo, b.study.key) == ("a cappella", 90.0, "D minor")
    assert (c.marks, c.study) == (replace(marked, kind="effect"), None)
    assert d.marks == Marks(kind="effect")


def test_every_column_holds_what_a_sound_is_found_by():
    """8 s sound between the silences: at 92 BPM 12.267 beats, 3.067 bars."""
    whole = lying("/crate/Tram.wav", study=FACTS, marks=Marks(tags=frozenset({"Rain", "crowd"})))
    row = {name: value(whole) for name, (_, value) in COLUMNS.items()}
    assert len(row.pop("ranking")) == 13 * 8
    assert row.pop("bars") == pytest.approx(3.0667, abs=1e-4)
    assert row == {
        "part": 0, "name": "tram", "path": "/crate/Tram.wav", "folder": "/crate",
        "said": "tram.wav\ntram\n\n\nrain\ncrowd\n\n\n", "tags": "\ncrowd\nrain\n", "note": "",
        "source": "", "licence": "", "artist": "", "title": "", "gone": 0, "studied": 1,
        "tempo": 92.0, "loop_beats": None, "key": 21, "kind": "instrumental", "energy": 3,
        "loudness": -12.0, "peak": -1.0, "duration": 10.0, "phrases": 2, "voice": 0.25,
        "breaks": "\n2\n", "brightness": 2000.0, "steady": int(FACTS.steady), "faulty": 1,
    }  # fmt: skip
    part = replace(whole, part=("break", 5.0, 10.0), study=None)
    row = {name: value(part) for name, (_, value) in COLUMNS.items()}
    assert (row["part"], row["name"], row["said"][:24]) == (
        1,
        "tram break",
        "tram.wav break\ntram brea",
    )
    assert (row["studied"], row["tempo"], row["bars"], row["faulty"]) == (0, None, None, 0)
