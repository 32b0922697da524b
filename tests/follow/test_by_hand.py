"""Exact hands that fool a follower of positions: slow drags, a tighter juggle, pre-listening.

Common practice, no source. 100 BPM is .6 s a beat; true set piece and beat are worked out by the
clock: a set piece of 16 beats lasts 9.6 s, one of 24 beats 14.4 s.
"""

import numpy as np
import pytest

from liveaid.follow import Follower
from liveaid.routine import Routine

BEAT_S = 0.6


def works(from_s, to_s):
    return {"hand": "works", "from": from_s, "to": to_s}


def runs(at_s):
    return {"hand": "runs", "at": at_s}


def routine_of(*pieces):
    said = [{"tempo": 100, "name": str(number), **piece} for number, piece in enumerate(pieces)]
    return Routine.model_validate({"title": "By hand", "pieces": said})


def looks(play, routine, left, right, start_s, end_s):
    """Prompts every .1 s, and the beats of the routine gone by."""
    follower, told = Follower(routine), []
    play(follower, left, right, 0.0, start_s)
    for step in range(round((end_s - start_s) * 10)):
        now = start_s + step / 10
        play(follower, left, right, now, now + 0.1)
        told.append(((now + 0.1) / BEAT_S, follower.prompt(now=now + 0.1)))
    return told


def names(told):
    """The set pieces told, in order, each time one gives way to another."""
    indices = [prompt.piece.index for _, prompt in told]
    return [i for k, i in enumerate(indices) if k == 0 or i != indices[k - 1]]


def test_slow_drags_set_no_tempo(play):
    """Two beats long at .55 of the speed, 1.2 s and .66 s of record, every four beats, for 32."""
    drags = routine_of(
        {"bars": 4, "count": "right", "right": runs(12.0)},
        {"bars": 8, "count": "clock", "left": works(44.0, 46.0)},
    )

    def left(now):
        since_s = (now - 9.6) % 2.4
        if now < 9.6:
            return 44.0
        return 44.0 + max(0.55 * min(since_s, 1.2) - 3.0 * max(since_s - 1.2, 0.0), 0.0)

    told = looks(play, drags, left, lambda now: 12.0 + min(now, 9.6), 10.2, 28.2)
    assert names(told) == [1]
    for beats, prompt in told:
        assert prompt.beat_position == pytest.approx(beats - 16.0, abs=0.5)
        assert prompt.tempo == pytest.approx(100.0, abs=1.0)
        assert prompt.state == "following"


def test_a_juggle_is_not_left_for_a_tighter_one_from_the_same_cue(play):
    """Each copy in turn plays a beat from 33 s and is spun back in .2 s, for 24 beats."""
    juggle = routine_of(
        {"bars": 4, "count": "left", "left": runs(71.0)},
        {"bars": 6, "count": "clock", "left": works(33.0, 36.0), "right": works(33.0, 36.0)},
        {"bars": 2, "count": "clock", "left": works(33.0, 34.2), "right": works(33.0, 34.2)},
        {"bars": 4, "count": "left", "left": runs(33.0)},
    )

    def copy(now, turn):
        """Plays the beats of its turn, every other one, and is spun back in those between."""
        since_s = (now - 9.6 - turn * BEAT_S) % (2 * BEAT_S)
        if now < 9.6 + turn * BEAT_S:
            return 33.0
        return 33.0 + (since_s if since_s < BEAT_S else max(BEAT_S - 3 * (since_s - BEAT_S), 0))

    def left(now):
        return 71.0 + now if now < 9.6 else copy(now, 0)

    told = looks(play, juggle, left, lambda now: copy(now, 1), 10.2, 23.4)
    assert names(told) == [1]
    for beats, prompt in told:
        assert prompt.beat_position == pytest.approx(beats - 16.0, abs=0.5)
        assert prompt.tempo == pytest.approx(100.0, abs=1.0)


def test_listening_at_the_next_cue_pulls_the_name_nowhere(play):
    """Left runs the same bars alone that it ran under right's cut two set pieces ago; meanwhile
    right is wound back to that cut's cue, where it comes up again next, and rocked there."""
    again = routine_of(
        {"bars": 4, "count": "left", "left": runs(20.0), "right": works(52.0, 54.0)},
        {"bars": 4, "count": "right", "right": runs(85.0)},
        {"bars": 4, "count": "left", "left": runs(20.0)},
        {"bars": 4, "count": "left", "left": runs(110.0), "right": works(52.0, 54.0)},
    )

    def left(now):
        if now < 9.6:
            return 20.0 + now
        return max(29.6 - 5.0 * (now - 9.6), 20.0) if now < 19.2 else 20.0 + now - 19.2

    def right(now):
        if now < 9.6:
            return 52.0 + 0.5 * abs((now % BEAT_S) - 0.3)
        since_s = now - 19.2
        if since_s < 0:
            return 85.0 + now - 9.6
        if since_s < 3.0:
            return max(94.6 - 16.0 * since_s, 52.0)
        return 52.0 + (0.5 * abs(((since_s - 3.0) % 0.4) - 0.2) if since_s < 7.0 else 0.0)

    told = looks(play, again, left, right, 19.8, 28.3)
    assert names(told) == [2]
    for beats, prompt in told:
        assert prompt.beat_position == pytest.approx(beats - 32.0, abs=0.1)
        assert prompt.tempo == pytest.approx(100.0, abs=1.0)
        assert prompt.state == "following"
    assert told[-1][1].decks["right"].ready  # held at its cue since the rocking ended


def test_a_routine_that_begins_with_a_juggle_waits_for_the_hand(play):
    """Both held for five seconds, then left let go: at 120 BPM .75 s later is beat 1.5."""
    juggle = {
        "left": {"hand": "works", "from": 10.0, "to": 12.0},
        "right": {"hand": "works", "from": 20.0, "to": 22.0},
    }
    routine = Routine.model_validate(
        {
            "title": "Juggle first",
            "pieces": [
                {"name": "Woks", "bars": 4, "tempo": 120, **juggle},
                {"name": "Steam", "bars": 4, "tempo": 120, "count": "left",
                 "left": {"hand": "runs", "at": 30.0}},
            ],
        }
    )  # fmt: skip
    follower = Follower(routine)
    play(follower, lambda t: 10.0 + max(t - 5.0, 0.0), lambda t: 20.0, 0.0, 5.75)
    prompt = follower.prompt(now=5.75)
    assert prompt.piece is not None
    assert prompt.piece.index == 0
    assert prompt.beat_position == pytest.approx(1.5, abs=0.15)


def test_records_that_stand_where_a_last_juggle_left_them_leave_it_over():
    """20 messages a second, 120 BPM: Bells 8 beats from 2 s, Twins 16 from 6 s, over at 14 s; then
    both records are held. The last was let go at 13 s and taken at 14 s."""
    lines = {4 * bar + beat: f"{side} 0 to 2" for bar in range(4)
             for beat, side in ((0, "left"), (2, "right"))}  # fmt: skip
    pieces = [
        {"name": "Bells", "bars": 2, "count": "left", "left": runs(5)},
        {"name": "Twins", "bars": 4, "juggle": lines, "left": works(9, 12), "right": works(30, 33)},
    ]
    pieces = [{"tempo": 120, **piece} for piece in pieces]
    routine = Routine.model_validate({"title": "T", "limit": "1:00", "pieces": pieces})
    turns = [6.0 + 2.0 * bar for bar in range(4)]
    t = {"left": [0.0, 2.0, 6.0], "right": [0.0, 7.0]}
    x = {"left": [5.0, 5.0, 9.0], "right": [30.0, 30.0]}
    for side, cue_s, late_s in (("left", 9.0, 0.0), ("right", 30.0, 1.0)):
        for start_s in (turn + late_s for turn in turns):
            t[side] += [start_s + 1e-6, start_s + 1.0, start_s + 1.5]
            x[side] += [cue_s, cue_s + 1.0, cue_s + (1.0 if start_s >= 12.0 else 0.0)]
    follower, states = Follower(routine), []
    for step in range(20 * 20):
        now = step / 20
        for side in ("left", "right"):
            follower.hear(side, position=float(np.interp(now, t[side], x[side])), now=now)
        states.append(follower.prompt(now=now).state)
    assert set(states[20 * 13 : 20 * 14 - 2]) == {"following"}
    assert set(states[20 * 16 :]) == {"over"}
    over = follower.prompt(now=20.0)
    assert (over.limit_kept, over.elapsed_s) == (True, pytest.approx(12.0, abs=0.3))


def test_whoever_stands_at_the_first_cues_is_surely_before_the_start():
    """Left at its cue, right moved about at its own: before, and at beat 0, are one place."""
    routine = routine_of(
        {"bars": 2, "count": "left", "left": runs(5), "right": {"hand": "rests"}},
        {"bars": 2, "count": "left", "left": runs(9.8), "right": works(20, 22)},
    )
    follower = Follower(routine)
    for step in range(500):
        now = step / 100
        follower.hear("left", position=5.0, now=now)
        follower.hear("right", position=20.0 + 0.2 * (step // 37 % 2), now=now)
        if now >= 0.5:
            told = follower.prompt(now=now)
            assert told.state == "before"
            assert told.confidence > 0.9
