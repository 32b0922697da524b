"""The routine as the pages draw it."""

from liveaid.routine import load_routine
from liveaid.stage.outline import Outlined, outline


def test_set_pieces_stand_on_one_line_of_beats_and_seconds(routines):
    """three.yaml by hand: three-four: three beats a bar, 60 / BPM s a beat."""
    routine = load_routine(routines / "three.yaml")
    found = outline(routine)
    beat, at_s = 0, 0.0
    for piece, told in zip(routine.pieces, found["pieces"], strict=True):
        assert (told["from_beat"], round(told["from_s"], 2)) == (beat, round(at_s, 2))
        beat += 3 * piece.bars
        at_s += 3 * piece.bars * 60.0 / piece.tempo_bpm
    assert found["beats"] == beat


def test_an_edited_map_has_another_edition_and_is_drawn_anew(routines):
    routine = load_routine(routines / "three.yaml")
    outlined = Outlined()
    before = outlined.of(routine)
    assert outlined.of(routine) is before
    first = routine.pieces[0].model_copy(update={"name": "Another name"})
    edited = routine.model_copy(update={"pieces": (first, *routine.pieces[1:])})
    after = outlined.of(edited)
    assert after["pieces"][0]["name"] == "Another name"
    assert after["edition"] != before["edition"]
