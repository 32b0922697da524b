"""A take as it is kept, and what is read back of it: plain records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, dataclass, field, fields
from datetime import datetime
from typing import Annotated, Any, NamedTuple

from pydantic import PlainSerializer

from liveaid.practice.delays import NO_DELAYS, Delays, delays_from
from liveaid.practice.mixer_trace import MixerTrace, mixer_of, rows_of
from liveaid.practice.trace import Trace
from liveaid.practice.visits import Visit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """A take as it is kept."""

    title: str
    """The routine's."""
    at: float = 0.0
    """Unix time at which it began; 0 until it is kept."""
    aim: str
    """What was practised, empty for the routine as a whole."""
    ended: str
    duration_s: float
    tempo_part: float
    start_s: float
    """Monotonic second of its first beat, in the trace's time."""
    counted_in_s: float | None
    """Where the count-in put that beat, in the trace's time."""
    visits: tuple[Visit, ...]
    trace: Trace
    """As it arrived, no delay taken out."""
    mixer: MixerTrace = ()
    """What the mixer told meanwhile; none where none was heard."""
    sender: str = ""
    """What wrote the positions: the name of its OSC map."""
    delays: Delays = NO_DELAYS
    """What was known of the sender's and the click's delays."""
    played: Mapping[str, str] = field(default_factory=dict)
    """By the number of the set piece in the whole routine, from 0, the digest of what was to be
    played in it."""
    decks_part: float = 1.0
    """Part of full tempo that the deck files were made for; 1: the stage's own."""

    def words(self) -> dict[str, Any]:
        """All but its trace as plain values, by its own names."""
        own = {each.name: getattr(self, each.name) for each in fields(self)}
        del own["trace"]
        return own | {
            "visits": [astuple(visit) for visit in self.visits],
            "delays": self.delays.to_json(),
            "played": dict(self.played),
            "mixer": rows_of(self.mixer),
        }

    @classmethod
    def of_words(cls, words: Mapping[str, Any], trace: Trace) -> Kept:
        """The take that `words` told. ValueError, TypeError or KeyError for anything else."""
        found = {
            "visits": tuple(Visit(*visit) for visit in words["visits"]),
            "delays": delays_from(words["delays"]),
            "mixer": mixer_of(words.get("mixer", ())),  # none in files from before it was kept
        }
        return cls(**{**words, **found}, trace=trace)


def local_second(at: float) -> str:
    """A unix time, local, to the second (ISO 8601)."""
    return datetime.fromtimestamp(at).isoformat(timespec="seconds")


class PieceRow(NamedTuple):
    """One set piece of one take, without its acts. A review reads some ten thousand of them."""

    take: int
    at: float
    aim: str
    tempo_part: float
    name: str
    clean: bool
    missed: int
    added: int
    bias_ms: float | None
    spread_ms: float | None
    digest: str = ""
    """Of what was to be played; empty in takes from before it was kept."""
    judged: bool = True
    """False where there was nothing to judge it by."""


class TakeRow(NamedTuple):
    """One take, without its trace and its acts."""

    id: int
    at: float
    aim: str
    ended: str
    duration_s: float
    tempo_part: float
    clean: bool
    run_through: bool
    first_piece: int | None
    """Index of the set piece it began with."""
    said: str = ""
    """The performer's own word on it: keep, drop, or none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """What the performer noted, and when."""

    at: Annotated[float, PlainSerializer(local_second)]
    take: int | None
    aim: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeRow:
    """What one take of the whole routine went through."""

    id: int
    visits: tuple[Visit, ...]
    played: Mapping[str, str]
    """As in `Kept`."""
