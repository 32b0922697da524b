"""Takes found in the position stream by themselves: where each begins, ends, or is given up.

A take begins when the records play and the follower is sure where they are. It is complete when
the last set piece's last beat has passed. When both records stand for longer than a bar it is over
too: early when no more than a bar was left to play, else abandoned, as it is when nothing is heard
any more, or when it is begun anew. About a bar is no take: a record tried out, or wound past the
cue. No clock here: time is passed in.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from liveaid.follow import Prompt
from liveaid.practice.breaks import breaks, stopped_s
from liveaid.practice.count_in import AT_CUE_S, first_cues
from liveaid.practice.mixer_trace import FaderHeard, MixerHeard, MixerTrace
from liveaid.practice.trace import Message, Trace, trace_of
from liveaid.practice.visits import Sure, Visit, visits
from liveaid.routine import SIDES, Routine, Side, Works

Ended: TypeAlias = Literal["complete", "early", "abandoned"]

TAKES_SURE = 0.6
"""Confidence from which the follower's word counts, whether it calls itself sure or not: a place
must lead to the next for a beat, and the records' own positions are held against it at the end."""
UNSURE_FOR_BEATS = 16.0
"""Longest stretch before the last beat in which the follower may have lost its way."""
BEGINS_AFTER_BEATS = 1.0
"""Beats played before a take is one: a record let go by chance is none."""
TAKES_LEAD_S = 2.0
"""Messages kept from before the first beat."""
TAKES_TAIL_S = 0.45
"""Heard out after the last beat, so that a late stop is in the take."""
SILENT_S = 3.0
TAKES_LONGEST_S = 1800.0
LONGEST_WAIT_S = 600.0
"""How long messages are kept while no take is found in them."""
TAKES_MOST = 1_000_000
"""Messages kept at most, some 120 MB: half an hour of two decks at 250 a second each."""
_TAKES_STOOD_S = 0.6
_JUMP_S = 0.15
_TAKES_MOVED_S = 0.02
_STEP_S = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One attempt: when, how it ended, what was gone through, and every message of it."""

    start_s: float
    """Monotonic second of its first beat."""
    end_s: float
    ended: Ended
    visits: tuple[Visit, ...]
    trace: Trace
    mixer: MixerTrace = ()
    """What the mixer told meanwhile, and where its faders stood before."""


@dataclass(slots=True)
class _Stillness:
    """When a record last moved: by more than a trembling hand's way in a quarter second."""

    seen: dict[Side, tuple[float, float]] = field(default_factory=dict)
    moved_s: float = float("-inf")
    began_s: float = float("-inf")
    """When the records began to move after both had stood for a while."""
    stood: dict[Side, float] = field(default_factory=dict)
    """Where each stood then."""

    last: dict[Side, tuple[float, float]] = field(default_factory=dict)

    def hear(self, side: Side, position_s: float, now: float) -> None:
        before_s, before = self.last.get(side, (now, position_s))
        self.last[side] = (now, position_s)
        at, place = self.seen.get(side, (now, position_s))
        if abs(position_s - before) > _JUMP_S and (now - before_s < 0.1 or now - before_s > 1.0):
            # A cue called up, or the needle set down: it is elsewhere, but no hand moved it.
            self.seen[side] = (now, position_s)
        elif abs(position_s - place) > _TAKES_MOVED_S:
            if now - self.moved_s > _TAKES_STOOD_S:
                self.began_s = at
                self.stood = {side: place for side, (_, place) in self.seen.items()}
            self.moved_s = now
            self.seen[side] = (now, position_s)
        elif now - at >= _STEP_S or side not in self.seen:
            self.seen[side] = (now, position_s)


class TakeFinder:
    """Tell it every message and prompt in order of time; it hands back each take that ended."""

    def __init__(self, routine: Routine, mixer: MixerHeard | None = None) -> None:
        self.routine = routine
        self._last = len(routine.pieces) - 1
        self._cues = first_cues(routine)
        self._spans = _spans_of_hands(routine)
        self._still = _Stillness()
        self._messages: deque[Message] = deque()
        self.mixer = mixer or MixerHeard()
        """The faders, which stand where they stood whatever is practised next."""
        self._heard_s = float("-inf")
        self._after_s = float("-inf")
        """Where the take before ended: nothing earlier belongs to the next."""
        self._places: list[Sure] = []
        self._begun = False

    @property
    def playing(self) -> bool:
        """Whether a take is on."""
        return self._begun

    @property
    def moved_s(self) -> float:
        """When a record last moved; minus infinity before the first."""
        return self._still.moved_s

    def bars_left(self, now: float) -> int | None:
        """Bars left of the set piece, the current one counted, while a take is on."""
        if not self._begun:
            return None
        last = self._places[-1]
        beat = last.beat + (now - last.now_s) / last.beat_s
        bars = self.routine.bar_count(last.piece)
        return max(0, bars - int(beat // self.routine.metre))

    @property
    def held(self) -> int:
        """How many messages are kept in memory."""
        return len(self._messages)

    def hear(self, side: Side, *, position_s: float, now: float) -> None:
        """One deck's position."""
        self._messages.append((now, side, position_s))
        if len(self._messages) > TAKES_MOST:
            self._thin()
        self._still.hear(side, position_s, now)
        self._heard_s = now
        if not self._begun:
            still = now - self._still.moved_s > _TAKES_STOOD_S
            keep_s = now if still else max(self._still.began_s, now - LONGEST_WAIT_S)
            self._forget(keep_s - TAKES_LEAD_S)

    def _thin(self) -> None:
        """Let go of each deck's every second message: a long take is told whole, less finely."""
        keeps = {side: itertools.cycle((True, False)) for side in SIDES}
        self._messages = deque(m for m in self._messages if next(keeps[m[1]]))

    def hear_mixer(self, message: FaderHeard) -> None:
        """A fader at a new place."""
        self.mixer.hear(message)
        if not self._begun:
            self.mixer.forget(message.now_s - LONGEST_WAIT_S)

    def _forget(self, before_s: float) -> None:
        while self._messages and self._messages[0][0] < before_s:
            self._messages.popleft()
        self.mixer.forget(before_s)

    def tell(self, prompt: Prompt, *, now: float) -> list[Take]:
        """The follower's word at a time; the takes that ended by it, mostly none.

        More than one when a false start came before and was told apart only afterwards.
        """
        place = self._placed(prompt, now)
        if not self._begun:
            self._gather(place)
            return []
        if place is not None and self._anew(place):
            over = self._over(now)
            starts_s = place.now_s - place.beat * place.beat_s
            return self._end("complete" if over else "abandoned", starts_s, place)
        if place is not None:
            self._places.append(place)
        last = self._places[-1]
        ends_s = self._ends_s(last)
        if (
            last.piece == self._last
            and now >= ends_s + TAKES_TAIL_S
            and self._reached(prompt, last)
        ):
            return self._end("complete", ends_s, None)
        return self._given_up(now, last)

    def finish(self) -> list[Take]:
        """The take that is on as the session ends, abandoned; none when there is none."""
        return self._end("abandoned", self._places[-1].now_s, None) if self._begun else []

    def _placed(self, prompt: Prompt, now: float) -> Sure | None:
        if self._spans and self._since_start(now) is not None:
            return self._by_the_clock(prompt, now)
        piece, beat, tempo = prompt.piece, prompt.beat_position, prompt.tempo
        heard = prompt.state in ("following", "unsure") and prompt.confidence >= TAKES_SURE
        if not heard or not prompt.bars_left:
            return None
        if piece is None or not beat or not tempo or now - self._still.moved_s > _STEP_S * 2:
            return None
        if not 0.5 < tempo / self.routine.pieces[piece.index].tempo_bpm < 1.6:
            return None
        return Sure(now, piece.index, beat, 60.0 / tempo)

    def _since_start(self, now: float) -> float | None:
        """Seconds since both records began to move from the first cues; None when they did not."""
        stood = self._still.stood
        at_cues = all(
            side in stood and abs(stood[side] - cue) <= AT_CUE_S for side, cue in self._cues.items()
        )
        return now - self._still.began_s if at_cues else None

    def _by_the_clock(self, prompt: Prompt, now: float) -> Sure | None:
        """The place in a set piece that is practised alone and lies in the hands only.

        One beat of it is much like another for the follower; that it was begun from its cues, and
        the records' being in their spans, tells more.
        """
        since_s, tempo = self._since_start(now), self.routine.pieces[0].tempo_bpm
        reach = self.routine.turntable.pitch_range_percent / 100.0 + 0.02
        if prompt.tempo and abs(prompt.tempo / tempo - 1.0) < reach:
            tempo = prompt.tempo
        beat_s = 60.0 / tempo
        if since_s is None or not 0 < since_s < self.routine.beats(0) * beat_s:
            return None
        inside = all(
            side in self._still.last and low - 0.5 < self._still.last[side][1] < high + 0.5
            for side, (low, high) in self._spans.items()
        )
        moving = now - self._still.moved_s < 2 * beat_s
        return Sure(now, 0, since_s / beat_s, beat_s) if inside and moving else None

    def _over(self, now: float) -> bool:
        """Whether the routine's last beat has come by the last place told."""
        last = self._places[-1]
        return last.piece == self._last and now >= self._ends_s(last) - last.beat_s

    def _gather(self, place: Sure | None) -> None:
        """Collect places until they make a take: the same way on for a beat or more."""
        if place is None:
            return
        if self._places and not _follows(self._places[-1], place, self.routine):
            self._places = []
        self._places.append(place)
        first = self._places[0]
        played = place.beats_in(self.routine) - first.beats_in(self.routine)
        long = place.now_s - first.now_s >= 0.95 * BEGINS_AFTER_BEATS * place.beat_s
        self._begun = long and played >= 0.7 * BEGINS_AFTER_BEATS

    def _anew(self, place: Sure) -> bool:
        """Whether this is the routine begun again, and not a set piece repeated on the way."""
        last = self._places[-1]
        if place.piece > 0 or place.beat > 2 * self.routine.metre:
            return False
        back = last.beats_in(self.routine) - place.beats_in(self.routine)
        return back > 2.0 and (last.piece != 1 or back > 2 * self.routine.beats(0))

    def _ends_s(self, last: Sure) -> float:
        """When the last place's set piece is over, at the tempo it had."""
        return last.now_s + (self.routine.beats(last.piece) - last.beat) * last.beat_s

    def _reached(self, prompt: Prompt, last: Sure) -> bool:
        """Whether the routine's last beat was come to: so the follower says, or was sure shortly
        before, and the records were moved all the way."""
        left = self.routine.beats(last.piece) - last.beat
        over = prompt.bars_left == 0 and left <= UNSURE_FOR_BEATS
        moved = self._still.moved_s >= self._ends_s(last) - 1.5 * last.beat_s
        # Where only the clock counts, it counts on when the hands have stopped.
        counted = not self._spans and (over or left < 1.5)
        return counted or (moved and left <= UNSURE_FOR_BEATS)

    def _given_up(self, now: float, last: Sure) -> list[Take]:
        bar_s = self.routine.metre * last.beat_s
        if now - self._still.moved_s > max(1.5, 1.25 * bar_s):
            return self._end(self._as_stopped(last), self._still.moved_s, None)
        if now - self._heard_s > SILENT_S or now - self._places[0].now_s > TAKES_LONGEST_S:
            return self._end("abandoned", self._heard_s, None)
        return []

    def _as_stopped(self, last: Sure) -> Ended:
        """How a take ended whose records stopped, by what was left to play of the routine then."""
        if last.piece != self._last:
            return "abandoned"
        left = (self._ends_s(last) - self._still.moved_s) / last.beat_s
        if abs(left) < 1.0:
            return "complete"
        return "early" if 0.0 < left < self.routine.metre + 1.0 else "abandoned"

    def _end(self, ended: Ended, end_s: float, after: Sure | None) -> list[Take]:
        """The take that ended, and the false starts that came before it."""
        whole = trace_of(m for m in self._messages if m[0] <= end_s + TAKES_TAIL_S)
        if after and ended == "abandoned":
            end_s = stopped_s(self.routine, whole, end_s)
        found: list[Take | None] = []
        for gap in breaks(self.routine, whole, self._places):
            before = [place for place in self._places if place.now_s <= gap.start_s]
            if before:
                found.append(self._take("abandoned", gap.start_s, before, whole))
            self._after_s = gap.start_s
            self._still.began_s = gap.end_s
            self._places = [place for place in self._places if place.now_s > gap.end_s]
        if self._places:
            found.append(self._take(ended, end_s, self._places, whole))
        self._after_s = end_s
        self._begun = False
        self._places = [after] if after else []
        self._forget(end_s - TAKES_LEAD_S)
        return [take for take in found if take is not None]

    def _take(
        self, ended: Ended, end_s: float, places: Sequence[Sure], trace: Trace
    ) -> Take | None:
        """One take from where the records began to move; None when it was about a bar."""
        began_s = max(self._still.began_s, self._after_s)
        # Where nothing but the clock counts, places are told for a moment after the records stop.
        places = [place for place in places if place.now_s <= end_s] or places[:1]
        gone = visits(self.routine, places, trace, began_s, end_s)
        gone[-1] = replace(gone[-1], end_s=max(end_s, gone[-1].start_s))
        if ended == "complete" and gone[-1].piece == self._last:
            gone[-1] = replace(gone[-1], to_beat=float(self.routine.beats(self._last)))
        start_s = max(gone[0].start_s, self._after_s)
        bar_s = self.routine.metre * self.routine.pieces[gone[0].piece].beat_s
        least_s = (0.8 if ended == "complete" else 1.25) * bar_s
        if end_s - start_s < least_s:
            return None
        first_s, last_s = start_s - TAKES_LEAD_S, end_s + TAKES_TAIL_S
        heard = {side: deck.between(first_s, last_s) for side, deck in trace.items()}
        mixer = self.mixer.between(first_s, last_s)
        return Take(start_s, end_s, ended, tuple(gone), heard, mixer)


def _spans_of_hands(routine: Routine) -> dict[Side, tuple[float, float]]:
    """The spans of a set piece that is all there is, and in which no deck runs; else none."""
    piece = routine.pieces[0]
    if len(routine.pieces) > 1 or piece.running:
        return {}
    plans = {side: piece.plan(side) for side in SIDES}
    return {
        side: (plan.from_s or 0.0, plan.to_s or 0.0)
        for side, plan in plans.items()
        if isinstance(plan, Works)
    }


def _follows(before: Sure, place: Sure, routine: Routine) -> bool:
    """Whether one place is where the other would have gone on to, to within a beat."""
    if place.now_s - before.now_s > 2.0:
        return False
    ahead = before.beat + (place.now_s - before.now_s) / before.beat_s
    if place.piece == before.piece:
        return abs(place.beat - ahead) < 1.0
    beats = routine.beats(before.piece)
    return place.piece == before.piece + 1 and abs(place.beat + beats - ahead) < 1.0
