"""The measured facts of one sound, as one frozen record that goes to JSON and back."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from liveaid.routine.model import Kind

if TYPE_CHECKING:  # brings scipy with it
    from liveaid.study.imprint import Imprint

STUDY_VERSION = 9
"""Raise it when the same file would be measured differently: the shelf then studies anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What was measured in one sound. Confidences run from 0 to 1; None means: says nothing.

    Seconds count from the file's first frame.
    """

    duration_s: float
    """Seconds of audio that could be read."""
    sample_rate_hz: int
    channels: int
    format: str
    """Container and coding, such as ``WAV PCM_16``."""
    frames_declared: int
    """Frames the file's header promises."""
    frames_read: int
    faults: tuple[str, ...] = ()
    """What is wrong with the file, a clear sentence each."""
    silence_start_s: float = 0.0
    """Seconds of silence before the first sound; the whole duration for a silent file."""
    silence_end_s: float = 0.0
    """Seconds of silence after the last sound."""

    tempo: float | None = None
    """BPM of the one steady grid, or the mean tempo of played material."""
    tempo_confidence: float = 0.0
    tempo_alternative: float | None = None
    """Half or double of it, whichever is likelier."""
    tempo_rival: float | None = None
    """A tempo that is no octave of it, mostly at two to three, where something speaks for one."""
    first_beat: float | None = None
    """Second of the first beat of the grid that is not before the first sound."""
    first_downbeat: float | None = None
    """Second of the first bar line from that beat on."""
    downbeat_confidence: float = 0.0
    metre: int | None = None
    """Beats in a bar."""
    steady: bool = False
    """Whether one tempo and one first beat hold from end to end."""
    tempo_drift_percent: float = 0.0
    """Change of tempo from end to end along the fitted line, per cent of the tempo, signed."""
    beat_residual_ms: float = 0.0
    """Root-mean-square distance of the sounds heard on beats from the steady grid."""
    beats_s: tuple[float, ...] = ()
    """Seconds of the beats where they had to be followed; empty where `steady` tells them all."""
    tempo_curve: tuple[tuple[float, float], ...] = ()
    """(second, BPM) every bar or so where the tempo is not steady."""
    tempo_change: str = ""
    """A step or a ramp in it, as `steps from 100.0 to 125.0 BPM (+25.0 %) at 0:31`."""
    loop_beats: int | None = None
    """Whole beats the file is long, when it is a loop trimmed to length."""
    rhythmic: str = ""
    """Why there is no tempo; empty when there is one."""

    key: str | None = None
    """Such as ``A minor``, in the names of `liveaid.routine.keys`; None for percussion."""
    key_confidence: float = 0.0
    tuning_cents: float = 0.0
    """How far the sound is tuned above A440, -50 to +50."""

    loudness_lufs: float | None = None
    """Integrated loudness (ITU-R BS.1770); None when too short or silent."""
    loudness_range_lu: float = 0.0
    """Loudness range (EBU Tech 3342)."""
    true_peak_dbtp: float | None = None
    """True peak (ITU-R BS.1770 Annex 2); None for silence."""
    brightness_hz: float = 0.0
    """Centre of the spectrum, weighted by magnitude."""
    energy: int = 1
    """1 (calm) to 5 (driving), as in the section map."""

    onsets_s: tuple[float, ...] = ()
    """Seconds at which sounds begin, rising."""
    phrases_s: tuple[tuple[float, float], ...] = ()
    """Begin and end of each stretch of sound between pauses, in seconds."""
    voice: float = 0.0
    """Share of what sounds that has a voice in it, alone or over music."""
    sections: tuple[tuple[float, float, str, float], ...] = ()
    """(begin, end, what plays, bars): drums alone, voice alone, voice, full or thin."""
    kind: Kind = "sample"
    """A guess; the shelf lets the performer correct it."""
    kind_confidence: float = 0.0
    imprint: Imprint | None = field(default=None, compare=False, repr=False)
    """What it sounds like; no part of the JSON. None where it was not kept, or of silence."""

    def facts(self) -> dict[str, Any]:
        """Every fact by its name, the imprint apart."""
        names = (each.name for each in fields(self) if each.name != "imprint")
        return {name: getattr(self, name) for name in names}

    def breaks(self) -> tuple[tuple[float, float, float], ...]:
        """(begin, end, bars) of each open break: only the drums play, for a bar at least, in a
        sound that has more than drums."""
        if all(plays == "drums alone" for _, _, plays, _ in self.sections):
            return ()
        return tuple(
            (begin, end, bars)
            for begin, end, plays, bars in self.sections
            if plays == "drums alone" and bars >= 1.0 and self.tempo
        )

    def to_json(self) -> str:
        """The facts as one JSON object."""
        return json.dumps(self.facts(), allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Study:
        """The facts behind `to_json`; unknown names are left out, missing ones are at default.

        ValueError when the text is no such object.
        """
        found = json.loads(text)
        if not isinstance(found, dict):
            raise ValueError(f"the facts of a sound are a JSON object, not {type(found).__name__}")
        known = {each.name for each in fields(cls)} - {"imprint"}
        try:
            return cls(**{name: _frozen(value) for name, value in found.items() if name in known})
        except TypeError as error:
            raise ValueError(f"facts are missing: {error}") from error


def _frozen(value: Any) -> Any:
    """JSON's lists as tuples, lists of lists too; onsets are many, so they are not looked at."""
    if not isinstance(value, list):
        return value
    return tuple(map(_frozen, value)) if value and isinstance(value[0], list) else tuple(value)
