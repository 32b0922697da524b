"""Writing a section map: what is written is read back the same, and a crash leaves no half file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.files.harmless import harmless
from liveaid.routine import Piece, Rests, Routine, Runs, Sound, Works, load_routine, save_routine
from liveaid.routine.load import read_routine
from liveaid.routine.save import routine_text

SECONDS = st.floats(0, 3600).map(lambda s: round(s, 6))
# Any text but what would steer a terminal and the letters YAML forbids (YAML 1.1, 5.1 character
# set).
WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Cn", "Co"], exclude_characters="\ufeff"),
    min_size=1,
    max_size=20,
).filter(lambda text: harmless(text) == text and text.strip() != "")
SOUND_NAMES = ("stall-break", "no", "3:00")


def plans() -> st.SearchStrategy[Any]:
    runs = st.builds(
        Runs,
        hand=st.just("runs"),
        at_s=SECONDS | st.none(),
        bars_in=st.integers(0, 99) | st.integers(0, 99).map(lambda thirds: thirds / 3),
        sound=st.sampled_from(SOUND_NAMES) | st.none(),
    )
    works = st.tuples(SECONDS, st.floats(0.01, 10).map(lambda s: round(s, 6))).map(
        lambda span: Works(hand="works", from_s=span[0], to_s=span[0] + span[1], strokes=(0.0, 0.5))
    )
    return runs | works | st.just(Rests())


def pieces(metre: int) -> st.SearchStrategy[Piece]:
    return st.builds(
        Piece,
        name=WORDS,
        bars=st.integers(1, 64) | st.integers(1, 64).map(lambda beats: beats / metre),
        tempo=st.floats(20, 300),
        energy=st.integers(1, 5),
        part=st.sampled_from(["intro", "story", "climax", "outro"]),
        left=plans(),
        right=plans(),
        prompt=WORDS | st.just(""),
    )


def routines(metre: int) -> st.SearchStrategy[Routine]:
    sounds = {
        name: Sound(file=f"sounds/{i}.wav", stretch=i == 1) for i, name in enumerate(SOUND_NAMES)
    }
    names = st.lists(pieces(metre), min_size=1, max_size=6, unique_by=lambda piece: piece.name)
    return st.builds(
        Routine,
        title=WORDS,
        limit=st.sampled_from([None, 180.0, 90.5, 3600.0, 59.25]),
        metre=st.just(metre),
        sounds=st.just(sounds),
        pieces=names.map(tuple),
    )


ROUTINES = st.integers(1, 12).flatmap(routines)


@given(ROUTINES)
def test_what_is_written_is_read_back_the_same(routine: Routine):
    assert read_routine(routine_text(routine).encode()) == routine


def small() -> Routine:
    return Routine(title="Stall", pieces=(Piece(name="Doors open", bars=4, tempo_bpm=92),))


def test_saving_replaces_the_file_and_leaves_nothing_beside_it(tmp_path: Path):
    target = tmp_path / "decks" / "routine.yaml"
    save_routine(small(), target)
    save_routine(small(), target)
    assert load_routine(target) == small()
    assert list(target.parent.iterdir()) == [target]


def test_a_failed_save_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    target = tmp_path / "routine.yaml"
    save_routine(small(), target)
    before = target.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        save_routine(small(), target)
    assert target.read_bytes() == before
    assert list(tmp_path.iterdir()) == [target]
