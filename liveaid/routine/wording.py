"""How a mistake in a settings file or section map is put: where, what was found, what would do."""

from __future__ import annotations

import re
from typing import Any

from pydantic_core import ErrorDetails

from liveaid.routine.near_words import meant
from liveaid.routine.problems import Problem
from liveaid.routine.source import Path, Source, field_name


def wording(detail: ErrorDetails) -> str:
    """Our wording of pydantic's error types, with the bound that was missed."""
    context = detail.get("ctx", {})
    kind = detail["type"]
    bounds = {
        "greater_than_equal": ("ge", "{:g} or more would do"),
        "greater_than": ("gt", "more than {:g} would do"),
        "less_than_equal": ("le", "{:g} or less would do"),
    }
    if kind in bounds:
        bound, would_do = bounds[kind]
        return would_do.format(context[bound])
    words = {
        "missing": "it is needed here",
        "float_parsing": "a number would do",
        "float_type": "a number would do",
        "finite_number": "a finite number would do",
        "int_parsing": "a whole number would do",
        "int_type": "a whole number would do",
        "int_from_float": "a whole number would do",
        "int_parsing_size": "a smaller whole number would do",
        "bool_parsing": "yes or no would do",
        "bool_type": "yes or no would do",
        "string_type": "a text would do",
        "string_too_short": "at least one letter would do",
        "string_too_long": "a shorter text would do",
        "tuple_type": "a list would do",
        "dict_type": "fields below it would do",
        "model_type": "fields below it would do",
        "model_attributes_type": "fields below it would do",
        "too_short": "at least one set piece would do",
        "too_long": "a shorter list would do",
    }
    if kind == "literal_error":
        expected = str(context.get("expected", ""))
        hint = meant(str(detail["input"]), re.findall(r"'([^']*)'", expected))
        return f"{hint}{expected} would do".replace("'", "")
    return words.get(kind, detail["msg"])


def problem_at(source: Source, path: Path, would_do: str) -> Problem:
    """One problem of a file, with the line and the text found there."""
    return Problem(source.line(path), field_name(path), _found(source.tree, path), would_do)


def _found(tree: Any, path: Path) -> str:
    for step in path:
        if isinstance(tree, str):
            break  # written short: what stands here is meant for what would be below it
        try:
            tree = tree[step]
        except (KeyError, IndexError, TypeError):
            return "nothing"
    return text_shown(tree)


def text_shown(value: Any) -> str:
    """A value of the file as a message shows it: short, on one line, harmless to a terminal."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping" if value else "nothing"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    text = str(value)
    text = text if len(text) <= 60 else text[:57] + "..."
    return text if text.isprintable() and text.strip() == text and text else repr(text)
