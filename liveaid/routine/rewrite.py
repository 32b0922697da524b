"""A section map's text with its set pieces in another order, every other byte as it was.

The text is cut where the YAML reader says a set piece begins and ends, and put together anew, so
that comments, spacing, quotes and line breaks stay. A library that writes the whole file back
keeps comments, but not the spaces inside `{hand: runs,  at: 1.8}`.

A comment above a set piece goes with it, and so does what stands on its lines; blank lines stay
where they part one place from the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import yaml

from liveaid.routine.model import SIDES


@dataclass(frozen=True, slots=True)
class TextPlace:
    """One set piece of the new order, by where it stood in the text."""

    old: int
    """Where it stood, from 0."""
    traded: bool = False
    """Whether its two decks are exchanged."""


@dataclass(frozen=True, slots=True)
class _Patch:
    begin: int
    end: int
    text: str


def rewritten(text: str, order: Sequence[TextPlace], files: Mapping[str, str] | None = None) -> str:
    """The text with its set pieces in this order; those not named are left out.

    `files` has the sounds' paths where the new file must name them otherwise. ValueError when the
    text has no list of set pieces.
    """
    root = yaml.compose(text, Loader=yaml.BaseLoader)
    pieces = _value(root, "pieces")
    if not isinstance(pieces, yaml.SequenceNode) or not pieces.value:
        raise ValueError("no list of set pieces")
    begins, ends, next_begins = _cuts(text, pieces)
    blocks = [
        _patched(text[begins[place.old] : ends[place.old]],
                 _trades(text, pieces.value[place.old]) if place.traded else (),
                 begins[place.old])
        for place in order
    ]  # fmt: skip
    parted = [text[end:begin] for end, begin in zip(ends, next_begins, strict=True)]
    before = _patched(text[: begins[0]], _renames(root, files or {}, until=begins[0]), 0)
    tail = next_begins[-1]
    after = _patched(text[tail:], _renames(root, files or {}, since=tail), tail)
    return before + _joined(text, blocks, [*parted[: len(blocks) - 1], parted[-1]]) + after


def _joined(text: str, blocks: Sequence[str], parted: Sequence[str]) -> str:
    """The blocks with what parts them; the file's last line may lack its break, no other does."""
    if text.endswith("\n") or all(block.endswith("\n") for block in blocks[:-1]):
        return "".join(block + part for block, part in zip(blocks, parted, strict=True))
    line_break = "\r\n" if "\r\n" in text else "\n"
    ended = [block if block.endswith("\n") else block + line_break for block in blocks]
    whole = "".join(block + part for block, part in zip(ended, parted, strict=True))
    return whole.removesuffix(line_break)


def _cuts(text: str, pieces: yaml.SequenceNode) -> tuple[list[int], list[int], list[int]]:
    """Where each set piece's text begins and ends, and where the next one's begins.

    Whole lines, or the items of a flow list. What stands between one's last line and the next
    one's dash: blank lines first, which part them, then the next one's comments.
    """
    begins = [node.start_mark.index for node in pieces.value]
    ends = [_end(node) for node in pieces.value]
    if pieces.flow_style:
        return begins, ends, [*begins[1:], ends[-1]]
    ends = [_line_end(text, end) for end in ends]
    nexts = [_after_blank_lines(text, end) for end in ends]
    first = text.rindex("-", 0, begins[0])
    return [_comments_above(text, text.rfind("\n", 0, first) + 1), *nexts[:-1]], ends, nexts


def _line_end(text: str, end: int) -> int:
    if end and text[end - 1] == "\n":
        return end
    found = text.find("\n", end)
    return len(text) if found < 0 else found + 1


def _after_blank_lines(text: str, end: int) -> int:
    while end < len(text):
        line_end = text.find("\n", end)
        line = text[end : len(text) if line_end < 0 else line_end]
        if line.strip():
            break
        end = len(text) if line_end < 0 else line_end + 1
    return end


def _comments_above(text: str, line_begin: int) -> int:
    """Up over the comment lines right above the first set piece, to the line of `pieces:`."""
    while line_begin > 0:
        above = text.rfind("\n", 0, line_begin - 1) + 1
        if not text[above:line_begin].lstrip(" ").startswith("#"):
            break
        line_begin = above
    return line_begin


def _end(node: yaml.Node) -> int:
    """Where a node's own text ends; the reader counts blank lines and comments after it in."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return max(map(_end, last)) if isinstance(last, tuple) else _end(last)
    return int(node.end_mark.index)


def _trades(text: str, piece: yaml.Node) -> Iterator[_Patch]:
    """Left for right: the hands' texts are exchanged, or the one there is gets the other name."""
    left, right = (_entry(piece, side) for side in SIDES)
    if left and right:
        for (_, here), (_, there) in ((left, right), (right, left)):
            yield _Patch(*_span(here), text[slice(*_span(there))])
    for found, other in ((left, "right"), (right, "left")):
        if found and not (left and right):
            yield _Patch(*_span(found[0]), other)
    count = _entry(piece, "count")
    if count and count[1].value in SIDES:
        yield _Patch(*_span(count[1]), "right" if count[1].value == "left" else "left")


def _renames(
    root: yaml.Node | None, files: Mapping[str, str], *, since: int = 0, until: int | None = None
) -> Iterator[_Patch]:
    sounds = _value(root, "sounds")
    for name, file in files.items():
        node = _value(_value(sounds, name), "file")
        if node is not None and since <= node.start_mark.index < (until or float("inf")):
            yield _Patch(*_span(node), _quoted(file))


def _quoted(name: str) -> str:
    return "'" + name.replace("'", "''") + "'"


def _patched(text: str, patches: Iterator[_Patch] | Sequence[_Patch], offset: int) -> str:
    """The text, cut out at `offset` of the whole, with the patches in it, last first."""
    for patch in sorted(patches, key=lambda patch: patch.begin, reverse=True):
        text = text[: patch.begin - offset] + patch.text + text[patch.end - offset :]
    return text


def _span(node: yaml.Node) -> tuple[int, int]:
    return node.start_mark.index, _end(node)


def _entry(node: yaml.Node | None, key: str) -> tuple[yaml.Node, yaml.Node] | None:
    entries = node.value if isinstance(node, yaml.MappingNode) else ()
    return next(((word, value) for word, value in entries if word.value == key), None)


def _value(node: yaml.Node | None, key: str) -> yaml.Node | None:
    entry = _entry(node, key)
    return entry[1] if entry else None
