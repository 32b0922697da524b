"""check: can two hands play this routine, and does it work as a piece?

One module a concern; each yields findings and knows nothing of printing. Pure: lengths of files
are arguments. What common practice says is marked so beside its constant.

findings      one thing found: how grave, where, the numbers behind it, a way out
time          length against the limit, and dead air
change_rules  records wound from cue to cue, and beats that ask for a third hand
hand_plan     what each hand does in every beat
variety       techniques, sides and long work
act_rules     whether the acts can be played, and up to which tempo
demands       what an act asks of the hands, beside what they have
stroke_rules  strokes in their time and reach, and records brought to the next one
together      what acts ask of both hands at once
note_rules    what each note of a melody asks of the pitch fader
tempo_rules   tempo steps against the pitch fader
key_rules     keys that sound together
energy        the energy arc, and the idea's wants
reach         cues and spans on the record, in the file, inside their sound
sounds        sounds that cannot be had, are not studied, or are cut in a phrase
clearance     sounds whose use is not cleared
against       what a new version gains and loses
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from liveaid.routine.check.act_rules import Fastest, fastest, judge_acts
from liveaid.routine.check.change_rules import cue_text, judge_changes, judge_hands, turns_text
from liveaid.routine.check.clearance import judge_clearance, open_question
from liveaid.routine.check.energy import judge_arc, judge_idea
from liveaid.routine.check.findings import Finding, in_order
from liveaid.routine.check.hand_plan import HandSpan, hand_plan, hand_spans
from liveaid.routine.check.key_rules import judge_keys
from liveaid.routine.check.note_rules import judge_notes
from liveaid.routine.check.reach import judge_overlaps, judge_reach, judge_sound_lengths
from liveaid.routine.check.sounds import judge_faults, judge_phrases, judge_unstudied
from liveaid.routine.check.tempo_rules import judge_sounds, judge_tempo
from liveaid.routine.check.time import judge_silence, judge_time, minutes
from liveaid.routine.check.variety import judge_load, judge_variety
from liveaid.routine.model import Routine, Side
from liveaid.routine.problems import Hindrance
from liveaid.routine.way import Change, changes

__all__ = [
    "Change",
    "Fastest",
    "Finding",
    "HandSpan",
    "changes",
    "check",
    "cue_text",
    "fastest",
    "hand_plan",
    "hand_spans",
    "minutes",
    "open_question",
    "turns_text",
]


_BY_THE_MAP: tuple[Callable[[Routine], Iterator[Finding]], ...] = (
    judge_time,
    judge_silence,
    judge_changes,
    judge_hands,
    judge_acts,
    judge_notes,
    judge_load,
    judge_variety,
    judge_tempo,
    judge_sounds,
    judge_keys,
    judge_arc,
    judge_idea,
    judge_overlaps,
    judge_clearance,
)
"""Rules that need no more than the map."""


def check(
    routine: Routine,
    *,
    deck_s: Mapping[Side, float] | None = None,
    sound_s: Mapping[str, float] | None = None,
    faults: Sequence[Hindrance] = (),
    unstudied: Sequence[str] = (),
    phrases: Mapping[str, Sequence[tuple[float, float]]] | None = None,
    line_of: Callable[[tuple[str | int, ...]], int] | None = None,
) -> tuple[Finding, ...]:
    """All that can be said of a routine before it is played, gravest first.

    `deck_s`: length of each deck's file, `sound_s`: of each sound's file, in seconds, where they
    are known. `faults`: what keeps its sounds from being laid out; `unstudied`: those of which
    nothing is known; `phrases`: from and to of what is spoken or sung; `line_of`: the map's line of
    a field. Works for maps with and without deck-file seconds; says what it cannot judge.
    """
    findings = [
        *(finding for judge in _BY_THE_MAP for finding in judge(routine)),
        *judge_reach(routine, deck_s or {}),
        *judge_sound_lengths(routine, sound_s or {}),
        *judge_unstudied(routine, unstudied),
        *judge_phrases(routine, phrases or {}),
    ]
    return in_order([*findings, *judge_faults(routine, faults, findings, line_of)])
