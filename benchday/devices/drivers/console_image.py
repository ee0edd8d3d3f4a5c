"""The way of an image into a unit over the serial dialogue, from TAKE to OK,FLASH."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import aclosing

from benchday.devices.drivers import console_words as words
from benchday.devices.drivers.console_line import PREFIX, ConsoleLimits, ConsoleLine
from benchday.devices.drivers.last_word import cut, settled
from benchday.devices.nmea import Sentence
from benchday.devices.transfer import Monotonic, drive
from benchday.devices.xmodem import Ending, Sender
from benchday.domain.errors import Garbled, LinkError, LinkGone, LinkSilent, OutcomeUnknown
from benchday.domain.readings import Progress


async def send_image(
    line: ConsoleLine, image: bytes, limits: ConsoleLimits, clock: Monotonic
) -> AsyncGenerator[Progress]:
    """Send the image and see the unit through its flash.

    Raises:
        Refused: at the first block or before; nothing was erased.
        TransferCut: the unit may be half written.
        OutcomeUnknown: everything left; read the unit back.
        LinkSilent, Garbled, LinkGone: before the first block; nothing was begun.
    """
    await line.say("TAKE", str(len(image)))
    await line.answer_ok("TAKE", limits.answer_s)
    sender = Sender(image, limits.sending())
    try:
        async with aclosing(drive(line.link, sender, heard=line.hand_over(), clock=clock)) as transfer:
            async for sent in transfer:
                yield Progress(sent, len(image), "sending")
    except LinkGone as error:
        raise cut(f"the line vanished while the image was sent: {error}", sender) from error

    line.give_back(sender.rest)
    brief = sender.ending is Ending.CUT
    await settled(sender, lambda: line.answer_ok("IMAGE", limits.last_words_s if brief else limits.image_s))
    async with aclosing(_flash(line, sender, limits, clock)) as flashing:
        async for progress in flashing:
            yield progress


async def _flash(
    line: ConsoleLine, sender: Sender, limits: ConsoleLimits, clock: Monotonic
) -> AsyncGenerator[Progress]:
    told, until_us = -1, clock() + round(limits.flash_s * 1e6)
    while True:
        try:
            said = await line.next(_of_flash, max(until_us - clock(), 0) / 1e6)
        except (LinkSilent, Garbled) as error:
            raise OutcomeUnknown(
                f"the unit's flash has not come on for {limits.flash_s:g} s; do not switch it off, read it back"
            ) from error
        except LinkError as error:
            raise cut(f"the line vanished while the unit was flashing: {error}", sender) from error
        if said.fields[1] == "HELLO":
            raise cut("the unit started anew while flashing: did its power fail?", sender)
        if said.fields[1] == "NO":
            raise cut(f"the unit could not flash: {','.join(said.fields[2:])}", sender)
        if said.fields[1] == "OK":
            return
        percent = _percent(said)
        if percent is not None and percent > told:
            told, until_us = percent, clock() + round(limits.flash_s * 1e6)
            yield Progress(percent, 100, "flashing")


def _percent(said: Sentence) -> int | None:
    # An odd report is no reason to leave a unit that is flashing.
    try:
        return words.percent_of(said.fields[2:])
    except Garbled:
        return None


def _of_flash(sentence: Sentence) -> bool:
    return sentence.address == PREFIX and sentence.fields[1:2] in (("FLASH",), ("OK",), ("NO",), ("HELLO",))
