"""A draft of a controller's lamp layout, from its pads pressed in order. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from liveaid.errors import LiveaidError
from liveaid.stage.pads import Pad

SINGLE = (
    "next_left", "ready_left", "next_right", "ready_right", "following", "unsure", "silent",
    "heard_left", "heard_right",
)  # fmt: skip
"""The lamps asked for after the rows, in this order."""


def wanted_lamps(bars: int, beats: int) -> list[str]:
    """What is asked for, pad by pad."""
    rows = [f"bars.{index}" for index in range(bars)] + [f"beats.{index}" for index in range(beats)]
    return [*rows, *SINGLE]


def draft_layout(pads: Sequence[Pad], bars: int, beats: int) -> dict[str, object]:
    """The tree of a layout for pads pressed in the order of `wanted_lamps`.

    The commonest way of speaking and channel are the layout's; LiveaidError when no pad was
    pressed, or pads speak in both ways, which one layout cannot say.
    """
    if not pads:
        raise LiveaidError("no pad was heard; is it the right port?")
    ways = {pad.send for pad in pads}
    if len(ways) > 1:
        raise LiveaidError(
            "some pads send notes and some control changes; pads of one kind would do"
        )
    channels = [pad.channel for pad in pads]
    channel = max(set(channels), key=channels.count)
    lamps: dict[str, object] = {}
    for lamp, pad in zip(wanted_lamps(bars, beats), pads, strict=False):
        own = pad.channel != channel
        place: object = {"number": pad.number, "channel": pad.channel} if own else pad.number
        row, _, index = lamp.partition(".")
        if index:
            listed = lamps.setdefault(row, [])
            assert isinstance(listed, list)
            listed.append(place)
        else:
            lamps[lamp] = place
    return {"title": "Learned", "send": ways.pop(), "channel": channel, "lamps": lamps}
