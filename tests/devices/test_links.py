"""What opening a line says when it cannot, and the faults of the pair in memory."""

from __future__ import annotations

import grp
import sys
from pathlib import Path

import anyio
import pytest

from benchday.devices.links import LineSettings, open_link, serial_threads
from benchday.devices.links.memory import Faults, memory_pair
from benchday.devices.links.place import read_place
from benchday.devices.links.port_errors import forbidden_text, open_refused
from benchday.domain.errors import InputError, LinkBusy, LinkForbidden, LinkGone, LinkNotFound
from tests.devices.ptys import pty_end

HOLDING = """
import fcntl, os, sys
fd = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
fcntl.flock(fd, fcntl.LOCK_EX)
print("held", flush=True)
sys.stdin.read()
"""


@pytest.mark.asyncio
async def test_no_such_port() -> None:
    """It says which port, and which there are."""
    with pytest.raises(LinkNotFound, match=r"there is no port /dev/ttyNONE; (plugged in now|no serial port)"):
        await open_link("/dev/ttyNONE")


@pytest.mark.asyncio
async def test_not_a_port(tmp_path: Path) -> None:
    """A folder is no port."""
    with pytest.raises(LinkNotFound, match="cannot be used as a serial port"):
        await open_link(str(tmp_path))


@pytest.mark.asyncio
async def test_held_by_another_program() -> None:
    """A lock on the port names the holder: here, a process that we start."""
    async with pty_end() as far, await anyio.open_process([sys.executable, "-c", HOLDING, far.path]) as holder:
        assert holder.stdout is not None
        await holder.stdout.receive()
        with pytest.raises(LinkBusy, match=rf"another program has {far.path} open .*process {holder.pid}"):
            await open_link(far.path)
        holder.kill()


@pytest.mark.asyncio
async def test_opened_twice() -> None:
    """We hold the port for ourselves, and let go of it when closed."""
    async with pty_end() as far:
        link = await open_link(far.path)
        with pytest.raises(LinkBusy, match="close it and try again"):
            await open_link(f"serial:{far.path}")
        await link.aclose()
        again = await open_link(far.path)
        await again.aclose()


@pytest.mark.asyncio
async def test_opening_keeps_what_came() -> None:
    """A receiver may have begun to speak before we opened."""
    async with pty_end() as far:
        await far.send(b"C")
        link = await open_link(far.path)
        with anyio.fail_after(5):
            assert await link.receive() == b"C"
        await link.aclose()


@pytest.mark.asyncio
async def test_a_cancelled_send_sends_no_more() -> None:
    """Nothing waits in the program: what the system has not taken is not sent later."""
    async with pty_end() as far:
        link = await open_link(far.path)
        with anyio.move_on_after(0.1):
            await link.send(bytes(1_000_000))
        come = 0
        with anyio.move_on_after(0.2):
            while True:
                come += len(await far.receive())
        assert 0 < come < 100_000
        await link.aclose()


@pytest.mark.asyncio
async def test_the_twin_says_the_same() -> None:
    """The twin for other systems raises the same errors."""
    with pytest.raises(LinkNotFound, match="there is no port"):
        await serial_threads.open_serial("/dev/ttyNONE", LineSettings())


def test_forbidden_names_the_group(tmp_path: Path) -> None:
    """Who may not open a port is told whose it is and how to be let in."""
    port = tmp_path / "port"
    port.touch()
    error = open_refused(str(port), PermissionError(13, "Permission denied"))
    assert isinstance(error, LinkForbidden)
    assert forbidden_text(str(port)) == str(error)
    assert f"belongs to the group {grp.getgrgid(port.stat().st_gid).gr_name}" in str(error)
    assert "log in anew" in str(error)


@pytest.mark.asyncio
@pytest.mark.parametrize("where", ["socket://127.0.0.1", "socket://:1", "socket://127.0.0.1:99999"])
async def test_no_address(where: str) -> None:
    """What is no address is told with what is."""
    with pytest.raises(LinkNotFound, match="expected socket://host:port"):
        await open_link(where)


@pytest.mark.asyncio
async def test_nobody_listens() -> None:
    """A refused connection names the address."""
    with pytest.raises(LinkNotFound, match=r"nobody answers at 127\.0\.0\.1:1 "):
        await open_link("socket://127.0.0.1:1")


@pytest.mark.asyncio
async def test_unknown_scheme() -> None:
    """The schemes there are, are told."""
    with pytest.raises(InputError, match=r"no kind of link is called 'carrier'.*serial, socket"):
        await open_link("carrier://pigeon")


@pytest.mark.parametrize(
    ("where", "scheme", "rest"),
    [
        ("/dev/ttyUSB0", "serial", "/dev/ttyUSB0"),
        ("COM3", "serial", "COM3"),
        (r"C:\dev", "serial", r"C:\dev"),
        ("serial:/dev/ttyUSB0", "serial", "/dev/ttyUSB0"),
        ("socket://192.0.2.7:4001", "socket", "192.0.2.7:4001"),
    ],
)
def test_places(where: str, scheme: str, rest: str) -> None:
    """A place is taken apart."""
    read = read_place(where)
    assert (read.scheme, read.rest) == (scheme, rest)


def test_pointing_files(tmp_path: Path) -> None:
    """A JSON file may say where the unit is; what else it says is kept and not shown."""
    pointer = tmp_path / "unit.json"
    with pytest.raises(LinkNotFound, match="is the unit on"):
        read_place(str(pointer))
    pointer.write_text('{"url": "http://192.0.2.1:80", "password": "heron"}')
    read = read_place(str(pointer))
    assert (read.scheme, read.told["password"]) == ("http", "heron")
    assert "heron" not in repr(read)
    pointer.write_text("[1]")
    with pytest.raises(LinkNotFound, match="should hold JSON like"):
        read_place(str(pointer))


@pytest.mark.parametrize(
    ("wrong", "said"), [({"parity": "odd?"}, "parity"), ({"stop_bits": 3}, "stop_bits"), ({"baud": 0}, "baud")]
)
def test_line_settings_check_themselves(wrong: dict[str, object], said: str) -> None:
    """A wrong setting is told by name."""
    with pytest.raises(InputError, match=said):
        LineSettings(**wrong)  # type: ignore[arg-type]  # that is the question


@pytest.mark.asyncio
async def test_memory_faults() -> None:
    """Split, drop, garble and cut, each byte counted from 0."""
    link, far = memory_pair(there=Faults(split=2, drop=frozenset({1}), garble=frozenset({2}), cut_after=5))
    with pytest.raises(LinkGone, match="the line was cut"):
        await link.send(b"abcdefg")
    assert [await far.receive(), await far.receive()] == [b"aC", b"de"]
    with pytest.raises(LinkGone, match="the line was cut"):
        await far.receive()
