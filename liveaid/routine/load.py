"""Read a section map: every problem of the file at once, each with its line and what would do."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from liveaid.routine.acts import acts_faults
from liveaid.routine.config_file import known_words
from liveaid.routine.model import Routine, Sketch
from liveaid.routine.near_words import meant
from liveaid.routine.problems import Problem, RoutineError
from liveaid.routine.scene import strays
from liveaid.routine.source import Path, Source, read_bytes, read_source
from liveaid.routine.wording import problem_at, text_shown, wording

_TAGS = ("runs", "works", "rests")

# What stands in for a refused value while the rest of the file is judged, so that one mistake
# does not hide another. Fields not named here may be left out.
_STAND_IN_PIECE = {"name": "?", "bars": "4", "tempo": "100"}
_STAND_IN: dict[str, Any] = {
    **_STAND_IN_PIECE,
    "title": "?",
    "file": "?",
    "part": "story",
    "hand": "runs",
    "pieces": [_STAND_IN_PIECE],
}


def load_routine(path: str | FilePath) -> Routine:
    """The section map in a YAML file. RoutineError with all that is wrong in it."""
    return read_routine(read_bytes(path), str(path), also=lambda source: strays(source, path))


def read_routine(
    data: bytes,
    file: str = "routine.yaml",
    *,
    pieces_needed: bool = True,
    also: Callable[[Source], Iterable[Problem]] = lambda source: (),
) -> Routine:
    """The section map in a file's bytes. RoutineError with all that is wrong in it.

    With `pieces_needed=False` a map without any `pieces:` is given a stand-in for them. `also`
    finds what the text alone does not show.
    """
    source = read_source(data)
    if source.tree is None and not source.problems:
        source.problems.append(Problem(1, "", "an empty file", "a section map would do"))
    if source.tree is None:
        raise RoutineError(file, source.problems)
    if not isinstance(source.tree, dict):
        found = text_shown(source.tree)
        problem = Problem(source.line(()), "", found, "`title:` and `pieces:` would do")
        raise RoutineError(file, [*source.problems, problem])
    if not pieces_needed and source.tree.get("pieces") is None:
        source.tree["pieces"] = [dict(_STAND_IN_PIECE)]
    routine, problems = _judge(source)
    told = {(problem.line, problem.field) for problem in source.problems}
    problems = [p for p in (*problems, *also(source)) if (p.line, p.field) not in told]
    problems += source.problems
    if routine is None or problems:
        raise RoutineError(file, {*problems})
    return routine


def _judge(source: Source) -> tuple[Routine | None, list[Problem]]:
    """The routine, or all problems: judge, put stand-ins where refused, judge the rest again."""
    tree = copy.deepcopy(source.tree)
    problems: dict[tuple[Path, str], Problem] = {}
    for _ in range(8):
        try:
            routine = Routine.model_validate(tree, by_alias=True, by_name=False)
            return routine, [
                *problems.values(),
                *_same_names(source),
                *map(source.told, dict.fromkeys(acts_faults(routine))),
            ]
        except ValidationError as error:
            refused = [found for detail in error.errors() for found in _findings(detail)]
        new = [(path, would_do) for path, would_do in refused if (path, would_do) not in problems]
        if not new:
            break
        for path, would_do in new:
            problems[path, would_do] = problem_at(source, path, would_do)
        # In the file's order: a stand-in in a list that rises lies just above the one before it.
        for path in sorted((path for path, _ in refused), key=_order):
            _stand_in(tree, path)
    return None, list(problems.values())


def _same_names(source: Source) -> Iterator[Problem]:
    """Set pieces called alike: takes, pages and options know a set piece by its name.

    Judged on the text, where nothing stands in for what was refused.
    """
    first: dict[str, int] = {}
    pieces = source.tree.get("pieces")
    for index, piece in enumerate(pieces if isinstance(pieces, list) else ()):
        name = piece.get("name") if isinstance(piece, dict) else None
        if isinstance(name, str) and first.setdefault(name, index) != index:
            line = source.line(("pieces", first[name], "name"))
            would_do = f"a name of its own would do; line {line} has this one"
            yield problem_at(source, ("pieces", index, "name"), would_do)


def _order(path: Path) -> list[tuple[int, str]]:
    return [(step, "") if isinstance(step, int) else (-1, step) for step in path]


def _findings(detail: ErrorDetails) -> Iterator[tuple[Path, str]]:
    """The fields one validation error blames, each with what would do there."""
    path = _without_tags(detail["loc"])
    context = detail.get("ctx", {})
    match detail["type"]:
        case "faults":
            yield from context["faults"]
        case "too_short" if detail["input"]:
            return  # the items that failed were counted as missing; each is said by itself
        case "fault":
            yield (*path, *context["field"]), context["would_do"]
        case "union_tag_invalid":
            hint = meant(str(context.get("tag", "")), _TAGS)
            yield (*path, "hand"), f"{hint}runs, works or rests would do"
        case "union_tag_not_found":
            yield (*path, "hand"), "runs, works or rests would do"
        case "extra_forbidden":
            yield path, _known_words(path, detail)
        case _:
            yield path, wording(detail)


def _known_words(path: Path, detail: ErrorDetails) -> str:
    """What an unknown key may have been meant to be."""
    kind = next((step for step in reversed(detail["loc"]) if step in _TAGS), None)
    also = ["tempo"] if path[:-2] == ("idea", "wants") else []
    return known_words(Routine, path, kind, also=also)


def _without_tags(loc: tuple[int | str, ...]) -> Path:
    """The location without pydantic's union tags and its mark of a name, no fields of the file."""
    return tuple(
        step
        for before, step in zip((None, *loc), loc, strict=False)
        if step != "[key]" and not (step in _TAGS and before in ("left", "right"))
    )


def _stand_in(tree: Any, path: Path) -> None:
    """Put a harmless value where one was refused, or take the field out."""
    if not path:
        return
    for step in path[:-1]:
        try:
            tree = tree[step]
        except (KeyError, IndexError, TypeError):
            return
    last = path[-1]
    if isinstance(tree, list) and isinstance(last, int) and last < len(tree):
        _stand_in_item(tree, last, path)
    elif isinstance(tree, dict):
        if last in ("left", "right") and path[0] == "pieces":
            tree[last] = {"hand": "runs"}
        elif last in _STAND_IN:
            tree[last] = copy.deepcopy(_STAND_IN[str(last)])
        else:
            tree.pop(last, None)


def _stand_in_item(items: list[Any], index: int, path: Path) -> None:
    """In the item's place, never instead of it: what comes after must keep its number."""
    if path[:-1] == ("pieces",):
        items[index] = dict(_STAND_IN_PIECE)
    elif path[:-1] == ("idea", "wants"):
        items[index] = {"part": "story"}
    else:
        before = items[index - 1] if index else "0"
        items[index] = _next_after(before)


def _next_after(before: Any) -> str:
    """A number just above the one before, so that a list that rises goes on rising."""
    try:
        return repr(float(before) + 1e-6)
    except (TypeError, ValueError):
        return "0"


def load_sketch(path: str | FilePath) -> Sketch:
    """The sketch in a section map's file. RoutineError with all that is wrong in the file."""
    return read_routine(
        read_bytes(path), str(path), pieces_needed=False, also=lambda source: strays(source, path)
    )
