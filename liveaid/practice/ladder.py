"""The tempo ladder: slower first, up after clean takes in a row, down after misses."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from liveaid.errors import UsageError
from liveaid.record.platter import pitch_percent


@dataclass(frozen=True, slots=True)
class Ladder:
    """Rungs of a set piece's tempo, within what the pitch fader reaches.

    The performer plays a rung by setting `pitch_percent` on both turntables.
    """

    full_tempo_bpm: float
    pitch_range_percent: float
    start_part: float = 0.7
    """Part of the full tempo wanted for the first rung."""
    step_part: float = 0.02
    decks_parts: tuple[float, ...] = (1.0,)
    """Parts of full tempo that there are deck files for; the fader bends each by its reach."""
    up_after: int = 3
    """Clean takes in a row that earn a rung."""
    down_after: int = 2
    """Takes in a row that were not clean, and cost one."""
    rung: int = 0
    clean_run: int = 0
    missed_run: int = 0
    parts: tuple[float, ...] = field(init=False)
    """Part of full tempo of every rung, rising, the last one 1."""

    def __post_init__(self) -> None:
        if not 0 < self.start_part <= 1:
            raise UsageError(f"start at {self.start_part:.0%}: above 0 % and up to 100 % would do")
        if self.step_part <= 0 or self.up_after < 1 or self.down_after < 1:
            raise UsageError("ladder: a step above 0 % and runs of 1 take or more would do")
        least = min(self.decks_parts) * (1 - self.pitch_range_percent / 100)
        lowest = max(self.start_part, least)
        object.__setattr__(self, "parts", _rungs(lowest, self.step_part))

    @property
    def part(self) -> float:
        """Part of full tempo on this rung, 0 to 1."""
        return self.parts[self.rung]

    @property
    def tempo_bpm(self) -> float:
        """Tempo of this rung."""
        return self.full_tempo_bpm * self.part

    @property
    def pitch_percent(self) -> float:
        """Pitch to set on both turntables, per cent; never beyond the fader."""
        return pitch_percent(self.full_tempo_bpm * self.decks_part, self.tempo_bpm)

    @property
    def decks_part(self) -> float:
        """The fastest deck files that the fader brings down to this rung."""
        reach = 1 - self.pitch_range_percent / 100
        fit = [made for made in self.decks_parts if made * reach <= self.part + 1e-9]
        return max(fit, default=min(self.decks_parts))

    @property
    def held_up(self) -> bool:
        """Whether the wanted start lies beyond the fader, so that the ladder starts higher."""
        return self.parts[0] > self.start_part + 1e-9

    @property
    def at_top(self) -> bool:
        """Whether this is full tempo."""
        return self.rung == len(self.parts) - 1

    @property
    def says(self) -> str:
        """What to set both turntables to."""
        tempo = f"{self.tempo_bpm:.1f} BPM, {self.part:.0%} of full tempo"
        return f"Pitch {self.pitch_percent:+.1f} %: {tempo}."

    def stepped(self, rungs: int) -> Ladder:
        """The ladder so many rungs up, below 0 down, as far as it goes."""
        rung = min(max(self.rung + rungs, 0), len(self.parts) - 1)
        return replace(self, rung=rung, clean_run=0, missed_run=0)

    def after(self, *, clean: bool) -> Ladder:
        """The ladder after one more take."""
        if clean:
            run = self.clean_run + 1
            if run >= self.up_after and not self.at_top:
                return replace(self, rung=self.rung + 1, clean_run=0, missed_run=0)
            return replace(self, clean_run=run, missed_run=0)
        run = self.missed_run + 1
        if run >= self.down_after and self.rung > 0:
            return replace(self, rung=self.rung - 1, clean_run=0, missed_run=0)
        return replace(self, clean_run=0, missed_run=run)


def _rungs(lowest: float, step: float) -> tuple[float, ...]:
    """Even steps down from full tempo to the lowest, which is a rung of its own."""
    count = int((1 - lowest) / step + 1e-9)
    parts = [1 - step * index for index in range(count + 1)]
    if parts[-1] - lowest > 1e-9:
        parts.append(lowest)
    return tuple(round(part, 9) for part in reversed(parts))
