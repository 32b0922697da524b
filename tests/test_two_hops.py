"""From what a performer reads to the line that decides it in two files: the guide's table holds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROW = re.compile(r"^\| (.+?) \| `(\S+)` \| `(\S+)` (\w+) \|$", re.MULTILINE)


def _rows() -> list[tuple[str, ...]]:
    guide = (ROOT / "DEVELOPERS.md").read_text()
    table = guide.split("## Where a behaviour is decided")[1].split("\n## ")[0]
    return ROW.findall(table)


def _file(name: str) -> Path:
    return ROOT / name if name == "README.md" else ROOT / "liveaid" / name


def test_twenty_behaviours_and_more_are_told():
    assert len(_rows()) >= 20


@pytest.mark.parametrize(("read", "said", "decided", "name"), _rows(), ids=lambda cell: cell)
def test_what_is_read_and_what_decides_it_stand_where_the_guide_says(
    read: str, said: str, decided: str, name: str
):
    words = re.sub(r"[\s'\"]+", " ", _file(said).read_text())
    assert re.sub(r"[\s'\"]+", " ", read) in words
    assert re.search(rf"\b{name}\b", _file(decided).read_text())
