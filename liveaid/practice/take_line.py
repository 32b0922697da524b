"""One take in one line of words."""

from __future__ import annotations

from liveaid.practice.take_report import TakeReport


def take_line(take: TakeReport, *, ended: str = "complete", number: int | None = None) -> str:
    """`#12 clean: 4 ms late, spread 15 ms, 1 missed`."""
    first = f"#{number} " if number else ""
    parts = [early_or_late(take.bias_ms)]
    if take.spread_ms is not None:
        parts.append(f"spread {take.spread_ms:.0f} ms")
    counts = {"missed": take.missed, "added": take.added, "skipped": take.skipped}
    parts += [f"{count} {word}" for word, count in counts.items() if count]
    because = f" ({', '.join(take.why)})" if take.why else ""
    shift = f" {take.shift}" if take.shift else ""
    return f"{first}{verdict_line(take, ended)}: {', '.join(parts)}{because}{shift}"


def verdict_line(take: TakeReport, ended: str) -> str:
    """The verdict, or that the take was given up."""
    return "given up" if ended == "abandoned" and not take.clean else take.verdict


def hand_lines(take: TakeReport) -> list[str]:
    """One sentence a hand, where there is something to say, and one a fader that is written."""
    return [f"{said}." for said in (*take.advice.values(), *take.faders.values())]


def spoken_lines(take: TakeReport) -> list[str]:
    """What is said aloud after a take: its verdict, why, and the sentence of each hand. Units as
    words."""
    why = f": {', '.join(take.why)}" if take.why else ""
    sentences = [f"{take.verdict}{why}.", *hand_lines(take)]
    return [sentence.replace(" ms ", " milliseconds ") for sentence in sentences]


def early_or_late(bias_ms: float | None) -> str:
    """`4 ms late`, `7 ms early`, `on time`; `no act to time` without one."""
    if bias_ms is None:
        return "no act to time"
    if abs(bias_ms) < 0.5:
        return "on time"
    return f"{abs(bias_ms):.0f} ms {'late' if bias_ms > 0 else 'early'}"
