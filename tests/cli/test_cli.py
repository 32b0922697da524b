"""The command line: every command listed is there, helps with an example, and exits as promised."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import click
import pytest
from click.testing import CliRunner

from liveaid.cli import COMMANDS, liveaid, main


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_helps_with_an_example(name: str):
    result = CliRunner().invoke(liveaid, [name, "--help"])
    assert result.exit_code == 0, result.output
    assert f"liveaid {name}" in result.output
    assert "xample" in result.output


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_says_what_it_does(name: str):
    context = click.Context(liveaid)
    command = liveaid.get_command(context, name)
    assert command is not None
    silent = [
        option.name
        for option in command.params
        if isinstance(option, click.Option) and not option.help
    ]
    assert not silent


def status(*arguments: str) -> object:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return left.value.code


def test_a_wrong_use_exits_with_2(capsys: pytest.CaptureFixture[str]):
    assert status("check", "--no-such-option") == 2
    assert status("no-such-command") == 2
    assert status("check", "/no/such/scene") == 2
    assert "night-market" in capsys.readouterr().err  # names what would do


def test_a_routine_with_a_problem_exits_with_1_and_names_the_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "routine.yaml").write_text(
        "title: Stall\npieces:\n  - {name: a, bars: 0, tempo: 9}\n"
    )
    assert status("check", str(tmp_path)) == 1
    said = capsys.readouterr().err
    assert "line 3: pieces[0].bars: found 0" in said
    assert "pieces[0].tempo: found 9" in said


def test_help_lists_every_command():
    said = CliRunner().invoke(liveaid, ["--help"]).output
    assert all(name in said for name in COMMANDS)


def test_a_terminal_that_lacks_letters_does_not_end_a_command(tmp_path: Path):
    """As on a machine whose language is not set: the output is ASCII alone."""
    (tmp_path / "routine.yaml").write_text(
        "title: a\nidea: {theme: Straße, wants: [{part: intro}]}\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", "from liveaid.cli import main; main()", "gather", "--for", tmp_path],
        env=os.environ | {"PYTHONIOENCODING": "ascii", "XDG_DATA_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert "theme: Stra\\xdfe" in ran.stdout


def test_the_package_itself_can_be_run():
    ran = subprocess.run(
        [sys.executable, "-m", "liveaid", "check", "/no/such/scene"], capture_output=True, text=True
    )
    assert ran.returncode == 2
    assert "night-market" in ran.stderr


@pytest.mark.parametrize(
    ("command", "not_needed"),
    [
        ("ports", {"aiohttp", "matplotlib", "numpy", "pydantic", "scipy"}),
        ("simulate", {"aiohttp", "matplotlib", "mido", "scipy"}),
        ("check", {"aiohttp", "matplotlib", "mido", "scipy"}),
        ("perform", {"av", "matplotlib", "scipy", "zeroconf"}),
        ("rehearse", {"av", "matplotlib", "scipy", "zeroconf"}),
        ("review", {"av", "scipy.interpolate", "scipy.signal"}),
    ],
)
def test_a_command_loads_no_library_it_has_no_use_for(command: str, not_needed: set[str]):
    """What a command's `--help` loads is waited for by whoever calls it."""
    code = f"import sys, liveaid.commands.{command}; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not not_needed & set(loaded)


@pytest.mark.parametrize(("told", "status"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_command_told_to_end_tidies_up_and_is_told_so_by_its_status(
    told: signal.Signals, status: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    """POSIX.1-2017, 2.8.2: 128 and the number of the signal; nothing is printed about it."""

    def command(**_: object) -> None:
        with TemporaryDirectory(dir=tmp_path):
            os.kill(os.getpid(), told)
            time.sleep(5.0)

    monkeypatch.setattr(liveaid, "main", command)
    with pytest.raises(SystemExit) as left:
        main([])
    assert left.value.code == status
    assert list(tmp_path.iterdir()) == []
    assert signal.getsignal(told) is signal.SIG_DFL


def test_a_command_made_deaf_to_the_terminals_end_stays_so(monkeypatch: pytest.MonkeyPatch):
    """`nohup liveaid perform &` (POSIX.1-2017, nohup)."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        monkeypatch.setattr(liveaid, "main", lambda **_: os.kill(os.getpid(), signal.SIGHUP))
        with pytest.raises(SystemExit) as left:
            main([])
        assert left.value.code == 0
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_beside_the_main_thread_a_command_runs_without_handlers(monkeypatch: pytest.MonkeyPatch):
    """Python lets only the main thread set them (signal, "Signals and threads")."""
    monkeypatch.setattr(liveaid, "main", lambda **_: 7)
    with ThreadPoolExecutor(1) as beside, pytest.raises(SystemExit) as left:
        beside.submit(main, []).result()
    assert left.value.code == 7
