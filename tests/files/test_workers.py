"""Worker processes: whatever a task does, the others go on and nothing is left behind.

The tasks are functions of the standard library, since a worker has to be able to import them.
"""

from __future__ import annotations

import multiprocessing
import operator
import os
import signal
import subprocess
import sys
import time
from types import SimpleNamespace

import pytest

from liveaid.errors import LiveaidError
from liveaid.files import workers as files_workers
from liveaid.files.workers import (
    Outcome,
    Task,
    Workers,
    _context,
    _death,
    _one_line,
    _serve,
    _Worker,
    processors,
)


def task(name: str, function, *arguments: object, limit_s: float = 60.0) -> Task:
    return Task(("do", name), function, arguments, limit_s)


def outcomes(workers: Workers) -> dict[str, Outcome]:
    found = {}
    while workers.busy:
        outcome = workers.next()
        found[outcome.key[1]] = outcome
    return found


def test_tasks_end_well_fail_hang_and_crash_each_for_itself():
    with Workers(2) as workers:
        workers.submit(task("hangs", time.sleep, 3600, limit_s=0.5))
        workers.submit(task("crashes", os.abort))
        workers.submit(task("leaves", os._exit, 7))
        workers.submit(task("fails", operator.truediv, 1, 0))
        workers.submit(task("says why", sys.exit, "cannot"))
        workers.submit(task("cannot be sent back", memoryview, b"x"))
        workers.submit(task("works", operator.add, 20, 22))
        found = outcomes(workers)
    assert found["works"].value == 42
    assert "pickle" in (found.pop("cannot be sent back").fault or "")
    assert {name: outcome.fault for name, outcome in found.items()} == {
        "hangs": "took longer than 0.5 s and was stopped",
        "crashes": "brought its reader down (SIGABRT)",
        "leaves": "ended its reader (exit status 7)",
        "fails": "ZeroDivisionError: division by zero",
        "says why": "SystemExit: cannot",
        "works": None,
    }


def test_a_fault_is_one_line_our_own_as_it_is_and_any_other_with_its_kind():
    assert _one_line(LiveaidError("x.wav: no sound\nand more")) == "x.wav: no sound"
    assert _one_line(ValueError("odd")) == "ValueError: odd"
    assert _one_line(ValueError()) == "ValueError"
    assert _one_line(MemoryError()) == "needs more memory than there is"


def test_what_ended_a_process_is_a_signal_by_name_or_its_status():
    """Status 0 is no signal, and -99 none that has a name (POSIX's signal.h, from memory)."""
    assert _death(-9) == "brought its reader down (SIGKILL)"
    assert [_death(status) for status in (0, 3, -99, None)] == [
        f"ended its reader (exit status {status})" for status in (0, 3, -99, None)
    ]


class Staged:
    """Workers that no process stands behind: a test says what each hears and when, by a clock."""

    def __init__(self, monkeypatch, processes):
        self.now_s, self.waited_s, self.joined_s = 100.0, [], []
        self.theirs, self.events = [], []
        monkeypatch.setattr(files_workers, "_start", self.start)
        monkeypatch.setattr(files_workers, "connection", SimpleNamespace(wait=self.wait))
        self.workers = Workers(processes, clock=lambda: self.now_s)

    def start(self, *, loading):
        ours, theirs = multiprocessing.Pipe()
        self.theirs.append(theirs)
        process = SimpleNamespace(kill=theirs.close, join=self.joined_s.append, exitcode=4)
        return _Worker(process, ours)

    def wait(self, pipes, timeout):
        self.waited_s.append(timeout)
        then_s, worker, said = self.events.pop(0)
        self.now_s = then_s
        if said == "dies":
            self.theirs[worker].close()
        elif said is not None:
            self.theirs[worker].send(said)
        return [pipe for pipe in pipes if pipe.poll()]


def test_a_process_has_a_minute_to_load_and_a_task_then_its_own_time(monkeypatch):
    staged = Staged(monkeypatch, 1)
    staged.workers.submit(task("slow", operator.add, 1, 2, limit_s=5.0))
    staged.events = [(130.0, 0, "ready"), (134.9, None, None), (135.0, None, None)]
    outcome = staged.workers.next()
    assert outcome.fault == "took longer than 5 s and was stopped"
    assert staged.waited_s == pytest.approx([60.0, 5.0, 0.1])
    assert staged.joined_s == [5.0]  # a killed process may never end
    assert staged.theirs[0].closed


def test_of_two_tasks_the_one_whose_time_is_up_first_is_waited_for(monkeypatch):
    staged = Staged(monkeypatch, 2)
    for limit_s in (9.0, 5.0):
        staged.workers.submit(task(f"{limit_s:g}", operator.add, 1, 2, limit_s=limit_s))
    staged.events = [(101.0, 0, "ready"), (102.0, 1, "ready"), (108.0, None, None)]
    assert staged.workers.next() == Outcome(
        ("do", "5"), fault="took longer than 5 s and was stopped"
    )
    assert staged.waited_s == [60.0, 9.0, 5.0]
    # The other's time ends at 110, and what is over is not waited for.
    staged.now_s, staged.events = 111.0, [(111.0, 0, (3, None))]
    assert staged.workers.next() == Outcome(("do", "9"), 3)
    assert staged.waited_s[3:] == [0.0]
    assert not staged.workers.busy


def test_a_task_is_given_to_another_process_where_an_idle_one_has_died(monkeypatch):
    staged = Staged(monkeypatch, 1)
    staged.workers.submit(task("first", operator.add, 1, 2))
    staged.events = [(100.0, 0, "ready"), (100.0, 0, (3, None))]
    assert staged.workers.next().value == 3
    staged.theirs[0].close()
    staged.workers.submit(task("second", operator.add, 1, 2))
    staged.workers.submit(task("third", operator.add, 1, 2))
    staged.events = [(100.0, 1, "ready"), (100.0, 1, (4, None))]
    assert staged.workers.next() == Outcome(("do", "second"), 4)
    # One that dies with the task at hand is that task's fault.
    staged.events = [(100.0, 1, "dies")]
    assert staged.workers.next() == Outcome(
        ("do", "third"), fault="ended its reader (exit status 4)"
    )


def test_there_are_as_many_processors_as_this_process_may_use(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0, 3, 5}, raising=False)
    assert processors() == 3
    monkeypatch.delattr(os, "sched_getaffinity")
    for told, count in ((6, 6), (None, 1)):
        monkeypatch.setattr(os, "cpu_count", lambda told=told: told)
        assert processors() == count


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere each loads the libraries anew")
def test_processes_are_copies_of_one_that_has_loaded_the_libraries(monkeypatch):
    """Where none can be reached to be copied, each loads them anew."""
    loaded = []

    def cannot():
        raise OSError

    for start, method in ((lambda: None, "forkserver"), (cannot, "spawn")):
        server = SimpleNamespace(set_forkserver_preload=loaded.append, ensure_running=start)
        monkeypatch.setattr(files_workers, "forkserver", server)
        assert _context("operator").get_start_method() == method
    assert loaded == [["operator"], ["operator"]]


def test_the_start_of_a_process_is_not_the_first_tasks_time():
    # A new process takes far longer to start than 10 ms, and that is all the task may take.
    with Workers(1) as workers:
        workers.submit(task("quick", operator.add, 20, 22, limit_s=0.01))
        assert workers.next().value == 42


def test_a_task_at_the_head_of_the_line_goes_first():
    with Workers(0) as workers:  # one process all the same
        for number in (1, 2):
            workers.submit(task(f"{number}", operator.add, number, 0))
        workers.submit(task("now", operator.add, 0, 0), first=True)
        order = [workers.next().key[1] for _ in range(3)]
    assert order == ["now", "1", "2"]


def test_a_process_starts_with_ctrl_c_held_back_and_one_thread_for_its_libraries(monkeypatch):
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    monkeypatch.setenv("MKL_NUM_THREADS", "3")
    with Workers(1) as workers:
        workers.submit(task("held back", signal.pthread_sigmask, signal.SIG_BLOCK, ()))
        workers.submit(task("none said", os.getenv, "OMP_NUM_THREADS"))
        workers.submit(task("said", os.getenv, "MKL_NUM_THREADS"))
        for stream in "12":  # what decoders written in C say goes nowhere
            workers.submit(task(stream, os.path.samefile, f"/dev/fd/{stream}", os.devnull))
        found = outcomes(workers)
    assert (found["1"].value, found["2"].value) == (True, True)
    assert signal.SIGINT in found["held back"].value
    assert (found["none said"].value, found["said"].value) == ("1", "3")
    # Both hold for the worker alone.
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
    assert "OMP_NUM_THREADS" not in os.environ


def test_a_process_is_used_again():
    with Workers(1) as workers:
        for name in "ab":
            workers.submit(task(name, os.getpid))
        found = outcomes(workers)
    assert found["a"].value == found["b"].value != os.getpid()


def test_stopping_ends_a_task_that_never_would():
    with Workers(2) as workers:
        workers.submit(task("pid", os.getpid))
        pid = workers.next().value
        workers.submit(task("hangs", time.sleep, 3600, limit_s=3600))  # goes to the idle process
        workers.submit(task("quick", os.getpid))
        assert workers.next().value != pid
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_waiting_for_nothing_is_a_mistake_told_at_once():
    with Workers(1) as workers, pytest.raises(IndexError):
        workers.next()


PARENT = """
import os, signal, sys, time
from liveaid.files.workers import Task, Workers
if __name__ == "__main__":
    with Workers(1) as workers:
        workers.submit(Task(("do", "pid"), os.getpid, (), 60.0))
        print(workers.next().value, flush=True)
        workers.submit(Task(("do", "hang"), time.sleep, (3600,), 3600.0))
        workers.next()
"""


def test_a_process_starts_where_temporary_files_have_too_long_a_name_for_a_socket(tmp_path):
    """A Unix socket's name has at most 107 bytes (Linux, unix(7))."""
    script = tmp_path / "parent.py"
    script.write_text(PARENT.replace('("do", "hang"), time.sleep, (3600,)', '("do", ""), int, ()'))
    deep = tmp_path / ("deep" * 30)
    deep.mkdir()
    done = subprocess.run(
        [sys.executable, str(script)], env={**os.environ, "TMPDIR": str(deep)},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 0


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_workers_die_with_their_parent_in_the_middle_of_a_task(tmp_path, how: signal.Signals):
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    parent = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert parent.stdout is not None
    pid = int(parent.stdout.readline())
    parent.send_signal(how)
    parent.wait(30)
    parent.stdout.close()
    assert _ends(pid)


def _ends(pid: int) -> bool:
    """Whether a process is gone within ten seconds; a zombie nobody reaps counts as gone."""
    for _ in range(200):
        try:
            with open(f"/proc/{pid}/stat") as stream:
                if stream.read().rpartition(")")[2].split()[0] == "Z":
                    return True
        except FileNotFoundError:
            return True
        time.sleep(0.05)
    return False


def test_ctrl_c_in_a_terminal_reaches_the_parent_alone():
    """Workers ignore SIGINT, which a terminal sends to the whole group."""
    with Workers(2) as workers:
        workers.submit(task("pid", os.getpid))
        pid = workers.next().value
        workers.submit(task("sleeps", time.sleep, 2))  # goes to the idle process
        workers.submit(task("kill", os.kill, pid, signal.SIGINT))
        found = outcomes(workers)
    assert {name: outcome.fault for name, outcome in found.items()} == {
        "sleeps": None,
        "kill": None,
    }


def test_a_worker_whose_pipe_is_shut_ends_by_itself():
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, dict(os.environ)), daemon=True)
    process.start()
    theirs.close()
    ours.recv()  # it is ready
    ours.close()
    process.join(20.0)
    ended = process.exitcode
    process.kill()
    assert ended is not None
