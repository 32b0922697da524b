"""What goes with a sound on a platter: every other sound ranked, and every number explained.

Method: each way two sounds can differ costs something (see `costs`); the score is 100 minus the
weighted costs. It is the same whichever of the two sounds is asked about.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from liveaid.fit.costs import WEIGHTS, Cost, costs_of, score_of
from liveaid.fit.meeting import Meeting, meetings
from liveaid.routine.harmony import KeyMeeting, Pitched, meet
from liveaid.routine.keys import parse_key
from liveaid.routine.model import Turntable
from liveaid.shelf.crate_facts import facts_of
from liveaid.study.facts import Study

UNSURE = 0.5
"""Below this confidence a fact is called a guess."""
PICKUP_FROM_BEATS = 0.25
"""A phrase that begins less than a sixteenth note before its bar line begins on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How one other sound goes with a sound."""

    other: str
    """The other sound, as the caller named it."""
    score: float
    """0 to 100."""
    costs: tuple[Cost, ...]
    meeting: Meeting | None
    """The pitches that bring the beats together; None when it is cued by hand instead."""
    why_cued: str
    """Why there is no common beat; empty when there is one."""
    keys: KeyMeeting | None
    """The keys at the speeds the records run at; None where one sound has no key."""
    keys_locked: KeyMeeting | None
    """The keys when the player keeps them while the tempo changes."""
    loudness_lu: float | None
    """How much louder (+) the other sound is."""
    gain_peak_dbtp: float | None
    """True peak of the other sound once it is brought to the same loudness."""
    energy_steps: int
    """The other's energy minus this one's."""
    length_bars: float | None
    """The whole other sound in bars of this one, at the speeds they run at."""
    phrases_bars: tuple[float, ...]
    """Each phrase of the other sound in bars of this one."""
    bar_turns: float | None
    """Turns of the other's platter in a bar of this sound."""
    hit: bool
    """Whether the other is a hit: to be struck or thrown in, too short to carry or to clash."""
    pickup_beats: float
    """Beats by which the other's first phrase comes in before its bar line."""


def fits(
    sound: Study,
    others: Mapping[str, Study],
    *,
    turntable: Turntable | None = None,
    key_locked: bool = False,
) -> list[Fit]:
    """Every other sound the decks can bring to this one, best first.

    Those without a tempo, and samples and effects out of reach, are cued by hand; anything else
    out of the turntable's reach is left out. `key_locked` ranks by the keys
    as they are when the player keeps them. Equal scores come in the order of names.
    """
    turntable = turntable or Turntable()
    found = (
        _best(sound, name, other, turntable, key_locked=key_locked)
        for name, other in others.items()
    )
    return sorted((fit for fit in found if fit), key=lambda fit: (-fit.score, fit.other))


def _best(
    sound: Study, name: str, other: Study, turntable: Turntable, *, key_locked: bool
) -> Fit | None:
    """The cheapest of the ways two sounds can go together; the plainer one where they are equal."""
    ways = _ways(sound, other, turntable)
    if not ways:
        return None
    return max(
        (_fit(sound, name, other, way, turntable, key_locked=key_locked) for way in ways),
        key=lambda fit: fit.score,
    )


def _ways(sound: Study, other: Study, turntable: Turntable) -> list[Meeting | None]:
    """The meetings of two sounds in reach; [None] for cueing by hand; none at all."""
    if not sound.tempo or not other.tempo:
        return [None]
    reach = turntable.pitch_range_percent
    met = meetings(sound.tempo, other.tempo, range_percent=reach)
    by_hand = {sound.kind, other.kind} & {"sample", "effect"}
    return [*met] if met else [None] if by_hand else []


def _fit(
    sound: Study,
    name: str,
    other: Study,
    meeting: Meeting | None,
    turntable: Turntable,
    *,
    key_locked: bool,
) -> Fit:
    keys, locked = _keys(sound, other, meeting)
    loudness = _difference(other.loudness_lufs, sound.loudness_lufs)
    ratio = np.array([meeting.ratio if meeting else 1.0])
    beats = meeting.beats if meeting else None
    mine, theirs = facts_of([sound]), facts_of([other])
    each = costs_of(mine, theirs, ratio, beats, key_locked=key_locked)
    costs = tuple(Cost(term, WEIGHTS[term], float(cost[0])) for term, cost in each.items())
    bar_s = _bar_s(sound, other, meeting)
    return Fit(
        other=name,
        score=float(score_of(each)[0]),
        costs=costs,
        meeting=meeting,
        why_cued="" if meeting else _why_cued(sound, other),
        keys=keys,
        keys_locked=locked,
        loudness_lu=loudness,
        gain_peak_dbtp=_difference(other.true_peak_dbtp, loudness),
        energy_steps=other.energy - sound.energy,
        length_bars=other.duration_s / bar_s if bar_s else None,
        phrases_bars=tuple((end - begin) / bar_s for begin, end in other.phrases_s)
        if bar_s
        else (),
        bar_turns=bar_s / turntable.turn_s if bar_s else None,
        hit=bool(theirs.hits[0]),
        pickup_beats=_pickup_beats(other),
    )


def sure_bar_line_s(study: Study) -> float | None:
    """Second of a sound's first bar line; None where that is a guess."""
    return study.first_downbeat if study.downbeat_confidence >= UNSURE else None


def _pickup_beats(other: Study) -> float:
    """Beats from the first phrase's begin to the first bar line, where that is less than a bar."""
    line_s = sure_bar_line_s(other)
    if not other.tempo or not other.phrases_s or line_s is None:
        return 0.0
    beats = (line_s - other.phrases_s[0][0]) * other.tempo / 60.0
    return beats if PICKUP_FROM_BEATS <= beats < (other.metre or 4) - PICKUP_FROM_BEATS else 0.0


def _keys(
    sound: Study, other: Study, meeting: Meeting | None
) -> tuple[KeyMeeting | None, KeyMeeting | None]:
    """The keys at the records' speeds, and with the keys kept."""
    if sound.key is None or other.key is None:
        return None, None
    shift = meeting.shift_semitones if meeting else 0.0
    mine = Pitched(parse_key(sound.key), sound.tuning_cents)
    theirs = Pitched(parse_key(other.key), other.tuning_cents)
    return meet(mine, replace(theirs, moved_semitones=shift)), meet(mine, theirs)


def _bar_s(sound: Study, other: Study, meeting: Meeting | None) -> float | None:
    """Seconds of the other's record that pass in one bar of this sound.

    Without a common beat both run at pitch 0; without a tempo here the other's own bars count.
    """
    if meeting:
        seconds = 60.0 * (sound.metre or 4) / meeting.tempo_bpm
        return seconds * (1.0 + meeting.other_percent / 100.0)
    if sound.tempo:
        return 60.0 * (sound.metre or 4) / sound.tempo
    return 60.0 * (other.metre or 4) / other.tempo if other.tempo else None


def _why_cued(sound: Study, other: Study) -> str:
    if not sound.tempo and not other.tempo:
        return "neither has a tempo: no beats to match, cue it by hand"
    if not other.tempo:
        return "it has no tempo: no beats to match, cue it by hand"
    if not sound.tempo:
        return "this sound has no tempo: no beats to match, cue it by hand"
    return "out of reach of the pitch range: no beats matched, cue it by hand"


def _difference(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b
