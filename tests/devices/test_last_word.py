"""What a unit says once a transfer has ended: no, although it may have begun."""

from __future__ import annotations

from dataclasses import replace

import anyio
import pytest

from benchday.devices import nmea
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.drivers.console_line import ConsoleLimits
from benchday.devices.links.memory import MemoryLink, memory_pair
from benchday.domain.errors import DeviceError, LinkGone, Refused, TransferCut
from benchday.domain.seams import Link
from tests.devices.acts import write_act

PATIENT = ConsoleLimits(transfer_start_s=20.0, transfer_answer_s=20.0, transfer_still_s=60.0, last_words_s=20.0)
REPEATS = replace(PATIENT, transfer_answer_s=0.3)
"""Sends a block again that was met by silence."""
NO = nmea.encode("PQFN", "NO", "IMAGE", "cut", "the sender broke it off")
IMAGE = b"an image of one block"
BLOCK_BYTES = 133


async def taking(far: MemoryLink, answers: bytes, blocks: int) -> None:
    """Agree, ask for the image, take the first block so many times, and say these words."""
    await far.receive()
    await far.send(nmea.encode("PQFN", "OK", "TAKE"))
    await far.send(b"C")
    came = b""
    while len(came) < blocks * BLOCK_BYTES:
        came += await far.receive()
    await far.send(answers)


@pytest.mark.parametrize(
    ("answers", "blocks", "error"),
    [
        (b"\x18\x18" + NO, 1, Refused),
        (b"\xf3\x81\xf3\x18\x18" + NO, 1, TransferCut),
        (b"\x18\x18" + NO, 2, TransferCut),
        (NO, 1, TransferCut),
    ],
    ids=["at once", "after noise", "after silence", "without breaking off"],
)
@pytest.mark.asyncio
async def test_no(answers: bytes, blocks: int, error: type[DeviceError]) -> None:
    """Only a unit that breaks off at once, on a quiet line, has surely not begun: otherwise it may be half written."""
    link, far = memory_pair()

    async def reopen() -> Link:
        raise LinkGone("it does not come back")

    async with anyio.create_task_group() as peer:
        peer.start_soon(taking, far, answers, blocks)
        driver = ConsoleDriver(link, reopen, limits=REPEATS if blocks > 1 else PATIENT)
        with pytest.raises(error) as told:
            async for _ in driver.write(write_act("7", IMAGE), IMAGE):
                pass
        peer.cancel_scope.cancel()
    assert "the sender broke it off" in str(told.value)
    assert ("may be half written" in str(told.value)) == (error is TransferCut)
