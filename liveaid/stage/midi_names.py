"""Which MIDI port is meant by a name or a part of one. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_ALSA_NUMBERS = re.compile(r"\s\d+:\d+$")


def plain_name(name: str) -> str:
    """A port's name without the client and port numbers ALSA puts behind it (` 20:0`)."""
    return _ALSA_NUMBERS.sub("", name)


@dataclass(frozen=True, slots=True)
class Match:
    """The one port meant; or, when `index` is None, those it might have been."""

    index: int | None
    candidates: tuple[str, ...] = ()


def match_port(wanted: str, names: Sequence[str]) -> Match:
    """The port whose name is `wanted`, else the only one with `wanted` in its name.

    Full names first, then names without ALSA's numbers (those change from plug to plug), then
    parts, upper and lower case alike. Two that fit equally well are none: the wrong controller
    would light up.
    """
    asked = wanted.casefold()
    tests = (
        lambda name: name == wanted,
        lambda name: plain_name(name).casefold() == plain_name(wanted).casefold(),
        lambda name: asked in name.casefold(),
    )
    for fits in tests:
        found = [index for index, name in enumerate(names) if fits(name)]
        if len(found) == 1:
            return Match(found[0])
        if found:
            return Match(None, tuple(names[index] for index in found))
    return Match(None)
