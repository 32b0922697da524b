"""The follower's smaller parts held against figures worked out by hand.

Common practice, no source; a least-squares line's slope is the textbook's (sum of products of the
deviations over the sum of squared deviations of the times). What gestures earn is in test_fit.py,
how sure guesses are together in test_belief.py, senders in test_senders.py.
"""

from dataclasses import replace

import pytest

from liveaid.follow import search
from liveaid.follow.belief import Belief
from liveaid.follow.deck_line import Deck, Line
from liveaid.follow.elapsed import Elapsed, at_start
from liveaid.follow.gesture import Gesture, Watch
from liveaid.follow.guess import GestureHeard, Guess
from liveaid.follow.hearing import Hearing
from liveaid.follow.numbers import USUAL, Numbers
from liveaid.follow.plan import plan_of
from liveaid.routine import Routine

# The routine `small`, 120 BPM: left runs from 2.0 for 16 beats, right from 5.0 for 16, both worked
# from 30 to 31 and from 40 to 41 for 8, left runs from 50 for 16.


def test_a_lines_slope_and_place_are_the_textbooks():
    """(0, 1), (1, 2), (2, 6): means 1 and 3; slope (2 + 0 + 3) / 2 = 2.5; at 3: 3 + 2.5 x 2 = 8."""
    line = Line()
    for time_s, position_s in ((0.0, 1.0), (1.0, 2.0), (2.0, 6.0)):
        line.add(time_s, position_s)
    assert (line.slope, line.spread, line.span_s) == pytest.approx((2.5, 2.0, 2.0))
    assert line.at(3.0) == pytest.approx(8.0)


def test_a_line_looks_two_and_a_half_seconds_back():
    """The first second stood; of 3.6 s at speed 1 only the last 2.5 are left."""
    line = Line()
    for step in range(46):
        line.add(step / 10, max(step / 10 - 1.0, 0.0))
    assert line.span_s == pytest.approx(2.5)
    assert line.slope == pytest.approx(1.0)


def test_a_record_spun_back_is_as_doubtful_as_one_spun_on():
    """Three times its speed either way; messages stray as far in time, so as far in place."""
    errors = []
    for speed in (3.0, -3.0):
        deck = Deck()
        for step in range(40):
            deck.hear(40.0 + speed * step / 50, step / 50)
        found = deck.speed(0.8)
        assert found is not None
        assert found[0] == pytest.approx(speed)
        errors.append(found[1])
    assert errors[0] == pytest.approx(errors[1])


def _watched(way, seconds, *, ratio=1.0, watch=None, start_s=0.0):
    """A deck heard 100 times a second and looked at every 25 ms; kinds with when they began."""
    watch = watch or Watch(Deck(), USUAL)
    kinds = []
    for step in range(round(seconds * 100)):
        now = start_s + step / 100
        watch.deck.hear(way(now), now)
        if step % 3 == 0 and watch.look(now, ratio, fresh=True, stands=False):
            assert watch.gesture is not None
            kinds.append((watch.gesture.kind, watch.gesture.since_s, watch.gesture.from_s))
    return kinds, watch


def test_a_record_held_let_go_and_caught_is_three_gestures():
    """Held at 30.0 for 1 s, let go until 2 s, held at 31.0 from then on."""
    kinds, _ = _watched(lambda now: 30.0 + min(max(now - 1.0, 0.0), 1.0), 3.0)
    assert [kind for kind, *_ in kinds] == ["held", "runs", "held"]
    assert [since for _, since, _ in kinds[1:]] == pytest.approx([1.0, 2.0], abs=0.05)
    assert [from_s for *_, from_s in kinds[1:]] == pytest.approx([30.0, 31.0], abs=0.05)


def test_a_release_is_news_and_a_nudge_is_not():
    """Let go at 1 s: news. At 2 s pushed on by .05 s within .1 s: the same run goes on."""
    let_go = _watched(lambda now: 30.0 + max(now - 1.0, 0.0), 1.9)[1]
    assert (let_go.gesture.kind, let_go.gesture.news) == ("runs", True)
    nudged = _watched(
        lambda now: 29.0 + now + 0.5 * min(max(now - 2.0, 0.0), 0.1), 2.0, watch=let_go,
        start_s=1.9,
    )[1]  # fmt: skip
    assert nudged.gesture is let_go.gesture
    assert nudged.gesture.since_s == pytest.approx(1.0, abs=0.05)


def test_a_run_taken_up_again_has_begun_and_one_that_slipped_has_not():
    """At 2 s it slips on by .08 s: a new line and the same run, nothing begins. Slowed to half
    its speed for .2 s it is .1 s behind: a hand, and then the run once more."""

    def onward(way):
        run = _watched(lambda now: 30.0 + max(now - 1.0, 0.0), 1.9)[1]
        before, lines = run.gesture, run.deck.lines
        kinds, watch = _watched(way, 2.0, watch=run, start_s=1.9)
        assert watch.gesture is before
        assert watch.deck.lines > lines
        return [kind for kind, *_ in kinds]

    assert onward(lambda now: 29.0 + now + (0.08 if now >= 2.0 else 0.0)) == []
    assert onward(lambda now: 29.0 + now - 0.5 * min(max(now - 2.0, 0.0), 0.2)) == ["hand", "runs"]


def test_half_speed_is_by_hand_and_a_needle_set_down_is_news():
    kinds, _ = _watched(lambda now: 30.0 + 0.5 * now, 1.0)
    assert [kind for kind, *_ in kinds] == ["hand"]
    kinds, watch = _watched(lambda now: 30.0 + now + (40.0 if now >= 1.0 else 0.0), 2.0)
    assert [kind for kind, *_ in kinds] == ["runs", "runs"]
    assert (watch.gesture.news, watch.gesture.from_s) == (True, pytest.approx(71.0, abs=0.05))


def test_the_tempo_is_the_record_heard_last_and_before_that_the_usual():
    hearing = Hearing("always", usual_ratio=1.03)
    assert hearing.ratio() == 1.03
    hearing.decks["left"].hear_pitch(0.98, 1.0)
    hearing.decks["right"].hear_pitch(1.05, 2.0)
    assert hearing.ratio() == 1.05


def test_a_deck_is_silent_eight_messages_late_and_three_tenths_at_least():
    """At 100 a second .3 s; at 10 a second .8 s, as the interval is learnt."""
    for rate_hz, silent_s in ((100.0, 0.3), (10.0, 0.8)):
        hearing = Hearing("always")
        for step in range(200):
            hearing.decks["left"].hear(10.0, step / rate_hz)
        last = 199 / rate_hz
        assert hearing.fresh("left", last + silent_s - 0.02)
        assert not hearing.fresh("left", last + silent_s + 0.02)


def _heard(now_s, **gestures):
    both = {"left": None, "right": None, **gestures}
    return GestureHeard(now_s, 1.0, both, {side: both[side] is not None for side in both})


def test_a_run_is_at_the_beat_its_record_tells(small):
    """Left at 5.0, 3 s past 2.0, is beat 6 of One; 52.5 is beat 5 of Four; neither of Two."""
    plan = plan_of(small)
    for at_s, there in ((5.0, [(0, 6.0)]), (52.5, [(3, 5.0)])):
        run = Gesture("runs", 9.0, at_s - 1.0, True, 10.0, at_s, 1.0)
        heard = _heard(10.0, left=run)
        told = [
            (s.index, beat)
            for s in plan.sections[1:-1]
            for beat, _ in search.places(s, heard, USUAL)
        ]
        assert told == there


PLACES = Numbers(from_cue_s=0.15, release_doubt=0.3, midway_at=0.4, midway_doubt=0.3)


def test_a_release_from_a_worked_decks_cue_is_as_many_beats_in_as_it_is_old(small):
    """Right let go from 40.02, .75 s ago: 1.5 beats into Three, doubtful by .3; from 40.6 it may
    be anywhere in it: .4 of its 8 beats, doubtful by .3 of them."""
    three = plan_of(small).at(2)
    from_cue = Gesture("runs", 9.25, 40.02, True, 10.0, 40.77, 1.0)
    inside = Gesture("runs", 9.25, 40.6, True, 10.0, 41.0, 1.0)
    assert search.places(three, _heard(10.0, right=from_cue), PLACES) == [pytest.approx((1.5, 0.3))]
    assert search.places(three, _heard(10.0, right=inside), PLACES) == [pytest.approx((3.2, 2.4))]


def test_a_place_found_costs_its_price_from_the_cheapest_guess(small):
    """Sure of Two at beat 8 of 16, left is let go at 50.0: one is left out, 8, and Two is left
    early, .5. A guess of Three one nat behind, 1.5 beats before Four's beat and a beat in doubt,
    gets there for (1.5 / (.5 + 1)) squared more."""
    numbers = Numbers(ahead=8.0, leaves=0.5, next_late=1.0)
    plan = plan_of(small)
    run = Gesture("runs", 9.5, 50.0, True, 10.0, 50.5, 1.0)
    two, three = Guess(1, 8.0, 0.0), Guess(2, 7.5, 0.0, -1.0, doubt=1.0)
    for guesses, score in (([two], -8.5), ([two, three], -2.0)):
        found = list(search.found(plan, _heard(10.0, left=run), two, guesses, 1.8, numbers))
        (four,) = [guess for guess in found if guess.section == 3]
        assert (four.beat, four.score) == (pytest.approx(1.0), pytest.approx(score))


@pytest.mark.parametrize(("let_go_s", "score"), [(9.7, -8.0), (9.9, -10.5)])
def test_who_leaves_at_the_end_does_not_pay_for_going_on_first(small, let_go_s, score):
    """Two ended at 9.5 s. What went on half a beat beyond it has paid 1 and half of 3 nats. Left is
    let go for Four, one left out for 8: within .3 s of the end that is all there is to pay."""
    plan, numbers = plan_of(small), Numbers(ahead=8.0)
    run = Gesture("runs", let_go_s, 50.0, True, 10.0, 50.0 + 10.0 - let_go_s, 1.0)
    over = Guess(1, 16.5, 9.5, -2.5, over=True)
    found = list(search.found(plan, _heard(10.0, left=run), over, [over], 1.8, numbers))
    (four,) = [guess for guess in found if guess.section == 3]
    assert four.score == pytest.approx(score)


@pytest.mark.parametrize(("left_at", "beat", "since_s"), [(15.0, 0.0, 10.0), (17.0, 1.0, 9.5)])
def test_a_count_by_the_clock_is_come_to_at_its_first_beat_from_an_end(
    small, left_at, beat, since_s
):
    """Two of 16 beats at 120 BPM is left; right is moved by hand inside Three, which tells no beat:
    a beat beyond the end Three began half a second ago, before it, it begins."""
    plan, two = plan_of(small), Guess(1, left_at, 2.0)
    moved = Gesture("hand", 6.0, 40.5, False, 10.0, 40.6)
    (three,) = search.found(plan, _heard(10.0, right=moved), two, [two], 1.8, USUAL)
    assert (three.section, three.beat, three.doubt) == (2, pytest.approx(beat), 0.3)
    assert three.since_s == pytest.approx(since_s)


def test_who_goes_back_to_a_count_by_the_clock_may_be_anywhere_in_it(small):
    """From Four's last beat, right moved by hand inside Three: .4 of its 8 beats."""
    plan, four = plan_of(small), Guess(3, 15.5, 2.0)
    moved = Gesture("hand", 6.0, 40.5, False, 10.0, 40.6)
    (three,) = search.found(plan, _heard(10.0, right=moved), four, [four], 1.8, USUAL)
    assert (three.section, three.beat) == (2, pytest.approx(3.2))


@pytest.mark.parametrize(("still_s", "price"), [(1.1, -1.0), (0.9, -7.0)])
def test_what_waits_at_its_own_start_for_a_second_is_likely_begun_anew(small, still_s, price):
    """Two at beat 8, right at its cue again, both still: the same anew is 7, less a stop's 6."""
    plan, two = plan_of(small), Guess(1, 8.0, 2.0, ran=True)
    heard = replace(
        _heard(10.0, right=Gesture("held", 8.0, 5.0, False, 10.0, 5.0)), still_s=still_s
    )
    (anew,) = search.found(plan, heard, two, [two], 1.8, USUAL)
    assert (anew.section, anew.beat, anew.price) == (1, 0.0, price)


def test_a_hand_juggles_where_both_decks_are_worked(small):
    """Three of `small` alone; one record worked beside another that runs is not juggled."""
    plan = plan_of(small)
    juggled = [plan.at(i).parts[side].juggled for i in range(4) for side in ("left", "right")]
    assert juggled == [False] * 4 + [True] * 2 + [False] * 2


@pytest.mark.parametrize(("there", "comes"), [(-9.9, True), (-9.7, False)])
def test_a_count_by_the_clock_is_come_to_again_where_that_is_likelier(small, there, comes):
    """From One's beat 8, .8 nats ahead, to the middle of Three: 2 to come to it midway, 2 to leave
    early, 6.6 for one left out make it -9.8; a guess of Three's beat 7 is there already."""
    plan, one = plan_of(small), Guess(0, 8.0, 2.0, 0.8)
    moved = Gesture("hand", 6.0, 40.5, False, 10.0, 40.6)
    guesses = [one, Guess(2, 7.0, 2.0, there)]
    found = search.found(plan, _heard(10.0, right=moved), one, guesses, 1.8, USUAL)
    assert any(guess.section == 2 for guess in found) is comes


def test_what_a_run_told_before_a_guess_was_come_to_is_counted_once(small):
    """Left ran on from 2.0 for 9 s, 18 beats: past One's 16. Two was come to a second ago with
    what the run had told in its past, 8 nats; back in One the run weighs nothing yet."""
    plan, told = plan_of(small), Guess(1, 2.0, 9.0, past=8.0)
    run = Gesture("runs", 1.0, 2.0, True, 10.0, 9.0, 1.0)
    (one,) = (g for g in search.found(plan, _heard(10.0, left=run), told, [told], 1.8, USUAL)
              if g.section == 0)  # fmt: skip
    assert (one.since_s, one.past, one.price) == (9.0, 8.0, pytest.approx(-6.5 - 2.0))


def test_a_record_that_ran_into_a_passage_came_to_it_at_its_first_beat(small):
    """Left has run since 0 s, from 44.0; at 8 s it is 2 s beyond Four's cue: come to at 6 s."""
    plan, told = plan_of(small), Guess(1, 8.0, -10.0)
    run = Gesture("runs", 0.0, 44.0, True, 8.0, 52.0, 1.0)
    (four,) = search.found(plan, _heard(8.0, left=run), told, [told], 1.8, USUAL)
    assert (four.section, four.beat, four.since_s) == (3, 4.0, 6.0)


def test_a_run_taken_up_again_tells_anew_from_then_on():
    """Two seconds of a run, by hand for .2 s, the run once more: what it told before is over."""
    run = _watched(lambda now: 30.0 + max(now - 1.0, 0.0), 1.9)[1]
    _, watch = _watched(
        lambda now: 29.0 + now - 0.5 * min(max(now - 2.0, 0.0), 0.2), 2.0, watch=run, start_s=1.9
    )
    assert watch.gesture.since_s == pytest.approx(1.0, abs=0.05)
    assert watch.gesture.told_s(0.0, 3.9) == pytest.approx(3.9 - 2.3, abs=0.15)


def test_a_word_weighs_twenty_nats_against_every_other_place(small):
    belief = Belief(plan_of(small), 1.8, USUAL)
    belief.guesses = [Guess(0, 4.0, 0.0), Guess(1, 4.0, 0.0, -9.0)]
    belief.told = belief.guesses[0]
    belief.hear_word(1, _heard(1.0))
    assert [guess.score for guess in belief.guesses] == [-20.0, -9.0]
    assert belief.told.section == 1


def test_the_stage_clock_begins_with_the_first_beat(small):
    """One's beat 2 at 120 BPM is a second in: first seen there at 10 s, 5 s gone at 14 s."""
    clock = Elapsed(plan_of(small))
    clock.see(0, 2.0, 10.0, ratio=1.0, sure=True, at_start=False)
    assert clock.at(14.0) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("left_s", "right_s", "still_s", "waits"),
    [(2.2, 4.8, 1.1, True), (2.3, 5.0, 1.1, False), (2.0, 4.7, 1.1, False), (2.0, 5.0, 0.9, False)],
)
def test_both_records_wait_at_the_start_within_a_quarter_of_a_second(
    small, left_s, right_s, still_s, waits
):
    """The first cues of `small` are 2.0 and 5.0; a second is a wait."""
    decks = {"left": left_s, "right": right_s}
    held = {side: Gesture("held", 9.0, at_s, False, 10.0, at_s) for side, at_s in decks.items()}
    heard = replace(_heard(10.0, **held), still_s=still_s)
    assert at_start(plan_of(small), heard, USUAL) is waits


def test_the_stage_clock_begins_anew_from_the_start_alone(small):
    """One once more from its first beat: counted on after a leap, anew after a wait there."""
    clock = Elapsed(plan_of(small))
    clock.see(0, 8.0, 10.0, ratio=1.0, sure=True, at_start=False)
    clock.see(0, 0.0, 11.0, ratio=1.0, sure=True, at_start=False)
    assert clock.at(11.0) == pytest.approx(5.0)  # beat 8 is 4 s in
    clock.see(0, 0.0, 12.0, ratio=1.0, sure=False, at_start=True)
    clock.see(0, 1.0, 15.0, ratio=1.0, sure=True, at_start=False)
    assert clock.at(15.0) == pytest.approx(0.5)


def test_a_written_deck_is_let_go_where_its_acts_say_and_not_before_the_set_piece():
    """A pick-up's release a beat early is none of the set piece's own; pulls are none either."""
    acts = {-1: "let go", 0: "catch", 1: "let go", 2: "catch", 3: "let go for 1/2"}
    plan = {"hand": "works", "from": 30.0, "to": 33.0, "acts": acts}
    first = {"name": "P", "bars": 2, "tempo": 120, "left": {"hand": "runs", "at": 10.0}}
    routine = Routine.model_validate(
        {"title": "T", "pieces": [first, {**first, "name": "Q", "right": plan,
                                          "left": {"hand": "runs", "at": 14.0}}]}
    )  # fmt: skip
    assert plan_of(routine).at(1).parts["right"].strokes == (1.0, 3.0)
