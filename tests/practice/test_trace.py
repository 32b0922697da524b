"""Traces packed and unpacked; whatever else comes is refused."""

import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveaid.practice.trace import STEP_S, TraceError, messages_of, pack, trace_of, unpack

MESSAGES = st.lists(
    st.tuples(st.floats(0, 1e6), st.sampled_from(["left", "right"]), st.floats(-100, 7200))
)


@given(MESSAGES)
def test_a_trace_comes_back_to_within_half_a_step(messages):
    trace = trace_of(messages)
    back = unpack(pack(trace))
    for side in ("left", "right"):
        assert np.abs(back[side].now_s - trace[side].now_s).max(initial=0) <= 0.51 * STEP_S
        assert (
            np.abs(back[side].position_s - trace[side].position_s).max(initial=0) <= 0.51 * STEP_S
        )


@given(MESSAGES)
def test_packing_what_was_unpacked_gives_the_same_bytes(messages):
    packed = pack(trace_of(messages))
    assert pack(unpack(packed)) == packed


@given(MESSAGES, st.data())
def test_a_trace_cut_short_or_altered_is_refused_or_reads_as_one(messages, data):
    packed = bytearray(pack(trace_of(messages)))
    at = data.draw(st.integers(0, len(packed) - 1))
    packed[at] ^= data.draw(st.integers(1, 255))
    for damaged in (bytes(packed), bytes(packed[:at])):
        try:
            unpack(damaged)
        except TraceError:
            continue


@given(st.binary(max_size=200))
def test_any_other_bytes_are_refused_with_what_would_do(data):
    with pytest.raises(TraceError, match="would do"):
        unpack(data)


def test_a_body_that_lies_about_its_length_is_refused():
    with pytest.raises(TraceError, match="cut short"):
        unpack(b"liveaid trace 1\n" + zlib.compress(b"\xff" * 8 + b"\0" * 16))


def test_messages_come_back_in_order_of_arrival(performed):
    messages = [(m.now_s, m.side, m.position_s) for m in performed().messages]
    assert messages_of(trace_of(messages)) == messages


def test_a_minute_of_two_decks_at_200_a_second_is_below_a_third_of_a_megabyte(performed):
    """So an hour of playing stays below 20 MB."""
    played = performed()
    packed = len(pack(trace_of((m.now_s, m.side, m.position_s) for m in played.messages)))
    assert packed * 60 / played.duration_s < 20e6 / 60


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 1e9])
def test_a_position_that_is_none_is_refused(bad):
    with pytest.raises(ValueError, match="not finite"):
        trace_of([(0.0, "left", bad)])
