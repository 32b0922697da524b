"""What the performer is told of the stage itself."""

import pytest

from liveaid.stage.stage_notes import STAYS_S, Notes, Vitals


def looked(*vitals, every_s=1.0):
    notes = Notes()
    for step, one in enumerate(vitals):
        notes.look(one, step * every_s)
    return notes


def test_all_well_says_nothing():
    assert looked(Vitals(heard=0), Vitals(heard=400), Vitals(heard=800)).sentences() == []


def test_drops_are_told_with_their_rate_and_sender():
    notes = looked(
        Vitals(), Vitals(heard=900, over_budget=41_000, over_budget_from="192.0.2.9:5005")
    )
    (sentence,) = notes.sentences()
    assert "41000 messages a second are left out" in sentence
    assert "192.0.2.9:5005" in sentence
    assert notes.rates == {"heard": 900, "refused": 0, "over_budget": 41000, "by_the_system": 0}


def test_rates_are_by_the_second_whenever_it_was_looked():
    assert looked(Vitals(), Vitals(heard=100), every_s=0.5).rates["heard"] == 200


def test_a_sentence_stays_to_be_read_and_goes():
    notes = looked(Vitals(), Vitals(by_the_system=300))
    assert "drops 300 datagrams a second" in notes.sentences()[0]
    notes.look(Vitals(by_the_system=300), 1.0 + STAYS_S - 0.1)
    assert notes.sentences()
    notes.look(Vitals(by_the_system=300), 1.0 + STAYS_S + 0.1)
    assert notes.sentences() == []


def test_a_sender_with_another_map_is_told_and_a_stray_one_not():
    wrong = looked(Vitals(), Vitals(refused=200, last_refused="unknown address"))
    assert "unknown address" in wrong.sentences()[0]
    assert "learn osc" in wrong.sentences()[0]
    assert looked(Vitals(), Vitals(heard=400, refused=200)).sentences() == []


def test_ports_lag_and_strangers_are_told_in_words():
    notes = looked(
        Vitals(),
        Vitals(lag_s=0.4, turned_away=500, ports={"nightbox": "no port of that name"}),
    )
    said = " ".join(notes.sentences())
    assert "held up for 0.4 s" in said
    assert "those that say nothing are closed" in said
    assert "nightbox: no port of that name." in said


@pytest.mark.parametrize(
    ("vitals", "says"),
    [
        (Vitals(over_budget=1, over_budget_from="192.0.2.9:5005"),
         "More arrives than can be heard: 1 messages a second are left out, the oldest first, most"
         " from 192.0.2.9:5005."),
        (Vitals(by_the_system=1),
         "The system drops 1 datagrams a second before they can be read: this machine is too busy,"
         " or something floods it."),
        (Vitals(refused=5, last_refused="no float"),
         "5 messages a second are not understood (no float); `liveaid learn osc` makes a map for"
         " the sender."),
        (Vitals(heard=6, refused=7, last_refused="no float"),
         "7 messages a second are not understood (no float); `liveaid learn osc` makes a map for"
         " the sender."),
        (Vitals(heard=6, refused=6), None),
        (Vitals(refused=4), None),
        (Vitals(lag_s=0.25), "This machine is too busy: liveaid was held up for 0.2 s."),
        (Vitals(lag_s=0.24), None),
        (Vitals(turned_away=11),
         "Something opens page after page here; those that say nothing are closed."),
        (Vitals(turned_away=10), None),
        (Vitals(ports={}), None),
    ],
)  # fmt: skip
def test_from_which_count_on_a_sentence_is_told(vitals, says):
    """Counts from nothing to these within one second."""
    assert looked(Vitals(), vitals).sentences() == ([] if says is None else [says])


def test_counts_are_held_against_the_look_before_not_against_the_start():
    notes = looked(Vitals(turned_away=400, refused=400), Vitals(turned_away=405, refused=404))
    assert notes.sentences() == []
    assert notes.rates["refused"] == 4


def test_a_sentence_is_told_for_just_under_five_seconds_more():
    notes = looked(Vitals(), Vitals(lag_s=1.0))
    assert notes.sentences() == ["This machine is too busy: liveaid was held up for 1.0 s."]
    notes.look(Vitals(), 5.9)
    assert len(notes.sentences()) == 1
    notes.look(Vitals(), 6.0)
    assert notes.sentences() == []


def test_the_first_look_has_no_second_to_count_in():
    """Nothing is known of what came before: no rate, however much it was."""
    assert looked(Vitals(heard=10**6, refused=10**6)).rates["refused"] == 0
