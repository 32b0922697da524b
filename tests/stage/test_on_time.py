"""The timer that beats and clocks wait for: never early, the latest moment set, none when unset."""

import asyncio
import time
from types import SimpleNamespace

import pytest

from liveaid.stage import on_time
from liveaid.stage.on_time import OnTime


def test_it_calls_once_at_the_latest_moment_set_and_never_before():
    async def run():
        called, over = [], asyncio.Event()
        timer = OnTime(lambda: (called.append(time.monotonic()), over.set()), early_s=0.05)
        due_s = time.monotonic() + 0.2
        timer.set(due_s - 0.1)
        timer.set(due_s)
        await asyncio.wait_for(over.wait(), 20)
        timer.set(time.monotonic() + 0.02)
        timer.set(None)
        await asyncio.sleep(0.1)
        return due_s, called

    due_s, called = asyncio.run(run())
    assert len(called) == 1
    assert called[0] >= due_s


@pytest.mark.parametrize(
    ("now_s", "slept"),
    [(9.9, [0.1]), (9.95, [0.05]), (9.75, []), (10.0, []), (10.5, [])],
)
def test_woken_a_little_early_it_waits_out_the_rest_and_no_more(monkeypatch, now_s, slept):
    """Due at 10 s, woken .0625 s early: a rest of up to twice that is slept; a clock that jumped
    back is not waited for."""
    did, asked = [], []
    loop = SimpleNamespace(
        call_at=lambda at_s, call, due_s: asked.append((at_s, call, due_s)) or SimpleNamespace()
    )
    monkeypatch.setattr(on_time.asyncio, "get_running_loop", lambda: loop)
    monkeypatch.setattr(
        on_time, "time",
        SimpleNamespace(monotonic=lambda: now_s, sleep=lambda wait_s: did.append(wait_s)),
    )  # fmt: skip
    timer = OnTime(lambda: did.append("called"), early_s=0.0625)
    timer.set(10.0)
    ((at_s, call, due_s),) = asked
    assert (at_s, due_s) == (9.9375, 10.0)
    call(due_s)
    assert did == [*(pytest.approx(each) for each in slept), "called"]
