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


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_is_allowed_nothing_it_does_not_use(room: Path):
    allowed, _ = _allowed(room)
    used = {name.split(".")[0] for file in room.rglob("*.py") for name in _imports(file)}
    used |= {name.split(".")[1] for file in room.rglob("*.py") for name in _imports(file)
             if name.startswith("liveaid.")}  # fmt: skip
    assert allowed - {"every room", "nothing"} <= used


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_rooms_head_lists_its_files(room: Path):
    head = ast.get_docstring(ast.parse((room / "__init__.py").read_text())) or ""
    listed = set(re.findall(r"\w+", head))
    files = {p.stem for p in room.glob("*.py")} - {"__init__"}
    folders = {p.parent.name for p in room.glob("*/__init__.py")}
    assert (files | folders) - listed == set()


def test_no_room_and_no_module_needs_itself_by_a_detour():
    """Imports inside functions and for type checking count like any other."""
    modules = {
        ".".join(("liveaid", *file.relative_to(PACKAGE).with_suffix("").parts)): file
        for file in PACKAGE.rglob("*.py")
    }
    modules = {name.removesuffix(".__init__"): file for name, file in modules.items()}
    needs = {name: _modules_named(file, modules) - {name} for name, file in modules.items()}
    rooms = {name.split(".")[1]: set() for name in modules if name.count(".") and _is_room(name)}  # type: dict[str, set[str]]
    for name, found in needs.items():
        if name.count(".") and _is_room(name):
            own = name.split(".")[1]
            rooms[own] |= {o.split(".")[1] for o in found if o.count(".") and _is_room(o)} - {own}
    assert _circle({name: found for name, found in needs.items() if name.count(".") > 1}) == []
    assert _circle(rooms) == []


def _is_room(module: str) -> bool:
    return (PACKAGE / module.split(".")[1]).is_dir()


def _modules_named(file: Path, modules: dict[str, Path]) -> set[str]:
    """The modules a file imports; a package's own head is not counted for its modules."""
    found = set()
    for name in _imports(file):
        if name in modules:
            found.add(name)
        elif name.rpartition(".")[0] in modules:
            found.add(name.rpartition(".")[0])
    return found


def _circle(needs: dict[str, set[str]]) -> list[str]:
    """Some way from a node back to itself, or nothing."""
    done: set[str] = set()

    def walk(node: str, way: list[str]) -> list[str]:
        if node in way:
            return [*way[way.index(node) :], node]
        if node in done:
            return []
        for other in sorted(needs.get(node, ())):
            if found := walk(other, [*way, node]):
                return found
        done.add(node)
        return []

    for node in sorted(needs):
        if found := walk(node, []):
            return found
    return []
