"""One take in one line of words."""

from __future__ import annotations

from liveaid.practice.take_score import PieceScore, TakeScore
from liveaid.practice.written import early_or_late

_SPOKEN = {
    " ms ": " milliseconds ", " %": " per cent", "%": " per cent", " +": " plus ", " -": " minus ",
    " BPM": " beats a minute",
}  # fmt: skip


def take_line(take: TakeScore, *, ended: str = "complete", number: int | None = None) -> str:
    """`#12 clean: 4 ms late, spread 15 ms, 1 missed`."""
    first = f"#{number} " if number else ""
    because = f" ({'; '.join(take.why)})" if take.why else ""
    shift = f" {take.shift}" if take.shift else ""
    return f"{first}{verdict_line(take, ended)}: {_off(take)}{because}{shift}"


def piece_line(piece: PieceScore) -> str:
    """The same of one set piece: `clean: 4 ms late, spread 15 ms`."""
    return f"{piece.verdict}: {_off(piece)}" + (f" ({', '.join(piece.why)})" if piece.why else "")


def _off(timed: TakeScore | PieceScore) -> str:
    """How far off, and what was left out or too many."""
    parts = [timing_line(timed.bias_ms)]
    if timed.spread_ms is not None:
        parts.append(f"spread {timed.spread_ms:.0f} ms")
    counts = {"missed": timed.missed, "added": timed.added}
    return ", ".join([*parts, *(f"{count} {word}" for word, count in counts.items() if count)])


def verdict_line(take: TakeScore, ended: str) -> str:
    """The verdict, or that the take was given up."""
    return "given up" if ended == "abandoned" and not take.clean else take.verdict


def hand_lines(take: TakeScore) -> list[str]:
    """One sentence a hand, where there is something to say, and one on its strokes, and one a
    fader that is written."""
    told = (*take.advice.values(), *take.strokes.values(), *take.faders.values())
    return [f"{said}." for said in told]


def spoken_lines(take: TakeScore) -> list[str]:
    """What is said aloud after a take: its verdict, why, and the sentence of each hand."""
    why = f": {'; '.join(take.why)}" if take.why else ""
    return [spoken(sentence) for sentence in (f"{take.verdict}{why}.", *hand_lines(take))]


def spoken(sentence: str) -> str:
    """A sentence with its units and signs as words."""
    for sign, word in _SPOKEN.items():
        sentence = sentence.replace(sign, word)
    return sentence


def timing_line(bias_ms: float | None) -> str:
    """How early or late; `no act to time` without one."""
    return "no act to time" if bias_ms is None else early_or_late(bias_ms)
