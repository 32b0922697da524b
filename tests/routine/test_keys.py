"""The keys, against a handbook's tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine.keys import EVERY_KEY, Key, fifths_apart, parse_key, relation, shifted

# The circle of fifths as any harmony handbook prints it, from C clockwise (from memory).
CIRCLE = ["C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F"]
RELATIVE_MINORS = ["A", "E", "B", "F#", "C#", "G#", "Eb", "Bb", "F", "C", "G", "D"]


@pytest.mark.parametrize("step", range(12))
def test_the_circle_of_fifths_is_the_handbooks(step: int):
    home = parse_key("C major")
    assert fifths_apart(home, parse_key(f"{CIRCLE[step]} major")) == min(step, 12 - step)
    relative = parse_key(f"{RELATIVE_MINORS[step]} minor")
    assert relation(parse_key(f"{CIRCLE[step]} major"), relative) == "relative major and minor"


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        ("C major", "C major", "same key"),
        ("C major", "C minor", "parallel major and minor"),
        ("A minor", "E minor", "a fifth apart"),
        ("C major", "E minor", "neighbours by a fifth, other mode"),
        ("C major", "F# major", "6 fifths apart"),
    ],
)
def test_relations_are_named_as_a_handbook_names_them(a: str, b: str, said: str):
    assert relation(parse_key(a), parse_key(b)) == said
    assert relation(parse_key(b), parse_key(a)) == said


@pytest.mark.parametrize("text", ["", "H minor", "A", "A dorian", "A#b minor", "minor"])
def test_what_is_no_key_is_refused(text: str):
    with pytest.raises(ValueError, match="no such key"):
        parse_key(text)


@given(st.integers(0, 11), st.sampled_from(["major", "minor"]), st.integers(-24, 24))
def test_shifting_there_and_back_is_home(tonic: int, mode: str, by: int):
    key = Key(tonic, "major" if mode == "major" else "minor")
    assert shifted(shifted(key, by), -by) == key
    assert parse_key(str(key)) == key


def test_every_key_has_its_number_and_its_name():
    """Twelve semitones up from C, majors before minors; sharps and flats as they are usual."""
    names = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    assert [str(key) for key in EVERY_KEY] == [
        f"{name} {mode}" for mode in ("major", "minor") for name in names
    ]
    assert [key.number for key in EVERY_KEY] == list(range(24))


@pytest.mark.parametrize(
    ("text", "name"),
    [("Cb major", "B major"), ("B# minor", "C minor"), ("e♭ Minor", "Eb minor"),
     ("F♯ major", "F# major"), (" Gb  major ", "F# major"), ("E# minor", "F minor")],
)  # fmt: skip
def test_a_key_has_one_name_however_it_is_written(text: str, name: str):
    assert str(parse_key(text)) == name


@pytest.mark.parametrize(("tonic", "mode"), [(-1, "major"), (12, "minor"), (0, "dorian")])
def test_no_key_is_made_beyond_the_octave_or_of_another_mode(tonic, mode):
    with pytest.raises(ValueError, match=f"no such key: tonic {tonic}, mode {mode}"):
        Key(tonic, mode)
    assert str(Key(11, "minor")) == "B minor"
