"""Melodies against equal temperament: A4 = 440 Hz and a semitone 2^(1/12) (ISO 16)."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.routine import Routine
from liveaid.routine.act_line import LineError
from liveaid.routine.acts import acts_of
from liveaid.routine.check import check
from liveaid.routine.load import read_routine
from liveaid.routine.notes import note_hz, note_name, percent, read_notes
from liveaid.routine.parts import note_parts
from liveaid.routine.problems import RoutineError


def melody(notes: dict[Any, str], **plan: Any) -> Routine:
    sound = {"file": "k.wav", "tone": "A4", "parts": {"tone": {"from": 1.0, "to": 9.0}}}
    right = {"hand": "works", "sound": "kettle", "notes": notes, **plan}
    piece = {"name": "P", "bars": 4, "tempo": 120, "right": right}
    return Routine.model_validate({"title": "T", "sounds": {"kettle": sound}, "pieces": [piece]})


# Handbook frequencies to a hundredth of a hertz (ISO 16, equal temperament).
@pytest.mark.parametrize(
    ("name", "hz"),
    [("A4", 440.0), ("C4", 261.63), ("E5", 659.26), ("F#3", 185.0), ("Bb4", 466.16), ("A0", 27.5)],
)
def test_a_notes_frequency_is_the_handbooks(name: str, hz: float):
    assert note_hz(name) == pytest.approx(hz, abs=0.005)


def test_cents_are_hundredths_of_a_semitone():
    assert note_hz("A4 +50") == pytest.approx(440 * 2 ** (0.5 / 12))
    assert note_name(452.89) == ("A4", pytest.approx(50.0, abs=0.1))
    for text in ("H4", "A", "A4 +x", ""):
        with pytest.raises(LineError):
            note_hz(text)


@given(st.integers(0, 8), st.sampled_from(["C", "C#", "D", "F#", "G", "A", "B"]))
def test_a_name_read_is_the_name_told(octave: int, step: str):
    name, cents = note_name(note_hz(f"{step}{octave}"))
    assert (name, round(cents, 6)) == (f"{step}{octave}", 0.0)


def test_by_the_fader_a_note_is_a_speed():
    # A semitone is 5.946 % up, 5.613 % down; the record runs on from note to note.
    acts = acts_of(melody({0: "A4", 2: "A#4", 4: "G#4 for 1"}), 0, "right")
    assert [(a.kind, a.beat, a.beats) for a in acts] == [
        ("let go", 0.0, 2.0), ("set pitch", 2.0, 2.0), ("set pitch", 4.0, 1.0),
    ]  # fmt: skip
    assert [round(100 * (a.speed - 1), 3) for a in acts] == [0.0, 5.946, -5.613]
    assert [round(a.way_s, 4) for a in acts] == [1.0, 1.0595, 0.4719]
    assert acts[2].open == ((4.0, 5.0),)


def test_a_note_the_fader_does_not_reach_is_told():
    (fault,) = [
        f for f in check(melody({0: "A4", 2: "B4"})) if f.rule == "acts" and f.severity == "error"
    ]
    # Two semitones: 2^(2/12) - 1 = 12.25 %.
    assert fault.says == "beat 3: pitch +12.25 % is asked for; needs 12.25%, has 8.00%"
    (told,) = [f for f in check(melody({0: "A4", 2: "B4"})) if "notes" in f.says]
    assert told.says == "right's notes: A4 +0.00 %, B4 +12.25 %"
    assert "tones: laid" in told.way_out


def test_laid_out_each_note_has_its_place_and_speed_1():
    routine = melody({0: "A4", 2: "E5", 4: "A4"}, tones="laid")
    acts = acts_of(routine, 0, "right")
    written = [a for a in acts if a.kind == "let go"]
    assert [(a.figure, a.beats, a.speed) for a in written] == [
        ("A4", 1.0, 1.0), ("E5", 1.0, 1.0), ("A4", 2 * 3.0, 1.0),
    ]  # half of the time to the next; the last half of what is left: 12 beats  # fmt: skip
    assert written[0].from_s == written[2].from_s != written[1].from_s
    assert not [f for f in check(routine) if f.rule == "acts" and "pitch" in f.says]


def test_a_melody_without_a_tone_and_a_note_that_is_none_are_told_by_line():
    text = """title: T
sounds:
  k: {file: k.wav}
pieces:
  - name: P
    bars: 1
    tempo: 120
    right: {hand: works, sound: k, notes: {0: A4}}
"""
    with pytest.raises(RoutineError) as caught:
        read_routine(text.encode())
    (problem,) = caught.value.problems
    assert (problem.line, problem.found) == (8, "k, which has no tone")
    with pytest.raises(RoutineError) as caught:
        read_routine(
            text.replace("k.wav}", "k.wav, tone: 440, parts: {tone: {from: 0, to: 9}}}")
            .replace("A4", "H4")
            .encode()
        )
    (problem,) = caught.value.problems
    assert problem.would_do == "a note such as A4, F#3 or Bb4 would do"


def test_a_tone_that_is_over_too_soon_is_told():
    with pytest.raises(RoutineError) as caught:
        read_routine(b"""title: T
sounds:
  k: {file: k.wav, tone: 440, parts: {tone: {from: 0, to: 3}}}
pieces:
  - {name: P, bars: 4, tempo: 120, right: {hand: works, sound: k, notes: {0: A4 for 8}}}
""")
    (problem,) = caught.value.problems
    assert problem.found == "let go at beat 0 for 8, 1.00 s past the end of tone"
    assert problem.would_do == "`for 6` or less, or a longer part, would do"


def test_a_tone_is_laid_out_as_long_as_its_longest_note_and_a_twentieth_of_a_second():
    # A4 lasts 6 beats of 0.5 s at most: from 1.0 s to 1 + 3.05 s. E5 lasts one: 0.55 s at
    # 2^(7/12) = 1.49831 of the speed are 0.82407 s of the sound.
    routine = melody({0: "A4", 2: "E5", 4: "A4"}, tones="laid")
    parts = note_parts(routine, 0, routine.pieces[0].right)
    ends = {each.label: each.part.to_s for each in parts}
    assert ends == pytest.approx({"A4": 4.05, "E5": 1.82407}, abs=1e-5)


def test_a_note_lasts_until_the_next_or_half_of_that_where_each_is_laid_out():
    lines = {"bar 2": "A4 +50", "0": "A4", "2": "C5 for 1"}
    for laid, lasts in ((False, (2.0, 1.0, 4.0)), (True, (1.0, 1.0, 2.0))):
        read = read_notes(lines, metre=4, end=8.0, laid=laid)
        assert [(n.name, round(n.hz, 2), n.beat, n.beats) for n in read] == [
            ("A4", 440.0, 0.0, lasts[0]), ("C5", 523.25, 2.0, lasts[1]),
            ("A4 +50", 452.89, 4.0, lasts[2]),
        ]  # fmt: skip


@pytest.mark.parametrize(
    ("lines", "found", "would_do"),
    [
        ({"0": "A4 for 3", "2": "C5"}, "A4 for 3 at beat 0", "`for 2` or less would do"),
        ({"2": "A4 for 7"}, "A4 for 7 at beat 2", "`for 6` or less would do"),
        ({"0": "A4 for 0"}, "A4 for 0", "beats above 0 would do"),
        ({"0": "H4"}, "H4", "a note such as A4, F#3 or Bb4 would do"),
    ],
)
def test_a_note_that_cannot_be_played_is_told(lines, found, would_do):
    with pytest.raises(LineError) as caught:
        read_notes(lines, metre=4, end=8.0, laid=False)
    assert (caught.value.found, caught.value.would_do) == (found, would_do)
    assert len(read_notes({"0": "A4 for 2", "2": "C5 for 6"}, metre=4, end=8.0, laid=False)) == 2


@pytest.mark.parametrize(
    ("hz", "name", "cents"),
    [(440.0, "A4", 0.0), (261.63, "C4", 0.0), (16.3516, "C0", 0.0), (450.0, "A4", 38.9),
     (430.0, "A4", -39.8), (493.88, "B4", 0.0)],
)  # fmt: skip
def test_the_nearest_note_of_a_tone(hz, name, cents):
    """1200 log2 of the ratio, by hand."""
    told, off = note_name(hz)
    assert (told, round(off, 1)) == (name, pytest.approx(cents, abs=0.1))


def test_a_pitch_is_a_ratio_in_per_cent():
    assert (percent(450.0, 400.0), percent(300.0, 400.0)) == (12.5, -25.0)
