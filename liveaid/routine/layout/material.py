"""What must be known of each sound before it is laid on a deck: length, grid, first onset; and a
stretch of one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

from liveaid.routine.layout.evened import Evened, counted_as, evened
from liveaid.routine.model import Kind, Routine, Runs, Side, Sound, Works

LOOP_TOLERANCE = 0.005
"""How far a loop's stated tempo may be from the one its length gives: map tempos are rounded."""
STUDY_TRUSTED = 0.3
"""A studied tempo below this confidence is not built on; the map has to say."""


class SoundFacts(Protocol):
    """What a study says of a sound; `liveaid.study.Study` is one. None: nothing."""

    @property
    def tempo(self) -> float | None:
        """BPM of its steady grid."""

    @property
    def tempo_confidence(self) -> float:
        """0 to 1."""

    @property
    def first_beat(self) -> float | None:
        """Second of its first beat."""

    @property
    def beats_s(self) -> Sequence[float]:
        """Seconds of its beats where they had to be followed; empty where one grid tells them."""

    @property
    def kind(self) -> Kind | None:
        """What kind of sound it is."""

    @property
    def onsets_s(self) -> Sequence[float]:
        """Seconds at which something begins in it."""

    @property
    def silence_start_s(self) -> float:
        """Seconds of silence before the first sound."""

    @property
    def rhythmic(self) -> str:
        """Why there is no tempo; empty when there is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One sound as it lies in its file. Seconds count from the file's first frame; where its beats
    are followed, `first_beat_s` is an even second (see `evened`)."""

    name: str
    frames: int
    rate_hz: int
    tempo_bpm: float | None = None
    """BPM of its grid; None when neither the map nor the study says."""
    no_beat: str = ""
    """Why the study hears no beat, where it says so."""
    first_beat_s: float = 0.0
    first_onset_s: float = 0.0
    """Where a hand sets the cue when the sound is worked from its start."""
    loop_beats: int | None = None
    """Whole beats the file may be repeated in; None when it is no loop."""
    gridded: bool = False
    """Whether it goes to the set piece's tempo even where a hand works it."""
    evened: Evened | None = None
    """Its even seconds, where the tempo moves and is followed beat by beat."""
    stretch: bool = False
    digest: str = ""
    """Hash of the file's bytes: what the cache of rendered passages goes by."""

    @property
    def duration_s(self) -> float:
        """Seconds in the file."""
        return self.frames / self.rate_hz

    def seconds(self, file_s: float, *, even: bool) -> float:
        """A second of the file as layout counts: even where its beats are followed there."""
        return self.evened.to_even(file_s) if even and self.evened else file_s

    def beat_s(self) -> float:
        """Seconds of one beat; ValueError when the tempo is not known."""
        if self.tempo_bpm is None:
            raise ValueError(f"{self.name}: no tempo")
        return 60.0 / self.tempo_bpm


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A stretch of one sound, or of silence, at one speed."""

    sound: str
    """Its name; empty for silence."""
    speed: float
    """Seconds of the sound in one second of the deck file."""
    start_s: float
    """Second of the sound; beyond its end in a loop, which then comes round."""
    length_s: float
    """Deck seconds."""
    even: bool = False
    """Whether the sound's beats are followed: its seconds are even ones."""

    def in_sound(self, deck_s: float) -> float:
        """The second of the sound at so many deck seconds into the stretch."""
        return self.start_s + deck_s * self.speed

    def in_file(self, material: Material) -> tuple[Segment, ...]:
        """The same in the file's own seconds: one piece, or one to each straight stretch between
        beats that were followed."""
        if not self.even or material.evened is None:
            return (self,)
        pieces = material.evened.stretches(self.start_s, self.length_s * self.speed)
        return tuple(
            Segment(
                sound=self.sound,
                speed=self.speed * lasts_s / even_s,
                start_s=start_s,
                length_s=even_s / self.speed,
            )
            for start_s, lasts_s, even_s in pieces
        )


def _on_its_grid(
    material: Material, sound: Sound, study: SoundFacts | None, *, wanted_bpm: float
) -> Material:
    """The sound on the grid the map states, else the studied one in the octave nearest to
    `wanted_bpm`.

    A loop's tempo is set by its length: whole beats over the file's seconds, which is exact where
    the map's figure is rounded.
    """
    tempo = sound.tempo_bpm
    if tempo is None and study and study.tempo and study.tempo_confidence >= STUDY_TRUSTED:
        tempo = _nearest_octave(study.tempo, wanted_bpm)
    first_beat = sound.first_beat_s
    if first_beat is None:
        first_beat = 0.0 if sound.loop or study is None else study.first_beat or 0.0
    if tempo is not None and (even := _followed(sound, study, tempo)) is not None:
        nearest = 0.0 if sound.first_beat_s is None else even.to_even(first_beat) - even.even_s[0]
        beat_s = 60.0 / tempo
        first_beat = even.even_s[0] + round(nearest / beat_s) * beat_s
        return replace(material, tempo_bpm=tempo, first_beat_s=first_beat, evened=even)
    stated = replace(material, tempo_bpm=tempo, first_beat_s=first_beat)
    if not sound.loop or tempo is None:
        return stated
    beats = round(material.duration_s * tempo / 60.0)
    off = abs(material.duration_s * tempo / 60.0 - beats)
    if beats < 1 or off > min(0.25, LOOP_TOLERANCE * beats):
        return stated
    return replace(stated, tempo_bpm=60.0 * beats / material.duration_s, loop_beats=beats)


def _followed(sound: Sound, study: SoundFacts | None, tempo_bpm: float) -> Evened | None:
    """The even seconds of a sound whose tempo moves; None where one grid holds or the map, by
    `follow: no` or by stating tempo and first beat, wants one."""
    stated = sound.tempo_bpm is not None and sound.first_beat_s is not None
    follow = not stated if sound.follow is None else sound.follow
    if not follow or sound.loop or study is None or not study.beats_s or study.tempo is None:
        return None
    beats_s = counted_as(study.beats_s, study.tempo, tempo_bpm)
    return None if beats_s is None else evened(beats_s, tempo_bpm)


def _nearest_octave(tempo_bpm: float, wanted_bpm: float) -> float:
    """The tempo, its half or its double, whichever is nearest to the wanted one by ratio."""
    return float(tempo_bpm * 2.0 ** round(math.log2(wanted_bpm / tempo_bpm)))


Place: TypeAlias = tuple[int, Side, Runs | Works]
"""A set piece, a deck, and what it does there with the sound."""


def material_of(
    routine: Routine,
    name: str,
    places: Sequence[Place],
    *,
    frames: int,
    rate_hz: int,
    study: SoundFacts | None,
    digest: str = "",
) -> Material:
    """One sound as the map and its study tell it; the map goes first.

    `places`: where it is played, in play order; `frames` and `rate_hz`: its length.
    """
    sound = routine.sounds[name]
    kind = sound.kind or (study.kind if study else None)
    runs_somewhere = any(isinstance(plan, Runs) for _, _, plan in places)
    bare = Material(
        name=name,
        frames=frames,
        rate_hz=rate_hz,
        gridded=sound.tempo_bpm is not None or kind == "instrumental" or runs_somewhere,
        stretch=sound.stretch,
        no_beat=study.rhythmic if study else "",
        digest=digest,
    )
    wanted = routine.pieces[places[0][0]].tempo_bpm
    found = _on_its_grid(bare, sound, study, wanted_bpm=wanted)
    return replace(found, first_onset_s=_first_onset_s(sound, study, found.first_beat_s))


def _first_onset_s(sound: Sound, study: SoundFacts | None, first_beat_s: float) -> float:
    """Where a hand sets the cue: the map's first beat, else the first onset, or first sound."""
    if sound.first_beat_s is not None or study is None:
        return first_beat_s
    return study.onsets_s[0] if study.onsets_s else study.silence_start_s
