"""gather: sounds. Read audio, tempo grid, key, loudness, onsets, the shelf, what fits what.

May import: errors, routine, numpy, pyloudnorm, scipy, soundfile, soxr.
"""

from __future__ import annotations

from pathlib import Path

from liveaid.gather.facts import Study, Unreadable

__all__ = ["Study", "Unreadable", "study"]


def study(path: str | Path) -> Study:
    """Every measured fact of the sound in one file. Unreadable when there is none to read."""
    # Loaded when first needed: it brings scipy and soundfile with it.
    from liveaid.gather.measure import measure

    return measure(path)
