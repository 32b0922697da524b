"""How decks may be wished for, and which sound files can be taken, at the bounds of each."""

import contextlib
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.errors import UsageError
from liveaid.render import sound_header as module
from liveaid.render.sound_header import MOST_CHANNELS, SoundHeader, sound_header
from liveaid.render.wish import Wish


def test_what_is_wished_for_when_nothing_is_said():
    """A record's own 44.1 kHz, the sticker kept, a turn of silence, -18 LUFS (ReplayGain 2.0)."""
    assert Wish() == Wish(rate_hz=44_100, sticker=True, gap_turns=1.0, loudness_lufs=-18.0)


@pytest.mark.parametrize(
    ("wish", "refused"),
    [
        ({"rate_hz": 44_100}, None), ({"rate_hz": 48_000}, None),
        ({"rate_hz": 44_101}, "found a rate of 44101; 44100 or 48000 would do"),
        ({"gap_turns": 0.0}, None), ({"gap_turns": 20.0}, None),
        ({"gap_turns": -0.1}, "found a gap of -0.1 turns; 0 to 20 would do"),
        ({"gap_turns": 20.1}, "found a gap of 20.1 turns; 0 to 20 would do"),
        ({"loudness_lufs": -40.0}, None), ({"loudness_lufs": -8.0}, None),
        ({"loudness_lufs": -40.1}, "found -40.1 LUFS; -40 to -8 would do"),
        ({"loudness_lufs": -7.9}, "found -7.9 LUFS; -40 to -8 would do"),
    ],
)  # fmt: skip
def test_a_wish_is_taken_within_its_bounds(wish, refused):
    if refused is None:
        Wish(**wish)
    else:
        with pytest.raises(UsageError) as told:
            Wish(**wish)
        assert str(told.value) == refused


@pytest.mark.parametrize(
    ("frames", "channels", "rate_hz", "refused"),
    [
        (1, MOST_CHANNELS, 4_000, None), (88_200, 1, 768_000, None),
        (0, 1, 44_100, "which holds no sound"),
        (1, MOST_CHANNELS + 1, 44_100, f"{MOST_CHANNELS + 1} channels"),
        (1, 1, 3_999, "at 3999 Hz"), (1, 1, 768_001, "at 768001 Hz"),
    ],
)  # fmt: skip
def test_a_sound_file_is_taken_by_what_its_head_says(
    monkeypatch, tmp_path, frames, channels, rate_hz, refused
):
    file = tmp_path / "wok.wav"
    file.touch()
    head = SimpleNamespace(declared=frames, rate_hz=rate_hz, channels=channels)
    monkeypatch.setattr(module, "reach", lambda file, section_map: Path(section_map) / file)
    monkeypatch.setattr(module, "open_sound", lambda path: contextlib.nullcontext(head))
    found = sound_header("wok", "wok.wav", tmp_path)
    if refused is None:
        assert found == SoundHeader(file, frames, rate_hz)
        assert found.duration_s == frames / rate_hz
    else:
        assert found.path == ("sounds", "wok", "file")
        assert refused in found.found


@pytest.mark.parametrize(
    ("called", "folder", "found"),
    [(None, False, "{}, no such file"), ("own.wav", False, "own.wav, no such file"),
     (None, True, "{}, a folder")],
)  # fmt: skip
def test_a_file_that_is_not_there_is_told_by_the_performers_word(
    monkeypatch, tmp_path, called, folder, found
):
    file = tmp_path / "wok.wav"
    if folder:
        file.mkdir()
    monkeypatch.setattr(module, "reach", lambda file, section_map: Path(section_map) / file)
    told = sound_header("wok", "wok.wav", tmp_path, called=called)
    assert told.found == found.format(file)
