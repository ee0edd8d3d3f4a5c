"""What can go wrong between a driver and a unit, as objects that stand on the way of every byte (see ``relay``).

Each connection gets a fault of its own by ``fresh``. What a fault does not change it passes on. Random bytes are drawn
from fixed seeds, so that a broken promise shows itself again.
"""

from __future__ import annotations

from random import Random
from typing import Protocol

import anyio
import anyio.lowlevel


class Wire(Protocol):
    """One connection, as a fault sees it."""

    async def to_driver(self, data: bytes) -> None: ...

    async def to_unit(self, data: bytes) -> None: ...

    def cut(self) -> None:
        """Let the connection vanish for both."""
        ...


class Fault:
    """None: passes everything on."""

    name = "no fault"
    harmless = False
    """The driver must not be put out by it: only right values will do."""
    endless = False
    """Bytes without end: what the driver keeps of them is measured."""
    other = False
    """Another unit of the same model stands in this one's place."""
    refuses = False
    """Connecting anew fails, too."""
    only: tuple[str, ...] = ()
    """The capabilities that it befalls; all, if none is named."""

    def fresh(self) -> Fault:
        """Return the same for another connection."""
        return type(self)()

    async def down(self, piece: bytes, wire: Wire) -> None:
        """Take what the unit sends."""
        await wire.to_driver(piece)

    async def up(self, piece: bytes, wire: Wire) -> None:
        """Take what the driver sends."""
        await wire.to_unit(piece)

    async def beside(self, wire: Wire) -> None:
        """Do something for as long as the fault lasts."""


class ByteByByte(Fault):
    """Each piece comes a byte at a time, with a pause after each; what is longer than 8 bytes then in small pieces."""

    name = "byte by byte"
    harmless = True

    async def down(self, piece: bytes, wire: Wire) -> None:
        for at in range(min(len(piece), 8)):
            await wire.to_driver(piece[at : at + 1])
            await anyio.sleep(0.0005)
        for at in range(8, len(piece), 61):
            await wire.to_driver(piece[at : at + 61])
            await anyio.lowlevel.checkpoint()


class Joined(Fault):
    """What comes within a thirtieth of a second comes at once, cut where no message ends."""

    name = "joined"
    harmless = True

    def __init__(self) -> None:
        self._held = bytearray()

    async def down(self, piece: bytes, wire: Wire) -> None:
        del wire
        self._held += piece

    async def beside(self, wire: Wire) -> None:
        while True:
            await anyio.sleep(0.03)
            data, self._held = bytes(self._held), bytearray()
            for part in (data[:5], data[5:]):
                if part:
                    await wire.to_driver(part)


class NoiseBefore(Fault):
    """Line noise before each answer."""

    name = "noise before"

    def __init__(self) -> None:
        self._random = Random(11)  # noqa: S311  # repeatable, not secret

    def noise(self) -> bytes:
        return self._random.randbytes(self._random.randrange(1, 60))

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(self.noise() + piece)


class NoiseIn(NoiseBefore):
    """Line noise in each answer."""

    name = "noise in"

    async def down(self, piece: bytes, wire: Wire) -> None:
        middle = len(piece) // 2
        await wire.to_driver(piece[:middle] + self.noise() + piece[middle:])


class NoiseAfter(NoiseBefore):
    """Line noise after each answer."""

    name = "noise after"

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece + self.noise())


class Halved(Fault):
    """The second half of each answer is lost."""

    name = "answers cut"

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece[: len(piece) // 2])


class Silent(Fault):
    """The unit hears everything and is never heard."""

    name = "never answers"

    async def down(self, piece: bytes, wire: Wire) -> None:
        """Nothing comes through."""


class WrongRate(Fault):
    """Both sides hear other bytes than were sent, as at a wrong baud rate (a model of it: every byte is another)."""

    name = "wrong baud rate"

    def __init__(self) -> None:
        self._table = bytes(Random(17).sample(range(256), 256))  # noqa: S311  # repeatable, not secret

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece[: (len(piece) + 1) // 2].translate(self._table))

    async def up(self, piece: bytes, wire: Wire) -> None:
        await wire.to_unit(piece[: (len(piece) + 1) // 2].translate(self._table))


class Echo(Fault):
    """The line gives back what the driver says, before the unit's answer."""

    name = "echo"

    async def up(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece)
        await wire.to_unit(piece)


class Flood(Fault):
    """Random bytes without end, between them what the unit says."""

    name = "flood"
    endless = True
    pause_s = 0.001
    piece = Random(23).randbytes(1 << 15)  # noqa: S311  # repeatable, not secret

    async def beside(self, wire: Wire) -> None:
        while True:
            await wire.to_driver(self.piece)
            await anyio.sleep(self.pause_s)


class FloodOfText(Flood):
    """A line of text that never ends; what the unit says is part of it."""

    name = "flood of text without an end of line"
    piece = b"ready and waiting " * 1800

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece.translate(None, b"\r\n"))


class FloodOfLines(Flood):
    """Lines without end that are no answers."""

    name = "flood of lines"
    pause_s = 0.01
    piece = b"$GPTXT,01,01,02,ready*00\r\nready\r\n" * 900


class Babble(Fault):
    """The unit's last words come over and over."""

    name = "babble"
    endless = True

    def __init__(self) -> None:
        self._last = b""

    async def down(self, piece: bytes, wire: Wire) -> None:
        self._last = piece[-2048:]
        await wire.to_driver(piece)

    async def beside(self, wire: Wire) -> None:
        while True:
            await wire.to_driver(self._last * (8192 // (len(self._last) or 1)))
            await anyio.sleep(0.001)


class Cut(Fault):
    """The connection vanishes, and nobody can connect."""

    name = "cable out"
    refuses = True

    async def down(self, piece: bytes, wire: Wire) -> None:
        del piece
        wire.cut()

    async def up(self, piece: bytes, wire: Wire) -> None:
        del piece
        wire.cut()


class OtherUnit(Fault):
    """Another unit stands where this one was."""

    name = "another unit"
    other = True
    only = ("identify", "restart")


LINE_FAULTS: tuple[Fault, ...] = (
    ByteByByte(),
    Joined(),
    NoiseBefore(),
    NoiseIn(),
    NoiseAfter(),
    Halved(),
    Silent(),
    WrongRate(),
    Echo(),
    Flood(),
    FloodOfText(),
    FloodOfLines(),
    Babble(),
    Cut(),
    OtherUnit(),
)
"""What befalls a line. A new fault is one more class and one more line here."""
