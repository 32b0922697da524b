"""Parts against the sound files they were found in: told by file and line, with what would do."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from liveaid.commands.check import command as check_command
from liveaid.files.file_bytes import content_hash
from liveaid.render.render import render_scene
from liveaid.routine import RoutineError

MAP = """title: T
sounds:
  call:
    file: call.wav
    parts_of: {DIGEST}
    parts:
      hey: {from: 0.2, to: 0.5}
      ah: {from: 0.6, to: {END}}
pieces:
  - name: P
    bars: 1
    tempo: 92
    right: {hand: works, acts: {0: baby hey, 2: baby ah}}
"""


@pytest.fixture
def scene(tmp_path):
    """A scene whose one sound lasts a second; `write` puts its map in place."""
    tone = 0.1 * np.sin(2 * np.pi * 440.0 * np.arange(22050) / 22050)
    soundfile.write(tmp_path / "call.wav", tone, 22050)
    digest = content_hash(str(tmp_path / "call.wav"))[0][:12]

    def write(*, end: float = 0.9, digest: str = digest):
        text = MAP.replace("{DIGEST}", digest).replace("{END}", f"{end:g}")
        (tmp_path / "routine.yaml").write_text(text)
        return tmp_path

    return write


def findings_of(folder):
    """What is told with a line of the map: the line, the field, what was found, what would do."""
    said = CliRunner().invoke(check_command, [str(folder), "--json"])
    told = json.loads(said.output)["findings"]
    found = [(re.fullmatch(r"line (\d+): (\S+): found (.*)", f["says"]), f) for f in told]
    return [(int(m[1]), m[2], m[3], f["way_out"], f["severity"]) for m, f in found if m]


def test_parts_that_fit_their_sound_are_told_nothing_of(scene):
    assert findings_of(scene()) == []


def test_a_part_outside_its_sound_is_told_by_line(scene):
    found = "1.3, and call ends at 1.000 s"
    folder = scene(end=1.3)
    assert findings_of(folder) == [
        (8, "sounds.call.parts.ah.to", found, "a second up to 1.000 would do", "error")
    ]
    seen = CliRunner().invoke(check_command, [str(folder)], env={"COLUMNS": "300"}).output
    assert f"line 8: sounds.call.parts.ah.to: found {found}" in " ".join(seen.split())
    assert str(folder / "routine.yaml") in seen.replace("\n", "")


def test_parts_of_a_sound_that_changed_since_are_told_by_line(scene):
    """The file's digest does not begin with what the map remembers: the way out names the new."""
    folder = scene()
    soundfile.write(folder / "call.wav", np.full(22050, 0.1), 22050)
    now = content_hash(str(folder / "call.wav"))[0]
    ((line, field, found, way_out, _),) = findings_of(folder)
    assert (line, field) == (5, "sounds.call.parts_of")
    assert f"call.wav is now {now[:8]}: it changed since its parts were found" in found
    assert way_out.endswith(f"`parts_of: {now[:8]}`, would do")


@pytest.mark.parametrize(("end", "digest"), [(1.3, None), (0.9, "0123abcd")])
def test_render_refuses_both_with_the_same_lines(scene, end, digest):
    folder = scene(end=end, **({"digest": digest} if digest else {}))
    ((line, field, *_),) = findings_of(folder)
    with pytest.raises(RoutineError) as caught:
        render_scene(folder / "routine.yaml")
    assert [(p.line, p.field) for p in caught.value.problems] == [(line, field)]
