"""One passage as sound: its segments brought to tempo, joined, levelled, edges faded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from liveaid.render.edges import Samples, faded, joined, side_by_side
from liveaid.render.level import levelled, turned_up
from liveaid.render.passage_level import Level
from liveaid.render.stretching import Stretch, stretch_here, stretched
from liveaid.render.to_tempo import Recorded, resampled
from liveaid.routine.layout.deck import HEAD_S, TAIL_S
from liveaid.routine.layout.material import Material, Segment
from liveaid.routine.layout.passage import Passage


def cut(
    passage: Passage,
    *,
    materials: Mapping[str, Material],
    recorded: Callable[[str], Recorded],
    rate_hz: int,
    wanted_lufs: float,
    gain_db: float | None = None,
    stretch: Stretch = stretch_here,
) -> tuple[Samples, Level]:
    """The passage's samples with `edge_frames` before and after it, and its level.

    `recorded` gives a sound's samples by its name. `gain_db`: this gain, whatever loudness it
    gives; None levels the passage to `wanted_lufs`.
    """
    head, tail = edge_frames(rate_hz)
    parts, begin_s = [], 0.0
    for segment in _in_file(passage, materials):
        begin, end = round(begin_s * rate_hz), round((begin_s + segment.length_s) * rate_hz)
        begin_s, late = begin_s + segment.length_s, begin / rate_hz - begin_s
        if not segment.sound:
            parts.append(np.zeros((head + end - begin + tail, 2), dtype=np.float32))
            continue
        sound = recorded(segment.sound)
        keeps_key = materials[segment.sound].stretch
        bring = partial(stretched, stretch=stretch) if keeps_key else resampled
        parts.append(
            bring(
                sound,
                start_s=segment.start_s + late * segment.speed,
                speed=segment.speed,
                rate_hz=rate_hz,
                before=head,
                frames=end - begin + tail,
            )
        )
    if not all(segment.sound for segment in passage.segments):
        parts = side_by_side(parts, tail=tail, rate_hz=rate_hz)
    whole = joined(parts, head=head, tail=tail)
    if gain_db is None:
        whole, level = levelled(whole, rate_hz=rate_hz, wanted_lufs=wanted_lufs)
    else:
        whole, level = turned_up(whole, gain_db, rate_hz=rate_hz)
    return faded(whole, head=head, tail=tail), level


def edge_frames(rate_hz: int) -> tuple[int, int]:
    """Frames of fade before a passage's begin and after its end."""
    return round(HEAD_S * rate_hz), round(TAIL_S * rate_hz)


def recipe(
    passage: Passage, *, materials: Mapping[str, Material], rate_hz: int, wanted_lufs: float
) -> str:
    """Everything the passage's samples depend on, as text: the same text, the same samples."""
    lines = [f"{rate_hz} Hz, {wanted_lufs!r} LUFS, fades of {HEAD_S!r} and {TAIL_S!r} s"]
    lines += [_segment_recipe(segment, materials) for segment in _in_file(passage, materials)]
    return "\n".join(lines)


def _in_file(passage: Passage, materials: Mapping[str, Material]) -> list[Segment]:
    """The passage in its files' own seconds: what was followed beat by beat is in pieces."""
    return [
        piece
        for segment in passage.segments
        for piece in (segment.in_file(materials[segment.sound]) if segment.sound else (segment,))
    ]


def _segment_recipe(segment: Segment, materials: Mapping[str, Material]) -> str:
    if not segment.sound:
        return f"silence for {segment.length_s!r} s, parts as loud as each other"
    material = materials[segment.sound]
    how = "stretched" if material.stretch else "resampled"
    ends = "loop" if material.loop_beats else "ends"
    return (
        f"{material.digest} {how} {ends} speed {segment.speed!r} "
        f"from {segment.start_s!r} s for {segment.length_s!r} s"
    )
