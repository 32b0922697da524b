"""Beats of played material: the worth of a beat and the best chain of them, by plain sums.

Source of the chain: Viterbi's path, held against every chain there is of a few frames.
"""

import numpy as np
import pytest

from liveaid.study import beats
from liveaid.study.beats import (
    PATTERN,
    _events,
    beat_worth,
    best_chain,
    follow_beats,
    from_the_start,
    pattern_at,
    snapped,
    tempo_line,
)
from liveaid.study.onsets import Onsets


def strokes(times_s, strength=1.0):
    """Onsets at so many seconds, all as strong or each as it is told."""
    times_s = np.asarray(times_s, dtype=np.float64)
    strengths = np.broadcast_to(np.float32(strength), times_s.shape).astype(np.float32)
    return Onsets(times_s, strengths, strengths[:, None])


def test_a_beat_is_between_42_and_215_a_minute_long():
    """At 50 frames a second: 3000 / 215 = 13.95 and 3000 / 42 = 71.4 frames."""
    assert beats._LENGTHS.tolist() == list(range(14, 72))


def test_an_onset_counts_in_the_two_frames_about_it_by_how_near_they_are():
    """At 50 a second 0.03 s is frame 1.5 and .065 s 3.25. A strength four times the middling one
    counts twice, one of a hundred times 2.5 at most; beyond the end there is nothing."""
    found = _events(strokes([0.03, 0.065, 0.1, 0.2, 0.3], [1, 4, 1, 1, 100]), 16)
    wanted = np.zeros(16)
    wanted[[1, 2]] = 0.5
    wanted[[3, 4]] = 1.5, 0.5
    wanted[[5, 10, 15]] = 1.0, 1.0, 2.5
    assert found == pytest.approx(wanted, abs=1e-6)
    assert _events(strokes([0.05, 0.1], 1.0), 3).tolist() == [0.0, 0.0, 0.5]
    assert _events(strokes([]), 3).tolist() == [0.0] * 3
    # What has no strength is no division by nothing.
    assert np.isfinite(_events(strokes([0.1], 0.0), 9)).all()


def test_the_pattern_goes_round_the_beat():
    """At twice as many frames as it has places every other one is a mean of its neighbours, the
    last of the last and the first."""
    found = pattern_at(48)
    assert found[::2] == pytest.approx(PATTERN)
    assert found[1::2] == pytest.approx((np.array(PATTERN) + np.roll(PATTERN, -1)) / 2)
    assert pattern_at(12) == pytest.approx(PATTERN[::2])


def test_a_beats_worth_is_how_much_better_the_pattern_tells_it_than_the_rate():
    """The sums written out: onsets times the log of the pattern, less the rate of four seconds
    around times the pattern's excess over 1, half of both; less .05 a second for each .8 octaves
    from 105 BPM, squared; what the end may cut short counts half."""
    rng = np.random.default_rng(6)
    heard = rng.uniform(0.0, 2.0, 400) * (rng.random(400) < 0.2)
    found = beat_worth(heard)
    assert found.shape == (400, 58)
    padded = np.concatenate([np.full(100, heard[0]), heard, np.full(100, heard[-1])])
    rate = np.array([padded[frame : frame + 200].mean() for frame in range(400)])
    for start, length in ((0, 30), (100, 14), (211, 71), (329, 40), (328, 40), (390, 20)):
        inside = slice(start, start + length)
        pattern = pattern_at(length)[: len(heard[inside])]
        better = (heard[inside] * np.log(pattern)).sum() - (rate[inside] * (pattern - 1)).sum()
        octaves = np.log2(3000.0 / length / 105.0) / 0.8
        wanted = 0.5 * better - 0.05 * octaves**2 * length / 50.0
        if start >= 400 - 71:
            wanted *= 0.5
        assert found[start, length - 14] == pytest.approx(wanted, abs=1e-4), (start, length)


def test_the_best_chain_is_the_best_of_all_there_are(monkeypatch):
    """Beats of two, three or four frames; a change of length costs half the square of its log over
    .06. Every chain is tried that begins within a longest beat of the start and ends within one of
    the end."""
    lengths = [20, 21, 22]
    monkeypatch.setattr(beats, "_LENGTHS", np.array(lengths))

    def chains(worth, frame, last, total, path):
        """Every chain from a beat that begins at a frame on."""
        if frame >= len(worth) - lengths[-1]:
            yield total, path
        for column, length in enumerate(lengths):
            if frame + length < len(worth):
                stray = 0.0 if last is None else np.log(length / lengths[last]) / 0.06
                gained = worth[frame, column] - 0.5 * stray**2
                yield from chains(
                    worth, frame + length, column, total + gained, [*path, frame + length]
                )

    for seed in range(6):
        worth = np.random.default_rng(seed).normal(0.3, 1.0, (70, 3)).astype(np.float32)
        tried = [
            one
            for first in range(lengths[-1] + 1)
            for one in chains(worth, first, None, 0.0, [first])
            if len(one[1]) > 1
        ]
        assert best_chain(worth).tolist() == max(tried)[1]


@pytest.mark.parametrize("beat_s", [0.4, 0.57, 0.8])
def test_beats_are_followed_through_a_tempo_that_gives(beat_s):
    """Each beat up to two per cent longer or shorter than usual, strokes on beats and weaker ones
    halfway."""
    rng = np.random.default_rng(8)
    true_s = 0.3 + np.cumsum(beat_s * rng.uniform(0.98, 1.02, 20))
    halves = (true_s[1:] + true_s[:-1]) / 2
    times_s = np.sort(np.concatenate([true_s, halves]))
    strength = np.where(np.isin(times_s, true_s), 4.0, 1.0)
    found = follow_beats(strokes(times_s, strength), true_s[-1] + 0.5)
    inner = found[(found > true_s[1]) & (found < true_s[-2])]
    assert len(inner) >= 16
    assert np.abs(inner[:, None] - true_s).min(axis=1) == pytest.approx(0.0, abs=1e-6)


def test_too_few_strokes_or_too_short_a_sound_have_no_beats():
    """Four strokes, and twice the longest beat: 142 frames of 20 ms, the first at 0."""
    four = strokes([0.0, 0.7, 1.4, 2.1])
    assert len(follow_beats(four, 2.82)) > 2
    assert len(follow_beats(four, 2.81)) == 0
    assert len(follow_beats(strokes([0.0, 0.7, 1.4]), 2.9)) == 0
    assert len(follow_beats(strokes([]), 2.9)) == 0


def test_a_chain_is_begun_earlier_where_onsets_lie_on_the_beats_before_it():
    """Half a second a beat by the middling one of the first four; up to 40 ms beside it."""
    chain = np.array([2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    assert from_the_start(chain, strokes([0.45, 1.03, 1.5, 2.0])).tolist() == [1.03, 1.5, *chain]
    assert from_the_start(chain, strokes([0.99, 1.45, 2.0])).tolist() == chain.tolist()
    assert from_the_start(chain, strokes([1.539])).tolist() == [1.539, *chain]
    assert from_the_start(chain, strokes([1.541])).tolist() == chain.tolist()
    assert from_the_start(chain, strokes([])).tolist() == chain.tolist()
    few = chain[:4]
    assert from_the_start(few, strokes([1.5])).tolist() == few.tolist()
    assert from_the_start(chain[:5], strokes([1.5])).tolist() == [1.5, *chain[:5]]


def test_beats_are_drawn_to_onsets_and_the_others_move_as_their_neighbours():
    """20 ms and -20 ms at the first and the fifth: the three between by 10, 0 and -10, those beyond
    as the last."""
    chain = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 3.5])
    drawn = snapped(chain, strokes([1.02, 2.98]))
    assert drawn == pytest.approx([1.02, 1.51, 2.0, 2.49, 2.98, 3.48])
    # 40 ms away at most, on either side; one onset alone draws none; nor are two beats drawn.
    assert snapped(chain, strokes([1.039, 2.961])) != pytest.approx(chain)
    assert snapped(chain, strokes([1.041, 2.98])).tolist() == chain.tolist()
    assert snapped(chain, strokes([1.02, 2.959])).tolist() == chain.tolist()
    assert snapped(chain[:2], strokes([1.02, 1.52])).tolist() == [1.0, 1.5]
    assert snapped(chain[:3], strokes([1.02, 1.52])) == pytest.approx([1.02, 1.52, 2.02])


def test_a_line_through_beats_tells_tempo_drift_and_residual():
    """Seconds 0, 1, 2.2 and 3.6: slopes of the best line 1.2, periods .9 and 1.5 at the ends of the
    parabola .1 n^2 + .9 n, which goes through all: 100 (.9 / 1.5 - 1) = -40 %. The line is
    -.1 + 1.2 n: off by .1, -.1, -.1 and .1."""
    assert tempo_line(np.array([0.0, 1.0, 2.2, 3.6])) == pytest.approx((50.0, -40.0, 0.1))
    assert tempo_line(np.array([0.0, 1.4, 2.6, 3.6])) == pytest.approx((50.0, 100 * 2 / 3, 0.1))
    assert tempo_line(np.array([5.0, 5.5, 6.0])) == pytest.approx((120.0, 0.0, 0.0))
    # Three beats are on no parabola but their own.
    assert tempo_line(np.array([0.0, 1.0, 2.2]))[1] == 0.0
    # A parabola that turns round tells no drift.
    assert tempo_line(np.array([0.0, 0.1, 1.0, 3.0]))[1] == 0.0
