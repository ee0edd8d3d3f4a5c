"""How a dead network is noticed: by the operating system's own probes, set on each connection.

A unit that is switched off behind a serial server, a server without power and a cut network all look like silence.
The operating system notices the last two: probes on an idle connection (SO_KEEPALIVE, RFC 9293 section 3.8.4) and a
limit on how long sent bytes may stay unacknowledged (RFC 5482). The first is for the driver, which asks under a time
limit.
"""

from __future__ import annotations

import contextlib
import socket
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Alive:
    """Bounds for noticing, in real seconds."""

    idle_s: int = 5
    """After so long without a byte the other side is probed."""
    every_s: int = 5
    tries: int = 3
    unsent_s: int = 20
    """After so long without an acknowledgement, or with a peer that takes nothing, the connection is given up."""

    @property
    def bound_s(self) -> int:
        """After how long a dead peer is noticed at the latest."""
        return max(self.idle_s + self.every_s * self.tries, self.unsent_s)


def acknowledge_at_once(connection: socket.socket) -> None:
    """Have what comes next acknowledged without delay; holds for a while only, so it is said again after each piece.

    A serial server that sends a block in two pieces holds the second back until the first is acknowledged (RFC 896),
    and an acknowledgement may wait for company (RFC 9293, section 3.8.6.3): together they add 40 ms to each block,
    measured with ser2net 4.3.11, which fetches five times as fast without. Only Linux can be told (tcp(7),
    TCP_QUICKACK).
    """
    quick = getattr(socket, "TCP_QUICKACK", None)
    if quick is not None:
        with contextlib.suppress(OSError):
            connection.setsockopt(socket.IPPROTO_TCP, quick, 1)


def watch(connection: socket.socket, alive: Alive) -> None:
    """Have the operating system notice a dead peer; what it does not know is left out."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (
        ("TCP_KEEPIDLE", alive.idle_s),
        ("TCP_KEEPALIVE", alive.idle_s),  # macOS's name for the same
        ("TCP_KEEPINTVL", alive.every_s),
        ("TCP_KEEPCNT", alive.tries),
        ("TCP_USER_TIMEOUT", alive.unsent_s * 1000),
    ):
        number = getattr(socket, name, None)
        if number is not None:
            with contextlib.suppress(OSError):
                connection.setsockopt(socket.IPPROTO_TCP, number, value)
