"""What moves whole files over the line of a Gantry, by YMODEM: a recording out, an image in."""

from .channel import Channel
from .image_intake import ImageIntake
from .prompt_words import line, refusal
from .serial_transfers import flash_while_there
from .state import Recording
from .unit import Refused, Unit
from .xmodem import ABORT, TransferCut
from .ymodem import receive, send


class PromptTransfers:
    """The transfers of one unit over one line."""

    def __init__(self, unit: Unit, channel: Channel) -> None:
        self._unit = unit
        self._line = channel

    async def send(self, recording: Recording) -> None:
        """Send a recording; raises Refused when trouble says so before it begins."""
        unit = self._unit
        await unit.meet("send")
        unit.recording(recording.name)  # it may have vanished
        await self._line.write(line(f"SENDING {recording.bytes}"))
        unit.be("transfer", f"sending {recording.name}")
        data = unit.recorded_bytes(recording)
        try:
            await send(self._line, recording.name, recording.bytes, data, lambda done: self._sent(done, recording))
        except (TransferCut, Refused):
            await self._line.write(ABORT)  # the host asks again if it wants to
        finally:
            unit.be("idle")

    async def _sent(self, percent: float, recording: Recording) -> None:
        """Meet what is due so far; raises Refused when the rest is not there any more."""
        await self._unit.meet("send", percent, begin=False, moved=percent * recording.bytes / 100)
        self._unit.recording(recording.name)

    async def take(self, announced: int) -> None:
        """Take an image of so many bytes and burn it; raises Refused before anything has begun."""
        unit = self._unit
        if not unit.power_suffices():
            raise Refused("power", "charge or connect external power")
        await unit.meet("image")
        await self._line.write(line("LOAD READY"))
        unit.be("transfer", "taking an image")
        intake = ImageIntake(unit, announced)
        try:
            await receive(self._line, intake.feed, last_ack=lambda: not unit.suffers("last acknowledgement lost"))
            intake.finish()
        except TransferCut as cut:
            intake.cut()  # logged before the host hears of it
            await self._word(refusal("cut", str(cut)))
        except Refused as no:
            if no.code not in {"size", "crc"}:  # these two come after the sender's end
                await self._line.write(ABORT)
            await self._word(refusal(no.code, no.words))
        finally:
            intake.cut()
        if intake.outcome == "whole":
            await self._line.write(line("IMAGE WHOLE"))
            await self._burn(intake)

    async def _burn(self, intake: ImageIntake) -> None:
        async def report(percent: int) -> None:
            await self._line.write(line(f"BURN {percent}"))

        if await flash_while_there(self._line, intake, report):
            await self._word(line("BURN DONE"))

    async def _word(self, word: bytes) -> None:
        """Say how it ended, once what a sender may have gone on sending is thrown away: it is no request."""
        while await self._line.read(0.02):
            pass
        await self._line.write(word)
