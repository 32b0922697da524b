"""One take in one line of words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def take_line(take: Mapping[str, Any]) -> str:
    """`#12 clean: 4 ms late, spread 15 ms, 1 missed`, from a take's JSON."""
    number = f"#{take['number']} " if take.get("number") else ""
    given_up = take["ended"] == "abandoned" and not take["clean"]
    verdict = "given up" if given_up else take["verdict"]
    parts = [early_or_late(take["bias_ms"])]
    if take["spread_ms"] is not None:
        parts.append(f"spread {take['spread_ms']:.0f} ms")
    parts += [f"{take[word]} {word}" for word in ("missed", "added", "skipped") if take[word]]
    why = [word for piece in take["pieces"] for word in piece["why"]] if "pieces" in take else []
    because = f" ({', '.join(dict.fromkeys(why))})" if why else ""
    shift = f" {take['shift']}" if take.get("shift") else ""
    return f"{number}{verdict}: {', '.join(part for part in parts if part)}{because}{shift}"


def hand_lines(take: Mapping[str, Any]) -> list[str]:
    """One sentence a hand, where there is something to say, and one a fader that is written."""
    told = [*(take.get("advice") or {}).values(), *(take.get("faders") or {}).values()]
    return [f"{said}." for said in told]


def early_or_late(bias_ms: float | None) -> str:
    """`4 ms late`, `7 ms early`, `on time`; `no act to time` without one."""
    if bias_ms is None:
        return "no act to time"
    if abs(bias_ms) < 0.5:
        return "on time"
    return f"{abs(bias_ms):.0f} ms {'late' if bias_ms > 0 else 'early'}"
