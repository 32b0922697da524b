"""A sound's facts as the shelf keeps them, thirteen numbers of eight bytes, and read again."""

import math
import struct

from liveaid.shelf.crate_facts import packed, unpacked
from liveaid.study.facts import Study

PLAIN = Study(
    duration_s=10.0, sample_rate_hz=44100, channels=1, format="WAV PCM_16", frames_declared=441000,
    frames_read=441000, loudness_lufs=-14.0, energy=3,
)  # fmt: skip


def test_what_is_not_known_is_no_number_and_no_key_is_minus_one():
    kept = struct.unpack("<13d", packed(PLAIN))
    assert [place for place, number in enumerate(kept) if math.isnan(number)] == [0, 3, 4]
    assert kept[8:12] == (3.0, -14.0, 10.0, -1.0)
    again = unpacked([packed(PLAIN), packed(PLAIN)])
    assert again.key.tolist() == [-1, -1]
    assert again.duration.tolist() == [10.0, 10.0]
