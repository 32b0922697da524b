"""Two records running together are never quite together: the follower must live with that."""

from __future__ import annotations

import pytest

from liveaid.follow import Follower
from liveaid.routine import Routine


@pytest.mark.parametrize("rate_hz", [20, 30, 60, 200])
@pytest.mark.parametrize("apart_s", [0.0, 0.03, 0.065])
def test_a_blend_slightly_out_is_followed_to_its_end(rate_hz: float, apart_s: float):
    """The left record is let go late by a hand's error; positions come at any usual pace.

    A pitch matched to 0.3 per cent drifts 65 ms in the 21 s of 32 beats (worked by hand).
    """
    piece = {"bars": 8, "tempo": 90, "count": "right"}
    both = {"left": {"hand": "runs", "at": 1.8}, "right": {"hand": "runs", "at": 1.8}}
    after = {"left": {"hand": "rests"}, "right": {"hand": "runs", "at": 40.0}}
    routine = Routine.model_validate(
        {
            "title": "Two stalls",
            "pieces": [{"name": "both", **piece, **both}, {"name": "one", **piece, **after}],
        }
    )
    follower = Follower(routine)
    beat_s, wrong = 60 / 90, []
    for step in range(int(31.8 * beat_s * rate_hz)):
        now = step / rate_hz
        follower.hear("left", position=1.8 + now + apart_s, now=now)
        follower.hear("right", position=1.8 + now, now=now)
        prompt = follower.prompt(now=now)
        beat = now / beat_s
        if now > 1.0 and (
            prompt.piece is None or prompt.piece.index != 0 or prompt.state == "unsure"
        ):
            wrong.append((now, prompt.state, prompt.confidence))
        elif now > 1.0:
            assert prompt.beat_position == pytest.approx(beat, abs=0.15)
    assert not wrong
