"""What the shelf knows of the sounds of a scene, which lie in the scene's own folder."""

from pathlib import Path

import pytest

from liveaid.files.file_bytes import content_hash
from liveaid.routine import Routine
from liveaid.shelf.for_map import known_sounds
from liveaid.shelf.shelf import Shelf
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
