"""How exact a performer's hands are: the spread, bias and misses of everything they do."""

from __future__ import annotations

from dataclasses import dataclass, fields

from numpy.random import Generator


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """Errors are normal unless a field says otherwise; an `_error` is their standard deviation.

    The defaults are common practice, no source.
    """

    timing_error_s: float = 0.020
    """Of starts, releases, returns and the stop, against the performer's own beat."""
    timing_bias_s: float = 0.0
    """Added to each of these; above 0 is late."""
    stroke_error_s: float = 0.015
    stroke_bias_s: float = 0.0
    pitch_error_percent: float = 1.2
    """Of the pitch set for a record that is started anew, against pitch 0."""
    pitch_drift_percent: float = 0.3
    """Change of pitch within one set piece."""
    match_error_percent: float = 0.1
    """Of a second record's pitch against the one already running."""
    cue_error_s: float = 0.008
    """Where a record comes to stand when it is brought to a cue, in seconds of record."""
    reach_error_s: float = 0.015
    """How far a scratch stroke ends from where it was meant to, in seconds of record."""
    fader_error_s: float = 0.010
    """Of each move of the crossfader against its beat."""
    correlation: float = 0.5
    """How much of one act's error is in the same hand's next one, 0 to below 1 (tapping with a
    beat: Repp, Psychon Bull Rev 12 (2005), from memory)."""
    fatigue_per_min: float = 0.0
    """How much wider the spread is after each minute of playing, as a part of itself (common
    practice, no source)."""
    drift_s_per_min: float = 0.0
    """How much later a hand comes with each minute: below 0 it hurries, as tapping along without
    an answer does (Repp, Psychon Bull Rev 12 (2005), from memory)."""
    miss_rate: float = 0.0
    """Share of juggle releases and of the map's own strokes that the hand leaves out, 0 to 1."""
    added_rate: float = 0.0
    """Share of the map's own strokes followed by one more that is not in the map, 0 to 1."""
    rock_rate: float = 0.25
    """Share of records that are rocked a few times at the cue they were brought to, 0 to 1."""
    wind_slow_turns_per_s: float = 2.5
    wind_fast_turns_per_s: float = 6.0
    """Of a performer whose section map leaves `wind_speed` out; others in proportion to theirs."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            signed = field.name.endswith(("_bias_s", "drift_s_per_min"))
            if value < 0.0 and not signed:
                raise ValueError(f"{field.name}: found {value:g}; 0 or more would do")
            if value > 1.0 and field.name.endswith("_rate"):
                raise ValueError(f"{field.name}: found {value:g}; 0 to 1 would do")
        if not 0.0 <= self.correlation < 1.0:
            raise ValueError(f"correlation: found {self.correlation:g}; 0 to below 1 would do")
        if not 0.0 < self.wind_slow_turns_per_s <= self.wind_fast_turns_per_s:
            raise ValueError("a slow winding speed above 0 and up to the fast one would do")

    def late_s(self, bias_s: float, spread_s: float, off: float, at_s: float) -> float:
        """How late an act is at a second of the performance, `off` being its error in spreads:
        wider and later by the minute."""
        minutes = max(at_s, 0.0) / 60.0
        wider = 1.0 + self.fatigue_per_min * minutes
        return bias_s + self.drift_s_per_min * minutes + spread_s * wider * off

    def timing_s(self, rng: Generator, at_s: float) -> float:
        """How late a record is started that is meant for a second of the performance."""
        off = float(rng.standard_normal())
        return self.late_s(self.timing_bias_s, self.timing_error_s, off, at_s)

    def cue_s(self, rng: Generator) -> float:
        """How far past its cue a record is brought to stand."""
        return self.cue_error_s * rng.standard_normal()

    def reach_s(self, rng: Generator) -> float:
        """How much further than meant one scratch stroke goes."""
        return self.reach_error_s * rng.standard_normal()

    def wind_turns_per_s(self, rng: Generator) -> float:
        """How fast one winding goes, evenly between slow and fast."""
        return float(rng.uniform(self.wind_slow_turns_per_s, self.wind_fast_turns_per_s))


STEADY = Hands(
    timing_error_s=0.0,
    stroke_error_s=0.0,
    pitch_error_percent=0.0,
    pitch_drift_percent=0.0,
    match_error_percent=0.0,
    cue_error_s=0.0,
    reach_error_s=0.0,
    fader_error_s=0.0,
)
"""Hands without error."""

PERSON = Hands(
    timing_error_s=0.018,
    timing_bias_s=-0.010,
    stroke_error_s=0.018,
    stroke_bias_s=-0.010,
    correlation=0.4,
    fatigue_per_min=0.05,
    drift_s_per_min=-0.002,
    miss_rate=0.01,
    cue_error_s=0.012,
)
"""A trained person on an evening: at 92 BPM 18 ms are 2.8 % of the beat, between trained tappers'
2 % and others' 4 %; the beat is anticipated, but by less than the 20 to 50 ms of plain tapping, as
there is music (both Repp 2005, from memory); the rest common practice, no source."""
