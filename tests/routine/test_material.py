"""What is known of a sound before it is laid on a deck, and what each set piece takes of it.

Arithmetic by hand. A set piece lasts four bars at 120 BPM, 8 s, unless told otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from liveaid.routine import Routine
from liveaid.routine.layout.evened import Evened, counted_as, evened
from liveaid.routine.layout.material import Material, Segment, material_of
from liveaid.routine.layout.uses import asks_for_study, uses_of

RATE_HZ = 1000


@dataclass
class Facts:
    """What a study says of a sound."""

    tempo: float | None = None
    tempo_confidence: float = 1.0
    first_beat: float | None = None
    beats_s: tuple[float, ...] = ()
    kind: Any = None
    onsets_s: tuple[float, ...] = ()
    silence_start_s: float = 0.0
    rhythmic: str = ""


RUNS: dict[str, Any] = {"hand": "runs", "sound": "a"}
WORKS: dict[str, Any] = {"hand": "works", "sound": "a"}
REST: dict[str, Any] = {"hand": "rests"}


def routine_of(sound: dict[str, Any], plan: dict[str, Any], *, tempo: float = 120.0) -> Routine:
    piece = {"name": "P", "bars": 4, "tempo": tempo, "left": plan, "right": REST, "count": "clock"}
    return Routine.model_validate(
        {"title": "T", "sounds": {"a": {"file": "a.wav", **sound}}, "pieces": [piece]}
    )


def known(sound=None, study=None, *, plan=RUNS, tempo=120.0, seconds=60.0) -> Material:
    routine = routine_of(sound or {}, plan, tempo=tempo)
    places = [(0, "left", routine.pieces[0].plan("left"))]
    frames = round(seconds * RATE_HZ)
    return material_of(routine, "a", places, frames=frames, rate_hz=RATE_HZ, study=study)


# The tempo: the map's, else the study's where it is sure enough, in the octave nearest to the set
# piece's.


@pytest.mark.parametrize(
    ("sound", "study", "bpm"),
    [
        ({"tempo": 100}, Facts(tempo=90.0), 100.0),
        ({}, Facts(tempo=100.0), 100.0),
        ({}, Facts(tempo=100.0, tempo_confidence=0.3), 100.0),
        ({}, Facts(tempo=100.0, tempo_confidence=0.29), None),
        ({}, Facts(tempo=62.0), 124.0),
        ({}, Facts(tempo=230.0), 115.0),
        ({}, Facts(tempo=84.0), 168.0),  # 168 / 120 = 1.4, 120 / 84 = 1.43
        ({}, Facts(tempo=86.0), 86.0),
        ({}, Facts(), None),
        ({}, None, None),
    ],
)
def test_whose_tempo_a_sound_has(sound, study, bpm):
    assert known(sound, study).tempo_bpm == bpm


@pytest.mark.parametrize(
    ("sound", "study", "first_beat_s"),
    [
        ({"first_beat": 0.5}, Facts(first_beat=0.25), 0.5),
        ({}, Facts(first_beat=0.25), 0.25),
        ({}, Facts(), 0.0),
        ({}, None, 0.0),
        ({"loop": True}, Facts(first_beat=0.25), 0.0),  # a loop begins with its file
    ],
)
def test_where_the_first_beat_lies(sound, study, first_beat_s):
    assert known(sound, study).first_beat_s == first_beat_s


@pytest.mark.parametrize(
    ("sound", "study", "cue_s"),
    [
        ({"first_beat": 0.5}, Facts(onsets_s=(0.2,)), 0.5),
        ({}, Facts(onsets_s=(0.2, 0.7), silence_start_s=0.1, first_beat=0.3), 0.2),
        ({}, Facts(silence_start_s=0.1, first_beat=0.3), 0.1),
        ({}, None, 0.0),
    ],
)
def test_where_a_hand_sets_the_cue(sound, study, cue_s):
    assert known(sound, study).first_onset_s == cue_s


@pytest.mark.parametrize(
    ("seconds", "tempo", "beats", "bpm"),
    [
        # 16 beats of 120 BPM in 8 s; a file of 8.01 s has them at 119.85.
        (8.0, 120, 16, 120.0),
        (8.01, 120, 16, 16 * 60 / 8.01),
        # A half per cent of 16 beats is 0.08 of one: 8.04 s are just 16.08, 8.05 s 16.1.
        (8.03, 120, 16, 16 * 60 / 8.03),
        (8.05, 120, None, 120.0),
        (7.97, 120, 16, 16 * 60 / 7.97),
        # Of 100 beats a half per cent would be 0.5 of one; a quarter is the most.
        (50.12, 120, 100, 100 * 60 / 50.12),
        (50.15, 120, None, 120.0),
        (0.2, 120, None, 120.0),  # less than half a beat
    ],
)
def test_a_loops_length_sets_its_tempo(seconds, tempo, beats, bpm):
    found = known({"tempo": tempo, "loop": True}, seconds=seconds)
    assert (found.loop_beats, found.tempo_bpm) == (beats, pytest.approx(bpm))
    once = known({"tempo": tempo}, seconds=seconds)
    assert (once.loop_beats, once.tempo_bpm) == (None, tempo)


@pytest.mark.parametrize(
    ("sound", "study", "plan", "gridded"),
    [
        ({"tempo": 100}, None, WORKS, True),
        ({}, Facts(tempo=100.0), WORKS, False),
        ({"kind": "instrumental"}, None, WORKS, True),
        ({}, Facts(kind="instrumental"), WORKS, True),
        ({"kind": "effect"}, Facts(kind="instrumental"), WORKS, False),
        ({}, None, RUNS, True),
    ],
)
def test_what_goes_to_the_set_pieces_tempo_even_in_a_hand(sound, study, plan, gridded):
    assert known(sound, study, plan=plan).gridded is gridded


def test_why_there_is_no_beat_is_carried_along():
    assert known({}, Facts(rhythmic="too free")).no_beat == "too free"
    assert known({}, None).no_beat == ""


# Beats that are followed: 0.5 s apart eight times, then 0.6 s: seventeen of them.
BEATS_S = tuple([2.0 + 0.5 * k for k in range(9)] + [6.0 + 0.6 * k for k in range(1, 9)])


def test_followed_beats_become_even_seconds():
    """At 120 BPM a beat is 0.5 s: the first eight as they are, the next eight 4.8 s in 4."""
    even = evened(BEATS_S, 120.0)
    assert (even.file_s, even.even_s) == (pytest.approx((2.0, 6.0, 10.8)),
                                          pytest.approx((2.0, 6.0, 10.0)))  # fmt: skip
    for file_s, even_s in ((3.0, 3.0), (6.6, 6.5), (10.8, 10.0), (1.0, 1.0), (12.0, 11.0)):
        assert even.to_even(file_s) == pytest.approx(even_s)
        assert even.to_file(even_s) == pytest.approx(file_s)
    # From 5 s for 3 even seconds: 1 s as it is, then 2 even ones that last 2.4 s of the file.
    found = list(even.stretches(5.0, 3.0))
    assert found == [pytest.approx((5.0, 1.0, 1.0)), pytest.approx((6.0, 2.4, 2.0))]
    assert list(even.stretches(2.0, 4.0)) == [pytest.approx((2.0, 4.0, 4.0))]


def test_followed_beats_at_a_stated_pace():
    assert counted_as(BEATS_S, 110.0, 110.0) == BEATS_S
    assert counted_as(BEATS_S, 110.0, 55.0) == BEATS_S[::2]
    twice = counted_as(BEATS_S, 110.0, 220.0)
    assert twice[:4] == pytest.approx((2.0, 2.25, 2.5, 2.75))
    assert (len(twice), twice[-2:]) == (33, pytest.approx((10.5, 10.8)))
    assert counted_as(BEATS_S, 110.0, 80.0) is None


@pytest.mark.parametrize(
    ("sound", "follows"),
    [
        ({}, True),
        ({"tempo": 110}, True),
        ({"first_beat": 2.0}, True),
        ({"tempo": 110, "first_beat": 2.0}, False),  # the map says it all
        ({"tempo": 110, "first_beat": 2.0, "follow": True}, True),
        ({"follow": False}, False),
        ({"tempo": 80}, False),  # another tempo than was followed
        ({"loop": True, "tempo": 110}, False),
    ],
)
def test_when_beats_are_followed(sound, follows):
    study = Facts(tempo=110.0, first_beat=2.0, beats_s=BEATS_S)
    assert (known(sound, study, tempo=110.0).evened is not None) is follows
    assert known(sound, Facts(tempo=110.0, first_beat=2.0), tempo=110.0).evened is None


def test_a_first_beat_that_is_stated_goes_to_the_nearest_beat_that_is_followed():
    study = Facts(tempo=110.0, first_beat=2.0, beats_s=BEATS_S)
    beat_s = 60 / 110
    # 3.1 s of the file is 1.1 s of 4 s in, of eight beats: 2.2 beats; the second.
    stated = known({"first_beat": 3.1}, study, tempo=110.0)
    assert stated.first_beat_s == pytest.approx(2.0 + 2 * beat_s)
    assert known({}, study, tempo=110.0).first_beat_s == pytest.approx(2.0)
    assert stated.seconds(3.0, even=True) == pytest.approx(2.0 + 2 * beat_s)
    assert stated.seconds(3.0, even=False) == 3.0


def test_a_stretch_goes_through_the_sound_at_its_speed():
    """1.5 times as fast from 4 s: after 2 s of the deck the sound is at 7 s."""
    plain = Segment(sound="a", speed=1.5, start_s=4.0, length_s=4.0)
    assert plain.in_sound(2.0) == 7.0
    even = Evened((2.0, 6.0, 10.8), (2.0, 6.0, 10.0))
    material = Material(name="a", frames=20_000, rate_hz=RATE_HZ, tempo_bpm=120.0, evened=even)
    assert plain.in_file(material) == (plain,)
    # 4 s at 1.5 are 6 even seconds from 4 on: 2 as they are, 1.3333 s of the deck; then 4 even ones
    # that last 4.8 s of the file, 2.6667 s of the deck at 1.8 times.
    followed = Segment(sound="a", speed=1.5, start_s=4.0, length_s=4.0, even=True)
    first, second = followed.in_file(material)
    assert (first.start_s, first.length_s, first.speed) == pytest.approx((4.0, 4 / 3, 1.5))
    assert (second.start_s, second.length_s, second.speed) == pytest.approx((6.0, 8 / 3, 1.8))
    assert (first.sound, first.even) == ("a", False)
    bare = Material(name="a", frames=20_000, rate_hz=RATE_HZ)
    assert followed.in_file(bare) == (followed,)


# What a set piece takes of a sound.

SOUND = Material(
    name="a", frames=60_000, rate_hz=RATE_HZ, tempo_bpm=100.0, first_beat_s=0.5,
    first_onset_s=0.2, gridded=True,
)  # fmt: skip
LOOSE = Material(name="a", frames=3_000, rate_hz=RATE_HZ, first_beat_s=0.5, first_onset_s=0.2)


def taken(plan, material=SOUND, *, tempo=120.0, sound=None):
    routine = routine_of(sound or {}, plan, tempo=tempo)
    uses, faults = uses_of(routine, {"a": material})
    told = [(fault.found, fault.would_do) for fault in faults]
    return (uses["left"][0] if uses["left"] else None), told


def test_a_record_that_runs_takes_the_sound_at_the_set_pieces_tempo():
    """120 of 100 BPM is 1.2 times as fast. Two bars of 2.4 s in, from the first beat at 0.5 s."""
    use, faults = taken({**RUNS, "bars_in": 2})
    segment = use.segment
    assert (segment.speed, segment.start_s, segment.length_s) == pytest.approx((1.2, 5.3, 8.0))
    assert (use.left.at_s, use.left.runs, use.works, faults) == (8.0, True, False, [])
    assert taken(RUNS)[0].segment.start_s == 0.5


@pytest.mark.parametrize(
    ("plan", "material", "start_s", "length_s"),
    [
        (WORKS, SOUND, 0.2, 4.0),  # two bars of what is on a grid, from its first onset
        ({**WORKS, "bars_in": 1}, SOUND, 2.9, 4.0),
        (WORKS, LOOSE, 0.2, 2.8),  # as it is, to its end
        ({**WORKS, "from": 10.0, "to": 11.5}, SOUND, 0.2, 1.5),  # the map's own span
    ],
)
def test_a_hand_is_given_a_span_to_work_in(plan, material, start_s, length_s):
    use, faults = taken(plan, material)
    assert (use.segment.start_s, use.segment.length_s) == pytest.approx((start_s, length_s))
    assert (use.works, use.left.runs, use.cue_offset_s, faults) == (True, False, 0.0, [])
    assert use.segment.speed == (1.2 if material is SOUND else 1.0)


@pytest.mark.parametrize(("cue", "offset_s"), [(10.4, 0.4), (9.0, 0.0), (12.0, 1.5)])
def test_a_cue_of_its_own_lies_inside_the_span(cue, offset_s):
    use, _ = taken({**WORKS, "from": 10.0, "to": 11.5, "cue": cue})
    assert use.cue_offset_s == pytest.approx(offset_s)
    assert use.left.at_s == pytest.approx(offset_s)


@pytest.mark.parametrize(
    ("seconds", "short"),
    [
        # 8 s at 1.2 times are 9.6 s of the sound, from 0.5 s on: 10.1 s; 0.05 s, 0.06 s of the
        # sound, may be lacking.
        (10.1, None),
        (10.05, None),
        (10.03, 'a, 7.94 s of it from there on, for "P" (8.00 s at 120 BPM)'),
        (0.1, 'a, 0.00 s of it from there on, for "P" (8.00 s at 120 BPM)'),
    ],
)
def test_a_sound_that_is_too_short_is_told(seconds, short):
    material = Material(name="a", frames=round(seconds * 1000), rate_hz=RATE_HZ, tempo_bpm=100.0,
                        first_beat_s=0.5, gridded=True)  # fmt: skip
    _, faults = taken(RUNS, material)
    assert [found for found, _ in faults] == ([short] if short else [])


def test_a_sound_of_whole_beats_could_be_a_loop():
    """Five beats of 100 BPM are 3 s; 3.1 s are 5.17."""
    longer = "fewer bars, a smaller `bars_in`, or a longer sound would do"
    for frames, more in ((3000, "; `loop: yes` on the sound repeats it"), (3100, ""), (250, "")):
        material = Material(name="a", frames=frames, rate_hz=RATE_HZ, tempo_bpm=100.0, gridded=True)
        ((_, would_do),) = taken(RUNS, material)[1]
        assert would_do == longer + more
    loop = Material(name="a", frames=3000, rate_hz=RATE_HZ, tempo_bpm=100.0, gridded=True,
                    loop_beats=5)  # fmt: skip
    assert taken(RUNS, loop)[1] == []
    assert taken(WORKS, loop)[0].segment.length_s == 4.0


def test_a_span_that_is_too_short_to_work_in_is_told():
    _, faults = taken({**WORKS, "from": 10.0, "to": 10.04})
    assert faults == [
        ('a, 0.040 s of it, for a hand to work in "P"', "a span of 0.05 s or more would do")
    ]
    assert taken({**WORKS, "from": 10.0, "to": 10.06})[1] == []
    _, faults = taken({**WORKS, "from": 10.0, "to": 14.0}, LOOSE)
    assert faults == [
        ('a, 2.80 s of it from there on, for "P" (4.00 s at 120 BPM)',
         "a shorter span, or a longer sound would do")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("bpm", "said"),
    [
        (30.0, None), (300.0, None),
        (29.0, '120 in "P", 4.14 times the tempo of a'),
    ],
)  # fmt: skip
def test_a_sound_is_brought_to_tempo_within_two_octaves(bpm, said):
    material = Material(name="a", frames=600_000, rate_hz=RATE_HZ, tempo_bpm=bpm, gridded=True)
    use, faults = taken(RUNS, material)
    would_do = "a tempo from 0.25 to 4 times the sound's own would do"
    assert (use is None, faults) == (bool(said), [(said, would_do)] if said else [])


def test_a_tempo_that_nobody_knows_is_told_once_with_why():
    unknown = Material(name="a", frames=60_000, rate_hz=RATE_HZ, no_beat="too free")
    use, faults = taken(RUNS, unknown)
    assert (use, faults) == (None, [(
        'nothing, and no steady beat heard in a (too free); "P" needs one',
        "its tempo in BPM would do",
    )])  # fmt: skip
    assert taken(WORKS, unknown)[1] == []  # a hand needs none


@pytest.mark.parametrize(
    ("sound", "plan", "asks"),
    [
        ({}, RUNS, True),
        ({"tempo": 100}, RUNS, True),
        ({"tempo": 100, "first_beat": 0.5}, RUNS, False),
        ({"first_beat": 0.5}, RUNS, True),
        ({"first_beat": 0.5}, WORKS, False),  # a hand begins there and needs no tempo
        ({"first_beat": 0.5}, {**WORKS, "bars_in": 2}, True),
        ({}, WORKS, True),
        ({"tempo": 100, "first_beat": 0.5, "follow": True}, RUNS, True),
        ({"tempo": 100, "loop": True}, RUNS, False),
        ({"tempo": 100, "loop": True}, WORKS, True),
        ({"tempo": 100, "loop": True}, {**WORKS, "bars_in": 1}, False),
        ({"tempo": 100, "loop": True, "follow": True, "first_beat": 0.0}, RUNS, False),
    ],
)
def test_when_a_map_leaves_something_to_the_study(sound, plan, asks):
    assert asks_for_study(routine_of(sound, plan), "a") is asks
