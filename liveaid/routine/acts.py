"""Acts: what a hand does with a record on each beat, and when the fader is open.

`acts_of` is what every room reads: the map's lines, figures and strokes worked out, each act with
its place on the record. Between two acts the record stands, unless the first let it go; where the
next one begins elsewhere, an act of bringing it there lies between, in whatever time there is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from liveaid.routine.act_line import ActKind, Over
from liveaid.routine.act_moves import Move, moves_of
from liveaid.routine.figure_book import Book, Path
from liveaid.routine.model import SIDES, Piece, Rests, Routine, Runs, Side, Works
from liveaid.routine.once import once
from liveaid.routine.parts import PartAt, laid_parts
from liveaid.routine.problems import Hindrance

RUNNING: tuple[ActKind, ...] = ("let go", "set pitch")
"""Acts during which the platter turns the record."""
STROKES: tuple[ActKind, ...] = ("push", "pull")
BROUGHT: tuple[ActKind, ...] = ("wind", "back-cue", "needle")
"""Acts that bring the record to another place unheard."""
STANDING: tuple[ActKind, ...] = ("catch", "hold")
BARE_STROKE_TURNS = 0.25
"""How far a stroke goes in a span without named parts (common practice, no source)."""
SPIN_BACK_TURNS = 2.0
"""How far a record is spun back where the line does not say (common practice, no source)."""
PAST_S = 0.04
"""A record may run so far past its part: there is silence beside it (`parts.GAP_S`)."""
SAME_PLACE_S = 1e-4
_SAME_BEAT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One thing one hand does with one record: from when to when, from which place to which."""

    kind: ActKind
    side: Side
    piece: int
    beat: float
    """Beats from the set piece's start; below 0 for a pick-up into it."""
    beats: float
    """How long it lasts."""
    part: str | None = None
    """The part it takes place on; None in the plan's own span."""
    sound: str | None = None
    from_s: float
    """Second of the deck file where the record stands as it begins; before a map is placed, second
    from the begin of what the set piece has on the record."""
    to_s: float
    """Where it stands or runs as it ends."""
    speed: float = 1.0
    """Of a record let go: 1.0 at pitch 0."""
    open: tuple[tuple[float, float], ...] = ()
    """Beats of the set piece between which the fader is open."""
    rolled: bool = False
    """Whether several fingers open the fader in turn."""
    figure: str = ""
    """The figure it belongs to."""
    written: bool = True
    """False for the bringing that lies between two written acts."""
    path: Path = ()
    """The line of the map it comes from."""

    @property
    def end_beat(self) -> float:
        """The beat at which it ends."""
        return self.beat + self.beats

    def follows(self, before: Act) -> bool:
        """Whether it begins as another act ends."""
        return self.beat - before.end_beat < _SAME_BEAT

    @property
    def way_s(self) -> float:
        """Seconds of record moved, above 0 forward."""
        return self.to_s - self.from_s

    @property
    def heard(self) -> bool:
        """Whether the fader is open in any of it."""
        return bool(self.open)


@dataclass(frozen=True, slots=True)
class Worked:
    """One deck's acts in one set piece, and all that is wrong in its lines."""

    acts: tuple[Act, ...]
    faults: tuple[Hindrance, ...]
    parts: Mapping[str, PartAt]


def acts_of(routine: Routine, piece: int, side: Side) -> tuple[Act, ...]:
    """The acts of one deck in one set piece, by beat; none where it runs, rests, or is left free.

    Raises nothing for a routine that `load_routine` has read.
    """
    return worked_out(routine, piece, side).acts


def written_out(piece: Piece, side: Side) -> bool:
    """Whether a deck's acts are written out in lines, not as mere strokes or left to the hand."""
    plan = piece.plan(side)
    return isinstance(plan, Works) and (
        plan.acts is not None or plan.notes is not None or piece.juggle is not None
    )


def written_acts(routine: Routine, piece: int, side: Side) -> tuple[Act, ...]:
    """A deck's acts where the map writes them out in lines, else none.

    Bare strokes are not among them: where those leave a record is the way's own rule.
    """
    return acts_of(routine, piece, side) if written_out(routine.pieces[piece], side) else ()


def sounds_worked(routine: Routine, piece: int, side: Side) -> tuple[str, ...]:
    """The sounds one deck plays in a set piece: its plan's own, or those its acts have parts of."""
    plan = routine.pieces[piece].plan(side)
    found = [part.sound for part in worked_out(routine, piece, side).parts.values() if part.sound]
    return tuple(dict.fromkeys(found)) or ((plan.sound,) if plan.sound else ())


def sounds_used(routine: Routine) -> dict[str, list[tuple[int, Side, Runs | Works]]]:
    """Each sound that is played, with the set pieces and decks it is played on, in play order."""
    used: dict[str, list[tuple[int, Side, Runs | Works]]] = {}
    for index, piece in enumerate(routine.pieces):
        for side in SIDES:
            plan = piece.plan(side)
            if not isinstance(plan, Rests):
                for sound in sounds_worked(routine, index, side):
                    used.setdefault(sound, []).append((index, side, plan))
    return used


def fader_of(routine: Routine, piece: int) -> dict[Side, tuple[tuple[float, float], ...]]:
    """Per deck that sounds, the beats between which its fader is open, in order, none touching.

    Open throughout for a record that runs, or one whose acts are left to the hand.
    """
    whole = (0.0, float(routine.beats(piece)))
    faders: dict[Side, tuple[tuple[float, float], ...]] = {}
    for side in routine.pieces[piece].sounding:
        acts = acts_of(routine, piece, side)
        faders[side] = joined(span for act in acts for span in act.open) if acts else (whole,)
    return faders


def joined(spans: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Spans of beats (from, to) in rising order, those that touch or overlap made one."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if out and start <= out[-1][1] + _SAME_BEAT:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return tuple(out)


def acts_faults(routine: Routine) -> Iterator[Hindrance]:
    """All that is wrong in the lines of a routine: figures, parts, acts that overlap or run out."""
    own = list(Book(routine).faults())
    yield from own
    if own:
        return  # what calls a broken figure would only be told again
    for index in range(len(routine.pieces)):
        for side in SIDES:
            yield from worked_out(routine, index, side).faults


@once
def worked_out(routine: Routine, piece: int, side: Side) -> Worked:
    """The acts of one deck in one set piece with what is wrong, and where its parts lie."""
    plan = routine.pieces[piece].plan(side)
    if not isinstance(plan, Works):
        return Worked((), (), {})
    found = moves_of(routine, piece, side)
    wanted = [move.part for move in found.moves if move.part]
    parts = laid_parts(routine, piece, plan, wanted)
    hand = _Hand(routine, piece, side, plan, parts)
    acts = hand.work(found.moves)
    faults = found.faults or hand.faults  # of lines misread, the rest would only be told again
    return Worked(tuple(acts), tuple(faults), MappingProxyType(parts))


class _Hand:
    """Goes through the moves of one deck in time and finds where on the record each takes place."""

    def __init__(
        self, routine: Routine, piece: int, side: Side, plan: Works, parts: Mapping[str, PartAt]
    ) -> None:
        self._routine, self._piece, self._side = routine, piece, side
        self._parts = parts
        self._beat_s = routine.pieces[piece].beat_s
        self._turn_s = routine.turntable.turn_s
        begin = plan.cue_s or 0.0
        end = plan.to_s if plan.to_s is not None else float("inf")
        self._span = PartAt("", plan.sound, plan.from_s or 0.0, begin, max(end, begin))
        self._part = self._span
        self._at_s = begin
        self._speed = 1.0
        self._running = False
        self.faults: list[Hindrance] = []

    def work(self, moves: Sequence[Move]) -> list[Act]:
        """The acts, with the bringing between them."""
        self.faults += _overlaps(moves, float(self._routine.beats(self._piece)))
        self.faults += self._pick_up(moves)
        self.faults += self._unnamed(moves)
        acts: list[Act] = []
        if moves:
            self._stand_at_first(moves)
        for place, move in enumerate(moves):
            begins_s = self._begins_s(move)
            self._part = self._part_of(move)
            if abs(begins_s - self._at_s) > SAME_PLACE_S and move.kind not in BROUGHT:
                acts.append(self._bring(acts[-1], move, begins_s))
                self._at_s = begins_s
            acts.append(self._act(move, moves[place + 1 :]))
            self._at_s = acts[-1].to_s
            if move.kind != "set pitch":
                self._running = move.kind == "let go"
        return acts

    def _pick_up(self, moves: Sequence[Move]) -> Iterator[Hindrance]:
        """A pick-up that has no silence before it to take place in."""
        first = moves[0] if moves else None
        if first is None or first.beat >= 0.0:
            return
        before = self._piece - 1
        if before < 0:
            return  # before the routine's first beat there is all the time there is
        free = isinstance(self._routine.pieces[before].plan(self._side), Rests)
        room = self._routine.beats(before) if free else 0
        if -first.beat > room:
            would_do = (
                f"a beat from {-room:g} on would do"
                if room
                else f"a beat from 0 on would do: the {self._side} deck does not rest before it"
            )
            yield Hindrance(first.path, f"{first.kind} at beat {first.beat:g}", would_do)

    def _unnamed(self, moves: Sequence[Move]) -> Iterator[Hindrance]:
        """A first act without a part, where others have one: nothing says where it begins."""
        first = next((move for move in moves if move.kind != "set pitch"), None)
        if first is not None and first.part is None and self._parts:
            labels = ", ".join(self._parts)
            yield Hindrance(first.path, f"{first.kind} on no part", f"one of {labels} would do")

    def _stand_at_first(self, moves: Sequence[Move]) -> None:
        """The record stands at the first act's place as the set piece begins: its cue."""
        moving = [move for move in moves if move.kind != "set pitch"]
        if moving and moving[0].part is not None:
            self._at_s, self._part = self._begins_s(moving[0]), self._part_of(moving[0])

    def _part_of(self, move: Move) -> PartAt:
        """The part a move takes place on or brings the record to: its own, else the one before."""
        stays = move.part is None or (move.kind in BROUGHT and move.over is not None)
        return self._part if stays else self._parts.get(move.part or "", self._span)

    def _begins_s(self, move: Move) -> float:
        """Where a move begins: at its part's begin, a pull's end, else where the record stands."""
        if move.part is None or move.kind in BROUGHT:
            return self._at_s
        part = self._part_of(move)
        if move.kind == "pull" and part.label:
            return part.to_s
        return part.begin_s + move.at_beats * self._beat_s

    def _bring(self, before: Act, move: Move, to_s: float) -> Act:
        starts = min(before.end_beat, move.beat)
        same = before.part == (move.part or None)
        return Act(
            kind="back-cue" if same and to_s < self._at_s else "wind",
            side=self._side, piece=self._piece, beat=starts, beats=move.beat - starts,
            part=move.part or None, sound=self._part.sound, from_s=self._at_s, to_s=to_s,
            written=False, path=move.path,
        )  # fmt: skip

    def _act(self, move: Move, later: Sequence[Move]) -> Act:
        if move.percent is not None:
            self._speed = 1.0 + move.percent / 100.0
        beats = self._beats(move, later)
        from_s = self._at_s
        to_s = self._to_s(move, beats, later)
        self._running_out(move, beats, to_s)
        spans = move.open
        if spans is None:
            sounds = move.kind in (*STROKES, "let go", "spin back") or (
                move.kind == "set pitch" and to_s != from_s
            )
            spans = ((move.beat, move.beat + beats),) if sounds and beats > 0 else ()
        return Act(
            kind=move.kind, side=self._side, piece=self._piece, beat=move.beat, beats=beats,
            part=self._part.label or None, sound=self._part.sound, from_s=from_s, to_s=to_s,
            speed=self._speed, open=spans, rolled=move.rolled, figure=move.figure, path=move.path,
        )  # fmt: skip

    def _beats(self, move: Move, later: Sequence[Move]) -> float:
        """How long a move lasts: as written, else its kind's own habit, up to the next move."""
        ends = later[0].beat if later else float(self._routine.beats(self._piece))
        room = max(ends - move.beat, 0.0)
        if move.beats is not None:
            return move.beats
        if move.kind in STROKES:
            return min(0.5, room) if room > 0 else 0.5
        if move.kind == "let go":
            rest_s = max(self._part.to_s - self._at_s, 0.0)
            return min(room, rest_s / (self._speed * self._beat_s))
        if move.kind == "needle":
            return min(room, self._routine.performer.needle_s / self._beat_s)
        if move.kind == "catch":
            return 0.0
        return min(room, 1.0) if move.kind in ("wind", "back-cue", "spin back") else room

    def _to_s(self, move: Move, beats: float, later: Sequence[Move]) -> float:
        """Where the record stands or runs as the move ends."""
        if move.kind in STROKES:
            return self._stroke_to_s(move)
        if move.kind == "let go" or (move.kind == "set pitch" and self._running):
            return self._at_s + beats * self._beat_s * self._speed
        if move.kind in BROUGHT:
            return self._brought_to_s(move, later)
        if move.kind == "spin back":
            over = move.over or Over(SPIN_BACK_TURNS, "turns")
            return max(self._at_s - self._way_s(over), 0.0)
        return self._at_s

    def _running_out(self, move: Move, beats: float, to_s: float) -> None:
        """A record let run past the end of its part, into what lies beside it."""
        over_s = to_s - self._part.to_s
        if move.kind in RUNNING and self._part.label and over_s > PAST_S:
            least = beats - over_s / (self._speed * self._beat_s)
            self.faults.append(
                Hindrance(
                    move.path,
                    f"{move.kind} at beat {move.beat:g} for {beats:g}, {over_s:.2f} s past the end"
                    f" of {self._part.label}",
                    f"`for {max(least, 0.0):.3g}` or less, or a longer part, would do",
                )
            )

    def _stroke_to_s(self, move: Move) -> float:
        part, at = self._part, self._at_s
        forward = move.kind == "push"
        if move.over is not None:
            way = self._way_s(move.over)
        elif not part.label:
            way = min(BARE_STROKE_TURNS * self._turn_s, part.to_s - part.begin_s)
        else:
            way = part.to_s - at if forward else at - part.begin_s
        to = at + way if forward else at - way
        room = part.to_s - at if forward else at - part.from_s
        if way <= SAME_PLACE_S or way > room + 1e-3:
            self._no_room(move, way, room)
        return to

    def _no_room(self, move: Move, way_s: float, room_s: float) -> None:
        where = self._part.label or "the span"
        ahead = "ahead of" if move.kind == "push" else "behind"
        self.faults.append(
            Hindrance(
                move.path,
                f"{move.kind} at beat {move.beat:g} over {max(way_s, 0.0):.3g} s, with"
                f" {max(room_s, 0.0):.3g} s of {where} {ahead} it",
                "a shorter `over`, or the part named again to begin it anew, would do",
            )
        )

    def _brought_to_s(self, move: Move, later: Sequence[Move]) -> float:
        if move.over is not None:
            way = self._way_s(move.over)
            return max(self._at_s - way if move.kind == "back-cue" else self._at_s + way, 0.0)
        after = next((each for each in later if each.kind not in (*STANDING, "set pitch")), None)
        if move.part or after is None or after.part is None:
            return self._part.begin_s
        return self._begins_s(after)

    def _way_s(self, over: Over) -> float:
        whole = self._part.to_s - self._part.begin_s
        scale = {
            "of the part": whole if self._part.label else min(whole, self._turn_s),
            "turns": self._turn_s,
            "s": 1.0,
            "beats": self._beat_s,
        }
        return over.amount * scale[over.unit]


def _overlaps(moves: Sequence[Move], end: float) -> Iterator[Hindrance]:
    """Acts that begin before the one before them is done, or after the set piece is."""
    for before, after in pairwise(moves):
        ends = before.beat + (before.beats or 0.0)
        if ends > after.beat + _SAME_BEAT:
            room = after.beat - before.beat
            shorter = f", or `for {room:g}` before it," if room > 0.0 else ""
            yield Hindrance(
                after.path,
                f"{after.kind} at beat {after.beat:g}, while {before.kind} lasts from"
                f" {before.beat:g} to {ends:g}",
                f"beat {ends:g} or later{shorter} would do",
            )
    for move in moves:
        if move.beat >= end - _SAME_BEAT or move.beat + (move.beats or 0.0) > end + _SAME_BEAT:
            yield Hindrance(
                move.path,
                f"{move.kind} from beat {move.beat:g} to {move.beat + (move.beats or 0.0):g}",
                f"an end at or before beat {end:g}, the set piece's length, would do",
            )
            return
