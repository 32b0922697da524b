"""A sound as one channel and its parts as files, sample by sample."""

import numpy as np
import pytest
import soundfile

from liveaid.study.by_hand import mono_of, write_parts
from liveaid.study.part_finding import PartFound


def test_a_files_sound_is_the_mean_of_its_channels(tmp_path):
    both = np.float32([[0.5, 0.25], [-0.5, 0.0], [0.0, 1.0]])
    soundfile.write(tmp_path / "two.wav", both, 8000, "FLOAT")
    mono, rate_hz = mono_of(tmp_path / "two.wav")
    assert (mono.tolist(), rate_hz) == ([0.375, -0.25, 0.5], 8000)
    assert mono.dtype == np.float32
    soundfile.write(tmp_path / "none.wav", both[:0], 8000, "FLOAT")
    assert len(mono_of(tmp_path / "none.wav")[0]) == 0


def test_a_part_is_written_in_sixteen_bits_and_faded_out_over_ten_milliseconds(tmp_path):
    """At 1 kHz the last ten samples, from all to nothing: 1, 8/9, 7/9 and so on, times 32767."""
    mono = np.concatenate([np.full(100, 0.5), np.full(100, -2.0), np.full(5, 0.5)])
    parts = [
        PartFound("hey", 0.05, 0.1, 0.06),
        PartFound("ya", 0.1, 0.2, 0.11),
        PartFound("oh", 0.2, 0.9, 0.2),
    ]
    folder = tmp_path / "new" / "parts"
    for _ in range(2):  # over what was written before
        files = write_parts(mono.astype(np.float32), 1000, parts, folder, "call")
    assert files == [str(folder / f"call-{name}.wav") for name in ("hey", "ya", "oh")]
    fade = np.arange(9, -1, -1) / 9
    heard = [soundfile.read(file, dtype="int16") for file in files]
    assert [rate_hz for _, rate_hz in heard] == [1000] * 3
    assert {soundfile.info(file).subtype for file in files} == {"PCM_16"}
    hey, ya, oh = (sound for sound, _ in heard)
    assert hey.tolist() == pytest.approx([16383] * 40 + (16383.5 * fade).tolist(), abs=1)
    assert ya.tolist() == pytest.approx(
        [-32767] * 90 + (-32767 * np.minimum(2 * fade, 1)).tolist(), abs=1
    )
    # What is shorter than the fade is faded from its begin; no more is there than the sound has.
    assert oh.tolist() == pytest.approx((16383.5 * np.arange(4, -1, -1) / 4).tolist(), abs=1)
    assert mono[100] == -2.0
