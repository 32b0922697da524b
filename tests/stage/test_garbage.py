"""What is set aside at the start does not put off the collection of what comes and goes later."""

from __future__ import annotations

import gc
import weakref
from collections.abc import Iterator

import pytest

from liveaid.stage.garbage import keep_what_is_loaded


class _Page:
    """Reachable from itself, as a connection and its transport are: only the collector frees it."""

    def __init__(self) -> None:
        self.itself = self


@pytest.fixture
def kept() -> Iterator[None]:
    keep_what_is_loaded()
    yield
    gc.unfreeze()


@pytest.mark.usefixtures("kept")
def test_pages_that_lived_for_long_are_collected_however_much_was_loaded_before():
    """The oldest are gone through when the middle ones were, more than `get_threshold()[2]` times
    (library reference, gc), and not only once a quarter of what was loaded has come anew."""
    assert gc.get_freeze_count() > 10_000
    pages = [_Page() for _ in range(500)]
    one = weakref.ref(pages[0])
    gc.collect(1)  # among the oldest by now
    pages.clear()
    for _ in range(gc.get_threshold()[2] + 1):
        gc.collect(1)
    young = [[number] for number in range(2 * gc.get_threshold()[0])]
    assert one() is None, len(young)
    assert len(gc.get_objects()) < gc.get_freeze_count() / 10  # what was loaded is left aside
