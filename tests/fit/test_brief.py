"""What the shelf lacks for an idea, by cases worked out by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.fit.brief import brief, misses, sought
from liveaid.routine.model import Idea, Turntable, Want

TABLE = Turntable()


def want(**asked: object) -> Want:
    return Want(**({"part": "story", "energy": 3} | asked))  # type: ignore[arg-type]


def test_a_sound_just_as_wanted_would_do(sound):
    asked = want(kind="instrumental", tempo_from=90, tempo_to=95, key="A minor", bars=8)
    assert misses(asked, sound(), TABLE) == []


# By hand: 92 * 0.92 = 84.64 and 92 * 1.08 = 99.36 BPM are the ends of an 8 % fader.
@pytest.mark.parametrize(
    ("low", "high", "does"),
    [(99.3, 120, True), (99.4, 120, False), (60, 84.7, True), (60, 84.6, False), (45.8, 46, True)],
)
def test_tempo_counts_inside_the_reach_of_the_fader_and_at_half_time(
    sound, low: float, high: float, does: bool
):
    asked = want(tempo_from=low, tempo_to=high)
    assert (misses(asked, sound(), TABLE) == []) == does


# By hand: from 92 up to 97.5 BPM is +5.978 %, a semitone (5.946 %): A minor becomes Bb minor.
def test_the_key_counts_at_the_pitch_that_brings_the_tempo(sound):
    asked = want(tempo_from=97.5, key="Bb minor")
    assert misses(asked, sound(key="A minor"), TABLE) == []
    assert misses(asked, sound(key="Bb minor"), TABLE) == ["key Bb minor at that pitch"]


# By hand: from 92 down to 91.08 BPM is -1 %, 17.4 cents; with a tuning 40 cents flat it is nearer
# to G sharp than to A.
def test_the_key_counts_as_it_is_tuned(sound):
    flat = sound(key="A minor", tuning_cents=-40.0)
    assert misses(want(tempo_to=91.08, key="G# minor"), flat, TABLE) == []
    assert misses(want(tempo_to=91.08, key="G# minor"), sound(key="A minor"), TABLE)


def test_each_thing_missed_is_named(sound):
    asked = want(kind="a cappella", energy=5, tempo_from=120, key="C# minor", bars=64)
    assert misses(asked, sound(), TABLE) == [
        "is an instrumental",
        "energy 3",
        "tempo 92.0",
        "key A minor at that pitch",
        "only 23.0 bars",
    ]


# By hand: 60 s at 92 BPM are 23 bars of four. A guess is a kind less than half sure.
@pytest.mark.parametrize(
    ("asked", "facts", "missed"),
    [
        ({"kind": "effect"}, {"kind_confidence": 0.5}, ["is an instrumental"]),
        ({"kind": "effect"}, {"kind_confidence": 0.49}, ["is an instrumental by guess"]),
        ({"bars": 23}, {}, []),
        ({"bars": 24}, {}, ["only 23.0 bars"]),
        ({"bars": 24}, {"tempo": None}, ["length not known in bars"]),
        ({"tempo_to": 85}, {"tempo": None}, ["has no tempo"]),
        ({"tempo": "90..95"}, {"tempo": 46.0}, []),
        ({"tempo": "90..95"}, {"tempo": 184.0}, []),
        ({"tempo_to": 95}, {"tempo": 184.0}, ["tempo 184.0"]),
        ({"tempo_to": 100}, {"tempo": 99.0}, []),
        ({"tempo_to": 92}, {"tempo": 100.0}, []),  # -8 %, the end of the fader
        ({"tempo_from": 108}, {"tempo": 100.0}, []),
        ({"key": "A minor"}, {"key": None}, ["has no key"]),
        ({"key": "A minor"}, {"key": "G major"}, []),  # a fifth from the relative
        ({"key": "A minor"}, {"key": "E minor"}, []),
        ({"key": "A minor"}, {"key": "A major"}, ["key A major at that pitch"]),
    ],
)
def test_what_is_missed_is_told(sound, asked, facts, missed):
    assert misses(want(**asked), sound(**facts), TABLE) == missed


def test_a_short_loop_is_long_enough(sound):
    short = sound(duration_s=10.43, loop_beats=16)
    assert misses(want(bars=32), short, TABLE) == []


def test_one_sound_fills_one_want_and_the_other_is_told_it_lacks(sound):
    idea = Idea(wants=(want(), want()))
    found = brief(idea, {"only": sound()})
    assert [wanted.chosen for wanted in found.wants] == ["only", None]
    assert [wanted.lacks for wanted in found.wants] == [False, True]
    assert found.wants[1].ready == ("only",)


def test_sounds_are_shared_out_so_that_most_wants_are_filled(sound):
    """First come, first served would give the all-rounder away and leave the second want bare."""
    idea = Idea(wants=(want(), want(kind="instrumental")))
    both = {"a beat": sound(), "b call": sound(kind="a cappella")}
    assert [w.chosen for w in brief(idea, both).wants] == ["b call", "a beat"]


def test_wants_no_pair_of_whose_sounds_meets_are_a_gap(sound):
    idea = Idea(wants=(want(energy=2), want(energy=3), want(energy=4)))
    shelf = {
        "slow": sound(energy=2, tempo=100.0),
        "fast": sound(energy=3, tempo=130.0),
        "faster": sound(energy=4, tempo=138.0),
    }
    assert brief(idea, shelf).gaps == ((0, 1),)


# By hand: 16 bars of 4 at the middle of 90 and 110, 100 BPM: 38.4 s.
def test_planned_time_adds_up():
    idea = Idea(wants=(want(bars=16, tempo_from=90, tempo_to=110), want(bars=8)))
    assert brief(idea, {}).planned_s == pytest.approx(38.4)


def test_words_of_the_theme_are_found_again_in_the_sounds_words():
    idea = Idea(theme="Lanterns at the café", feel="busy, busy")
    found = brief(idea, {}, {"a": "lanterns at dusk", "b": "CAFE busy", "c": "lanterns"})
    assert found.echoes == (("lanterns", 2), ("cafe", 1), ("busy", 1))


# By hand: 85 / 1.08 = 78.7 and 100 / 0.92 = 108.7; a fader of 100 % brings any tempo down to
# nothing, and doubles 42.5.
@pytest.mark.parametrize(
    ("asked", "reach", "said"),
    [
        ({}, 8, "any kind, energy 3"),
        ({"kind": "effect", "energy": 5, "key": "A minor", "bars": 8},
         8, "effect, energy 5, in A minor or a fifth from it, 8 bars or a loop"),
        ({"tempo_from": 85, "tempo_to": 100},
         8, "any kind, energy 3, tempo 85..100 (from 78.7 to 108.7 with the pitch fader)"),
        ({"tempo_from": 85}, 8, "any kind, energy 3, tempo 85.. (from 78.7 with the pitch fader)"),
        ({"tempo_to": 100}, 8, "any kind, energy 3, tempo ..100 (to 108.7 with the pitch fader)"),
        ({"tempo_from": 85, "tempo_to": 100},
         100, "any kind, energy 3, tempo 85..100 (from 42.5 with the pitch fader)"),
    ],
)  # fmt: skip
def test_what_is_sought_names_the_tempos_with_the_faders_reach(asked, reach, said):
    assert sought(want(**asked), Turntable(pitch_range=reach)) == said


shelves = st.dictionaries(
    st.sampled_from("abcdefgh"),
    st.fixed_dictionaries(
        {
            "tempo": st.none() | st.floats(40, 200),
            "energy": st.integers(1, 5),
            "key": st.none() | st.just("C major"),
        }
    ),
)
wants = st.builds(
    want,
    energy=st.integers(1, 5),
    tempo_from=st.none() | st.floats(60, 100),
    tempo_to=st.none() | st.floats(101, 150),
    key=st.none() | st.just("A minor"),
)


@given(asked=st.lists(wants, max_size=6), facts=shelves)
def test_no_sound_is_chosen_twice_nor_for_what_it_cannot_do(sound, asked: list[Want], facts: dict):
    shelf = {name: sound(**known) for name, known in facts.items()}
    found = brief(Idea(wants=tuple(asked)), shelf)
    chosen = [wanted.chosen for wanted in found.wants if wanted.chosen]
    assert len(chosen) == len(set(chosen))
    for wanted in found.wants:
        assert wanted.chosen is None or not misses(wanted.want, shelf[wanted.chosen], TABLE)
