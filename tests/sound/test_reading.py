"""Files as they come: cut off, empty, odd rates and channels, no sound at all.

Each is read as far as it goes with its faults in plain sentences, or refused in one line.
"""

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from liveaid.errors import LiveaidError
from liveaid.files.unreadable import Unreadable
from liveaid.sound.container import promised
from liveaid.sound.packed import PackedError
from liveaid.sound.read import Reader, open_sound
from liveaid.study import study

RATE = 44100


@pytest.fixture
def beat(play):
    return play(np.arange(9) * 0.5)[0]


def cut(path, share: float) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])


@pytest.mark.parametrize("ending", ["wav", "aiff", "flac", "ogg", "mp3"])
def test_a_whole_file_has_no_faults(file, beat, ending):
    facts = study(file(beat, f"whole.{ending}"))
    assert facts.faults == ()
    assert facts.frames_read == facts.frames_declared == len(beat)
    assert facts.duration_s == pytest.approx(len(beat) / RATE)


@pytest.mark.parametrize("ending", ["wav", "aiff", "flac", "ogg", "mp3"])
def test_a_cut_file_is_read_as_far_as_it_goes_and_says_so(file, beat, ending):
    path = file(np.tile(beat, 3), f"cut.{ending}")
    cut(path, 0.6)
    facts = study(path)
    assert 0 < facts.frames_read < 3 * len(beat)
    assert facts.duration_s == pytest.approx(facts.frames_read / RATE)
    assert len(facts.faults) == 1
    assert "cut off" in facts.faults[0] or "decoding stopped" in facts.faults[0]


def test_decoding_that_stops_is_told_with_its_second():
    """At 100 frames a second: 30 whole, then 12 and no more."""

    class Breaking:
        samplerate, channels = 100, 2
        asked = 0

        def read(self, *, out):
            self.asked += 1
            length = {1: 30, 2: 12}[self.asked]
            out[:length] = self.asked / 4
            if self.asked == 2:
                raise PackedError("Packet is spoiled. ")
            return out[:length]

    reader = Reader(Path("a.ogg"), Breaking(), declared=200)
    heard = np.concatenate([*reader])
    assert heard.tolist() == [[0.25, 0.25]] * 30 + [[0.5, 0.5]] * 12
    assert (reader.frames, reader.damaged) == (42, 0)
    assert reader.all_faults() == ("decoding stopped at 0.420 s: packet is spoiled",)


def test_a_straight_reader_is_never_asked_to_seek(file, beat):
    with open_sound(file(beat)) as reader:
        assert reader._file.seekable() is False


def test_a_cut_wav_tells_frames_promised_and_read(file, beat):
    # 44-byte header, then 2 bytes a frame (RIFF/WAVE, PCM): half the bytes, half the frames.
    path = file(beat, subtype="PCM_16")
    size = 44 + 2 * (len(beat) // 2)
    path.write_bytes(path.read_bytes()[:size])
    facts = study(path)
    assert (facts.frames_declared, facts.frames_read) == (len(beat), len(beat) // 2)
    assert f"{len(beat)} frames" in facts.faults[0]


@pytest.mark.parametrize("frames", [1, 2, 100, 2000])
def test_a_blink_of_sound_is_studied(file, frames):
    facts = study(file(np.full(frames, 0.25)))
    assert facts.frames_read == frames
    assert facts.tempo is None
    assert facts.loudness_lufs is None


def test_no_frames_at_all_are_refused_in_one_line(file):
    with pytest.raises(Unreadable, match="holds no samples") as error:
        study(file(np.zeros(0)))
    assert "\n" not in str(error.value)
    assert isinstance(error.value, LiveaidError)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("words.wav", b"first the rain, then the lanterns\n" * 50),
        ("none.mp3", b""),
        ("x.ogg", b"OggS"),
    ],
)
def test_what_is_no_sound_is_refused_in_one_line_with_its_name(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(Unreadable, match=name) as error:
        study(path)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(("at", "value"), [(22, 1000), (24, 3)], ids=["channels", "rate"])
def test_a_header_that_cannot_be_meant_is_refused(file, beat, at, value):
    # RIFF/WAVE: channels in bytes 22 and 23, frames a second in bytes 24 to 27.
    path = file(beat, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    data[at : at + 2] = value.to_bytes(2, "little")
    path.write_bytes(data)
    with pytest.raises(Unreadable, match="x"):
        study(path)


def test_a_header_is_believed_up_to_768_khz_and_64_channels(tmp_path):
    """Common practice, no source: converters end there."""
    wav = tmp_path / "a.wav"
    for rate, channels, believed in (
        (999, 1, False), (1000, 1, True), (768_000, 1, True), (768_001, 1, False),
        (8000, 64, True), (8000, 65, False),
    ):  # fmt: skip
        soundfile.write(wav, np.zeros((10, channels)), rate)
        if believed:
            with open_sound(wav) as reader:
                assert (reader.rate_hz, reader.channels, reader.slack) == (rate, channels, 0)
        else:
            with pytest.raises(Unreadable, match=rf"\({channels} channels at {rate} Hz\)$"):
                open_sound(wav)


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(Unreadable, match="no such file"):
        study(tmp_path / "nothing.wav")
    (tmp_path / "folder.wav").mkdir()
    with pytest.raises(Unreadable, match="not a file"):
        study(tmp_path / "folder.wav")


def test_names_outside_ascii_and_outside_any_encoding_are_read(file, beat, tmp_path):
    assert study(file(beat, "läuten 鐘.wav")).frames_read == len(beat)
    odd = os.fsencode(tmp_path) + b"/b\xe9ll.wav"
    os.rename(tmp_path / "läuten 鐘.wav", odd)
    assert study(os.fsdecode(odd)).frames_read == len(beat)
    with open(odd, "wb") as stream:
        stream.write(b"no sound")
    with pytest.raises(Unreadable) as error:
        study(os.fsdecode(odd))
    str(error.value).encode("utf-8")  # printable


@pytest.mark.parametrize(("rate", "channels"), [(8000, 1), (11025, 2), (96000, 2), (192000, 6)])
def test_any_rate_and_channel_count_gives_the_same_grid(file, play, rate, channels):
    import soxr

    samples = soxr.resample(play(0.2 + np.arange(25) * 60 / 110)[0], RATE, rate)
    facts = study(file(np.tile(samples[:, None], channels), rate=rate))
    assert (facts.sample_rate_hz, facts.channels) == (rate, channels)
    assert facts.tempo == pytest.approx(110, rel=5e-4)
    assert facts.first_beat == pytest.approx(0.2, abs=0.010)


def test_numbers_that_are_none_are_taken_as_silence_and_told(file, beat):
    beat = beat.copy()
    beat[1000:1010], beat[2000], beat[3000], beat[4000] = np.nan, np.inf, -np.inf, 1e30
    facts = study(file(beat, subtype="FLOAT"))
    assert facts.faults == ("13 samples are no numbers and were taken as silence",)
    assert facts.true_peak_dbtp < 0
    assert facts.tempo == pytest.approx(120, rel=1e-3)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_what_is_louder_than_any_sound_is_taken_as_silence_and_told(file, sign):
    """A thousand times full scale, 60 dB above it, is heard; a tenth of a per cent more is not."""
    path = file(sign * np.array([0.5, 1000.0, 1001.0]), subtype="FLOAT")
    with open_sound(path) as reader:
        heard = np.concatenate([*reader])[:, 0]
    assert heard.tolist() == [sign * 0.5, sign * 1000.0, 0.0]
    assert reader.all_faults() == ("1 samples are no numbers and were taken as silence",)


def test_a_steady_offset_is_taken_out_and_told(file, beat):
    plain, moved = study(file(beat)), study(file(beat * 0.5 + 0.3, "moved.wav"))
    assert "offset of 30 %" in moved.faults[0]
    assert moved.loudness_lufs == pytest.approx(plain.loudness_lufs - 6.02, abs=0.1)
    assert moved.tempo == pytest.approx(plain.tempo, rel=3e-4)


def test_channels_that_cancel_are_heard_one_by_one(file, beat):
    facts = study(file(np.stack([beat, -beat], axis=1)))
    assert "cancel" in facts.faults[0]
    assert facts.tempo == pytest.approx(120, rel=1e-3)


def test_silence_has_no_facts_but_its_length(file):
    facts = study(file(np.zeros(3 * RATE)))
    assert facts.silence_start_s == facts.duration_s == 3.0
    assert facts.tempo is facts.key is facts.loudness_lufs is facts.true_peak_dbtp is None
    assert facts.onsets_s == facts.phrases_s == ()
    assert facts.rhythmic == "it is silent"
    assert facts.energy == 1


def test_a_wav_of_unknown_length_is_no_fault(file, beat, tmp_path):
    # Streamed WAV: the data size is written as all ones (RIFF practice; EBU Tech 3306).
    data = bytearray(file(beat, subtype="PCM_16").read_bytes())
    assert data[36:40] == b"data"
    data[40:44] = b"\xff" * 4
    path = tmp_path / "streamed.wav"
    path.write_bytes(data)
    facts = study(path)
    assert facts.faults == ()
    assert facts.frames_read == len(beat)


def test_an_mpeg_file_without_a_frame_count_is_walked(file, beat):
    # The decoder guesses the length of such a file; MPEG-1 layer III frames hold 1152 samples.
    how = {"bitrate_mode": "CONSTANT", "compression_level": 0.5}
    path = file(np.tile(beat, 2), "walk.mp3", **how)
    data = path.read_bytes()
    start = data.find(b"Xing") if b"Xing" in data[:500] else data.find(b"Info")
    path.write_bytes(data[:start] + b"\0\0\0\0" + data[start + 4 :])
    with path.open("rb") as stream:
        promise = promised(stream)
    assert promise.fault == ""
    assert promise.frames is not None
    assert promise.frames % 1152 == 0
    assert study(path).faults == ()


def test_two_hours_of_sound_fit_in_a_gigabyte(tmp_path):
    # In a process of its own, whose largest size is then its own. Noise has most onsets, so it
    # needs most; two lengths tell what a minute costs, and what two hours would. Up to twenty
    # minutes soft beginnings are looked for as well, if there is no clear beat without them.
    minute = (np.random.default_rng(1).normal(0, 0.1, (60 * 16000, 2))).astype(np.float32)
    for length in (1, 4, 6):
        with soundfile.SoundFile(tmp_path / f"{length}.wav", "w", 16000, 2, "PCM_16") as stream:
            for _ in range(length):
                stream.write(minute)
    code = f"""
        import resource
        from liveaid.study import measure, tempo
        measure.SMALL_AFTER_S = 0.0  # as for a long sound
        for length, soft_s in ((1, 0.0), (6, 0.0), (4, tempo.LONGEST_SOFT_S)):
            tempo.LONGEST_SOFT_S = soft_s
            measure.measure({str(tmp_path)!r} + f"/{{length}}.wav")
            print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
        print(soft_s / 60.0)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    unit = 1 if sys.platform == "darwin" else 1024
    one, six, soft = (int(line) * unit for line in done.stdout.split()[:3])
    longest_soft_min = float(done.stdout.split()[3])
    assert six + (six - one) / 5 * 114 < 1e9
    assert soft + (soft - one) / 3 * (longest_soft_min - 4) < 1e9


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    ending=st.sampled_from(["wav", "aiff", "flac", "ogg", "mp3"]),
    spoiled=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=12),
    head=st.booleans(),
)
def test_spoiled_files_are_studied_or_refused_and_nothing_else(file, beat, ending, spoiled, head):
    path = file(beat[: RATE // 2], f"spoiled.{ending}")
    data = bytearray(path.read_bytes())
    reach = min(len(data), 200) if head else len(data)
    for place, value in spoiled:
        data[min(int(place * reach), reach - 1)] = value
    path.write_bytes(data)
    said = ""
    try:
        facts = study(path)
        assert facts.frames_read > 0
        facts.to_json()  # finite throughout
    except Unreadable as error:
        said = str(error)
    assert "\n" not in said
