"""Which section map a performer means by a file, a folder or a shipped name."""

from __future__ import annotations

import pytest

from liveaid.errors import UsageError
from liveaid.routine.scene import Leads, map_file


def test_a_map_is_meant_by_its_file_or_its_folder(tmp_path):
    text = tmp_path / "routine.yaml"
    text.touch()
    other = tmp_path / "other.yaml"
    other.touch()
    assert [map_file(each) for each in (tmp_path, text, other)] == [text, text, other]


def test_a_shipped_scene_is_meant_by_its_name():
    found = map_file("night-market")
    assert (found.name, found.parent.name) == ("routine.yaml", "night-market")
    assert found.is_file()


def test_what_is_no_scene_is_told_with_what_would_be(tmp_path):
    with pytest.raises(UsageError, match=r"a folder with routine.yaml.*night-market"):
        map_file(tmp_path)


def test_a_map_that_is_a_link_out_of_its_scene_is_not_followed(tmp_path):
    (tmp_path / "elsewhere.yaml").touch()
    scene = tmp_path / "scene"
    scene.mkdir()
    (scene / "routine.yaml").symlink_to(tmp_path / "elsewhere.yaml")
    with pytest.raises(Leads):
        map_file(scene)
