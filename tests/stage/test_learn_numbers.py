"""What single numbers tell of a sender: its unit, its decks' names, whether a number grows."""

import math
from types import SimpleNamespace

import pytest

from liveaid.stage.learn_osc import NothingLearned, _follows, learn_map
from liveaid.stage.learn_streams import Stream, steady_rate, streams_of, wraps
from liveaid.stage.learn_unit import sends_of, unit_of
from liveaid.stage.osc_packet import OscMessage

LONG = (0.0, 5000.0)
"""Values that no fraction of a file and no percentage take."""


def samples(hz):
    return {"unit": "samples", "sample_rate": hz}


@pytest.mark.parametrize(
    ("rate", "fields", "nominal"),
    [
        (1.12, {"unit": "seconds"}, 1.0),
        (0.89, {"unit": "seconds"}, 1.0),
        (1090.0, {"unit": "milliseconds"}, 1000.0),
        (22050.0, samples(22050), 22050.0),
        (32000.0, samples(32000), 32000.0),
        (192000.0, samples(192000), 192000.0),
        (0.56, {"unit": "turns", "rpm": 33.333}, 1 / 1.8),
        (0.7, {"unit": "turns", "rpm": 45.0}, 0.75),
    ],
)
def test_a_rate_near_one_unit_s_speed_at_pitch_0_is_that_unit(rate, fields, nominal):
    """Within some 12 %. 33 1/3 turns a minute are a turn in 1.8 s (IEC 60098), 45 .75 a second."""
    found = unit_of(rate, LONG)
    assert (found.fields, found.doubt) == (fields, "")
    assert found.nominal == pytest.approx(nominal)


@pytest.mark.parametrize(
    ("rate", "hz", "rival"), [(44100.0, 44100, 48000), (47000.0, 48000, 44100),
                              (88200.0, 88200, 96000), (96000.0, 96000, 88200)])  # fmt: skip
def test_rates_9_per_cent_apart_leave_a_doubt(rate, hz, rival):
    """IEC 60908's 44,100 and the studio's 48,000 samples a second, and their doubles."""
    found = unit_of(rate, LONG)
    assert found.fields == samples(hz)
    assert found.doubt == (
        f"{float(rival):g} a second is near as well (unit samples, sample_rate {rival}): "
        "was the pitch at 0?"
    )


@pytest.mark.parametrize(
    ("rate", "top", "file_s"),
    [(1 / 240, 1.0, 240.0), (1 / 240, 1.04, 240.0), (0.49, 0.5, 2.041), (1 / 3, 0.9, 3.0)],
)
def test_what_creeps_from_0_to_1_is_a_part_of_the_file(rate, top, file_s):
    """A file of 240 s goes by at 1 / 240 a second; over its end by a twentieth is its end."""
    found = unit_of(rate, (-0.04, top))
    assert found.fields == {"unit": "fraction", "file_s": file_s}
    assert found.doubt == (
        f"a file of {file_s:g} s, if the pitch was at 0; leave file_s out to measure it"
    )


@pytest.mark.parametrize(
    ("rate", "lowest", "top", "file_s"),
    [
        (100 / 240, 0.0, 20.0, 240.0),  # turns at 33 1/3 would be .5556
        (49.0, 0.0, 100.0, 2.041),
        (10.0, -4.0, 104.0, 10.0),
        (0.5, 0.0, 0.9, 200.0),  # a part of the file would be over in two seconds
        (0.89, 0.0, 0.9, 112.36),
        (0.02, 0.0, 1.06, 5000.0),  # above 1, and by more than a twentieth
        (0.02, -0.06, 1.0, 5000.0),
    ],
)
def test_what_creeps_from_0_to_100_is_per_cent_of_it(rate, lowest, top, file_s):
    found = unit_of(rate, (lowest, top))
    assert found.fields == {"unit": "fraction", "scale": 0.01, "file_s": file_s}
    assert found.doubt == f"per cent of a file of {file_s:g} s, if the pitch was at 0"


@pytest.mark.parametrize(
    ("rate", "lowest", "top", "scale"),
    [(50.0, 0.0, 100.0, 0.02), (10.0, 0.0, 106.0, 0.1), (10.0, -6.0, 100.0, 0.1),
     (1.14, 0.0, 5000.0, 0.877192982)],
)  # fmt: skip
def test_any_other_rate_is_seconds_by_a_scale(rate, lowest, top, scale):
    found = unit_of(rate, (lowest, top))
    assert found.fields == {"unit": "seconds", "scale": scale}
    assert found.doubt == "no unit we know: seconds by scale, if the pitch was at 0"


def test_a_second_s_file_or_seconds():
    """.95 a second between 0 and 1 is seconds; below .9 it would be a slow record."""
    assert unit_of(0.95, (0.0, 1.0)).fields == {"unit": "seconds"}


def stream(times_s, values):
    return Stream("/d", 0, times_s=list(times_s), values=list(values))


@pytest.mark.parametrize(
    ("times_s", "values", "sends", "why"),
    [
        ([0.1 * n for n in range(6)], [7.0] * 6, "always", "again and again"),
        ([0.1 * n for n in range(5)], [7.0] * 5, "always", "a guess"),
        ([0.0, 0.1, 0.2, 0.3, 1.5], range(5), "on_change", "a pause"),
        ([0.0, 0.1, 0.2, 0.3, 1.2], range(5), "always", "a guess"),
        ([0.0, 0.01, 0.02, 0.03, 0.6], range(5), "on_change", "a pause"),
        ([0.0, 0.01, 0.02, 0.03, 0.5], range(5), "always", "a guess"),
    ],
)
def test_whether_a_standing_record_sends(times_s, values, sends, why):
    """The same five times over is no accident; a pause is ten times the usual and half a second."""
    found, said = sends_of([stream(times_s, values)])
    assert found == sends
    assert why in said


def test_rates_over_windows_of_four_tenths():
    """.4 s is a window; more than 1.2 s between two numbers is a gap, of which nothing is known."""
    found = stream([0.0, 0.2, 0.4, 0.9, 2.25, 2.5, 2.75], [0.0, 1.0, 2.0, 3.0, 9.0, 9.5, 10.0])
    assert found.rates() == [
        pytest.approx((0.2, 5.0)), pytest.approx((0.65, 2.0)), pytest.approx((2.5, 2.0)),
    ]  # fmt: skip
    assert stream([0.0, 1.1875], [0.0, 1.0]).rates() == [pytest.approx((0.59375, 1 / 1.1875))]
    assert stream([0.0, 1.25], [0.0, 1.0]).rates() == []


def growing(*rates):
    """A number that goes on at each rate for half a second."""
    values = [sum(rates[:n]) / 2 for n in range(len(rates) + 1)]
    return stream([n / 2 for n in range(len(values))], values)


@pytest.mark.parametrize(
    ("rates", "steady"),
    [
        ((1.0, 1.0, 1.0), None),
        ((1.0, 1.0, 1.0, 1.0), 1.0),
        ((1.0, 1.0, 1.0, 0.0, -5.0, 1.0), 1.0),  # a stand and a way back are not growing
        ((1.0, 1.0, 1.0, 3.0, 9.0), 1.0),  # three of five agree
        ((1.0, 1.0, 3.0, 9.0), None),
        ((1.0, 1.1, 1.1, 0.3, 0.2), 1.1),  # the middle is 1.0; of those near it 1.1
        ((1.0, 1.0, 1.0, 1.11, 1.11), 1.0),
        ((1.0, 1.0, 1.13, 0.87, 0.5, 9.0, 1.0), None),
    ],
)
def test_what_grows_steadily(rates, steady):
    """At least four windows that grow, and six tenths of them within 12 % of the middle one."""
    found = steady_rate(growing(*rates))
    assert found == (None if steady is None else pytest.approx(steady))


@pytest.mark.parametrize(
    ("values", "angle"),
    [
        ((10.0, 11.0, 10.1, 11.0, 10.1), True),
        ((10.0, 11.0, 10.1, 11.0), False),  # once
        ((10.0, 11.0, 10.3, 11.0, 10.3), False),  # by seven tenths of its span
        ((0.0, 5.0, 10.0), False),
    ],
)
def test_an_angle_falls_back_again_and_again(values, angle):
    assert wraps(stream(range(len(values)), values)) is angle


def heard(*arguments):
    return [(float(n), OscMessage("/d", each)) for n, each in enumerate(arguments)]


def test_an_argument_that_goes_to_and_fro_names_the_deck():
    """Two names need six changes: seven messages in turn, not six."""
    turns = [("A" if n % 2 else "B", n * 1.5) for n in range(7)]
    named = streams_of(heard(*turns))
    assert [one.name for one in named] == ["/d argument 1, deck B", "/d argument 1, deck A"]
    assert named[1].values == [1.5, 4.5, 7.5]
    assert named[1].times_s == [1.0, 3.0, 5.0]
    (one,) = streams_of(heard(*turns[:6]))
    assert one.name == "/d argument 1"


@pytest.mark.parametrize(("names", "named"), [(8, True), (9, False)])
def test_no_more_than_eight_decks(names, named):
    found = streams_of(heard(*((n % names, n + 0.5) for n in range(3 * names + 1))))
    assert ({one.deck_argument for one in found} == {0}) is named


def test_whole_numbers_name_decks_and_others_do_not():
    found = streams_of(heard(*((float(n % 2 + 1), n + 0.5) for n in range(8))))
    assert {one.deck for one in found} == {"1", "2"}
    found = streams_of(heard(*((n % 2 + 0.5, n + 0.25) for n in range(8))))
    assert {(one.argument, one.deck) for one in found} == {(0, None), (1, None)}


def test_only_finite_numbers_are_streams():
    found = streams_of(heard((1.0, True, "x"), (math.inf, False, "y"), (math.nan,), (2.0,)))
    assert [(one.argument, one.values) for one in found] == [(0, [1.0, 2.0])]


def sent(address, *, starts_s=0.5, rate=1.0, stops_s=9.0, every_s=0.05, more=()):
    """A position that grows between two moments, and other numbers beside it, for ten seconds."""
    return [
        (n * every_s, OscMessage(address, (
            20.0 + rate * max(0.0, min(n * every_s, stops_s) - starts_s),
            *(f(starts_s <= n * every_s < stops_s) for f in more),
        )))
        for n in range(200)
    ]  # fmt: skip


def learned(*streams):
    return learn_map(sorted((one for each in streams for one in each), key=lambda one: one[0])).tree


@pytest.mark.parametrize(
    ("left", "right", "address", "names"),
    [
        ("/deck/1/pos", "/deck/2/pos", "/deck/{deck}/pos", ("1", "2")),
        ("/A_pos", "/B_pos", "/{deck}_pos", ("A", "B")),
        ("/deck1", "/deck2", "/deck{deck}", ("1", "2")),
        ("/deckL_time", "/deckR_time", "/deck{deck}_time", ("L", "R")),
        ("/left-time", "/right-time", "/{deck}-time", ("left", "right")),
        ("/d/left", "/d/right", "/d/{deck}", ("left", "right")),
        ("/deck1", "/deck12", "/deck{deck}", ("1", "12")),
    ],
)
def test_what_differs_in_two_addresses_is_the_deck_s_name(left, right, address, names):
    """Letters alike in front are no part of it, nor what follows a joint such as `_` behind."""
    found = learned(sent(left), sent(right, starts_s=2.0))
    assert found["position"]["address"] == address
    assert (found["decks"]["left"], found["decks"]["right"]) == names


@pytest.mark.parametrize(("first", "left"), [("/d/x", "x"), ("/d/y", "y")])
def test_decks_of_no_known_names_are_in_the_order_they_moved(first, left):
    starts = {"/d/x": 2.0, "/d/y": 2.0, first: 0.5}
    found = learned(*(sent(one, starts_s=starts[one]) for one in ("/d/x", "/d/y")))
    assert found["decks"]["left"] == left


def test_left_is_left_by_its_name_whoever_moved_first():
    found = learned(sent("/d/right"), sent("/d/left", starts_s=3.0))
    assert found["decks"] == {"left": "left", "right": "right"}


@pytest.mark.parametrize("other", ["/other/place/right", "/x/y/z", "/d/left/right"])
def test_two_addresses_that_differ_in_more_than_one_word_are_not_two_decks(other):
    with pytest.raises(NothingLearned, match="only one deck's position was heard"):
        learned(sent("/d/right"), sent(other, rate=1.05))


def test_two_numbers_that_grow_at_other_rates_are_not_two_decks():
    """Within 12 % they are, as records at two pitches."""
    assert learned(sent("/d/1"), sent("/d/2", rate=1.1))["decks"] == {"left": "1", "right": "2"}
    with pytest.raises(NothingLearned, match="only one deck"):
        learned(sent("/d/1"), sent("/d/2", rate=1.2))


def test_a_number_that_says_whether_a_record_turns_is_its_speed():
    """1 while it runs and 0 while it stands; one that never changes is none."""
    runs, idle = (lambda turns: 1.0 if turns else 0.0), (lambda turns: 0.5)
    found = learned(
        sent("/d/1", more=(idle, runs), stops_s=6.0), sent("/d/2", more=(idle, runs), starts_s=3.0)
    )
    assert found["speed"] == {"address": "/d/{deck}", "argument": 2}
    plain = learned(sent("/d/1", more=(idle,), stops_s=6.0), sent("/d/2", more=(idle,)))
    assert "speed" not in plain


def test_what_found_no_place_is_told_with_its_bounds():
    found = learn_map(
        sorted([*sent("/d/1", more=(lambda turns: 7.5,)), *sent("/d/2"),
                *((n / 20, OscMessage("/beat", (float(n % 5),))) for n in range(200))],
               key=lambda one: one[0])
    )  # fmt: skip
    left = [note for note in found.notes if note.startswith("not used: ")]
    assert sorted(left) == [
        "not used: /beat argument 0, from 0 to 4 (falls back again and again: an angle?)",
        "not used: /d/1 argument 1, from 7.5 to 7.5",
    ]


@pytest.mark.parametrize(
    ("streams", "said"),
    [
        ((), "no numbers were heard; is the sender on"),
        (([(n / 20, OscMessage("/a", (float(n % 40),))) for n in range(200)],),
         "/a argument 0 falls back each turn: an angle"),
        (([(n / 20, OscMessage("/a", (float(n % 2 * 7),))) for n in range(200)],), "/a argument 0"),
    ],
)  # fmt: skip
def test_what_is_said_when_nothing_is_learned(streams, said):
    with pytest.raises(NothingLearned, match=said.replace("?", r"\?")):
        learned(*streams)


@pytest.mark.parametrize(
    ("rates", "nominal", "values", "follows"),
    [
        # 0, 1, 1, 0 of nominal, told as they are; off by a twentieth, by a fifth, by one.
        ((0, 2, 2, 0), 2.0, ((0.0, (0, 1, 1, 0)),), True),
        ((0, 2, 2, 0), 2.0, ((0.0, (0.05, 1.05, 0.95, 0.05)),), True),
        ((0, 2, 2, 0), 2.0, ((0.0, (0.2, 1.2, 1.2, 0.2)),), False),
        ((0, 2, 2, 0), 2.0, ((0.0, (-1, 0, 0, -1)),), False),
        # One in four may be told late, two may not.
        ((0, 2, 2, 0), 2.0, ((0.0, (0, 1, 1, 1)),), True),
        ((0, 2, 2, 0), 2.0, ((0.0, (0, 1, 1.5, 1)),), False),
        # Four rates at the least, and half of nominal between the least and the most.
        ((0, 2, 0), 2.0, ((0.0, (0, 1, 0)),), False),
        ((0.5, 1, 1, 0.5), 1.0, ((0.0, (0.5, 1, 1, 0.5)),), True),
        ((0.75, 1, 1, 0.75), 1.0, ((0.0, (0.75, 1, 1, 0.75)),), False),
        # What is told within a fifth of a second counts.
        ((0, 2, 2, 0), 2.0, ((0.15, (0, 1, 1, 0)),), True),
        ((0, 2, 2, 0), 2.0, ((0.0, (0, 1, 1, 0)), (0.3, (9, 9, 9, 9))), True),
        ((0, 2, 2, 0), 2.0, ((0.3, (0, 1, 1, 0)),), False),
    ],
)
def test_whether_a_number_is_the_record_s_speed(rates, nominal, values, follows):
    """Rates at 0, 1, 2 and 3 s; values so much later."""
    position = SimpleNamespace(rates=lambda: list(enumerate(rates)))
    told = sorted((at + late_s, value) for late_s, each in values for at, value in enumerate(each))
    times_s, told_values = zip(*told, strict=True)
    speed = SimpleNamespace(times_s=times_s, values=told_values)
    assert _follows(speed, position, nominal) is follows


def test_a_speed_is_told_by_both_decks_or_by_none():
    runs, idle = (lambda turns: 1.0 if turns else 0.0), (lambda turns: 0.5)
    for left, right in ((runs, idle), (idle, runs)):
        found = learned(
            sent("/d/1", more=(left,), stops_s=6.0), sent("/d/2", more=(right,), starts_s=3.0)
        )
        assert "speed" not in found


def test_of_decks_that_moved_at_once_the_first_to_be_heard_is_the_left():
    assert learned(sent("/d/y"), sent("/d/x"))["decks"] == {"left": "y", "right": "x"}


def test_a_rate_between_two_units_is_told_with_its_doubt():
    """46,000 a second: 44,100 and 48,000 are both within the fader."""
    found = learn_map(
        sorted([*sent("/d/1", rate=46000.0), *sent("/d/2", rate=46000.0)], key=lambda one: one[0])
    )
    assert found.notes[1:-1] == (
        "48000 a second is near as well (unit samples, sample_rate 48000): was the pitch at 0?",
    )
    plain = learn_map(sorted([*sent("/d/1"), *sent("/d/2")], key=lambda one: one[0]))
    assert len(plain.notes) == 2


def test_at_most_forty_numbers_without_a_place_are_told_and_eight_where_nothing_grew():
    more = tuple((lambda turns, n=n: 7.0 + n) for n in range(41))
    found = learn_map(sorted([*sent("/d/1", more=more), *sent("/d/2")], key=lambda one: one[0]))
    assert sum(note.startswith("not used: ") for note in found.notes) == 40
    with pytest.raises(NothingLearned) as told:
        learned(sent("/d/1", rate=0.0, more=more[:8]))
    assert str(told.value).count("argument") == 8


def test_a_deck_may_be_named_in_the_arguments_of_one_address():

    def named(address, deck, starts_s):
        return [
            (when, OscMessage(address, (deck, *message.arguments)))
            for when, message in sent(address, starts_s=starts_s)
        ]

    one = learned(named("/d", "A", 0.5), named("/d", "B", 2.0))
    assert one["decks"] == {"left": "A", "right": "B"}
    assert one["position"]["deck_argument"] == 0
