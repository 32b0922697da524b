"""The words of a section map one by one: what each takes at its bounds, and what it says."""

import pytest
from pydantic import TypeAdapter, ValidationError

from liveaid.routine.model import (
    ClockTime,
    Figure,
    Piece,
    Routine,
    Runs,
    Sound,
    SoundPart,
    Stamp,
    Turntable,
    Want,
    Works,
    WrittenBars,
    clock_time,
    other_side,
    without_place,
)


def read(kind, text):
    """What a field makes of it; None where it is refused."""
    try:
        return TypeAdapter(kind).validate_python(text)
    except ValidationError:
        return None


def test_the_deck_across_the_mixer():
    assert (other_side("left"), other_side("right")) == ("right", "left")


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("3:00", 180.0), ("0:30.5", 30.5), ("1:02:03", 3723.0), ("2:00:00", 7200.0), (90, 90.0),
        ("2:00:01", None), ("0:00", None), ("1:2:03", None), ("1:60", None), ("3", None),
        (7200, 7200.0), (7201, None), ("999:59", None),
    ],
)  # fmt: skip
def test_a_time_limit_is_minutes_and_seconds_up_to_two_hours(text, seconds):
    assert read(ClockTime, text) == seconds


@pytest.mark.parametrize(
    ("seconds", "digits", "text"),
    [(59.9996, 3, "1:00"), (59.9994, 3, "0:59.999"), (61.5, 1, "1:01.5"), (3723.0, 3, "62:03"),
     (5.25, 2, "0:05.25")],
)  # fmt: skip
def test_how_a_time_is_written(seconds, digits, text):
    assert clock_time(seconds, digits=digits) == text


@pytest.mark.parametrize(
    ("text", "bars"), [("8", 8.0), (8, 8.0), ("2 1/2", 2.5), ("7/4", 1.75), ("a", None)]
)
def test_bars_may_have_a_part_of_one(text, bars):
    assert read(WrittenBars, text) == bars


def refused(kind, fields):
    """Where a fault lies, or None when it is taken."""
    try:
        kind.model_validate(fields)
    except ValidationError as error:
        told = error.errors()[0]
        return f"{told.get('ctx')} {told['msg']}"
    return None


@pytest.mark.parametrize(
    ("kind", "fields", "fault"),
    [
        (SoundPart, {"from": 1.0, "to": 1.5}, None),
        (SoundPart, {"from": 1.0, "to": 1.0}, "a second after `from` (1) would do"),
        (SoundPart, {"from": 1.0, "to": 1.5, "attack": 1.0}, None),
        (SoundPart, {"from": 1.0, "to": 1.5, "attack": 1.5}, "a second from 1 to 1.5 would do"),
        (SoundPart, {"from": 1.0, "to": 1.5, "attack": 0.9}, "a second from 1 to 1.5 would do"),
        (Figure, {"beats": 4, "acts": {0: "push"}}, None),
        (Figure, {"like": "ask"}, None),
        (Figure, {"like": "ask", "but": {0: "push"}}, None),
        (Figure, {"beats": 4}, "one of acts, juggle or like would do"),
        (Figure, {"beats": 4, "acts": {}, "like": "ask"}, "one of acts, juggle or like would do"),
        (Figure, {"acts": {0: "push"}}, "how many beats it lasts would do"),
        (Figure, {"beats": 4, "acts": {}, "but": {}}, "the figure that `but` varies would do"),
        (Works, {"from": 1.0, "to": 1.5}, None),
        (Works, {"from": 1.0, "to": 1.0}, "a second after `from` (1) would do"),
        (Works, {"to": 1.0}, "`from` beside `to` would do"),
        (Works, {"from": 1.0}, None),
        (Works, {"strokes": [0, 1, 2]}, None),
        (Works, {"strokes": [0, 1, 1]}, "beats in rising order would do"),
        (Works, {"strokes": [0], "acts": {0: "push"}}, "either `strokes` or `acts` would do"),
        (Works, {"notes": {0: "A"}, "acts": {0: "push"}}, "either `notes`, or `acts` or"),
        (Works, {"notes": {0: "A"}, "strokes": [0]}, "either `notes`, or `acts` or"),
        (Works, {"notes": {0: "A"}}, None),
        (Sound, {"file": "a.wav", "tuning": -50}, None),
        (Sound, {"file": "a.wav", "tuning": -51}, "50"),
        (Sound, {"file": "a.wav", "tuning": 51}, "50"),
        (Sound, {"file": "a.wav", "parts": {"over": {"from": 0, "to": 1}}}, "acts use this word"),
        (Sound, {"file": "a.wav", "parts_of": "0123abcd"}, None),
        (Sound, {"file": "a.wav", "parts_of": "0123abc"}, "pattern"),
        (Want, {"part": "intro", "tempo": "85..100"}, None),
        (Want, {"part": "intro", "tempo": "100..85"}, "the lower one first, 85..100, would do"),
        (Want, {"part": "intro", "tempo": "fast"}, "a range such as 85..100 would do"),
        (Want, {"part": "intro", "tempo": "85..100", "tempo_to": 90}, "either it or tempo_to"),
        (Stamp, {"map": "x"}, None),
    ],
)  # fmt: skip
def test_what_a_field_takes_and_what_would_do(kind, fields, fault):
    found = refused(kind, fields)
    assert (found is None) if fault is None else (fault in found)


@pytest.mark.parametrize(
    ("fields", "taken"),
    [
        ({"file": "a/" * 499 + "aa"}, True),
        ({"file": "a/" * 500 + "a"}, False),
        ({"file": "a.wav", "first_beat": 86400}, True),
        ({"file": "a.wav", "first_beat": 86401}, False),
        ({"file": "a.wav", "parts": {"a" * 60: {"from": 0, "to": 1}}}, True),
        ({"file": "a.wav", "parts": {"a" * 61: {"from": 0, "to": 1}}}, False),
        ({"file": "a.wav", "tempo_bpm": 90}, True),  # by its own name too, as Python has it
    ],
)
def test_how_long_a_sound_s_words_may_be(fields, taken):
    assert (refused(Sound, fields) is None) is taken


def test_what_goes_without_saying():
    sound = Sound(file="a.wav")
    assert (sound.stretch, sound.loop, sound.tuning_cents, sound.parts) == (False, False, 0.0, {})
    one = Piece.model_validate(piece())
    assert (one.part, one.energy, one.count, one.order, one.swap, one.optional) == (
        "story", 3, "clock", "fixed", "fixed", False,
    )  # fmt: skip
    routine = Routine.model_validate({"title": "T", "pieces": [piece()]})
    assert (routine.metre, routine.limit_s, routine.performer.hamster) == (4, None, False)
    assert (routine.turntable.pitch_range_percent, routine.turntable.side_s) == (8.0, 600.0)
    assert (routine.decks.of("left").file, routine.decks.of("right").file) == (
        "decks/left.wav", "decks/right.wav",
    )  # fmt: skip
    assert routine.performer.margin_beats == 2.0


def test_a_part_begins_to_be_heard_at_its_attack_or_else_at_once():
    told = {"from": 1.0, "to": 1.5}
    assert SoundPart.model_validate(told).begin_s == 1.0
    assert SoundPart.model_validate(told | {"attack": 1.25}).begin_s == 1.25


def piece(**more):
    return {"name": "P", "bars": 2, "tempo": 120} | more


RUNS, WORKS = {"hand": "runs", "at": 1.0}, {"hand": "works", "from": 2.0, "to": 3.0}


@pytest.mark.parametrize(
    ("fields", "fault"),
    [
        ({"left": RUNS, "count": "left"}, None),
        ({"left": RUNS, "count": "right"}, "the right deck rests here; a deck that runs, or clock"),
        ({"left": WORKS, "count": "left"}, "the left deck works here; a deck that runs, or clock"),
        ({"left": WORKS, "right": WORKS, "juggle": {0: "left"}}, None),
        ({"left": WORKS, "juggle": {0: "left"}}, "the right deck rests here; works would do"),
        ({"left": WORKS | {"strokes": [0]}, "right": WORKS, "juggle": {0: "left"}},
         "either it or left's own strokes or acts would do"),
        ({"left": WORKS, "right": WORKS | {"notes": {0: "A"}}, "juggle": {0: "left"}},
         "either it or right's own strokes or acts would do"),
        ({"tempo": 20}, None), ({"tempo": 19}, "20"), ({"tempo": 301}, "300"),
        ({"energy": 0}, "1"), ({"energy": 6}, "5"), ({"name": "two\nlines"}, "on one line"),
        ({"name": "  "}, "on one line"), ({"name": "a" * 200}, None), ({"name": "a" * 201}, "200"),
        ({"bars": 1000}, None), ({"bars": 1001}, "1000"), ({"bars": 0}, "0"),
    ],
)  # fmt: skip
def test_what_a_set_piece_takes(fields, fault):
    found = refused(Piece, piece(**fields))
    assert (found is None) if fault is None else (fault in found)


def test_what_hands_and_decks_do_in_a_set_piece():
    one = Piece.model_validate(piece(left=RUNS, right=WORKS))
    assert (one.sounding, one.running, one.is_juggle) == (("left", "right"), ("left",), False)
    assert (one.plan("left"), one.plan("right")) == (one.left, one.right)
    assert one.placed
    assert (one.left.cue_s, one.right.cue_s, one.right.span_s, one.beat_s) == (1.0, 2.0, 1.0, 0.5)
    waits = Piece.model_validate(piece(left=RUNS, right={"hand": "works", "from": 2.0}))
    assert (waits.placed, waits.right.placed, waits.left.placed) == (False, False, True)
    two = Piece.model_validate(piece(right=WORKS | {"cue": 2.5, "strokes": [0, 1]}, left=WORKS))
    assert (two.is_juggle, two.running, two.right.cue_s) == (True, (), 2.5)
    assert (two.right.stroke_beats, two.left.stroke_beats) == ((0.0, 1.0), ())
    quiet = Piece.model_validate(piece())
    assert (quiet.sounding, quiet.placed, quiet.left.cue_s) == ((), True, None)


@pytest.mark.parametrize(
    ("technique", "called"),
    [("Tear", True), ("two tears", True), ("teardrop", False), ("baby scratches", True),
     ("Baby Scratch!", True), ("baby", False), ("", False)],
)  # fmt: skip
def test_a_technique_is_called_by_whole_words(technique, called):
    one = Piece.model_validate(piece(technique=technique))
    assert one.is_called("tear", "baby scratch") is called


def test_a_plan_without_its_place_keeps_all_else():
    runs = Runs(sound="rain", bars_in=2, at_s=1.0)
    assert without_place(runs) == Runs(sound="rain", bars_in=2)
    works = Works.model_validate(
        WORKS | {"sound": "hey", "cue": 2.5, "places": {"yes": {"from": 2.0, "to": 2.5}}}
    )
    assert without_place(works) == Works(sound="hey")


def test_a_routine_s_beats_bars_and_seconds():
    """Waltz time: 2 1/3 bars of three are 7 beats, 3 bars begun; at 120 BPM 3.5 s."""
    pieces = [piece(bars="2 1/3", left=RUNS), piece(bars=2, right=RUNS), piece(bars=4, left=WORKS)]
    routine = Routine.model_validate({"title": "T", "metre": 3, "pieces": pieces})
    assert [routine.beats(n) for n in range(3)] == [7, 6, 12]
    assert [routine.bar_count(n) for n in range(3)] == [3, 2, 4]
    assert [routine.piece_s(n) for n in range(3)] == [3.5, 3.0, 6.0]
    assert routine.duration_s == 12.5
    assert routine.placed
    cues = [routine.next_cue("left", n) for n in (-1, 0, 1, 2)]
    assert cues == [(0, 1.0), (2, 2.0), (2, 2.0), None]
    # 3 turns a second, as the table of hands has it, of 1.8 s each.
    hands = routine.performer.model_copy(update={"wind_turns_per_s": 3.0})
    assert routine.model_copy(update={"performer": hands}).back_speed == pytest.approx(5.4)


@pytest.mark.parametrize(
    ("rpm", "turn_s"), [(33, 1.8), (33.3, 1.8), (33.333, 1.8), (45, 4 / 3), (78, 60 / 78)]
)
def test_a_rounded_speed_is_the_exact_one(rpm, turn_s):
    assert Turntable.model_validate({"rpm": rpm}).turn_s == pytest.approx(turn_s, rel=1e-12)
    assert refused(Turntable, {"rpm": 15.9}) is not None
    assert refused(Turntable, {"rpm": 101}) is not None
    assert refused(Turntable, {"rpm": "fast"}) is not None


@pytest.mark.parametrize(
    ("text", "low", "high"), [("85..100", 85, 100), ("90", 90, 90), (" 85.5 .. 90 ", 85.5, 90)]
)
def test_a_range_of_tempos_is_written_with_two_dots(text, low, high):
    found = Want.model_validate({"part": "intro", "tempo": text})
    assert (found.tempo_from_bpm, found.tempo_to_bpm) == (low, high)


@pytest.mark.parametrize(
    ("written", "hertz"), [("A4", 440.0), (440, 440.0), ("440", 440.0), ("A3", 220.0), ("H4", None)]
)
def test_a_tone_is_hertz_or_a_note(written, hertz):
    """A4 is 440 Hz (ISO 16); an octave below it is half of that."""
    try:
        found = Sound.model_validate({"file": "a.wav", "tone": written}).tone_hz
    except ValidationError:
        found = None
    assert found == (None if hertz is None else pytest.approx(hertz))


def test_bars_are_written_as_they_were_read():
    for bars, text in (("2 1/2", "2 1/2"), (8, 8.0), ("7/4", "1 3/4")):
        told = Piece.model_validate(piece(bars=bars)).model_dump(mode="json")
        assert told["bars"] == text


def test_lines_are_kept_by_their_beats_as_text():
    """Python's own numbers are written out."""
    one = Works.model_validate({"acts": {0: "push", 1.5: "pull", "5/2": None}})
    assert one.acts == {"0": "push", "1.5": "pull", "5/2": None}
    with pytest.raises(ValidationError):
        Works.model_validate({"acts": ["push"]})
