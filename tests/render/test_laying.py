"""A scene judged before any audio is made: laid out as render would, sounds from the shelf."""

from __future__ import annotations

import json
import shutil
import sqlite3

import pytest
from click.testing import CliRunner

from liveaid.commands.check import command as check_command
from liveaid.commands.laying import judged
from liveaid.commands.render import command as render_command
from liveaid.files.file_bytes import content_hash
from liveaid.render.render import render_scene
from liveaid.routine import SIDES, load_routine
from liveaid.routine.opened import open_scene
from liveaid.shelf.folder import Signature
from liveaid.shelf.for_map import studies_on
from liveaid.shelf.shelf import Shelf
from liveaid.study import study
from liveaid.study.facts import Study


def test_cues_lie_where_render_puts_them_without_any_audio(scene, done):
    laid = judged(open_scene(scene / "routine.yaml"))
    rendered = load_routine(done[1].routine)
    assert laid.laid_out
    assert not laid.faults
    for here, there in zip(laid.routine.pieces, rendered.pieces, strict=True):
        for side in SIDES:
            assert here.plan(side).cue_s == there.plan(side).cue_s
            if here.plan(side).hand == "works":
                assert here.plan(side).to_s == there.plan(side).to_s


def sounds_told(scene):
    """What the command returns, the findings on sounds as severity and words, and whether all is
    laid out."""
    ran = CliRunner().invoke(check_command, [str(scene), "--json"], standalone_mode=False)
    report = json.loads(ran.stdout)
    told = [(f["severity"], f["says"]) for f in report["findings"] if f["rule"] == "sounds"]
    return ran.return_value, told, report["laid_out"]


def test_a_missing_sound_file_is_found_by_check_by_its_line(scene):
    (scene / "sounds/seller.wav").unlink()
    text = (scene / "routine.yaml").read_text().splitlines()
    line = 1 + next(k for k, one in enumerate(text) if "sounds/seller.wav" in one)
    says = f"line {line}: sounds.seller.file: found sounds/seller.wav, no such file"
    assert sounds_told(scene) == (1, [("error", says)], False)


def test_a_stage_laptop_without_the_sounds_can_play_what_was_rendered(done, tmp_path):
    """Deck files and maps alone were taken along: each lacking sound is told, none is in the way.

    A set piece that needs a sound anew is, since only a render could bring it."""
    stage = tmp_path / "stage"
    shutil.copytree(done[0], stage)
    shutil.rmtree(stage / "sounds")
    _, told, _ = sounds_told(stage)
    assert {severity for severity, _ in told} == {"warning"}
    assert any("found sounds/seller.wav, no such file" in says for _, says in told)
    assert open_scene(stage / "routine.yaml").playable().placed
    file = stage / "routine.yaml"
    file.write_text(
        file.read_text().replace("Dry, bars: 1, tempo: 100", "Dry, bars: 1, tempo: 104")
    )
    _, told, _ = sounds_told(stage)
    assert {severity for severity, _ in told} == {"error"}


@pytest.fixture
def silent_map(scene):
    """The scene with nothing said of its instrumental sounds but their files."""
    file = scene / "routine.yaml"
    text = file.read_text()
    text = text.replace("kind: instrumental, tempo: 100, first_beat: 0.113", "loop: no")
    file.write_text(text.replace("kind: instrumental, tempo: 96, first_beat: 0", "loop: no"))
    return scene


def studied(tempo_bpm, first_beat_s):
    return Study(
        duration_s=19.0, sample_rate_hz=44_100, channels=1, format="WAV", kind="instrumental",
        frames_declared=1, frames_read=1, tempo=tempo_bpm, tempo_confidence=0.9,
        first_beat=first_beat_s, key="A minor", key_confidence=0.8,
    )  # fmt: skip


def test_what_the_map_is_silent_about_is_taken_from_the_shelf(silent_map):
    facts = {"awning": (100.0, 0.113), "puddle": (96.0, 0.0)}
    with Shelf(silent_map / "shelf.sqlite") as shelf:
        for number, (name, (tempo, first)) in enumerate(facts.items()):
            digest = f"{number:040x}"
            shelf.keep(digest, studied(tempo, first))
            path = str((silent_map / f"sounds/{name}.wav").resolve())
            shelf.place(path, digest, Signature(1, 1, number + 1, 1, True))
            shelf.mark(digest, set_to={"source": "the rain", "licence": "CC0-1.0"})
    seen = judged(open_scene(silent_map / "routine.yaml"))
    assert seen.laid_out
    awning = seen.routine.sounds["awning"]
    assert (awning.tempo_bpm, awning.kind, awning.key) == (100.0, "instrumental", "A minor")
    assert (awning.source, awning.licence) == ("the rain", "CC0-1.0")


def test_a_mark_on_the_shelf_counts_for_check_and_render_alike(silent_map):
    with Shelf(silent_map / "shelf.sqlite") as shelf:
        for name in ("awning", "puddle"):
            path = str((silent_map / f"sounds/{name}.wav").resolve())
            digest, signature = content_hash(path)
            shelf.keep(digest, study(path))
            shelf.place(path, digest, signature)
            if name == "awning":
                shelf.mark(digest, set_to={"tempo": 98.0})
    laid = judged(open_scene(silent_map / "routine.yaml"))
    assert laid.laid_out
    CliRunner().invoke(render_command, [str(silent_map)], catch_exceptions=False)
    rendered = load_routine(silent_map / "decks/routine.yaml")
    assert rendered.sounds["awning"].tempo_bpm == 98.0
    for here, there in zip(laid.routine.pieces, rendered.pieces, strict=True):
        for side in SIDES:
            assert here.plan(side).cue_s == there.plan(side).cue_s


def test_sounds_that_nothing_is_known_of_are_named(silent_map):
    seen = judged(open_scene(silent_map / "routine.yaml"))
    assert (seen.laid_out, seen.unstudied) == (False, ("awning", "puddle"))


def test_render_says_when_what_it_made_cannot_be_played(scene):
    # Dry begins with left on the awning's first beat, right after a juggle that leaves it
    # in the puddle: no beat of rest to bring it.
    rendered = render_scene(scene / "routine.yaml")
    places = [(f.rule, f.piece, f.side) for f in rendered.unplayable]
    assert ("winding", 4, "left") in places
    assert not rendered.to_json()["playable"]


def test_what_the_shelf_has_of_a_sounds_bytes_is_not_studied_again(silent_map):
    """It says 99 BPM of bytes that would tell 100. An older way of measuring counts no more."""
    digests = []
    with Shelf(silent_map / "shelf.sqlite") as shelf:
        for name, tempo_bpm, first_beat_s in (("awning", 99.0, 0.113), ("puddle", 96.0, 0.0)):
            digests.append(content_hash(str(silent_map / f"sounds/{name}.wav"))[0])
            shelf.keep(digests[-1], studied(tempo_bpm, first_beat_s))
    CliRunner().invoke(render_command, [str(silent_map)], catch_exceptions=False)
    assert load_routine(silent_map / "decks/routine.yaml").sounds["awning"].tempo_bpm == 99.0
    known = studies_on(silent_map / "shelf.sqlite")
    assert known(digests[0]).tempo == 99.0
    with sqlite3.connect(silent_map / "shelf.sqlite") as file:
        file.execute("UPDATE sound SET study_version = study_version - 1")
    assert known(digests[0]) is None
    assert studies_on(silent_map / "none.sqlite")(digests[0]) is None
