"""MIDI clock by the performer's place: 24 a beat, slewed, stopped and gone on with at a leap.

Bytes: MIDI 1.0 Detailed Specification, System Common and System Real Time messages.
"""

import itertools

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.stage.beat_clock import BeatClock, song_position


def played(places, until_s):
    """Tell the clock each (seconds, beats or None, beats a second) and let it send all that is due;
    [(seconds, message)]."""
    clock, sent = BeatClock(), []
    for (now, beats, rate), after in itertools.zip_longest(places, places[1:]):
        sent += [(now, message) for message in clock.told(beats, rate, now)]
        end_s = after[0] if after else until_s
        while (due_s := clock.due_s()) is not None and due_s < end_s:
            moment = max(due_s, now)
            sent += [(moment, message) for message in clock.clock(moment)]
    return sent


def clocks(sent):
    return [now for now, message in sent if message == b"\xf8"]


def test_song_position_is_sixteenths_low_byte_first():
    """Two data bytes of seven bits, least significant first; mido reads the same."""
    assert song_position(0) == bytes([0xF2, 0, 0])
    assert song_position(1) == bytes([0xF2, 1, 0])
    assert song_position(128) == bytes([0xF2, 0, 1])
    # Beat 120, thirty bars of four on, is sixteenth 480: 3 times 128 and 96, hex 60.
    assert song_position(480) == bytes.fromhex("f26003")
    assert song_position(16383) == bytes([0xF2, 127, 127])
    assert song_position(99999) == bytes([0xF2, 127, 127])
    for sixteenths in (0, 5, 127, 128, 8192, 16383):
        read = mido.Message.from_bytes(song_position(sixteenths))
        assert (read.type, read.pos) == ("songpos", sixteenths)


def test_from_the_start_24_a_beat():
    """120 BPM: 2 beats a second, told every 20 ms for 10 s: 480 clocks, 1/48 s apart."""
    sent = played([(n * 0.02, n * 0.04, 2.0) for n in range(500)], 10.0)
    assert [message for _, message in sent[:3]] == [b"\xfa", b"\xf8", b"\xf8"]
    times = clocks(sent)
    assert len(times) == 480
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert max(abs(gap - 1 / 48) for gap in gaps) < 1e-6


def test_in_the_middle_it_is_said_where_and_goes_on_there():
    """Beat 9.3 is sixteenth 37.2: on with sixteenth 38, beat 9.5, 0.1 s later at 2 beats a s."""
    sent = played([(5.0, 9.3, 2.0)], 5.2)
    assert sent[0] == (5.0, bytes([0xF2, 38, 0]))
    assert sent[1][1] == b"\xfb"
    assert sent[1][0] == pytest.approx(5.1)
    assert sent[2][1] == b"\xf8"


def test_it_stops_when_the_music_does_and_only_once():
    sent = played([(0.0, 0.0, 2.0), (1.0, 2.0, 2.0), (2.0, None, 0.0), (3.0, None, 0.0)], 4.0)
    assert [m for _, m in sent if m == b"\xfc"] == [b"\xfc"]
    assert clocks(sent)[-1] < 2.0


def test_a_leap_is_gone_to():
    sent = played([(0.0, 0.0, 2.0), (1.0, 2.0, 2.0), (1.5, 40.0, 2.0)], 2.0)
    others = [(round(now, 6), m) for now, m in sent if m != b"\xf8"]
    assert others == [(0.0, b"\xfa"), (1.5, b"\xfc"), (1.5, bytes([0xF2, 32, 1])), (1.5, b"\xfb")]


def test_the_mean_tempo_is_the_performers_whatever_the_noise():
    """A minute at 93.7 BPM, each place off by up to 0.01 beat, the rate by 3 %: clocks follow the
    place, so their mean tempo is right within 0.05 %."""
    rate = 93.7 / 60
    places = [
        (n / 50, n / 50 * rate + 0.001 * ((n * 7919) % 21 - 10), rate * (1 + (n % 7 - 3) / 100))
        for n in range(3000)
    ]
    times = clocks(played(places, 60.0))
    bpm = 60 * (len(times) - 1) / 24 / (times[-1] - times[0])
    assert bpm == pytest.approx(93.7, rel=0.0005)
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert max(gaps) < 1.2 * 60 / 93.7 / 24


@given(
    st.lists(
        st.tuples(st.floats(0.001, 0.3), st.none() | st.floats(0, 500), st.floats(0.3, 4)),
        min_size=1, max_size=60,
    )
)  # fmt: skip
def test_whatever_is_told_time_goes_on_and_messages_make_sense(steps):
    """Never two starts without a stop between, no clock while stopped, no clock before the last."""
    now, places = 0.0, []
    for wait, beats, rate in steps:
        now += wait
        places.append((now, beats, rate))
    sent = played(places, now + 1.0)
    assert [moment for moment, _ in sent] == sorted(moment for moment, _ in sent)
    runs = False
    for _, message in sent:
        if message in (b"\xfa", b"\xfb"):
            assert not runs
            runs = True
        elif message == b"\xfc":
            assert runs
            runs = False
        elif message == b"\xf8":
            assert runs
