"""What the performer is to be told at one moment: the follower's output, as records and as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal, TypeAlias

from liveaid.routine import Side

State: TypeAlias = Literal["waiting", "before", "following", "unsure", "silent", "over"]
Way: TypeAlias = Literal["runs on", "set before", "by hand", "needle"]
"""How a record gets to its next cue."""


@dataclass(frozen=True, slots=True)
class PlaceFit:
    """A place that fits what is heard: a set piece, `index` from 0, and beats from its start."""

    index: int
    name: str
    beat_position: float


@dataclass(frozen=True, slots=True)
class PieceNow:
    """The set piece being played; `index` from 0."""

    index: int
    name: str
    part: str
    technique: str
    bars: float
    """Half a bar and the like where the last one is cut short."""
    count: str
    prompt: str = ""
    """The performer's own line for this set piece."""


@dataclass(frozen=True, slots=True)
class PieceNext:
    """The set piece that comes after; `tempo` in BPM at pitch 0."""

    index: int
    name: str
    part: str
    technique: str
    tempo: float
    prompt: str


@dataclass(frozen=True, slots=True)
class DeckNow:
    """One deck: where its record is, and how far it is from the next cue."""

    position: float | None
    """Deck-file seconds, extrapolated to now only while the deck is heard; None before it is."""
    speed: float | None
    """1.0 is nominal."""
    age_ms: float | None
    """Since the last message, the same position again counting as a sign of life."""
    hand: str | None
    """runs, works or rests in the set piece being played."""
    cue: float | None
    """Deck-file second of this deck's next cue."""
    wind: float | None
    """Turns of the platter from here to the cue, + forward, - back; None unless a hand has to bring
    it, or where the place is less than half believed."""
    ready: bool
    """True when a resting deck stands at its next cue."""
    way: Way | None = None
    """How it gets there; None: there is no next cue, or the way is not known."""
    in_time: bool | None = None
    """Whether that can be done before it is due."""
    sticker: float | None = None
    """Degrees where the cue comes up, 0 to below 360."""
    after: int | None = None
    """Index of the set piece the cue is for."""
    due_beats: float | None = None
    """Beats from now until the cue sounds."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """The whole picture at one moment, as `/status` shows it."""

    state: State
    confidence: float
    """Probability that set piece and beat are right, 0 to 1."""
    elapsed_s: float | None
    limit_s: float | None
    piece: PieceNow | None
    beat_position: float | None
    """Beats from the set piece's start."""
    bar: int | None
    beat: int | None
    bars_left: int | None
    """Counts the current bar."""
    beats_left: float | None
    seconds_left: float | None
    tempo: float | None
    next: PieceNext | None
    decks: dict[Side, DeckNow]
    held: bool = False
    """Whether the place shown is the last sure one, held while none is half believed."""
    places: tuple[PlaceFit, ...] = ()
    """Two when two places fit, the one shown first; else none."""
    hints: tuple[str, ...] = ()
    """Plain sentences about what the sender does wrong; none while all is well."""
    first: tuple[Side, ...] = ()
    """Which decks let go first, before the start."""
    limit_kept: bool | None = None
    """Over: whether the set's time limit was kept; None where there is none, or still playing."""

    def to_json(self) -> dict[str, Any]:
        """The fields of `/status`, in its order and rounding."""
        return {name: _rounded(value) for name, value in asdict(self).items()}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {name: _rounded(inner) for name, inner in value.items()}
    if isinstance(value, tuple):
        return [_rounded(inner) for inner in value]
    return value
