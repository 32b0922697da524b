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


@pytest.mark.parametrize(
    ("beats", "told", "first_s"),
    [
        (0.1, [b"\xfa"], 10.0),
        (0.125, [bytes([0xF2, 1, 0]), b"\xfb"], 10.0625),
        (-0.5, [b"\xfa"], 10.25),
        (0.5, [bytes([0xF2, 2, 0]), b"\xfb"], 10.0),
    ],
)
def test_near_the_start_it_begins_at_the_start(beats, told, first_s):
    """At 2 beats a second. A tenth of a beat late is on time: the first clock at once. At .125
    the next sixteenth is beat .25, .0625 s on. Half a beat before, the start is .25 s away."""
    sent = played([(10.0, beats, 2.0)], 10.5)
    assert [message for _, message in sent][: len(told)] == told
    assert clocks(sent)[0] == pytest.approx(first_s)


@pytest.mark.parametrize(("beats", "leaps"), [(2.2, False), (1.8, False), (2.3, True), (1.7, True)])
def test_a_quarter_of_a_beat_either_way_is_slewed_and_more_is_another_place(beats, leaps):
    clock = BeatClock()
    clock.told(0.0, 2.0, 0.0)
    while clock.due_s() < 1.0:
        clock.clock(clock.due_s())
    assert (clock.told(beats, 2.0, 1.0) != []) is leaps


def test_an_error_is_slewed_by_eight_per_cent_a_prompt_and_the_rate_by_a_quarter():
    """At 2 beats a second from 0: clock 12, beat .5, would be due at .25 s. Told .2 at .1 s and
    nothing is off; told .3 there the place is .2 + .08 * .1 = .208, .292 beats to go, .146 s. A
    rate of 4 told makes 2 + (4 - 2) / 4 = 2.5 of it: .292 / 2.5 = .1168 s."""
    for beats, rate, due_s in ((0.2, 2.0, 0.25), (0.3, 2.0, 0.246), (0.3, 4.0, 0.2168)):
        clock = BeatClock()
        clock.told(0.0, 2.0, 0.0)
        for n in range(12):
            clock.clock(n / 1000)
        clock.told(beats, rate, 0.1)
        assert clock.due_s() == pytest.approx(due_s)


def test_clocks_that_are_to_be_caught_up_come_at_most_twice_as_fast():
    """At 2 beats a second a clock is due each 1/48 s; half a second late, each 1/96 s."""
    clock = BeatClock()
    clock.told(0.0, 2.0, 0.0)
    clock.clock(0.5)
    assert clock.due_s() == pytest.approx(0.5 + 1 / 96)


def test_whether_it_runs_and_what_stops_it():
    """A rate of nothing is music that stands; before the first clock there is nothing to stop."""
    clock = BeatClock()
    assert not clock.running
    assert clock.clock(0.0) == []
    assert clock.told(None, 2.0, 0.0) == []
    clock.told(0.0, 2.0, 0.0)
    assert clock.running
    assert clock.told(None, 2.0, 0.1) == []
    clock.told(0.0, 2.0, 0.2)
    assert clock.clock(0.2) == [b"\xfa", b"\xf8"]
    assert clock.clock(0.22) == [b"\xf8"]
    assert clock.told(0.1, 0.0, 0.25) == [b"\xfc"]
    assert not clock.running
    assert clock.due_s() is None


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
