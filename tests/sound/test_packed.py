"""Packed containers, written by FFmpeg's encoders and read back by ours."""

from __future__ import annotations

import sys
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from liveaid.files.unreadable import Unreadable
from liveaid.sound.packed import Packed, PackedError
from liveaid.sound.read import open_sound
from liveaid.study import study

RATE = 44_100


def packed(path: Path, samples: np.ndarray, coder: str) -> Path:
    """Stereo float samples, shape (frames, 2), encoded into a file."""
    with av.open(str(path), "w") as container:
        container.metadata["title"] = "Wok sizzle"
        stream = container.add_stream(coder, rate=RATE)
        stream.layout = "stereo"
        for begin in range(0, len(samples), 1024):
            block = np.ascontiguousarray(samples[begin : begin + 1024].T, dtype=np.float32)
            frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="stereo")
            frame.rate, frame.pts = RATE, begin
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def sine(seconds: float) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    left = 0.4 * np.sin(2 * np.pi * 1000 * t)
    return np.stack([left, 0.5 * left], axis=1)


def samples_of(path: Path) -> np.ndarray:
    with open_sound(path) as reader:
        return np.concatenate([*reader])


@pytest.mark.parametrize(("name", "coder"), [("a.m4a", "aac"), ("a.aac", "aac")])
def test_a_packed_sine_comes_back_as_loud_and_as_high(tmp_path: Path, name: str, coder: str):
    heard = samples_of(packed(tmp_path / name, sine(2.0), coder))
    middle = heard[RATE // 2 : RATE // 2 + RATE]
    assert heard.shape[1] == 2
    assert len(heard) == pytest.approx(2.0 * RATE, abs=0.1 * RATE)
    # A sine of amplitude 0.4 has an RMS of 0.4 / sqrt(2) = 0.2828; the right side half of it.
    rms = np.sqrt(np.mean(middle.astype(float) ** 2, axis=0))
    assert rms == pytest.approx([0.2828, 0.1414], rel=0.02)
    crossings = np.count_nonzero(np.diff(np.signbit(middle[:, 0])))
    assert crossings == pytest.approx(2000, abs=2)


def test_a_packed_sound_is_studied_without_a_fault(tmp_path: Path):
    found = study(packed(tmp_path / "a.m4a", sine(4.0), "aac"))
    assert (found.faults, found.channels, found.sample_rate_hz) == ((), 2, RATE)
    assert found.duration_s == pytest.approx(4.0, abs=0.1)
    assert "AAC" in found.format


def test_what_the_coder_filled_up_at_the_end_is_left_out(tmp_path: Path):
    # 2 s are 88,200 frames, 86.1 packets of 1,024; the edit list tells them to a ms.
    heard = samples_of(packed(tmp_path / "a.m4a", sine(2.0), "aac"))
    assert len(heard) == pytest.approx(88_200, abs=RATE // 1000)


def test_a_loop_keeps_its_tempo_in_the_silence_that_its_coder_adds(tmp_path: Path):
    """16 beats at 126 BPM last 336,000 frames; the packets about them 1,024 and more too many."""
    rng = np.random.default_rng(4)
    hit = np.exp(-np.arange(4000) / 600.0) * rng.normal(0, 0.3, 4000)
    loop = np.zeros((336_000, 2))
    for eighth in range(32):
        if eighth % 8 not in (3, 5):
            begin = round(eighth * 10_500)
            loop[begin : begin + 4000] += (1.0 if eighth % 4 == 0 else 0.5) * hit[:, None]
    found = study(packed(tmp_path / "a.aac", loop, "aac"))
    assert found.frames_read > 336_000 + 1_000
    assert found.tempo == pytest.approx(126.0, rel=1e-4)
    # Played on and on as it lies in the file, it would stumble.
    assert found.loop_beats is None
    assert found.faults == ()


def test_tags_that_are_not_utf_8_keep_no_file_from_being_heard(tmp_path: Path):
    """RFC 3629, 3: the byte FF is in no UTF-8 text."""
    path = packed(tmp_path / "a.m4a", sine(0.5), "aac")
    assert path.read_bytes().count(b"Wok sizzle") == 1
    path.write_bytes(path.read_bytes().replace(b"Wok sizzle", b"Wok \xffizzle"))
    assert len(samples_of(path)) == pytest.approx(22_050, abs=RATE // 1000)


def test_a_cut_or_spoiled_packed_file_is_refused_or_told(tmp_path: Path):
    whole = packed(tmp_path / "a.m4a", sine(2.0), "aac").read_bytes()
    (tmp_path / "cut.m4a").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.m4a").write_text("no sound at all, " * 50)
    for name in ("cut.m4a", "text.m4a"):
        with pytest.raises(Unreadable) as refused:
            open_sound(tmp_path / name)
        assert str(refused.value) == (
            f"{tmp_path / name}: no sound that can be read"
            " (invalid data found when processing input)"
        )


def test_a_text_called_mp3_is_not_told_as_a_missing_file(tmp_path: Path):
    """ISO/IEC 11172-3, 2.4.1.3: a frame begins with a sync word of ones, which no ASCII text has
    (from memory)."""
    (tmp_path / "text.mp3").write_text("not a sound at all\n" * 100)
    with pytest.raises(Unreadable, match=r"can be read \(no mpeg frame in it\)$"):
        open_sound(tmp_path / "text.mp3")


@pytest.mark.parametrize("name", ["a.m4a", "a.aac"])
def test_a_whole_packed_file_tells_its_length_and_has_no_fault(tmp_path: Path, name: str):
    """The header's length within the coder's own padding, which a missing end must exceed."""
    with open_sound(packed(tmp_path / name, sine(2.0), "aac")) as reader:
        frames = sum(len(block) for block in reader)
    assert frames == pytest.approx(2.0 * RATE, abs=0.1 * RATE)
    # A bare stream tells no length at all.
    assert reader.declared == pytest.approx(2.0 * RATE if name == "a.m4a" else 0, abs=0.1 * RATE)
    assert reader.faults == []
    assert 0.01 * RATE < reader.slack < 0.5 * RATE


class Decoder:
    """What the decoding library is asked for, with blocks of a test's own: each sample is the
    number of its frame."""

    class FFmpegError(Exception):
        pass

    class Frame(SimpleNamespace):
        def to_ndarray(self):
            return self.samples.reshape(1, -1)

    def __init__(self, *lengths, name="mov,mp4", rate=100, duration=None, coder="aac"):
        edges = np.cumsum([0, *lengths])
        self.blocks = [
            self.Frame(samples=np.arange(a, b, dtype=np.float64)) for a, b in pairwise(edges)
        ]
        context = SimpleNamespace(channels=1, name=coder, layout=SimpleNamespace(name="mono"))
        stream = SimpleNamespace(
            rate=rate, codec_context=context, duration=duration, time_base=Fraction(1, 50)
        )
        self.streams = SimpleNamespace(audio=[] if coder is None else [stream])
        self.format = SimpleNamespace(name=name)
        self.closed = False
        self.__version__ = "18.0"

    def open(self, path, **choice):
        return self

    def AudioResampler(self, **wanted):
        return SimpleNamespace(resample=lambda frame: [frame])

    def decode(self, stream):
        return iter(self.blocks)

    def close(self):
        self.closed = True


@pytest.fixture
def decoder(monkeypatch):
    def put(*lengths, **told):
        made = Decoder(*lengths, **told)
        monkeypatch.setitem(sys.modules, "av", made)
        return made

    return put


@pytest.mark.parametrize(
    ("lengths", "told", "frames", "heard"),
    [
        # Five fiftieths of a second at 100 Hz are ten frames: two of twelve fill the last packet.
        ((4, 4, 4), {"duration": 5}, 10, 10),
        ((10, 4096), {"duration": 5}, 10, 10),
        ((10, 4097), {"duration": 5}, 10, 4107),  # more than a coder adds is a sound
        ((4, 2), {"duration": 5}, 10, 6),
        ((4, 4, 4), {"duration": None}, 0, 12),
        ((4, 4, 4), {"duration": 5, "name": "matroska,webm"}, 10, 12),
        ((4, 4, 4), {"duration": 5, "name": "aac"}, 0, 12),
    ],
)
def test_what_is_filled_up_is_left_out_where_a_header_tells(decoder, lengths, told, frames, heard):
    decoder(*lengths, **told)
    sound = Packed("a.m4a")
    out = np.full((5000, 1), np.nan, np.float32)
    assert (sound.frames, sound.samplerate, sound.channels) == (frames, 100, 1)
    assert sound.read(out=out)[:, 0].tolist() == list(range(heard))
    assert len(sound.read(out=out)) == 0


def test_blocks_are_read_into_whatever_room_there_is(decoder):
    decoder(5, 1, 7, name="ogg")
    sound = Packed("a.ogg")
    read = [sound.read(out=np.zeros((room, 1), np.float32))[:, 0].tolist() for room in (3, 4, 9)]
    assert read == [[0, 1, 2], [3, 4, 5, 6], [7, 8, 9, 10, 11, 12]]


@pytest.mark.parametrize("told", [{"coder": None}, {"rate": 0}])
def test_a_container_without_a_sound_is_refused_and_closed(decoder, told):
    made = decoder(4, **told)
    with pytest.raises(PackedError, match="no sound in it"):
        Packed("a.m4a")
    assert made.closed
