"""All rooms name one way for every change, over random maps that two hands can play.

The maps are made from random plans and laid out as render would; what is not playable with time to
spare is left out. 160 BPM and about two bars a set piece, 3 s, keep them short; a turn is 1.8 s.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from liveaid.follow import Follower
from liveaid.follow.next_cue import Here, next_cue
from liveaid.practice.aim import aim_of
from liveaid.practice.planned_acts import planned_events
from liveaid.practice.records import Kept
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.render.sheet import Printed, sheet_html
from liveaid.routine import SIDES, Routine
from liveaid.routine.layout.lay import grain_of, lay_out_decks, lay_out_routine
from liveaid.routine.layout.material import Material
from liveaid.routine.layout.uses import uses_of
from liveaid.routine.timeline import starts_s
from liveaid.routine.way import changes
from liveaid.simulate import STEADY, perform
from liveaid.stage.cues import next_cues

BEAT_S, RATE_HZ = 0.375, 44_100
SOUNDS = ("awning", "kettle", "tram")
MATERIALS = {
    name: Material(name=name, frames=600 * RATE_HZ, rate_hz=RATE_HZ, tempo_bpm=160.0, gridded=True)
    for name in SOUNDS
}


@st.composite
def plans(draw, before):
    """What a deck does next: rests, runs on, runs from elsewhere, or is worked."""
    does = draw(st.sampled_from(["rests", "rests", "on", "runs", "works"]))
    if does == "rests":
        return {"hand": "rests"}
    if does == "on" and before is not None:
        return {"hand": "runs", "sound": before["sound"], "bars_in": before["ends"]}
    sound, bars = draw(st.sampled_from(SOUNDS)), draw(st.sampled_from([0, 4, 40]))
    return {"hand": "works" if does == "works" else "runs", "sound": sound, "bars_in": bars}


@st.composite
def playable(draw):
    """A placed routine in which every change a hand makes is easy, with its layouts."""
    pieces, last = [], {"left": None, "right": None}
    for number in range(draw(st.integers(2, 5))):
        bars = draw(st.sampled_from([2, 2, 1.5, 2.25]))
        piece = {"name": f"P{number}", "bars": bars, "tempo": 160}
        for side in SIDES:
            plan = draw(plans(last[side]))
            piece[side] = plan
            ran = last[side] is not None and plan["hand"] == "rests"
            if plan["hand"] == "runs":
                last[side] = {**plan, "ends": plan["bars_in"] + bars}
            elif ran and draw(st.booleans()):  # let run through the rest, to be wanted there
                last[side] = {**last[side], "ends": last[side]["ends"] + bars}
            elif plan["hand"] == "works":
                last[side] = None
        running = [side for side in SIDES if piece[side]["hand"] == "runs"]
        piece["count"] = running[0] if running else "clock"
        piece["technique"] = "baby scratch"
        pieces.append(piece)
    sounds = {name: {"file": f"{name}.wav", "tempo": 160} for name in SOUNDS}
    written = Routine.model_validate({"title": "T", "sounds": sounds, "pieces": pieces})
    assume(any(piece["left"]["hand"] != "rests" for piece in pieces))
    laid = lay_out_routine(written, MATERIALS)
    assume(laid.placed is not None)
    assume(all(move.verdict in ("set before", "runs on", "easy") for move in changes(laid.placed)))
    uses, _ = uses_of(written, MATERIALS)
    return laid.placed, lay_out_decks(written, uses, MATERIALS, grain_of(written))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(playable())
def test_every_room_names_the_same_way_for_every_change(laid):
    routine, layouts = laid
    moves = changes(routine)
    by_itself = {(m.after, m.side) for m in moves if m.way == "runs on"}
    starts = {
        (m.after, m.side) for m in moves if routine.pieces[m.after].plan(m.side).hand == "runs"
    } - by_itself
    # practice: a start is an act of the hand exactly where the record does not run on.
    assert {
        (act.piece, act.side) for act in planned_events(routine) if act.kind == "start"
        and routine.pieces[act.piece].plan(act.side).hand == "runs"
    } == starts  # fmt: skip
    # simulator: the same records are started, the others are left alone.
    played = perform(routine, seed=1, hands=STEADY, lead_s=2.0)
    assert {
        (e.piece, e.side) for e in played.events if e.kind == "start"
        and routine.pieces[e.piece].plan(e.side).hand == "runs"
    } == starts  # fmt: skip
    # layout: a deck on which every record runs on, or was set, has nothing to wind.
    for side in SIDES:
        if layouts[side].order.wound == 0:
            assert not [m for m in moves if m.side == side and m.by_a_hand and abs(m.turns) > 1e-3]
    # stage and prompt: no cue to make ready, and no wind, for a record that runs on.
    for index, sides in enumerate(next_cues(routine)):
        for side in sides:
            later = [m for m in moves if m.side == side and m.after > index]
            assert any((m.after, m.side) not in by_itself for m in later)
    for move in moves:
        if move.before is None:
            continue
        here = Here(piece=move.silent.piece, beat=move.silent.beat - 0.01, rate_bps=None, sure=True)
        speed = 1.0 if move.still_runs else 0.0
        told = next_cue(
            routine, move.side, here, position_s=move.from_s - 0.00375 * speed, speed=speed
        )
        assert (told.after, told.way) == (move.after, move.way)
        assert (told.wind is None) == (move.way == "runs on")
    # sheet: every record that runs on is said to be there by itself, and only those.
    html = sheet_html(Printed(routine, layouts, RATE_HZ))
    assert html.count("<p>there by itself</p>") == len(by_itself)
    assert html.count("set before the start") == sum(m.way == "set before" for m in moves)
    assert grain_of(routine).turn_s == pytest.approx(1.8)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(playable())
def test_a_faultless_performance_is_ready_before_each_change_and_its_take_is_clean(laid):
    routine, _ = laid
    # A record tells the count throughout: dead air and solos are other tests'.
    assume(all("runs" in (piece.left.hand, piece.right.hand) for piece in routine.pieces))
    played = perform(routine, seed=1, hands=STEADY, lead_s=3.0)
    session, follower = Session(aim_of(routine, ""), count_in_bars=0), Follower(routine)
    prompts, takes, told_s = [], [], float("-inf")
    for message in played.messages:
        session.hear(message.side, position_s=message.position_s, now=message.now_s)
        follower.hear(message.side, position=message.position_s, now=message.now_s)
        if message.now_s - told_s >= 0.02:
            told_s = message.now_s
            prompt = follower.prompt(now=told_s)
            prompts.append((told_s, prompt))
            takes += session.tell(prompt, now=told_s)
    for step in range(250):
        now = told_s + 0.02 * step
        takes += session.tell(follower.prompt(now=now), now=now)
    for move in changes(routine):
        due_s = 3.0 + starts_s(routine)[move.after] + move.due.beat * BEAT_S
        if move.by_a_hand and move.needed_s and move.available_beats >= 2:
            late = [p for t, p in prompts if due_s - BEAT_S <= t < due_s]
            assert any(p.decks[move.side].ready for p in late), (move.after, move.side)
    ended = [take for take in takes if isinstance(take, Kept)]
    assert ended
    score = score_of(aim_of(routine, ""), ended[0])
    assert (score.missed, score.added) == (0, 0)
    assert score.verdict != "not clean", [piece.why for piece in score.pieces]
