"""Every verdict of check, just possible beside just impossible, worked out by hand.

A set piece of four bars at 120 BPM lasts 8 s, 16 beats of 0.5 s; a turn at 33 1/3 is 1.8 s. Hands
as in the table: 3 turns a second, 0.5 s to settle a turn or more, within reach 0.5 s x
log2(12 turns + 1) / log2(13) in all, the needle 3 s and 2 turns to wind, 2 beats of margin. Each
row: what the left
deck does by set pieces, what the right does, more of the routine, and what must be said of which
set piece: (rule, severity) or None for nothing of that rule above a remark.
"""

from __future__ import annotations

from typing import Any

import pytest

from liveaid.routine import Routine
from liveaid.routine.check import check
from liveaid.routine.way import changes

REST: dict[str, Any] = {"hand": "rests"}


def runs(at: float | None, **more: Any) -> dict[str, Any]:
    return {"hand": "runs", "at": at, **more}


def works(start: float, end: float, **more: Any) -> dict[str, Any]:
    return {"hand": "works", "from": start, "to": end, **more}


def routine_of(lefts, rights, *, bars=4, tempo=120, pieces=None, **more) -> Routine:
    each = pieces or [{}] * len(lefts)
    made = [
        {"name": f"P{n}", "bars": bars, "tempo": tempo, "left": left, "right": right, **own}
        for n, (left, right, own) in enumerate(zip(lefts, rights, each, strict=True))
    ]
    return Routine.model_validate({"title": "T", "pieces": made, **more})


def last_left(routine: Routine):
    return [move for move in changes(routine) if move.side == "left"][-1]


# The winding's three verdicts. Left runs 10 s to 18 s, rests so many beats while right is let go
# (in the first beat both hands are taken: release and fader), and is wanted at `cue`.
@pytest.mark.parametrize(
    ("rest_bars", "cue", "verdict", "spare"),
    [
        # 2 bars, 8 beats, 7 of them free: 3.5 s.
        # 9 turns on, 16.2 s, 34.2 s: 3 + 0.5 = 3.5 s, 7 beats: nothing to spare, but it is made.
        (2, 34.2, "tight", 0.0),
        # a tenth of a turn more: 3.5333 s, 0.0667 beats too many.
        (2, 34.38, "impossible", -0.0667),
        # 6 turns on: 2 + 0.5 = 2.5 s, 5 beats: 2 to spare, just the margin.
        (2, 28.8, "easy", 2.0),
        # 6.1 turns: 2.5333 s = 5.0667 beats, 1.9333 to spare.
        (2, 28.98, "tight", 1.9333),
        # back: 9 turns are too many, since 18 - 16.2 = 1.8 s is as far as 9 turns on.
        (2, 1.8, "tight", 0.0),
        (2, 1.62, "impossible", -0.0667),
        # 1 bar, 4 beats, 3 free, 1.5 s: 3 turns take 1 + 0.5 = 1.5 s; 12.6 s.
        (1, 12.6, "tight", 0.0),
        (1, 12.42, "impossible", -0.0667),
        # a quarter turn back, 0.45 s: 0.27024 s of 1.5 s: 1.22976 s, 2.4595 beats left.
        (1, 17.55, "easy", 2.4595),
        # 3 bars, 12 beats, 11 free, 5.5 s. The needle: 3 + 2/3 + 0.5 = 4.1667 s = 8.3333 beats,
        # however far: 2.6667 to spare at 200 turns, where by hand it would be 67 s.
        (3, 378.0, "easy", 2.6667),
        # 2 bars, 3.5 s: not even the needle reaches 200 turns, 1.3333 beats too few.
        (2, 378.0, "impossible", -1.3333),
    ],
)
def test_a_wind_against_its_rest(rest_bars, cue, verdict, spare):
    r = routine_of(
        [runs(10), REST, runs(cue)],
        [REST, runs(0), REST],
        pieces=[{}, {"bars": rest_bars}, {}],
    )
    move = last_left(r)
    assert (move.verdict, round(move.spare_beats, 4)) == (verdict, pytest.approx(spare, abs=1e-3))
    said = [f for f in check(r) if f.rule == "winding" and f.piece == 2]
    grave = {"easy": None, "tight": "warning", "impossible": "error"}[verdict]
    assert [f.severity for f in said] == ([grave] if grave else [])
    assert all(" 0.0 beats" not in f.says or verdict == "tight" for f in said)


def said_of(routine: Routine, rule: str, piece: int | None) -> str | None:
    """The gravest word of a rule on a set piece, remarks left out."""
    grades = [
        f.severity
        for f in check(routine, deck_s={"left": 60.0}, sound_s={"s": 16.0})
        if f.rule == rule and f.piece == piece and f.severity != "remark"
    ]
    return grades[0] if grades else None


JUGGLE = works(40, 42)
SOUND = {"sounds": {"s": {"file": "s.wav", "tempo": 120, "licence": "CC0-1.0"}}}
ROWS: dict[str, tuple[Any, ...]] = {
    # name: lefts, rights, more, rule, set piece, said
    # runs on: within 0.05 s of 18 s; else it has no time at all.
    "runs on": ([runs(10), runs(18.05)], [REST, REST], {}, "winding", 1, None),
    "runs on, no more": ([runs(10), runs(18.06)], [REST, REST], {}, "winding", 1, "error"),
    # let run through 8 s of rest: 26 s, and 26.06 s is 4.48 turns to wind: easy as well.
    "through a rest": (
        [runs(10), REST, runs(26.05)], [REST, runs(0), REST], {}, "winding", 2, None),
    # works on at its cue: no time needed. A cue 1 turn away in the span: 0.8333 s = 1.67 beats, and
    # a bar, 4 beats, may be given while right runs; 11 turns: 4.1667 s, more than a bar
    # before and a bar after.
    "stays at its cue": (
        [works(20, 24), works(20, 24)], [runs(0), runs(8)], {}, "winding", 1, None),
    "cue turns away": (
        [works(20, 24), works(21.8, 24)], [runs(0), runs(8)], {}, "winding", 1, "warning"),
    "cue 11 turns away in the span": (
        [works(20, 45), works(39.8, 45)], [runs(0), runs(8)], {}, "winding", 1, "error"),
    # leave a bar early and come a bar late: 8 beats, 4 s. 10.5 turns: 3.5 + 0.5 = 4 s is just made;
    # 10.6: 4.0333 s by hand is not (the needle takes 4.1667 s).
    "a bar either side": (
        [works(20, 24), works(38.9, 45)], [runs(0), runs(8)], {}, "winding", 1, "warning"),
    "more than a bar either side": (
        [works(20, 24), works(39.08, 45)], [runs(0), runs(8)], {}, "winding", 1, "error"),
    # a record that is let run may not come late: only the bar before, 2 s: 4.5 turns take 2 s.
    "a bar before a start": (
        [works(20, 24), runs(28.1)], [runs(0), runs(8)], {}, "winding", 1, "warning"),
    "more than a bar before a start": (
        [works(20, 24), runs(28.28)], [runs(0), runs(8)], {}, "winding", 1, "error"),
    # from juggle to juggle one turn of 2 beats, 1 s: 1.5 turns take 0.5 + 0.5 = 1 s.
    "a turn between juggles": (
        [works(20, 24), works(22.7, 24)], [JUGGLE, JUGGLE], {}, "winding", 1, "warning"),
    "more than a turn between juggles": (
        [works(20, 24), works(22.88, 24)], [JUGGLE, JUGGLE], {}, "winding", 1, "error"),
    # a hand: right is worked with the fader, none is free; with the fader open one is, but for the
    # first beat: 7.5 s. 5 turns back take 2.1667 s.
    "no hand free": (
        [runs(10), REST, runs(9)], [REST, works(0, 1), REST],
        {"pieces": [{}, {"technique": "transform"}, {}]}, "winding", 2, "error"),
    "a hand free": (
        [runs(10), REST, runs(9)], [REST, works(0, 1), REST],
        {"pieces": [{}, {"technique": "baby scratch"}, {}]}, "winding", 2, None),
    # the time: two set pieces of 8 s against 17 s, against 16 s to the second, and a tenth less.
    "within the limit": ([runs(0), runs(8)], [REST, REST], {"limit": "0:17"}, "time", None, None),
    "within by too little": (
        [runs(0), runs(8)], [REST, REST], {"limit": "0:16"}, "time", None, "warning"),
    "over the limit": (
        [runs(0), runs(8)], [REST, REST], {"limit": "0:15.9"}, "time", None, "error"),
    # dead air: a bar is a break, two are not.
    "a bar's break": (
        [runs(0), REST, runs(10)], [REST, REST, REST],
        {"pieces": [{}, {"bars": 1}, {}]}, "time", 1, None),
    "two bars of dead air": (
        [runs(0), REST, runs(12)], [REST, REST, REST],
        {"pieces": [{}, {"bars": 2}, {}]}, "time", 1, "warning"),
    # the pitch fader: 100 to 108 BPM is +8.0 %, to 108.1 +8.1 %.
    "within the fader": (
        [runs(0), REST], [REST, runs(0)], {"pieces": [{"tempo": 100}, {"tempo": 108}]},
        "tempo", 1, None),
    "beyond the fader": (
        [runs(0), REST], [REST, runs(0)], {"pieces": [{"tempo": 100}, {"tempo": 108.1}]},
        "tempo", 1, "warning"),
    # the record's side lasts 600 s: 592 s and 8 s fit; the deck file lasts 60 s: 52 s and 8 s fit.
    "to the file's end": ([runs(52)], [REST], {}, "reach", 0, None),
    "beyond the file's end": ([runs(52.06)], [REST], {}, "reach", 0, "error"),
    "to the side's end": ([REST], [runs(592)], {}, "reach", 0, None),
    "beyond the side's end": ([REST], [runs(592.1)], {}, "reach", 0, "error"),
    # the sound lasts 16 s, 8 bars: four from the fourth on are there, from the fifth they are not.
    "to the sound's end": ([runs(0, sound="s", bars_in=4)], [REST], SOUND, "reach", 0, None),
    "beyond the sound's end": ([runs(0, sound="s", bars_in=5)], [REST], SOUND, "reach", 0, "error"),
    # a cue in its span, and outside.
    "cue at the span's end": ([works(10, 12, cue=12)], [REST], {}, "reach", 0, None),
    "cue beyond the span": ([works(10, 12, cue=12.1)], [REST], {}, "reach", 0, "warning"),
    # clearance: CC BY with a source is settled, without one it is not.
    "credited": (
        [runs(0, sound="s")], [REST],
        {"sounds": {"s": {"file": "s.wav", "tempo": 120, "licence": "CC-BY-4.0", "source": "X"}}},
        "clearance", 0, None),
    "credit to nobody": (
        [runs(0, sound="s")], [REST],
        {"sounds": {"s": {"file": "s.wav", "tempo": 120, "licence": "CC-BY-4.0"}}},
        "clearance", 0, "warning"),
    # resampled by 3 semitones a sound is still itself: 120 x 2^(3/12) = 142.70; 142.8 is not.
    "three semitones": (
        [runs(0, sound="s")], [REST], {**SOUND, "tempo": 142.6}, "tempo", 0, None),
    "more than three semitones": (
        [runs(0, sound="s")], [REST], {**SOUND, "tempo": 142.8}, "tempo", 0, "warning"),
}  # fmt: skip


@pytest.mark.parametrize("name", ROWS)
def test_what_is_said_at_the_edge(name):
    lefts, rights, more, rule, piece, said = ROWS[name]
    assert said_of(routine_of(lefts, rights, **more), rule, piece) == said


# Hands asked for in the first beat of a set piece: (left, right), and a third one or not.
@pytest.mark.parametrize(
    ("left", "right", "third"),
    [
        # a plain start: each hand lets go or works, the fader moment comes after.
        (runs(0), works(0, 1), False),
        (runs(0), runs(0), False),
        # a stroke written on the beat of the other's start, with the fader closed by the technique.
        (runs(0), works(0, 1, strokes=[0, 8]), True),
        (runs(0), works(0, 1, strokes=[1, 8]), False),
    ],
)
def test_a_third_hand(left, right, third):
    r = routine_of([left], [right])
    over = [f for f in check(r) if f.rule == "hands" and f.piece == 0]
    assert bool(over) == third


def test_the_fader_takes_a_hand_where_other_decks_are_heard():
    # left out, right in: right is let go and the fader moved in the first beat; 7.5 s are free.
    r = routine_of([runs(10), REST, runs(9)], [REST, runs(0), REST])
    assert last_left(r).free_s == pytest.approx(7.5)
    # right was running already: only the fader moves, one hand is free throughout.
    r = routine_of([runs(10), REST, runs(9)], [runs(0), runs(8), REST])
    assert last_left(r).free_s == pytest.approx(8.0)


def test_a_worked_record_is_not_told_to_set_its_pitch():
    from liveaid.routine.check import hand_plan

    r = routine_of(
        [works(0, 2), works(0, 2)], [REST, REST], pieces=[{"tempo": 100}, {"tempo": 104}]
    )
    assert not any("pitch" in str(beat.left) + str(beat.right) for beat in hand_plan(r))


@pytest.mark.parametrize(
    ("phrase_to", "goes_on", "cut"),
    # 8 s of a sound at its own tempo from its first beat at 0.5 s: to 8.5 s. A phrase that ends at
    # 9.1 s is cut 0.6 s, 1.2 beats, before its end; one that ends at 8.6 s is as good as over.
    [(9.1, False, 0.6), (8.6, False, None), (9.1, True, None)],
)
def test_a_phrase_cut_in_mid_word(phrase_to, goes_on, cut):
    sounds = {"s": {"file": "s.wav", "tempo": 120, "first_beat": 0.5, "licence": "CC0-1.0"}}
    r = routine_of(
        [runs(0, sound="s"), runs(8, sound="s", bars_in=4) if goes_on else REST],
        [REST, runs(0)],
        sounds=sounds,
    )
    said = [
        f for f in check(r, phrases={"s": [(7.0, phrase_to)]})
        if f.rule == "sounds" and f.piece == 0
    ]  # fmt: skip
    assert [dict(f.numbers)["left_s"] for f in said] == ([pytest.approx(cut)] if cut else [])
    told = "s is cut 0.6 s before its phrase ends (1.2 beats)"
    assert [f.says for f in said] == ([told] if cut else [])


@pytest.mark.parametrize(("follows", "said"), [("P0", None), ("P2", "warning"), ("P7", "warning")])
def test_a_pair_that_belongs_together(follows, said):
    pieces = [{}, {"follows": follows}, {}]
    r = routine_of([runs(0), runs(8), runs(16)], [REST] * 3, pieces=pieces)
    assert said_of(r, "variety", 1) == said
