"""When a take begins, goes on and ends, told a prompt at a time; every bound by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.takes import TakeFinder, _follows, _Stillness
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Sure, Visit
from liveaid.routine.load import read_routine

BEAT_S = 0.5
MAP = """
title: Wicks
metre: 4
pieces:
  - {name: Oil, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 2.0}}
  - {name: Wick, bars: 3, tempo: 120, count: left, left: {hand: runs, at: 20.0}}
  - {name: Flame, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 40.0}}
"""
TWINS = """
title: Twins
metre: 4
pieces:
  - name: Twins
    bars: 2
    tempo: 120
    left: {hand: works, from: 30.0, to: 31.0, strokes: [0, 2, 4, 6]}
    right: {hand: works, from: 40.0, to: 41.0, strokes: [1, 3, 5, 7]}
"""


def prompt(piece=0, beat=2.0, *, state="following", confidence=0.9, bars_left=2, tempo=120.0):
    return SimpleNamespace(
        state=state, confidence=confidence, bars_left=bars_left, tempo=tempo, beat_position=beat,
        piece=None if piece is None else SimpleNamespace(index=piece),
    )  # fmt: skip


def finder_at(now=10.0, *, piece=0, beat=2.0, moved_s=None, text=MAP):
    """A take that is on, last surely there then."""
    finder = TakeFinder(read_routine(text.encode()))
    finder._places = [Sure(now, piece, beat, BEAT_S)]
    finder._begun = True
    finder._still.moved_s = now if moved_s is None else moved_s
    finder._heard_s = now
    return finder


@pytest.fixture(scope="module")
def wicks():
    return read_routine(MAP.encode())


@pytest.mark.parametrize(
    ("place", "follows"),
    [
        # .2 s on is .4 beats on: beat 2.4, to within a beat.
        (Sure(10.2, 0, 2.4, BEAT_S), True), (Sure(10.2, 0, 3.39, BEAT_S), True),
        (Sure(10.2, 0, 3.41, BEAT_S), False), (Sure(10.2, 0, 1.41, BEAT_S), True),
        (Sure(10.2, 0, 1.39, BEAT_S), False),
        # Two seconds on the place before says nothing any more.
        (Sure(12.0, 0, 6.0, BEAT_S), True), (Sure(12.1, 0, 6.2, BEAT_S), False),
        # Beat 7.5 and .4 on is .1 beats before the next set piece's first.
        (Sure(10.2, 1, 0.5, BEAT_S), False), (Sure(10.2, 2, 0.0, BEAT_S), False),
    ],
)  # fmt: skip
def test_one_place_follows_another(wicks, place, follows):
    assert _follows(Sure(10.0, 0, 2.0, BEAT_S), place, wicks) is follows


@pytest.mark.parametrize(("piece", "beat", "follows"), [
    (1, 0.1, True), (1, 0.85, True), (1, 0.95, False), (1, -0.85, True), (1, -1.2, False),
    (2, 0.1, False), (0, 8.0, True),
])  # fmt: skip
def test_the_next_set_piece_follows_where_the_last_one_ends(wicks, piece, beat, follows):
    """From beat 7.5 of 8, .2 s on: beat 7.9, .1 before the next one's first."""
    place = Sure(10.2, piece, beat, BEAT_S)
    assert _follows(Sure(10.0, 0, 7.5, BEAT_S), place, wicks) is follows


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ({}, True), ({"state": "unsure"}, True), ({"state": "lost"}, False),
        ({"confidence": 0.6}, True), ({"confidence": 0.599}, False), ({"bars_left": 0}, False),
        ({"piece": None}, False), ({"beat": None}, False), ({"tempo": None}, False),
        ({"tempo": 60.0}, False), ({"tempo": 60.1}, True),
        ({"tempo": 191.9}, True), ({"tempo": 192.0}, False),
    ],
)  # fmt: skip
def test_which_of_the_followers_words_count(told, known):
    """A tempo from half to 1.6 times the map's 120."""
    finder = finder_at()
    place = finder._placed(prompt(**told), 10.0)
    assert (place is not None) is known
    if not told:
        assert place == Sure(10.0, 0, 2.0, 0.5)


@pytest.mark.parametrize(("since_s", "known"), [(0.5, True), (0.51, False)])
def test_a_place_counts_while_a_record_moves(since_s, known):
    place = finder_at(moved_s=10.0 - since_s)._placed(prompt(), 10.0)
    assert (place is not None) is known


def test_a_take_begins_once_the_same_way_on_was_told_for_a_beat():
    """A beat is .5 s: at .45 s not yet, at .5 s; with .7 of a beat gone through, not with .6."""
    for beats_s, begins_s in ((2.0, 0.5), (1.45, 0.5), (1.15, 0.65)):
        finder = TakeFinder(read_routine(MAP.encode()))
        began_s = None
        for now in np.arange(10.0, 10.8, 0.05):
            finder._still.moved_s = now
            finder.tell(prompt(beat=2.0 + beats_s * (now - 10.0)), now=float(now))
            if finder.playing and began_s is None:
                began_s = now - 10.0
        assert began_s == pytest.approx(begins_s)


def test_a_place_that_does_not_follow_begins_anew():
    finder = TakeFinder(read_routine(MAP.encode()))
    for now, beat in ((10.0, 2.0), (10.3, 2.6), (10.4, 6.0), (10.6, 6.4), (10.8, 6.8)):
        finder._still.moved_s = now
        finder.tell(prompt(beat=beat), now=now)
    assert not finder.playing
    assert finder.bars_left(10.8) is None
    finder._still.moved_s = 10.9
    finder.tell(prompt(beat=7.0), now=10.9)
    assert finder.playing


@pytest.mark.parametrize(
    ("now", "bars"), [(10.0, 2), (10.9, 2), (11.0, 1), (12.9, 1), (13.0, 0), (20.0, 0)]
)
def test_bars_left_go_on_by_the_last_tempo(now, bars):
    """Beat 2 of 8 at 10 s: beat 4, where the second bar begins, at 11 s; beat 8 at 13 s."""
    assert finder_at().bars_left(now) == bars


@pytest.mark.parametrize(
    ("last", "place", "anew"),
    [
        ((2, 4.0), (0, 1.0), True), ((2, 4.0), (0, 8.0), True), ((2, 4.0), (0, 8.1), False),
        ((2, 4.0), (1, 1.0), False),
        # Begun anew within the first: more than two beats back.
        ((0, 5.0), (0, 2.9), True), ((0, 5.0), (0, 3.1), False),
        # From the second back to the first it may be repeated: two of its 8 beats back is 17.
        ((1, 8.9), (0, 1.0), False), ((1, 9.1), (0, 1.0), True),
    ],
)  # fmt: skip
def test_what_is_the_routine_begun_again(last, place, anew):
    finder = finder_at(piece=last[0], beat=last[1])
    assert finder._anew(Sure(10.5, *place, BEAT_S)) is anew


@pytest.mark.parametrize(
    ("piece", "moved_s", "ended"),
    [
        # Flame's beat 4 at 10 s: its end, beat 8, at 12 s; within a beat of it all was played,
        # within a bar and a beat it ended early.
        (2, 11.51, "complete"), (2, 11.49, "early"), (2, 12.49, "complete"),
        (2, 12.51, "abandoned"), (2, 9.51, "early"), (2, 9.49, "abandoned"),
        (1, 12.0, "abandoned"), (0, 11.9, "abandoned"),
    ],
)  # fmt: skip
def test_how_a_take_ended_whose_records_stopped(piece, moved_s, ended):
    finder = finder_at(piece=piece, beat=4.0, moved_s=moved_s)
    assert finder._as_stopped(finder._places[-1]) == ended


@pytest.mark.parametrize(
    ("beat", "bars_left", "moved_s", "reached"),
    [
        # The follower says so, or was sure a beat and a half before.
        (4.0, 0, 0.0, True), (4.0, 1, 0.0, False), (6.6, 1, 0.0, True), (6.4, 1, 0.0, False),
        # Or the records moved until a beat and a half before the end, at 10 s and 4 * .5.
        (4.0, 1, 11.26, True), (4.0, 1, 11.24, False),
    ],
)  # fmt: skip
def test_when_the_last_beat_was_come_to(beat, bars_left, moved_s, reached):
    finder = finder_at(piece=2, beat=beat, moved_s=moved_s)
    said = prompt(2, beat, bars_left=bars_left)
    assert finder._reached(said, finder._places[-1]) is reached


@pytest.mark.parametrize(("beats", "reached"), [(20.0, True), (20.5, False)])
def test_sixteen_beats_before_the_end_say_nothing_of_it(beats, reached):
    long = MAP.replace("name: Flame, bars: 2", "name: Flame, bars: 9")  # 36 beats
    finder = finder_at(piece=2, beat=40.0 - beats, moved_s=99.0, text=long)
    assert finder._reached(prompt(2, bars_left=0), finder._places[-1]) is reached


def test_where_only_the_clock_counts_the_hands_must_have_gone_on():
    """Twins end 2 s after beat 4 at 10 s: moved until 11.25 s at least."""
    for moved_s, reached in ((11.26, True), (11.24, False)):
        finder = finder_at(beat=4.0, moved_s=moved_s, text=TWINS)
        assert finder._reached(prompt(bars_left=0), finder._places[-1]) is reached


@pytest.mark.parametrize(
    ("tempo", "since_s", "sides", "moved_s", "told"),
    [
        (None, 1.0, (30.2, 40.2), 1.0, (2.0, 0.5)),
        (126.0, 1.0, (30.2, 40.2), 1.0, (2.1, 60 / 126)),
        # A tempo within the fader's 8 % and 2 more is the performer's own.
        (131.9, 1.0, (30.2, 40.2), 1.0, (131.9 / 60, 60 / 131.9)),
        (132.1, 1.0, (30.2, 40.2), 1.0, (2.0, 0.5)), (107.9, 1.0, (30.2, 40.2), 1.0, (2.0, 0.5)),
        (108.1, 1.0, (30.2, 40.2), 1.0, (108.1 / 60, 60 / 108.1)),
        # From the start to the end of its 8 beats, 4 s; within half a second of both spans; moved
        # within two beats.
        (None, 0.0, (30.2, 40.2), 0.0, None), (None, 3.9, (30.2, 40.2), 3.9, (7.8, 0.5)),
        (None, 4.0, (30.2, 40.2), 4.0, None),
        (None, 1.0, (29.51, 41.49), 1.0, (2.0, 0.5)), (None, 1.0, (29.49, 40.2), 1.0, None),
        (None, 1.0, (30.2, 41.51), 1.0, None), (None, 3.0, (30.2, 40.2), 2.1, (6.0, 0.5)),
        (None, 3.0, (30.2, 40.2), 2.0, None),
    ],
)  # fmt: skip
def test_hands_alone_are_counted_from_where_both_records_left_their_cues(
    tempo, since_s, sides, moved_s, told
):
    finder = TakeFinder(read_routine(TWINS.encode()))
    still = finder._still
    still.stood, still.began_s, still.moved_s = dict(finder._cues), 10.0, 10.0 + moved_s
    still.last = {"left": (10.0, sides[0]), "right": (10.0, sides[1])}
    place = finder._placed(prompt(state="lost", tempo=tempo), 10.0 + since_s)
    assert place == (told and Sure(10.0 + since_s, 0, *map(pytest.approx, told)))
    still.stood["left"] += 5.0  # it stood elsewhere: nothing tells when it was begun
    assert finder._placed(prompt(state="lost", tempo=tempo), 10.0 + since_s) is None


def heard(*messages):
    """Both records stand at 5.0 and 9.0 at 0 s; then (second, place) of the left one."""
    still = _Stillness()
    still.hear("right", 9.0, 0.0)
    still.hear("left", 5.0, 0.0)
    for now, place in messages:
        still.hear("left", place, now)
    return still


@pytest.mark.parametrize(
    ("messages", "moved_s"),
    [
        # Further than a hand trembles from where it was at most a quarter of a second ago.
        ([(0.1, 5.021)], 0.1), ([(0.1, 5.019)], None),
        ([(0.1, 4.979)], 0.1), ([(0.1, 4.981)], None),
        ([(0.25, 5.015), (0.3, 5.03)], None), ([(0.24, 5.015), (0.3, 5.03)], 0.3),
        # A jump is no hand: at once, or after a gap; what comes after it is told from there.
        ([(0.05, 5.151)], None), ([(0.05, 5.149)], 0.05), ([(0.05, 4.849)], None),
        ([(0.1, 5.2)], 0.1), ([(1.0, 5.2)], 1.0), ([(1.01, 5.2)], None),
        ([(0.05, 6.0), (0.1, 6.019)], None), ([(0.05, 6.0), (0.1, 6.021)], 0.1),
    ],
)  # fmt: skip
def test_when_a_record_moved(messages, moved_s):
    assert heard(*messages).moved_s == (moved_s or float("-inf"))


def test_where_both_stood_before_they_began_to_move():
    """Moved at .1 s, then still to .71 s: more than .6 s, so it began anew, from where it was."""
    still = heard((0.1, 5.03), (0.71, 5.06))
    assert (still.moved_s, still.began_s) == (0.71, 0.1)
    assert still.stood == {"left": 5.03, "right": 9.0}
    still = heard((0.1, 5.03), (0.69, 5.06))
    assert (still.moved_s, still.began_s, still.stood) == (0.69, 0.0, {"left": 5.0, "right": 9.0})


def test_messages_are_kept_from_two_seconds_before_the_records_move():
    """Still for 3 s: what is older than 2 s goes. Moving from 3 s on, all from 1 s on stays."""
    finder = TakeFinder(read_routine(MAP.encode()))
    for k in range(30):
        finder.hear("left", position_s=2.0, now=k / 10)
    assert (finder._messages[0][0], finder.held) == (pytest.approx(0.9), 21)
    for k in range(30, 60):
        finder.hear("left", position_s=2.0 + (k - 29) / 10, now=k / 10)
    assert finder._messages[0][0] == pytest.approx(0.9, abs=0.21)
    assert finder.moved_s == 5.9


@pytest.mark.parametrize(
    ("after_s", "silent", "over"),
    [(2.49, False, False), (2.51, False, True), (3.0, True, False), (3.1, True, True)],
)
def test_a_take_is_given_up_when_records_stand_or_nothing_is_heard(after_s, silent, over):
    """Both stand for a bar of 2 s and a quarter more; or 3 s without a message."""
    finder = finder_at(piece=1, beat=4.0, moved_s=99.0 if silent else 10.0)
    ends = []
    finder._end = lambda *how: ends.append(how[:2]) or []
    finder._heard_s = 10.0 if silent else 10.0 + after_s
    finder._given_up(10.0 + after_s, finder._places[-1])
    assert ends == ([("abandoned", 10.0)] if over else [])


def ends_of(finder):
    """How the finder's take ends, noted: (how, when, what it goes on with)."""
    ends = []
    finder._end = lambda *how: ends.append(how) or []
    return ends


@pytest.mark.parametrize(
    ("beat", "ended"),
    [(7.5, "complete"), (6.0, "complete"), (5.9, "abandoned"), (4.0, "abandoned")],
)
def test_begun_again_a_take_is_over_before_it(beat, ended):
    """Flame's last beat, from 6 of 8 at 10 s, has come at 10.5 s; Oil's beat 1 began at 10 s."""
    finder = finder_at(piece=2, beat=beat, moved_s=10.5)
    ends = ends_of(finder)
    finder.tell(prompt(0, 1.0), now=10.5)
    assert ends == [(ended, 10.0, Sure(10.5, 0, 1.0, BEAT_S))]


@pytest.mark.parametrize(
    ("piece", "now", "bars_left", "over"),
    [(2, 10.69, 0, False), (2, 10.71, 0, True), (2, 10.71, 1, True), (1, 10.71, 0, False)],
)
def test_a_take_is_complete_once_its_last_beat_was_heard_out(piece, now, bars_left, over):
    """Flame's beat 7.5 of 8 at 10 s: over at 10.25 s, and .45 s more for a late stop."""
    finder = finder_at(piece=piece, beat=7.5 if piece == 2 else 11.5)
    ends = ends_of(finder)
    finder.tell(prompt(None, bars_left=bars_left), now=now)
    assert ends == ([("complete", 10.25, None)] if over else [])


def test_ten_minutes_are_kept_while_no_take_is_found():
    """A record moved by hand for 700 s, two messages a second, and a fader moved as often."""
    finder = TakeFinder(read_routine(MAP.encode()))
    for now in (step / 2 for step in range(1401)):
        finder.hear_mixer(FaderHeard(now, "crossfader", (now % 10) / 10))
        finder.hear("left", position_s=2.0 + 0.2 * now, now=now)
    assert finder.moved_s == 700.0
    assert finder._messages[0][0] == 98.0  # 2 s more from before
    told = finder.mixer.between(0.0, 700.0)
    assert 97.0 <= told[0].now_s <= 100.0


def oil(ended, end_s, *, piece=0, after_s=float("-inf"), began_s=10.0):
    """A take of Oil (or Flame) begun at 10 s, surely there at each of its beats up to the end."""
    finder = TakeFinder(read_routine(MAP.encode()))
    finder._after_s, finder._still.began_s = after_s, began_s
    times = [10.0 + BEAT_S * beat for beat in range(8)]
    places = [Sure(now, piece, beat, BEAT_S) for beat, now in enumerate(times) if now <= end_s]
    first_s = (2.0, 20.0, 40.0)[piece]
    messages = [(k / 20, "left", first_s + max(k / 20 - 10.0, 0.0)) for k in range(100, 400)]
    return finder._take(ended, end_s, places, trace_of(messages))


@pytest.mark.parametrize(
    ("ended", "end_s", "is_one"),
    [
        # A bar is 2 s: a bar and a quarter, or four fifths of one that came to its end.
        ("abandoned", 12.51, True), ("abandoned", 12.49, False), ("early", 12.49, False),
        ("complete", 11.61, True), ("complete", 11.59, False),
    ],
)  # fmt: skip
def test_about_a_bar_is_no_take(ended, end_s, is_one):
    assert (oil(ended, end_s) is not None) is is_one


def test_a_take_has_its_messages_from_two_seconds_before_to_its_late_stop():
    """Left at 13 s, beat 6: from 8 to 13.45 s."""
    take = oil("abandoned", 13.0)
    assert (take.start_s, take.end_s, take.ended) == (10.0, 13.0, "abandoned")
    assert take.visits == (Visit(0, 0.0, 6.0, 10.0, 13.0),)
    heard = take.trace["left"].now_s
    assert (heard[0], heard[-1]) == (8.0, pytest.approx(13.4))
    # What lies before the end of the one before is not its own.
    assert oil("abandoned", 13.6, after_s=10.5).start_s == 10.5
    assert oil("abandoned", 13.6, after_s=9.0).start_s == 10.0


def test_a_complete_take_ends_with_its_last_beat():
    whole = oil("complete", 13.2, piece=2)
    assert whole.visits == (Visit(2, 0.0, 8.0, 10.0, 13.2),)
    assert oil("abandoned", 13.2, piece=2).visits[-1].to_beat < 8.0
    assert oil("complete", 13.2).visits[-1].to_beat < 8.0
