"""What every room's tests share: the places, and optional parts of the machine.

A missing optional part is a skip that says so; under CI=true it is a failure.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent

# The machine is shared and slow at times: a property's examples are counted, not timed.
settings.register_profile(
    "steady", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("steady")


def _absent(what: str) -> NoReturn:
    if os.environ.get("CI") == "true":
        pytest.fail(f"needed in CI: {what}")
    pytest.skip(f"not on this machine: {what}")


@pytest.fixture(scope="session")
def needs() -> Callable[[str, str], str]:
    """needs(program, package): its path, or a skip (in CI a failure) naming the package."""

    def path_of(program: str, package: str) -> str:
        found = shutil.which(program)
        return found or _absent(f"{program} (Debian package {package})")

    return path_of


@pytest.fixture(scope="session")
def needs_folder() -> Callable[[str, str], Path]:
    """needs_folder(folder, package): itself, or a skip (in CI a failure) naming the package."""

    def path_of(folder: str, package: str) -> Path:
        return Path(folder) if Path(folder).is_dir() else _absent(f"{folder} ({package})")

    return path_of


@pytest.fixture(scope="session", autouse=True)
def no_settings(tmp_path_factory):
    """Every test starts from a performer who has allowed nothing beyond a scene."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("settings")))
        yield


@pytest.fixture
def allow(tmp_path, monkeypatch) -> Callable[[str, Path], None]:
    """allow("read" or "write", folder): as the performer does it, in the settings file."""

    def say(word: str, folder: Path) -> None:
        home = tmp_path / "settings"
        (home / "liveaid").mkdir(parents=True)
        (home / "liveaid" / "settings.yaml").write_text(f"{word}: [{folder}]\n")
        monkeypatch.setenv("XDG_CONFIG_HOME", str(home))

    return say


@pytest.fixture(scope="session")
def routines() -> Path:
    """The folder of placed section maps the tests share."""
    return ROOT / "tests" / "routines"
