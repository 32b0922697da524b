"""Small cases of the study worked out by hand: levels, choices, what is near and what is not.

Formulas: the mean of powers in decibels (IEC 61672-1, from memory), the root of the mean square.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import key, onsets
from liveaid.study.downbeat import _metre, find_bars
from liveaid.study.grid import Grid, _densest_s, _excess, _line, come_back, fit_grid, wander_s
from liveaid.study.loop import (
    SURE_EXCESS,
    _agrees,
    _counts,
    _may_end_on_a_beat,
    find_loop,
    fit_inside,
    told_by_length,
)
from liveaid.study.onsets import Onsets
from liveaid.study.phrases import find_phrases, silence_s
from liveaid.study.pulse import sharpened_s
from liveaid.study.spectrum import BANDS, FRAMES_HZ, GROUPS, HOP, RATE_HZ
from liveaid.study.spoken_words import find_words
from liveaid.study.tempo import _residual_s
from liveaid.study.tempo_course import CourseStretch, changes, follow_course
from liveaid.study.texture import GLIDE_OCTAVES, TEXTURE_GROUPS, Texture
from liveaid.study.tone import LAGS_A_SECOND, _pitch
from liveaid.study.voice import features


def beginnings(times_s, strength=1.0):
    """Onsets at so many seconds, each as strong as the others or as it is told."""
    times_s = np.asarray(times_s, dtype=np.float64)
    strengths = np.broadcast_to(np.float32(strength), times_s.shape).astype(np.float32)
    return Onsets(times_s, strengths, np.tile(strengths[:, None] / GROUPS, GROUPS))


def test_a_window_is_as_loud_as_the_mean_of_its_powers():
    """Frames by turns at 0 and -10 dB: 10 log10((1 + 0.1) / 2) = -2.596 dB."""
    frames = 40
    bands = np.full((frames, BANDS), 1.0 / BANDS)
    bands[1::2] *= 0.1
    even = np.full((frames, TEXTURE_GROUPS), 0.5)
    still = np.zeros((frames, GLIDE_OCTAVES))
    texture = Texture(even, even, still, still, np.zeros(frames), np.ones(frames))
    _, level_db = features(SimpleNamespace(bands=bands), texture)
    assert level_db == pytest.approx([-2.596, -2.596], abs=1e-3)  # frames 0 to 31, 8 to 39


def test_what_tells_a_voice_does_not_hang_on_how_loud_the_file_is():
    """The same at a tenth of the amplitude, a hundredth of the power."""
    rng = np.random.default_rng(2)
    bands = rng.uniform(0.1, 1.0, (40, BANDS))
    lasting, striking = rng.uniform(0.1, 1.0, (2, 40, TEXTURE_GROUPS))
    still = np.zeros((40, GLIDE_OCTAVES))
    rest = still, still, rng.uniform(0.5, 1.0, 40), rng.uniform(100.0, 110.0, 40)
    loud = features(SimpleNamespace(bands=bands), Texture(lasting, striking, *rest))
    soft = features(
        SimpleNamespace(bands=bands / 100), Texture(lasting / 100, striking / 100, *rest)
    )
    for one, other in zip(loud, soft, strict=True):
        assert one == pytest.approx(other, abs=1e-6)


@pytest.mark.parametrize(("share", "metre"), [(0.54, 4), (0.6, 3)])
def test_three_in_a_bar_need_to_be_clearly_more_than_four(share, metre):
    """Accents that swing every three and every four beats, the threes with a share s of the power.
    At one and two bars of three the threes repeat wholly, the fours by (0 - 1) / 2; at bars of
    four the fours wholly, the threes by -1 / 2: the threes lead by 3 s - 1.5, .12 or .3."""
    beat = np.arange(2400)
    three, four = np.cos(2 * np.pi * beat / 3), np.cos(2 * np.pi * beat / 4)
    assert _metre(np.sqrt(share) * three + np.sqrt(1 - share) * four, None) == metre


def test_a_period_nearly_three_per_cent_off_is_drawn_to_the_peak_beside_it():
    """A curve with its peaks every second. A period of .973 s has the first one 5.4 frames on; it
    looks 3 % of a period, 6 frames, to either side."""
    curve = np.cos(2 * np.pi * np.arange(20 * FRAMES_HZ) / FRAMES_HZ)
    assert sharpened_s(curve, 0.973) == pytest.approx(1.0, abs=1e-4)


def test_a_line_is_laid_through_the_many_and_not_through_what_is_a_fifth_of_a_step_off():
    """Forty onsets .1 s apart from .03 s on, six of them 22 ms late."""
    times = 0.03 + 0.1 * np.arange(40.0)
    times[[3, 9, 17, 25, 33, 38]] += 0.022
    step_s, phase_s = _line(times, np.ones(40), 0.1, 0.03)
    assert (step_s, phase_s) == pytest.approx((0.1, 0.03), abs=1e-9)


def test_a_slow_beginning_does_not_tilt_the_grid():
    """A hundred beats half a second long: a string on each of the first twenty is heard 20 ms late,
    a louder drum on each of the others at once."""
    beats = np.arange(100.0)
    times = 0.5 * beats + 0.02 * (beats < 20)
    heard = beginnings(times, np.where(beats < 20, 0.2, 1.0))
    found = fit_grid(heard, 0.5)
    assert (found.period_s, found.phase_s) == pytest.approx((0.5, 0.0), abs=1e-6)


@pytest.mark.parametrize(("every", "alike"), [(3, [1.0, -0.5]), (4, [-1 / 3, 1.0])])
def test_accents_come_back_every_three_lines_or_every_four(every, alike):
    """Strong ones among weak ones repeat wholly at their own distance and its multiples, elsewhere
    by -1 / (n - 1); of 3, 6 and 9 none is a multiple of 4, of 4, 8 and 16 none of 3."""
    line = np.arange(2400)
    heard = beginnings(0.1 * line, np.where(line % every == 0, 4.0, 1.0))
    grid = Grid(0.4, 0.0, 4, hit_share=1.0, excess=9.0, residual_s=0.0)
    assert come_back(heard, grid, 3, 4) == pytest.approx(alike, abs=0.01)
    assert come_back(heard, Grid(40.0, 0.0, 1, 1.0, 9.0, 0.0), 3) == [0.0]  # six lines tell nothing


@pytest.mark.parametrize(("depth", "place"), [(0.2, 100), (0.1, 400)])
def test_a_dull_split_stands_unless_its_band_splits_twice_as_deep(monkeypatch, depth, place):
    """Split at 100 by all, at 400 by the band alone at a depth of 0.3: half of that is 0.15.

    A peak at frame 10 is looked at from 768 samples before it: 1100 - 768 + place.
    """
    found = iter([(np.array([100]), np.array([depth])), (np.array([400]), np.array([0.3]))])
    monkeypatch.setattr(onsets, "split_point", lambda _: next(found))
    begin_s = onsets._begin_s(
        np.zeros(4000, np.float32), np.array([10]), np.ones((1, GROUPS), np.float32)
    )
    assert begin_s * RATE_HZ == pytest.approx([10 * HOP - 768 + place])


def test_an_onset_is_on_the_beat_within_60_ms_and_no_tenth_of_a_long_beat():
    """Beats a second apart, heard 30 ms late and 40 ms early: sqrt((9 + 16) / 2) = 3.536 (x 10 ms).
    90 ms beside the beat is another sound, though less than a tenth of it."""
    heard = beginnings([0.03, 1.96, 3.09])
    assert _residual_s(heard, np.arange(4.0), 1.0) == pytest.approx(0.03536, abs=1e-5)


def test_a_file_of_two_minutes_is_a_loop_and_one_of_more_than_130_s_a_track():
    """240 beats at 120 BPM are 120 s, 264 are 132 s; strong and weak by turns."""

    def found(beats):
        times_s = np.arange(2 * beats) / 4.0  # halves of a beat
        strength = np.where(np.arange(2 * beats) % 2 == 0, 3.0, 1.0)
        duration_s = beats / 2.0
        rise = np.zeros((round(duration_s * FRAMES_HZ) + 1, GROUPS), np.float32)
        rise[np.round(times_s * FRAMES_HZ).astype(int)] = strength[:, None]
        heard = beginnings(times_s, strength)
        return find_loop(SimpleNamespace(rise=rise), heard, duration_s, None)

    loop = found(240)
    assert loop is not None
    assert loop.beats in (120, 240, 480)
    assert found(264) is None


def test_nothing_lasts_in_frames_without_power():
    nothing = np.zeros(2, np.float32)
    assert key._tonal(np.array([0, 1]), np.array([60.0, 60.0]), nothing, 0.0) == 0.0


def test_a_grid_that_was_kept_for_half_the_time_wandered_by_what_the_rest_is_off():
    """Six onsets on the line in the first sixteen beats, six 50 ms late in the next: six against
    none are more than twice the root of six."""
    times = np.concatenate([np.arange(6.0), 16.05 + np.arange(6.0)])
    grid = Grid(1.0, 0.0, 1, hit_share=1.0, excess=9.0, residual_s=0.0)
    assert wander_s(beginnings(times), grid) == pytest.approx(0.05, abs=1e-6)
    assert wander_s(beginnings(times[:7]), grid) == 0.0  # one late onset tells of no change


def test_a_grid_whose_lines_hold_as_well_as_a_place_beside_them_has_not_wandered():
    """Of ten onsets in sixteen beats six are 30 ms late, as slow attacks are heard, four are on the
    line: (6 - 4) / sqrt(6 + 4) = .63 is no two; of nine and one, 8 / sqrt(10) = 2.5 is."""
    grid = Grid(1.0, 0.0, 1, hit_share=1.0, excess=9.0, residual_s=0.0)
    beats = np.arange(10.0)
    assert wander_s(beginnings(beats + 0.03 * (beats < 6)), grid) == 0.0
    assert wander_s(beginnings(beats + 0.03 * (beats < 9)), grid) == pytest.approx(0.03, abs=1e-6)


def test_twelve_onsets_on_lines_a_second_apart_are_six_deviations_beyond_chance():
    """Within 0.1 s of a line lies a fifth of all time: (1 - 0.2) / sqrt(0.2 * 0.8) = 2, times the
    root of the 12 - 3 = 9 onsets that were not fitted."""
    assert _excess(np.zeros(12), np.ones(12), 1.0, 0.1) == pytest.approx(6.0)


def test_an_onset_at_the_very_end_of_a_span_is_in_it():
    """A second from 0 on holds two onsets of 1 each, that from 5 on one of 1.5."""
    assert _densest_s(np.array([0.0, 1.0, 5.0]), np.array([1.0, 1.0, 1.5]), 1.0) == 0.5


def test_a_soft_tone_has_its_pitch_and_a_softer_one_than_80_db_down_none():
    """440 Hz at a twentieth of full scale: the mean square is 0.05**2 / 2 = 1.25e-3."""
    sine = np.sin(2 * np.pi * 440.0 * np.arange(5760) / LAGS_A_SECOND).astype(np.float32)
    assert _pitch(0.05 * sine) == pytest.approx(440.0, rel=0.01)
    assert _pitch(1e-4 * sine) == 0.0


def test_what_never_pauses_is_one_phrase():
    """Two seconds at -10 and -12 dB by turns: no background is told from what is heard."""
    frames = round(2 * FRAMES_HZ)
    level_db = np.where(np.arange(frames) // 20 % 2 == 0, -10.0, -12.0)
    ((begins_s, ends_s),) = find_phrases(level_db, beginnings([]), 2.0)
    assert (begins_s, ends_s) == pytest.approx((0.0, 2.0), abs=0.02)


def test_of_many_peaks_the_strongest_twelve_are_asked_whether_they_last():
    """Twelve strong peaks that the next frame has too, and one weak one in each frame elsewhere:
    all the strong one's power (two thirds of it in its bin) out of as much lasts in the first."""
    strong, weak = np.full(12, 2.0, np.float32), np.float32(0.1)
    notes = 40.0 + 2.0 * np.arange(12)
    frame = np.repeat([0, 1], 13)
    semitone = np.concatenate([[30.0], notes, [33.0], notes])
    size = np.concatenate([[weak], strong, [weak], strong]).astype(np.float32)
    assert key._tonal(frame, semitone, size, 144.0) == pytest.approx(12 * 4.0 * 1.5 / 144.0)


def test_a_blip_of_a_fiftieth_of_a_second_is_no_phrase():
    """Smeared over 0.03 s more at most it stays below 0.08 s. Half a second is a phrase."""
    at_s = np.arange(round(2 * FRAMES_HZ)) / FRAMES_HZ
    sounds = ((at_s >= 1.0) & (at_s < 1.5)) | ((at_s >= 0.3) & (at_s < 0.32))
    ((begins_s, ends_s),) = find_phrases(np.where(sounds, -10.0, -70.0), beginnings([]), 2.0)
    assert (begins_s, ends_s) == pytest.approx((1.0, 1.5), abs=0.03)


def test_a_bass_note_is_named_by_the_tuning_it_is_played_in():
    """Pitch 24.4 is C (24 = 2 * 12) where all is 40 cents sharp, and C sharp where it is flat."""
    partials = key.Partials(np.array([0]), np.array([24.4]), np.array([1.0]), 1, 1.0, 1.0)
    assert key.bass(partials, 40.0)[0] == 1.0
    assert key.bass(partials, -40.0)[1] == 1.0


def test_a_bare_count_may_hold_just_the_beats_that_are_counted_and_one_at_least():
    assert list(_counts(8.0, 0.5)) == [16]
    assert list(_counts(0.2, 0.5)) == [1]


@pytest.mark.parametrize(("duration_s", "may"), [(7.52, True), (7.54, False), (7.96, False)])
def test_a_file_ends_on_a_half_beat_within_30_ms_where_its_grid_is_sure(duration_s, may):
    """At 60 BPM half a beat is .5 s: 7.5 and 8.0 s are on one."""
    sure = SimpleNamespace(excess=SURE_EXCESS, period_s=1.0)
    assert _may_end_on_a_beat(sure, duration_s) is may
    unsure = SimpleNamespace(excess=SURE_EXCESS - 1, period_s=1.0)
    assert _may_end_on_a_beat(unsure, duration_s)


@pytest.mark.parametrize(
    ("beats", "off", "agrees"),
    [(8, 0.007, True), (8, 0.008, False), (32, 0.0007, True), (32, 0.0008, False)],
)
def test_a_sure_grid_agrees_with_a_loops_length_to_30_ms_and_to_12_of_a_long_one(
    beats, off, agrees
):
    """Half a second a beat: 8 are 4 s and 30 ms of them 0.75 %, 32 are 16 s, 12 ms 0.075 %."""
    loop = SimpleNamespace(period_s=0.5)
    free = SimpleNamespace(excess=SURE_EXCESS, period_s=0.5 / (1 + off))
    assert _agrees(beats, loop, free, beats / 2) is agrees


@pytest.mark.parametrize(
    ("course", "changed"),
    [
        ("hhhohhh", False),
        ("hhhoooo", True),
        ("ooohhhh", True),
        ("hho.hhh", False),
        ("hhohoo", True),
    ],
)
def test_a_tempo_that_comes_back_on_the_same_lines_never_left_them(course, changed):
    """`h` the common grid holds, `o` another tempo does, `.` neither."""
    stretches = [
        CourseStretch(8.0 * at, 0.5, one == "h", one == "o") for at, one in enumerate(course)
    ]
    assert changes(stretches) is changed


def levels(*pieces):
    """The level frame by frame: so many dB for so many seconds each."""
    return np.concatenate([np.full(round(s * FRAMES_HZ), db, np.float32) for db, s in pieces])


REST = (-100, 0.5)


@pytest.mark.parametrize(
    ("pieces", "onsets_s", "found_s"),
    [
        # Smoothed over 30 ms it rises to -30 dB some ms before its begin, and sinks to -40 dB some
        # after its end.
        ((REST, (0, 0.5), REST), (), [(0.489, 1.013)]),
        # The nearest onset within 60 ms of that begins it.
        ((REST, (0, 0.5), REST), (0.54, 0.6), [(0.54, 1.013)]),
        ((REST, (0, 0.5), REST), (0.435,), [(0.435, 1.013)]),
        ((REST, (0, 0.5), REST), (0.555,), [(0.489, 1.013)]),
        ((REST, (0, 0.5), REST), (0.3,), [(0.489, 1.013)]),
        ((REST, (0, 0.5), REST), (0.3, 0.5), [(0.5, 1.013)]),
        # A pause is a gap of a fifth of a second in what is so widened.
        ((REST, (0, 0.5), (-100, 0.21), (0, 0.5), REST), (), [(0.489, 1.721)]),
        ((REST, (0, 0.5), (-100, 0.25), (0, 0.5), REST), (), [(0.489, 1.013), (1.237, 1.761)]),
        # Under 80 ms is a click; the file's end ends a phrase.
        ((REST, (0, 0.05), REST, (0, 0.5), REST), (), [(1.038, 1.561)]),
        ((REST, (0, 0.07), REST), (), [(0.489, 0.584)]),
        ((REST, (0, 0.5)), (), [(0.489, 0.998)]),
        # Softer than -80 dB is none.
        (((-120, 0.5), (-79, 0.5), (-120, 0.5)), (), [(0.489, 1.013)]),
        (((-120, 0.5), (-81, 0.5), (-120, 0.5)), (), []),
        # A breath of -35 dB belongs to a phrase that it touches, and makes none; at -45 neither.
        ((REST, (-35, 0.3), (0, 0.5), REST, (-35, 0.5), REST), (), [(0.494, 1.312)]),
        ((REST, (-45, 0.3), (0, 0.5), REST), (), [(0.789, 1.312)]),
        # Over a background of -20 dB it has to rise by 9, and ends 3 dB lower.
        (((-20, 1.0), (-10, 0.5), (-20, 1.0), (0, 0.5), (-20, 1.0)), (),
         [(0.993, 1.507), (2.484, 3.008)]),
        (((-20, 1.0), (-12, 0.5), (-20, 1.0), (0, 0.5), (-20, 1.0)), (), [(2.484, 3.008)]),
    ],
)  # fmt: skip
def test_phrases_lie_between_pauses(pieces, onsets_s, found_s):
    """Kept as read, and looked through: half of the 30 ms that levels are smoothed over is 15."""
    level = levels(*pieces)
    found = find_phrases(level, beginnings(onsets_s), sum(seconds for _, seconds in pieces))
    assert np.array(found) == pytest.approx(np.array(found_s), abs=1e-3)


def test_silence_is_sixty_decibels_below_the_loud_or_eighty_below_full_scale():
    loud = levels((-70, 0.5), (0, 0.5), (-59, 0.1), (-61, 0.4))
    assert silence_s(loud, 1.5) == pytest.approx((0.5, 0.4), abs=0.005)
    just = levels((-70, 0.5), (-10, 1.0))
    assert silence_s(just, 1.5) == pytest.approx((0.5, 0.0), abs=0.005)
    soft = levels((-81, 0.5), (-79, 0.5), (-81, 0.5))
    assert silence_s(soft, 1.5) == pytest.approx((0.5, 0.5), abs=0.005)
    assert silence_s(levels((-90, 1.0)), 1.0) == (1.0, 0.0)
    assert silence_s(np.zeros(0), 3.0) == (3.0, 0.0)


WORD = (0, 0.5)


@pytest.mark.parametrize(
    ("pieces", "onsets_s", "strengths", "found_s"),
    [
        # A dip of 9 dB parts two words, 30 dB and more is a silence between them.
        ((REST, WORD, (-8.9, 0.15), WORD, REST), (), 1, [(0.489, 0.489, 1.661)]),
        ((REST, WORD, (-9.1, 0.15), WORD, REST), (), 1,
         [(0.489, 0.489, 1.048), (1.048, 1.048, 1.661)]),
        ((REST, WORD, (-28, 0.15), WORD, REST), (), 1,
         [(0.489, 0.489, 1.048), (1.048, 1.048, 1.661)]),
        ((REST, WORD, (-32, 0.15), WORD, REST), (), 1,
         [(0.489, 0.489, 1.033), (1.107, 1.107, 1.661)]),
        # The lower of the heights on either side counts: -15 from -10 is a dip of 5.
        ((REST, WORD, (-15, 0.15), (-10, 0.5), REST), (), 1, [(0.489, 0.489, 1.661)]),
        ((REST, (-10, 0.5), (-15, 0.15), WORD, REST), (), 1, [(0.489, 0.489, 1.661)]),
        # No word is shorter than 90 ms.
        ((REST, (0, 0.02), (-20, 0.05), WORD, REST), (), 1, [(0.489, 0.489, 1.083)]),
        # The strongest onset from 20 ms before to 60 ms after its begin is a word's attack.
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.02,), 1,
         [(0.489, 0.489, 1.043), (1.043, 1.043, 1.611)]),
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.025,), 1,
         [(0.489, 0.489, 1.043), (1.043, 1.025, 1.611)]),
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.1,), 1,
         [(0.489, 0.489, 1.043), (1.043, 1.1, 1.611)]),
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.105,), 1,
         [(0.489, 0.489, 1.043), (1.043, 1.043, 1.611)]),
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.05, 1.08), (1, 2),
         [(0.489, 0.489, 1.043), (1.043, 1.08, 1.611)]),
        ((REST, WORD, (-20, 0.1), WORD, REST), (1.05, 1.08), (2, 1),
         [(0.489, 0.489, 1.043), (1.043, 1.05, 1.611)]),
    ],
)  # fmt: skip
def test_words_are_parted_where_the_level_dips(pieces, onsets_s, strengths, found_s):
    """Kept as read, and looked through: begin, attack and end of each."""
    level = levels(*pieces)
    mono = np.zeros(round(len(level) / FRAMES_HZ * RATE_HZ), np.float32)
    onsets = beginnings(onsets_s, strengths)
    found = find_words(mono, SimpleNamespace(level_db=level), onsets)
    told = [(word.begin_s, word.attack_s, word.end_s) for word in found]
    assert np.array(told) == pytest.approx(np.array(found_s), abs=1e-3)


def struck(every, first, count, late_frames=0):
    """A spectrum whose bass strikes on or beside some of so many beats half a second apart."""
    beats_s = 0.5 + 0.5 * np.arange(count)
    rise = np.zeros((round((count + 2) * 0.5 * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(beats_s[first::every] * FRAMES_HZ).astype(int) + late_frames, 0] = 1.0
    return SimpleNamespace(rise=rise), beats_s


@pytest.mark.parametrize(
    ("every", "first", "count", "loop_beats", "bars"),
    [
        # Struck beats stand 1.732 deviations above the mean, the others .577 below; the first beat
        # gains .3, so that the lead is 2.009. Means of 8 stray by sqrt(1 / 4) + .2 = .7:
        # 1 - .75 exp(-2.009 / .7) = .9575. In a loop the first gains .8.
        (4, 2, 32, None, (4, 2, 0.9575)),
        (4, 2, 32, 32, (4, 2, 0.9131)),
        # On the first itself the lead is 2.609, and 2 * 1.732 - .577 * 2 + .8 = 3.109 in a loop.
        (4, 0, 32, None, (4, 0, 0.9820)),
        (4, 0, 32, 32, (4, 0, 0.9912)),
        # One of three stands 1.414 above, the others .707 below; 12 means stray by .6082.
        (3, 1, 36, None, (3, 1, 0.9625)),
        (3, 1, 36, 36, (3, 1, 0.9146)),
        # A loop of 32 is no number of bars of three, and 23 beats are too few to tell them.
        (3, 1, 36, 32, (4, 0, None)),
        (3, 1, 23, None, (4, None, None)),
        (3, 1, 24, None, (3, 1, None)),
        (4, 0, 7, None, None),
        (4, 0, 7, 4, (4, 0, 0.5)),
        (4, 0, 7, 6, None),
        (4, 0, 0, 4, None),
    ],
)
def test_bars_begin_where_the_bass_strikes(every, first, count, loop_beats, bars):
    spectrum, beats_s = struck(every, first, count)
    mono = np.zeros((count + 2) * RATE_HZ // 2, np.float32)
    found = find_bars(mono, spectrum, beats_s, loop_beats=loop_beats)
    if bars is None:
        assert found is None
        return
    told = (found.metre, found.first, pytest.approx(found.confidence, abs=2e-4))
    assert all(wanted is None or has == wanted for has, wanted in zip(told, bars, strict=True))


@pytest.mark.parametrize(("late", "first"), [(-3, 0), (-2, 2), (3, 2), (4, 0)])
def test_a_strike_counts_from_two_frames_before_its_beat_to_three_after(late, first):
    """10 ms and 15 ms; without one the first beat is the likeliest."""
    spectrum, beats_s = struck(4, 2, 32, late)
    found = find_bars(np.zeros(17 * RATE_HZ, np.float32), spectrum, beats_s)
    assert (found.metre, found.first) == (4, first)


def test_bars_begin_where_the_harmony_changes():
    """220 and 330 Hz by turns, each from the second beat of a bar to the next's first."""
    spectrum, beats_s = struck(4, 2, 32, -3)  # a bass that strikes beside all beats
    at_s = np.arange(17 * RATE_HZ) / RATE_HZ
    hz = np.where(((at_s - beats_s[1]) // 2.0) % 2 == 0, 220.0, 330.0)
    found = find_bars(np.sin(2 * np.pi * hz * at_s).astype(np.float32), spectrum, beats_s)
    assert (found.metre, found.first) == (4, 1)
    assert found.confidence > 0.9


def eighths(*tempos):
    """Strokes half a beat apart, from .1 s and from 16.1 s on, at so many seconds a beat each."""
    return np.concatenate(
        [
            np.arange(begin, begin + 15.9, beat_s / 2)
            for begin, beat_s in zip((0.1, 16.1), tempos, strict=False)
        ]
    )


@pytest.mark.parametrize(
    ("times_s", "told"),
    [
        (eighths(0.5, 0.5), [(0.5, True, False)] * 7),
        (eighths(0.5, 0.46), [(0.5, True, False)] * 4 + [(0.46, False, True)] * 3),
        # Nearer than .6 % is the common tempo, however little its lines are met.
        (eighths(0.5, 0.502), [(0.5, True, False)] * 4 + [(0.502, False, False)] * 3),
        (eighths(0.5, 0.5034), [(0.5, True, False)] * 4 + [(0.5034, False, True)] * 3),
        # Fewer than eight onsets in a stretch tell nothing.
        (np.append(eighths(0.5), np.arange(16.1, 31, 1.25)),
         [(0.5, True, False)] * 4 + [(0.5, False, False)] * 3),
    ],
)  # fmt: skip
def test_each_stretch_of_sixteen_beats_tells_its_tempo(times_s, told):
    """Stretches of 8 s begin 4 s apart with the first onset."""
    onsets = beginnings(times_s)
    rise = np.zeros((round((times_s[-1] + 1) * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(times_s * FRAMES_HZ).astype(int)] = 1.0
    found = follow_course(rise, onsets, fit_grid(beginnings(times_s[:60]), 0.5))
    assert [one.middle_s for one in found] == pytest.approx(4.099 + 4.0 * np.arange(len(told)))
    assert [one.period_s for one in found] == pytest.approx([one[0] for one in told], abs=2e-4)
    assert [(one.holds, one.own) for one in found] == [one[1:] for one in told]


@pytest.mark.parametrize(
    ("frames", "rate_hz", "told"),
    [
        (230_087, 44_100, (8, 92.0)),  # 8 x 60 x 44100 / 92 = 230086.96
        (230_088, 44_100, None),  # 1.04 frames off
        (230_086, 44_100, (8, 92.0)),
        (344_195, 44_100, (16, 123.0)),
        (344_197, 44_100, None),
        (44_100 * 4, 44_100, None),  # whole quarter seconds say nothing
        (44_100 * 4 + 1, 44_100, None),
        (149_070, 44_100, (8, 142.0)),  # and 4 at 71, which is further from what is usual
        (97_627, 48_000, (4, 118.0)),
    ],
)
def test_a_length_cut_to_the_frame_tells_beats_and_tempo(frames, rate_hz, told):
    assert told_by_length(frames, rate_hz) == told


def cut_to(beats, *, late_s=0.0, long_s=0.0):
    """A file of so many beats at 120 BPM, a stroke on each and on some sixteenths between, weaker;
    all of them late, or the file longer than its beats."""
    strikes = np.random.default_rng(beats).random(beats * 4) < 0.6
    strikes[::4] = True
    at = np.flatnonzero(strikes)
    times_s, strength = at * 0.125 + late_s, np.where(at % 4 == 0, 2.0, 1.0)
    duration_s = beats * 0.5 + long_s
    rise = np.zeros((round((duration_s + 1) * FRAMES_HZ), GROUPS), np.float32)
    rise[np.round(times_s * FRAMES_HZ).astype(int)] = strength[:, None]
    return SimpleNamespace(rise=rise), beginnings(times_s, strength), duration_s


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ({"beats": 3}, (3, 0.5, 0.0, 0.372)),
        ({"beats": 4}, (4, 0.5, 0.0, 0.738)),
        ({"beats": 5}, None),
        ({"beats": 6}, (6, 0.5, 0.0, 0.043)),
        ({"beats": 7}, None),
        ({"beats": 8}, (8, 0.5, 0.0, 1.167)),
        ({"beats": 9}, None),
        ({"beats": 12}, (12, 0.5, 0.0, 0.298)),
        ({"beats": 16}, (16, 0.5, 0.0, 1.0)),
        ({"beats": 32}, (32, 0.5, 0.0, 1.094)),
        # Its beat may lie up to 20 ms beside its begin; what begins later still is not cut there.
        ({"beats": 8, "late_s": 0.01}, (8, 0.5, 0.01, 1.167)),
        ({"beats": 8, "late_s": 0.03}, (8, 0.5, 0.02, 1.167)),
        ({"beats": 8, "late_s": 0.051}, None),
        # 60 ms too long it is 7.5 ms a beat slower, and a fifth of a beat too long is no loop.
        ({"beats": 8, "long_s": 0.06}, (8, 0.5075, -0.02, 0.776)),
        ({"beats": 8, "long_s": 0.1}, None),
    ],
)
def test_a_loop_is_cut_to_as_many_beats_as_loops_mostly_are(how, told):
    """Kept as read: beats, seconds in each, where the first lies, and how well they come round,
    less by a tenth to two for odd numbers of them."""
    found = find_loop(*cut_to(**how), None)
    if told is None:
        assert found is None
    else:
        beats, beat_s, phase_s, score = told
        assert (found.beats, found.grid.parts) == (beats, 4)
        assert found.grid.period_s == pytest.approx(beat_s)
        assert found.grid.phase_s == pytest.approx(phase_s, abs=1e-3)
        assert found.score == pytest.approx(score, abs=2e-3)


@pytest.mark.parametrize(
    ("times_s", "shortest_s", "longest_s", "told"),
    [
        # Sixteen beats of half a second are 8 s; a length may be off by 6 ms.
        (np.arange(32) * 0.25, 7.9, 8.1, (0.5, 4)),
        (np.arange(32) * 0.25, 8.004, 8.1, (0.5, 4)),
        (np.arange(32) * 0.25, 8.007, 8.1, None),
        (np.arange(32) * 0.25, 7.9, 7.995, (0.5, 4)),
        (np.arange(32) * 0.25, 7.9, 7.993, None),
        (np.arange(48) * 0.5 / 3, 7.9, 8.1, (0.5, 3)),
        # 119.93 BPM is 120 within 4.8 ms in all; 119.88 is 8 ms away, and is what it is.
        (np.arange(32) * 0.25015, 7.9, 8.1, (0.5, 4)),
        (np.arange(32) * 0.25025, 7.9, 8.1, (0.5005, 4)),
        # But 120 it cannot be where that is too short or too long.
        (np.arange(32) * 0.25015, 8.001, 8.1, (0.5003, 4)),
        (np.arange(32) * 0.25015, 7.9, 7.9995, (0.5003, 4)),
    ],
)
def test_a_padded_loops_tempo_is_a_whole_number_where_its_onsets_leave_it_open(
    times_s, shortest_s, longest_s, told
):
    found = fit_inside(beginnings(times_s), 16, shortest_s, longest_s)
    assert (found and (pytest.approx(found.period_s, abs=2e-6), found.parts)) == told
