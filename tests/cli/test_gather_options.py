"""What `gather` takes, at the bounds of each, and what it asks of the shelf."""

from pathlib import Path
from types import SimpleNamespace

import click
import pytest

from liveaid.commands import gather as module
from liveaid.errors import LiveaidError


def asked(**more):
    """The options of a command line that says only these."""
    nothing = {parameter.name: None for parameter in module.command.params}
    for name in ("folders", "marked", "forget", "tag", "untag"):
        nothing[name] = ()
    return nothing | {"as_json": False, "again": False} | more


@pytest.mark.parametrize(
    ("kind", "text", "read"),
    [
        ("_TEMPO", "20", 20.0), ("_TEMPO", "300", 300.0), ("_TEMPO", "other", "other"),
        ("_TEMPO", "19.9", None), ("_TEMPO", "300.1", None), ("_TEMPO", "nan", None),
        ("_ENERGY", "1", 1), ("_ENERGY", "5", 5), ("_ENERGY", "0", None), ("_ENERGY", "6", None),
        ("_ENERGY", "guessed", "guessed"), ("_ENERGY", "other", None),
        ("_METRE", "2", 2), ("_METRE", "12", 12), ("_METRE", "1", None), ("_METRE", "13", None),
        ("_BAR", "12.48", 12.48), ("_BAR", "1:02.5", 62.5), ("_BAR", "0", 0.0),
        ("_BAR", "1439:59.9", 86399.9), ("_BAR", "1440:00", None), ("_BAR", "-1", None),
        ("_KEY", "f# major", "F# major"), ("_KEY", "H", None),
    ],
)  # fmt: skip
def test_a_mark_is_taken_within_its_bounds(kind, text, read):
    """A day has 1440 minutes."""
    mark = getattr(module, kind)
    if read is None:
        with pytest.raises(click.UsageError, match=f"{text}: .* would do, or guessed"):
            mark.convert(text, None, None)
    else:
        assert mark.convert(text, None, None) == read


@pytest.mark.parametrize(
    ("said", "marks", "refused"),
    [
        ({}, {}, "nothing to do; one of FOLDER, --find, --show, --like, --mark, --forget, --for,"
                 " --parts, --notes would do"),
        ({"terms": ""}, {}, None),
        ({"terms": "kind loop", "like": "wok"}, {}, None),
        ({"show": "wok", "like": "wok"}, {}, "--show and --like do not go together"),
        ({"parts": "wok", "write": "x", "text": "hey"}, {}, None),
        ({"parts": "wok", "in_scene": "x"}, {}, None),
        ({"parts": "wok", "in_scene": "x", "text": "hey"}, {}, "--text and --in SCENE do not go"),
        ({"notes": "wok", "write": "x"}, {}, "--write FOLDER goes with --parts SOUND"),
        ({"show": "wok", "text": "x"}, {}, "--text goes with --parts SOUND"),
        ({"show": "wok", "in_scene": "x"}, {}, "--in SCENE goes with --parts SOUND"),
        ({"marked": ("wok",)}, {"key": "A minor"}, None),
        ({"marked": ("wok",)}, {}, "--mark needs something to write: any of --kind, --tempo"),
        ({"show": "wok"}, {"key": "A minor"}, "--key goes with --mark SOUND"),
        ({"folders": ("no-such-folder",)}, {}, "no-such-folder: no such folder or file"),
        ({"folders": (".",)}, {}, None),
    ],
)  # fmt: skip
def test_one_thing_is_asked_for_at_a_time(said, marks, refused):
    if refused is None:
        module._one_job(asked(**said), marks)
    else:
        with pytest.raises(click.UsageError) as told:
            module._one_job(asked(**said), marks)
        assert refused in told.value.message


@pytest.fixture
def shelf(monkeypatch, tmp_path):
    """A shelf that notes how it is opened and asked."""
    did = []

    class Shelf:
        path = tmp_path / "shelf.sqlite"

        def __init__(self, file, make=False):
            did.append(("open", file, make))

        def __enter__(self):
            return self

        def __exit__(self, *_):
            did.append("closed")

        def find(self, query, *, most, onsets):
            did.append(("find", most, onsets))
            return []

        def count(self, query):
            return 0

    monkeypatch.setattr(module, "Shelf", Shelf)
    monkeypatch.setattr(module, "shelf_for", lambda scene: f"shelf of {scene}")
    monkeypatch.setattr(module, "show_found", lambda found, of, *, as_json: None)
    return SimpleNamespace(did=did, kind=Shelf)


@pytest.mark.parametrize(
    ("said", "opened", "found"),
    [
        ({}, ("open", "shelf of None", False), ("find", 100, False)),
        ({"top": 7}, ("open", "shelf of None", False), ("find", 7, False)),
        ({"as_json": True}, ("open", "shelf of None", False), ("find", None, True)),
        ({"as_json": True, "top": 7}, ("open", "shelf of None", False), ("find", 7, True)),
        ({"shelf_file": "own"}, ("open", "own", False), ("find", 100, False)),
    ],
)
def test_a_hundred_sounds_are_listed_unless_more_are_asked_for_and_all_as_json(
    shelf, said, opened, found
):
    module.command.callback(**asked(terms="energy 3", **said))
    assert shelf.did == [opened, found, "closed"]


@pytest.mark.parametrize(
    ("said", "job", "make"),
    [({"folders": (".",)}, "_gather", True), ({"notes": "wok"}, "_handled", None),
     ({"parts": "wok"}, "_handled", None), ({"scene": "market"}, "_lacking", True),
     ({"forget": ("wok",)}, "_forget", False), ({"like": "wok"}, "_alike", False),
     ({"marked": ("wok",), "key": "A minor", "tag": ("wet",)}, "_mark", False)],
)  # fmt: skip
def test_only_who_gathers_or_has_an_idea_is_given_a_new_shelf(shelf, monkeypatch, said, job, make):
    done = []
    for name in ("_gather", "_lacking", "_forget", "_alike", "_mark", "_handled"):
        monkeypatch.setattr(module, name, lambda *told, _name=name, **_: done.append((_name, told)))
    module.command.callback(**asked(**said))
    ((name, told),) = done
    assert name == job
    opened = [] if make is None else [("open", f"shelf of {said.get('scene')}", make), "closed"]
    assert shelf.did == opened
    if job == "_mark":
        assert told[1:] == (("wok",), {"key": "A minor", "tag": ("wet",)})


def test_all_processors_study_unless_fewer_are_asked_for_and_what_is_done_stays(
    monkeypatch, tmp_path, capsys
):
    """Stopped by hand it says what is kept, apart from what another program may read."""
    given = []

    def events(*told, **how):
        given.append(how["processes"])
        yield from ()
        if len(given) == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr(module, "gather", events)
    monkeypatch.setattr(module, "processors", lambda: 8)
    shelf = type("Shelf", (), {"path": tmp_path / "s", "__len__": lambda self: 0})()
    for processes in (None, 2):
        module._gather(shelf, asked(folders=(".",), processes=processes))
    assert given == [8, 2]
    capsys.readouterr()
    with pytest.raises(KeyboardInterrupt):
        module._gather(shelf, asked(folders=(".",)))
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.endswith("0 studied and kept; the same command again does the rest.\n")


def test_what_was_marked_is_shown_and_a_guess_is_gone_back_to(monkeypatch):
    """A kind may be guessed again; a note that reads `guessed` is a note."""
    marked, told = [], []
    sounds = {name: SimpleNamespace(hash=name, part=None, study=None) for name in ("tram", "wok")}
    shelf = SimpleNamespace(
        chosen=lambda name: sounds[name],
        mark=lambda digest, **how: marked.append((digest, how)),
        these=lambda wanted, onsets=False: [f"{each} now {onsets}" for each in wanted],
    )
    monkeypatch.setattr(
        module, "show_found", lambda found, of, *, as_json: told.append((found, of, as_json))
    )
    module._mark(shelf, ("tram", "wok"), {"kind": "guessed", "note": "guessed", "tag": ("wet",)})
    how = {"set_to": {"kind": None, "note": "guessed"}, "tags": ("wet",), "untag": ()}
    assert marked == [("tram", how), ("wok", how)]
    assert told == [(["tram now False", "wok now False"], 2, False)]
    assert module._chosen(shelf, "wok") == "wok now True"


def test_what_sounds_alike_leaves_out_the_sound_itself_and_those_that_went(monkeypatch):
    """Twelve are told unless another number is asked for: thirteen are looked for, since it is
    like itself."""
    shown, looked = [], []

    def near(number):
        return SimpleNamespace(hash=bytes([number]), distance=float(number))

    def find_alike(shelf, imprint, query, *, most):
        looked.append((imprint, query, most))
        return [near(number) for number in range(most)]

    monkeypatch.setattr("liveaid.shelf.alike.find_alike", find_alike)
    monkeypatch.setattr("liveaid.shelf.alike.imprint_of", lambda shelf, digest: f"of {digest}")
    monkeypatch.setattr(module, "show_alike", lambda pairs, *, as_json: shown.append(pairs))
    gone = bytes([2]).hex()
    shelf = SimpleNamespace(
        at=lambda paths: [], chosen=lambda name: SimpleNamespace(hash=bytes([0]).hex()),
        these=lambda wanted: [SimpleNamespace(hash=each) for each in wanted if each != gone],
    )  # fmt: skip
    for top, last in ((None, 12), (3, 3)):
        module._alike(shelf, asked(like="wok", top=top))
        assert looked.pop() == (f"of {bytes([0]).hex()}", None, last + 1)
        told = [sound.hash for _, sound in shown.pop()]
        assert told == [bytes([number]).hex() for number in range(1, last + 1) if number != 2]
    module._alike(shelf, asked(like="wok", terms="energy 3"))
    assert looked[0][1] is not None


def test_a_file_that_is_not_on_the_shelf_is_studied_for_this_once(monkeypatch, tmp_path, capsys):
    file = tmp_path / "new.wav"
    file.touch()
    looked = []
    monkeypatch.setattr(module, "study_apart", lambda path: SimpleNamespace(imprint="its own"))
    monkeypatch.setattr(
        "liveaid.shelf.alike.find_alike",
        lambda shelf, imprint, query, *, most: looked.append(imprint) or [],
    )
    monkeypatch.setattr("liveaid.shelf.alike.imprint_of", lambda shelf, digest: digest and None)
    monkeypatch.setattr(module, "show_alike", lambda pairs, *, as_json: None)
    known = []
    shelf = SimpleNamespace(at=lambda paths: known, these=lambda wanted: [])
    module._alike(shelf, asked(like=str(file)))
    assert looked == ["its own"]
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", f"{file} is not on the shelf; studied for this once.\n")
    known.append(SimpleNamespace(hash="00"))
    with pytest.raises(LiveaidError, match="how it sounds is not known"):
        module._alike(shelf, asked(like=str(file)))


def test_the_other_reading_of_a_tempo_is_the_studys(tmp_path):
    def of(study):
        return SimpleNamespace(path="/s/wok.wav", study=study)

    assert module._other_tempo(of(SimpleNamespace(tempo_alternative=46.0))) == 46.0
    for study in (None, SimpleNamespace(tempo_alternative=None)):
        with pytest.raises(LiveaidError, match="no other reading of its tempo is known"):
            module._other_tempo(of(study))


def test_a_part_of_a_sound_is_neither_marked_nor_forgotten():
    part = SimpleNamespace(part=("break", 1.0, 2.0), name="tram break", path="/s/tram.wav")
    with pytest.raises(LiveaidError, match=r"tram break: a part of /s/tram\.wav, which would do"):
        module._whole(SimpleNamespace(chosen=lambda name: part), "tram break")
    whole = SimpleNamespace(part=None)
    assert module._whole(SimpleNamespace(chosen=lambda name: whole), "tram") is whole


@pytest.mark.parametrize("idea", [None, SimpleNamespace(wants=())])
def test_a_scene_that_wants_nothing_is_told_what_to_write(monkeypatch, tmp_path, idea):
    monkeypatch.setattr(module, "map_file", lambda scene: tmp_path / "routine.yaml")
    monkeypatch.setattr(module, "load_sketch", lambda file: SimpleNamespace(idea=idea))
    with pytest.raises(LiveaidError, match="no idea to look for"):
        module._lacking(None, "market", as_json=False)


def test_an_idea_is_held_against_sounds_that_are_studied_and_there(monkeypatch, tmp_path):
    def sound(name, *, study="study", gone=False):
        marks = SimpleNamespace(note="wet", tags=("rain",))
        return SimpleNamespace(hash=name, name=name, study=study, gone=gone, marks=marks)

    given = []
    sounds = [sound("tram"), sound("text", study=None), sound("bell", gone=True)]
    sketch = SimpleNamespace(idea=SimpleNamespace(wants=(1,)), sounds={}, turntable="t", metre=4)
    monkeypatch.setattr(module, "map_file", lambda scene: tmp_path / "routine.yaml")
    monkeypatch.setattr(module, "load_sketch", lambda file: sketch)
    monkeypatch.setattr(module, "with_map_words", lambda sounds, words, folder: sounds)
    monkeypatch.setattr(module, "brief", lambda *told, **how: given.append((told[1:], how)))
    monkeypatch.setattr(module, "show_brief", lambda *told: None)
    asked_for = []
    shelf = SimpleNamespace(sounds=lambda *, onsets: asked_for.append(onsets) or sounds)
    module._lacking(shelf, "market", as_json=False)
    assert asked_for == [False]
    assert given == [
        (({"tram": "study"}, {"tram": "tram wet rain"}), {"turntable": "t", "metre": 4})
    ]


def test_parts_and_notes_are_those_of_a_file_or_else_of_a_sound_on_the_shelf(
    shelf, monkeypatch, tmp_path
):
    told = []
    monkeypatch.setattr(module, "show_parts", lambda path, **how: told.append((path, how)))
    monkeypatch.setattr(module, "show_tone", lambda path, **how: told.append((path, how)))
    monkeypatch.setattr(module, "_chosen", lambda shelf, name: name)
    monkeypatch.setattr(module, "lying_there", lambda name: SimpleNamespace(path=f"/s/{name}.wav"))
    file = tmp_path / "wok.wav"
    file.touch()
    module._handled(asked(parts=str(file), text="hey"))
    assert shelf.did == []
    module._handled(asked(notes="kettle"))
    assert shelf.did == [("open", "shelf of None", False), "closed"]
    module._handled(asked(parts="wok", shelf_file="own", write="parts"))
    assert shelf.did[2] == ("open", "own", False)
    assert told == [
        (file, {"said": "hey", "write": None, "as_json": False}),
        (Path("/s/kettle.wav"), {"as_json": False}),
        (Path("/s/wok.wav"), {"said": "", "write": "parts", "as_json": False}),
    ]
