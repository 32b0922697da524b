"""What the code is like in figures: size, functions, circles at import, tests beside code, words.

    .venv/bin/python tests/bench/figures.py [FOLDER]       # another checkout to set beside this one

Code lines are lines that hold more than a comment, a docstring or nothing. A function's lines are
its statement's own, docstring left out. A hidden circle is a ring of modules over imports at any
depth of the code, also those inside functions or under TYPE_CHECKING. A word with more than one
meaning is a class, or a constant with another value, of one name in several modules.
"""

from __future__ import annotations

import ast
import io
import statistics
import sys
import tokenize
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent.parent
_NO_CODE = {
    tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT,
    tokenize.ENDMARKER,
}  # fmt: skip


def modules(folder: Path) -> dict[str, ast.Module]:
    """Every module under a folder by its dotted name."""
    found = {}
    for file in sorted(folder.rglob("*.py")):
        parts = file.relative_to(folder.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = ast.parse(file.read_text(encoding="utf-8"))
    return found


def code_lines(text: str) -> int:
    """Lines of a file that hold code."""
    quoted: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if (
            isinstance(node, ast.Expr)
            and isinstance(node.value, ast.Constant)
            and isinstance(node.value.value, str)
        ):
            quoted |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in _NO_CODE:
            lines |= set(range(token.start[0], token.end[0] + 1))
    return len(lines - quoted)


def function_lines(tree: ast.Module) -> Iterator[int]:
    """The lines of each function, its docstring left out."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if ast.get_docstring(node) is not None:
                first = node.body[0]
                lines -= (first.end_lineno or first.lineno) - first.lineno + 1
            yield lines


def imports(trees: dict[str, ast.Module]) -> dict[str, set[str]]:
    """Which of our modules each module names in an import, wherever it stands."""
    found: dict[str, set[str]] = {name: set() for name in trees}
    for name, tree in trees.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                found[name] |= {one.name for one in node.names} & trees.keys()
            elif isinstance(node, ast.ImportFrom) and node.module:
                inner = {f"{node.module}.{one.name}" for one in node.names} & trees.keys()
                found[name] |= inner or ({node.module} & trees.keys())
    return found


def circles(uses: dict[str, set[str]]) -> list[set[str]]:
    """Rings of modules that lead back to themselves (strongly connected parts, Tarjan 1972)."""
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    rings: list[set[str]] = []

    def visit(name: str) -> None:
        order[name] = low[name] = len(order)
        stack.append(name)
        for other in uses[name]:
            if other not in order:
                visit(other)
                low[name] = min(low[name], low[other])
            elif other in stack:
                low[name] = min(low[name], order[other])
        if low[name] == order[name]:
            ring = set(stack[stack.index(name) :])
            del stack[stack.index(name) :]
            if len(ring) > 1 or name in uses[name]:
                rings.append(ring)

    for name in uses:
        if name not in order:
            visit(name)
    return rings


def words_of_several_meanings(trees: dict[str, ast.Module]) -> list[str]:
    """Classes of one name in several modules, and constants of one name with several values."""
    classes: dict[str, set[str]] = defaultdict(set)
    constants: dict[str, set[str]] = defaultdict(set)
    for name, tree in trees.items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                classes[node.name].add(name)
            elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                word = node.targets[0].id
                if word.isupper() and not word.startswith("_"):
                    constants[word].add(ast.unparse(node.value))
    return sorted(word for found in (classes, constants) for word, in_ in found.items()
                  if len(in_) > 1)  # fmt: skip


def sources(folder: Path, *, leave: str = "") -> list[str]:
    return [file.read_text(encoding="utf-8") for file in sorted(folder.rglob("*.py"))
            if not leave or leave not in file.parts]  # fmt: skip


def _lines(folder: Path) -> int:
    """All lines of the tests, the benchmarks left out."""
    return sum(len(text.splitlines()) for text in sources(folder, leave="bench"))


def figures(root: Path) -> dict[str, str]:
    """Every figure by its name."""
    trees = modules(root / "liveaid")
    code = sum(map(code_lines, sources(root / "liveaid")))
    tests = sum(map(code_lines, sources(root / "tests", leave="bench")))
    lengths = [n for tree in trees.values() for n in function_lines(tree)]
    longest = max(len(text.splitlines()) for text in sources(root / "liveaid"))
    loose = sum(text.count("dict[str, Any]") for text in sources(root / "liveaid"))
    rings = circles(imports(trees))
    words = words_of_several_meanings(trees)
    return {
        "modules": str(len(trees)),
        "code lines": str(code),
        "test code lines": str(tests),
        "test code lines a code line": f"{tests / code:.2f}",
        "test lines a code line": f"{_lines(root / 'tests') / code:.2f}",
        "functions": str(len(lengths)),
        "function median": f"{statistics.median(lengths):g}",
        "functions over 25 lines": str(sum(n > 25 for n in lengths)),
        "longest module, lines": str(longest),
        "hidden circles": str(len(rings)) + (f": {rings}" if rings else ""),
        "words of several meanings": str(len(words)) + (f": {', '.join(words)}" if words else ""),
        "dict[str, Any]": str(loose),
    }


def main() -> None:
    roots = [Path(one).resolve() for one in sys.argv[1:]] + [HERE]
    tables = [figures(root) for root in roots]
    for name in tables[0]:
        print(f"{name:28s}", "  ".join(f"{table[name]:>8s}" for table in tables))


if __name__ == "__main__":
    main()
