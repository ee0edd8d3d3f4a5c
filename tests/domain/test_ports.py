"""Ports by identity: how they are written, what they mean, what is said of what is plugged in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.ports import Plugged, check_port, doubles_of, names_for, read_port_name, server_of, what_is_there
from benchday.domain.words import Expected

ONE = Plugged("/dev/ttyUSB0", "Reedmace cable", 0x0403, 0x6001, "A10K2F", "1-1.2", 0)
TWIN = Plugged("/dev/ttyUSB1", "Reedmace cable", 0x0403, 0x6001, "A10K2F", "1-1.3", 0)
NAMELESS = Plugged("/dev/ttyUSB2", "cheap", 0x1A86, 0x7523, None, "2-4", 0)
LINES = [Plugged(f"/dev/ttyUSB{n}", "four lines", 0x0403, 0x6011, "FT4Q", "1-4", n - 3) for n in range(3, 7)]
BANK = [Plugged(f"/dev/ttyUSB{n}", "bank", 0x0557, 0x2021, "B", "1-5", 0, n - 7) for n in range(7, 9)]


@pytest.mark.parametrize(
    ("text", "fitting"),
    [
        ("usb:0403:6001:A10K2F", [ONE, TWIN]),
        ("usb:0403:6001:a10k2f", []),
        ("usb-path:1-1.2", [ONE]),
        ("usb-path:2-4:00", [NAMELESS]),
        ("usb:0403:6011:FT4Q:01", [LINES[1]]),
        ("usb:0557:2021:B:00.1", [BANK[1]]),
        ("usb-path:1-1", []),
    ],
)
def test_a_name_means_what_it_says(text: str, fitting: list[Plugged]) -> None:
    name = read_port_name(text)
    assert name is not None
    assert [p for p in (ONE, TWIN, NAMELESS, *LINES, *BANK) if name.fits(p)] == fitting


@pytest.mark.parametrize("text", ["/dev/ttyUSB0", "COM3", "socket://192.0.2.7:4001", "usb", "C:\\port", ""])
def test_other_places_are_no_identity(text: str) -> None:
    assert read_port_name(text) is None


@pytest.mark.parametrize("text", ["usb:0403:6001", "usb:403:6001:A", "usb:0403:6001:", "usb-path:1", "usb-path:1-1:0"])
def test_a_wrong_identity_is_told_with_the_right_form(text: str) -> None:
    with pytest.raises(Expected, match=r"like usb(-path)?:"):
        check_port(text)


@pytest.mark.parametrize("text", ["socket://host", "rfc2217://:1", "rfc2217://h:99999", "socket://a b:1"])
def test_a_wrong_address_is_told_with_the_right_form(text: str) -> None:
    with pytest.raises(Expected, match=r"host:port, like .*192\.0\.2\.7:4001"):
        check_port(text)


@pytest.mark.parametrize("text", ["socket://192.0.2.7:1", "rfc2217://[2001:db8::1]:4001", "rfc2217://server.example:7"])
def test_servers_are_known_by_their_address(text: str) -> None:
    assert check_port(text) == text
    assert server_of(text) == text.split("://")[1]


def test_what_is_behind_no_server() -> None:
    assert [server_of(t) for t in (None, "/dev/ttyUSB0", "usb-path:1-1", "http://192.0.2.1")] == [None] * 4


def test_names_are_the_shortest_that_mean_one() -> None:
    there = (ONE, NAMELESS, *LINES, *BANK)
    assert names_for(ONE, there) == ("usb:0403:6001:A10K2F", "usb-path:1-1.2")
    assert names_for(NAMELESS, there) == ("usb-path:2-4",)
    assert names_for(LINES[1], there) == ("usb:0403:6011:FT4Q:01", "usb-path:1-4:01")
    assert names_for(BANK[1], there) == ("usb:0557:2021:B:00.1", "usb-path:1-5:00.1")
    assert names_for(Plugged("/dev/ttyS0"), there) == ()


def test_twins_have_no_name_but_their_sockets() -> None:
    assert doubles_of((ONE, TWIN, NAMELESS, *LINES)) == ((ONE, TWIN),)
    assert names_for(ONE, (ONE, TWIN)) == ("usb-path:1-1.2",)


def test_what_is_there_names_the_nearest() -> None:
    assert what_is_there((), "usb:0403:6001:A") == "no serial port is plugged in"
    said = what_is_there((ONE, NAMELESS), "usb:0403:6001:A10K2E")
    assert said == (
        "plugged in now: /dev/ttyUSB0 = usb:0403:6001:A10K2F, /dev/ttyUSB2 = usb-path:2-4; "
        "did you mean usb:0403:6001:A10K2F?"
    )


@given(
    serial=st.text(min_size=1, max_size=30),
    vid=st.integers(0, 0xFFFF),
    interface=st.integers(0, 255),
)
def test_whatever_a_device_tells_can_be_written_and_read(serial: str, vid: int, interface: int) -> None:
    port = Plugged("/dev/ttyUSB0", "", vid, 0x6001, serial, "1-1", interface)
    other = Plugged("/dev/ttyUSB1", "", vid, 0x6001, serial, "1-1", interface ^ 1)
    for text in names_for(port, (port, other)):
        name = read_port_name(check_port(text))
        assert name is not None
        assert name.fits(port)
        assert not name.fits(other)
