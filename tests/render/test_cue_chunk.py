"""The WAV files read back by other means: the published layout, two libraries, two programs."""

import ctypes
import struct
import subprocess
import wave

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from liveaid.render.cue_chunk import CuePoint, cue_chunks, riff_sizes
from liveaid.render.deck_file import ours, packed, write_deck_file

RATE_HZ = 44_100
POINTS = [CuePoint(79_380, "1 Drizzle"), CuePoint(0, "2 Straße – Föhn"), CuePoint(41, "odd")]


def written(folder, frames=100_000, points=POINTS, sound=None):
    path = folder / "deck.wav"
    if sound is None:
        sound = np.random.default_rng(0).uniform(-1, 1, (frames, 2)).astype(np.float32)
    write_deck_file(
        path, [sound], frames=len(sound), rate_hz=RATE_HZ, title="A title", points=points
    )
    return path, sound


def test_a_cue_point_is_written_byte_for_byte_as_the_layout_says():
    # Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991),
    # "Cue-Points Chunk" and "Associated Data Chunk": worked by hand.
    wanted = (
        b"cue " + struct.pack("<I", 28) + struct.pack("<I", 1)
        + struct.pack("<I", 1) + struct.pack("<I", 79_380) + b"data"
        + struct.pack("<I", 0) + struct.pack("<I", 0) + struct.pack("<I", 79_380)
        + b"LIST" + struct.pack("<I", 4 + 8 + 4 + 4) + b"adtl"
        + b"labl" + struct.pack("<I", 4 + 4) + struct.pack("<I", 1) + b"abc\0"
    )  # fmt: skip
    assert cue_chunks([CuePoint(79_380, "abc")]) == wanted


def test_a_label_of_odd_size_is_padded_and_its_size_does_not_count_the_pad():
    body = cue_chunks([CuePoint(1, "ab")])
    assert body.endswith(b"labl" + struct.pack("<II", 7, 1) + b"ab\0" + b"\0")
    assert len(body) % 2 == 0


def test_every_cue_and_label_is_read_back_by_the_published_layout(tmp_path, read_wave):
    path, _ = written(tmp_path)
    found = read_wave(path)
    assert found.format == (1, 2, RATE_HZ, RATE_HZ * 6, 6, 24)
    assert found.points() == [(0, "2 Straße – Föhn"), (41, "odd"), (79_380, "1 Drizzle")]


@given(st.lists(st.tuples(st.integers(0, 2**31), st.text(max_size=300)), max_size=8))
def test_any_label_survives_or_is_cut_at_a_whole_character(cues):
    body = cue_chunks([CuePoint(frame, label) for frame, label in cues])
    at = body.find(b"adtl") + 4
    labels = []
    while body and at < len(body):
        assert body[at : at + 4] == b"labl"
        size = struct.unpack("<I", body[at + 4 : at + 8])[0]
        assert size <= 4 + 201
        labels.append(body[at + 12 : at + 8 + size].rstrip(b"\0").decode())
        at += 8 + size + size % 2
    wanted = [" ".join(label.replace("\0", " ").split()) for _, label in sorted(cues, key=first)]
    assert all(whole.startswith(label) for whole, label in zip(wanted, labels, strict=True))


def first(cue):
    return cue[0]


class SoundFileCue(ctypes.Structure):
    """SF_CUE_POINT of libsndfile's sndfile.h."""

    _fields_ = (
        ("indx", ctypes.c_int32),
        ("position", ctypes.c_uint32),
        ("fcc_chunk", ctypes.c_int32),
        ("chunk_start", ctypes.c_int32),
        ("block_start", ctypes.c_int32),
        ("sample_offset", ctypes.c_uint32),
        ("name", ctypes.c_char * 256),
    )


class SoundFileCues(ctypes.Structure):
    """SF_CUES with room for 100, as SF_CUES_VAR declares it."""

    _fields_ = (("count", ctypes.c_uint32), ("points", SoundFileCue * 100))


SFC_GET_CUE = 0x10CE


def test_libsndfile_finds_the_same_cues_and_labels(tmp_path):
    """A library that others build on: it parses `cue ` and `adtl` itself, so it is a witness."""
    path, _ = written(tmp_path)
    library = ctypes.CDLL(getattr(soundfile, "_full_path", None) or soundfile._libname)
    library.sf_open.restype = ctypes.c_void_p
    info = (ctypes.c_byte * 64)()
    handle = library.sf_open(str(path).encode(), 0x10, ctypes.byref(info))
    assert handle
    cues = SoundFileCues()
    library.sf_command.argtypes = (ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p, ctypes.c_int)
    assert library.sf_command(handle, SFC_GET_CUE, ctypes.byref(cues), ctypes.sizeof(cues)) == 1
    library.sf_close.argtypes = (ctypes.c_void_p,)
    library.sf_close(handle)
    found = [(p.sample_offset, p.name.decode()) for p in cues.points[: cues.count]]
    assert sorted(found) == [(0, "2 Straße – Föhn"), (41, "odd"), (79_380, "1 Drizzle")]


def test_other_readers_find_the_samples_to_the_last_bit(tmp_path):
    path, sound = written(tmp_path)
    read, rate = soundfile.read(path, dtype="int32")
    assert rate == RATE_HZ
    wanted = np.clip(np.rint(sound.astype(np.float64) * 2**23), -(2**23), 2**23 - 1)
    assert np.array_equal(read >> 8, wanted)
    with wave.open(str(path)) as file:
        assert file.getparams()[:4] == (2, 3, RATE_HZ, len(sound))


def test_sox_reads_the_file_without_a_complaint(tmp_path, needs):
    path, sound = written(tmp_path)
    done = subprocess.run(
        [needs("soxi", "sox"), path], capture_output=True, text=True, timeout=30, check=True
    )
    assert done.stderr == ""
    assert f"{len(sound)} samples" in done.stdout
    assert "24-bit" in done.stdout


def test_full_scale_does_not_wrap():
    loud = np.array([[1.0, -1.0], [1.5, -1.5], [0.0, 0.5]], np.float32)
    words = np.frombuffer(packed(loud), np.uint8).reshape(-1, 3)
    numbers = [int.from_bytes(bytes(word), "little", signed=True) for word in words]
    assert numbers == [2**23 - 1, -(2**23), 2**23 - 1, -(2**23), 0, 2**22]


def test_sizes_beyond_32_bits_are_refused():
    # 4 bytes of "WAVE", 100 around, 8 of the data header: 2**32 - 1 is the most, and is odd.
    most = 2**32 - 2 - 4 - 100 - 8
    assert riff_sizes(most, 100) == (2**32 - 2, most)
    with pytest.raises(ValueError, match="a WAV file holds"):
        riff_sizes(most + 2, 100)


def test_a_file_with_other_than_the_announced_frames_is_refused(tmp_path):
    with pytest.raises(ValueError, match="announced"):
        write_deck_file(
            tmp_path / "x.wav",
            [np.zeros((10, 2), np.float32)],
            frames=11,
            rate_hz=RATE_HZ,
            title="",
        )


def test_our_files_are_known_again_and_others_are_not(tmp_path):
    path, _ = written(tmp_path)
    assert ours(path)
    other = tmp_path / "other.wav"
    soundfile.write(other, np.zeros(100), RATE_HZ)
    assert not ours(other)
    assert not ours(tmp_path / "missing.wav")
