"""The follower's free numbers held to the sense of their sentences: a sign lost or a point moved.

The bounds are wide enough for another estimate, and each is said by what a hand or a record does in
such a time or place (common practice, no source). Prices and fits are natural logarithms of how
likely a thing is: one in `e^5` is one in 148.
"""

from dataclasses import asdict, fields

from liveaid.follow.numbers import USUAL, Numbers

BOUNDS = {
    "a part of nominal speed: nudged by hand a record is below a third off": (
        (0.05, 0.35), "held_speed run_off slack_most unclear_error"
    ),
    "as long as a hand needs for one movement, and a few messages at 75 a second": (
        (0.03, 0.4),
        "held_for_s run_for_s hand_for_s unclear_s let_go_most_s entered_s news_full_s full_s"
        " contradicted_s look_each_s",
    ),
    "as far as a finger or a sticker's width is off, in seconds of groove": (
        (0.04, 0.4),
        "held_moved_s same_line_s near_cue_s from_cue_s place_s edge_s listens_near_s",
    ),
    "about a beat of 40 to 150 a minute": (
        (0.4, 1.6),
        "same_gap_s stopped_after_s late_after_s hand_reach_s left_on_beat_s anew_s runs_on_s"
        " still_s juggle_run_s listens_before_s",
    ),
    "a bar or two, a breath, a wind of some turns": (
        (1.7, 6.0),
        "span_s idle_after_s hand_lasts_s hand_far_s listens_s plays_up_s more_each_s fade_s"
        " stop_s stop_heard_s count_stands_s settled_s",
    ),
    "a record's side": ((120.0, 1500.0), "stray_s"),
    "a share of times, or of a count's beats: well below all and well above none": (
        (0.09, 0.75),
        "let_go inside listens plays_up draws midway_at midway_doubt phase_doubt start_doubt"
        " release_doubt held_doubt",
    ),
    "a share of times that hardly counts": ((0.01, 0.1), "place_stray unheard_leaves"),
    "and one that is only never nothing": ((0.0005, 0.01), "floor"),
    "not quite as it should be: one in 1.5 to one in 5": (
        (-1.6, -0.4),
        "caught_at_end waiting late_each_s nudged kept_each_s idle_each_s gone_on left_on_least"
        " fall starts not_ready lost_else stays",
    ),
    "hardly ever: one in 7 to one in 5,000": (
        (-8.5, -1.9),
        "caught stopped pushed idle_least held_away past_end past_end_fall outside hand_away least"
        " runs_away lost_runs contradicted",
    ),
    "rather as it should be": ((0.2, 0.75), "at_cue in_hand made_ready"),
    "a gesture's weight, in looks": ((1.7, 6.0), "most most_held"),
    "a bar and a half of four at most": ((3.0, 8.0), "leaving_beats left_on_beats"),
    "as good as on the beat": ((0.03, 0.15), "agrees_beats begun_beats"),
    "up to the half beat": (
        (0.2, 0.6),
        "draw_beats at_start_beats let_go_late_beats release_off_beats next_off_beats",
    ),
    "within a bar": ((1.4, 3.5), "first_beats last_beats early_off_beats late_to_beats"),
    "a per cent or so of pitch": ((0.005, 0.03), "clock_error"),
    "an eighth of a beat, more or less": ((0.07, 0.25), "release_error beat_error"),
    "nothing": ((0.0, 0.0), "start"),
    "dearer by the half": ((0.5, 1.5), "next_late late_start overtime renamed"),
    "at times: one in 5 to one in 30": (
        (1.6, 3.4),
        "start_middle midway farther leaves back_in next_bars overtime_each twins taken_back",
    ),
    "a fault in a routine: one in 90 to one in 5,000": (
        (4.5, 8.5), "next_early again slip_turn slip ahead back first stop lost"
    ),
    "as good as certain": ((15.0, 50.0), "far word"),
    "as many as can be weighed in a look": ((2, 16), "guesses of_one"),
}  # fmt: skip


def test_every_number_is_of_the_size_its_sentence_says():
    usual = asdict(USUAL)
    outside = {
        (name, usual[name], why)
        for why, ((low, high), names) in BOUNDS.items()
        for name in names.split()
        if not low <= usual[name] <= high
    }
    assert outside == set()


def test_every_number_is_held_once():
    held = sorted(name for _, names in BOUNDS.values() for name in names.split())
    assert held == sorted(each.name for each in fields(Numbers))


def test_what_is_worse_costs_more():
    n = USUAL
    assert n.stopped < n.caught < n.caught_at_end < 0 < n.at_cue
    assert n.pushed < n.nudged
    assert n.outside < n.held_away < n.past_end
    assert n.past_end_fall < n.fall  # of a span's own record, and of one that rests
    assert n.next_early > n.next_late
    assert n.first > n.again > n.back_in
    assert n.most > n.most_held
    assert n.near_cue_s > n.from_cue_s
    assert n.guesses > n.of_one
