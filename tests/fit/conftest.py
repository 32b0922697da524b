"""What the tests of fit, brief and their commands share: a sound of which everything is known."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from liveaid.study.facts import Study


@pytest.fixture(scope="session")
def sound() -> Callable[..., Study]:
    """sound(**facts): an instrumental at 92 BPM, a minute long, but for what a test says of it."""
    known = {
        "duration_s": 60.0,
        "sample_rate_hz": 44100,
        "channels": 2,
        "format": "WAV PCM_16",
        "frames_declared": 2646000,
        "frames_read": 2646000,
        "tempo": 92.0,
        "tempo_confidence": 1.0,
        "metre": 4,
        "downbeat_confidence": 1.0,
        "key": "A minor",
        "key_confidence": 1.0,
        "loudness_lufs": -12.0,
        "true_peak_dbtp": -3.0,
        "energy": 3,
        "kind": "instrumental",
        "kind_confidence": 1.0,
    }

    def build(tempo: float | None = 92.0, **facts: object) -> Study:
        return Study(**(known | {"tempo": tempo} | facts))  # type: ignore[arg-type]

    return build
