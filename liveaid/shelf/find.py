"""Find sounds on the shelf by what matters on a platter, in plain terms parted by commas.

``tempo 88..96 half double, kind a cappella, not tag used, text lantern, by energy down``

A range is ``88..96``, ``88..`` or ``..96``; ``none`` asks for sounds of which a thing is not
known; ``or`` parts alternatives; ``not`` turns a term round. All terms have to hold.
"""

from __future__ import annotations

import contextlib
import difflib
import re
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from liveaid.errors import UsageError
from liveaid.shelf.columns import TABLE, put_row
from liveaid.shelf.open_break import open_breaks
from liveaid.shelf.query_words import WORDS, Term, Values, Wrong
from liveaid.shelf.shelf_sound import ShelfSound


@dataclass(frozen=True, slots=True)
class Query:
    """What is looked for: every term has to hold."""

    terms: tuple[Term, ...] = ()
    order: str | None = None
    """The column to sort by; by name otherwise."""
    falling: bool = False
    failed_too: bool = False
    """Whether sounds that could not be studied are asked for."""

    @property
    def where(self) -> str:
        """The condition in SQL over the shelf's columns."""
        asked = [] if self.failed_too else ["studied"]
        if not any(term.of_whole for term in self.terms):
            asked.append("NOT part")
        return " AND ".join([*asked, *(term.where for term in self.terms)]) or "1"

    @property
    def values(self) -> Values:
        """Values for the condition's question marks."""
        return tuple(value for term in self.terms for value in term.values)

    @property
    def sorting(self) -> str:
        """How the found are sorted; those of which the fact is not known come last."""
        if self.order is None:
            return "name, path"
        fall = " DESC" if self.falling else ""
        return f"{self.order} IS NULL, {self.order}{fall}, name, path"


class QueryError(UsageError):
    """All that is wrong in a query, a line for each term."""


def parse_query(text: str) -> Query:
    """The query in plain terms. QueryError with every term that is not understood."""
    terms: list[Term] = []
    wrong: list[str] = []
    order: str | None = None
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


def matching(query: Query, sounds: Sequence[ShelfSound]) -> list[ShelfSound]:
    """The sounds for which every term holds, in the order asked for: for sounds on no shelf."""
    with contextlib.closing(sqlite3.connect(":memory:")) as db:
        db.execute(TABLE)
        here = [each for sound in sounds for each in (sound, *open_breaks(sound))]
        for number, sound in enumerate(here):
            put_row(db, replace(sound, hash=f"{number:08x}"))
        found = db.execute(
            f"SELECT hash FROM fact WHERE {query.where} ORDER BY {query.sorting}", query.values
        )
        return [here[int(digest.hex(), 16)] for (digest,) in found]


def _terms(text: str) -> list[str]:
    """The terms between commas; a comma inside double quotes belongs to its term."""
    parts = re.findall(r'(?:"[^"]*"|[^,"]|")+', text)
    return [part.strip() for part in parts if part.strip()]


def _read(words: list[str]) -> Term:
    """One term: its word looked up, the rest read by it."""
    if words[0].lower() == "not":
        if len(words) == 1:
            raise Wrong("a term after `not` would do, such as: not kind effect")
        return _read(words[1:]).turned()
    word = words[0].lower()
    if word not in WORDS:
        raise Wrong(f"'{words[0]}' is no word to find by; {_hint(word, WORDS)}")
    return WORDS[word].read(" ".join(words[1:]))


def _order(words: list[str]) -> tuple[str, bool]:
    """What ``by tempo`` or ``by tempo down`` sorts by, and whether it falls."""
    measures = {word: entry.column for word, entry in WORDS.items() if entry.column}
    falling = len(words) == 2 and words[1].lower() == "down"
    if not words or len(words) > 1 + falling or words[0].lower() not in measures:
        found = f"'{' '.join(words)}' is nothing to sort by; " if words else ""
        raise Wrong(f"{found}{_hint(words[0].lower() if words else '', measures)}")
    return measures[words[0].lower()], falling


def _hint(word: str, known: Iterable[str]) -> str:
    guess = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    asked = f"did you mean {guess[0]}? " if guess else ""
    return f"{asked}known: {', '.join(sorted(known))}"
