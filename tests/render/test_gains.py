"""Gains, fades and the guide mix, frame by frame, by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import firwin, resample

from liveaid.render import limiter
from liveaid.render.cut import edge_frames
from liveaid.render.edges import faded, joined, rise, side_by_side
from liveaid.render.guide import _blended, deck_reader, guide_mix
from liveaid.render.level import levelled, loudness_lufs, turned_up
from liveaid.render.limiter import decibels, limited, peak_by_frame, ratio, turned_down
from liveaid.render.stroke_sounds import heard_strokes
from liveaid.routine import Routine

RATE_HZ = 1000


def level(frames, value):
    return np.full((frames, 2), value, dtype=np.float32)


# Raised cosines by hand: .5 - .5 cos(pi x) at x = 1/8, 3/8, 5/8, 7/8, and at 1/4, 3/4.
FOUR = [0.0381, 0.3087, 0.6913, 0.9619]
TWO = [0.1464, 0.8536]


def test_a_rise_goes_through_the_middle_of_its_frames():
    assert rise(4)[:, 0] == pytest.approx(FOUR, abs=1e-4)
    assert rise(0).shape == (0, 1)


def test_a_passage_s_head_and_tail_are_faded_and_nothing_else():
    sound = level(10, 1.0)
    made = faded(sound, head=4, tail=2)
    assert made[:, 0] == pytest.approx([*FOUR, 1, 1, 1, 1, *TWO[::-1]], abs=1e-4)
    assert made[:, 1] == pytest.approx(made[:, 0])
    assert (sound == 1.0).all()
    assert faded(sound, head=0, tail=0)[:, 0] == pytest.approx([1.0] * 10)
    short = faded(level(2, 1.0), head=9, tail=0)
    assert short[:, 0] == pytest.approx(TWO, abs=1e-4)


def test_parts_side_by_side_are_as_loud_as_the_loudest_within_twelve_decibels():
    """Even levels: their own mean square. .2 is turned up twice; .05 by 12 dB, 3.981 times, and no
    more; silence stays. At 1 kHz the last three frames before the tail of two are faded out."""
    parts = [level(10, 0.4), level(10, 0.2), level(10, 0.05), level(10, 0.0), level(4, 0.4)]
    made = side_by_side(parts, tail=2, rate_hz=RATE_HZ)
    fade = [0.9330, 0.5, 0.0670]
    for one, top in zip(made, (0.4, 0.4, 0.05 * 3.981, 0.0), strict=False):
        wanted = [*[top] * 5, *(top * gain for gain in fade), 0, 0]
        assert one[:, 0] == pytest.approx(wanted, abs=1e-4)
    assert made[4][:, 0] == pytest.approx([0.4 * TWO[1], 0.4 * TWO[0], 0, 0], abs=1e-4)


def test_a_joint_crosses_in_the_frames_before_it():
    """Two frames before each part and one after it: 1 goes over into 3 in the two frames before the
    joint, and from there on the next part is alone."""
    made = joined([level(7, 1.0), level(6, 3.0)], head=2, tail=1)
    assert made[:, 0] == pytest.approx(
        [1, 1, 1, 1, 1 + 2 * TWO[0], 1 + 2 * TWO[1], 3, 3, 3, 3], abs=1e-3
    )
    alone = level(7, 1.0)
    assert joined([alone], head=2, tail=1) is alone


def test_decibels_by_the_handbook():
    """20 log10: half is -6.02 dB, twice 6.02, a tenth -20."""
    assert ratio(-6.0206) == pytest.approx(0.5, abs=1e-5)
    assert ratio(20.0) == pytest.approx(10.0)
    assert [decibels(f) for f in (2.0, 0.5, 0.1)] == pytest.approx(
        [6.0206, -6.0206, -20.0], abs=1e-4
    )


def test_a_peak_is_turned_down_over_ten_frames_either_side():
    """At 1 kHz five frames are the window: the gain needed at 500 holds from 495 to 505, and an
    average over five either side of that is 1 again from 511 on. It falls and rises evenly."""
    peaks = np.full(1000, 0.5)
    peaks[500] = 2.0
    made = turned_down(level(1000, 1.0), peaks, 1.0, rate_hz=RATE_HZ)[:, 0]
    assert made[500] == pytest.approx(0.5)
    assert made[[489, 511]] == pytest.approx([1.0, 1.0])
    assert made[490] < 0.9999
    assert made[510] < 0.9999
    assert made[490:501] == pytest.approx(made[500:511][::-1], abs=1e-5)
    assert (np.diff(made[490:501]) <= 1e-6).all()
    assert (made[:490] == 1.0).all()
    assert (made[511:] == 1.0).all()


def test_at_a_sound_s_ends_a_peak_is_turned_down_as_well():
    peaks = np.full(40, 0.5)
    peaks[[0, 39]] = 4.0
    made = turned_down(level(40, 1.0), peaks, 1.0, rate_hz=RATE_HZ)[:, 0]
    assert made[[0, 39]] == pytest.approx([0.25, 0.25])
    assert made[[11, 28]] == pytest.approx([1.0, 1.0])


def test_what_is_below_the_ceiling_is_left_as_it_is():
    sound = level(1000, 0.25)
    made, peak = limited(sound, rate_hz=RATE_HZ, ceiling_dbtp=-1.0)
    assert made is sound
    assert peak == pytest.approx(-12.04, abs=0.8)  # a step rings: some 9 % over, by Gibbs
    assert turned_down(sound, np.full(1000, 0.9), 1.0, rate_hz=RATE_HZ) == pytest.approx(sound)


def test_the_louder_channel_is_the_peak_and_a_lone_sample_is_its_own():
    """Through a sinc a lone sample is 1 at its place and less between."""
    sound = np.zeros((400, 2), dtype=np.float32)
    sound[100, 0], sound[300, 1] = 0.5, -0.75
    peaks = peak_by_frame(sound, above=0.1)
    assert peaks[[100, 300]] == pytest.approx([0.5, 0.75], abs=1e-3)
    assert peaks[200] == 0.0


def sine(dbfs, seconds, rate_hz=48_000):
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    tone = 10 ** (dbfs / 20) * np.sin(2 * np.pi * 1000.0 * time_s)
    return np.repeat(tone[:, np.newaxis], 2, axis=1).astype(np.float32)


# EBU Tech 3341, case 1: a stereo sine of 1 kHz at -23 dBFS reads -23.0 LUFS.
@pytest.mark.parametrize("seconds", [0.01, 0.1, 0.398, 0.4, 1.5])
def test_a_sound_shorter_than_a_gating_block_is_as_loud_as_a_longer_one(seconds):
    assert loudness_lufs(sine(-23.0, seconds), rate_hz=48_000) == pytest.approx(-23.0, abs=0.15)


def test_silence_has_no_loudness():
    silence = np.zeros((48_000, 2), dtype=np.float32)
    assert loudness_lufs(silence, rate_hz=48_000) is None
    made, told = levelled(silence, rate_hz=48_000, wanted_lufs=-18.0)
    assert made is silence
    assert (told.loudness_lufs, told.gain_db, told.limited_db) == (None, 0.0, 0.0)
    assert turned_up(silence, 6.0, rate_hz=48_000)[1].gain_db == 6.0


@pytest.mark.parametrize(
    ("dbfs", "gain_db", "loudness", "peak", "limited_db"),
    [(-20.0, 6.0, -14.0, -14.0, 0.0), (-20.0, -6.0, -26.0, -26.0, 0.0),
     (-3.0, 6.0, -1.2, -1.2, 4.2)],
)  # fmt: skip
def test_a_gain_and_what_it_takes(dbfs, gain_db, loudness, peak, limited_db):
    """A sine at -3 dBFS turned up by 6 dB peaks at +3, 4.2 dB above the ceiling of -1.2."""
    _, told = turned_up(sine(dbfs, 1.0), gain_db, rate_hz=48_000)
    assert told.loudness_lufs == pytest.approx(loudness, abs=0.15)
    assert told.true_peak_dbtp == pytest.approx(peak, abs=0.05)
    assert told.gain_db == gain_db
    assert told.limited_db == pytest.approx(limited_db, abs=0.05)


def test_peaks_are_turned_down_by_nine_decibels_at_most():
    """Clicks of full scale are faint by their mean: what would make them -18 LUFS is not given. The
    ceiling is -1.2 dB, 9 more are turned down: 7.8 dB of gain."""
    clicks = np.zeros((96_000, 2), dtype=np.float32)
    clicks[10_000::24_000] = 1.0
    _, told = levelled(clicks, rate_hz=48_000, wanted_lufs=-18.0)
    assert told.gain_db == pytest.approx(7.8, abs=0.02)
    assert told.limited_db == pytest.approx(9.0, abs=0.05)
    assert told.loudness_lufs < -25.0


@pytest.mark.parametrize(
    ("strokes", "lasts", "heard"),
    [
        ([0.0], 0.0101, [(0.0, 0.0101)]),  # a hundredth of a second is heard
        ([0.0], 0.0099, []),
        ([3.995], 1.0, []),  # the set piece ends first
        ([3.5], 1.0, [(3.5, 4.0)]),
    ],
)
def test_what_is_too_short_to_hear_is_left_out(strokes, lasts, heard):
    found = heard_strokes(strokes, others=[], length_s=4.0, span_s=lasts, back=4.0)
    assert found == [pytest.approx(pair) for pair in heard]


# -- the guide mix


def piece(name, **more):
    return {"name": name, "bars": 1, "tempo": 60, "count": "clock"} | more


RUNS = {"hand": "runs", "at": 1.0}


def mixed(*pieces, value=0.25):
    """The mix of decks that give one value throughout, a frame a millisecond."""
    routine = Routine.model_validate({"title": "T", "pieces": pieces})
    read = lambda side, frame, count: level(count, value)  # noqa: E731
    return guide_mix(routine, read, rate_hz=RATE_HZ)[:, 0]


def test_a_deck_that_runs_is_open_from_the_first_beat_to_the_last():
    """Four beats of a second, and half a second of silence; shut at the end in a few frames."""
    made = mixed(piece("A", left=RUNS))
    assert len(made) == 4500
    assert (made[:3980] == 0.25).all()
    assert made[3999] == 0.0
    assert (np.diff(made[3980:4000]) <= 0).all()
    assert (made[4000:] == 0.0).all()


def test_a_deck_that_goes_on_is_not_shut_between_set_pieces():
    made = mixed(piece("A", left=RUNS), piece("B", left={"hand": "runs", "at": 5.0}))
    assert (made[:7980] == 0.25).all()


def test_over_a_blend_one_comes_and_the_other_goes_at_equal_power():
    """Left runs in A and B, right in B and C, B a blend: right comes up by a sine over B's first
    half, left goes by the same over its second; half-way each is at sin 45 degrees, .7071."""
    made = mixed(
        piece("A", left=RUNS), piece("B", technique="blend", left=RUNS, right=RUNS),
        piece("C", right=RUNS),
    )  # fmt: skip
    assert made[[3999, 4000]] == pytest.approx([0.25, 0.25])
    assert made[5000] == pytest.approx(0.25 * 1.7071, abs=1e-3)
    assert made[6000] == pytest.approx(0.5, abs=1e-3)
    assert made[7000] == pytest.approx(0.25 * 1.7071, abs=1e-3)
    assert made[8100] == pytest.approx(0.25)
    apart = mixed(piece("A", left=RUNS), piece("B", left=RUNS, right=RUNS), piece("C", right=RUNS))
    assert apart[5000] == pytest.approx(0.5)


def test_a_mix_above_the_ceiling_is_turned_down_as_a_whole():
    """Two decks at .5 make 1, and with what an edge rings a little more: -1.2 dB is .871."""
    made = mixed(piece("A", left=RUNS, right=RUNS), value=0.5)
    assert 0.75 < made[2000] < 0.872


def test_a_deck_is_read_where_its_passages_lie():
    """A passage from frame 100, ten frames of its samples before it: 0, 1, 2 ... from frame 90."""
    ramp = np.repeat(np.arange(50, dtype=np.float32)[:, np.newaxis], 2, axis=1)
    laid = SimpleNamespace(begin=100, passage="a")
    layouts = {"left": SimpleNamespace(laid=[laid]), "right": SimpleNamespace(laid=[])}
    read = deck_reader(layouts, lambda passage: ramp, head=10)
    assert read("left", 80, 13)[:, 0].tolist() == [0.0] * 10 + [0.0, 1.0, 2.0]
    assert read("left", 90, 3)[:, 0].tolist() == [0.0, 1.0, 2.0]
    assert read("left", 137, 5)[:, 0].tolist() == [47.0, 48.0, 49.0, 0.0, 0.0]
    assert read("left", 140, 4).sum() == 0.0
    assert read("left", 139, 1)[0, 0] == 49.0
    assert read("left", 88, 2).sum() == 0.0
    assert read("right", 90, 20).sum() == 0.0


def test_peaks_between_samples_are_found_on_both_channels_where_they_are():
    """Reference: scipy.signal.resample, the whole sound by its Fourier transform at eight places a
    sample; each frame has the highest of itself and what lies up to its neighbours."""
    noise = np.random.default_rng(3).standard_normal((2, 120))
    below = firwin(41, 0.5)
    sound = np.zeros((200, 2), dtype=np.float32)
    for channel, part in enumerate(noise):
        sound[20:180, channel] = 0.3 * np.convolve(part, below)
    sound[:, 0] *= 0.5  # the right channel is the louder
    fine = np.pad(np.abs(resample(sound.astype(float), 1600)).max(axis=1), 8)
    wanted = [fine[8 * frame + 1 : 8 * frame + 16].max() for frame in range(200)]
    assert peak_by_frame(sound, above=0.0) == pytest.approx(wanted, abs=2e-4)


def test_a_peak_between_two_samples_is_looked_for_at_eighths():
    """A sine of a quarter of the rate whose crests lie a sixteenth of a sample beside the eighths:
    what is seen of it is cos(pi / 2 / 16) = .99518."""
    sine = np.sin(np.pi / 2 * (np.arange(200) + 1 / 16))
    peaks = peak_by_frame(np.stack([sine, sine], axis=1).astype(np.float32), above=1.0)
    assert peaks[50:150] == pytest.approx(0.99518, abs=2e-5)


def test_three_gains_are_tried_and_what_they_leave_is_taken_off_the_whole(monkeypatch):
    """A gain that does nothing leaves a lone sample of 2: all is brought to half, -6.02 dB."""
    tried = []

    def nothing(sound, peaks, ceiling, *, rate_hz):
        tried.append(float(peaks.max()))
        return sound

    monkeypatch.setattr(limiter, "turned_down", nothing)
    sound = np.zeros((100, 2), dtype=np.float32)
    sound[50] = 2.0
    made, peak = limited(sound, rate_hz=44_100, ceiling_dbtp=0.0)
    assert (tried, peak) == ([2.0, 2.0, 2.0], 0.0)
    assert made == pytest.approx(0.5 * sound)


def test_a_peak_just_at_the_ceiling_is_left_as_it_is():
    sound = np.zeros((100, 2), dtype=np.float32)
    sound[50] = ratio(-1.2)
    assert limited(sound, rate_hz=44_100, ceiling_dbtp=-1.2)[0] is sound


def test_a_blends_gain_over_few_frames():
    """Half of them each: sin of 0, 45 and 90 degrees up, the same down; an odd one stays open."""
    root = 0.5**0.5
    for frames, comes, goes, gain in (
        (6, True, False, [0, root, 1, 1, 1, 1]), (6, False, True, [1, 1, 1, 1, root, 0]),
        (6, True, True, [0, root, 1, 1, root, 0]), (7, True, True, [0, root, 1, 1, 1, root, 0]),
        (6, False, False, [1] * 6), (1, True, True, [1]), (0, True, True, []),
    ):  # fmt: skip
        assert _blended(frames, comes=comes, goes=goes) == pytest.approx(gain, abs=1e-6)


def test_a_worked_deck_is_opened_and_shut_in_2_ms_and_a_running_one_shut_where_it_ends():
    """At 5 kHz 2 ms are 10 frames, from 0 to 1 in ninths. Left runs on into B, right is let go in
    A on its first beat for half a second; a beat is a second."""
    right = {"hand": "works", "from": 1.0, "to": 1.5, "strokes": [0]}
    pieces = [piece("A", left=RUNS, right=right), piece("B", left={"hand": "runs", "at": 5.0})]
    routine = Routine.model_validate({"title": "T", "pieces": pieces})
    value = {"left": 0.125, "right": 0.25}
    read = lambda side, frame, count: level(count, value[side])  # noqa: E731
    made = guide_mix(routine, read, rate_hz=5000)[:, 0]
    assert len(made) == 42_500
    ninths = np.arange(10) / 9
    assert made[:10] == pytest.approx(0.125 + 0.25 * ninths)
    assert made[10:2490] == pytest.approx(0.375)
    assert made[2490:2500] == pytest.approx(0.125 + 0.25 * ninths[::-1])
    assert made[2500:39_990] == pytest.approx(0.125)
    assert made[39_990:40_000] == pytest.approx(0.125 * ninths[::-1])
    assert not made[40_000:].any()


def test_a_mix_that_is_not_too_loud_is_left_as_it_is():
    assert (mixed(piece("A", left=RUNS), value=0.5)[:3980] == 0.5).all()
    assert not mixed(piece("A", left=RUNS), value=0.0).any()


def test_a_passage_fades_in_for_half_a_millisecond_and_out_for_twenty():
    assert edge_frames(48_000) == (24, 960)
