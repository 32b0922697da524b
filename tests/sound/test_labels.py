"""What a file says of itself, written by the label library and read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from mutagen.flac import FLAC
from mutagen.mp3 import EasyMP3
from mutagen.oggopus import OggOpus

from liveaid.sound.labels import NO_LABELS, Labels, read_labels

KINDS = {"flac": FLAC, "opus": OggOpus, "mp3": EasyMP3}


# Vorbis comments (Xiph.Org, "Ogg Vorbis I format specification: comment field") and ID3v2.4's
# TPE1 and TIT2, as mutagen writes them.
@pytest.mark.parametrize("ending", KINDS)
def test_artist_and_title_come_from_the_files_comments(tmp_path: Path, ending: str):
    path = tmp_path / f"a.{ending}"
    how = {"format": "OGG", "subtype": "OPUS"} if ending == "opus" else {}
    soundfile.write(path, np.zeros(4800), 48000, **how)
    file = KINDS[ending](path)
    file["artist"], file["title"] = ["The Lamplighters", "someone else"], ["First\nRain"]
    file.save()
    assert read_labels(str(path)) == Labels("The Lamplighters", "First Rain", "")


def test_a_file_without_labels_or_with_spoiled_ones_says_nothing(tmp_path: Path):
    plain, spoiled = tmp_path / "a.wav", tmp_path / "b.mp3"
    soundfile.write(plain, np.zeros(800), 8000)
    spoiled.write_bytes(b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f" + b"\xff" * 300)
    assert read_labels(str(plain)) == NO_LABELS
    assert read_labels(str(spoiled)) == NO_LABELS
    assert read_labels(str(tmp_path / "none.wav")) == NO_LABELS


def test_a_label_is_one_harmless_line_of_some_length(tmp_path: Path):
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros(800), 8000)
    file = FLAC(path)
    file["title"] = ["\x1b[2J" + "long " * 100]
    file.save()
    title = read_labels(str(path)).title
    assert "\x1b" not in title
    assert len(title) <= 200
