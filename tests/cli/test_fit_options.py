"""What `fit` looks at, lists and has heard by its options, with the judging left out."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.commands import fit as module
from liveaid.commands.fit_report import Beyond, Lists, Mine
from liveaid.errors import LiveaidError
from liveaid.fit.meeting import needed_range_percent
from liveaid.fit.rank import Ranked
from liveaid.routine.model import Turntable

RECORDS = [f"{n:02x}" * module.HASH_BYTES for n in range(20)]
"""Twenty records of the shelf by their hashes, forty letters each; `Y..` is a part of one."""


def fit(record, *, hit=False):
    return SimpleNamespace(other=record, hit=hit)


def sound(record, **more):
    known = {"hash": record, "name": f"n{record[:2]}", "study": f"study of {record[:2]}",
             "from_s": 0.0, "path": f"/s/{record[:2]}.wav", "fault": "holds text"}  # fmt: skip
    return SimpleNamespace(**known | more)


def crate(whole=(), hits=(), beyond=()):
    numbers = (np.array(each, dtype=np.intp) for each in (whole, hits, beyond))
    return module.Crate([bytes.fromhex(each) for each in RECORDS], Ranked(*numbers))


@pytest.fixture
def fitted(monkeypatch):
    """fitted(found, same, **options): the lists shown, what is told of the rest, and the rest."""

    def of(found, same=(), *, whole=20, instead=(), **options):
        shown = SimpleNamespace(asked=[], lists=None, rest=None, heard=[], plain=[], shelf=None)

        class Shelf:
            def __init__(self, file, *, make):
                shown.shelf = (file, make)

            def __enter__(self):
                return self

            def __exit__(self, *_):
                pass

            def these(self, wanted):
                shown.asked.append(list(wanted))
                return [sound(each) for each in shown.asked[-1]]

        mine = Mine("stall", "/s/stall.wav", SimpleNamespace(tempo=92.0), RECORDS[19])
        steps = {
            "Shelf": Shelf, "shelf_for": lambda scene: f"shelf of {scene}",
            "_told_by": lambda shelf, scene: (list(instead), Turntable()),
            "_asked": lambda shelf, instead, meant: mine,
            "_crate": lambda *told, key_locked: crate(range(whole), [18], [17]),
            "_same_recording": lambda shelf, mine, sounds: set(same),
            "fits": lambda mine, studies, **how: shown.__setattr__("judged", (studies, how))
            or found,
            "_hear": lambda mine, fit, sounds, file: shown.heard.append((fit.other, file)),
            "_beyond": lambda mine, crate, nearest: Beyond(1),
            "show": lambda mine, lists, *told, why: shown.__setattr__("lists", (lists, why)),
            "show_rest": lambda *told: shown.__setattr__("rest", told[:2]),
            "report": lambda *told: "report", "print_json": shown.plain.append,
        }  # fmt: skip
        for name, step in steps.items():
            monkeypatch.setattr(module, name, step)
        nothing = {parameter.name: None for parameter in module.command.params}
        asked = {"sound": "stall", "top": 2, "why": False, "key_locked": False, "as_json": False}
        module.command.callback(**nothing | asked | options)
        return shown

    return of


def test_what_goes_along_what_is_thrown_in_and_the_same_once_more_are_listed_apart(fitted):
    """Two are asked for; hits and copies, five each. A copy is none of those that are left."""
    found = [fit(RECORDS[n], hit=n >= 10) for n in range(17)]
    same = [RECORDS[1], *RECORDS[4:10], RECORDS[16]]
    shown = fitted(found, same, why=True)
    lists, why = shown.lists
    assert why is True
    assert [each.other for each in lists.whole] == [RECORDS[0], RECORDS[2]]
    assert [each.other for each in lists.hits] == RECORDS[10:15]
    assert [each.other for each in lists.copies] == [RECORDS[1], *RECORDS[4:8]]
    # Of the twenty that play along seven are copies; the eighth copy is a hit.
    assert shown.rest == (13, 2)
    assert shown.asked == [[*RECORDS[:20], RECORDS[18]], [RECORDS[17]]]
    assert (shown.shelf, shown.heard, shown.plain) == (("shelf of None", False), [], [])
    assert shown.judged[1] == {"turntable": Turntable(), "key_locked": False}


def test_a_scene_s_word_on_a_sound_goes_before_the_shelf_s(fitted):
    """One that is not among the best is not brought in by it."""
    told = [sound(RECORDS[3], study="as the map has it"), sound("ff" * 20, study="other")]
    shown = fitted([], instead=told, scene="market", shelf_file=Path("own"))
    studies, _ = shown.judged
    assert studies[RECORDS[3]] == "as the map has it"
    assert "ff" * 20 not in studies
    assert shown.shelf == (Path("own"), False)


def test_the_best_is_heard_and_json_says_no_more(fitted):
    shown = fitted([fit(RECORDS[5]), fit(RECORDS[6])], hear=Path("w.wav"), as_json=True)
    assert shown.heard == [(RECORDS[5], Path("w.wav"))]
    assert (shown.plain, shown.lists, shown.rest) == (["report"], None, None)


@pytest.mark.parametrize(("top", "looked_at"), [(1, 50), (25, 50), (26, 52)])
def test_twice_as_many_are_judged_as_are_listed_and_fifty_at_the_least(top, looked_at):
    """And twice as many hits as the five that are listed."""
    hashes = [bytes([n]) for n in range(100)]
    order = Ranked(np.arange(80), np.arange(80, 100), np.array([7, 8]))
    found = module.Crate(hashes, order)
    assert found.best(top) == [f"{n:02x}" for n in (*range(looked_at), *range(80, 90))]
    assert found.nearest == ["07"]
    assert module.Crate(hashes, Ranked(*(np.array([], dtype=int),) * 3)).nearest == []


@pytest.mark.parametrize(
    ("own", "looked", "same"),
    [
        # The record itself and its parts; a copy and the parts of it.
        (RECORDS[0], [RECORDS[1], RECORDS[2]], [RECORDS[0] + "aa", RECORDS[2], RECORDS[2] + "bb"]),
        (RECORDS[0] + "aa", [RECORDS[1], RECORDS[2]],
         [RECORDS[0] + "aa", RECORDS[2], RECORDS[2] + "bb"]),
        (None, [RECORDS[0], RECORDS[1], RECORDS[2]], [RECORDS[2], RECORDS[2] + "bb"]),
    ],
)  # fmt: skip
def test_the_same_recording_is_known_by_its_hash_or_by_its_sound(monkeypatch, own, looked, same):
    asked = []
    monkeypatch.setattr("liveaid.shelf.alike.imprint_of", lambda shelf, digest: f"of {digest[:2]}")
    monkeypatch.setattr(
        "liveaid.shelf.alike.copies_among",
        lambda shelf, imprint, hashes: (
            asked.append((imprint, sorted(hashes))) or {bytes.fromhex(RECORDS[2])}
        ),
    )
    mine = Mine("stall", "", SimpleNamespace(imprint="its own"), own)
    sounds = [RECORDS[0] + "aa", RECORDS[1], RECORDS[2], RECORDS[2] + "bb"]
    assert module._same_recording(None, mine, sounds) == set(same)
    assert asked == [
        ("its own" if own is None else "of 00", [bytes.fromhex(each) for each in looked])
    ]


def test_a_sound_whose_imprint_is_not_known_has_no_copies():
    mine = Mine("stall", "", SimpleNamespace(imprint=None), None)
    assert module._same_recording(None, mine, RECORDS[:3]) == set()


def test_the_sound_asked_about_is_not_among_those_it_is_held_against(monkeypatch):
    asked = []
    rows = [(bytes.fromhex(each), each[:2]) for each in RECORDS[:3]]
    shelf = SimpleNamespace(
        columns=lambda names, query, *, instead: asked.append((names, query, instead)) or rows
    )
    monkeypatch.setattr(module, "facts_of", lambda studies: studies)
    monkeypatch.setattr(module, "unpacked", lambda packed: packed)
    monkeypatch.setattr(module, "ranked", lambda *told, key_locked: (*told, key_locked))
    for own, left in ((RECORDS[1], ("00", "02")), (None, ("00", "01", "02"))):
        mine = Mine("stall", "", "study", own)
        found = module._crate(shelf, "query", ["told"], mine, "table", key_locked=True)
        assert [each.hex()[:2] for each in found.hashes] == list(left)
        assert found.order == (["study"], left, "table", True)
    assert asked[0] == (("ranking",), "query", ["told"])
    rows.clear()
    assert module._crate(shelf, "query", [], mine, "table", key_locked=False).hashes == []


@pytest.mark.parametrize(
    ("mine", "other", "told"),
    [(92.0, 120.0, ("n03", needed_range_percent(92.0, 120.0))), (92.0, None, None),
     (None, 120.0, None)],
)  # fmt: skip
def test_the_nearest_out_of_reach_is_told_with_the_range_it_needs(mine, other, told):
    nearest = [sound(RECORDS[3], study=SimpleNamespace(tempo=other))]
    found = module._beyond(SimpleNamespace(tempo=mine), crate(beyond=[3, 4]), nearest)
    assert found == (Beyond(2, *told) if told else Beyond(2))
    assert module._beyond(SimpleNamespace(tempo=92.0), crate(beyond=[3]), []) == Beyond(1)
    untold = [sound(RECORDS[3], study=None)]
    assert module._beyond(SimpleNamespace(tempo=92.0), crate(beyond=[3]), untold) == Beyond(1)


def test_one_is_picked_by_its_name_among_all_that_are_listed(monkeypatch):
    monkeypatch.setattr(
        module, "choose", lambda sounds, name: next(s for s in sounds if s.name == name)
    )
    sounds = {each: sound(each) for each in RECORDS[:3]}
    lists = Lists([fit(RECORDS[0])], [fit(RECORDS[1])], [fit(RECORDS[2])])
    assert module._picked(lists, sounds, None) is lists.whole[0]
    assert module._picked(lists, sounds, "n02") is lists.copies[0]
    with pytest.raises(LiveaidError, match="there is nothing to hear"):
        module._picked(Lists([], []), {}, None)


def test_two_sounds_are_heard_from_where_each_begins(monkeypatch, capsys):
    heard = []
    monkeypatch.setattr(module, "lying_there", lambda sound: sound)
    monkeypatch.setattr(module, "audition", lambda *told: told)
    monkeypatch.setattr(module, "write_audition", lambda both, file: heard.append((both, file)))
    mine = Mine("stall", "/s/stall.wav", "study", None, 1.5)
    other = fit(RECORDS[3])
    module._hear(mine, other, {RECORDS[3]: sound(RECORDS[3], from_s=2.5)}, Path("w.wav"))
    assert heard == [((
        module.ToHear("/s/stall.wav", "study", 1.5),
        module.ToHear("/s/03.wav", "study of 03", 2.5), other,
    ), Path("w.wav"))]  # fmt: skip
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "w.wav: stall with n03. Start quiet.\n")


def test_a_turntable_is_the_scene_s_but_for_what_is_said():
    table = Turntable(pitch_range_percent=16.0)
    assert module._turntable(table, None, None) == table
    found = module._turntable(table, 10.0, 45.0)
    assert (found.pitch_range_percent, found.rpm) == (10.0, 45.0)


def test_the_sound_asked_about_is_on_the_shelf_or_studied_for_this_once(
    monkeypatch, tmp_path, capsys
):
    file = tmp_path / "stall.wav"
    file.touch()
    monkeypatch.setattr(module, "study_apart", lambda path: f"study of {path}")
    monkeypatch.setattr(module, "lying_there", lambda sound: sound)
    known = []
    shelf = SimpleNamespace(at=lambda paths: known, chosen=lambda name: sound(RECORDS[1]))
    found = module._asked(shelf, [], str(file))
    assert found == Mine("stall", str(file), f"study of {file}", None)
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", f"{file} is not on the shelf; studied for this once.\n")
    chosen = Mine("n01", "/s/01.wav", "study of 01", RECORDS[1], 0.0)
    assert module._asked(shelf, [], "stall") == chosen
    known.append(sound(RECORDS[2], from_s=4.0))
    assert module._asked(shelf, [], str(file)).hash == RECORDS[2]
    told = [sound(RECORDS[1], study="other"), sound(RECORDS[2], study="as the map has it")]
    mapped = module._asked(shelf, told, str(file))
    assert (mapped.study, mapped.from_s) == ("as the map has it", 0.0)
    known[0] = sound(RECORDS[2], study=None)
    with pytest.raises(LiveaidError, match=r"/s/02\.wav: holds text"):
        module._asked(shelf, [], str(file))
    assert capsys.readouterr().err == ""


def test_a_scene_tells_of_its_sounds_from_its_own_folder(monkeypatch, tmp_path):
    asked = []
    sketch = SimpleNamespace(
        sounds={"a": SimpleNamespace(file="sounds/a.wav"), "b": SimpleNamespace(file="/s/b.wav")},
        turntable="45",
    )
    monkeypatch.setattr(module, "map_file", lambda scene: tmp_path / "routine.yaml")
    monkeypatch.setattr(module, "load_sketch", lambda file: sketch)
    monkeypatch.setattr(module, "with_map_words", lambda sounds, words, folder: (sounds, folder))
    shelf = SimpleNamespace(at=lambda paths: asked.append(paths) or "sounds")
    assert module._told_by(shelf, None) == ([], Turntable())
    assert module._told_by(shelf, "market") == (("sounds", str(tmp_path)), "45")
    assert asked == [[f"{tmp_path}/sounds/a.wav", "/s/b.wav"]]
