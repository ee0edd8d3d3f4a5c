"""Lines of SMP: published values, the message library as a stranger, and whatever else a line may carry."""

from __future__ import annotations

import hypothesis.strategies as st
import pytest
from hypothesis import given
from smp.exceptions import SMPException
from smp.packet import decode, encode

from benchday.devices.drivers.smp_frames import LINE_BYTES, LONGEST_LINE, LONGEST_MESSAGE, FrameReader, framed
from benchday_simulators.smp_framing import Reassembly, crc16, lines_of

# Check value of the message library's own documentation (smp.packet.encode).
HELLO = b"\x06\x09AA9IZWxsbywgd29ybGQhet4=\n"
MESSAGES = st.binary(max_size=3000)


def by_the_library(lines: bytes) -> bytes:
    """Decode lines as the library does."""
    frame = decode()
    next(frame)
    for line in lines.splitlines(keepends=True):
        try:
            frame.send(line)
        except StopIteration as whole:
            return bytes(whole.value)
    raise AssertionError("more lines were expected")


def test_the_published_line() -> None:
    assert framed(b"Hello, world!") == lines_of(b"Hello, world!") == HELLO
    assert FrameReader().feed(HELLO) == Reassembly(1024).feed(HELLO) == [b"Hello, world!"]


def test_the_published_crc() -> None:
    # CRC catalogue, CRC-16/XMODEM
    assert crc16(b"123456789") == 0x31C3


@given(MESSAGES)
def test_the_library_reads_ours_and_the_simulators(message: bytes) -> None:
    for lines in (framed(message), lines_of(message)):
        assert by_the_library(lines) == message
        assert all(len(line) <= LINE_BYTES for line in lines.splitlines(keepends=True))


@given(MESSAGES, st.integers(1, 400), st.sampled_from((127, 80, 512)))
def test_ours_reads_the_librarys_and_the_simulators(message: bytes, step: int, line_length: int) -> None:
    lines = b"".join(encode(message, line_length)) + lines_of(message)
    reader, got = FrameReader(), []
    for begin in range(0, len(lines), step):
        got += reader.feed(lines[begin : begin + step])
    assert got == [message, message]
    assert reader.broken == 0


@given(st.binary(max_size=1000))
def test_the_simulator_reads_ours(message: bytes) -> None:
    assert Reassembly(1024).feed(framed(message)) == [message]


def test_a_message_larger_than_the_simulators_buffer_is_dropped() -> None:
    # Its length and CRC stand in the buffer too.
    assert Reassembly(1024).feed(framed(bytes(1021)) + framed(bytes(1020))) == [bytes(1020)]


def test_logs_between_lines_are_skipped() -> None:
    message = bytes(range(256)) * 2
    lines = framed(message).splitlines(keepends=True)
    noisy = b"\x1b[31m[00:00] boot\r\n" + b"half a log" + lines[0] + b"<inf> a log\n"
    noisy += b"\n".join(line.rstrip(b"\n") + b"\r" for line in lines[1:]) + b"\n\n" + HELLO
    assert FrameReader().feed(noisy) == [message, b"Hello, world!"]


@pytest.mark.parametrize(
    "damaged",
    [
        HELLO[:10] + b"X" + HELLO[11:],
        HELLO[:-2] + b"\n",
        b"\x06\x09" + HELLO[3:],
        b"\x06\x09AA==\n",
        b"\x06\x09AAAA\n",
        b"\x06\x09//8A\n",
        b"\x06\x09!!!!\n",
        framed(bytes(300)).replace(b"\x04\x14", b"\x06\x09"),
    ],
)
def test_what_is_damaged_is_told_and_dropped(damaged: bytes) -> None:
    reader = FrameReader()
    assert reader.feed(damaged + HELLO) == [b"Hello, world!"]
    assert reader.broken >= 1


@given(st.lists(st.one_of(st.binary(max_size=300), st.just(b"\x06\x09"), st.just(b"\x04\x14"), st.just(b"\n"),
                          st.just(HELLO[:20]), st.just(framed(bytes(500))[:200]))))  # fmt: skip
def test_nothing_fills_it_or_stops_it(pieces: list[bytes]) -> None:
    reader = FrameReader()
    for piece in pieces:
        assert all(len(message) <= LONGEST_MESSAGE for message in reader.feed(piece))
        assert len(reader._line) <= LONGEST_LINE
        assert len(reader._message) <= LONGEST_MESSAGE + LONGEST_LINE
    assert reader.feed(b"\n" + HELLO) == [b"Hello, world!"]


def test_a_megabyte_without_an_end_is_not_kept() -> None:
    reader = FrameReader()
    for _ in range(64):
        assert reader.feed(b"A" * 16_384) == []
    assert len(reader._line) <= LONGEST_LINE
    assert reader.feed(b"\n" + HELLO) == [b"Hello, world!"]


@given(st.binary(max_size=64).filter(lambda data: b"\n" not in data))
def test_a_stranger_is_no_wiser_than_we_are(body: bytes) -> None:
    line = b"\x06\x09" + body + b"\n"
    ours = FrameReader().feed(line)
    try:
        assert not ours or ours == [by_the_library(line)]
    except (SMPException, ValueError, AssertionError):
        assert ours == []
