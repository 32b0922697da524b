"""What each bar asks and what was reached, in one table at the end of a run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

_REACHED: list[tuple[str, float, float, int]] = []


def note_bar(what: str, asked: float, right: Sequence[float]) -> None:
    """Note a bar: the share asked of held-back cases, and how right each of them was, 0 to 1."""
    if len(right):
        _REACHED.append((what, asked, float(np.mean(right)), len(right)))


def table() -> None:
    """All bars noted so far."""
    print(f"\n{'Bars, held back':50}   asked   reached   cases")
    for what, asked, reached, cases in _REACHED:
        missed = "" if reached >= asked else "   missed"
        print(f"{what:50}{asked:8.2f}{reached:10.3f}{cases:8}{missed}")
