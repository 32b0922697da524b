"""What containers promise, each written here byte by byte after its standard.

RIFF/WAVE (IBM and Microsoft 1991), RF64 (EBU Tech 3306), AIFF 1.3, Ogg (RFC 3533), MPEG audio
(ISO/IEC 11172-3 and 13818-3, from memory), ID3v2 (id3.org 2.4.0, from memory).
"""

from __future__ import annotations

import io
import struct

import pytest

from liveaid.sound.container import Promise, promised


def promise(data: bytes) -> Promise:
    return promised(io.BytesIO(data))


def chunk(name: bytes, body: bytes, order: str = "<", length: int | None = None) -> bytes:
    """One chunk, padded to an even number of bytes."""
    told = len(body) if length is None else length
    return name + struct.pack(f"{order}I", told) + body + b"\0" * (len(body) % 2)


def wav(*chunks: bytes, kind: bytes = b"RIFF") -> bytes:
    return kind + struct.pack("<I", 4 + sum(map(len, chunks))) + b"WAVE" + b"".join(chunks)


def fmt(coding: int, align: int) -> bytes:
    # coding, channels, rate, bytes a second, bytes a frame, bits a sample
    return chunk(b"fmt ", struct.pack("<HHIIHH", coding, 2, 44100, 44100 * align, align, 16))


@pytest.mark.parametrize(
    ("coding", "frames"),
    [(1, 100), (3, 100), (0xFFFE, 100), (0x11, None), (0x55, None)],
    ids=["PCM", "float", "extensible", "ADPCM", "MP3 in WAV"],
)
def test_wav_frames_are_the_data_by_the_frame_where_a_frame_has_a_size(coding, frames):
    # 400 bytes, 4 a frame; a chunk of 3 bytes before it takes 4.
    data = wav(chunk(b"LIST", b"abc"), fmt(coding, 4), chunk(b"data", bytes(400)))
    assert promise(data) == Promise(frames)


def test_a_wav_promises_what_its_header_says_and_not_what_is_there():
    assert promise(wav(fmt(1, 6), chunk(b"data", bytes(60), length=600))) == Promise(100)


def test_a_wav_of_no_or_unknown_length_promises_nothing():
    for told in (0, 0xFFFFFFFF):
        assert promise(wav(fmt(1, 4), chunk(b"data", bytes(400), length=told))) == Promise()
    assert promise(wav(chunk(b"data", bytes(400)))) == Promise()  # no format told before it
    assert promise(wav(fmt(1, 4))) == Promise()


def test_an_rf64_files_own_chunk_tells_the_data():
    # EBU Tech 3306: sizes of file, data and samples, 64 bits each, where 32 bits say -1.
    sizes = chunk(b"ds64", struct.pack("<QQQ", 0, 5 * 2**32, 0) + bytes(4))
    data = wav(sizes, fmt(1, 4), chunk(b"data", b"", length=0xFFFFFFFF), kind=b"RF64")
    assert promise(data) == Promise(5 * 2**30)
    plain = wav(sizes, fmt(1, 4), chunk(b"data", bytes(400)), kind=b"RF64")
    assert promise(plain) == Promise(100)


def test_aiff_frames_are_in_the_common_chunk():
    common = chunk(b"COMM", struct.pack(">hIh", 2, 70_000, 16) + bytes(10), ">")
    for kind in (b"AIFF", b"AIFC"):
        body = chunk(b"NAME", b"abc", ">") + common
        data = b"FORM" + struct.pack(">I", 4 + len(body)) + kind + body
        assert promise(data) == Promise(70_000)
        assert promise(data[:20]) == Promise()


def page(kind: int, *segments: bytes) -> bytes:
    """One Ogg page: 27 bytes, a byte for each segment's length, the segments."""
    head = b"OggS" + bytes([0, kind]) + bytes(20) + bytes([len(segments)])
    return head + bytes(map(len, segments)) + b"".join(segments)


CUT = "cut off: the stream stops without its closing page"


def test_an_ogg_stream_ends_with_a_whole_page_that_says_so():
    whole = page(2, b"a" * 30) + page(0, b"b" * 255, b"b" * 9) + page(4, b"c" * 200, b"c")
    assert promise(whole) == Promise()
    for lost in (1, 200, 201, 202, 203, 229, 230):
        assert promise(whole[:-lost]).fault == CUT
    assert promise(page(2, b"a" * 30) + page(0, b"b")).fault == CUT
    assert promise(page(6, b"a")) == Promise()  # first and last in one
    assert promise(page(2, b"a") + page(4)) == Promise()  # a last page may hold nothing


def test_a_last_page_as_long_as_a_page_can_be_is_found():
    # RFC 3533: 27 + 255 + 255 x 255 = 65,307 bytes.
    last = page(4, *[b"z" * 255] * 255)
    assert len(last) == 65_307
    assert promise(page(2, b"a") + page(0, b"b" * 200) * 60 + last) == Promise()


# Bytes of a layer III frame: samples / 8 x bit rate / sample rate, rounded down, and the padding.
FRAMES = [
    (bytes([0xFF, 0xFB, 0x90, 0x00]), 417, 1152),  # MPEG-1: 144 x 128000 / 44100 = 417.96
    (bytes([0xFF, 0xFB, 0x92, 0x00]), 418, 1152),  # padded by one
    (bytes([0xFF, 0xFA, 0x94, 0x00]), 384, 1152),  # 144 x 128000 / 48000, with a checksum
    (bytes([0xFF, 0xFB, 0xE8, 0xC0]), 1440, 1152),  # 144 x 320000 / 32000, one channel
    (bytes([0xFF, 0xF3, 0x80, 0x00]), 208, 576),  # MPEG-2: 72 x 64000 / 22050 = 208.98
    (bytes([0xFF, 0xE3, 0x80, 0x00]), 417, 576),  # MPEG-2.5: 72 x 64000 / 11025 = 417.96
]


ADDED = {1152: (1105, 2257), 576: (1105, 1681)}
"""529 frames of the decoder's and 576 of the coder's, and up to one frame to fill the last (from
memory)."""


def test_every_bit_rate_of_the_standards_tables_is_known():
    """ISO/IEC 11172-3 and 13818-3, from memory: kbit/s rise by 8 to 64, then by 16 and so on."""
    one = [32, *range(40, 65, 8), *range(80, 129, 16), *range(160, 257, 32), 320]
    two = [*range(8, 65, 8), *range(80, 161, 16)]
    for mark, samples, rates in ((0xFB, 1152, one), (0xF3, 576, two)):
        for index, kbit_s in enumerate(rates, start=1):
            rate_hz = 44100 if mark == 0xFB else 22050
            frame = bytes([0xFF, mark, index << 4, 0]) + bytes(
                samples // 8 * kbit_s * 1000 // rate_hz - 4
            )
            assert promise(frame * 3) == Promise(3 * samples, padding=ADDED[samples]), (
                mark,
                kbit_s,
            )


@pytest.mark.parametrize(("head", "length", "samples"), FRAMES)
def test_mpeg_frames_are_walked(head, length, samples):
    frame = head + bytes(length - 4)
    whole = Promise(7 * samples, padding=ADDED[samples])
    assert promise(frame * 7) == whole
    assert promise(frame * 7 + b"TAG" + bytes(125)) == whole
    cut = promise((frame * 7)[:-1])
    fault = "cut off: the last frame stops in the middle"
    assert cut == Promise(7 * samples, fault, ADDED[samples])
    assert promise(frame * 7 + head) == Promise(8 * samples, fault, ADDED[samples])
    assert promise(frame * 7 + head[:3]) == whole


@pytest.mark.parametrize(
    "head",
    [
        bytes([0xFF, 0xFB, 0x00, 0x00]),  # bit rate left free
        bytes([0xFF, 0xFB, 0xF0, 0x00]),  # no such bit rate
        bytes([0xFF, 0xFB, 0x9C, 0x00]),  # no such sample rate
        bytes([0xFF, 0xEB, 0x90, 0x00]),  # no such version
        bytes([0xFF, 0xFD, 0x90, 0x00]),  # layer II
    ],
)
def test_what_is_no_layer_iii_frame_promises_nothing(head):
    assert promise((head + bytes(413)) * 5) == Promise()


@pytest.mark.parametrize(
    ("head", "length", "at"),
    [
        (FRAMES[0][0], 417, 36),  # MPEG-1, two channels: 4 + 32 bytes of side information
        (bytes([0xFF, 0xFB, 0x90, 0xC0]), 417, 21),  # one: 4 + 17
        (FRAMES[4][0], 208, 21),  # MPEG-2, two: 4 + 17
        (bytes([0xFF, 0xF3, 0x80, 0xC0]), 208, 13),  # one: 4 + 9
    ],
)
def test_an_info_header_promises_bytes(head, length, at):
    info = b"Xing" + struct.pack(">III", 3, 99, 10_000)
    first = (head + bytes(at - 4) + info).ljust(length, b"\0")
    whole = promise(first.ljust(10_000, b"\0"))
    assert (whole.frames, whole.fault) == (None, "")
    # The first frame may not be counted, and two bytes more are let pass.
    least = 10_000 - length - 2
    assert promise(first.ljust(least, b"\0")).fault == ""
    assert promise(first.ljust(least - 1, b"\0")).fault == (
        f"cut off: the header promises 10000 bytes, {least - 1} are there"
    )
    # A tag of ten bytes before it is none of them.
    tag = b"ID3\x04" + bytes(6)
    assert promise(tag + first.ljust(least, b"\0")).fault == ""
    assert promise(tag + first.ljust(least - 1, b"\0")).fault == (
        f"cut off: the header promises 10000 bytes, {least - 1} are there"
    )


def test_audio_begins_behind_a_leading_tag():
    # ID3v2: seven bits a byte, 0x01 0x48 = 128 + 72 = 200 bytes behind the ten; a foot is ten more.
    frame = FRAMES[0][0] + bytes(413)
    tag = b"ID3\x04\x00\x00" + bytes([0, 0, 1, 0x48]) + bytes(200)
    footed = b"ID3\x04\x00\x10" + bytes([0, 0, 1, 0x48]) + bytes(210)
    for before in (tag, footed):
        assert promise(before + frame * 3) == Promise(3 * 1152, padding=ADDED[1152])


def test_padding_that_an_info_header_tells_is_the_decoders_to_take_off():
    """Behind Info: flags, frames, bytes, 100 bytes of places, quality, nine of the coder's name and
    twelve more; then start and end padding, twelve bits each (from memory)."""
    told = b"Info" + struct.pack(">III", 15, 3, 1251) + bytes(100 + 4) + b"LAME3.100" + bytes(12)
    for delays, padding in ((b"\x24\x06\x30", (0, 0)), (bytes(3), ADDED[1152])):
        first = (FRAMES[0][0] + bytes(32) + told + delays).ljust(417, b"\1")
        assert promise(first.ljust(1251, b"\0")).padding == padding


def test_a_bare_aac_stream_tells_no_padding():
    """ISO/IEC 13818-7, 6.2: twelve ones, then an MPEG bit and a layer of 0; a packet has 1,024
    frames (from memory)."""
    for second in (0xF0, 0xF1, 0xF8, 0xF9):
        assert promise(bytes([0xFF, second]) + bytes(50)).padding == (1024, 2112 + 1023)
    assert promise(bytes([0xFF, 0xFE]) + bytes(50)).padding == (0, 0)
    assert promise(b"ID3\x04" + bytes(6) + b"\xff") == Promise()  # nothing behind its tag


def test_what_is_none_of_these_promises_nothing():
    for data in (b"", b"fLaC" + bytes(50), b"RIFF\0\0\0\0AVI " + bytes(50), b"\xff"):
        assert promise(data) == Promise()


def test_a_head_cut_off_inside_promises_nothing():
    """RF64's own sizes need 8 + 16 bytes up to the data's (EBU Tech 3306); ten of 16 are there."""
    sizes = chunk(b"ds64", bytes(16))
    assert promise(wav(sizes, kind=b"RF64")[:-6]) == Promise()


def test_chunks_of_the_same_names_in_files_of_other_kinds_are_none_of_a_sound_s():
    other = wav(fmt(1, 4), chunk(b"data", bytes(400))).replace(b"WAVE", b"AVI ")
    assert promise(other) == Promise()
    common = chunk(b"COMM", struct.pack(">hIh", 2, 70_000, 16) + bytes(10), ">")
    assert promise(b"FORM" + struct.pack(">I", 4 + len(common)) + b"8SVX" + common) == Promise()
