"""Single acts of simulated hands, worked out without a whole performance."""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.routine.acts import Act
from liveaid.simulate import STEADY
from liveaid.simulate.acting import _Acting
from liveaid.simulate.line import MotionLine
from liveaid.simulate.scratch import _stroke
from liveaid.simulate.turntable import Record


def act(kind, beat, from_s, to_s):
    return Act(kind=kind, side="left", piece=0, beat=beat, beats=0.5, from_s=from_s, to_s=to_s)


def test_a_stroke_is_left_out_with_its_way_back_or_not_at_all():
    """The first push is pulled back to where it began; after the second the record is elsewhere,
    and without it every act to come would be off its place."""
    acts = [act("push", 0.0, 1.0, 1.2), act("pull", 0.5, 1.2, 1.0), act("push", 1.0, 1.0, 1.3)]
    always = SimpleNamespace(rng=np.random.default_rng(1), hands=SimpleNamespace(miss_rate=1.0))
    assert _Acting._missed(SimpleNamespace(acts=acts, hand=always)) == {0, 1}


@pytest.mark.parametrize("seed", range(5))
def test_a_stroke_stays_in_its_span_however_narrow(seed):
    """Room for 0.05 s of record from 10 s on; at least 0.02 s of it are used."""
    record = Record(t_s=0.0, x_s=10.0, turn_s=1.8)
    hand = SimpleNamespace(record=record, rng=np.random.default_rng(seed), hands=STEADY)
    leg = SimpleNamespace(count=MotionLine(0.0, 0.0, 1.0 / 0.6), beat_s=0.6)
    _stroke(hand, leg, 0.4, 0.05, 10.0)
    places_s = record.track().position_s(np.arange(0.0, 0.4, 0.001))
    assert 10.019 < places_s.max() < 10.051
    assert places_s[-1] == pytest.approx(10.0, abs=1e-6)
