"""Which set pieces a take went through, from when to when, worked out by hand.

Three set pieces of four bars at 120 BPM, 16 beats of 0.5 s, 8 s each. Lids is counted by the left
record from 10 s of its file, Pestle by the right one from 40 s, Awnings by the left from 60 s. The
take begins at 2 s: Lids lasts to 10 s, Pestle to 18 s, Awnings to 26 s.
"""

from __future__ import annotations

import numpy as np
import pytest

from liveaid.practice.trace import DeckTrace
from liveaid.practice.visits import Sure, visits
from liveaid.routine import Routine

REST = {"hand": "rests"}
ROUTINE = Routine.model_validate({"title": "T", "pieces": [
    {"name": name, "bars": 4, "tempo": 120, "count": side, "left": REST, "right": REST,
     side: {"hand": "runs", "at": at}}
    for name, side, at in (("Lids", "left", 10), ("Pestle", "right", 40), ("Awnings", "left", 60))
]})  # fmt: skip
LEFT = ((0, 10), (2, 10), (10, 18), (12, 60), (18, 60), (26, 68), (30, 68))
RIGHT = ((0, 40), (10, 40), (18, 48), (30, 48))


def sure(piece, first, last, *, start_s=None, beat_s=0.5):
    """Sure once a beat, a tenth of it after, from one to another; it began at `start_s`."""
    begins = 2.0 + 8.0 * piece if start_s is None else start_s
    beats = [beat + 0.1 for beat in range(first, last + 1)]
    return [Sure(begins + beat * beat_s, piece, beat, beat_s) for beat in beats]


def gone_through(*groups, left=LEFT, right=RIGHT, began_s=2.0, end_s=26.0):
    """(set piece, from beat, to beat, from second, to second) of every visit."""
    t = np.arange(0.0, 30.0, 0.02)
    trace = {
        side: DeckTrace(t, np.interp(t, *np.transpose(points)))
        for side, points in (("left", left), ("right", right))
    }
    places = [place for group in groups for place in group]
    return [
        (v.piece, *(round(x, 3) for x in (v.from_beat, v.to_beat, v.start_s, v.end_s)))
        for v in visits(ROUTINE, places, trace, began_s, end_s)
    ]


WHOLE = [(0, 0.0, 16.0, 2.0, 10.0), (1, 0.0, 16.0, 10.0, 18.0), (2, 0.0, 16.0, 18.0, 26.0)]


def test_a_take_that_was_followed_all_through():
    assert gone_through(*(sure(piece, 0, 15) for piece in range(3))) == WHOLE


def test_what_was_played_before_and_after_the_follower_was_sure():
    """Sure from beat 4 of Pestle to its beat 15: it began there, Lids was before, Awnings after."""
    assert gone_through(sure(1, 4, 15)) == WHOLE
    # Sure only up to beat 12, no one knows what came after.
    assert gone_through(sure(1, 4, 12)) == [WHOLE[0], (1, 0.0, 12.1, 10.0, 16.05)]


@pytest.mark.parametrize(
    ("end_s", "last"),
    [
        (22.0, (2, 0.0, 8.0, 18.0, 22.0)),
        (25.6, (2, 0.0, 16.0, 18.0, 25.6)),  # in its last beat: whole
        (25.4, (2, 0.0, 14.8, 18.0, 25.4)),
        (18.6, (2, 0.0, 1.2, 18.0, 18.6)),
        (18.4, None),  # less than a beat of it is nothing
    ],
)
def test_up_to_where_the_last_set_piece_went(end_s, last):
    assert gone_through(sure(1, 4, 15), end_s=end_s) == [*WHOLE[:2], *([last] if last else [])]


def test_where_the_records_were_elsewhere_nothing_is_filled_in():
    away = ((0, 30), (2, 30), (10, 38), (12, 90), (18, 90), (26, 98), (30, 98))
    assert gone_through(sure(1, 4, 15), left=away) == [WHOLE[1]]
    # The right record stands: Pestle was not played from its start, and not between the others.
    still = ((0, 40), (30, 40))
    assert gone_through(sure(1, 4, 15), right=still) == [(1, 4.1, 16.0, 12.05, 18.0), WHOLE[2]]
    assert gone_through(sure(0, 0, 15), sure(2, 0, 15), right=still) == [WHOLE[0], WHOLE[2]]


def test_a_take_that_began_in_the_middle():
    """The records began to move at 10 s: Lids was not played. At 12.1 s: Pestle from about its
    beat 4."""
    assert gone_through(sure(1, 4, 15), began_s=10.0) == WHOLE[1:]
    assert gone_through(sure(1, 4, 15), began_s=12.1) == [(1, 4.1, 16.0, 12.05, 18.0), WHOLE[2]]


def test_a_set_piece_between_two_others_is_filled_in_where_it_fits():
    assert gone_through(sure(0, 0, 15), sure(2, 0, 15)) == WHOLE
    # 8 s are asked for: 0.12 of them and a second, 1.96 s, may be lacking or left.
    late = sure(2, 0, 15, start_s=19.9)
    slower = ((0, 40), (10, 40), (19.9, 48), (30, 48))
    later = ((0, 10), (2, 10), (10, 18), (12, 60), (19.9, 60), (27.9, 68), (30, 68))
    found = gone_through(sure(0, 0, 15), late, left=later, right=slower, end_s=27.9)
    assert found == [WHOLE[0], (1, 0.0, 16.0, 10.0, 19.9), (2, 0.0, 16.0, 19.9, 27.9)]
    late = sure(2, 0, 15, start_s=20.1)
    slower = ((0, 40), (10, 40), (20.1, 48), (30, 48))
    later = ((0, 10), (2, 10), (10, 18), (12, 60), (20.1, 60), (28.1, 68), (30, 68))
    found = gone_through(sure(0, 0, 15), late, left=later, right=slower, end_s=28.1)
    assert [visit[0] for visit in found] == [0, 2]


@pytest.mark.parametrize(("again_s", "visited"), [(3.8, 1), (4.2, 2), (5.0, 2)])
def test_a_start_of_less_than_a_bar_is_a_false_one(again_s, visited):
    """Lids from 2 s, and from its start again at 3.8 s, after 3.6 beats, or 4.2 s, after 4.4."""
    left = ((0, 10), (2, 10), (again_s - 0.4, 10 + again_s - 2.4), (again_s, 10), (again_s + 8, 18),
            (30, 18))  # fmt: skip
    found = gone_through(sure(0, 0, 2), sure(0, 0, 15, start_s=again_s), left=left,
                         end_s=again_s + 8)  # fmt: skip
    whole = (0, 0.0, 16.0, again_s, again_s + 8.0)
    assert found[-1] == whole
    assert len(found) == visited
    if visited == 2:
        assert found[0] == (0, 0.0, round((again_s - 2) / 0.5, 3), 2.0, again_s)


def test_a_record_that_was_only_held_up_goes_on():
    """Stopped on beat 8, at 6 s, for 3 s: its beat 15 is at 12.5 s, its end at 13 s."""
    left = ((0, 10), (2, 10), (6, 14), (9, 14), (13, 18), (30, 18))
    found = gone_through(sure(0, 0, 8), sure(0, 8, 15, start_s=5.0), left=left, end_s=13.0)
    assert found == [(0, 0.0, 16.0, 2.0, 13.0)]


@pytest.mark.parametrize(
    ("start_s", "found"),
    [(10.0, WHOLE[1]), (10.4, (1, 0.0, 16.0, 10.0, 18.4)), (10.6, (1, 3.1, 16.0, 12.15, 18.6))],
)
def test_a_set_piece_that_was_made_out_late_begins_where_the_one_before_ends(start_s, found):
    """Sure from its beat 3 on: it began within a beat of where Lids ended, or it was cut short."""
    visited = gone_through(sure(0, 0, 15), sure(1, 3, 15, start_s=start_s), end_s=start_s + 8.0)
    assert visited[:2] == [WHOLE[0], found]


def test_what_was_held_for_less_than_a_beat_was_never_played():
    glimpse = [Sure(6.1, 2, 5.0, 0.5), Sure(6.4, 2, 5.6, 0.5)]
    assert gone_through(sure(0, 0, 8), glimpse, sure(0, 9, 15), sure(1, 0, 15), sure(2, 0, 15)) == [
        WHOLE[0], WHOLE[1], WHOLE[2],
    ]  # fmt: skip
