"""Bytes carried within a declared dialogue: a recording fetched, an image written; begun by declared exchanges."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing, suppress

import anyio

from benchday.devices.drivers.dialogue_talk import Heard, Talk, number_of
from benchday.devices.drivers.dialogue_words import digest_of
from benchday.devices.drivers.last_word import Sending, all_left, cut, settled
from benchday.devices.drivers.transfer_limits import TransferLimits
from benchday.devices.transfer import Monotonic, drive
from benchday.devices.xmodem import Ending, Machine, Sender
from benchday.devices.xmodem_receiver import Receiver
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from benchday.domain.clean import clean
from benchday.domain.dialogue import Fetch, Flash, Recordings, Write
from benchday.domain.dialogue_parts import By
from benchday.domain.errors import Garbled, LinkError, LinkGone, LinkSilent, OutcomeUnknown, Refused, TransferCut
from benchday.domain.readings import Progress, Recording

_HANG_UP = b"\x18\x18"
_SMALL = 128

Sink = Callable[[bytes], Awaitable[None]]


def _sender(by: By, name: str, data: bytes, limits: TransferLimits) -> Sending:
    its = limits.sending()
    if by is By.YMODEM:
        return BatchSender([Outgoing(name, data)], its)
    return Sender(data, its, block=_SMALL) if by is By.XMODEM_CRC else Sender(data, its)


def _receiver(by: By, length: int, limits: TransferLimits) -> Machine:
    its = limits.receiving()
    return BatchReceiver(its, most_files=1) if by is By.YMODEM else Receiver(length, its)


async def fetch(
    talk: Talk, asked: Fetch, recording: Recording, sink: Sink, clock: Monotonic
) -> AsyncGenerator[Progress]:
    """Have a recording sent and hand it over, cut to its length.

    Raises:
        Refused, Garbled, LinkSilent, LinkGone, InputError
        TransferCut: it came only in part.
    """
    values = {"name": recording.name, "bytes": str(recording.bytes)}
    told = await talk.ask_all(asked.ask, values, once=True)
    length = number_of(told["bytes"], "bytes") if "bytes" in told else recording.bytes
    digest, came = hashlib.sha256(), 0

    async def taken(piece: bytes) -> None:
        nonlocal came
        came += len(piece)
        if came > length:
            raise Garbled(f"more came of {clean(recording.name)} than the {length} bytes told; fetch it again")
        digest.update(piece)
        await sink(piece)

    receiver = _receiver(asked.by, length, talk.limits)
    heard = talk.line.hand_over()
    try:
        async with aclosing(drive(talk.line.link, receiver, heard=heard, sink=taken, clock=clock)) as transfer:
            async for done in transfer:
                yield Progress(min(done, length), length, "fetching")
    finally:
        if receiver.ending is None:
            await _hang_up(talk)
    talk.line.give_back(receiver.rest)
    if receiver.ending is not Ending.WHOLE or came != length:
        raise TransferCut(f"{clean(recording.name)} came only in part; fetch it again", came)

    await _compare(talk, recording, digest.hexdigest())


async def _compare(talk: Talk, recording: Recording, digest: str) -> None:
    said = await sum_of(talk, talk.dialogue.recordings, recording.name)
    if {digest} != {digest, said or digest, recording.sha256 or digest}:
        raise Garbled(f"the copy of {clean(recording.name)} differs from what is on the unit; fetch it again")


async def sum_of(talk: Talk, asked: Recordings | None, name: str) -> str | None:
    """Ask for the digest that the unit reports of a recording; None if it tells none."""
    if asked is None or asked.sum is None:
        return None
    told = await talk.ask(asked.sum, {"name": name})
    return digest_of(told["sha256"]) if "sha256" in told else None


async def _hang_up(talk: Talk) -> None:
    # Whoever wanted the file does not any more; the unit should not go on sending.
    with anyio.move_on_after(3, shield=True), suppress(LinkGone):
        await talk.line.link.send(_HANG_UP)
        quiet = False
        while not quiet:
            with anyio.move_on_after(0.3) as waiting:
                await talk.line.link.receive()
            quiet = waiting.cancelled_caught


async def send_image(
    talk: Talk, asked: Write, image: bytes, release: str, clock: Monotonic
) -> AsyncGenerator[Progress]:
    """Send the image and see the unit through its flash.

    Raises:
        Refused: at the first block or before; nothing was erased.
        TransferCut: the unit may be half written.
        OutcomeUnknown: everything left; read the unit back.
        LinkSilent, Garbled, LinkGone, InputError: before the first block; nothing was begun.
    """
    values = {"bytes": str(len(image)), "release": release, "name": asked.name}
    await talk.ask_all(asked.ask, values, once=True)
    sender = _sender(asked.by, asked.name, image, talk.limits)
    heard = talk.line.hand_over()
    try:
        async with aclosing(drive(talk.line.link, sender, heard=heard, clock=clock)) as transfer:
            async for sent in transfer:
                yield Progress(min(sent, len(image)), len(image), "sending")
    except LinkGone as error:
        raise cut(f"the line vanished while the image was sent: {error}", sender) from error

    talk.line.give_back(sender.rest)
    limit_s = float(asked.whole.seconds) if all_left(sender) else talk.limits.last_words_s
    await settled(sender, lambda: talk.hear(asked.whole.hear, limit_s, asked.whole.refused))
    if not all_left(sender):
        raise cut("the transfer ended early, whatever the unit says of it", sender)
    if asked.flash is not None:
        async with aclosing(_flash(talk, asked.flash, sender, clock)) as flashing:
            async for progress in flashing:
                yield progress


async def _flash(talk: Talk, flash: Flash, sender: Machine, clock: Monotonic) -> AsyncGenerator[Progress]:
    restart = talk.dialogue.restart
    greeting = restart.greeting.hear if restart is not None and restart.greeting is not None else ()
    until_us = clock() + round(talk.limits.flash_s * 1e6)
    percent = 0
    while True:
        said = await _report(talk, (*flash.until, flash.each, *greeting), flash, sender)
        if said.pattern in flash.until:
            return
        if said.pattern in greeting:
            raise cut("the unit started anew while flashing: did its power fail?", sender)
        if clock() > until_us:
            raise OutcomeUnknown(f"the unit flashes for {talk.limits.flash_s / 3600:g} hours; read it back")
        # A report that cannot be, or that goes backwards, is a damaged one: what counts is the word at the end.
        told = said.fields.get("percent", "")
        percent = max(percent, int(told) if told.isdigit() and len(told) <= 3 and int(told) <= 100 else 0)
        yield Progress(percent, 100, "flashing")


async def _report(talk: Talk, patterns: tuple[str, ...], flash: Flash, sender: Machine) -> Heard:
    try:
        return await talk.hear(patterns, float(flash.seconds))
    except (LinkSilent, Garbled) as error:
        raise OutcomeUnknown(
            f"the unit said nothing for {flash.seconds:g} s while flashing; do not switch it off, read it back"
        ) from error
    except LinkError as error:
        raise cut(f"the line vanished while the unit was flashing: {error}", sender) from error
    except Refused as refusal:
        raise cut(f"the unit could not flash: {refusal.code} {refusal.words}", sender) from refusal
