"""Runs on Linux, macOS and Windows: nothing that only one of them has is called without a guard.

What Windows has not is read from typeshed, the standard library's own stubs as mypy carries them:
names that stand there under `sys.platform != "win32"` alone. The same in full, by hand:
`mypy --platform win32` and `mypy --platform darwin`.
"""

import ast
import re
import tomllib
from functools import cache
from pathlib import Path

import mypy
import pytest

ROOT = Path(__file__).resolve().parent.parent
STUBS = Path(mypy.__file__).parent / "typeshed" / "stdlib"
MODULES = {
    name: STUBS / place
    for name, place in {
        "os": "os/__init__.pyi", "signal": "signal.pyi", "socket": "socket.pyi",
        "time": "time.pyi", "select": "select.pyi",
    }.items()
}  # fmt: skip
ONLY_POSIX = ("fcntl", "grp", "pty", "pwd", "resource", "termios", "tty", "syslog")
ONLY_POSIX_WORDS = ("pass_fds", "preexec_fn", "start_new_session", "dir_fd")
OTHERWISE = {("os", "kill")}
"""There is os.kill on Windows, but it ends the process whatever the number (its reference)."""
HARMLESS = {("socket", "MSG_PEEK")}
"""Winsock has it (its reference, recv)."""


def names_in(nodes):
    for node in nodes:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id
        elif isinstance(node, ast.ImportFrom):
            yield from (alias.asname or alias.name for alias in node.names)
        elif isinstance(node, ast.If):
            yield from names_in(node.body + node.orelse)


@cache
def not_on_windows(module):
    posix, everywhere = set(), set()
    for node in ast.parse(MODULES[module].read_text()).body:
        if isinstance(node, ast.If) and ast.unparse(node.test).startswith("sys.platform"):
            test = ast.unparse(node.test)
            windows_has = node.orelse if "!= 'win32'" in test else node.body
            if "== 'win32'" not in test and "!= 'win32'" not in test:
                windows_has = []
            everywhere.update(names_in(windows_has))
            posix.update(names_in(node.body + node.orelse))
        else:
            everywhere.update(names_in([node]))
    return posix - everywhere | {name for owner, name in OTHERWISE if owner == module}


def unguarded(text):
    """(line, name) of every call of what Windows has not, outside a function or `if` that asks."""
    forbidden = {f"{module}.{name}" for module in MODULES for name in not_on_windows(module)}
    said = set(re.findall(r"[a-z]+\.\w+", text)) & forbidden
    if not said and not any(word in text for word in (*ONLY_POSIX, *ONLY_POSIX_WORDS)):
        return
    lines = text.splitlines()

    def walk(node, guarded):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.If | ast.IfExp):
            within = "\n".join(lines[node.lineno - 1 : node.end_lineno])
            guarded |= any(word in within for word in ("sys.platform", "os.name", "hasattr("))
        if isinstance(node, ast.Import | ast.ImportFrom):
            modules = [alias.name for alias in node.names] + [getattr(node, "module", None)]
            if not guarded and set(modules) & set(ONLY_POSIX):
                yield node.lineno, ast.unparse(node)
        if isinstance(node, ast.keyword) and node.arg in ONLY_POSIX_WORDS and not guarded:
            yield node.value.lineno, node.arg
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id in MODULES
            and (node.value.id, node.attr) not in HARMLESS
            and node.attr in not_on_windows(node.value.id)
            and not guarded
        ):
            yield node.lineno, f"{node.value.id}.{node.attr}"
        for child in ast.iter_child_nodes(node):
            yield from walk(child, guarded)

    yield from walk(ast.parse(text), False)


@pytest.mark.parametrize(
    "line",
    ["os.fork()", "import fcntl", "x = signal.SIGHUP", "os.mkfifo('a')", "os.kill(1, 0)",
     "socket.SO_REUSEPORT", "run(a, pass_fds=(1,))", "signal.pthread_sigmask(1, [])",
     "os.setsid()", "time.clock_gettime(1)", "import pwd"],
)  # fmt: skip
def test_what_only_one_system_has_is_noticed(line):
    assert list(unguarded(line))
    asked = f"import sys\nif sys.platform != 'win32':\n    {line}"
    assert not list(unguarded(asked))


def test_nothing_is_called_that_only_one_system_has():
    found = [
        f"{file.relative_to(ROOT)}:{line}: {name}"
        for file in sorted((ROOT / "liveaid").rglob("*.py"))
        for line, name in unguarded(file.read_text())
    ]
    assert not found


def test_types_are_checked_for_the_python_that_runs():
    """Stubs of newer libraries cannot be read for an older Python than they are made for."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    assert "python_version" not in settings["tool"]["mypy"]
    assert settings["tool"]["ruff"]["target-version"] == "py311"
