"""What a report holds as plain data for JSON, its figures rounded."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any


def plain(record: Any, digits: int = 4) -> dict[str, Any]:
    """A dataclass's fields by name, those inside it too, every float rounded, tuples as lists."""
    return {name: _rounded(value, digits) for name, value in asdict(record).items()}


def _rounded(value: Any, digits: int) -> Any:
    if isinstance(value, float):
        return round(value, digits)
    if isinstance(value, dict):
        return {name: _rounded(each, digits) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(each, digits) for each in value]
    return value
