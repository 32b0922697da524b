"""One word means one thing: a name is given once in the whole package."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "liveaid"
MODULES = [file for file in PACKAGE.rglob("*.py") if file.name != "__init__.py"]


def _top(file: Path) -> list[ast.stmt]:
    return ast.parse(file.read_text()).body


def test_no_two_classes_have_one_name():
    where = defaultdict(set)
    for file in MODULES:
        for node in _top(file):
            if isinstance(node, ast.ClassDef):
                where[node.name].add(file.relative_to(PACKAGE).as_posix())
    assert {name: files for name, files in where.items() if len(files) > 1} == {}


def test_no_two_rooms_have_a_file_of_one_name():
    """A command may be named as the room's work that it starts."""
    where = defaultdict(set)
    for file in MODULES:
        room = file.relative_to(PACKAGE).parts[0]
        if room != "commands":
            where[file.name].add(file.relative_to(PACKAGE).as_posix())
    assert {name: files for name, files in where.items() if len(files) > 1} == {}


def test_no_two_constants_of_one_name_differ():
    where = defaultdict(dict)
    for file in MODULES:
        for node in _top(file):
            target = (
                node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
            )
            named = isinstance(target, ast.Name) and target.id.isupper()
            public = isinstance(node, ast.Assign) and named and not target.id.startswith("_")
            plain = isinstance(getattr(node, "value", None), ast.Constant | ast.BinOp | ast.UnaryOp)
            if public or (named and plain):
                where[target.id][file.relative_to(PACKAGE).as_posix()] = ast.unparse(node.value)
    differ = {name: each for name, each in where.items() if len(set(each.values())) > 1}
    assert differ == {}
