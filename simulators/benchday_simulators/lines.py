"""What the parts of a line promise one another, and how the line's rate is kept."""

from typing import Protocol

BITS = 10
"""of a byte on the line: a start bit, 8 data bits, no parity, 1 stop bit"""
LOST_AFTER_S = 10.0
"""a line away for longer than this ends what was under way (real seconds)"""


class Line(Protocol):
    """The dialogue's end of a line."""

    async def read(self, within: float) -> bytes:
        """Give what has come, empty after `within` real seconds of nothing."""
        ...

    def unread(self, data: bytes) -> None:
        """Put bytes back, to be read again."""
        ...

    async def write(self, data: bytes) -> None:
        """Send bytes; what nobody takes is lost, as on any line without flow control."""
        ...


class Listener(Protocol):
    """Where a carrier hands in what came."""

    def due(self, count: int) -> float | None:
        """Say when (monotonic) bytes that begin to come now have come, None: at once."""
        ...

    def arrived(self, data: bytes, due: float | None) -> None:
        """Take what has come."""
        ...


class Carrier(Protocol):
    """What carries the bytes: a pseudo-terminal or a socket."""

    async def attach(self, listener: Listener) -> dict[str, str]:
        """Appear to the host; gives where."""
        ...

    def detach(self) -> None:
        """Vanish: whoever has the port open loses it."""
        ...

    def push(self, data: bytes) -> int:
        """Send what can be sent at once; gives how many bytes that were (all of them while there is no port)."""
        ...

    def backlog(self) -> int:
        """Say how many bytes the host has not read yet."""
        ...


class Pace:
    """Say when bytes have passed a line of fixed rate. Lateness of timers is credited, so it does not add up."""

    LONGEST_CREDIT_S = 0.25

    def __init__(self, rate: float) -> None:
        self._rate = rate
        self._free_at = 0.0

    def passed(self, count: int, now: float, credit: float = 0.0) -> float:
        """Give the moment when `count` bytes have passed; `credit` is by how much the cause itself came late."""
        begins = max(self._free_at, now - min(credit, self.LONGEST_CREDIT_S))
        self._free_at = begins + count / self._rate
        return self._free_at
