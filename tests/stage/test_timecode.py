"""MIDI time code as the published layouts have it.

MIDI Time Code (MIDI Manufacturers Association): quarter frame F1 0nnndddd, pieces 0 frames low,
1 frames high, 2 and 3 seconds, 4 and 5 minutes, 6 hours low, 7 0rrh; full message F0 7F dd 01 01
hr mn sc fr F7, hr 0rrhhhhh. mido's own encoder of quarter frames is the second witness.
"""

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.stage.timecode import Timecode, seconds_of


def quarters(hours, minutes, seconds, frames, rate):
    """The eight pieces of one time, by the layout; mido makes the bytes."""
    nibbles = [
        frames & 15, frames >> 4, seconds & 15, seconds >> 4, minutes & 15, minutes >> 4,
        hours & 15, hours >> 4 | rate << 1,
    ]  # fmt: skip
    return [
        bytes(mido.Message("quarter_frame", frame_type=piece, frame_value=value).bytes())
        for piece, value in enumerate(nibbles)
    ]


def test_seconds_of_known_times():
    assert seconds_of(0, 0, 10, 12, 0) == 10.5  # 24 frames a second
    assert seconds_of(1, 2, 3, 5, 1) == 3723.2  # 25
    assert seconds_of(0, 0, 0, 15, 3) == 0.5  # 30
    # SMPTE ST 12-1: an hour of drop-frame has 107,892 frames at 30000/1001 a second; frame numbers
    # 0 and 1 are left out each minute but the tenth: 00:01:00;02 is frame 1800.
    assert seconds_of(1, 0, 0, 0, 2) == pytest.approx(107892 * 1001 / 30000)
    assert seconds_of(0, 1, 0, 2, 2) == pytest.approx(1800 * 1001 / 30000)
    assert seconds_of(0, 10, 0, 0, 2) == pytest.approx(17982 * 1001 / 30000)


def test_eight_quarter_frames_tell_the_time_seven_quarters_ago():
    """01:02:03:04 at 25: 3723.16 s when piece 0 came, 7/4 of 0.04 s later at piece 7."""
    timecode = Timecode()
    heard = [timecode.hear(data) for data in quarters(1, 2, 3, 4, 1)]
    assert heard[:7] == [None] * 7
    assert heard[7] == pytest.approx(3723.16 + 0.07)
    assert timecode.hear(quarters(1, 2, 3, 6, 1)[0]) == pytest.approx(3723.24)


def test_one_time_worked_out_by_hand_bit_by_bit():
    """01:37:52:16 at 30 frames: 16 frames are hex 10, low 0, high 1; 52 s are 34, 37 minutes 25, an
    hour 01; rate 3 and hours' fifth bit 0 are 0110. The full message: 3 << 5 | 1 is hex 61."""
    at_s = 3600 + 37 * 60 + 52 + 16 / 30
    timecode = Timecode()
    told = bytes.fromhex("f100 f111 f124 f133 f145 f152 f161 f176")
    heard = [timecode.hear(told[n : n + 2]) for n in range(0, 16, 2)]
    assert heard[7] == pytest.approx(at_s + 7 / 120)
    assert Timecode().hear(bytes.fromhex("f07f7f0101 61253410 f7")) == pytest.approx(at_s)


def test_a_player_that_runs_back_is_heard_back():
    timecode = Timecode()
    told = [*reversed(quarters(0, 0, 10, 2, 1)), *reversed(quarters(0, 0, 10, 0, 1))]
    heard = [timecode.hear(data) for data in told]
    assert heard[7] == pytest.approx(10.08)
    assert heard[8:] == [pytest.approx(10.08 - 0.01 * n) for n in range(1, 9)]


def test_a_player_that_turns_round_goes_on_being_heard():
    """25 frames a second, a quarter is .01 s: forwards to 10.07 at piece 7, back over 6 and 5, then
    forwards again; the time goes with each quarter, and a whole time read after says the same."""
    timecode = Timecode()
    at_10 = quarters(0, 0, 10, 0, 1)
    for data in at_10:
        timecode.hear(data)
    told = [timecode.hear(at_10[n]) for n in (6, 5, 4, 5, 6, 7)]
    assert told == [pytest.approx(10.07 + 0.01 * n) for n in (-1, -2, -3, -2, -1, 0)]


def test_a_turn_within_the_first_pieces_does_not_count_them_twice():
    """Pieces 3, 2, 1 back, then 2 to 7 forwards: 0 was never heard, so nothing is known until the
    eighth of those that follow in order."""
    timecode = Timecode()
    first, later = quarters(0, 0, 10, 0, 1), quarters(0, 0, 10, 2, 1)
    heard = [timecode.hear(first[n]) for n in (3, 2, 1, 2, 3, 4, 5, 6, 7)]
    assert heard == [None] * 9
    heard = [timecode.hear(data) for data in later]
    assert heard[:7] == [None] * 7
    assert heard[7] == pytest.approx(10.08 + 0.07)


@pytest.mark.parametrize("rate", [0, 1, 2, 3])
def test_a_full_message_and_no_other(rate):
    """00:00:01:05 at each rate; another sub-ID, another length or no universal one is no time."""
    frame_s = [1 / 24, 1 / 25, 1001 / 30000, 1 / 30][rate]
    whole_s = 30 * frame_s if rate == 2 else 1.0
    full = bytes([0xF0, 0x7F, 0x7F, 1, 1, rate << 5, 0, 1, 5, 0xF7])
    assert Timecode().hear(full) == pytest.approx(whole_s + 5 * frame_s)
    for at, byte in ((0, 0xF1), (1, 0x7E), (3, 2), (4, 2)):
        assert Timecode().hear(full[:at] + bytes([byte]) + full[at + 1 :]) is None
    assert Timecode().hear(full[:-1]) is None
    assert Timecode().hear(b"\xf1") is None


def test_a_piece_that_is_lost_makes_it_unknown_until_eight_more():
    timecode = Timecode()
    whole = quarters(0, 0, 5, 0, 3)
    for data in whole:
        timecode.hear(data)
    later = quarters(0, 0, 5, 2, 3)
    del later[3]
    heard = [timecode.hear(data) for data in (*later, *quarters(0, 0, 5, 4, 3))]
    assert heard[2] is not None
    assert heard[3:14] == [None] * 11
    assert heard[14] == pytest.approx(5 + 4 / 30 + 7 / 120)


def test_a_full_message_says_where_the_player_went():
    full = bytes([0xF0, 0x7F, 0x7F, 1, 1, 1 << 5 | 1, 0, 2, 5, 0xF7])
    assert Timecode().hear(full) == pytest.approx(3602.2)


@given(st.lists(st.binary(min_size=1, max_size=12) | st.builds(
    lambda value: bytes([0xF1, value]), st.integers(0, 127)), max_size=40))  # fmt: skip
def test_any_bytes_are_a_time_or_none(messages):
    timecode = Timecode()
    for data in messages:
        heard = timecode.hear(data)
        assert heard is None or -1 < heard < 40 * 3600


@given(st.integers(0, 23), st.integers(0, 59), st.integers(0, 59), st.integers(0, 11),
       st.integers(0, 3))  # fmt: skip
def test_every_time_comes_through_its_quarter_frames(hours, minutes, seconds, frame, rate):
    frames = 2 * frame + (2 if rate == 2 and frame == 0 else 0)
    timecode = Timecode()
    heard = [timecode.hear(data) for data in quarters(hours, minutes, seconds, frames, rate)]
    frame_s = [1 / 24, 1 / 25, 1001 / 30000, 1 / 30][rate]
    assert heard[7] == pytest.approx(
        seconds_of(hours, minutes, seconds, frames, rate) + 1.75 * frame_s
    )
