"""The fader's moves and the cuts they were meant for, by hand: a beat is half a second.

Acts are written out as such, so that what must be open and shut, and when, can be read here.
"""

from __future__ import annotations

import pytest

from liveaid.practice.fader_cuts import (
    LEAST_MOVE,
    REST_S,
    CutScore,
    FaderMove,
    cut_scores,
    fader_moves,
)
from liveaid.practice.hand_cuts import (
    FaderScore,
    bias_ms,
    bias_says,
    deck_moves,
    fader_sentences,
    hand_cuts,
    openings_of,
)
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.visits import Visit
from liveaid.routine import Routine
from liveaid.routine.acts import Act


def half_seconds(beat: float) -> float:
    return 10.0 + 0.5 * beat


@pytest.mark.parametrize(
    ("messages", "moves"),
    [
        # Half-way between two of its messages; the one before may be old, .03 s at most.
        ([(0.0, 0.0), (1.0, 1.0)], [(0.985, 0.0, 1.0)]),
        ([(0.0, 0.0), (1.0, 0.5), (1.01, 1.0)], [(1.0, 0.0, 1.0)]),
        ([(0.99, 1.0), (1.0, 0.8), (1.01, 0.0)], [(1.00375, 1.0, 0.0)]),
        # At rest for more than .03 s it is another move; turned round it is at once.
        ([(-1.0, 0.0), (0.0, 0.5), (REST_S, 1.0)], [(0.0, 0.0, 1.0)]),
        ([(-1.0, 0.0), (0.0, 0.5), (0.031, 1.0)], [(-0.015, 0.0, 0.5), (0.016, 0.5, 1.0)]),
        ([(-1.0, 0.0), (0.0, 1.0), (0.01, 0.0)], [(-0.015, 0.0, 1.0), (0.005, 1.0, 0.0)]),
        # A place told twice ends no move.
        ([(0.0, 0.0), (0.01, 0.2), (0.02, 0.2), (0.03, 0.6)], [(0.0225, 0.0, 0.6)]),
        ([(0.0, 0.0), (1.0, LEAST_MOVE)], [(0.985, 0.0, LEAST_MOVE)]),
        ([(0.0, 0.0), (1.0, 0.19)], []), ([(0.0, 0.5)], []),
    ],
)  # fmt: skip
def test_messages_make_moves(messages, moves):
    assert fader_moves(messages) == [
        FaderMove(pytest.approx(at_s), *places) for at_s, *places in moves
    ]


def test_which_way_opens_a_deck():
    there, back = FaderMove(0.0, 0.0, 1.0), FaderMove(0.0, 1.0, 0.0)
    assert [move.opens(side) for move in (there, back) for side in ("left", "right")] == [
        False, True, True, False,
    ]  # fmt: skip


def act(beat, beats, *spans, way_s=0.3, kind="push"):
    return Act(kind=kind, side="right", piece=0, beat=beat, beats=beats, from_s=1.0,
               to_s=1.0 + way_s, open=tuple(spans))  # fmt: skip


PUSHES = [
    act(0.0, 1.0, (0.0, 0.5)), act(1.0, 1.0, (1.5, 2.0)),
    act(2.0, 1.0, (2.0, 3.0), way_s=0.0, kind="hold"), act(3.0, 1.0, (3.0, 4.0)),
    act(4.0, 1.0, way_s=-0.3),
]  # fmt: skip
"""Shut from .5 to 1.5, then open until the record stands on 2, and from 3 to 4, shut to 5."""


def cuts(*moves):
    """What becomes of moves, each (second, whether it opens the right deck)."""
    made = [FaderMove(at_s, *((0.0, 1.0) if opens else (1.0, 0.0))) for at_s, opens in moves]
    return cut_scores(PUSHES, "right", made, half_seconds)


def cut(opens, beat, at_s=None, off_ms=None, room_beats=0.0):
    return CutScore(opens=opens, beat=beat, at_s=at_s, off_ms=off_ms and pytest.approx(off_ms),
                    room_beats=room_beats)  # fmt: skip


def test_each_opening_and_closing_beside_the_move_made_for_it():
    """Shut on .5 at 10.25 s, opened on 1.5 at 10.75, shut on 4 at 12; each within .15 s, three
    tenths of a beat."""
    assert cuts((10.26, False), (10.74, True), (12.0, False)) == [
        cut(False, 0.5, 10.26, 10.0), cut(True, 1.5, 10.74, -10.0),
        cut(False, 4.0, 12.0, 0.0),
    ]  # fmt: skip
    assert cuts((10.11, False), (10.89, True), (12.16, False)) == [
        cut(False, 0.5, 10.11, -140.0), cut(True, 1.5, 10.89, 140.0), cut(False, 4.0),
        cut(False, None, 12.16),
    ]  # fmt: skip
    assert cuts() == [cut(False, 0.5), cut(True, 1.5), cut(False, 4.0)]


def test_only_while_the_record_moves_a_cut_is_one_too_many():
    """It moves from 10 to 11 s and from 11.5 to 12.5 s; for .03 s about its turns it is slow."""
    for at_s, too_many in (
        (10.02, False), (10.04, True), (10.46, True), (10.48, False), (10.52, False),
        (11.2, False), (11.52, False), (11.54, True), (12.46, True), (12.48, False), (13.0, False),
    ):  # fmt: skip
        added = [one for one in cuts((at_s, True)) if one.beat is None]
        assert added == ([cut(True, None, at_s)] if too_many else []), at_s


def test_a_standing_record_leaves_room():
    """Open until 1, shut from 3 on, and the record stands between: anywhere from 10.5 to 11.5 s is
    on time; it opens on 6, after a stand from 4 on."""
    acts = [act(0.0, 1.0, (0.0, 1.0)), act(3.0, 1.0), act(6.0, 1.0, (6.0, 7.0))]
    for shut_s, opened_s, off_ms in (
        (10.4, 11.9, (-100.0, -100.0)), (10.5, 12.0, (0.0, 0.0)), (11.5, 13.0, (0.0, 0.0)),
        (11.6, 13.1, (100.0, 100.0)), (11.0, 12.5, (0.0, 0.0)),
    ):  # fmt: skip
        moves = [FaderMove(shut_s, 1.0, 0.0), FaderMove(opened_s, 0.0, 1.0)]
        shut, opened = (pytest.approx(off) for off in off_ms)
        assert cut_scores(acts, "right", moves, half_seconds) == [
            CutScore(opens=False, beat=1.0, at_s=shut_s, off_ms=shut, room_beats=2.0),
            CutScore(opens=True, beat=6.0, at_s=opened_s, off_ms=opened, room_beats=2.0),
        ]


def test_a_level_counts_where_the_crossfader_lets_its_deck_through():
    """The crossfader stands right; the right level is thrown up at 1 s, the left one at 2 s."""
    mixer = [
        FaderHeard(0.0, "crossfader", 1.0), FaderHeard(0.5, "right", 0.0),
        FaderHeard(1.0, "right", 1.0), FaderHeard(1.5, "left", 0.0), FaderHeard(2.0, "left", 1.0),
        FaderHeard(3.0, "crossfader", 0.0), FaderHeard(4.0, "left", 0.0),
    ]  # fmt: skip

    def told(side, hamster=False):
        return [(round(m.at_s, 3), m.opens(side)) for m in deck_moves(mixer, side, hamster=hamster)]

    # For .015 s the level was on its way, and the crossfader at 2.985 s where it was.
    assert told("right") == [(0.985, True), (2.985, False)]
    assert told("left") == [(2.985, True), (3.985, False)]
    assert told("right", hamster=True) == [(2.985, True)]
    assert told("left", hamster=True) == [(1.985, True), (2.985, False)]


@pytest.mark.parametrize(
    ("side", "crossfader", "heard"),
    [
        ("right", 0.029, False), ("right", 0.03, True), ("right", 1.0, True),
        ("left", 0.971, False), ("left", 0.97, True), ("left", 0.0, True),
    ],
)  # fmt: skip
def test_where_a_crossfader_lets_nothing_of_a_deck_through(side, crossfader, heard):
    """All but three hundredths of its way from the deck's own side; what it did first counts."""
    mixer = [FaderHeard(1.0, "crossfader", crossfader), FaderHeard(0.9, side, 0.0),
             FaderHeard(1.0, side, 1.0)]  # fmt: skip
    assert bool(deck_moves(mixer, side, hamster=False)) is True  # at .985 s it was not heard of yet
    mixer[0] = FaderHeard(0.5, "crossfader", crossfader)
    assert bool(deck_moves(mixer, side, hamster=False)) is heard
    mixer.insert(0, FaderHeard(0.2, "crossfader", float(side == "left")))
    assert bool(deck_moves(mixer[:1] + mixer[2:], side, hamster=False)) is False


def routine() -> Routine:
    """Right pushed for a beat on 1, 4 and 6, and for a pick-up on -1, half of it open."""
    lines = {-1: "push yes for 1 open 0 to 1/2", 1: "push yes for 1 open 0 to 1/2",
             4: "push yes for 1 open 0 to 1/2", 6: "push yes for 1 open 0 to 1/2"}  # fmt: skip
    right = {"hand": "works", "from": 10.0, "to": 11.0, "acts": lines,
             "places": {"yes": {"from": 10.0, "to": 10.3}}}  # fmt: skip
    pieces = [
        {"name": "P", "bars": 2, "tempo": 120, "count": "left", "right": right,
         "left": {"hand": "runs", "at": 2.0}},
        {"name": "Q", "bars": 2, "tempo": 120, "count": "left",
         "left": {"hand": "runs", "at": 9.0}},
    ]  # fmt: skip
    return Routine.model_validate({"title": "T", "pieces": pieces})


def written_beats(visit, *moves):
    """(opens, beat, when) of each cut that a visit was asked for or made."""
    mixer = [FaderHeard(0.0, "crossfader", float(bool(moves) and not moves[0][1]))]
    for at_s, opens in moves:
        mixer += [FaderHeard(at_s - 0.005, "crossfader", float(not opens)),
                  FaderHeard(at_s + 0.005, "crossfader", float(opens))]  # fmt: skip
    (found,) = hand_cuts(routine(), visit, half_seconds, mixer)
    return [(one.opens, one.beat, one.at_s and round(one.at_s, 3)) for one in found.cuts]


def test_a_visit_answers_for_its_own_beats_and_its_pick_up():
    """Before the pick-up nothing was to be shut, so that it is open already."""
    beats = [-0.5, 1.0, 1.5, 4.0, 4.5, 6.0, 6.5]
    whole = [(beat in (1.0, 4.0, 6.0), beat, None) for beat in beats]
    assert written_beats(Visit(0, 0.0, 8.0, 10.0, 14.0)) == whole
    assert written_beats(Visit(0, 1.0, 6.0, 10.5, 13.0)) == whole[1:6]
    assert written_beats(Visit(0, 0.01, 6.5, 10.0, 13.25)) == whole[1:]
    # Half a beat about them moves are its own: from 10.45 to 13.25 s.
    part = Visit(0, 1.4, 6.0, 10.7, 13.0)
    for at_s, opens, made in (
        (10.44, True, []), (10.46, True, [(True, 1.0, 10.46)]),
        (13.24, False, [(False, 6.5, 13.24)]), (13.26, False, []),
    ):  # fmt: skip
        assert [one for one in written_beats(part, (at_s, opens)) if one[2]] == made


def test_a_deck_without_written_acts_or_a_mixer_has_no_cuts():
    visit = Visit(0, 0.0, 8.0, 10.0, 14.0)
    assert hand_cuts(routine(), visit, half_seconds, []) == (FaderScore(side="right", heard=False),)
    assert hand_cuts(routine(), Visit(1, 0.0, 8.0, 14.0, 18.0), half_seconds, []) == ()


def test_cuts_due_at_one_moment_tell_how_late_a_fader_is():
    """10, 20 and 60 ms late at one moment: 20. In a standing record's room -90: it tells nothing,
    until there is nothing else."""
    exact = [CutScore(opens=True, beat=1.0, at_s=1.0, off_ms=ms) for ms in (10.0, 60.0, 20.0)]
    room = CutScore(opens=True, beat=1.0, at_s=1.0, off_ms=-90.0, room_beats=0.5)
    missed = CutScore(opens=True, beat=1.0, at_s=None, off_ms=None)
    assert [bias_ms(each) for each in ([*exact, room, missed], [room, missed], [missed], [])] == [
        20.0, -90.0, None, None,
    ]  # fmt: skip
    assert bias_says(exact) == "20 ms late: move it sooner"
    assert bias_says([room]) == "90 ms early: move it later"
    assert bias_says([missed]) == ""
    added = CutScore(opens=False, beat=None, at_s=2.0, off_ms=None)
    part = FaderScore(side="left", heard=True, cuts=(*exact, missed, added))
    assert (part.bias_ms, part.missed, part.added) == (20.0, 1, 1)
    unheard = FaderScore(side="right", heard=False)
    assert fader_sentences([part, part, unheard]) == {
        "left": "fader, left record: 20 ms late: move it sooner, 2 left out, 2 too many",
        "right": "fader, right record: not heard",
    }
    on_time = FaderScore(
        side="left", heard=True, cuts=(CutScore(opens=True, beat=1.0, at_s=1.0, off_ms=0.0),)
    )
    assert fader_sentences([on_time]) == {"left": "fader, left record: on time"}


def test_an_opening_has_the_cuts_of_its_own_ends():
    """Opened on 2 and shut on 3: cuts a thousandth of a beat off are another's."""
    made = [
        CutScore(opens=False, beat=2.0, at_s=1.0, off_ms=1.0),
        CutScore(opens=True, beat=2.001, at_s=1.0, off_ms=2.0),
        CutScore(opens=True, beat=2.0, at_s=1.0, off_ms=4.0),
        CutScore(opens=False, beat=3.0, at_s=2.0, off_ms=10.0),
    ]
    (one,) = openings_of([(2.0, 3.0)], made)
    assert (one.opens_ms, one.closes_ms, one.longer_ms, one.missed) == (4.0, 10.0, 6.0, False)
    (bare,) = openings_of([(5.0, 6.0)], made)
    assert (bare.opens_ms, bare.closes_ms, bare.longer_ms, bare.missed) == (None, None, None, False)
