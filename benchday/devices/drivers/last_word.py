"""What a unit's last word on an image means, or its silence, once a transfer has ended; for every driver on a line."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol

from benchday.devices.xmodem import Ending, Machine
from benchday.domain.errors import Garbled, LinkGone, LinkSilent, OutcomeUnknown, Refused, TransferCut


class Sending(Machine, Protocol):
    """The side that sends."""

    @property
    def nothing_taken(self) -> bool:
        """Whether the unit can have taken nothing."""
        ...


def all_left(sender: Machine) -> bool:
    """Tell whether the whole image was sent, acknowledged to its end or not."""
    return sender.ending in (Ending.WHOLE, Ending.UNKNOWN)


async def settled(sender: Sending, last_word: Callable[[], Awaitable[object]]) -> None:
    """Return if the unit said that the image is whole.

    Args:
        sender: which has come to its end.
        last_word: returns when the unit says so, and raises what it says otherwise.

    Raises:
        LinkSilent: the unit never asked for the image; nothing was begun.
        Refused: at the first block or before; nothing was erased.
        TransferCut: the unit may be half written.
        OutcomeUnknown: everything left; read the unit back.
    """
    if sender.ending is Ending.NEVER_BEGAN:
        raise LinkSilent("the unit agreed to take an image and then never asked for it; nothing was sent")
    try:
        await last_word()
    except Refused as refusal:
        if sender.nothing_taken:
            raise
        took = (
            "took the image and then refused it"
            if sender.done_bytes
            else "may have begun to take the image, and broke it off"
        )
        raise cut(f"the unit {took}: {refusal.code} {refusal.words}", sender) from refusal
    except LinkGone as error:
        raise cut(f"the line vanished before the unit said whether the image is whole: {error}", sender) from error
    except (LinkSilent, Garbled) as error:
        if all_left(sender):
            raise OutcomeUnknown(
                "the whole image was sent, but the unit did not say whether it is whole; read the unit back"
            ) from error
        raise cut(f"the transfer ended early ({sender.ending.value if sender.ending else 'open'})", sender) from error


def cut(text: str, sender: Machine) -> TransferCut:
    """Make the error of a transfer that was cut, with what to do."""
    return TransferCut(
        f"{text}; the unit may be half written: leave it connected and have it identified anew", sender.done_bytes
    )
