"""The way of an image into a unit over the serial dialogue, from TAKE to OK,FLASH."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import aclosing

from benchday.devices.drivers import console_words as words
from benchday.devices.drivers.console_line import PREFIX, ConsoleLimits, ConsoleLine
from benchday.devices.nmea import Sentence
from benchday.devices.transfer import Monotonic, drive
from benchday.devices.xmodem import Ending, Sender
from benchday.domain.errors import Garbled, LinkError, LinkGone, LinkSilent, OutcomeUnknown, Refused, TransferCut
from benchday.domain.readings import Progress

_LAST_WORDS_S = 1.0
"""For what a unit may still say of a transfer that was cut (seconds)."""


async def send_image(
    line: ConsoleLine, image: bytes, limits: ConsoleLimits, clock: Monotonic
) -> AsyncGenerator[Progress]:
    """Send the image and see the unit through its flash.

    Raises:
        Refused: before the first block was acknowledged; nothing was erased.
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
        raise _cut(f"the line vanished while the image was sent: {error}", sender) from error

    line.give_back(sender.rest)
    await _settle(line, sender, limits)
    async with aclosing(_flash(line, sender, limits, clock)) as flashing:
        async for progress in flashing:
            yield progress


async def _settle(line: ConsoleLine, sender: Sender, limits: ConsoleLimits) -> None:
    """Return if the unit said that the image is whole; else raise what its word, or its silence, means."""
    if sender.ending is Ending.NEVER_BEGAN:
        raise LinkSilent("the unit agreed to take an image and then never asked for it; nothing was sent")
    try:
        await line.answer_ok("IMAGE", _LAST_WORDS_S if sender.ending is Ending.CUT else limits.image_s)
    except Refused as refusal:
        if sender.done_bytes == 0:
            raise
        raise _cut(f"the unit took the image and then refused it: {refusal.code} {refusal.words}", sender) from refusal
    except LinkGone as error:
        raise _cut(f"the line vanished before the unit said whether the image is whole: {error}", sender) from error
    except (LinkSilent, Garbled) as error:
        if sender.ending in (Ending.WHOLE, Ending.UNKNOWN):
            raise OutcomeUnknown(
                "the whole image was sent, but the unit did not say whether it is whole; read the unit back"
            ) from error
        raise _cut(f"the transfer ended early ({sender.ending.value if sender.ending else 'open'})", sender) from error


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
            raise _cut(f"the line vanished while the unit was flashing: {error}", sender) from error
        if said.fields[1] == "HELLO":
            raise _cut("the unit started anew while flashing: did its power fail?", sender)
        if said.fields[1] == "NO":
            raise _cut(f"the unit could not flash: {','.join(said.fields[2:])}", sender)
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


def _cut(text: str, sender: Sender) -> TransferCut:
    return TransferCut(
        f"{text}; the unit may be half written: leave it connected and have it identified anew", sender.done_bytes
    )
