"""Which port is meant: exact, then a unique part, never a guess."""

import pytest

from liveaid.stage.midi_names import match_port, plain_name

# The forms ALSA gives (client:port and its two numbers) and JACK gives (client:port).
NAMES = ["Pad Box:Pad Box MIDI 1 20:0", "Pad Box:Pad Box MIDI 2 20:1", "Keys:Keys MIDI 1 24:0"]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        ("Pad Box:Pad Box MIDI 2 20:1", 1),
        ("Pad Box:Pad Box MIDI 2", 1),
        ("Pad Box:Pad Box MIDI 2 28:1", 1),  # the numbers change from plug to plug
        ("keys", 2),
        ("box midi 1", 0),
    ],
)
def test_full_names_then_unique_parts(wanted, index):
    assert match_port(wanted, NAMES).index == index


def test_several_that_fit_are_none_and_are_named():
    match = match_port("pad box", NAMES)
    assert match.index is None
    assert match.candidates == tuple(NAMES[:2])


def test_two_of_the_same_controller_are_told_apart_by_full_names_only():
    twins = ["Pads:Pads 20:0", "Pads:Pads 24:0"]
    assert match_port("Pads:Pads 24:0", twins).index == 1
    assert match_port("Pads:Pads", twins).candidates == tuple(twins)


def test_nothing_fits():
    match = match_port("organ", NAMES)
    assert (match.index, match.candidates) == (None, ())


def test_numbers_are_cut_only_where_alsa_puts_them():
    assert plain_name("Pads 20:0") == "Pads"
    assert plain_name("Clock 20:0 out") == "Clock 20:0 out"
