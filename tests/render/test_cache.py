"""What is kept between renders: found again whole, never in the way of what has to be written."""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.render import cache as module
from liveaid.render.cache import Cache
from liveaid.render.passage_level import Level
from liveaid.study.facts import Study

SOUND = np.arange(20, dtype=np.float32).reshape(10, 2)
LEVEL = Level(-18.0, -1.2, 3.0, 0.5)


def test_a_passage_is_found_by_its_recipe_alone(tmp_path):
    kept = Cache(tmp_path / "kept")
    assert kept.find("one") is None
    kept.keep("one", SOUND, LEVEL)
    samples, level = kept.find("one")
    assert np.array_equal(samples, SOUND)
    assert level == LEVEL
    assert kept.find("other") is None


@pytest.mark.parametrize(
    "damaged",
    [SOUND[:, 0], SOUND[:, :1], SOUND.astype(np.float64), SOUND[np.newaxis], "cut", "level"],
    ids=["one row", "one channel", "doubles", "three ways", "cut off", "no level"],
)
def test_what_is_no_passage_is_made_again(tmp_path, damaged):
    kept = Cache(tmp_path)
    kept.keep("one", SOUND, LEVEL)
    (samples,), (level,) = tmp_path.glob("*.npy"), tmp_path.glob("*.json")
    if isinstance(damaged, np.ndarray):
        np.save(samples, damaged)
    elif damaged == "cut":
        samples.write_bytes(samples.read_bytes()[:100])
    else:
        level.write_text('{"loud": 1}')
    assert kept.find("one") is None
    samples.unlink()
    assert kept.find("one") is None


@pytest.mark.parametrize(("free", "kept"), [(80 + 1000 + 2_000_000, True), (2_001_079, False)])
def test_nothing_is_kept_that_would_leave_less_than_is_to_be_written(
    tmp_path, monkeypatch, free, kept
):
    """80 bytes of samples, 1000 to be written, 2 MB for the map, the sheet and the disk's own."""
    monkeypatch.setattr(module.shutil, "disk_usage", lambda folder: SimpleNamespace(free=free))
    cache = Cache(tmp_path)
    cache.leave_free(1000)
    cache.keep("one", SOUND, LEVEL)
    assert (cache.find("one") is not None) is kept


def test_what_was_not_used_is_swept_and_what_is_not_ours_stays(tmp_path):
    study = Study(duration_s=1.0, sample_rate_hz=44100, channels=1, format="WAV",
                  frames_declared=1, frames_read=1)  # fmt: skip
    old = Cache(tmp_path)
    for recipe in ("found", "forgotten"):
        old.keep(recipe, SOUND, LEVEL)
        old.keep_study(f"study {recipe}", study)
    name = "0" * 32
    for other in ("notes.txt", f"{name}.wav", f"{name[1:]}.npy", f".{name}.npy.part"):
        (tmp_path / other).touch()
    now = Cache(tmp_path)
    assert now.find("found") is not None
    assert now.find_study("study found") == study
    now.keep("made", SOUND, LEVEL)
    now.sweep()
    again = Cache(tmp_path)
    assert [again.find(recipe) is not None for recipe in ("found", "made", "forgotten")] == [
        True, True, False,
    ]  # fmt: skip
    assert again.find_study("study forgotten") is None
    assert again.find_study("study found") == study
    left = {path.name for path in tmp_path.iterdir()}
    assert {"notes.txt", f"{name}.wav", f"{name[1:]}.npy"} <= left
    assert f".{name}.npy.part" not in left


def test_by_how_much_a_passage_stays_below_what_was_wanted():
    assert LEVEL.short_of(-16.5) == 1.5
    assert LEVEL.short_of(-19.0) == 0.0
    assert Level(None, None, 0.0, 0.0).short_of(-18.0) == 0.0
