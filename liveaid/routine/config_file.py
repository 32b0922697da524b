"""Read a small settings file (a sender's map, a lamp layout): all that is wrong in it at once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from liveaid.errors import UsageError
from liveaid.files.folders import shipped
from liveaid.files.names import shown
from liveaid.routine.near_words import meant
from liveaid.routine.problems import Problem, RoutineError
from liveaid.routine.source import Source, read_bytes, read_source
from liveaid.routine.wording import problem_at, wording

Record = TypeVar("Record", bound=BaseModel)


class ConfigRecord(BaseModel):
    """What a settings file, or a part of one, holds."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def fault(field_path: str | tuple[str | int, ...], would_do: str) -> PydanticCustomError:
    """An error that belongs to one field of a record, found by looking at several."""
    path = (field_path,) if isinstance(field_path, str) else field_path
    return PydanticCustomError("fault", "{would_do}", {"field": path, "would_do": would_do})


def config_path(name: str, kind: str) -> Path:
    """The file meant by a path, or by the bare name of a shipped one (`grid-8x8`).

    `kind` is `osc` or `lamps`. UsageError, with the shipped names, when there is none.
    """
    folder = shipped("configs")
    for path in (Path(name), folder / name, folder / f"{kind}-{name}.yaml"):
        if os.path.isfile(path):
            return path
    known = sorted(p.stem.removeprefix(f"{kind}-") for p in folder.glob(f"{kind}-*.yaml"))
    raise UsageError(
        f"{shown(name)}: no such file; a YAML file or one of these: {', '.join(known)}"
    )


def load_config(path: str | Path, record: type[Record]) -> Record:
    """The record in a YAML file. RoutineError with all that is wrong in it."""
    return read_config(read_bytes(path), str(path), record)


def read_config(data: bytes, file: str, record: type[Record]) -> Record:
    """The record in a file's bytes. RoutineError with all that is wrong in it."""
    source = read_source(data)
    if not source.problems and not isinstance(source.tree, dict):
        known = ", ".join(record.model_fields)
        source.problems.append(Problem(1, "", "no fields", f"some of these would do: {known}"))
    if source.problems:
        raise RoutineError(file, source.problems)
    try:
        return record.model_validate(source.tree)
    except ValidationError as error:
        found = {_problem(source, detail, record) for detail in error.errors()}
        raise RoutineError(file, found) from error


def _problem(source: Source, detail: ErrorDetails, record: type[BaseModel]) -> Problem:
    path = detail["loc"]
    if detail["type"] == "fault":
        context = detail["ctx"]
        return problem_at(source, (*path, *context["field"]), context["would_do"])
    if detail["type"] == "extra_forbidden":
        return problem_at(source, path, known_words(record, path))
    return problem_at(source, path, wording(detail))


def known_words(
    record: type[BaseModel],
    path: tuple[int | str, ...],
    kind: object = None,
    *,
    also: Sequence[str] = (),
) -> str:
    """What an unknown key at `path` may have been meant to be, and the fields there may be there.

    `kind`: what its `hand` says where it is one of several records; `also`: words beside them.
    """
    for step in path[:-1]:
        by_word = {field.alias or name: field for name, field in record.model_fields.items()}
        if step in by_word:
            inner = _records(by_word[str(step)].annotation)
            record = next((one for one in inner if _is(one, kind)), inner[0] if inner else record)
    known = [*also, *(field.alias or name for name, field in record.model_fields.items())]
    return f"{meant(str(path[-1]), known)}known here: {', '.join(known)}"


def _is(record: type[BaseModel], kind: object) -> bool:
    hand = record.model_fields.get("hand")
    return hand is not None and hand.default == kind


def _records(annotation: Any) -> list[type[BaseModel]]:
    """The records a field holds: itself, those of a choice, or of what a list or mapping holds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for inner in get_args(annotation) for found in _records(inner)]
