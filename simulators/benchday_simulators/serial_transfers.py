"""What moves whole files over a serial line: a recording out, an image in."""

import asyncio
from collections.abc import Awaitable, Callable

from .channel import Channel
from .image_intake import ImageIntake
from .sentences import answer, plain
from .state import Recording
from .unit import Refused, Unit
from .xmodem import ABORT, TransferCut, receive, send_blocks, send_end
from .xmodem_blocks import ACK


class SerialTransfers:
    """The transfers of one unit over one line."""

    def __init__(self, unit: Unit, line: Channel) -> None:
        self._unit = unit
        self._line = line

    async def send(self, recording: Recording) -> None:
        """Send a recording; raises Refused when trouble says so before it begins."""
        unit = self._unit
        await unit.meet("send")
        unit.recording(recording.name)  # it may have vanished
        await self._line.write(answer("OK", "SEND", recording.bytes))
        unit.be("transfer", f"sending {recording.name}")
        data = unit.recorded_bytes(recording)
        try:
            await send_blocks(self._line, data, lambda percent: self._sent(percent, recording))
            if len(data) < recording.bytes:
                await self._line.write(ABORT)  # the rest cannot be read
            else:
                await send_end(self._line)
        except (TransferCut, Refused):
            await self._line.write(ABORT)  # the host asks again if it wants to
        finally:
            unit.be("idle")

    async def _sent(self, percent: float, recording: Recording) -> None:
        """Meet what is due so far; raises Refused when the rest is not there any more."""
        await self._unit.meet("send", percent, begin=False, moved=percent * recording.bytes / 100)
        self._unit.recording(recording.name)

    async def take(self, announced: int) -> None:
        """Take an image of so many bytes and flash it; raises Refused before anything has begun."""
        unit = self._unit
        if not unit.power_suffices():
            raise Refused("power", "charge or connect external power")
        await unit.meet("image")
        await self._line.write(answer("OK", "TAKE"))
        unit.be("transfer", "taking an image")
        intake = ImageIntake(unit, announced)
        try:
            await receive(self._line, intake.feed)
            await self._acknowledge_end()
            intake.finish()
        except TransferCut as cut:
            intake.cut()  # logged before the host hears of it
            await self._line.write(answer("NO", "IMAGE", "cut", plain(str(cut), 40)))
        except Refused as refusal:
            if refusal.code not in {"size", "crc"}:  # these two come after the sender's end
                await self._line.write(ABORT)
            await self._line.write(answer("NO", "IMAGE", refusal.code, plain(refusal.words, 40)))
        finally:
            intake.cut()
        if intake.outcome == "whole":
            await self._line.write(answer("OK", "IMAGE"))
            await self._flash(intake)

    async def _acknowledge_end(self) -> None:
        if not self._unit.suffers("last acknowledgement lost"):
            await self._line.write(ACK)

    async def _flash(self, intake: ImageIntake) -> None:
        if await flash_while_there(self._line, intake, lambda percent: self._line.write(answer("FLASH", percent))):
            await self._line.write(answer("OK", "FLASH"))


async def flash_while_there(line: Channel, intake: ImageIntake, report: Callable[[int], Awaitable[None]]) -> bool:
    """Flash, unless the line is away for too long; gives whether it is done."""
    flashing = asyncio.create_task(intake.flash(report))
    lost = asyncio.create_task(line.lost.wait())
    try:
        await asyncio.wait({flashing, lost}, return_when=asyncio.FIRST_COMPLETED)
        if flashing.done():
            flashing.result()
            return True
        return False
    finally:
        flashing.cancel()
        lost.cancel()
        intake.flash_ended()
