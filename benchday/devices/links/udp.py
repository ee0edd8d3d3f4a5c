"""Datagrams to one unit and from it alone (UDP, RFC 768). No byte stream: each ``receive`` is one whole datagram."""

from __future__ import annotations

import socket

import anyio
import anyio.lowlevel

from benchday.devices.links.line import OPEN_LIMIT_S
from benchday.domain.errors import LinkGone, LinkNotFound, LinkSilent

MOST_BYTES = 1232
"""What fits one datagram on any path: 1280 bytes, the least that a link of IPv6 carries (RFC 8200, section 5), less
40 of IPv6 header and 8 of UDP header. Nothing larger is sent, so that nothing is taken apart on the way."""
_LARGEST = 65_535


class UdpLink:
    """One socket, tied to one address: the system passes on what comes from there and nothing else."""

    def __init__(self, ours: socket.socket, where: str) -> None:
        self._socket, self._where = ours, where
        self._over: str | None = None

    async def receive(self) -> bytes:
        """Return the next datagram.

        Raises:
            LinkGone: the link was closed, or this computer has no way to the unit any more.
        """
        await anyio.lowlevel.checkpoint()
        while True:
            self._check()
            try:
                return self._socket.recv(_LARGEST)
            except (BlockingIOError, ConnectionRefusedError):
                # Refused: nobody listens there just now. A unit that starts anew looks so, and that is silence.
                await self._readable()
            except OSError as error:
                raise self._gone(error) from error

    async def _readable(self) -> None:
        try:
            await anyio.wait_readable(self._socket)
        except anyio.ClosedResourceError:
            self._check()
            raise LinkGone(f"udp://{self._where}: the link was closed") from None

    async def send(self, item: bytes) -> None:
        """Send one datagram, or lose it: nobody acknowledges.

        Raises:
            ValueError: it is larger than ``MOST_BYTES``.
            LinkGone
        """
        if len(item) > MOST_BYTES:
            raise ValueError(f"a datagram of {len(item)} bytes; at most {MOST_BYTES} are sent")
        await anyio.lowlevel.checkpoint()
        self._check()
        try:
            self._socket.send(item)
        except (BlockingIOError, ConnectionRefusedError):
            return  # lost, as on any network; whoever asks has a time limit
        except OSError as error:
            raise self._gone(error) from error

    async def aclose(self) -> None:
        """Close; whoever waits for a datagram is told."""
        await anyio.lowlevel.checkpoint()
        if self._over is None:
            self._over = "the link was closed"
            anyio.notify_closing(self._socket)
            self._socket.close()

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"udp://{self._where}: {self._over}")

    def _gone(self, error: OSError) -> LinkGone:
        return LinkGone(f"there is no way to {self._where} any more ({error}): network lost?")


async def open_udp(where: str) -> UdpLink:
    """Tie a socket to ``host:port``. Nothing is sent, so nobody knows yet whether a unit is there.

    Raises:
        LinkNotFound: it is no address, or there is no way to it.
        LinkSilent: the name of the host was not found in time.
    """
    host, _, port = where.rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise LinkNotFound(f"udp://{where} is no address; expected udp://host:port")
    try:
        with anyio.fail_after(OPEN_LIMIT_S):
            family, kind, protocol, _, address = (
                await anyio.getaddrinfo(host.strip("[]"), int(port), type=socket.SOCK_DGRAM)
            )[0]
    except TimeoutError:
        raise LinkSilent(f"the name {host} was not found in {OPEN_LIMIT_S:.0f} s: is the network up?") from None
    except OSError as error:
        raise LinkNotFound(f"there is no {host} ({error}): is it on, and in this network?") from error
    ours = socket.socket(family, kind, protocol)
    try:
        ours.setblocking(False)
        ours.connect(address)
    except OSError as error:
        ours.close()
        raise LinkNotFound(f"there is no way to {where} ({error}): is this computer in its network?") from error
    return UdpLink(ours, where)
