"""The Link seam: a line to a unit, as bytes. The other seams are in ``seams``, which shows this one too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class ModemLines:
    """The control lines as they stand; None where the link has none."""

    cts: bool | None = None
    dsr: bool | None = None
    dcd: bool | None = None


class ByteStream(Protocol):
    """What an anyio byte stream offers; stated here so that the domain imports no I/O library."""

    async def receive(self, max_bytes: int = 65536) -> bytes:
        """Return at least one byte.

        Raises:
            LinkGone: the line has vanished, or was aborted.
        """
        ...

    async def send(self, item: bytes) -> None:
        """Return when the operating system has the bytes; nothing is kept back in the program.

        Raises:
            LinkGone: the line has vanished, or was aborted.
        """
        ...

    async def aclose(self) -> None:
        """Close within a time limit; never waits for unsent output."""
        ...


class Link(ByteStream, Protocol):
    """A serial or network serial line."""

    async def set_baud(self, baud: int) -> None:
        """Change the line rate (bits a second); a link without one ignores it."""
        ...

    def modem_lines(self) -> ModemLines:
        """Read the control lines."""
        ...

    async def discard_input(self) -> None:
        """Throw away what has come and was not read."""
        ...

    def abort(self) -> None:
        """Drop the line at once; a pending receive or send raises LinkGone."""
        ...
