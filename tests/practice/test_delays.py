"""A delay of the sender is no error of the hands: verdicts with and without one, and its name."""

from dataclasses import replace

import pytest

from liveaid.practice.act_score import ActScore
from liveaid.practice.aim import aim_of
from liveaid.practice.delays import Delays, delays_from
from liveaid.practice.delays import says as delays_say
from liveaid.practice.limits import LEVELS, Limits
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.score import score_of
from liveaid.practice.shift import Off, says, shift_s, shifts
from liveaid.practice.timing import faults_of, judged_of
from liveaid.simulate import Hands

LEAD_S = 3.0
NETWORK_S = 0.002
HANDS = Hands(timing_error_s=0.010, stroke_error_s=0.010)
DELAYS_MS = [(0, 0), (20, 20), (60, 5), (10, 45)]


@pytest.fixture(scope="module")
def scored(spice_row, performed, rehearsed):
    """scored(left ms, right ms, known): one performance with each deck late by so much."""
    kept = {}
    played = {
        name: performed(routine, seed=5, hands=HANDS)
        for name, routine in (
            ("", spice_row),
            ("Mortar twins", aim_of(spice_row, "Mortar twins").routine),
        )
    }

    def score(left_ms, right_ms, *, known=False, piece=""):
        late = {"left": left_ms / 1000, "right": right_ms / 1000}
        aim = aim_of(spice_row, piece)
        if (left_ms, right_ms, piece) not in kept:
            messages = [
                (m.now_s + late[m.side], m.side, m.position_s) for m in played[piece].messages
            ]
            messages.sort()
            (kept[left_ms, right_ms, piece],) = rehearsed(aim, messages, count_in_bars=0)
        ended = kept[left_ms, right_ms, piece]
        delays = Delays(
            left_s=late["left"] + NETWORK_S, right_s=late["right"] + NETWORK_S, measured=True
        )
        aim = replace(aim, delays=delays if known else Delays())
        return score_of(aim, replace(ended, counted_in_s=LEAD_S, delays=aim.delays))

    return score


@pytest.mark.parametrize(("left_ms", "right_ms"), DELAYS_MS)
@pytest.mark.parametrize("piece", ["", "Mortar twins"])
def test_a_steady_delay_of_each_deck_changes_no_verdict(scored, left_ms, right_ms, piece):
    def verdicts(score):
        return [one.verdict for one in score.pieces]

    without = scored(0, 0, piece=piece, known=True)
    assert set(verdicts(without)) == {"clean"}
    for known in (False, True):
        score = scored(left_ms, right_ms, piece=piece, known=known)
        if known or piece:
            assert verdicts(score) == verdicts(without)
        else:
            # The first set piece asks for one start only: its delay is not known from it.
            assert verdicts(score)[1:] == verdicts(without)[1:]
            assert verdicts(score)[0] == "not judged"


@pytest.mark.parametrize(("left_ms", "right_ms"), DELAYS_MS)
def test_after_calibration_the_bias_is_the_hands_own_within_3_ms(scored, left_ms, right_ms):
    own = scored(0, 0, known=True).bias_ms
    assert scored(left_ms, right_ms, known=True).bias_ms == pytest.approx(own, abs=3.0)


def test_without_calibration_the_shift_is_named(scored):
    score = scored(60, 5, piece="Mortar twins")
    told = {(one.deck, one.against): one.late_ms for one in score.shifts}
    assert told["left", "click"] == pytest.approx(62, abs=6)
    assert told["right", "click"] == pytest.approx(7, abs=6)
    assert "the left deck is 6" in says(score.shifts)
    assert "--calibrate" in says(score.shifts)
    assert says(scored(0, 0, piece="Mortar twins").shifts) == ""


def act(ms, *, kind="release", side="left", by="click", outcome="heard", beat_s=0.6):
    return ActScore(kind=kind, side=side, beat=0.0, outcome=outcome, by=by, beat_s=beat_s,
                    heard_s=1.0 + ms / 1000 if outcome == "heard" else None, due_s=1.0)  # fmt: skip


def test_shifts_by_hand():
    """Left against right +12 twice and right against left -8, -16: the middle of 12, 12, 8, 16."""
    found = shifts([
        Off("left", "right", 0.012), Off("left", "right", 0.012),
        Off("right", "left", -0.008), Off("right", "left", -0.016),
        Off("left", "click", 0.050),
    ])  # fmt: skip
    assert shift_s(found, "left", "right") == pytest.approx(0.012)
    assert shift_s(found, "right", "left") == pytest.approx(-0.012)
    assert shift_s(found, "left", "click") is None  # one act tells nothing
    assert shift_s(found, "left", "left") == 0.0


def test_early_against_the_click_is_the_hands_own_for_no_delay_makes_early():
    (found,) = shifts([Off("left", "click", -0.030)] * 6)
    assert found.late_ms == 0.0
    (judged,) = judged_of([act(-30)] * 6, Limits(), [found])
    assert judged.bias_beats == pytest.approx(-0.05)
    assert list(faults_of(judged, Limits())) == ["releases early"]


def test_one_start_is_not_judged_by_a_means_limit():
    """35 ms of 600 is 5.8 %: a mean of many would be late at 2.5 %; one act may be by chance.

    Limit of one: 2.5 % + 1.645 x 2 % = 5.79 %; of four: 2.5 % + 1.645 x 2 % / 2 = 4.1 %.
    """

    def faults(ms, count):
        (judged,) = judged_of([act(ms, kind="start")] * count, Limits(), None)
        return list(faults_of(judged, Limits()))

    assert faults(34, 1) == []
    assert faults(36, 1) == ["start late"]
    assert faults(24, 4) == []
    assert faults(26, 4) == ["starts late"]


def test_five_starts_with_the_cited_spread_are_within_reach():
    """Normal errors of 2 % of the beat pass five single starts at least 95 times of 100.

    Each fails beyond 5.79 %, that is 2.895 spreads: 2 x 0.0019; five of them: 1.9 %.
    """
    from statistics import NormalDist

    limit = Limits().bias_of(1, None)
    passes = (1 - 2 * (1 - NormalDist().cdf(limit / 0.02))) ** 5
    assert passes == pytest.approx(0.981, abs=0.002)


def test_a_spread_of_few_acts_must_be_wider_to_count():
    """chi2(0.95; 4) = 9.488 and chi2(0.95; 19) = 30.14 (tables): 4 % x 1.540 and x 1.260."""
    assert Limits().spread_of(4) == pytest.approx(0.0616, abs=1e-4)
    assert Limits().spread_of(19) == pytest.approx(0.0504, abs=1e-4)


def test_a_return_has_half_as_much_room_again():
    """40 ms of 600 is 6.7 %, beyond one release's 5.8 %; a return's is 8.7 %."""
    judged = list(judged_of([act(40), act(40, kind="return")], Limits(), None))
    assert [one.kind for one in judged] == ["release", "return"]
    assert [list(faults_of(one, Limits())) for one in judged] == [["release late"], []]


def test_nothing_that_was_timed_is_nothing_judged():
    unknown = act(35, kind="start")
    assert list(judged_of([unknown], Limits(), [])) == []  # its delay is not known
    assert [one.acts for one in judged_of([unknown], Limits(), None)] == [1]
    assert [one.acts for one in judged_of([act(0, outcome="missed")], Limits(), [])] == [0]


def test_a_start_too_late_for_any_delay_is_late_all_the_same():
    (judged,) = judged_of([act(400, kind="start")], Limits(), [])
    assert list(faults_of(judged, Limits())) == ["start late"]


def test_the_three_sets_are_in_order():
    order = [LEVELS[name] for name in ("competitor", "performer", "beginner")]
    for name in ("bias_beats", "spread_beats", "worst_beats", "tempo_percent"):
        values = [getattr(one, name) for one in order]
        assert values == sorted(set(values))


def test_delays_are_read_back_as_they_were_written():
    known = Delays(left_s=0.04, right_s=0.025, click_s=0.012, measured=True)
    assert delays_from(known.to_json()) == known
    assert delays_from(None) == Delays()


def test_the_mixers_own_delay_is_taken_out_of_its_messages():
    """A fader half over at 10.000 s, heard at 10.012 s by a mixer 12 ms late."""
    late = Delays(mixer_s=0.012, measured=True)
    (told,) = late.corrected_mixer([FaderHeard(10.012, "crossfader", 0.5)])
    assert (told.now_s, told.value) == (pytest.approx(10.0), 0.5)
    assert delays_from(late.to_json()) == late
    assert "mixer 12 ms" in delays_say(late)
    old = {name: value for name, value in late.to_json().items() if name != "mixer_ms"}
    assert delays_from(old).mixer_s == 0.0  # takes from before it was measured


def shifted(errors_ms, clock="left", by="right"):
    (found,) = shifts([Off(clock, by, ms / 1000) for ms in errors_ms])
    return found


@pytest.mark.parametrize(
    ("errors_ms", "late_ms", "named"),
    [
        # The middle; its standard error is 1.253 x 1.4826 x (middle of the ways from it) / sqrt(n).
        ([20, 20, 20, 20], 20.0, True),
        ([8, 8, 8, 8], 8.0, False),  # 8 ms is not worth a word
        ([8.5, 8.5, 8.5, 8.5], 8.5, True),
        ([-20, -20, -20, -20], -20.0, True),
        # Ways from 20: 10, 0, 0, 10, so 5: 1.253 x 1.4826 x 5 / 2 = 4.64, three times 13.9.
        ([10, 20, 20, 30], 20.0, True),
        # From 20: 10, 6, 6, 10, so 8: 7.43, three times 22.3 ms.
        ([10, 14, 26, 30], 20.0, False),
        ([300, 300, 300, 300], 250.0, True),  # no delay is longer
        ([-300, -300, -300, -300], -250.0, True),
    ],
)
def test_how_late_and_whether_it_is_told(errors_ms, late_ms, named):
    found = shifted(errors_ms)
    assert (found.late_ms, found.acts) == (pytest.approx(late_ms), 4)
    assert found.named is named


def test_a_pair_of_clocks_is_told_from_the_left_one():
    other = shifted([20] * 4, clock="right", by="left")
    assert (other.deck, other.against, other.late_ms) == ("left", "right", pytest.approx(-20.0))
    click = shifted([20] * 4, clock="right", by="click")
    assert (click.deck, click.against, click.late_ms) == ("right", "click", pytest.approx(20.0))
    early = shifted([-20] * 4, clock="left", by="click")
    assert (early.late_ms, early.named) == (0.0, False)  # no delay is early against the click


def test_all_that_is_shifted_is_said_in_one_sentence():
    both = shifts([
        *(Off("left", "right", 0.0203) for _ in range(4)),
        *(Off("right", "click", 0.0304) for _ in range(4)),
        *(Off("left", "click", 0.004) for _ in range(4)),
    ])  # fmt: skip
    assert says(both).startswith(
        "All through, the left deck is 20 ms late against the right deck and the right deck is"
        " 30 ms late against the click: a delay on the way or a habit of the hands."
    )
    assert says(both[:1]) == ""  # left against the click: 4 ms
