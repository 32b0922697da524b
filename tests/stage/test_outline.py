"""The routine as the pages draw it."""

from liveaid.routine import Routine, load_routine
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


def test_written_acts_are_drawn_by_place_and_fader():
    """A baby over 0.36 s of 1.8 s a turn: 0.2 turns out in half a beat, and back."""
    right = {"hand": "works", "from": 10, "to": 11, "places": {"a": {"from": 10, "to": 10.36}},
             "acts": {0: "baby a"}}  # fmt: skip
    pieces = [{"name": "P", "bars": 1, "tempo": 120, "right": right}]
    acts = outline(Routine.model_validate({"title": "T", "pieces": pieces}))["pieces"][0]["acts"]
    assert set(acts) == {"right"}
    line = dict(map(tuple, acts["right"]["line"]))
    assert (line[0.0], line[0.5], line[1.0]) == (0.0, 0.2, 0.0)
    assert acts["right"]["open"] == [[0.0, 1.0]]
