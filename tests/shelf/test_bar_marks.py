"""The performer's word on where bars begin."""

import pytest

from liveaid.routine import Routine, Sound
from liveaid.routine.keys import EVERY_KEY, parse_key
from liveaid.shelf.columns import bars_of
from liveaid.shelf.for_map import with_marks
from liveaid.shelf.map_words import with_map_words
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study import Study


def studied(**facts) -> Study:
    known = {"duration_s": 60.0, "sample_rate_hz": 44100, "channels": 2, "format": "WAV PCM_16"}
    known |= {"frames_declared": 2646000, "frames_read": 2646000, "tempo": 120.0, "metre": 4}
    return Study(**(known | {"first_beat": 0.2, "first_downbeat": 0.2, "steady": True} | facts))


def test_a_bar_marked_anywhere_moves_the_whole_grid():
    # 120 BPM: beats of 0.5 s, bars of 2 s. A bar at 10.3 s: beats at 0.3, bars at 0.3, 2.3, ...
    found = Marks(bar_s=10.3).applied(studied())
    assert found.first_beat == pytest.approx(0.3)
    assert found.first_downbeat == pytest.approx(0.3)
    assert found.downbeat_confidence == 1.0
    # At 11.3 s the same beats, bars half a bar later.
    assert Marks(bar_s=11.3).applied(studied()).first_downbeat == pytest.approx(1.3)


def test_three_in_a_bar_counts_from_the_bar_marked():
    # Bars of 1.5 s back from 10.3: 1.3, before the first sound -0.2.
    found = Marks(bar_s=10.3, metre=3).applied(studied())
    assert found.metre == 3
    assert found.first_downbeat == pytest.approx(1.3)


def test_half_the_tempo_and_a_bar_go_together():
    # 60 BPM: beats of 1 s; a bar at 10.3 s has beats at 0.3 and bars at 2.3.
    found = Marks(tempo_bpm=60.0, bar_s=10.3).applied(studied())
    assert (found.first_beat, found.first_downbeat) == (pytest.approx(0.3), pytest.approx(2.3))


def test_followed_beats_stay_and_bars_begin_at_the_nearest():
    beats = (0.2, 0.71, 1.2, 1.68, 2.2, 2.7)
    found = Marks(bar_s=1.66).applied(studied(beats_s=beats, steady=False))
    assert found.first_downbeat == 1.68
    assert found.first_beat == 0.2
    assert found.beats_s == beats


def test_followed_beats_are_counted_anew_at_half_and_double():
    # 120 BPM: every second beat at 60, one more between each two at 240.
    sound = studied(beats_s=(1.0, 1.5, 2.1, 2.6), steady=False)
    assert Marks(tempo_bpm=60.0).applied(sound).beats_s == (1.0, 2.1)
    assert Marks(tempo_bpm=240.0).applied(sound).beats_s == pytest.approx(
        (1.0, 1.25, 1.5, 1.8, 2.1, 2.35, 2.6)
    )
    assert Marks(tempo_bpm=97.0).applied(sound).beats_s == ()


@pytest.mark.parametrize(
    ("tempo_bpm", "beats"),
    # Of 4 beats at 120 BPM: the same, every second, one more between each two, or none at all.
    [
        (124.7, 4), (124.9, 0), (115.3, 4), (115.1, 0),
        (62.3, 2), (62.5, 0), (57.7, 2), (57.5, 0),
        (249.5, 7), (249.7, 0), (230.5, 7), (230.3, 0),
    ],
)  # fmt: skip
def test_a_tempo_told_about_half_same_or_double_counts_the_beats_anew(tempo_bpm, beats):
    sound = studied(beats_s=(1.0, 1.5, 2.1, 2.6), steady=False)
    assert len(Marks(tempo_bpm=tempo_bpm).applied(sound).beats_s) == beats


@pytest.mark.parametrize(
    ("tempo_bpm", "beats"),
    # A loop of 4 s: 8 beats at 120 BPM, 4 at 60; within a fiftieth of 7 beats at 105 BPM.
    [(120.0, 8), (60.0, 4), (107.0, 7), (107.2, None), (103.0, 7), (102.8, None), (7.0, None)],
)
def test_a_loop_has_as_many_whole_beats_as_its_tempo_told_makes(tempo_bpm, beats):
    sound = studied(duration_s=4.0, loop_beats=8)
    assert Marks(tempo_bpm=tempo_bpm).applied(sound).loop_beats == beats


@pytest.mark.parametrize(("tempo_bpm", "other"), [(124.7, 61.0), (124.9, 120.0), (115.1, 120.0)])
def test_a_tempo_told_leaves_the_one_it_overrules_to_go_back_to(tempo_bpm, other):
    sound = studied(tempo_alternative=61.0, tempo_rival=183.0)
    told = Marks(tempo_bpm=tempo_bpm).applied(sound)
    assert (told.tempo_alternative, told.tempo_rival) == (other, None)


@pytest.mark.parametrize(
    ("marks", "said", "begins_s"),
    [
        (Marks(bar_s=10.3), {}, 0.3),  # bars of 2 s back from there
        (Marks(bar_s=10.3), {"first_beat": 7.0}, 7.0),
        (Marks(tempo_bpm=60.0), {}, None),
    ],
    ids=["marked", "the map says", "not marked"],
)
def test_a_map_begins_a_sounds_bars_where_they_were_marked_unless_it_says_so(marks, said, begins_s):
    """What is not marked render studies itself; a tempo marked goes into the map as well."""
    piece = {"name": "P", "bars": 4, "tempo": 120, "left": {"hand": "runs", "sound": "a"}}
    map_ = Routine.model_validate(
        {"title": "T", "sounds": {"a": {"file": "a.wav", **said}},
         "pieces": [piece]}
    )  # fmt: skip
    study = marks.applied(studied())
    kept = ShelfSound(hash="a", path="/s/a.wav", gone=False, study=study, marks=marks)
    found = with_marks(map_, {"a": kept}).sounds["a"]
    assert found.first_beat_s == (None if begins_s is None else pytest.approx(begins_s))
    assert found.tempo_bpm == marks.tempo_bpm


def test_a_map_s_word_goes_before_a_mark_and_what_it_does_not_name_stays():
    kept = ShelfSound(
        hash="a", path="/s/a.wav", gone=False, study=studied(), marks=Marks(key="C major")
    )
    assert with_map_words([kept], {"b": Sound(file="b.wav", key="A minor")}, "/s") == [kept]
    (found,) = with_map_words([kept], {"a": Sound(file="a.wav", key="A minor")}, "/s")
    assert found.marks.key == "A minor"


@pytest.mark.parametrize(
    ("tempo_bpm", "loop_beats"), [(60.0, 8), (240.0, 32), (118.0, 16), (117.0, None), (3.0, None)]
)
def test_a_loop_has_as_many_beats_as_its_new_tempo_counts_in_it(tempo_bpm, loop_beats):
    """Eight seconds: at 118 they are 15.73 beats, within two per cent of 16; at 117 15.6 are not;
    at 3 they are less than half a beat."""
    loop = studied(duration_s=8.0, loop_beats=16)
    assert Marks(tempo_bpm=tempo_bpm).applied(loop).loop_beats == loop_beats


@pytest.mark.parametrize(
    ("tempo_bpm", "beats"),
    [(124.0, 4), (125.0, 0), (116.0, 4), (115.0, 0), (62.0, 2), (63.0, 0), (248.0, 7), (250.0, 0)],
)
def test_followed_beats_stay_with_a_tempo_within_four_per_cent(tempo_bpm, beats):
    """Of 120 BPM, of its half and its double."""
    sound = studied(beats_s=(1.0, 1.5, 2.1, 2.6), steady=False)
    assert len(Marks(tempo_bpm=tempo_bpm).applied(sound).beats_s) == beats


def test_a_sound_is_called_by_its_file_and_there_until_it_is_missed():
    sound = ShelfSound(hash="a", path="/s/wok sizzle.wav")
    assert (sound.name, sound.gone, sound.copies) == ("wok sizzle", False, ())


@pytest.mark.parametrize(
    ("name", "number"), [("C major", 0), ("C minor", 12), ("A minor", 21), ("Bb major", 10)]
)
def test_a_key_is_one_number(name, number):
    assert parse_key(name).number == number
    assert str(EVERY_KEY[number]) == name


@pytest.mark.parametrize(
    ("facts", "bars"),
    [
        ({}, 4.0),
        ({"metre": 3}, 16 / 3),
        ({"metre": None}, 4.0),
        ({"loop_beats": 32}, 8.0),
        ({"tempo": None}, None),
    ],
)
def test_bars_are_counted_between_the_silences(facts, bars):
    """Ten seconds with one of silence at either end: 8 s at 120 BPM, 16 beats."""
    sound = studied(**{"duration_s": 10.0, "silence_start_s": 1.0, "silence_end_s": 1.0} | facts)
    assert bars_of(sound) == (bars and pytest.approx(bars))
