"""Reading a section map: every problem at once, with its line, and YAML's traps handled."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine import Problem, RoutineError, load_routine
from liveaid.routine.load import read_routine
from liveaid.routine.source import read_source

ROUTINES = sorted((Path(__file__).resolve().parent.parent / "routines").glob("*.yaml"))

MARKET = """\
title: Night Market
limit: "3:00"
metre: 4
turntable: {rpm: 33.333, pitch_range: 8}
decks:
  left: {file: decks/left.wav}
  right: {file: decks/right.wav}
sounds:
  stall-break: {file: sounds/stall-break.wav, kind: instrumental, tempo: 92.0}
  hawker-call: {file: sounds/hawker-call.wav, kind: a cappella}
pieces:
  - name: Doors open
    part: intro
    technique: blend
    bars: 8
    tempo: 92
    energy: 2
    count: left
    left: {hand: runs, sound: stall-break, at: 1.8}
    right: {hand: works, sound: hawker-call, from: 5.4, to: 7.2}
    prompt: right hand to the sticker
  - name: Lanterns
    bars: 4
    tempo: 96
    right: {hand: rests}
"""


def problems_of(text: str | bytes) -> tuple[Problem, ...]:
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(RoutineError) as caught:
        read_routine(data)
    return caught.value.problems


def change(old: str, new: str) -> str:
    assert MARKET.count(old) == 1, old
    return MARKET.replace(old, new)


def test_the_designs_own_example_loads():
    routine = read_routine(MARKET.encode())
    assert routine.limit_s == 180.0
    assert routine.pieces[0].left.at_s == 1.8
    assert routine.pieces[0].right.cue_s == 5.4  # the cue is `from` unless `cue:` says otherwise
    assert routine.pieces[1].left.hand == "rests"
    assert routine.placed


def test_a_sound_without_seconds_is_a_routine_not_yet_placed():
    routine = read_routine(change(", at: 1.8", ", bars_in: 2").encode())
    assert not routine.placed
    assert routine.pieces[0].left.bars_in == 2


def test_every_problem_of_a_file_is_told_at_once_in_line_order():
    text = MARKET
    for old, new in [
        ('limit: "3:00"', "limit: 180"),
        ("tempo: 92\n", "tempo: 0\n"),
        ("energy: 2", "enrgy: 2"),
        ("count: left", "count: right"),
        ("sound: stall-break, at: 1.8", "sound: stal-break, at: soon"),
        ("to: 7.2", "to: 5.2"),
        ("bars: 4", "bars: 0"),
        ("hand: rests", "hand: sits"),
    ]:
        assert old in text
        text = text.replace(old, new)
    found = [(problem.line, problem.field, problem.found) for problem in problems_of(text)]
    assert found == [
        (2, "limit", "180"),
        (16, "pieces[0].tempo", "0"),
        (17, "pieces[0].enrgy", "2"),
        (18, "pieces[0].count", "right"),
        (19, "pieces[0].left.at", "soon"),
        (19, "pieces[0].left.sound", "stal-break"),
        (20, "pieces[0].right.to", "5.2"),
        (23, "pieces[1].bars", "0"),
        (25, "pieces[1].right.hand", "sits"),
    ]


def test_the_error_names_file_line_field_found_and_what_would_do(tmp_path: Path):
    file = tmp_path / "routine.yaml"
    file.write_text(change("bars: 4", "bars: none"))
    with pytest.raises(RoutineError, match=r"bars") as caught:
        load_routine(file)
    text = str(caught.value)
    expected = "line 23: pieces[1].bars: found none; bars such as 8 or 2 1/2 would do"
    assert text == f"{file}, {expected}"


@pytest.mark.parametrize(
    ("old", "new", "field", "line"),
    [
        ("from: 5.4, to: 7.2", "from: 7.2, to: 5.4", "pieces[0].right.to", 20),
        ("from: 5.4, to: 7.2", "from: 5.4, to: 5.4", "pieces[0].right.to", 20),
        ("from: 5.4, to: 7.2", "to: 7.2", "pieces[0].right.from", 20),
        ("count: left", "count: right", "pieces[0].count", 18),
        ("bars: 8", "bars: 0", "pieces[0].bars", 15),
        ("bars: 8", "bars: -1", "pieces[0].bars", 15),
        ("tempo: 92\n", "tempo: .nan\n", "pieces[0].tempo", 16),
        ("tempo: 92\n", "tempo: inf\n", "pieces[0].tempo", 16),
        ("at: 1.8", "at: -1.8", "pieces[0].left.at", 19),
        ("rpm: 33.333", "rpm: 0", "turntable.rpm", 4),
        ("metre: 4", "metre: 0", "metre", 3),
        ("energy: 2", "energy: 6", "pieces[0].energy", 17),
        ("part: intro", "part: chorus", "pieces[0].part", 13),
        ("kind: instrumental", "kind: drums", "sounds.stall-break.kind", 9),
    ],
)
def test_what_cannot_be_played_is_refused(old: str, new: str, field: str, line: int):
    (problem,) = problems_of(change(old, new))
    assert (problem.field, problem.line) == (field, line)
    assert problem.would_do


def test_overlapping_spans_are_fine():
    overlapping = change("- name: Lanterns", "- name: Lanterns\n    count: clock")
    overlapping = overlapping.replace(
        "right: {hand: rests}", "right: {hand: works, from: 6.0, to: 9.0}"
    )
    assert read_routine(overlapping.encode()).pieces[1].right.from_s == 6.0


class TestYamlTraps:
    """YAML 1.1 reads these otherwise (PyYAML's safe_load does, shown in the first test)."""

    def test_the_traps_are_real(self):
        read = yaml.safe_load("a: 3:00\nb: off\nc: 010\nd: 1e3\ne: 1\ne: 2")
        assert read == {"a": 180, "b": False, "c": 8, "d": "1e3", "e": 2}

    @pytest.mark.parametrize(
        ("written", "seconds"),
        [("3:00", 180.0), ("0:30", 30.0), ("10:05", 605.0), ("1:00:00", 3600.0), ("1:30.5", 90.5)],
    )
    def test_a_limit_needs_no_quotes(self, written: str, seconds: float):
        assert read_routine(change('"3:00"', written).encode()).limit_s == seconds

    @pytest.mark.parametrize("word", ["on", "off", "no", "yes", "y", "true", "010", "1e3", "3:00"])
    def test_a_name_stays_the_text_it_is(self, word: str):
        routine = read_routine(change("name: Lanterns", f"name: {word}").encode())
        assert routine.pieces[1].name == word

    def test_a_leading_zero_is_decimal(self):
        assert read_routine(change("bars: 8", "bars: 010").encode()).pieces[0].bars == 10

    @pytest.mark.parametrize(("word", "value"), [("no", False), ("off", False), ("yes", True)])
    def test_yes_and_no_are_read_where_they_are_asked_for(self, word: str, value: bool):
        text = change("metre: 4", f"metre: 4\nperformer: {{hamster: {word}}}")
        assert read_routine(text.encode()).performer.hamster is value

    def test_a_duplicate_key_is_refused_and_the_first_one_named(self):
        (problem,) = problems_of(change("bars: 8", "bars: 8\n    bars: 9"))
        assert (problem.line, problem.field) == (16, "pieces[0].bars")
        assert "15" in problem.would_do

    @pytest.mark.parametrize(
        ("old", "new", "meant"),
        [
            ("energy: 2", "enrgy: 2", "energy"),
            ("pitch_range: 8", "pich_range: 8", "pitch_range"),
            ("to: 7.2", "too: 7.2", "to"),
            ("tempo: 92\n", "tempo_bpm: 92\n", "tempo"),
        ],
    )
    def test_an_unknown_key_is_refused_with_a_guess(self, old: str, new: str, meant: str):
        assert any(f"did you mean {meant}?" in p.would_do for p in problems_of(change(old, new)))

    def test_an_unknown_sound_is_refused_with_a_guess(self):
        (problem,) = problems_of(change("sound: hawker-call", "sound: hawkercall"))
        assert "did you mean hawker-call?" in problem.would_do

    def test_an_alias_bomb_is_refused_at_once(self):
        bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
            f"{chr(98 + n)}: &{chr(98 + n)} [{', '.join(['*' + chr(97 + n)] * 9)}]\n"
            for n in range(20)
        )
        found = problems_of(bomb)
        assert all("alias" in problem.found for problem in found)
        assert found[0].line == 2

    def test_a_file_of_ten_megabytes_is_refused(self, tmp_path: Path):
        file = tmp_path / "routine.yaml"
        file.write_text("title: " + "x" * 10_000_000)
        with pytest.raises(RoutineError, match="a file below"):
            load_routine(file)

    @pytest.mark.parametrize("text", ["[" * 5000, "a: " + "{a: " * 5000, "- " * 5000 + "x"])
    def test_deep_nesting_is_refused(self, text: str):
        assert "nesting" in problems_of(text)[0].found

    def test_text_that_is_not_utf8_is_refused_with_its_line(self):
        (problem,) = problems_of(MARKET.encode().replace(b"Lanterns", b"Lant\xe9rns"))
        assert (problem.line, problem.found) == (22, "byte 0xe9")

    def test_a_byte_order_mark_is_no_trouble(self):
        assert read_routine(b"\xef\xbb\xbf" + MARKET.encode()).title == "Night Market"

    @pytest.mark.parametrize("text", ["", "# nothing\n", "just words", "- a\n- b", "42", "null"])
    def test_a_file_that_is_no_map_says_what_would_do(self, text: str):
        assert problems_of(text)

    def test_a_second_document_is_refused(self):
        assert any("second document" in p.found for p in problems_of(MARKET + "---\nx: 1\n"))

    @pytest.mark.parametrize("text", ["a: [", "a: 'x", "\ta: b", "a: b: c", "? [x]\n: y", "%x"])
    def test_broken_yaml_names_a_line(self, text: str):
        assert all(problem.line >= 1 for problem in problems_of(text))
        assert not any(problem.found.startswith("found") for problem in problems_of(text))

    def test_a_tab_is_called_one(self):
        (problem,) = problems_of(MARKET.replace("  - name", "\t- name", 1))
        assert (problem.found, problem.would_do) == ("a tab, column 1", "spaces would do")

    def test_a_null_is_as_good_as_leaving_the_field_out(self):
        assert read_routine(change('limit: "3:00"', "limit:").encode()).limit_s is None


def test_a_missing_file_is_told_in_one_line(tmp_path: Path):
    with pytest.raises(RoutineError, match="no such file"):
        load_routine(tmp_path / "nowhere.yaml")


def test_a_folder_is_told_in_one_line(tmp_path: Path):
    with pytest.raises(RoutineError, match="directory"):
        load_routine(tmp_path)


@given(st.binary(max_size=300))
def test_any_bytes_are_a_routine_or_a_routine_error(data: bytes):
    with pytest.raises(RoutineError):
        read_routine(data)


VALUES = st.sampled_from(["", "0", "-1", "x", "[]", "{}", "nan", "1e400", "left", "~", '"', "*a"])
OLD = st.sampled_from([part for part in MARKET.split() if part not in ("-", "{hand:")])


@given(OLD, VALUES)
def test_any_word_of_a_map_may_be_wrong_and_is_told_where(old: str, new: str):
    try:
        read_routine(MARKET.replace(old, new, 1).encode())
        lines = {1}
    except RoutineError as error:
        lines = {problem.line for problem in error.problems}
    assert lines
    assert all(1 <= line <= MARKET.count("\n") + 1 for line in lines)


MISTAKES = """\
title: x
sounds: {{bells: {{file: a.wav, kind: {kind}}}}}
idea:
  wants:
    - {{part: intro, energy: 2, tempo: {tempo}}}
    - {want}
    - {{part: story, kind: {sought}}}
pieces:
  - {{name: A, bars: 1, tempo: 90, left: {{hand: {hand}, sound: bells}}}}
  - {{name: {name}, bars: 1, tempo: 90, left: {{hand: works, strokes: {strokes}}}, count: {count}}}
"""
RIGHT = {"kind": "sample", "tempo": "85..100", "want": "{part: climax}", "sought": "sample",
         "hand": "runs", "name": "B", "strokes": "[0, 1, 2]", "count": "clock"}  # fmt: skip


@pytest.mark.parametrize(
    ("field", "wrong", "says"),
    [
        ("kind", "break", "line 2: sounds.bells.kind: found break; did you mean instrumental?"),
        ("kind", "acapella", "line 2: sounds.bells.kind: found acapella; did you mean a cappella?"),
        ("sought", "vocals", "line 7: idea.wants[2].kind: found vocals; did you mean a cappella?"),
        ("sought", "fx", "line 7: idea.wants[2].kind: found fx; did you mean effect?"),
        ("tempo", "85-100", "line 5: idea.wants[0].tempo: found 85-100; a range such as 85..100"),
        ("tempo", "100..85", "line 5: idea.wants[0].tempo: found 100..85; the lower one first"),
        ("want", "nonsense", "line 6: idea.wants[1]: found nonsense; fields below it would do"),
        ("want", "{part: intr}", "line 6: idea.wants[1].part: found intr; did you mean intro?"),
        ("want", "{part: outro, enrgy: 2}", "line 6: idea.wants[1].enrgy: found 2; did you mean"),
        ("hand", "scratch", "line 9: pieces[0].left.hand: found scratch; did you mean works?"),
        ("count", "none", "line 10: pieces[1].count: found none; did you mean clock?"),
        ("name", "A", "line 10: pieces[1].name: found A; a name of its own would do; line 9"),
        ("strokes", "[0, x, 3]", "line 10: pieces[1].left.strokes[1]: found x; a number"),
        ("strokes", "[0, 1, 9]", "line 10: pieces[1].left.strokes[2]: found 9; a beat below 4"),
    ],
)
def test_one_mistake_is_told_once_where_it_is_and_with_what_was_meant(field, wrong, says):
    with pytest.raises(RoutineError) as caught:
        read_routine(MISTAKES.format(**{**RIGHT, field: wrong}).encode())
    told = [str(problem) for problem in caught.value.problems]
    assert len(told) == 1, told
    assert told[0].startswith(says)


def test_mistakes_in_neighbouring_wants_are_each_told_on_their_own():
    text = MISTAKES.format(**{**RIGHT, "tempo": "fast", "want": "nonsense", "sought": "loud"})
    with pytest.raises(RoutineError) as caught:
        read_routine(text.encode())
    assert [problem.field for problem in caught.value.problems] == [
        "idea.wants[0].tempo", "idea.wants[1]", "idea.wants[2].kind",
    ]  # fmt: skip


def test_a_tempo_range_is_written_as_find_takes_it():
    (want, *_) = read_routine(MISTAKES.format(**RIGHT).encode()).idea.wants
    assert (want.tempo_from_bpm, want.tempo_to_bpm) == (85, 100)


HARD = (
    "a: ~\nb: ''\nc: |\n  two\n  lines\nd: >-\n  one\n  line\ne: !tag x\n",
    "- [a, b, [c], {d: e}]\n-\n- x: 1\n  x: 2\n- 'it''s'\n- \"\\u00e9\\x41\"\n",
    "[1, 2]: key\n", "---\na: 1\n---\nb: 2\n", "%YAML 1.1\n---\na: 010\nb: no\nc: 3:00\n",
    "a: b: c\n", "a: [1, 2\n", "a: 'x\n", "\u2028a: é\n", "", "# nothing\n",
    "a: b\tc\n", "{a? b}\n", "a: [1, &x , 2]\n",
)  # fmt: skip


@pytest.mark.parametrize(
    "text", [*HARD, *(path.read_text() for path in ROUTINES)], ids=lambda text: repr(text[:16])
)
def test_a_map_reads_the_same_with_and_without_libyaml(text, monkeypatch):
    with_it = read_source(text.encode())
    monkeypatch.delattr(yaml, "CBaseLoader")
    without = read_source(text.encode())
    assert with_it == without


def test_a_map_may_be_twenty_deep():
    nested = "[" * 20 + "]" * 20
    assert read_source(f"{nested}\n".encode()).problems == []
    told = read_source(f"[{nested}]\n".encode()).problems
    assert [problem.found for problem in told] == ["nesting over 20 deep"]
