"""Sounds whose use is not cleared. Whether a use is allowed is for a licensed professional."""

from __future__ import annotations

import re
from collections.abc import Iterator

from liveaid.routine.acts import sounds_used
from liveaid.routine.check.findings import Finding, found
from liveaid.routine.model import Routine, Sound

CAUTION = "clearance is a matter for a licensed professional; ask before you perform or publish"

# Identifiers of the SPDX licence list, and words performers write; a caution, no legal advice.
_FREE = re.compile(r"\b(cc0|public domain|pddl|own|self[- ]made|0bsd|unlicense)\b", re.IGNORECASE)
_CREDIT = re.compile(r"\bcc[- ]by\b", re.IGNORECASE)
_LIMITED = re.compile(r"\b(nc|nd|non[- ]?commercial|no[- ]?deriv\w*)\b", re.IGNORECASE)


def open_question(sound: Sound) -> str | None:
    """What is not settled about a sound's clearance; None when nothing is."""
    licence = sound.licence or ""
    if sound.cleared is True:
        return None
    if sound.cleared is False:
        return "marked as not cleared"
    if not licence.strip():
        return "no licence named" if sound.source else "no source and no licence named"
    if _LIMITED.search(licence):
        return f"{licence} limits what may be done with it"
    if _FREE.search(licence):
        return None
    if _CREDIT.search(licence):
        return None if sound.source else f"{licence} asks for credit, and no source is named"
    return f"{licence}: not a licence that settles it by itself"


def judge_clearance(routine: Routine) -> Iterator[Finding]:
    """A warning for each sound in use whose clearance is open."""
    for name, places in sounds_used(routine).items():
        question = open_question(routine.sounds[name])
        if question is not None:
            yield found(
                routine, "warning", "clearance", f"{name}: {question}",
                CAUTION, piece=places[0][0],
                numbers={"set_pieces": len({index for index, _, _ in places})},
            )  # fmt: skip
