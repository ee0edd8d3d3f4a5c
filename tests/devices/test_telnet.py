"""Telnet and its serial port option as bytes; the values are those of RFC 854, 855 and 2217."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchday.devices.links import telnet
from benchday.devices.links.telnet import Command, Decoder, Option, Told, asking, baud, doubled

# RFC 2217, section 3: IAC SB COM-PORT-OPTION SET-BAUDRATE <value(4)> IAC SE, answered under command 101.
ANSWER_9600 = bytes.fromhex("ff fa 2c 65 00 00 25 80 ff f0")


def test_requests_as_they_go_over_the_wire() -> None:
    assert baud(115200) == bytes.fromhex("ff fa 2c 01 00 01 c2 00 ff f0")
    assert asking(Command.STOP_BITS, 1) == bytes.fromhex("ff fa 2c 04 01 ff f0")
    assert asking(Command.MODEM_MASK, 255) == bytes.fromhex("ff fa 2c 0b ff ff ff f0")
    assert telnet.option(telnet.WILL, telnet.COM_PORT) == bytes.fromhex("ff fb 2c")


def test_what_a_server_says() -> None:
    decoder = Decoder()
    data, said = decoder.feed(b"a\xff\xffb\xff\xf1" + ANSWER_9600 + b"\xff\xfd\x2cc")
    assert data == b"a\xffbc"
    assert said == [Told(Command.BAUD, b"\x00\x00\x25\x80"), Option(telnet.DO, telnet.COM_PORT)]


def test_a_doubled_byte_inside_a_subnegotiation() -> None:
    # RFC 2217, section 3: a byte of 255 in a value is doubled; here a modem state with all bits up.
    assert Decoder().feed(bytes.fromhex("ff fa 2c 6b ff ff ff f0"))[1] == [Told(Command.NOTIFY_MODEM, b"\xff")]


def test_subnegotiations_of_others_and_of_clients_say_nothing() -> None:
    assert Decoder().feed(bytes.fromhex("ff fa 18 00 41 ff f0 ff fa 2c 01 00 ff f0 ff fa ff f0 41")) == (b"A", [])


def test_an_endless_subnegotiation_is_bounded() -> None:
    decoder = Decoder()
    decoder.feed(bytes.fromhex("ff fa 2c 64"))
    for _ in range(100):
        assert decoder.feed(b"x" * 1000) == (b"", [])
    [told] = decoder.feed(b"\xff\xf0")[1]
    assert isinstance(told, Told)
    assert len(told.value) <= telnet.MOST_SUBNEGOTIATION


@given(data=st.binary(max_size=200), cuts=st.lists(st.integers(0, 400), max_size=8))
def test_data_comes_out_as_it_went_in_however_it_is_cut(data: bytes, cuts: list[int]) -> None:
    wire = doubled(data) + ANSWER_9600 + doubled(data)
    decoder, came, said = Decoder(), b"", list[Option | Told]()
    for start, end in zip([0, *sorted(cuts)], [*sorted(cuts), len(wire)], strict=True):
        piece, told = decoder.feed(wire[start:end])
        came, said = came + piece, said + told
    assert came == data * 2
    assert said == [Told(Command.BAUD, b"\x00\x00\x25\x80")]


@given(st.binary(max_size=300))
def test_no_bytes_from_outside_break_it(wire: bytes) -> None:
    whole, said = Decoder().feed(wire)
    one_by_one = Decoder()
    pieces = [one_by_one.feed(bytes([byte])) for byte in wire]
    assert b"".join(data for data, _ in pieces) == whole
    assert [one for _, told in pieces for one in told] == said
