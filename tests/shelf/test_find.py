"""Finding sounds by plain terms: what each term means, and what is said to a mistake."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.shelf.find import QueryError, matching, parse_query
from liveaid.shelf.query_words import WORDS
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study.facts import Study


def sound(
    name: str = "a", *, marks: Marks | None = None, gone: bool = False, **facts: object
) -> ShelfSound:
    known = {
        "duration_s": 20.0,
        "sample_rate_hz": 44100,
        "channels": 2,
        "format": "WAV PCM_16",
        "frames_declared": 882000,
        "frames_read": 882000,
        "tempo": 96.0,
        "metre": 4,
        "key": "A minor",
        "loudness_lufs": -12.0,
        "true_peak_dbtp": -0.5,
        "energy": 3,
        "kind": "a cappella",
        "phrases_s": ((0.0, 4.0), (5.0, 9.0)),
    }
    return ShelfSound(
        hash=name,
        path=f"/s/{name}.wav",
        gone=gone,
        study=Study(**(known | facts)),  # type: ignore[arg-type]
        marks=marks or Marks(),
    )


FAILED = ShelfSound(hash="f", path="/s/broken.wav", fault="no sound in it")


def finds(query: str, *sounds: ShelfSound) -> list[str]:
    return [found.name for found in matching(parse_query(query), sounds)]


@pytest.mark.parametrize(
    ("term", "holds"),
    [
        ("tempo 88..96", True),
        ("tempo 96.1..120", False),
        ("tempo 90..", True),
        ("tempo ..90", False),
        ("tempo 96", True),
        ("tempo 95.4", False),
        ("TEMPO 88..96 BPM", True),
        ("tempo 44..50", False),
        ("tempo 44..50 half", True),
        ("tempo 180..200 half", False),
        ("tempo 180..200 half double", True),
        ("tempo none", False),
        ("key A minor", True),
        ("key a minor", True),
        ("key C major", False),
        ("key near C major", True),  # relative: the same notes
        ("key near E minor", True),  # a fifth up
        ("key near B minor", False),  # two fifths up
        ("key G major or A minor", True),
        ("kind a cappella", True),
        ("kind sample or effect", False),
        ("kind sample or a cappella", True),
        ("energy 3", True),
        ("energy 4..5", False),
        ("loudness -14..-10 LUFS", True),
        ("loudness -10..", False),
        ("loudness −14..−10", True),  # the typographic minus
        ("peak ..-1 dBTP", False),
        ("duration 0:20", True),
        ("duration 15..20.5 s", True),
        ("duration 0:21..1:30", False),
        ("bars 8", True),  # by hand: 20 s at 96 BPM are 32 beats, 8 bars of 4
        ("bars 8.1..", False),
        ("phrases 2", True),
        ("phrases 3..", False),
        ("loop", False),
        ("not loop", True),
        ("not not loop", False),
        ("steady", False),
        ("faulty", False),
        ("tag none", True),
        ("licence none", True),
        ("gone", False),
        ("not kind effect, tempo 90.., energy 1..5", True),
        ("not kind effect, tempo 90.., energy 1", False),
        ("", True),
        (" , ,", True),
    ],
)
def test_a_term_holds_or_not(term: str, holds: bool):
    assert (finds(term, sound()) == ["a"]) == holds


def test_what_is_not_known_is_found_by_none_and_by_no_range():
    free = sound(tempo=None, key=None, loudness_lufs=None)
    assert finds("tempo none, key none, loudness none, bars none", free) == ["a"]
    for term in ("tempo 0..999", "key near A minor", "loudness -99..0", "bars 0.."):
        assert finds(term, free) == []


@pytest.mark.parametrize(
    ("term", "holds"),
    [
        ("text lantern", True),
        ("text LANTERN dusk", True),
        ("text lantern noon", False),
        ('text "at dusk, late"', True),
        ('text "late dusk"', False),
        ("text cafe", True),
        ("text café", True),
        ("text my-name.wav", True),
        ("text rain", True),
        ("tag Rain", True),
        ("tag rai", False),
        ("tag sun or rain", True),
        ("note dusk", True),
        ("source own", True),
        ("licence none", False),
        ("licence cc0", True),
    ],
)
def test_words_are_found_without_case_and_accents(term: str, holds: bool):
    marks = Marks(
        tags=frozenset({"rain"}), note="Lantern at dusk, late", source="own Café", licence="CC0-1.0"
    )
    assert (finds(term, sound("my-name", marks=marks)) == ["my-name"]) == holds


def test_sounds_that_failed_are_found_only_when_asked_for():
    assert finds("", sound(), FAILED) == ["a"]
    assert finds("not tempo 10..20", sound(), FAILED) == ["a"]
    assert finds("failed", sound(), FAILED) == ["broken"]
    assert finds("failed, text broken", sound(), FAILED) == ["broken"]


def test_gone_sounds_are_found_like_others():
    assert finds("gone", sound("a"), sound("b", gone=True)) == ["b"]
    assert finds("tempo 96", sound("a"), sound("b", gone=True)) == ["a", "b"]


def test_order_is_as_asked_and_the_unknown_comes_last():
    shelf = [sound("a", tempo=100.0), sound("b", tempo=None), sound("c", tempo=80.0)]
    assert finds("by tempo", *shelf) == ["c", "a", "b"]
    assert finds("by tempo down", *shelf) == ["a", "c", "b"]
    assert finds("", *shelf) == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("tempi 90", "term 1, 'tempi 90': 'tempi' is no word to find by; did you mean tempo?"),
        ("tempo 88-96", "two dots part a range: 88..96"),
        ("tempo 96..88", "the smaller number first would do: 88..96"),
        ("tempo fast", "'fast' is no number; such as tempo 88..96 would do"),
        ("tempo 88..96 halve", "'halve' is not understood; half or double after the range"),
        ("tempo", "a value is missing; such as tempo 88..96 would do"),
        ("energy ..", "a number on one side of `..` at least would do"),
        ("tempo nan..inf", "'nan' is no number"),
        ("key Am", "'Am' is no key; a key such as A minor"),
        ("kind acappella", "'acappella' is no kind; did you mean a cappella?"),
        ("text", "a text to look for is missing"),
        ("tag", "a value is missing; such as tag crowd would do"),
        ("note", "a value is missing; such as note none would do"),
        ("loop 4", "'4' is too much here; loop stands alone"),
        ("not", "a term after `not` would do"),
        ("by colour", "'colour' is nothing to sort by; known: bars, brightness"),
        ("by tempo upwards", "'tempo upwards' is nothing to sort by"),
        ("by", "known: bars"),
    ],
)
def test_a_mistake_is_told_with_what_would_do(query: str, said: str):
    with pytest.raises(QueryError) as told:
        parse_query(query)
    assert said in str(told.value)


def test_all_mistakes_are_told_at_once_each_with_its_term():
    with pytest.raises(QueryError) as told:
        parse_query("tempo 9x, kind effect, enrgy 3")
    lines = str(told.value).splitlines()
    assert [line.partition(":")[0] for line in lines] == ["term 1, 'tempo 9x'", "term 3, 'enrgy 3'"]


@pytest.mark.parametrize("word", WORDS)
def test_every_example_in_the_help_can_be_read(word: str):
    assert WORDS[word].example.split()[0] == word
    parse_query(WORDS[word].example)
    parse_query(f"not {WORDS[word].example}")


@given(st.text())
def test_any_text_is_a_query_or_a_told_mistake(text: str):
    try:
        query = parse_query(text)
    except QueryError:
        return
    matching(query, [sound(), FAILED])


@given(st.floats(-500, 500), st.floats(-500, 500), st.floats(20, 300))
def test_a_range_means_from_and_to_included(low: float, high: float, tempo: float):
    low, high = sorted((round(low, 2), round(high, 2)))
    found = finds(f"tempo {low:.2f}..{high:.2f}", sound(tempo=tempo))
    assert (found == ["a"]) == (low <= tempo <= high)


# A number alone takes what rounds to it; a range takes both its ends.
@pytest.mark.parametrize(
    ("term", "facts", "holds"),
    [
        ("tempo 96", {"tempo": 96.5}, True),
        ("tempo 96", {"tempo": 96.6}, False),
        ("tempo 96", {"tempo": 95.4}, False),
        ("tempo 88..96", {"tempo": 96.0}, True),
        ("tempo 88..96", {"tempo": 96.1}, False),
        # 88..96 heard at half time is 176..192 on the record, at double time 44..48.
        ("tempo 88..96 half", {"tempo": 176.0}, True),
        ("tempo 88..96 half", {"tempo": 193.0}, False),
        ("tempo 88..96 half", {"tempo": 46.0}, False),
        ("tempo 88..96 double", {"tempo": 48.0}, True),
        ("tempo 88..96 double", {"tempo": 49.0}, False),
        ("energy 3", {"energy": 4}, False),
        ("loudness -12", {"loudness_lufs": -12.5}, True),
        ("loudness -12", {"loudness_lufs": -12.6}, False),
        ("duration 1:30..2:00", {"duration_s": 90.0}, True),
        ("duration 1:30..2:00", {"duration_s": 121.0}, False),
        ("duration 0:21", {"duration_s": 20.4}, False),
        ("duration 0:21", {"duration_s": 21.5}, True),
        # 20 s less 2.5 and 5 s of silence are 12.5 s: at 96 BPM 20 beats, 5 bars of 4.
        ("bars 5", {"silence_start_s": 2.5, "silence_end_s": 5.0}, True),
        ("bars 8", {"silence_start_s": 2.5, "silence_end_s": 5.0}, False),
        ("bars 8", {"metre": None}, True),
        ("bars 8", {"duration_s": 19.9}, True),  # 7.96
        ("bars 8", {"duration_s": 19.8}, False),  # 7.92
        ("bars 4", {"loop_beats": 16}, True),
        ("bars 4", {"metre": 8}, True),
        ("loop", {"loop_beats": 16}, True),
        ("voice 0.5", {"voice": 0.55}, True),
        ("voice 0.5", {"voice": 0.56}, False),
        ("faulty", {"faults": ("cut off",)}, True),
        ("brightness 1400", {"brightness_hz": 1400.4}, True),
        ("key near C major", {"key": "G major"}, True),
        ("key near C major", {"key": "F major"}, True),
        ("key near C major", {"key": "D minor"}, True),
        ("key near C major", {"key": "D major"}, False),
        ("key near C major", {"key": "C minor"}, False),
        ("key C major or A minor", {"key": "C minor"}, False),
        ("break", {}, False),
        ("break none", {}, True),
    ],
)
def test_where_a_term_ends(term: str, facts: dict, holds: bool):
    assert (finds(term, sound(**facts)) == ["a"]) == holds


# Open breaks: a bar of 4 in 2 s, 120 BPM, and four bars in 7.68 s, 60 * 16 / 7.68 = 125 BPM.
# What is asked for is found by itself; what is asked not to have one is the whole sound.
@pytest.mark.parametrize(
    ("term", "found"),
    [
        ("break", ["a break-1", "a break-2"]),
        ("break none", []),
        ("break 1", ["a break-1"]),
        ("break 1 bar", ["a break-1"]),
        ("break 2", []),
        ("break 2..3", []),
        ("break 2..4 bars", ["a break-2"]),
        ("break 2..4 bars, tempo 119..121", []),
        ("break 2..4 bars, tempo 124..126", ["a break-2"]),
        ("break, loop, kind instrumental, duration 7..8", ["a break-2"]),
        ("break 5..64", []),
        ("not break 4", []),
        ("not break 8", ["a"]),
        ("tempo 60..200", ["a"]),
    ],
)
def test_open_breaks_are_found_by_themselves(term: str, found: list[str]):
    parts = ((0.0, 2.0, "drums alone", 1.0), (2.0, 10.0, "full", 4.0),
             (10.0, 17.68, "drums alone", 4.0))  # fmt: skip
    assert finds(term, sound(tempo=120.0, metre=4, sections=parts)) == found


@pytest.mark.parametrize(
    ("term", "said"),
    [
        ("break 0", "whole bars from 1 to 64 would do"),
        ("break 65..", "whole bars from 1 to 64 would do"),
        ("duration 1:75", "'1:75' is no number"),
        ("tempo 88 – 96", "two dots part a range: 88..96"),
    ],
)
def test_what_no_term_can_mean_is_told(term: str, said: str):
    with pytest.raises(QueryError, match=said):
        parse_query(term)
