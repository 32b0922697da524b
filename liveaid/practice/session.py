"""A rehearsal as it goes: count-in, take, score, ladder, and back to the cue. No clock, no files.

Told every message and prompt with its time; says what happened as a list of records.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from typing import Literal, TypeAlias

from liveaid.follow import Prompt
from liveaid.practice.aim import Aim, played_in
from liveaid.practice.care import HandsOn
from liveaid.practice.count_in import Counter, CountIn, first_cues
from liveaid.practice.ladder import Ladder
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.records import Kept
from liveaid.practice.shift import Off, offs
from liveaid.practice.take_score import TakeScore
from liveaid.practice.takes import Take, TakeFinder
from liveaid.routine import Routine, Side
from liveaid.stage.osc import Heard

Phase: TypeAlias = Literal["wind", "ready", "count-in", "take"]

_EARLIER = 200
"""Errors kept of the takes before: some five takes of a juggle."""
TOO_SHORT = 0.25
"""A take given up before this part of it counts neither for nor against the ladder."""


class Session:
    """One rehearsal of one aim."""

    def __init__(self, aim: Aim, *, ladder: Ladder | None = None, count_in_bars: int = 1) -> None:
        self.aim, self.ladder = aim, ladder
        self.finder = TakeFinder(aim.routine)
        self.hands_on = HandsOn()
        self.takes = self.clean = self.judged = 0
        self.earlier: deque[Off] = deque(maxlen=_EARLIER)
        """Errors of the takes before, which tell what all takes are late by."""
        self._moved_s = float("-inf")
        self._counter = Counter(first_cues(aim.routine), aim.routine.metre, count_in_bars)

    def use(self, aim: Aim) -> None:
        """Go on with an edited map, or another stretch, between takes; what was counted stays."""
        self.aim = aim
        self.finder = TakeFinder(aim.routine, self.finder.mixer)
        self._moved_s = float("-inf")
        self._counter = Counter(first_cues(aim.routine), aim.routine.metre, self._counter.bars)

    @property
    def tempo_part(self) -> float:
        """Part of full tempo asked for now."""
        return self.ladder.part if self.ladder else 1.0

    @property
    def tempo_bpm(self) -> float:
        """Tempo asked for at the first beat."""
        return self.aim.asked.pieces[0].tempo_bpm * self.tempo_part

    @property
    def count_in(self) -> CountIn | None:
        """The count-in that is on, or was the last to be."""
        return self._counter.count

    @property
    def at_cue(self) -> Mapping[Side, bool]:
        """Whether each record that sounds first stands at its cue."""
        return self._counter.at_cue

    def phase(self, now: float) -> Phase:
        """What the performer is in the middle of."""
        if self.finder.playing:
            return "take"
        count = self._counter.count
        if count and now < count.first_beat_s + count.beat_s:
            return "count-in"
        cues = self._counter.at_cue
        return "ready" if cues and all(cues.values()) else "wind"

    def hear(self, side: Side, *, position_s: float, now: float) -> None:
        """One deck's position."""
        self.finder.hear(side, position_s=position_s, now=now)
        self._counter.hear(side, position_s, now)
        if self.finder.moved_s > self._moved_s:
            self._moved_s = self.finder.moved_s
            self.hands_on = self.hands_on.moved(now)

    def hear_mixer(self, message: FaderHeard) -> None:
        """A fader at a new place."""
        self.finder.hear_mixer(message)

    def hear_sent(self, heard: Heard) -> None:
        """One thing a sender told: a position, a fader's place, or what does not matter here."""
        if heard.what == "position" and heard.side is not None:
            self.hear(heard.side, position_s=heard.value, now=heard.now_s)
        elif heard.what == "crossfader":
            self.hear_mixer(FaderHeard(heard.now_s, "crossfader", heard.value))
        elif heard.what == "level" and heard.side is not None:
            self.hear_mixer(FaderHeard(heard.now_s, heard.side, heard.value))

    def tell(self, prompt: Prompt, *, now: float) -> list[Kept | CountIn]:
        """The follower's word; what ended or begins by it."""
        found: list[Kept | CountIn] = []
        found += [self._ended(take) for take in self.finder.tell(prompt, now=now)]
        begun = self._counter.tell(tempo_bpm=self.tempo_bpm, playing=self.finder.playing, now=now)
        return found + ([begun] if begun else [])

    def finish(self) -> list[Kept]:
        """The take that is on as the rehearsal ends, given up."""
        return [self._ended(take) for take in self.finder.finish()]

    @property
    def other_decks(self) -> float | None:
        """The part of full tempo whose deck files the ladder wants now; None: those there are."""
        wanted = self.ladder.decks_part if self.ladder and self.aim.decks else self.aim.decks_part
        return None if wanted == self.aim.decks_part else wanted

    def step(self, rungs: int) -> None:
        """So many rungs of the ladder up, below 0 down."""
        if self.ladder:
            self.ladder = self.ladder.stepped(rungs)

    def ask_count_in(self, now: float) -> CountIn:
        """A count-in asked for by page or pad."""
        return self._counter.begin(tempo_bpm=self.tempo_bpm, now=now)

    def scored(self, take: Kept, score: TakeScore) -> None:
        """Count a take in, and climb the ladder up or down."""
        self.takes += 1
        self.clean += score.clean
        self.judged += score.judged
        self.earlier.extend(offs(score.acts))
        if self.ladder and score.judged and not _too_short(self.aim.routine, take):
            self.ladder = self.ladder.after(clean=score.clean)

    def _ended(self, take: Take) -> Kept:
        """The take as it is to be kept and scored."""
        aim = self.aim
        return Kept(
            title=aim.routine.title, aim=aim.piece, ended=take.ended,
            duration_s=take.end_s - take.start_s, tempo_part=self.tempo_part,
            start_s=take.start_s, counted_in_s=self._counter.answered(take.start_s),
            visits=take.visits, trace=take.trace, mixer=take.mixer, sender=aim.sender,
            delays=aim.delays, played=played_in(aim), decks_part=aim.decks_part,
        )  # fmt: skip


def _too_short(routine: Routine, take: Kept) -> bool:
    if take.ended == "complete":
        return False
    beats = sum(visit.to_beat - visit.from_beat for visit in take.visits)
    return beats < TOO_SHORT * sum(routine.beats(k) for k in range(len(routine.pieces)))
