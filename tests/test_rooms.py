"""Each room's head says what it may import; this holds it to that."""

import ast
import re
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "liveaid"
ROOMS = sorted(p.parent for p in PACKAGE.glob("*/__init__.py"))
# What a room that promises "No clock, file, socket, thread" must leave to others.
IMPURE = {
    "asyncio", "concurrent", "datetime", "http", "io", "multiprocessing", "os", "pathlib", "queue",
    "random", "selectors", "shutil", "signal", "socket", "sqlite3", "subprocess", "tempfile",
    "threading", "time", "urllib",
}  # fmt: skip


def _allowed(room: Path) -> tuple[set[str], bool]:
    head = ast.get_docstring(ast.parse((room / "__init__.py").read_text())) or ""
    match = re.search(r"May import: ([^.]+)\.", head)
    assert match, f"{room.name}: its head must say `May import: ...`"
    words = {word.strip() for word in match.group(1).replace("\n", " ").split(",")}
    return words, "No clock, file, socket, thread" in head


def _imports(file: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: write imports in full"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_room_imports_only_what_its_head_names(room: Path):
    allowed, pure = _allowed(room)
    if "every room" in allowed:
        allowed |= {other.name for other in ROOMS} | {"errors", "terminal"}
    for file in room.rglob("*.py"):
        for name in _imports(file):
            root, _, rest = name.partition(".")
            if root == "liveaid":
                other = rest.split(".")[0]
                ok = other in {room.name, "__version__"} or other in allowed
                assert ok, f"{file}: imports room {other!r}, which its head does not name"
            elif root in sys.stdlib_module_names:
                assert not (pure and root in IMPURE), f"{file}: {root} in a pure room"
            else:
                assert root in allowed, f"{file}: imports {root}, which its head does not name"


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_pure_room_opens_no_file(room: Path):
    if not _allowed(room)[1]:
        return
    for file in room.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            opens = isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("open", "print")
            assert not opens, f"{file}:{node.lineno}: a pure room opens or prints nothing"
