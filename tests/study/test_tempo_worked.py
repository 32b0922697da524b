"""Tempo by hand: each choice at its bounds, with what is asked of other rooms put in its place."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.study import tempo
from liveaid.study.grid import Grid
from liveaid.study.loop import Loop
from liveaid.study.onsets import Onsets
from liveaid.study.spectrum import FRAMES_HZ, GROUPS
from liveaid.study.tempo import Tempo


def onsets(times_s, strength=1.0):
    strengths = np.broadcast_to(np.float32(strength), len(times_s)).astype(np.float32)
    return Onsets(np.asarray(times_s, float), strengths, np.tile(strengths[:, None], GROUPS))


def grid(period_s=0.5, *, parts=4, phase_s=0.0, hit_share=0.7, excess=10.0):
    return Grid(period_s, phase_s, parts, hit_share, excess, 0.0)


NONE = onsets([])


def look(at=None, heard=NONE, rise=None):
    rise = np.zeros((9, GROUPS), np.float32) if rise is None else rise
    return tempo._Look(rise, heard, np.zeros(9), at, heard)


def test_a_loop_is_surer_the_farther_its_onsets_lie_from_chance():
    """1 - exp(-excess / 3), nothing below chance."""
    told = [tempo._sure(grid(excess=excess)) for excess in (-5.0, 3.0, 6.0)]
    assert told == pytest.approx([0.0, 1 - np.exp(-1), 1 - np.exp(-2)])


@pytest.mark.parametrize(
    ("strength", "strikes"),
    # Nine tenths of the way among ten: a tenth of the last one lies beyond nine that are nothing.
    [([0.111] * 10, True), ([0.109] * 10, False), ([0.0] * 9 + [1.2], True),
     ([0.0] * 9 + [1.0], False), ([], False)],
)  # fmt: skip
def test_something_strikes_where_the_strongest_tenth_does(strength, strikes):
    assert tempo.strikes(onsets(np.arange(len(strength)), strength)) is strikes


def test_periods_are_apart_by_more_than_a_twentieth_of_an_octave_from_all_its_octaves():
    """1 / 20 octave is a ratio of 1.0353."""
    told = [tempo._octaves_apart(ratio) for ratio in (1.0, 2.0, 0.25, 1.5, 2 / 3, 2.828427)]
    assert told == pytest.approx([0.0, 0.0, 0.0, 0.41504, 0.41504, 0.5], abs=1e-5)
    ratios = (1.03, 1.04, 0.97, 0.96, 2.06, 2.08, 1.5)
    assert [tempo._apart(0.5 * ratio, grid()) for ratio in ratios] == [
        False, True, False, True, False, True, True,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("four", "three", "parts"),
    [
        # Clear in four: held by 16 and three quarters.
        ((16.1, 0.76), 99.0, 4),
        ((15.9, 0.76), 99.0, 3),
        ((16.1, 0.74), 99.0, 3),
        # Else three has to hold 1.15 times as well.
        ((10.0, 0.5), 11.4, 4),
        ((10.0, 0.5), 11.6, 3),
    ],
)
def test_beats_have_three_parts_where_that_holds_clearly_more(monkeypatch, four, three, parts):
    def fitted(heard, period_s, *, parts):
        held = {4: four, 3: (three, 0.5)}[parts]
        return grid(period_s, parts=parts, excess=held[0], hit_share=held[1])

    monkeypatch.setattr(tempo, "fit_grid", fitted)
    found = tempo._in_parts(NONE, 0.5)
    assert (found.parts, found.period_s) == (parts, 0.5)


@pytest.mark.parametrize(
    ("grids", "scores", "period_s"),
    [
        # One reading, or one in four that three quarters lie on, is asked no further.
        ({0.5: (4, 0.1)}, {}, 0.5),
        ({0.5: (4, 0.76), 0.3: (4, 0.99)}, {0.5: 0.0, 0.3: 9.0}, 0.5),
        # Else likelihood and share are added up; an octave of the first is none of its own.
        ({0.5: (4, 0.7), 0.3: (4, 0.9)}, {0.5: 0.0, 0.3: -0.1}, 0.3),
        ({0.5: (4, 0.7), 0.3: (4, 0.9)}, {0.5: 0.0, 0.3: -0.3}, 0.5),
        ({0.5: (4, 0.7), 1.0: (4, 0.9)}, {0.5: 0.0, 1.0: 9.0}, 0.5),
        # Three parts cost half a nat, also where they come first.
        ({0.5: (4, 0.7), 0.3: (3, 0.9)}, {0.5: 0.0, 0.3: 0.2}, 0.5),
        ({0.5: (4, 0.7), 0.3: (3, 0.9)}, {0.5: 0.0, 0.3: 0.4}, 0.3),
        # Beats in three may be beats of two or four such parts: .6 / 3 x 2 = .4 and x 4 = .8.
        ({0.6: (3, 0.9), 0.35: (4, 0.1)}, {0.6: 0.0, 0.35: -9.0, 0.4: -0.1, 0.8: -9.0}, 0.4),
        ({0.6: (3, 0.9), 0.35: (4, 0.1)}, {0.6: 0.0, 0.35: -9.0, 0.4: -9.0, 0.8: -0.1}, 0.8),
        ({0.6: (3, 0.9), 0.35: (4, 0.1)}, {0.6: 0.0, 0.35: -9.0, 0.4: -0.3, 0.8: -0.3}, 0.6),
    ],
)
def test_of_several_readings_the_likeliest_that_holds_is_taken(
    monkeypatch, grids, scores, period_s
):
    def fitted(heard, period, **_):
        parts, share = grids.get(round(period, 6), (4, 0.7))
        return grid(period, parts=parts, hit_share=share)

    def scored(curve, periods):
        return np.array([scores[round(float(one), 6)] for one in periods]), None

    monkeypatch.setattr(tempo, "_in_parts", fitted)
    monkeypatch.setattr(tempo, "fit_grid", fitted)
    monkeypatch.setattr(tempo, "pulse", SimpleNamespace(scores=scored))
    found = tempo._best_grid(NONE, np.zeros(9), list(grids))
    assert found.period_s == pytest.approx(period_s)


@pytest.mark.parametrize(
    ("start_s", "phase_s", "first_s"),
    # Up to 30 ms before the first sound; never before the file.
    [(0.0, 0.1, 0.1), (1.0, 0.1, 1.1), (1.129, 0.1, 1.1), (1.131, 0.1, 1.6), (0.0, -0.02, 0.0),
     (0.0, 5.1, 0.1)],
)  # fmt: skip
def test_the_first_beat_is_not_before_the_first_sound(start_s, phase_s, first_s):
    assert tempo._first_beat_s(start_s, 0.5, phase_s) == pytest.approx(first_s)


def test_the_residual_is_of_onsets_near_beats_alone():
    """Within 60 ms, and a tenth of a shorter beat: of 10, 59 and 61 ms off at a second a beat, and
    of 10, 39 and 41 at .4 s."""
    far = onsets([1.01, 2.059, 3.061])
    assert tempo._residual_s(far, np.arange(4.0), 1.0) == pytest.approx(
        np.sqrt((0.01**2 + 0.059**2) / 2)
    )
    short = onsets([0.41, 0.839, 1.241])
    assert tempo._residual_s(short, np.arange(4) * 0.4, 0.4) == pytest.approx(
        np.sqrt((0.01**2 + 0.039**2) / 2)
    )
    assert tempo._residual_s(far, np.zeros(0), 1.0) == 0.0
    assert tempo._residual_s(NONE, np.arange(4.0), 1.0) == 0.0


@pytest.mark.parametrize(
    ("scores", "bpm", "sure"),
    [
        # Half is likelier than double: 2.3 times the lead and .5 for being the faster.
        ((1.0, 0.5, 0.2), 60.0, 1 / (1 + np.exp(-1.65))),
        ((1.0, 0.2, 0.2), 60.0, 1 / (1 + np.exp(-2.34))),
        # Double is: .5 less.
        ((1.0, 0.2, 0.5), 240.0, 1 / (1 + np.exp(-0.65))),
        ((0.0, -99.0, 1.0), 240.0, 1 / (1 + np.exp(2.8))),
        ((99.0, 0.0, 0.0), 60.0, 1 / (1 + np.exp(-20))),
        ((-99.0, 0.0, -99.0), 60.0, 1 / (1 + np.exp(20))),
    ],
)
def test_the_other_octave_is_offered_with_the_odds_against_it(monkeypatch, scores, bpm, sure):
    def scored(curve, periods):
        assert periods.tolist() == [0.5, 1.0, 0.25]
        return np.array(scores), None

    monkeypatch.setattr(tempo, "pulse", SimpleNamespace(scores=scored))
    assert tempo._alternative(np.zeros(9), 0.5) == (pytest.approx(bpm), pytest.approx(sure))


@pytest.mark.parametrize(
    ("held", "alike", "bpm"),
    [
        # Three lines of .2 s: twos come back better than threes without the bar's own share:
        # (3 x .4 - .6) / 2 = .3; a beat of two lines is 60 / .4 s.
        ((3, 0.7), (0.31, 0.4, 0.6), 150.0),
        ((3, 0.7), (0.29, 0.4, 0.6), None),
        # Four: a beat half as long again, or two thirds, that holds .15 more.
        ((4, 0.6), {0.9: 0.76, 0.4: 0.7}, 60 / 0.9),
        ((4, 0.6), {0.9: 0.6, 0.4: 0.76}, 150.0),
        ((4, 0.6), {0.9: 0.74, 0.4: 0.7}, None),
        ((4, 0.76), {0.9: 0.99, 0.4: 0.99}, None),
    ],
)
def test_the_same_strokes_may_be_threes_as_twos(monkeypatch, held, alike, bpm):
    def back(heard, at, *every):
        assert every == (2, 3, 6)
        return alike

    def fitted(heard, period_s):
        return grid(period_s, hit_share=alike[round(period_s, 6)])

    monkeypatch.setattr(tempo, "come_back", back)
    monkeypatch.setattr(tempo, "fit_grid", fitted)
    told = tempo._at_three_to_two(NONE, grid(0.6, parts=held[0], hit_share=held[1]))
    assert told == (bpm and pytest.approx(bpm))


@pytest.mark.parametrize(
    ("strengths", "start_s", "beat_s"),
    [
        # Lines at .1, .225, .35 and .475 s: by the roots, 1 against .9 x .9.
        ((0.81, 1.0, 0.0, 0.0), 9.0, 0.225),
        # A quarter more for the line on which it begins, to 30 ms.
        ((0.81, 1.0, 0.0, 0.0), 0.1, 0.1),
        ((0.81, 1.0, 0.0, 0.0), 0.129, 0.1),
        ((0.81, 1.0, 0.0, 0.0), 0.131, 0.225),
        ((0.49, 1.0, 0.0, 0.0), 0.1, 0.225),
        ((0.0, 0.0, 0.0, 0.04), 9.06, 0.475),
        ((0.0, 0.0, 0.0, 0.0), 0.35, 0.35),
    ],
)
def test_beats_are_the_strong_lines_and_the_one_on_which_it_begins(strengths, start_s, beat_s):
    """Strokes on each line of six beats, some on the frame after it."""
    rise = np.zeros((round(3 * FRAMES_HZ), GROUPS), np.float32)
    for line, strength in enumerate(strengths):
        at_s = 0.1 + 0.125 * line + 0.5 * np.arange(5)
        rise[np.round(at_s * FRAMES_HZ).astype(int) + line % 2, 0] = strength
    told = tempo._beat_phase_s(
        look(heard=onsets([start_s]), rise=rise), grid(phase_s=0.1), at_start=False
    )
    assert told == pytest.approx(beat_s)


@pytest.mark.parametrize(
    ("phase_s", "told"), [(0.0119, 0.0), (0.0121, 0.0121), (-0.0119, 0.0), (-0.0121, -0.0121)]
)
def test_a_loop_begins_on_its_cut_unless_it_is_twelve_milliseconds_off(phase_s, told):
    assert tempo._beat_phase_s(look(), grid(phase_s=phase_s), at_start=True) == told


def test_the_mean_on_a_phase_is_of_the_frames_there_are():
    """At a second a beat: frames 100, 301, 501 of 502; a phase a beat later is the same."""
    strength = np.zeros(502)
    strength[[100, 301, 501]] = (1.0, 2.0, 6.0)
    for phase_s in (0.5, 1.5, -0.5):
        assert tempo._mean_at(strength, phase_s, 1.0) == pytest.approx(3.0)
    assert tempo._mean_at(np.zeros(0), 0.5, 1.0) == 0.0


@pytest.fixture
def rooms(monkeypatch):
    """rooms(name=answer, ...): what the tempo's other functions say; back come their arguments."""

    def put(**answers):
        asked = {}

        def says(name, answer):
            def say(*heard, **more):
                asked[name] = (heard, more)
                return answer(*heard) if callable(answer) else answer

            monkeypatch.setattr(tempo, name, say)

        for name, answer in answers.items():
            says(name, answer)
        return asked

    return put


@pytest.mark.parametrize(
    ("loop_beats", "parts", "rival", "told"),
    [
        # A rival at two to three leaves half at most of what the octave leaves.
        (None, 4, None, (None, 0.8 * 0.9)),
        (None, 4, 80.0, (80.0, 0.8 * 0.5)),
        (4, 4, 80.0, (None, 0.8 * 0.9)),
        (4, 3, 80.0, (80.0, 0.8 * 0.5)),
    ],
)
def test_an_even_grid_tells_all_its_facts(rooms, loop_beats, parts, rival, told):
    """Beats of half a second from .1 s, to 10 ms before the end at 2.105 s: four, not five."""
    asked = rooms(
        _beat_phase_s=0.1, _first_beat_s=0.1, _alternative=(60.0, 0.9), _at_three_to_two=rival,
        _residual_s=0.002,
    )  # fmt: skip
    found = tempo._even(look(), grid(parts=parts), 2.105, 0.8, loop_beats)
    assert found.beats_s == pytest.approx([0.1, 0.6, 1.1, 1.6])
    wanted = Tempo(
        120.0,
        pytest.approx(told[1]),
        60.0,
        told[0],
        0.1,
        True,
        0.0,
        0.002,
        loop_beats,
        found.beats_s,
    )
    assert found == wanted
    assert asked["_beat_phase_s"][1] == {"at_start": loop_beats is not None}


EVEN = Tempo(tempo_bpm=120.0, confidence=0.5, steady=True)
PLAYED = Tempo(tempo_bpm=119.0, confidence=0.4)


@pytest.mark.parametrize(
    ("changed", "wander_s", "played", "told", "least"),
    [
        (False, 0.0149, PLAYED, EVEN, None),
        (False, 0.0151, PLAYED, PLAYED, 15.0),  # a quarter more than the even grid's 12
        (False, 0.0151, None, replace(EVEN, steady=True), 15.0),
        (True, 0.0, PLAYED, PLAYED, 0.0),
        (True, 0.0, None, replace(EVEN, steady=False), 0.0),
    ],
)
def test_what_wanders_or_changes_is_followed(rooms, changed, wander_s, played, told, least):
    asked = rooms(_even=EVEN, _changes=changed, wander_s=wander_s, _played=played)
    assert tempo._free_or_played(look(), grid(excess=12.0), 9.0, 9.0) is told or (
        tempo._free_or_played(look(), grid(excess=12.0), 9.0, 9.0) == told
    )
    assert asked["_even"][0][3] == pytest.approx(1 - np.exp(-2))
    assert asked.get("_played", (None, {}))[1] == ({} if least is None else {"least": least})


@pytest.mark.parametrize(
    ("count", "held", "least", "even", "told"),
    [
        (7, (99.0, 0.9), 0.0, None, None),  # eight beats are wanted at least
        (8, (16.0, 0.6), 0.0, None, (None, 0.5)),
        (8, (15.9, 0.6), 0.0, None, None),
        (8, (16.0, 0.59), 0.0, None, None),
        (8, (16.5, 0.6), 17.0, None, None),
        (8, (17.0, 0.85), 17.0, None, (None, 0.94)),
        (8, (99.0, 0.725), 0.0, None, (None, 0.72)),  # halfway between both
        # Another even tempo, a twelfth of an octave and more off, is a rival; not one that does
        # not hold by 7, and no octave.
        (8, (99.0, 0.85), 0.0, (0.45, 7.0), (60 / 0.45, 0.94 * 0.6)),
        (8, (99.0, 0.85), 0.0, (0.47, 7.0), (None, 0.94)),
        (8, (99.0, 0.85), 0.0, (0.45, 6.9), (None, 0.94)),
        (8, (99.0, 0.85), 0.0, (1.0, 7.0), (None, 0.94)),
    ],
)
def test_beats_that_were_followed_are_as_sure_as_onsets_keep_to_them(
    rooms, count, held, least, even, told
):
    """Beats half a second apart from -.1 s; the sound begins at .43 s, so that .4 is the first."""
    asked = rooms(
        follow_beats=-0.1 + 0.5 * np.arange(count), tempo_line=(120.0, 1.5, 0.004),
        _warped=grid(excess=held[0], hit_share=held[1]), _alternative=(60.0, 0.9),
        snapped=lambda beats, sharp: beats, from_the_start=lambda beats, sharp: beats,
    )  # fmt: skip
    at = None if even is None else grid(even[0], excess=even[1])
    found = tempo._played(look(at, onsets([0.43])), 9.0, least=least)
    if told is None:
        assert found is None
        return
    assert found.beats_s == pytest.approx(0.4 + 0.5 * np.arange(count - 1))
    assert found == Tempo(
        120.0, pytest.approx(told[1]), 60.0, told[0] and pytest.approx(told[0]),
        pytest.approx(0.4), False, 1.5, 0.004, None, found.beats_s,
    )  # fmt: skip
    assert asked["_alternative"][0][1] == 0.5


def test_onsets_are_laid_straight_by_the_beats_about_them(rooms):
    """Beats at 0, 1, 3 and 4 s, a second apart by the median: the half of the long one is 1.5."""
    asked = rooms(judged=None)
    tempo._warped(
        onsets([-0.1, 0.0, 0.5, 2.0, 4.0, 4.1], [1, 2, 3, 4, 5, 6]), np.array([0, 1, 3, 4.0])
    )
    (straight,), more = asked["judged"]
    assert straight.times_s.tolist() == [0.0, 0.5, 1.5, 3.0]
    assert straight.strength.tolist() == [2, 3, 4, 5]
    assert straight.groups[:, 0].tolist() == [2, 3, 4, 5]
    assert more == {"period_s": 1.0, "phase_s": 0.0, "parts": 4}


@pytest.mark.parametrize(
    ("frames", "count", "start_s", "told"),
    [
        # 8 x 60 x 44100 / 92 = 230,086.96 frames.
        (230_087, 4, 0.15, (8, 92.0, 184.0)),
        (230_087, 4, 0.151, "its onsets keep to no common grid"),
        (230_087, 3, 0.0, "only 3 sounds begin in it, too few for a beat"),
        (230_090, 4, 0.0, "its onsets keep to no common grid"),
        # 8 x 60 x 44100 / 142 = 149,070.4: faster than 120, and so half is offered.
        (149_070, 4, 0.0, (8, 142.0, 71.0)),
    ],
)
def test_a_bare_length_tells_beats_or_that_there_are_none(frames, count, start_s, told):
    found = tempo._by_length(frames, 44_100, onsets(start_s + np.arange(count)))
    if isinstance(told, str):
        assert found == replace(Tempo(why_not=told), beats_s=found.beats_s)
        assert len(found.beats_s) == 0
        return
    beats, bpm, other = told
    exact = beats * 60 * 44_100 / frames
    assert exact == pytest.approx(bpm, abs=1e-3)
    assert found.beats_s == pytest.approx(np.arange(beats) * 60 / exact)
    assert found == Tempo(
        pytest.approx(exact), 0.4, pytest.approx(other, abs=1e-3), None, 0.0, True, 0.0, 0.0, beats,
        found.beats_s,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("count", "strength", "counted_s", "periods", "asked_periods"),
    [
        (4, 1.0, None, [0.5, 0.3], [0.5, 0.3]),
        (4, 1.0, 0.4, [0.5, 0.3], [0.4]),
        (3, 1.0, None, [0.5], None),
        (4, 0.1, None, [0.5], None),
        (4, 1.0, None, [], None),
    ],
)
def test_a_look_has_a_grid_where_enough_strikes(
    rooms, monkeypatch, count, strength, counted_s, periods, asked_periods
):
    pulses = [SimpleNamespace(period_s=period) for period in periods]
    monkeypatch.setattr(
        tempo, "pulse", SimpleNamespace(find_pulses=lambda curve, *, most: pulses[:most])
    )
    asked = rooms(metronome_s=counted_s, _best_grid=grid(0.9), by_accents=grid(0.8))
    heard = onsets(np.arange(count), strength)
    found = tempo._look(np.zeros((9, GROUPS), np.float32), heard, np.zeros(9), heard)
    if asked_periods is None:
        assert found.grid is None
    else:
        assert found.grid.period_s == 0.8
        assert asked["_best_grid"][0][2] == asked_periods
        assert asked["by_accents"][0][1].period_s == 0.9
    assert found.start_s == 0.0
    assert look(heard=onsets([0.7])).start_s == 0.7
    assert look().start_s == 0.0


@pytest.mark.parametrize(
    ("at", "loop", "padding", "more", "told", "asked"),
    [
        # A loop as it lies there; of less than four beats less sure.
        (grid(), 8, (0, 0), {}, "even", (grid(0.5), 1.0, 8)),
        (grid(), 2, (0, 0), {}, "even", (grid(0.5), 0.5, 2)),
        (grid(), 8, (0, 0), {"changes": True}, "free", None),
        # In silence that a coder added it has a grid and no length.
        (grid(), 8, (0, 100), {}, "even", (grid(0.49), 1.0, None)),
        (grid(), 2, (0, 100), {}, "even", (grid(0.49), 0.5, None)),
        (grid(), 8, (0, 100), {"inside": None}, "free", None),
        (grid(), 8, (0, 100), {"changes": True}, "free", None),
        # No loop: a grid that holds by 7 is told, else followed, else what the length tells.
        (grid(excess=7.0), None, (0, 0), {}, "free", None),
        (grid(excess=6.9), None, (0, 0), {}, "played", None),
        (grid(excess=6.9), None, (0, 0), {"played": None}, "length", None),
        (None, None, (0, 0), {}, "length", None),
        # One that is not clear, 16, is looked at once more, in up to twenty minutes.
        (grid(excess=6.9), None, (0, 0), {"soft": 7.5}, "free", 7.5),
        (grid(excess=15.9), None, (0, 0), {"soft": 17.0}, "free", 17.0),
        (grid(excess=16.0), None, (0, 0), {"soft": 17.0}, "free", 16.0),
        (None, None, (0, 0), {"soft": 7.5}, "free", 7.5),
        (grid(excess=8.0), None, (0, 0), {"soft": 7.5, "frames": 120_001}, "free", 8.0),
        (grid(excess=8.0), None, (0, 0), {"soft": 8.5, "frames": 120_000}, "free", 8.5),
        (grid(excess=8.0), None, (0, 0), {"soft": 8.5, "frames": 120_001}, "free", 8.0),
    ],
)
def test_a_loop_is_told_before_a_grid_and_a_grid_before_a_length(
    rooms, monkeypatch, at, loop, padding, more, told, asked
):
    """At 100 frames a second, 4 s long unless told otherwise."""
    found_loop = None if loop is None else Loop(loop, grid(0.5), 0.0, NONE)
    soft = look(None if "soft" not in more else grid(excess=more["soft"]))
    monkeypatch.setattr(tempo, "pulse", SimpleNamespace(autocorrelation=lambda rise: rise))
    frames = more.get("frames", 400)
    calls = rooms(
        _look=look(at), find_loop=found_loop, fit_inside=more.get("inside", grid(0.49)),
        _changes=more.get("changes", False), _even="even", _sure=1.0, _soft_look=soft,
        _free_or_played="free", _played=more.get("played", "played"), _by_length="length",
        silence_s=(0.25, 1.5),
    )  # fmt: skip
    heard = tempo.find_tempo(
        np.zeros(9, np.float32), SimpleNamespace(rise=None, level_db=None), NONE, frames=frames,
        rate_hz=100, padding=padding,
    )  # fmt: skip
    assert heard == told
    # A loop is looked for in the middle of the lengths it may have.
    assert calls["find_loop"][0][2] == (frames - padding[1] / 2) / 100
    if told == "even":
        own, sure, beats = asked
        (_, held, duration_s, told_sure, told_beats), _ = calls["_even"]
        assert (held.period_s, told_sure, told_beats) == (own.period_s, sure, beats)
        assert duration_s == 4.0
    elif asked is not None:
        assert calls["_free_or_played"][0][1].excess == asked
    if told != "even":
        # What only rings out, 40 dB down, is passed over.
        assert calls["silence_s"] == ((None, frames / 100), {"below_db": 40.0})
    if told == "free":
        assert calls["_free_or_played"][0][2:] == (frames / 100, frames / 100 - 1.5)
    if told == "played":
        assert calls["_played"][0][1] == frames / 100 - 1.5
    if padding[1]:
        assert calls["fit_inside"][0][1:] == (loop, 3.0, 4.0)
