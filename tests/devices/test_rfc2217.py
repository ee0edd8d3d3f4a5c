"""The link that sets a serial server's port, with a server of the test's own that misbehaves."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

import anyio
import anyio.abc
import pytest
import structlog.testing

from benchday.devices.links import LineSettings, open_link, rfc2217, tcp
from benchday.devices.links.alive import Alive, watch
from benchday.devices.links.rfc2217 import Rfc2217Link
from benchday.devices.links.tcp import connected, open_tcp
from benchday.domain.errors import LinkGone, LinkNotFound

HELLO = bytes.fromhex("ff fb 00 ff fd 00 ff fd 2c ff fb 01 ff fd 18")
"""WILL and DO binary, DO com port; and two options that nobody asked for."""


class Server:
    """What the link says, and what it is answered."""

    def __init__(self, answers: Callable[[bytes], bytes]) -> None:
        self.answers = answers
        self.heard = b""
        self.stream: anyio.abc.SocketStream | None = None
        self.deaf = False
        self.came, self.ended = anyio.Event(), anyio.Event()

    async def serve(self, stream: anyio.abc.SocketStream) -> None:
        self.stream = stream
        self.came.set()
        try:
            while True:
                piece = await stream.receive()
                if not self.deaf:
                    self.heard += piece
                    answer = self.answers(piece)
                    if answer:
                        await stream.send(answer)
        except (anyio.EndOfStream, anyio.BrokenResourceError, anyio.ClosedResourceError):
            return
        finally:
            self.ended.set()
            await anyio.aclose_forcefully(stream)


def obliging(piece: bytes) -> bytes:
    """Agree to everything and acknowledge every setting with what was asked for."""
    out = HELLO if b"\xff\xfb\x2c" in piece else b""
    for part in piece.split(b"\xff\xfa\x2c")[1:]:
        inside = part.split(b"\xff\xf0")[0].replace(b"\xff\xff", b"\xff")
        value = (9600).to_bytes(4, "big") if inside == b"\x01\0\0\0\0" else inside[1:]
        out += b"\xff\xfa\x2c" + bytes([inside[0] + 100]) + value.replace(b"\xff", b"\xff\xff") + b"\xff\xf0"
    return out


@asynccontextmanager
async def serving(answers: Callable[[bytes], bytes]) -> AsyncIterator[tuple[Server, str]]:
    """Run a server."""
    server = Server(answers)
    listener = await anyio.create_tcp_listener(local_host="127.0.0.1", family=socket.AddressFamily.AF_INET)
    async with listener, anyio.create_task_group() as tasks:
        tasks.start_soon(listener.serve, server.serve)
        port = listener.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        with anyio.fail_after(30):
            yield server, f"rfc2217://127.0.0.1:{port}"
        tasks.cancel_scope.cancel()


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the link's own limits short."""
    for name, limit in (("AGREE_S", 0.2), ("ANSWER_S", 0.2), ("BEAT_S", 0.05), ("BEAT_ANSWER_S", 0.2)):
        monkeypatch.setattr(rfc2217, name, limit)


@pytest.mark.asyncio
async def test_line_settings_reach_the_server() -> None:
    async with serving(obliging) as (server, where):
        link = await open_link(where, LineSettings(9600, 7, "even", 2, dtr=False, rts=True))
        await link.set_baud(0xFF00)
        for said in (
            "01 00 00 25 80",
            "02 07",
            "03 03",
            "04 02",
            "05 01",
            "05 09",
            "05 0b",
            "0b b0",
            "01 00 00 ff ff 00",
        ):
            assert b"\xff\xfa\x2c" + bytes.fromhex(said) + b"\xff\xf0" in server.heard
        # RFC 854: an option that was not asked for is declined.
        assert b"\xff\xfe\x01" in server.heard
        assert b"\xff\xfc\x18" in server.heard
        await link.aclose()


@pytest.mark.asyncio
async def test_a_raw_port_is_told_as_one(hasty: None) -> None:
    async with serving(lambda _: b"$GPGGA,") as (_, where):
        with pytest.raises(LinkNotFound, match=r"does not speak RFC 2217; .* write socket://127\.0\.0\.1:"):
            await open_link(where)


@pytest.mark.asyncio
async def test_a_server_that_would_change_bytes_is_refused(hasty: None) -> None:
    async with serving(lambda _: b"\xff\xfe\x00\xff\xfd\x2c") as (_, where):
        with pytest.raises(LinkNotFound, match="refuses binary data, which would damage images"):
            await open_link(where)


@pytest.mark.asyncio
async def test_what_the_server_does_not_confirm_is_logged_and_not_insisted_upon(hasty: None) -> None:
    def other_rate(piece: bytes) -> bytes:
        return obliging(piece).replace((115200).to_bytes(4, "big"), (9600).to_bytes(4, "big"))

    async with serving(other_rate) as (_, where):
        with structlog.testing.capture_logs() as logs:
            link = await open_link(where)
        assert [(entry["setting"], entry["wanted"], entry["has"]) for entry in logs] == [("baud", 115200, 9600)]
        await link.aclose()
    async with serving(lambda piece: HELLO if b"\xff\xfb\x2c" in piece else b"") as (_, where):
        with structlog.testing.capture_logs() as logs:
            link = await open_link(where)
        assert {entry["has"] for entry in logs} == {"does not say"}
        await link.discard_input()
        await link.aclose()


@pytest.mark.asyncio
async def test_a_server_that_keeps_its_own_settings(hasty: None) -> None:
    """Telnet without the option: the line is used as it is."""
    answer = b"\xff\xfb\x00\xff\xfd\x00\xff\xfe\x2c"
    async with serving(lambda piece: answer if b"\xff\xfb\x2c" in piece else b"") as (server, where):
        with structlog.testing.capture_logs() as logs:
            link = await open_link(where)
        assert logs[0]["event"] == "serial server keeps its own line settings"
        await link.set_baud(9600)
        assert server.stream is not None
        await server.stream.send(b"old")
        await link.receive(1)
        await link.discard_input()
        await server.stream.send(b"a\xff\xffb")
        assert await link.receive() == b"a\xffb"
        # It is asked nothing that it could answer, and silence is not held against it.
        with anyio.move_on_after(0.3) as silent:
            await link.receive()
        assert silent.cancelled_caught
        assert b"\xff\xf1" in server.heard
        await link.aclose()


@pytest.mark.asyncio
async def test_a_server_that_is_there_is_never_given_up(hasty: None) -> None:
    async with serving(obliging) as (server, where):
        link = await open_link(where)
        with anyio.move_on_after(0.6) as silent:
            await link.receive()
        assert silent.cancelled_caught
        assert server.heard.count(b"\xff\xfa\x2c\x01\0\0\0\0\xff\xf0") >= 2
        await link.aclose()


@pytest.mark.asyncio
async def test_a_server_that_falls_silent_is_given_up_within_a_bound(hasty: None) -> None:
    async with serving(obliging) as (server, where):
        link = await open_link(where)
        server.deaf = True
        with pytest.raises(LinkGone, match="does not answer any more, although the connection stands"):
            await link.receive()
        with pytest.raises(LinkGone):
            await link.send(b"x")
        await link.aclose()


@pytest.mark.asyncio
async def test_an_answer_that_nobody_fetched_in_time_counts(hasty: None) -> None:
    async with serving(obliging) as (_, where):
        link = await open_link(where)
        with anyio.move_on_after(0.1):
            await link.receive()  # asks, and is not there for the answer
        await anyio.sleep(0.3)
        with anyio.move_on_after(0.3) as silent:
            await link.receive()
        assert silent.cancelled_caught
        await link.aclose()


@pytest.mark.asyncio
async def test_a_line_that_never_falls_quiet_is_discarded_for_a_limited_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tcp, "_DISCARD_S", 0.2)
    async with serving(lambda _: b"") as (server, where):
        link = await open_link(where.replace("rfc2217", "socket"))
        await link.send(b"x")

        async def chatter() -> None:
            await server.came.wait()
            assert server.stream is not None
            with suppress(anyio.BrokenResourceError, anyio.ClosedResourceError):
                while True:
                    await server.stream.send(b"y" * 100)
                    await anyio.sleep(0.001)

        async with anyio.create_task_group() as both:
            both.start_soon(chatter)
            with anyio.fail_after(60):
                await link.discard_input()
            both.cancel_scope.cancel()
        await link.aclose()


@pytest.mark.asyncio
async def test_control_lines_as_the_server_tells_them() -> None:
    async with serving(obliging) as (server, where):
        link = await open_link(where)
        assert link.modem_lines().cts is None
        assert server.stream is not None
        await server.stream.send(bytes.fromhex("ff fa 2c 6b b1 ff f0") + b"x")
        assert await link.receive() == b"x"
        lines = link.modem_lines()
        assert (lines.cts, lines.dsr, lines.dcd) == (True, True, True)
        await link.aclose()


@pytest.mark.asyncio
async def test_a_server_that_sends_without_end_is_dropped(hasty: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rfc2217, "MOST_INPUT", 100_000)
    flood = b"x" * 200_000
    async with serving(lambda piece: flood if b"\xff\xfa\x2c\x0c" in piece else obliging(piece)) as (_, where):
        link = await open_link(where)
        with pytest.raises(LinkGone, match="sends without end"):
            await link.discard_input()
        await link.aclose()


@pytest.mark.asyncio
async def test_the_system_is_asked_to_notice_a_dead_peer() -> None:
    async with serving(obliging) as (_, where):
        stream = await connected("socket", where.partition("://")[2], Alive())
        raw = stream.extra(anyio.abc.SocketAttribute.raw_socket)  # noqa: S610  # no database in sight
        assert raw.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
        assert raw.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 20_000
        assert raw.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == 5
        assert Alive().bound_s == 20
        await stream.aclose()


@pytest.mark.asyncio
async def test_a_peer_that_takes_nothing_is_given_up_within_a_bound() -> None:
    """A server whose port is stuck: the connection stands, and nothing goes through."""
    with socket.create_server(("127.0.0.1", 0)) as stuck:
        link = await open_tcp(f"127.0.0.1:{stuck.getsockname()[1]}", LineSettings(), Alive(unsent_s=1))
        with anyio.fail_after(60), pytest.raises(LinkGone):
            await link.send(bytes(1 << 26))
        await link.aclose()


def test_a_system_that_knows_no_such_option_is_asked_less(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(socket, "TCP_USER_TIMEOUT")
    with socket.socket() as made:
        watch(made, Alive())
        assert made.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1


@pytest.mark.asyncio
async def test_opening_that_is_given_up_leaves_no_connection() -> None:
    async with serving(lambda piece: HELLO if b"\xff\xfb\x2c" in piece else b"") as (server, where):
        with anyio.move_on_after(0.3):
            await open_link(where)
        assert server.stream is not None
        with anyio.fail_after(5):
            await server.ended.wait()


def test_it_is_a_link() -> None:
    """The type checker says whether it keeps the seam; here it is only named."""
    assert Rfc2217Link.receive.__name__ == "receive"
