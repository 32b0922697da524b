"""Find sounds on the shelf by what matters on a platter, in plain terms parted by commas.

``tempo 88..96 half double, kind a cappella, not tag used, text lantern, by energy down``

A range is ``88..96``, ``88..`` or ``..96``; ``none`` asks for sounds of which a thing is not
known; ``or`` parts alternatives; ``not`` turns a term round. All terms have to hold.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from liveaid.errors import UsageError
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.shelf.wording import WORDS, Holds, Wrong
from liveaid.study.facts import Study


@dataclass(frozen=True, slots=True)
class Query:
    """What is looked for: every term has to hold."""

    terms: tuple[Holds, ...] = ()
    order: Callable[[Study], float | None] | None = None
    falling: bool = False
    failed_too: bool = False
    """Whether sounds that could not be studied are asked for."""


class QueryError(UsageError):
    """All that is wrong in a query, a line for each term."""


def parse_query(text: str) -> Query:
    """The query in plain terms. QueryError with every term that is not understood."""
    terms: list[Holds] = []
    wrong: list[str] = []
    order: Callable[[Study], float | None] | None = None
    falling = failed_too = False
    for number, term in enumerate(_terms(text), 1):
        try:
            words = term.split()
            if words[0].lower() == "by":
                order, falling = _order(words[1:])
            else:
                terms.append(_read(words))
                failed_too |= words == ["failed"]
        except Wrong as problem:
            wrong.append(f"term {number}, '{term}': {problem}")
    if wrong:
        raise QueryError("\n".join(wrong))
    return Query(tuple(terms), order, falling, failed_too)


def matching(query: Query, sounds: Iterable[ShelfSound]) -> list[ShelfSound]:
    """The sounds for which every term holds, in the order asked for, else as they come.

    Sounds of which the ordering fact is not known come last.
    """
    found = [
        sound
        for sound in sounds
        if (sound.study is not None or query.failed_too) and all(h(sound) for h in query.terms)
    ]
    order = query.order
    if order is None:
        return found

    def rank(sound: ShelfSound) -> tuple[bool, float]:
        value = order(sound.study) if sound.study else None
        return value is None, (-value if query.falling else value) if value is not None else 0.0

    return sorted(found, key=rank)


def _terms(text: str) -> list[str]:
    """The terms between commas; a comma inside double quotes belongs to its term."""
    parts = re.findall(r'(?:"[^"]*"|[^,"]|")+', text)
    return [part.strip() for part in parts if part.strip()]


def _read(words: list[str]) -> Holds:
    """One term: its word looked up, the rest read by it."""
    if words[0].lower() == "not":
        if len(words) == 1:
            raise Wrong("a term after `not` would do, such as: not kind effect")
        holds = _read(words[1:])
        return lambda sound: not holds(sound)
    word = words[0].lower()
    if word not in WORDS:
        raise Wrong(f"'{words[0]}' is no word to find by; {_hint(word, WORDS)}")
    return WORDS[word].read(" ".join(words[1:]))


def _order(words: list[str]) -> tuple[Callable[[Study], float | None], bool]:
    """What ``by tempo`` or ``by tempo down`` sorts by, and whether it falls."""
    measures = {word: entry.value for word, entry in WORDS.items() if entry.value}
    falling = len(words) == 2 and words[1].lower() == "down"
    if not words or len(words) > 1 + falling or words[0].lower() not in measures:
        found = f"'{' '.join(words)}' is nothing to sort by; " if words else ""
        raise Wrong(f"{found}{_hint(words[0].lower() if words else '', measures)}")
    return measures[words[0].lower()], falling


def _hint(word: str, known: Iterable[str]) -> str:
    guess = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    asked = f"did you mean {guess[0]}? " if guess else ""
    return f"{asked}known: {', '.join(sorted(known))}"
