"""The timer that beats and clocks wait for: never early, the latest moment set, none when unset."""

import asyncio
import time

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
