"""All passages of both decks as sound: taken from the cache, or made, each kind of them once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from liveaid.files.workers import Workers
from liveaid.render.cache import Cache
from liveaid.render.cut import cut, recipe
from liveaid.render.edges import Samples
from liveaid.render.passage_level import Level
from liveaid.render.sources import BadSound, Sources
from liveaid.render.stretching import Stretch, stretch_apart
from liveaid.render.wish import Wish
from liveaid.routine.layout.material import Material
from liveaid.routine.layout.passage import Passage, whole_of
from liveaid.routine.problems import Hindrance

Progress: TypeAlias = Callable[[int, int, str], None]
"""progress(done, of, what): called as the work goes on."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A passage's samples and level, and whether they were there from an earlier render."""

    samples: Samples
    level: Level
    kept: bool


class Cuts:
    """The sound of every passage, by what it is made from: copies share it.

    A passage that is a part of a longer one gets that one's gain, so that both decks of a juggle
    are alike and a refrain's parts stay in proportion.
    """

    def __init__(
        self, passages: Sequence[Passage], materials: Mapping[str, Material], wish: Wish
    ) -> None:
        self._passages, self._materials, self._wish = passages, materials, wish
        self._cuts: dict[str, Cut] = {}

    def of(self, passage: Passage) -> Cut:
        """The passage as sound. KeyError before `make`, or where its sound was at fault."""
        return self._cuts[self._recipe(passage)]

    def make(
        self,
        sources: Sources,
        cache: Cache,
        workers: Workers,
        progress: Progress,
    ) -> list[Hindrance]:
        """Find or make every passage; returns what was found wrong with the sounds' samples."""
        # By sound, so that each file is read once; the longest first, since others follow it.
        wanted = {self._recipe(passage): passage for passage in self._passages}
        order = sorted(
            wanted.items(), key=lambda item: (item[1].segments[0].sound, -item[1].length_s)
        )
        stretch = stretch_apart(workers)
        faults: dict[str, Hindrance] = {}
        for done, (name, passage) in enumerate(order):
            progress(done, len(order), passage.segments[0].sound)
            found = cache.find(name)
            if found is not None:
                self._cuts[name] = Cut(*found, True)
                continue
            try:
                samples, level = self._cut(passage, sources, stretch)
            except BadSound as error:
                faults[error.name] = error.fault
                continue
            cache.keep(name, samples, level)
            self._cuts[name] = Cut(samples, level, False)
        progress(len(order), len(order), "all sounds")
        return list(faults.values())

    def _cut(self, passage: Passage, sources: Sources, stretch: Stretch) -> tuple[Samples, Level]:
        whole = whole_of(passage, self._passages)
        like = self._cuts.get(self._recipe(whole)) if whole else None
        return cut(
            passage,
            materials=self._materials,
            recorded=sources.recorded,
            rate_hz=self._wish.rate_hz,
            wanted_lufs=self._wish.loudness_lufs,
            gain_db=like.level.gain_db if like else None,
            stretch=stretch,
        )

    def _recipe(self, passage: Passage) -> str:
        whole = whole_of(passage, self._passages)
        return self._own_recipe(passage) + (
            f"\nwith the gain of\n{self._own_recipe(whole)}" if whole else ""
        )

    def _own_recipe(self, passage: Passage) -> str:
        return recipe(
            passage,
            materials=self._materials,
            rate_hz=self._wish.rate_hz,
            wanted_lufs=self._wish.loudness_lufs,
        )
