"""Things shared out to wishes, by hand: as many wishes filled as can be, none twice."""

import pytest

from liveaid.routine.shared_out import shared_out


@pytest.mark.parametrize(
    ("wishes", "given"),
    [
        (["ab", "a"], ["b", "a"]),
        (["a", "a"], ["a", None]),
        (["a", "a", "ab"], ["a", None, "b"]),
        (["ab", "ab", "ab"], ["b", "a", None]),
        (["ab", "bc", "a", "c"], ["b", "c", "a", None]),
        (["", "a"], [None, "a"]),
    ],
)
def test_as_many_wishes_are_filled_as_can_be(wishes, given):
    assert shared_out(wishes) == given
