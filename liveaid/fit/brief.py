"""What the shelf still lacks for an idea: which sounds would do for each thing it wants.

A sound would do for a want when kind and energy are as wanted, its tempo comes into the wanted
range inside the turntable's pitch range (half and double time included), its key at that pitch is
the wanted one or closely related, and it is long enough or a loop.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from liveaid.fit.meeting import PLAIN_BEATS, meetings, read_plainly, within
from liveaid.record.platter import semitones
from liveaid.routine.harmony import FIFTHS_COST, OTHER_MODE_COST, meet_keys, relation_cost
from liveaid.routine.keys import parse_key
from liveaid.routine.model import Idea, Turntable, Want
from liveaid.routine.shared_out import shared_out
from liveaid.shelf.columns import bars_of, fold
from liveaid.study.facts import Study

CLOSE_COST = FIFTHS_COST[1] + OTHER_MODE_COST
"""Keys up to a fifth apart are closely related."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One thing the idea wants, and what the shelf has for it."""

    want: Want
    ready: tuple[str, ...]
    """Sounds that would do, as the caller named them."""
    near: tuple[tuple[str, str], ...]
    """Sounds that miss one thing, with what they miss."""
    chosen: str | None
    """One that would do and that no other want needs; None when there are too few."""

    @property
    def lacks(self) -> bool:
        """Whether a sound has still to be found."""
        return self.chosen is None


@dataclass(frozen=True, slots=True)
class Brief:
    """What the shelf has and lacks for an idea."""

    wants: tuple[Wanted, ...]
    gaps: tuple[tuple[int, int], ...]
    """Neighbouring wants (from 0) between which no two of their sounds come to one beat."""
    planned_s: float
    """Seconds the wants that say bars and a tempo would last."""
    echoes: tuple[tuple[str, int], ...]
    """Words of theme and feel that occur in the sounds' words, and in how many."""


def brief(
    idea: Idea,
    sounds: Mapping[str, Study],
    words: Mapping[str, str] | None = None,
    *,
    turntable: Turntable | None = None,
    metre: int = 4,
) -> Brief:
    """What the sounds (name to study) have and lack for an idea.

    `words` gives each sound's name, tags and notes in one text, for the echoes of the theme.
    """
    turntable = turntable or Turntable()
    ready, near = [], []
    for want in idea.wants:
        missed = {name: misses(want, study, turntable) for name, study in sounds.items()}
        ready.append(tuple(sorted(name for name, said in missed.items() if not said)))
        near.append(tuple(sorted((n, said[0]) for n, said in missed.items() if len(said) == 1)))
    chosen = shared_out(ready)
    wants = tuple(map(Wanted, idea.wants, ready, near, chosen))
    gaps = tuple(
        (index, index + 1)
        for index in range(len(wants) - 1)
        if not _can_follow(ready[index], ready[index + 1], sounds, turntable)
    )
    return Brief(wants, gaps, _planned_s(idea.wants, metre), _echoes(idea, (words or {}).values()))


def misses(want: Want, study: Study, turntable: Turntable) -> list[str]:
    """What keeps a sound from being what is wanted, in a few words each; empty when it would do."""
    pitch = _pitch_for(want, study, turntable)
    found: list[str] = []
    if want.kind and study.kind != want.kind:
        guess = " by guess" if study.kind_confidence < 0.5 else ""
        found.append(f"is {_a(study.kind)}{guess}")
    if study.energy != want.energy:
        found.append(f"energy {study.energy}")
    if pitch is None:
        found.append(f"tempo {study.tempo:.1f}" if study.tempo else "has no tempo")
    if want.key and not _key_would_do(want.key, study, pitch or 0.0):
        found.append(f"key {study.key} at that pitch" if study.key else "has no key")
    bars = bars_of(study)
    if want.bars and not study.loop_beats and (bars is None or bars < want.bars):
        found.append("length not known in bars" if bars is None else f"only {bars:.1f} bars")
    return found


def sought(want: Want, turntable: Turntable) -> str:
    """What to look for, in the words of a shopping list, with the reach of the pitch fader."""
    low, high = want.tempo_from_bpm, want.tempo_to_bpm
    parts = [f"{want.kind or 'any kind'}, energy {want.energy}"]
    if low or high:
        reach = turntable.pitch_range_percent / 100.0
        wide = [f"from {low / (1 + reach):.1f}"] if low else []
        wide += [f"to {high / (1 - reach):.1f}"] if high and reach < 1.0 else []
        asked = "..".join(f"{end:g}" if end else "" for end in (low, high))
        parts.append(f"tempo {asked} ({' '.join(wide)} with the pitch fader)")
    if want.key:
        parts.append(f"in {want.key} or a fifth from it")
    if want.bars:
        parts.append(f"{want.bars} bars or a loop")
    return ", ".join(parts)


def _pitch_for(want: Want, study: Study, turntable: Turntable) -> float | None:
    """The smallest pitch, as a fraction, that brings a sound into the wanted tempos; else None."""
    if not want.tempo_from_bpm and not want.tempo_to_bpm:
        return 0.0
    if not study.tempo:
        return None
    # A range open at one end would take nearly anything at half or double time.
    both = want.tempo_from_bpm and want.tempo_to_bpm
    tempos = read_plainly(study.tempo) if both else [study.tempo]
    best = min((brought_into(want, tempo) / tempo - 1.0 for tempo in tempos), key=abs)
    return within(best, turntable.pitch_range_percent / 100.0)


def brought_into(want: Want, tempo_bpm: float) -> float:
    """The tempo wanted that is nearest to this one."""
    return min(max(tempo_bpm, want.tempo_from_bpm or 0.0), want.tempo_to_bpm or math.inf)


def _key_would_do(wanted: str, study: Study, pitch: float) -> bool:
    if study.key is None:
        return False
    apart = semitones(1.0 + pitch) + study.tuning_cents / 100.0
    key = parse_key(wanted)
    heard = meet_keys(key, parse_key(study.key), apart_semitones=apart).beside
    return relation_cost(key, heard) <= CLOSE_COST


def _can_follow(
    before: Sequence[str], after: Sequence[str], sounds: Mapping[str, Study], turntable: Turntable
) -> bool:
    """Whether some two sounds of two wants come together; not doubted while a want has none."""
    pairs = [(sounds[a].tempo, sounds[b].tempo) for a in before for b in after]
    reach = turntable.pitch_range_percent
    return not pairs or any(
        not a or not b or bool(meetings(a, b, range_percent=reach, readings=PLAIN_BEATS))
        for a, b in pairs
    )


def _planned_s(wants: Iterable[Want], metre: int) -> float:
    """Seconds of the wants that say both bars and a tempo, at the middle of the tempos."""
    return sum(
        want.bars * metre * 60.0 / tempo
        for want in wants
        if want.bars and (tempo := _middle_bpm(want))
    )


def _middle_bpm(want: Want) -> float | None:
    said = [bpm for bpm in (want.tempo_from_bpm, want.tempo_to_bpm) if bpm]
    return sum(said) / len(said) if said else None


def _echoes(idea: Idea, texts: Iterable[str]) -> tuple[tuple[str, int], ...]:
    """Words of four letters or more, since shorter ones say nothing."""
    told = [set(re.findall(r"\w{4,}", fold(text))) for text in texts]
    asked = dict.fromkeys(re.findall(r"\w{4,}", fold(f"{idea.theme} {idea.feel}")))
    counts = ((word, sum(word in words for words in told)) for word in asked)
    return tuple((word, count) for word, count in counts if count)


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"
