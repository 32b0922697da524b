"""Where a draft takes its sounds from, how its map names them, and what is written there."""

import wave
from pathlib import Path
from types import SimpleNamespace

import pytest

from liveaid.commands import draft
from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.fit.draft import Drafted
from liveaid.routine.load import read_routine
from liveaid.routine.model import Piece
from liveaid.shelf.shelf_sound import Labels, Marks, ShelfSound
from liveaid.study.facts import Study

FACTS = {
    "duration_s": 62.04, "sample_rate_hz": 44100, "channels": 2, "format": "WAV",
    "frames_declared": 1, "frames_read": 1, "tempo": 92.04, "key": "A minor", "energy": 3,
    "kind": "instrumental",
}  # fmt: skip


def tone(file, frames=10):
    file.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(file), "wb") as sound:
        sound.setparams((1, 2, 8000, 0, "NONE", ""))
        sound.writeframes(bytes(2 * frames))
    return file


def known(file, *, gone=False, study=True, marks=None, labels=None, **facts):
    digest = content_hash(str(file))[0] if Path(file).is_file() else "none"
    return ShelfSound(
        hash=digest, path=str(file), gone=gone, study=Study(**(FACTS | facts)) if study else None,
        marks=marks or Marks(), labels=labels or Labels(),
    )  # fmt: skip


@pytest.fixture
def shelf():
    placed = []
    return SimpleNamespace(place=lambda path, digest, _: placed.append((path, digest)), did=placed)


def test_a_sound_in_the_scene_is_named_from_there_and_another_is_copied(tmp_path, shelf):
    """A copy is put on the shelf too; once it is there it is taken as it is."""
    scene = tmp_path / "scene"
    own, far = tone(scene / "my" / "rain.wav"), tone(tmp_path / "far" / "TRAM.WAV", 20)
    assert draft._file_of(scene, shelf, known(own), "rain") == "my/rain.wav"
    assert shelf.did == []
    for _ in range(2):
        assert draft._file_of(scene, shelf, known(far), "a tram") == "sounds/a tram.wav"
    copy = scene / "sounds" / "a tram.wav"
    assert copy.read_bytes() == far.read_bytes()
    assert shelf.did == [(str(copy), known(far).hash)] * 2


def test_a_sound_that_the_scene_may_reach_is_left_where_it_is(tmp_path, shelf, monkeypatch):
    monkeypatch.setattr(draft, "reach", lambda path, file: path)
    far = tone(tmp_path / "far" / "tram.wav")
    assert draft._file_of(tmp_path / "scene", shelf, known(far), "tram") == str(far)


def test_a_copy_that_cannot_be_made_or_is_another_sound_is_told(tmp_path, shelf):
    scene, far = tmp_path / "scene", tone(tmp_path / "far" / "tram.wav")
    tone(scene / "sounds" / "tram.wav", 30)
    with pytest.raises(LiveaidError, match="found another sound there; a new folder would do"):
        draft._file_of(scene, shelf, known(far), "tram")
    with pytest.raises(LiveaidError, match="room for the copy would do"):
        draft._file_of(scene, shelf, known(tmp_path / "far" / "none.wav"), "none")
    assert shelf.did == []


@pytest.mark.parametrize(
    ("marks", "labels", "source", "licence"),
    [
        (Marks(source="the fair", licence="CC0"), Labels(artist="A", title="B"), "the fair", "CC0"),
        (Marks(), Labels(artist="A", title="B"), "A - B", None),
        (Marks(), Labels(title="B"), "B", None),
        (Marks(), Labels(), None, None),
    ],
)
def test_where_a_sound_is_from_is_what_was_marked_or_what_its_file_says(
    tmp_path, shelf, marks, labels, source, licence
):
    file = tone(tmp_path / "rain.wav")
    for loop_beats in (None, 16):
        one = known(file, marks=marks, labels=labels, loop_beats=loop_beats)
        sounds = draft._brought(tmp_path, shelf, {one.hash: one}, {one.hash: "rain"})
        found = sounds["rain"]
        assert (found.file, found.kind, found.source, found.licence, found.loop) == (
            "rain.wav", "instrumental", source, licence, loop_beats is not None,
        )  # fmt: skip


def test_sounds_are_taken_that_are_studied_and_there(tmp_path, monkeypatch):
    monkeypatch.setattr(draft, "lying_there", lambda sound: sound)
    file = tone(tmp_path / "rain.wav")
    sounds = [known(file), known(file, gone=True), known(file, study=False),
              known(tmp_path / "none.wav")]  # fmt: skip
    assert draft._there(sounds) == {sounds[0].hash: sounds[0]}


def test_a_scene_s_own_shelf_is_taken_before_the_common_one(tmp_path, monkeypatch):
    monkeypatch.setattr(draft, "default_shelf", lambda: "common")
    assert draft._shelf_of(tmp_path) == "common"
    (tmp_path / "shelf.sqlite").touch()
    assert draft._shelf_of(tmp_path) == tmp_path / "shelf.sqlite"


IDEA = "title: Rain\nidea:\n  theme: rain\n  wants:\n    - {part: intro}"


def test_what_is_there_already_is_kept_above_but_for_set_pieces(tmp_path):
    file = tmp_path / "routine.yaml"
    assert draft._sketch(file) is None
    file.write_text(IDEA)
    assert draft._sketch(file).idea.theme == "rain"
    for more in ("sounds: {a: {file: a.wav}}", "pieces: [{name: P, bars: 1, tempo: 90}]"):
        file.write_text(f"{IDEA}\n{more}")
        with pytest.raises(LiveaidError, match="found sounds or set pieces there already"):
            draft._sketch(file)


def written(folder, sketch, lacks=("No outro.",)):
    file = tone(folder / "rain.wav")
    one = known(file)
    piece = Piece.model_validate(
        {"name": "One", "bars": 4, "tempo": 92, "count": "left",
         "left": {"hand": "runs", "sound": "rain"}}
    )  # fmt: skip
    drafted = SimpleNamespace(pieces=(Drafted(piece, "it carries the count"),), lacks=lacks)
    sounds = {"rain": draft.Sound(file="rain.wav", kind="instrumental")}
    return draft._written(folder / "routine.yaml", folder, sketch, drafted, sounds,
                          {one.hash: one}, {one.hash: "rain"})  # fmt: skip


def test_a_new_map_is_called_by_its_folder(tmp_path):
    folder = tmp_path / "wet-night  market"
    text = written(folder, None)
    assert text.splitlines()[:2] == [
        "# A first draft, yours to change. `liveaid check` says whether two hands can play it.",
        "title: Wet night market",
    ]  # fmt: skip
    assert "\n\n# No outro.\nsounds:" in text
    assert read_routine(text.encode()).pieces[0].name == "One"


@pytest.mark.parametrize("end", ["", "\n"])
def test_set_pieces_are_added_below_what_is_written(tmp_path, end):
    (tmp_path / "routine.yaml").write_text(IDEA + end)
    text = written(tmp_path, "a sketch", lacks=())
    assert text.startswith(f"{IDEA}\n\nsounds:\n")
    assert read_routine(text.encode()).idea.theme == "rain"


@pytest.mark.parametrize("sketched", [False, True])
def test_a_draft_goes_by_the_idea_its_metre_and_its_turntable(tmp_path, monkeypatch, sketched):
    """Without one: no idea, bars of four. The shelf is read and not made, without its onsets."""
    asked, opened = [], []
    sketch = SimpleNamespace(idea="rain", metre=3, turntable="45") if sketched else None
    pieces = [SimpleNamespace(piece=SimpleNamespace(name="One"), why="")]
    found = SimpleNamespace(pieces=pieces, lacks=())

    class Shelf:
        path = "/s/shelf.sqlite"

        def __init__(self, file, *, make):
            opened.append((file, make))

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def sounds(self, *, onsets):
            opened.append(onsets)
            return []

    steps = {
        "Shelf": Shelf, "_sketch": lambda file: sketch, "_shelf_of": lambda folder: "its own",
        "_there": lambda sounds: {"1": SimpleNamespace(study="study"),
                                  "2": SimpleNamespace(study=None)},
        "draft": lambda idea, studies, **how: asked.append((idea, studies, how)) or found,
        "_names": lambda here, drafted: {}, "_brought": lambda *told: {},
        "renamed": lambda drafted, names: drafted, "_written": lambda *told: "title: T\n",
    }  # fmt: skip
    for name, step in steps.items():
        monkeypatch.setattr(draft, name, step)
    draft.command.callback(tmp_path, None, as_json=True)
    idea = ("rain", {"1": "study"}, {"turntable": "45", "metre": 3})
    assert asked == [idea if sketched else (None, {"1": "study"}, {"turntable": None, "metre": 4})]
    assert opened == [("its own", False), False]
    assert (tmp_path / "routine.yaml").read_text() == "title: T\n"
    found.pieces = []
    with pytest.raises(LiveaidError, match=r"/s/shelf\.sqlite: no sound with a steady beat"):
        draft.command.callback(tmp_path, "other", as_json=True)
    assert opened[2] == ("other", False)
