"""The words a performer may say to liveaid, by pad, key, foot switch, page or OSC. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

Word: TypeAlias = Literal[
    "step on", "step back", "here", "hold",
    "count in", "take start", "take stop", "again", "next", "keep", "drop", "mark",
    "slower", "faster", "note",
]  # fmt: skip
By: TypeAlias = Literal["pad", "page", "osc"]

WORDS: dict[Word, str] = {
    "step on": "the next set piece is being played",
    "step back": "the set piece before is being played",
    "here": "this set piece is being played (on a pad or page of its own, that one)",
    "hold": "stay in this set piece until told otherwise",
    "count in": "count me in",
    "take start": "a take begins now",
    "take stop": "the take is over",
    "again": "the same once more",
    "next": "go on to the next thing to practise",
    "keep": "keep the last take",
    "drop": "drop the last take",
    "mark": "mark this moment",
    "slower": "a step slower",
    "faster": "a step faster",
    "note": "a note belongs here",
}
"""Every word and what the performer means by it."""

PLACE_WORDS: frozenset[Word] = frozenset({"step on", "step back", "here", "hold"})
"""Words about where in the routine the performer is: they are the follower's to hear."""

WORD_ADDRESS = "/word"
"""`/word <string> [<set piece from 1>]`."""


@dataclass(frozen=True, slots=True)
class Said:
    """One word said."""

    word: Word
    piece: int | None
    """The set piece meant, from 0; None: the one being played."""
    by: By
    now_s: float
    """Monotonic seconds."""


class WordError(ValueError):
    """Not a word, or not a set piece: what was found and what would do."""


def read_word(word: object, piece: object, pieces: int) -> tuple[Word, int | None]:
    """The word and set piece (from 0) in what somebody sent; WordError when it is neither.

    Letters of any case, and `_` or `-` for the space: `Step-on` is `step on`.
    """
    if not isinstance(word, str):
        raise WordError(f"word: found {word!r:.40}; one of these would do: {', '.join(WORDS)}")
    plain = " ".join(word.casefold().replace("_", " ").replace("-", " ").split())
    known = {known: known for known in get_args(Word)}.get(plain)
    if known is None:
        raise WordError(f"word: found {word!r:.40}; one of these would do: {', '.join(WORDS)}")
    if piece is None:
        return known, None
    if isinstance(piece, bool) or not isinstance(piece, int) or not 0 <= piece < pieces:
        raise WordError(f"piece: found {piece!r:.40}; a number from 0 to {pieces - 1} would do")
    return known, piece
