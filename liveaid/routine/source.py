"""The YAML text of a section map as a tree of plain strings, with the line of every field.

Every scalar stays text: what it means is the schema's business, so YAML's guesses (3:00 as 180,
no as false, 010 as 8) never happen. Duplicate keys, aliases, deep nesting and characters that
steer a terminal are refused here.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml
from yaml.reader import ReaderError

from liveaid.files.file_bytes import reason
from liveaid.files.harmless import harmless
from liveaid.routine import broken_yaml
from liveaid.routine.problems import Hindrance, Problem, RoutineError

MAX_BYTES = 1_000_000
MAX_DEPTH = 20

Path = tuple[str | int, ...]
_Loader = type[yaml.BaseLoader] | type[yaml.CBaseLoader]


def field_name(path: Path) -> str:
    """A path as the performer reads it: ``pieces[1].left.at``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return harmless(text, lines=False)


@dataclass(slots=True)
class Source:
    """What a YAML file says, before it is judged."""

    tree: Any = None
    lines: dict[Path, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def line(self, path: Path) -> int:
        """The line of a field, or of the nearest thing around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def told(self, fault: Hindrance) -> Problem:
        """A fault of the map by its line."""
        line = self.line(fault.path)
        return Problem(line, field_name(fault.path), fault.found, fault.would_do)


def read_bytes(path: str | FilePath) -> bytes:
    """The bytes of a map or settings file, at most one more than allowed. RoutineError if not."""
    try:
        with open(path, "rb") as stream:
            return stream.read(MAX_BYTES + 1)
    except OSError as error:
        problem = Problem(1, "", reason(error), "a file that can be read would do")
        raise RoutineError(str(path), [problem]) from error


def read_source(data: bytes) -> Source:
    """The tree, lines and structural problems of a YAML file's bytes. Never raises."""
    source = Source()
    if len(data) > MAX_BYTES:
        return _refused(source, 1, f"{len(data)} bytes", f"a file below {MAX_BYTES} bytes would do")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return _refused(source, line, f"byte 0x{data[error.start]:02x}", "text in UTF-8 would do")
    # libyaml, where it is there, takes a tenth of the time; but it reads a few characters
    # otherwise, and tells less of a mistake.
    if not any(letter in text for letter in "\t?&"):
        with contextlib.suppress(yaml.YAMLError):
            return _read(text, getattr(yaml, "CBaseLoader", yaml.BaseLoader))
    try:
        return _read(text, yaml.BaseLoader)
    except yaml.MarkedYAMLError as error:
        source.problems.append(broken_yaml.told(error, text))
        return source
    except ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        found = f"the character U+{error.character:04X}"
        return _refused(source, line, found, "plain letters would do")
    except yaml.YAMLError as error:
        return _refused(source, 1, str(error).splitlines()[0], "well-formed YAML would do")


def _read(text: str, loader: _Loader) -> Source:
    source = Source()
    if _shape_allowed(source, text, loader):
        node = yaml.compose(text, Loader=loader)
        if node is not None:
            source.tree = _plain(source, node, ())
    return source


def _refused(source: Source, line: int, found: str, would_do: str) -> Source:
    source.problems.append(Problem(line, "", found, would_do))
    return source


def _shape_allowed(source: Source, text: str, loader: _Loader) -> bool:
    """Whether the event stream is free of aliases, second documents and deep nesting.

    Looked at before composing, since composing an alias bomb or a deep nest is what hurts.
    """
    depth = documents = 0
    for event in yaml.parse(text, Loader=loader):
        line = event.start_mark.line + 1 if event.start_mark else 1
        if isinstance(event, yaml.AliasEvent):
            _refused(source, line, f"alias *{event.anchor}", "the value written out would do")
        elif isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                _refused(source, line, f"nesting over {MAX_DEPTH} deep", "a flatter file would do")
                break
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        elif isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                _refused(source, line, "a second document", "one document a file would do")
                break
    return not source.problems


def _plain(source: Source, node: yaml.Node, path: Path) -> Any:
    """The node as dicts, lists and strings; notes lines and duplicate keys on the way."""
    source.lines.setdefault(path, node.start_mark.line + 1)
    if isinstance(node, yaml.MappingNode):
        return _mapping(source, node, path)
    if isinstance(node, yaml.SequenceNode):
        return [_plain(source, item, (*path, index)) for index, item in enumerate(node.value)]
    _no_control(source, node, path)
    return node.value if _says_something(node) else None


def _no_control(source: Source, node: yaml.Node, path: Path) -> None:
    """Refuse a text that would steer a terminal: a colour, a cleared screen, a turned line."""
    if harmless(node.value) != node.value:
        found, line = harmless(node.value)[:60], node.start_mark.line + 1
        would_do = "letters without control characters would do"
        source.problems.append(Problem(line, field_name(path), found, would_do))


def _mapping(source: Source, node: yaml.MappingNode, path: Path) -> dict[str, Any]:
    tree: dict[str, Any] = {}
    for key_node, value_node in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            source.problems.append(
                Problem(line, field_name(path), "a key that is no word", "a plain word would do")
            )
            continue
        key = str(key_node.value)
        here = (*path, key)
        _no_control(source, key_node, here)
        if key in tree:
            first = source.lines[here]
            source.problems.append(
                Problem(line, field_name(here), f"{key} again", f"once would do; see line {first}")
            )
            continue
        source.lines[here] = line
        tree[key] = _plain(source, value_node, here)
    return tree


def _says_something(node: yaml.Node) -> bool:
    """False for an empty or null scalar, unless it was quoted: then it is an empty text."""
    return bool(getattr(node, "style", None)) or node.value not in ("", "~", "null", "Null", "NULL")
