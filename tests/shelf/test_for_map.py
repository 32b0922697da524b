"""What the shelf knows of the sounds of a scene, which lie in the scene's own folder."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.files.file_bytes import content_hash
from liveaid.routine import Routine
from liveaid.shelf.for_map import known_sounds, studies_on, with_marks, with_shelf_words
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import Marks
from liveaid.study.facts import Study

FACTS = Study(
    duration_s=10.0,
    sample_rate_hz=44100,
    channels=1,
    format="WAV PCM_16",
    frames_declared=441000,
    frames_read=441000,
)


@pytest.fixture
def collected(tmp_path: Path) -> Path:
    """A shelf that knows the crate's one sound, by the performer's word at 88 BPM."""
    sound = tmp_path / "crate/tram.wav"
    sound.parent.mkdir()
    sound.write_bytes(b"RIFF and what a tram sounds like")
    shelf_file = tmp_path / "shelf.sqlite"
    with Shelf(shelf_file) as shelf:
        digest, signature = content_hash(str(sound))
        shelf.keep(digest, FACTS)
        shelf.place(str(sound.resolve()), digest, signature)
        shelf.mark(digest, set_to={"tempo": 88.0})
    return shelf_file


def known_in_a_scene(shelf_file: Path, sound: bytes | None) -> dict[str, float | None]:
    """The tempo of each sound known of a scene whose own file holds these bytes."""
    scene = shelf_file.parent / "scene"
    (scene / "sounds").mkdir(parents=True)
    if sound is not None:
        (scene / "sounds/my-tram.wav").write_bytes(sound)
    runs = {"hand": "runs", "sound": "tram"}
    piece = {"name": "Tram", "bars": 2, "tempo": 90, "left": runs, "right": {"hand": "rests"}}
    routine = Routine.model_validate(
        {
            "title": "t",
            "sounds": {"tram": {"file": "sounds/my-tram.wav"}},
            "pieces": [{"part": "intro", "technique": "drop", "count": "left"} | piece],
        }
    )
    known = known_sounds(routine, scene / "routine.yaml", shelf_file)
    return {name: sound.marks.tempo_bpm for name, sound in known.items()}


def test_a_copy_in_the_scene_is_the_sound_that_was_studied_and_marked(collected: Path):
    same = b"RIFF and what a tram sounds like"
    assert known_in_a_scene(collected, same) == {"tram": 88.0}


@pytest.mark.parametrize(
    "other",
    [
        b"RIFF and what a bell sounds like",  # as long, other bytes
        b"RIFF and what a tram sounds like, longer",
        None,
    ],
)
def test_another_file_or_none_is_not(collected: Path, other: bytes | None):
    assert known_in_a_scene(collected, other) == {}


PLAYED = replace(
    FACTS, kind="instrumental", tempo=92.0, tempo_confidence=0.3, first_beat=0.25,
    beats_s=(0.25, 0.9), key="A minor", key_confidence=0.3, tuning_cents=-12.0,
    first_downbeat=1.5,
)  # fmt: skip
UNSURE = replace(PLAYED, tempo_confidence=0.29, key_confidence=0.29)
MARKED = Marks(
    kind="a cappella", tempo_bpm=88.0, key="C major", bar_s=1.5, source="own tape", licence="own"
)


def told(how, study: Study | None, marks: Marks, **in_map: object) -> dict[str, object]:
    """What a map's sound says after, of what it can be told; a second sound is left as it is."""
    piece = {"name": "Tram", "bars": 2, "tempo": 90, "left": {"hand": "rests"}}
    sounds = {"tram": {"file": "tram.wav"} | in_map, "bell": {"file": "bell.wav"}}
    routine = Routine.model_validate({"title": "t", "sounds": sounds, "pieces": [piece]})
    found = how(routine, {"tram": SimpleNamespace(study=study, marks=marks)}).sounds
    assert found["bell"] == routine.sounds["bell"]
    return found["tram"].model_dump(exclude_defaults=True, exclude={"file"})


@pytest.mark.parametrize(
    ("study", "marks", "in_map", "found"),
    [
        (PLAYED, Marks(), {}, {"follow": True}),
        (replace(PLAYED, beats_s=()), Marks(), {}, {}),
        (PLAYED, Marks(), {"tempo": 90, "first_beat": 0.5}, {"tempo_bpm": 90, "first_beat_s": 0.5}),
        (PLAYED, Marks(), {"follow": False}, {"follow": False}),
        (None, MARKED, {}, {
            "kind": "a cappella", "tempo_bpm": 88.0, "key": "C major", "source": "own tape",
            "licence": "own",
        }),
        (PLAYED, MARKED, {"kind": "effect", "licence": "CC0-1.0"}, {
            "kind": "effect", "tempo_bpm": 88.0, "first_beat_s": 1.5, "follow": True,
            "key": "C major", "source": "own tape", "licence": "CC0-1.0",
        }),
    ],
)  # fmt: skip
def test_where_the_map_is_silent_the_performers_marks_speak(study, marks, in_map, found):
    """A downbeat is told where a bar was marked; beats are followed where the map has none."""
    assert told(with_marks, study, marks, **in_map) == found


@pytest.mark.parametrize(
    ("study", "marks", "in_map", "found"),
    [
        (PLAYED, Marks(), {}, {
            "kind": "instrumental", "tempo_bpm": 92.0, "first_beat_s": 0.25, "key": "A minor",
            "tuning_cents": -12.0,
        }),
        (UNSURE, Marks(source="own tape", licence="own"), {}, {
            "kind": "instrumental", "source": "own tape", "licence": "own",
        }),
        (None, Marks(), {}, {}),
        (replace(PLAYED, tempo=None, key=None), Marks(), {}, {"kind": "instrumental"}),
        # A first beat belongs to its tempo, cents to their key.
        (PLAYED, Marks(), {"tempo": 90, "key": "D major"}, {
            "kind": "instrumental", "tempo_bpm": 90, "key": "D major",
        }),
        (PLAYED, Marks(), {"tuning": 5.0, "first_beat": 0.5}, {
            "kind": "instrumental", "tempo_bpm": 92.0, "first_beat_s": 0.5, "key": "A minor",
            "tuning_cents": 5.0,
        }),
    ],
)  # fmt: skip
def test_where_the_map_is_silent_the_shelfs_facts_speak_if_sure_to_three_tenths(
    study, marks, in_map, found
):
    assert told(with_shelf_words, study, marks, **in_map) == found


def test_a_study_is_known_by_the_digest_of_the_bytes(collected: Path, tmp_path: Path):
    digest, _ = content_hash(str(tmp_path / "crate/tram.wav"))
    assert studies_on(collected)(digest) == FACTS
    assert studies_on(collected)("00" * 16) is None
    assert studies_on(tmp_path / "none.sqlite")(digest) is None
    assert not (tmp_path / "none.sqlite").exists()
