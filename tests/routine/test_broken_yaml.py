"""A file that can't be read as YAML: what its writer is told, and by which line.

What is broken is so by YAML 1.2.2 (6.1 indentation, 7.3 quoted and plain words, 7.4 brackets; from
memory), and by the reference parser, which refuses each. The words and lines are by hand.
"""

from __future__ import annotations

import pytest
import yaml

from liveaid.routine.source import read_source

WHOLE = "the whole value in quotation marks would do"
INDENT = "as many spaces as the lines it belongs to would do"
NAMED = "`name: value`, with a space after the colon, would do"
COMMA = "a comma between entries, or a } after the last, would do"
DUE = "a value before it, or nothing at all, would do"


@pytest.mark.parametrize(
    ("text", "line", "found", "would_do"),
    [
        ("prompt: wind: right", 1, "a second colon in the line, column 13", WHOLE),
        ("a: it's \"x\" y: 2", 1, "a second colon in the line, column 14", WHOLE),
        ('a: "x" y', 1, "words after the end of a value, column 8", WHOLE),
        ("a: 'it's here'", 1, "words after the end of a value, column 8", WHOLE),
        ("a: @x", 1, "a value that begins with @, column 4", WHOLE),
        ("a: 1\n\n  b: 2", 3, "a line set in by 2, below a value, column 3", INDENT),
        ("- b:\n   c: 1\n    d: 2", 3, "a line set in by 4, below a value, column 5", INDENT),
        ("a:\n   x: 1\n  y: 2", 3, "a line set in by 2, unlike any before it, column 3", INDENT),
        ("x:\n  bars:4\n  b: 2", 2, "words without a name before them, column 3", NAMED),
        ("bars:4\n\nb: 2", 1, "words without a name before them, column 1", NAMED),
        ("a: 1\njust words\nb: 2", 2, "words without a name before them, column 1", NAMED),
        ("b: 0\na: {x: 1\nb: {y: 2}", 2, "a { left open, column 4", "a } at its end would do"),
        ("a: [1, 2", 1, "a [ left open, column 4", "a ] at its end would do"),
        ("a: {x: 1 y: 2}", 1, "an entry that goes on, column 11", COMMA),
        ("a: {w: 1,\n x: 1\n y: 2}", 3, "an entry that goes on, column 3", COMMA),
        ("a: {x: 1}}", 1, "a } too many, column 10", "one less would do"),
        ("a: [1]]", 1, "a ] too many, column 7", "one less would do"),
        ("a: }", 1, "} where a value is due, column 4", DUE),
        ("a: {x: 1,, y: 2}", 1, ", where a value is due, column 10", DUE),
        ('b: 0\na: "abc\nb: 2', 2, "a quotation mark left open, column 4",
         "another where the value ends would do"),
        ('a: "\\d"', 1, "a backslash in double quotation marks, column 6",
         "single quotation marks would do"),
        ("a:\n  - x\n  y: 1", 3, "a name in the middle of a list, column 3",
         "a dash before it, or no list, would do"),
        ("a:\n  y: 1\n  - x", 3, "a list's dash among names, column 3",
         "a name in its place would do"),
        ("a: - x", 1, "a list's dash within a line, column 4",
         "the list on lines of its own would do"),
        ("a: |x", 1, "expected chomping or indentation indicators, but found 'x', column 5",
         "well-formed YAML would do"),
    ],
)  # fmt: skip
def test_what_is_broken_is_told_in_plain_words_by_its_line(
    text: str, line: int, found: str, would_do: str
) -> None:
    with pytest.raises(yaml.YAMLError):
        yaml.safe_load(text)
    [problem] = read_source(text.encode()).problems
    assert (problem.line, problem.found, problem.would_do) == (line, found, would_do)
