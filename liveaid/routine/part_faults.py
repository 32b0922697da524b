"""Parts held against the sound files they were found in: outside them, or the file has changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from liveaid.routine.model import Routine
from liveaid.routine.problems import Hindrance

PART_FAULTS_SLACK_S = 0.02
"""A part may be said to end so much after its sound does: figures are rounded."""


def part_faults(
    routine: Routine, *, sound_s: Mapping[str, float], digests: Mapping[str, str]
) -> Iterator[Hindrance]:
    """What the files say against the parts; sounds that are not in the arguments are passed over.

    `sound_s`: seconds of each sound. `digests`: hash of each sound's bytes.
    """
    for name, sound in routine.sounds.items():
        if not sound.parts:
            continue
        digest = digests.get(name)
        if sound.parts_of and digest and not digest.startswith(sound.parts_of):
            yield Hindrance(
                ("sounds", name, "parts_of"),
                f"{sound.parts_of}, and {sound.file} is now {digest[:8]}: it changed since its"
                " parts were found",
                f"its parts heard again (`liveaid gather --parts {name}`), then"
                f" `parts_of: {digest[:8]}`, would do",
            )
        length = sound_s.get(name)
        for part_name, part in sound.parts.items():
            if length is not None and part.to_s > length + PART_FAULTS_SLACK_S:
                yield Hindrance(
                    ("sounds", name, "parts", part_name, "to"),
                    f"{part.to_s:g}, and {name} ends at {length:.3f} s",
                    f"a second up to {length:.3f} would do",
                )
