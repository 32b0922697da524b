"""The prompt as OSC, for lights, visuals and whatever else follows along. Pure.

| address | arguments |
| --- | --- |
| /liveaid/state | string: waiting, before, following, unsure, silent, over |
| /liveaid/confidence | float, 0 to 1 |
| /liveaid/piece | int from 1 (0: none), string name |
| /liveaid/next | int from 1 (0: none), string name, string its own prompt |
| /liveaid/bar | int from 1 (0: none) |
| /liveaid/beat | int from 1 (0: none) |
| /liveaid/bars_left | int, the current one counted |
| /liveaid/beats_left | float |
| /liveaid/tempo | float, BPM (0: none) |
| /liveaid/wind/left, /liveaid/wind/right | float turns, + forward, - back; 0 when none is needed |
| /liveaid/ready/left, /liveaid/ready/right | int 1 when the record stands at its cue |
| /liveaid/next_bar | int bar from 1, int set piece from 1, float BPM: dated for when it begins |

All but the last come in one bundle dated «at once» whenever state, set piece, bar or beat turn;
/liveaid/next_bar comes on a bar's last beat, in a bundle whose time tag says when the next begins
(OSC 1.0, "Temporal Semantics and OSC Time Tags").
"""

from __future__ import annotations

from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from liveaid.follow.prompt import Prompt
from liveaid.routine import SIDES

Value = str | int | float


def prompt_bundle(prompt: Prompt) -> bytes:
    """The whole prompt in one bundle, to be acted on at once."""
    piece, following = prompt.piece, prompt.next
    told: list[tuple[str, tuple[Value, ...]]] = [
        ("state", (prompt.state,)),
        ("confidence", (float(prompt.confidence),)),
        ("piece", (piece.index + 1, piece.name) if piece else (0, "")),
        (
            "next",
            (following.index + 1, following.name, following.prompt) if following else (0, "", ""),
        ),
        ("bar", (prompt.bar or 0,)),
        ("beat", (prompt.beat or 0,)),
        ("bars_left", (prompt.bars_left or 0,)),
        ("beats_left", (float(prompt.beats_left or 0.0),)),
        ("tempo", (float(prompt.tempo or 0.0),)),
    ]
    for side in SIDES:
        deck = prompt.decks.get(side)
        told.append((f"wind/{side}", (float((deck.wind if deck else None) or 0.0),)))
        told.append((f"ready/{side}", (int(deck.ready) if deck else 0,)))
    return _bundle(told, IMMEDIATELY)


def next_bar_bundle(prompt: Prompt, metre: int, unix_s: float) -> bytes | None:
    """The next bar, dated for when it begins; `unix_s` is now by the wall clock. None when no beat
    runs, or the set piece ends first and nothing comes after it."""
    if prompt.state not in ("following", "silent") or prompt.piece is None:
        return None
    if prompt.beat_position is None or not prompt.tempo or not prompt.bar:
        return None
    piece, bar = prompt.piece.index, prompt.bar + 1
    beats = prompt.bar * metre - prompt.beat_position
    if prompt.bar >= prompt.piece.bars:  # a last bar may be cut short
        if prompt.next is None:
            return None
        piece, bar = prompt.next.index, 1
        beats = prompt.piece.bars * metre - prompt.beat_position
    begins_s = unix_s + max(beats, 0.0) * 60.0 / prompt.tempo
    return _bundle([("next_bar", (bar, piece + 1, float(prompt.tempo)))], begins_s)


def _bundle(told: list[tuple[str, tuple[Value, ...]]], when: float) -> bytes:
    bundle = OscBundleBuilder(when)  # type: ignore[arg-type]  # hinted int; seconds are meant
    for name, arguments in told:
        message = OscMessageBuilder(f"/liveaid/{name}")
        for argument in arguments:
            message.add_arg(argument)
        bundle.add_content(message.build())
    return bytes(bundle.build().dgram)
