"""Acts of some bars written down as lines: each line read over against the acts it comes to.

A map of four bars whose acts begin before, within and across the bars asked for; by hand.
"""

from __future__ import annotations

import pytest

from liveaid.practice.cut_acts import acts_within
from liveaid.routine import Routine

LINES = {
    -1: "push yes for 1", 0: "baby yes x2", "bar 2": "chirp no for 2",
    "bar 2 beat 3": "let go no for 1/2", "bar 2 beat 3.5": "catch",
    "bar 3": "push yes for 2 open 0 to 1/4 and 1/2 to 1", "bar 3 beat 3": "set pitch +5",
    "bar 3 beat 4": "pull yes for 2 rolled", "bar 4 beat 2": "flare no", "bar 4 beat 4": "hold",
}  # fmt: skip
PLACES = {"yes": {"from": 10.0, "to": 10.3}, "no": {"from": 10.6, "to": 10.85}}


def lines_of(right, gone, beats, *, bars=4, **more):
    piece = {"name": "P", "bars": bars, "tempo": 120, "right": right, **more.pop("piece", {})}
    routine = Routine.model_validate({"title": "T", "metre": 4, "pieces": [piece], **more})
    return acts_within(routine, 0, "right", gone, beats)


@pytest.mark.parametrize(
    ("gone", "beats", "cue_s", "lines"),
    [
        # A pick-up belongs to the first bars; a figure's repeats are told each by itself.
        (0, 4, 10.0, {
            "-1": "push yes for 1 over 0.3 s", "0": "baby yes for 1", "1": "baby yes for 1"}),
        (1, 2, 10.0, {"0": "baby yes for 1"}),
        (4, 4, 10.6, {"0": "chirp no for 2", "2": "let go no for 0.5", "2.5": "catch"}),
        # Half of a pull is .15 s of record; the half of a figure is told by its acts.
        (8, 4, 10.0, {
            "0": "push yes for 2 over 0.3 s open 0 to 0.25 and 0.5 to 1",
            "2": "set pitch +5.0000 for 1 closed", "3": "pull yes for 1 over 0.15 s rolled"}),
        (5, 4, 10.85, {
            "0": "pull no for 1 over 0.25 s open 0.25 to 1", "1": "let go no for 0.5",
            "1.5": "catch", "3": "push yes for 1 over 0.15 s open 0 to 0.25 and 0.5 to 1"}),
        (12, 4, 10.0, {"1": "flare no for 1", "3": "hold no for 1"}),
        (9, 5, 10.3, {
            "1": "set pitch +5.0000 for 1 closed", "2": "pull yes for 2 over 0.3 s rolled",
            "4": "flare no for 1"}),
        (8, 0.5, 10.0, {"0": "push yes for 0.5 over 0.075 s open 0 to 0.25"}),
    ],
)  # fmt: skip
def test_the_acts_of_some_bars_as_lines(gone, beats, cue_s, lines):
    right = {"hand": "works", "from": 10.0, "to": 11.4, "places": PLACES, "acts": LINES}
    plan = lines_of(right, gone, beats)
    assert plan.acts == lines
    assert list(plan.acts) == list(lines)
    assert plan.own_cue_s == pytest.approx(cue_s)
    assert plan.strokes is None


SOUNDS = {
    "call": {"file": "call.wav", "kind": "a cappella",
             "parts": {"ho": {"from": 0.2, "to": 0.5}, "hey": {"from": 0.7, "to": 0.9}}},
    "bell": {"file": "bell.wav", "kind": "sample",
             "parts": {"ding": {"from": 0.1, "to": 0.45}, "ho": {"from": 0.6, "to": 0.7}}},
}  # fmt: skip
TWO_SOUNDS = {
    0: "baby ding", 2: "stab hey", 3: "push ding for 1", 4: "pull for 1",
    5: "baby ho of call for 2", 7: "push ho of bell for 1/2", 7.5: "spin back for 1/2",
}  # fmt: skip


@pytest.mark.parametrize(
    ("gone", "beats", "lines"),
    [
        (0, 4, {"0": "baby ding for 1", "2": "stab hey for 0.5",
                "3": "push ding for 1 over 0.35 s"}),
        # What comes first names where the record is to be, a pull the end of its part.
        (4, 4, {"0": "pull ding for 1 over 0.35 s", "1": "baby ho of call for 2",
                "3": "push ho for 0.5 over 0.1 s of bell", "3.5": "spin back for 0.5 over 1.3 s"}),
        (3, 2, {"0": "push ding for 1 over 0.35 s", "1": "pull ding for 1 over 0.35 s"}),
        (5.5, 2, {"0.5": "pull ho for 1 over 0.3 s of call",
                  "1.5": "push ho for 0.5 over 0.1 s of bell"}),
        (5, 2, {"0": "baby ho of call for 2"}),
    ],
)  # fmt: skip
def test_parts_of_two_sounds_are_told_apart_where_no_record_is_laid_yet(gone, beats, lines):
    right = {"hand": "works", "acts": TWO_SOUNDS}
    plan = lines_of(right, gone, beats, bars=2, sounds=SOUNDS)
    assert plan.acts == lines
    assert plan.own_cue_s is None


def test_a_figure_that_names_no_part_is_told_the_one_it_begins_on():
    """The second baby is on ding as the first: cut out it says so."""
    acts = {0: "baby ding", 4: "baby for 2", 6: "flare"}
    plan = lines_of({"hand": "works", "acts": acts}, 4, 4, bars=2, sounds=SOUNDS)
    assert plan.acts == {"0": "baby ding for 2", "2": "flare for 1"}
    acts = {0: "baby ho of bell", 4: "baby for 2"}
    plan = lines_of({"hand": "works", "acts": acts}, 4, 4, bars=2, sounds=SOUNDS)
    assert plan.acts == {"0": "baby ho for 2 of bell"}


def test_of_a_melody_the_notes_that_begin_in_the_bars_none_longer_than_they_are():
    right = {"hand": "works", "sound": "bell",
             "notes": {0: "A4 for 3", 3: "B4 for 2", 5: "A4 for 1", 6: "B4 for 2"}}  # fmt: skip
    sounds = {"bell": SOUNDS["bell"] | {"key": "A major"}}
    for gone, beats, notes in (
        (0, 4, {"0": "A4 for 3", "3": "B4 for 1"}), (4, 4, {"1": "A4 for 1", "2": "B4 for 2"}),
        (3, 3, {"0": "B4 for 2", "2": "A4 for 1"}),
        (3, 3.5, {"0": "B4 for 2", "2": "A4 for 1", "3": "B4 for 0.5"}),
    ):  # fmt: skip
        assert lines_of(right, gone, beats, bars=2, sounds=sounds).notes == notes
