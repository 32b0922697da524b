"""What lasts, what strikes, and the open break between."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.shelf.query_words import WORDS, Wrong
from liveaid.study import study
from liveaid.study.onsets import Onsets
from liveaid.study.sections import (
    LEVEL,
    Section,
    between_notes,
    edges_of,
    find_sections,
    struck,
)
from liveaid.study.spectrum import RATE_HZ
from liveaid.study.texture import median_of_five, weave

RATE = 44100


@given(st.lists(st.floats(-9, 9), min_size=5, max_size=5))
def test_the_middle_of_five_is_the_median(five):
    columns = [np.array([value], dtype=np.float32) for value in five]
    assert median_of_five(*columns)[0] == np.float32(np.median(np.float32(five)))


def test_a_held_note_lasts_and_a_click_strikes():
    # Fitzgerald 2010: lines along time are harmonic, lines across it percussive.
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    note = weave((0.3 * np.sin(2 * np.pi * 1000 * t)).astype(np.float32))
    middle = slice(10, -10)
    assert note.lasting[middle].sum() > 50 * note.striking[middle].sum()
    clicks = np.zeros(len(t), dtype=np.float32)
    clicks[RATE_HZ // 2 :: RATE_HZ] = 0.9
    struck = weave(clicks)
    assert struck.striking.sum() > 20 * struck.lasting.sum()


def test_a_gliding_pitch_shifts_the_spectrum_by_as_much():
    # An octave a second is 36 / 25.06 = 1.44 steps a frame; glides are told in whole steps.
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    turns = 300 * (2.0**t - 1) / np.log(2)
    tone = sum(np.sin(2 * np.pi * h * turns) / h for h in range(1, 9))
    texture = weave(tone.astype(np.float32) * 0.2)
    inside = slice(6, 30)
    assert texture.glide[inside, 1].mean() == pytest.approx(36 / (RATE_HZ / 880), abs=0.5)
    assert texture.alike[inside, 1].mean() > 0.7


def song(play, note, *, bars_before: int, bars_open: int, bars_after: int, bpm: float):
    """Drums throughout, bass and chords but for the open bars."""
    beat = 60 / bpm
    total = 4 * (bars_before + bars_open + bars_after)
    samples, _ = play(0.1 + np.arange(total + 1) * beat)
    for bar in range(total // 4):
        if bars_before <= bar < bars_before + bars_open:
            continue
        root = [45, 41, 48, 43][bar % 4]
        for step, length in ((-12, 4 * beat), (12, 4 * beat), (16, 4 * beat), (19, 4 * beat)):
            start = round((0.1 + bar * 4 * beat) * RATE)
            piece = 0.2 * note(root + step, length)
            samples[start : start + len(piece)] += piece[: len(samples) - start]
    return samples / np.abs(samples).max() * 0.8


@pytest.mark.parametrize("bars_open", [2, 4])
def test_an_open_break_is_found_on_its_bars(play, note, file, bars_open):
    bpm = 96.0
    whole = song(play, note, bars_before=8, bars_open=bars_open, bars_after=8, bpm=bpm)
    found = study(file(whole)).breaks()
    assert len(found) == 1
    begin, end, bars = found[0]
    # 8 bars of 4 beats of 0.625 s are 20 s.
    assert begin == pytest.approx(0.1 + 20.0, abs=0.05)
    assert end == pytest.approx(0.1 + 20.0 + bars_open * 2.5, abs=0.05)
    assert bars == bars_open


def test_sections_follow_one_another_without_a_gap(play, note, file):
    found = study(
        file(song(play, note, bars_before=4, bars_open=4, bars_after=4, bpm=110))
    ).sections
    assert len(found) == 3
    for (_, end, _, _), (begin, _, _, _) in itertools.pairwise(found):
        assert begin == end


def test_a_break_starts_on_a_bar_line_rather_than_beside_it():
    # 16 full beats; drums alone from beat 8, but beat 7 already looks a little like it.
    facts = np.zeros((16, 17))
    facts[:, 14] = 0.5  # spectra that stay alike: notes
    facts[7:, 14] = 0.0
    facts[8:, 6] = -2.0  # a hundredth of the usual power lasts
    quiet = np.full(16, 0.02)
    edges = np.arange(17) * 0.5
    found = find_sections(facts, quiet, quiet, edges, (4, 0))
    assert [(one.begin_s, one.plays) for one in found] == [(0.0, "full"), (4.0, "drums alone")]


def test_drums_alone_are_not_called_thin_for_being_quiet():
    # As above, a break 20 dB below the rest: 4 x (2 - .7) is cut to 3, more than the drums' 2.5.
    facts = np.zeros((16, 17))
    facts[:8, 14] = 0.5
    facts[8:, 6] = -2.0
    facts[8:, LEVEL] = -2.0
    quiet = np.full(16, 0.02)
    found = find_sections(facts, quiet, quiet, np.arange(17) * 0.5, (4, 0))
    assert [one.plays for one in found] == ["full", "drums alone"]


def test_a_note_in_every_bar_leaves_no_break_between():
    # By hand, bars of four: three beats between two notes are as the fainter of the two notes; four
    # beats are a bar of drums alone. What lies before the first and after the last is between none.
    odds = [3.0, 2.0, -5.0, 2.0, 3.0, 2.0, -2.0, 1.0, 2.0, 3.0, 1.0, -4.0, 2.0]
    filled = [3.0, 2.0, -5.0, -2.0, -2.0, -2.0, -2.0, 1.0, 2.0, 3.0, 1.0, -4.0, 2.0]
    assert between_notes(np.array(odds), 4).tolist() == filled
    threes = [3.0, 2.0, -5.0, 2.0, 3.0, 2.0, -2.0, 1.0, 2.0, -4.0]
    assert between_notes(np.array(threes), 3).tolist() == [*threes[:7], -2.0, -2.0, -4.0]


def test_only_clear_notes_fill_the_gap_between_them():
    # e to 1: by such odds a beat counts as one that holds notes.
    assert between_notes(np.array([-1.0, 2.0, -1.0]), 4).tolist() == [-1.0, -1.0, -1.0]
    assert between_notes(np.array([-0.9, 2.0, -2.0]), 4).tolist() == [-0.9, 2.0, -2.0]


@pytest.mark.parametrize(("metre", "plays"), [(4, ["full"]), (3, ["full", "drums alone", "full"])])
def test_a_stab_in_every_bar_is_seen_by_the_bars_own_length(metre, plays):
    # 24 beats, notes on each fourth of 12: three beats between are less than a bar of four and a
    # whole bar of three. A drum beat has odds of .77 x 2 + .4 = 1.9, one with notes has
    # .4 - 3.75 / 2 = -1.5; a change costs 4, beside a bar line 6.5: of threes nine drum beats
    # outweigh three notes and two changes.
    facts = np.zeros((24, 17))
    facts[:, 14] = 0.5
    facts[6:18, 14] = 0.0
    facts[6:18, 6] = -2.0
    facts[9:18:4, 14] = 0.5
    facts[9:18:4, 6] = 0.0
    quiet = np.full(24, 0.02)
    found = find_sections(facts, quiet, quiet, np.arange(25) * 0.5, (metre, 0))
    assert [one.plays for one in found] == plays


def test_silence_before_and_after_all_sound_is_no_break():
    # As above, with four silent beats before and after: nothing is 0 and thin is 3 there, so 4 x 3
    # outweigh a change of 4 on the bar line. A bar of silence within the break is of the break.
    facts = np.zeros((28, 17))
    facts[4:12, 14] = 0.5
    facts[:4, 6] = facts[12:, 6] = -2.0
    facts[:4, LEVEL] = facts[16:20, LEVEL] = facts[24:, LEVEL] = -3.0
    quiet = np.full(28, 0.02)
    found = find_sections(facts, quiet, quiet, np.arange(29) * 0.5, (4, 0))
    assert [(one.begin_s, one.plays) for one in found] == [
        (0.0, "thin"),
        (2.0, "full"),
        (6.0, "drums alone"),
        (12.0, "thin"),
    ]
    facts[:, LEVEL] = np.maximum(facts[:, LEVEL], -2.9)
    found = find_sections(facts, quiet, quiet, np.arange(29) * 0.5, (4, 0))
    assert [one.plays for one in found] == ["drums alone", "full", "drums alone"]


def test_without_a_beat_a_second_is_the_measure():
    assert edges_of(np.zeros(0), 3.4).tolist() == [0.0, 1.0, 2.0, 3.0]
    assert find_sections(np.zeros((3, 17)), np.zeros(3), np.zeros(3), np.arange(4.0), None) == ()


def test_breaks_are_asked_for_by_bars():
    asked = WORDS["break"].read("2..3 bars")
    assert asked.values == (2, 3)
    assert asked.of_whole is not None
    assert asked.of_whole.values == ("\n2\n", "\n3\n")
    assert WORDS["break"].read("none").values == ()
    with pytest.raises(Wrong, match=r"break 2\.\.8 bars"):
        WORDS["break"].read("70..80")


def test_a_gongs_tail_is_no_break(note, file):
    whole = np.concatenate(
        [np.tile(note(57, 0.5), 16), note(45, 8.0) * np.exp(-np.arange(8 * RATE) / RATE)]
    )
    assert study(file(0.2 * whole)).breaks() == ()


def test_drums_alone_that_hardly_strike_are_thin():
    few = Onsets(np.array([0.1]), np.ones(1, np.float32), np.ones((1, 4), np.float32))
    many = Onsets(np.arange(8) * 0.5, np.ones(8, np.float32), np.ones((8, 4), np.float32))
    one = (Section(0.0, 4.0, "drums alone", 8),)
    assert struck(one, few)[0].plays == "thin"
    assert struck(one, many) == one
