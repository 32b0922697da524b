"""Why a file can't be read as YAML, in words for whoever wrote it, and the line to look at.

The parser speaks of tokens and blocks, and of the line where it gave up: a bracket left open is
told a line late. Here its complaint becomes what stands in the file and what would do. The rules
are those of YAML 1.2.2: 6.1 (indentation), 7.3 (plain and quoted words), 7.4 (brackets).
"""

from __future__ import annotations

import re

import yaml

from liveaid.routine.problems import Problem

_NAMED = "`name: value`, with a space after the colon, would do"
_QUOTED = "the whole value in quotation marks would do"
_SAME_INDENT = "as many spaces as the lines it belongs to would do"


def told(error: yaml.MarkedYAMLError, text: str) -> Problem:
    """What is wrong in a text that the parser refused."""
    mark = error.problem_mark or error.context_mark
    begun = error.context_mark or mark
    if mark is None or begun is None:
        return Problem(1, "", error.problem or error.context or "", "well-formed YAML would do")
    lines = [*text.splitlines(), ""]
    complaint = (error.problem or error.context or "").removeprefix("found ")
    line, column = mark.line, mark.column
    if error.context in ("while parsing a flow mapping", "while parsing a flow sequence"):
        opens, shuts = "{}" if "mapping" in error.context else "[]"
        rest = text[begun.index :]
        if rest.count(opens) > rest.count(shuts):
            line, column = begun.line, begun.column
            found, would_do = f"a {opens} left open", f"a {shuts} at its end would do"
        else:
            found = "an entry that goes on"
            would_do = f"a comma between entries, or a {shuts} after the last, would do"
    elif error.context and "quoted scalar" in error.context and "end of stream" in complaint:
        line, column = begun.line, begun.column
        found, would_do = "a quotation mark left open", "another where the value ends would do"
    elif complaint.startswith("unknown escape character"):
        found = "a backslash in double quotation marks"
        would_do = "single quotation marks would do"
    elif complaint == "mapping values are not allowed here":
        line, column, found, would_do = _colon(lines, line, column)
    elif complaint == "could not find expected ':'":
        line, column = begun.line, begun.column
        found, would_do = "words without a name before them", _NAMED
    elif complaint.endswith("'<block mapping start>'"):
        found, would_do = f"a line set in by {column}, unlike any before it", _SAME_INDENT
    elif complaint.startswith("expected <block end>"):
        found, would_do = {
            "'?'": ("a name in the middle of a list", "a dash before it, or no list, would do"),
            "'-'": ("a list's dash among names", "a name in its place would do"),
            "'}'": ("a } too many", "one less would do"),
            "']'": ("a ] too many", "one less would do"),
        }.get(complaint.rpartition("found ")[2], ("words after the end of a value", _QUOTED))
    elif complaint == "sequence entries are not allowed here":
        found, would_do = "a list's dash within a line", "the list on lines of its own would do"
    elif complaint.startswith("expected the node content"):
        found = f"{lines[line][column : column + 1] or 'the end'} where a value is due"
        would_do = "a value before it, or nothing at all, would do"
    elif "'\\t'" in complaint:
        found, would_do = "a tab", "spaces would do"
    elif complaint.endswith("that cannot start any token"):
        found, would_do = f"a value that begins with {lines[line][column]}", _QUOTED
    else:
        found, would_do = complaint, "well-formed YAML would do"
    return Problem(line + 1, "", f"{found}, column {column + 1}", would_do)


def _colon(lines: list[str], line: int, column: int) -> tuple[int, int, str, str]:
    """Where a colon has no name to end: the second of its line, or one set in too deep."""
    if re.search(r":\s|['\"]", lines[line][:column]):
        return line, column, "a second colon in the line", _QUOTED
    above = max((k for k in range(line) if lines[k].strip()), default=line)
    if re.search(r":(\s|$)", lines[above]):
        set_in = len(lines[line]) - len(lines[line].lstrip())
        return line, set_in, f"a line set in by {set_in}, below a value", _SAME_INDENT
    set_in = len(lines[above]) - len(lines[above].lstrip())
    return above, set_in, "words without a name before them", _NAMED
