"""Routines built from a few words, for the tests of check and arrange."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import strategies as st

from liveaid.routine import Routine
from liveaid.routine.check import hand_spans

Plan = dict[str, Any]


@pytest.fixture(scope="session")
def runs() -> Callable[..., Plan]:
    return lambda at=None, **more: {"hand": "runs", "at": at, **more}


@pytest.fixture(scope="session")
def works() -> Callable[..., Plan]:
    return lambda start=None, end=None, **more: {"hand": "works", "from": start, "to": end, **more}


@pytest.fixture(scope="session")
def rests() -> Plan:
    return {"hand": "rests"}


@pytest.fixture(scope="session")
def piece() -> Callable[..., dict[str, Any]]:
    """Four bars at 120 BPM, 8 s, 0.5 s a beat, unless told otherwise."""

    def make(left: Plan, right: Plan, **more: Any) -> dict[str, Any]:
        return {"name": "P", "bars": 4, "tempo": 120, "left": left, "right": right, **more}

    return make


@pytest.fixture(scope="session")
def routine() -> Callable[..., Routine]:
    def make(*pieces: dict[str, Any], **more: Any) -> Routine:
        return Routine.model_validate({"title": "T", "pieces": list(pieces), **more})

    return make


@pytest.fixture(scope="session")
def span_texts() -> Callable[[Routine], list[tuple[int, int, str, str]]]:
    """From and to beat of each span of the hand plan, and what the left and the right hand do."""
    return lambda r: [
        (span.from_beat, span.to_beat, str(span.left), str(span.right)) for span in hand_spans(r)
    ]


SOUNDS = {
    "call": {"file": "call.wav", "kind": "a cappella", "tempo": 90, "key": "A minor"},
    "bells": {"file": "bells.wav", "kind": "instrumental", "tempo": 100, "key": "F# major"},
    "wok": {"file": "wok.wav", "kind": "effect", "licence": "CC0-1.0"},
    "tram": {"file": "tram.wav", "tempo": 80, "stretch": True, "key": "D minor"},
}


def _second() -> st.SearchStrategy[float | None]:
    return st.none() | st.integers(0, 9000).map(lambda tenths: tenths / 10)


@st.composite
def _plans(draw: st.DrawFn) -> Plan:
    hand = draw(st.sampled_from(["runs", "works", "rests"]))
    if hand == "rests":
        return {"hand": "rests"}
    plan: Plan = {"hand": hand, "sound": draw(st.none() | st.sampled_from(sorted(SOUNDS)))}
    plan["bars_in"] = draw(st.sampled_from([0, 4, 8]))
    at = draw(_second())
    if hand == "runs":
        return {**plan, "at": at}
    if at is not None:
        plan |= {"from": at, "to": at + draw(st.sampled_from([0.3, 1.3, 4.0]))}
        plan["cue"] = draw(st.none() | st.just(at + 0.2))
    strokes = draw(st.none() | st.lists(st.integers(0, 40), unique=True, max_size=8).map(sorted))
    return {**plan, "strokes": strokes}


@st.composite
def _pieces(draw: st.DrawFn, number: int, metre: int) -> dict[str, Any]:
    left, right = draw(_plans()), draw(_plans())
    bars = draw(st.sampled_from([1, 2, 4, 8]) | st.integers(1, 15).map(lambda n: n / metre))
    for plan in (left, right):
        if plan.get("strokes"):
            plan["strokes"] = [beat for beat in plan["strokes"] if beat < round(bars * metre)]
    running = [side for side, plan in (("left", left), ("right", right)) if plan["hand"] == "runs"]
    return {
        "name": f"P{number}",
        "part": draw(st.sampled_from(["intro", "story", "climax", "outro"])),
        "technique": draw(st.sampled_from(["", "scratch", "baby scratch", "beat juggle", "blend"])),
        "bars": bars,
        "tempo": draw(st.sampled_from([60, 88, 92, 92.5, 120, 184])),
        "energy": draw(st.integers(1, 5)),
        "count": draw(st.sampled_from([*running, "clock"])),
        "left": left,
        "right": right,
    }


@st.composite
def _routines(draw: st.DrawFn, max_pieces: int = 6, min_pieces: int = 1) -> Routine:
    count = draw(st.integers(min_pieces, max_pieces))
    metre = draw(st.sampled_from([3, 4]))
    tree = {
        "title": "T",
        "limit": draw(st.none() | st.just("1:00")),
        "metre": metre,
        "turntable": {"rpm": draw(st.sampled_from([33.333, 45]))},
        "performer": {"hamster": draw(st.booleans())},
        "sounds": SOUNDS,
        "pieces": [draw(_pieces(number, metre)) for number in range(count)],
    }
    return Routine.model_validate(tree)


@pytest.fixture(scope="session")
def routines_of() -> Callable[..., st.SearchStrategy[Routine]]:
    """Any routine the schema allows, placed, half placed or not at all."""
    return _routines
