"""Packets against the standard's own bytes, against python-osc, and against whatever may come."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.osc_packet import OscPacket

from liveaid.stage.osc_packet import (
    MAX_ARGUMENTS,
    MAX_MESSAGE_BYTES,
    MAX_MESSAGES,
    OSC_PACKET_MAX_BYTES,
    OSC_PACKET_MAX_DEPTH,
    OscMessage,
    Refused,
    _only_a_float,
    count_messages,
    read_packet,
)

# Open Sound Control 1.0, "Examples Supporting the OpenSoundControl 1.0 Spec" (Wright, 29 March
# 2002), section "OSC Message Examples", byte for byte.
OSCILLATOR = bytes.fromhex(
    "2f 6f 73 63  69 6c 6c 61  74 6f 72 2f  34 2f 66 72"
    "65 71 75 65  6e 63 79 00  2c 66 00 00  43 dc 00 00"
)
FOO = bytes.fromhex(
    "2f 66 6f 6f  00 00 00 00  2c 69 69 73  66 66 00 00  00 00 03 e8"
    "ff ff ff ff  68 65 6c 6c  6f 00 00 00  3f 9d f3 b6  40 b5 b2 2d"
)


def test_first_example_of_the_standard():
    assert read_packet(OSCILLATOR) == [OscMessage("/oscillator/4/frequency", (440.0,))]


def test_second_example_of_the_standard():
    (message,) = read_packet(FOO)
    assert message.address == "/foo"
    assert message.arguments[:3] == (1000, -1, "hello")
    assert message.arguments[3:] == pytest.approx((1.234, 5.678), rel=1e-7)


def bundle(*elements: bytes, time_tag: bytes = b"\0\0\0\0\0\0\0\1") -> bytes:
    sized = b"".join(struct.pack(">i", len(element)) + element for element in elements)
    return b"#bundle\0" + time_tag + sized


def test_bundles_are_unfolded_in_the_order_written():
    inner = bundle(FOO, OSCILLATOR)
    addresses = [message.address for message in read_packet(bundle(OSCILLATOR, inner, FOO))]
    assert addresses == [
        "/oscillator/4/frequency", "/foo", "/oscillator/4/frequency", "/foo"
    ]  # fmt: skip


@pytest.mark.parametrize("time_tag", [b"\xff" * 8, b"\0" * 8, bytes.fromhex("f000000000000000")])
def test_time_tags_neither_delay_nor_reorder(time_tag):
    """python-osc's own server sleeps until a bundle's time tag (python-osc#110)."""
    assert len(read_packet(bundle(bundle(FOO, time_tag=time_tag), OSCILLATOR))) == 2
    assert read_packet(bundle(FOO, time_tag=time_tag))[0].address == "/foo"


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "not OSC"),
        (b"hello wo", "not OSC"),
        (OSCILLATOR[:-1], "cut short or garbled"),
        (OSCILLATOR[:-4], "cut short or garbled"),  # python-osc reads this float as 0.0
        (OSCILLATOR + b"\0\0\0\0", "cut short or garbled"),
        (FOO[:-8], "cut short or garbled"),
        (b"/a\0\0,f\0\0", "cut short or garbled"),
        (b"/a\xff\xfe", "cut short or garbled"),
        (b"/\xff\0\0,f\0\0\0\0\0\0", "cut short or garbled"),  # not UTF-8
        (b"/a\0\0,q\0\0\0\0\0\0", "unknown type"),
        (b"/a\0\0,b\0\0\xff\xff\xff\xf0", "cut short or garbled"),  # a blob of negative size
        (b"/a\0\0ff\0\0\0\0\0\0", "cut short or garbled"),  # type tags without their comma
        (b"#bundle\0\0\0\0\0", "cut short or garbled"),
        # python-osc loops for ever on this one: the element's size leads back to itself.
        (bundle()[:16] + struct.pack(">i", -4), "cut short or garbled"),
        (bundle()[:16] + struct.pack(">i", 2**31 - 4), "cut short or garbled"),
        (bundle()[:16] + struct.pack(">i", 0), "cut short or garbled"),
        (bundle(b"junk"), "not OSC"),
        (b"/" * (OSC_PACKET_MAX_BYTES + 4), "too large"),
        (b"/a\0\0," + b"i" * 67 + bytes(4) + bytes(4 * 67), "too many arguments"),
        (bundle(*[b"/a\0\0"] * 300), "too many messages"),
    ],
)
def test_bad_packets_are_refused_by_name(data, reason):
    with pytest.raises(Refused) as refused:
        read_packet(data)
    assert refused.value.reason == reason


def test_deep_nesting_is_refused():
    """python-osc answers a few hundred levels with RecursionError."""
    data = b"/a\0\0"
    for _ in range(300):
        data = bundle(data)
    with pytest.raises(Refused, match="nested too deep"):
        read_packet(data)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data):
    try:
        messages = read_packet(data)
    except Refused:
        return
    assert all(message.address.startswith("/") for message in messages)


@given(st.binary(max_size=40), st.integers(0, 39), st.sampled_from([OSCILLATOR, FOO, bundle(FOO)]))
def test_a_packet_damaged_anywhere_is_read_or_refused(junk, at, packet):
    for damaged in (packet[:at] + junk + packet[at:], packet[:at] + junk, packet[at:]):
        try:
            read_packet(damaged)
        except Refused:
            continue


@pytest.mark.parametrize(
    ("tag", "size"),
    [(tag, 8 if tag in "hdt" else 4) for tag in "ifhdsSbtcrm"],
)
def test_each_type_is_read_from_as_few_bytes_as_the_standard_gives_it(tag, size):
    """OSC 1.0, "OSC Type Tag String" (from memory): 64 bits for h, d and t, else 32; an empty
    string and a blob of nothing are four zeros."""
    packet = b"/a\0\0," + tag.encode() + b"\0\0" + bytes(size)
    (message,) = read_packet(packet)
    assert len(message.arguments) == 1
    with pytest.raises(Refused):
        list(read_packet(packet[:-4]))


ARGUMENTS = st.lists(
    st.one_of(
        st.integers(-(2**31), 2**31 - 1),
        st.floats(width=32, allow_nan=False),
        st.text(st.characters(min_codepoint=1, codec="utf-8"), max_size=9),
        st.binary(min_size=1, max_size=9),
        st.booleans(),
        st.none(),
    ),
    max_size=8,
)


@given(st.from_regex(r"/[a-z0-9/]{0,12}", fullmatch=True), ARGUMENTS, st.booleans())
def test_reads_what_python_osc_writes_as_python_osc_reads_it(address, arguments, in_bundle):
    builder = OscMessageBuilder(address)
    for argument in arguments:
        builder.add_arg(argument)
    built = builder.build()
    data = built.dgram
    if in_bundle:
        wrapped = OscBundleBuilder(IMMEDIATELY)
        wrapped.add_content(built)
        data = wrapped.build().dgram
    (reference,) = OscPacket(data).messages
    assert read_packet(data) == [OscMessage(reference.message.address, tuple(reference.message))]


def refusal(data):
    with pytest.raises(Refused) as refused:
        read_packet(data)
    return refused.value.reason


def long_message(size):
    """One string argument, so long that the whole has `size` bytes."""
    return b"/foo\0\0\0\0,s\0\0" + b"a" * (size - 16) + b"\0\0\0\0"


def nested(depth):
    data = FOO
    for _ in range(depth):
        data = bundle(data)
    return data


def test_the_largest_of_everything_is_read_and_no_more():
    """Our own bounds, far beyond what a deck says."""
    assert (MAX_MESSAGE_BYTES, OSC_PACKET_MAX_BYTES) == (8192, 16384)
    assert (MAX_MESSAGES, OSC_PACKET_MAX_DEPTH, MAX_ARGUMENTS) == (256, 8, 64)
    assert len(read_packet(long_message(8192))) == 1
    assert refusal(long_message(8196)) == "too large"
    assert len(read_packet(nested(8))) == 1
    assert refusal(nested(9)) == "nested too deep"
    small = b"/a\0\0"
    assert len(read_packet(bundle(*[small] * 256))) == 256
    assert refusal(bundle(*[small] * 257)) == "too many messages"
    many = [b"/foo\0\0\0\0," + b"T" * n + b"\0" * (4 - (n + 1) % 4) for n in (64, 65)]
    assert read_packet(many[0])[0].arguments == (True,) * 64
    assert refusal(many[1]) == "too many arguments"
    # A bundle's head of 16 bytes, a size of 4, a message of 8,192, and again: 16,384 less 24 more.
    whole = bundle(long_message(8192), long_message(8148))
    assert len(whole) == 16364
    assert len(read_packet(bundle(long_message(8192), long_message(8168)))) == 2
    assert refusal(bundle(long_message(8192), long_message(8172))) == "too large"


def test_an_empty_bundle_says_nothing_and_half_a_head_is_garbled():
    """OSC 1.0: the bundle's head is 16 bytes; "followed by zero or more OSC Bundle Elements"."""
    assert read_packet(bundle()) == []
    assert refusal(b"#bundle\0\0\0\0\0") == "cut short or garbled"


@pytest.mark.parametrize(
    ("data", "count"),
    [
        (FOO, 1), (b"", 1), (bundle(), 1), (bundle(FOO), 1), (bundle(FOO, OSCILLATOR, FOO), 3),
        (bundle(bundle(FOO, OSCILLATOR), FOO), 3), (bundle(bundle()), 1),
        (bundle(FOO)[:-4], 1), (bundle() + b"\0\0\0\0" * 3, 2),
    ],
)  # fmt: skip
def test_messages_are_counted_by_their_sizes(data, count):
    """An element of size nothing is passed over by four bytes, so that counting ends: of three the
    first and the third are met."""
    assert count_messages(data) == count


@pytest.mark.parametrize(
    ("tags", "bytes_", "argument"),
    [
        (b",T\0\0", b"", True), (b",F\0\0", b"", False), (b",N\0\0", b"", None),
        (b",I\0\0", b"", float("inf")), (b",[T]\0\0\0\0", b"", True),
        (b",b\0\0", b"\0\0\0\0", b""), (b",b\0\0", b"\0\0\0\2ab\0\0", b"ab"),
        (b",c\0\0", b"\0\0\0A", 65), (b",r\0\0", b"\0\0\1\0", 256),
        (b",t\0\0", b"\0" * 7 + b"\1", 1), (b",h\0\0", b"\xff" * 8, -1),
    ],
)  # fmt: skip
def test_every_type_of_the_standard_by_its_bytes(tags, bytes_, argument):
    """OSC 1.0, "OSC Type Tag String", its optional types included."""
    (message,) = read_packet(b"/foo\0\0\0\0" + tags + bytes_)
    assert message.arguments == (argument,)
    if len(bytes_) >= 4:
        assert refusal(b"/foo\0\0\0\0" + tags + bytes_[:-4]) == "cut short or garbled"


def test_a_float_at_the_end_of_other_arguments_is_not_the_only_one():
    """The bytes before the last number look like the type tags of a single float."""
    text = b"/foo\0\0\0\0,sf\0,f\0\0" + struct.pack(">f", 2.5)
    assert read_packet(text)[0].arguments == (",f", 2.5)
    alone = b"/foo\0\0\0\0,s\0\0,f\0\0abc\0"
    assert refusal(alone) == "cut short or garbled"


def test_an_address_that_sends_one_float_is_read_once():
    """Whatever its number; two floats are another message."""
    _only_a_float.cache_clear()
    other = OSCILLATOR[:-4] + struct.pack(">f", 1.5)
    two = b"/a\0\0,ff\0" + struct.pack(">ff", 1.5, 2.5)
    assert [read_packet(data)[0].arguments for data in (OSCILLATOR, other, two)] == [
        (440.0,), (1.5,), (1.5, 2.5),
    ]  # fmt: skip
    found = _only_a_float.cache_info()
    assert (found.misses, found.hits) == (1, 1)


def test_a_float_s_tag_at_another_place_is_no_single_float():
    """A string that ends like one: `,s` and the text `,f`, then nothing; or a float after it."""
    text = b"/a\0\0,s\0\0" + b",f\0\0"
    assert read_packet(text)[0].arguments == (",f",)
    both = b"/a\0\0,sf\0" + b",f\0\0" + struct.pack(">f", 1.5)
    assert read_packet(both)[0].arguments == (",f", 1.5)


def test_a_number_of_four_bytes_that_is_cut_short_is_refused():
    for data in (b"/a\0\0,i\0\0\0\0\0", b"/a\0\0,ii\0\0\0\0\7", b"/a\0\0,h\0\0\0\0\0\7"):
        with pytest.raises(Refused, match="cut short or garbled"):
            read_packet(data)
    assert read_packet(b"/a\0\0,ii\0\0\0\0\7\0\0\0\10")[0].arguments == (7, 8)


def test_a_blob_says_how_long_it_is():
    """Four bytes of size, then as many, filled up to fours (OSC 1.0, "OSC-blob")."""
    data = b"/a\0\0,bi\0" + struct.pack(">i", 5) + b"abcde\0\0\0" + struct.pack(">i", 7)
    assert read_packet(data)[0].arguments == (b"abcde", 7)
    empty = b"/a\0\0,bi\0" + struct.pack(">i", 0) + struct.pack(">i", 7)
    assert read_packet(empty)[0].arguments == (b"", 7)
