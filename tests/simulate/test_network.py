"""Messages as senders and networks make them. Reference for the distributions: scipy.stats."""

import numpy as np
import pytest
from scipy import stats

from liveaid.simulate import Dead, Network, perform


def _messages(routine, seed=1, **network):
    return perform(routine, seed=seed, network=Network(**network))


@pytest.mark.parametrize("rate_hz", [20.0, 60.0, 200.0, 1000.0])
def test_steady_sender_sends_at_its_rate(four, rate_hz):
    performance = _messages(four, rate_hz=rate_hz)
    for side in ("left", "right"):
        sent = performance.messages.of(side).sent_s
        assert np.diff(sent) == pytest.approx(1.0 / rate_hz)
        assert len(sent) == pytest.approx(performance.duration_s * rate_hz, abs=2)


def test_reading_is_the_true_position_to_its_resolution(routine):
    performance = _messages(routine, resolution_s=0.002)
    for side in ("left", "right"):
        read = performance.messages.of(side)
        true = performance.truth.position_s(side, read.sent_s)
        assert np.abs(read.position_s - true).max() <= 0.001 + 1e-9


def test_sender_on_change_says_nothing_while_the_record_stands(routine):
    performance = _messages(routine, sends="on_change")
    for side in ("left", "right"):
        sent = performance.messages.of(side)
        order = np.argsort(sent.sent_s)
        assert (np.diff(sent.position_s[order]) != 0.0).all()
        track = performance.truth.tracks[side]
        times = np.arange(0.0, performance.duration_s, 0.01)
        standing = np.abs(track.position_s(times + 0.2) - track.position_s(times)) < 1e-12
        standing &= np.abs(track.speed_at(times + 0.1)) < 1e-12
        assert standing.any()
        for t in times[standing][::20]:
            assert not ((sent.sent_s > t + 0.02) & (sent.sent_s < t + 0.18)).any()


def test_sender_on_change_sends_while_the_record_runs(four):
    """A record at nominal speed moves 5 ms in each 200th of a second: every reading is new."""
    performance = _messages(four, sends="on_change")
    sent = performance.messages.of("left").sent_s
    assert np.count_nonzero((sent > 10.0) & (sent < 20.0)) == pytest.approx(2000, abs=1)


@pytest.mark.parametrize("loss", [0.02, 0.3])
def test_messages_are_lost_at_the_rate_asked_for(four, loss):
    whole, rest = _messages(four), _messages(four, loss=loss)
    lost = len(whole.messages) - len(rest.messages)
    assert stats.binomtest(lost, len(whole.messages), loss).pvalue > 1e-3


def test_messages_come_twice_at_the_rate_asked_for(four):
    messages = _messages(four, duplicates=0.1).messages
    for side in ("left", "right"):
        sent = messages.of(side).sent_s
        again = len(sent) - len(np.unique(sent))
        assert stats.binomtest(again, len(np.unique(sent)), 0.1).pvalue > 1e-3


def test_duplicate_says_the_same_again(four):
    messages = _messages(four, duplicates=0.2).messages.of("left")
    order = np.lexsort((messages.now_s, messages.sent_s))
    sent, said = messages.sent_s[order], messages.position_s[order]
    same = np.diff(sent) == 0.0
    assert same.any()
    assert (np.diff(said)[same] == 0.0).all()


def test_delay_is_the_least_and_jitter_the_mean_on_top(four):
    """Slow enough a sender that no message waits for the one before."""
    messages = _messages(four, rate_hz=20.0, delay_s=0.003, jitter_s=0.002).messages
    late = messages.now_s - messages.sent_s - 0.003
    assert late.min() >= 0.0
    assert stats.kstest(late, stats.expon(scale=0.002).cdf).pvalue > 1e-3


def test_order_of_a_deck_is_kept_whatever_the_jitter(four):
    messages = _messages(four, rate_hz=1000.0, jitter_s=0.02).messages
    for side in ("left", "right"):
        assert (np.diff(messages.of(side).sent_s) > 0.0).all()
    assert (np.diff(messages.now_s) >= 0.0).all()


def test_messages_are_overtaken_at_the_rate_asked_for(four):
    messages = _messages(four, reorder=0.05).messages
    for side in ("left", "right"):
        sent = messages.of(side).sent_s
        overtaken = np.count_nonzero(np.diff(sent) < 0.0)
        assert overtaken == pytest.approx(0.05 * len(sent), rel=0.15)


def test_dead_deck_is_silent_and_comes_back(four):
    performance = _messages(four, dead=(Dead("left", 20.0, 35.0), Dead("right", 90.0, 91.0)))
    left, right = (performance.messages.of(side).sent_s for side in ("left", "right"))
    assert not ((left >= 20.0) & (left < 35.0)).any()
    assert not ((right >= 90.0) & (right < 91.0)).any()
    assert ((right >= 20.0) & (right < 35.0)).any()
    assert left.max() > 180.0


def test_messages_read_one_by_one_are_the_columns(four):
    messages = _messages(four, rate_hz=20.0).messages
    for index, message in enumerate(messages):
        assert message == messages[index]
    assert index == len(messages) - 1
    assert {message.side for message in messages} == {"left", "right"}


def test_speed_is_the_slope_of_the_position(four):
    messages = _messages(four, resolution_s=0.0).messages.of("left")
    inside = (messages.sent_s > 5.0) & (messages.sent_s < 15.0)
    slope = np.diff(messages.position_s[inside]) / np.diff(messages.sent_s[inside])
    assert slope == pytest.approx(messages.speed[inside][:-1], abs=1e-3)


@pytest.mark.parametrize(
    "wrong", [{"rate_hz": 0.0}, {"loss": 1.2}, {"jitter_s": -1.0}, {"reorder": -0.1}]
)
def test_impossible_network_cannot_be_built(wrong):
    with pytest.raises(ValueError, match="would do"):
        Network(**wrong)


def test_no_copy_comes_before_the_network_s_least_delay(four):
    """Whatever jitter adds, 20 ms pass first; a copy comes at least 0.1 ms after its message, and
    on average as much later as an exponential's mean, 5 ms."""
    network = {"rate_hz": 20.0, "delay_s": 0.02, "jitter_s": 0.005, "duplicates": 1.0}
    messages = _messages(four, **network).messages.of("left")
    assert (messages.now_s - messages.sent_s).min() >= 0.02
    order = np.lexsort((messages.now_s, messages.sent_s))
    pairs = messages.now_s[order].reshape(-1, 2)
    apart_s = pairs[:, 1] - pairs[:, 0]
    assert apart_s.min() >= 1e-4 - 1e-9
    assert apart_s.mean() == pytest.approx(0.0051, rel=0.1)
