"""The table of hand figures against what its own lines say they stand for.

Each is reckoned here from the source's figure in its own unit; where the trade alone is the source,
the figure stands as the trade has it (common practice, no source).
"""

import math

import pytest

from liveaid.record.figures import figure


def test_hand_speeds_are_those_of_reaching_ten_centimetres_from_the_spindle():
    # A turn at 10 cm is 2 pi x 0.1 = 0.6283 m. Peak speed of fast reaching 2 to 3 m/s, peak
    # acceleration 40 to 60 m/s2 (from memory).
    turn_m = 2 * math.pi * 0.1
    assert figure("hand_turns_per_s") * turn_m == pytest.approx(2.83, abs=0.01)
    assert figure("hand_turns_per_s2") * turn_m == pytest.approx(50.3, abs=0.1)


def test_a_needle_lands_two_grooves_off():
    # IEC 60098 (from memory): ten minutes at 33 1/3 are 333 grooves on 80 mm, 4.17 a millimetre;
    # half a millimetre is 2.08 of them.
    grooves = 10 * 100 / 3 / 80 * 0.5
    assert figure("needle_turns") == pytest.approx(grooves, abs=0.1)


def test_a_record_is_set_within_thirty_degrees():
    assert figure("settle_width_turns") * 360 == pytest.approx(30.0)


def test_a_hand_changes_its_place_as_fast_as_fitts_says():
    # 25 cm to a target 5 cm wide: log2(2 x 25 / 5) = 3.32 bits, at 12 to 16 bits/s 0.21 to 0.28 s.
    bits = math.log2(2 * 25 / 5)
    assert bits / 16 - 0.01 <= figure("hand_move_s") <= bits / 12
    # 15 cm to the fader: log2(15 / 5 + 1) = 2 bits in the form of MacKenzie (1989, from memory).
    assert 2 / 16 <= figure("fader_move_s") <= 2 / 12


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("strokes_per_s", 5.0, 7.0),  # taps a second, Repp 2005 (from memory)
        ("tiring_s", 5.0, 10.0),  # seconds until fastest tapping falls off (from memory)
        ("tired_share", 0.75, 0.85),  # 15 to 25 % slower (from memory)
    ],
)
def test_a_figure_lies_where_its_source_puts_it(name, least, most):
    assert least <= figure(name) <= most


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("wind_turns_per_s", 3.0),
        ("settle_s", 0.5),
        ("needle_s", 3.0),
        ("reach_turns", 0.75),
        ("taps_per_s", 8.0),
        ("rolled_taps_per_s", 20.0),
        ("set_pitch_s", 0.3),
        ("release_s", 0.03),
        ("hold_s", 0.035),
        ("motor_start_s", 0.6),
        ("motor_stop_s", 0.35),
    ],
)
def test_the_trades_own_figures(name, value):
    """Common practice, no source: other hands have their own settings."""
    assert figure(name) == value
