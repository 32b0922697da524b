"""The parts a hand plays, as they are laid on its record: each stretch of a sound by hand.

At 33 1/3 an hour of the sticker's clock face is .15 s; parts lie .06 s apart at least, and each
begins to be heard a whole number of hours after the first.
"""

from types import SimpleNamespace

import pytest

from liveaid.routine import Routine
from liveaid.routine.layout.deck import Grain
from liveaid.routine.layout.evened import Evened
from liveaid.routine.layout.lay import LAY_LONGEST_S, grain_of, lay_out_routine, too_long
from liveaid.routine.layout.material import Material
from liveaid.routine.layout.part_use import PartIn, parts_laid

PARTS = {"a": {"from": 1.0, "to": 1.3, "attack": 1.1}, "b": {"from": 2.0, "to": 2.2}}
TWICE = Evened(file_s=(0.0, 2.0, 4.0), even_s=(0.0, 1.0, 3.0))
"""Up to its 2nd second the file goes at half the tempo it has from there on."""


def material(name="s", **facts):
    return Material(name=name, frames=600_000, rate_hz=1000, **facts)


def routine_of(acts, *, other=None, hand="works", **sound):
    sounds = {"s": {"file": "s.wav", "kind": "effect", "parts": PARTS, **sound}}
    if other:
        sounds["o"] = {"file": "o.wav", "kind": "effect", "parts": other}
    right = {"hand": hand, "sound": "s"} | ({"acts": acts} if acts else {})
    piece = {"name": "P", "bars": 4, "tempo": 120, "left": {"hand": "runs", "at": 0}}
    return Routine.model_validate(
        {"title": "T", "sounds": sounds, "pieces": [piece | {"right": right}]}
    )


def laid(routine, **materials):
    """(label, sound, start, length, even, offset, begin) of each, the cue, the end, how long."""
    found = parts_laid(routine, 0, "right", materials)
    return found and (
        [
            (part.label, part.segment.sound, part.segment.even, part.segment.speed,
             *(round(s, 6) for s in (part.segment.start_s, part.segment.length_s, part.offset_s,
                                     part.begin_s)))
            for part in found.parts
        ],
        *(round(s, 6) for s in (found.cue_s, found.left_s, found.length_s)),
    )  # fmt: skip


AS_THEY_ARE = (
    [("a", "s", False, 1.0, 1.0, 0.3, 0.0, 0.1), ("b", "s", False, 1.0, 2.0, 0.2, 0.4, 0.4)],
    0.1, 0.4, 0.6,
)  # fmt: skip
EVEN = (
    [("a", "s", True, 1.0, 0.5, 0.15, 0.0, 0.05), ("b", "s", True, 1.0, 1.0, 0.2, 0.35, 0.35)],
    0.05, 0.35, 0.55,
)  # fmt: skip


def test_two_parts_as_they_are():
    """a begins to be heard at .1 s; .3 + .06 - .1 = .26 s later is 1.7 hours: two, so b is at .4.
    A stab leaves the record where it began."""
    assert laid(routine_of({0: "stab a", 2: "stab b"}), s=material()) == AS_THEY_ARE


@pytest.mark.parametrize(
    ("sound", "even", "found"),
    [
        # 1.0, 1.1 and 1.3 s of the file are .5, .55 and .65 even ones; 2.2 is 1.2.
        ({"kind": "instrumental", "tempo": 120.0}, TWICE, EVEN),
        ({"kind": "effect", "loop": True, "tempo": 120.0}, TWICE, EVEN),
        ({"kind": "effect", "tempo": 120.0}, TWICE, AS_THEY_ARE),
        ({"kind": "instrumental"}, TWICE, AS_THEY_ARE),
        ({"kind": "instrumental", "tempo": 120.0}, None, AS_THEY_ARE),
    ],
)
def test_parts_of_a_sound_with_a_beat_that_is_followed_last_as_long_as_its_beats_do(
    sound, even, found
):
    routine = routine_of({0: "stab a", 2: "stab b"}, **sound)
    assert laid(routine, s=material(tempo_bpm=120.0, evened=even)) == found


def test_parts_are_laid_when_all_their_sounds_are_there():
    """A sound that is not played need not be there; a hand that names none has none."""
    both = routine_of({0: "stab a", 2: "stab hiss"}, other={"hiss": {"from": 0.0, "to": 0.2}})
    assert [part[:2] for part in laid(both, s=material(), o=material("o"))[0]] == [
        ("a", "s"), ("hiss", "o"),
    ]  # fmt: skip
    assert laid(both, s=material()) is None
    assert laid(both, o=material("o")) is None
    mine = routine_of({0: "stab a", 2: "stab b"}, other={"hiss": {"from": 0.0, "to": 0.2}})
    assert laid(mine, s=material()) == AS_THEY_ARE
    assert laid(routine_of(None), s=material()) is None
    assert laid(routine_of(None, hand="runs"), s=material()) is None


# -- a whole routine


def runs_of(**more):
    piece = {"name": "P", "bars": 4, "tempo": 120, "left": {"hand": "runs", "sound": "s"}}
    return Routine.model_validate(
        {"title": "T", "sounds": {"s": {"file": "s.wav", "tempo": 120, "first_beat": 0}},
         "pieces": [piece | more]},
    )  # fmt: skip


def test_a_routine_is_laid_out_when_all_its_sounds_are_there():
    """Rounded to frames at 44,100 a second; the cue a turn into the file: 1.8 s."""
    whole = lay_out_routine(runs_of(), {"s": material(tempo_bpm=120.0)})
    assert whole.faults == ()
    assert whole.placed.pieces[0].left.at_s == 1.8
    bare = lay_out_routine(runs_of(), {})
    assert (bare.placed, bare.faults) == (None, ())
    faulty = lay_out_routine(runs_of(left={"hand": "runs"}), {"s": material(tempo_bpm=120.0)})
    assert faulty.placed is None
    assert [fault.path for fault in faulty.faults] == [("pieces", 0, "left", "sound")]
    assert grain_of(runs_of()) == Grain(rate_hz=44_100, turn_s=pytest.approx(1.8), side_s=600.0)


def test_a_deck_or_a_routine_that_is_too_long_says_so():
    """A side of ten minutes, two hours of music: more is too long, told as the next second."""

    def said(frames=0, duration_s=0.0):
        routine = SimpleNamespace(turntable=SimpleNamespace(side_s=600.0), duration_s=duration_s)
        decks = {"left": SimpleNamespace(frames=10), "right": SimpleNamespace(frames=frames)}
        return [(each.path, each.found, each.would_do) for each in too_long(routine, decks, 10)]

    assert said(6000, LAY_LONGEST_S) == []
    assert said(6001, 7200.5) == [
        (("turntable", "side"), "10:00, and the right deck needs 10:01",
         "fewer bars, a smaller gap, or some of it on the other deck would do"),
        (("pieces",), "120:01 of music in all", "up to 120:00 would do"),
    ]  # fmt: skip
    assert said(7000)[0][1] == "10:00, and the right deck needs 11:40"


def test_how_long_parts_are_is_told_by_the_one_that_ends_last():
    """The first may end after the second: 0 to 2 s, and .5 to 1."""
    found = parts_laid(routine_of({0: "stab a", 2: "stab b"}), 0, "right", {"s": material()})
    segments = [part.segment for part in found.parts]
    wide = PartIn(label="a", segment=segments[0].__class__(
        sound="s", speed=1.0, start_s=0.0, length_s=2.0), offset_s=0.0, begin_s=0.0)  # fmt: skip
    assert found.__class__(parts=(wide, found.parts[1]), cue_s=0.0, left_s=0.0).length_s == 2.0
