"""Our XMODEM and YMODEM, both ways, with lrzsz's ``rx``, ``sx``, ``rb`` and ``sb``, strangers to our code.

All transfers of one test run at once, as on a bench: over plain pseudo-terminals, as fast as they can, and over lines
at an emulated 115200 baud.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

import anyio
import anyio.to_thread
import pytest

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import END_OF_BATCH, FileHead
from benchday.devices.links import open_link
from benchday.devices.transfer import drive
from benchday.devices.xmodem import Ending, Limits, Machine, Sender
from benchday.devices.xmodem_receiver import Receiver, ReceiverLimits
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from benchday.domain.seams import ByteStream
from tests.devices.ptys import raw_pty
from tests.peers.lrzsz import LIMIT_S, peer, started
from tests.peers.paced_line import paced_lines

pytestmark = pytest.mark.peer

Line = tuple[str, int]
"""Our end's name, and the other end, open."""
LIMITS = Limits(ends=1)
"""rx and rb often throw their last acknowledgement away as they end: waited for once, not three times."""


class Kept:
    """An inbox in memory."""

    def __init__(self) -> None:
        self.heads: list[FileHead] = []
        self.whole: dict[str, bytes] = {}
        self._now = bytearray()

    async def begin(self, head: FileHead) -> None:
        self.heads.append(head)
        self._now.clear()

    async def take(self, piece: bytes) -> None:
        self._now += piece

    async def end(self) -> None:
        self.whole[self.heads[-1].name] = bytes(self._now)


@dataclass(frozen=True)
class Transfer:
    """One file or batch, and lrzsz's program at the other end."""

    program: str
    flags: tuple[str, ...]
    sizes: tuple[int, ...]
    block: int = 1024
    deaf: bool = False
    """The answer to our very last word never reaches us."""

    def files(self) -> list[Outgoing]:
        """Name and content of each."""
        return [Outgoing(f"f{n}-{size}", Random(size).randbytes(size)) for n, size in enumerate(self.sizes)]

    async def run(self, line: Line, folder: Path) -> None:
        """Transfer over a line, and compare what arrived."""
        folder.mkdir()
        sends = self.program in ("sx", "sb")
        if sends:
            for file in self.files():
                (folder / file.name).write_bytes(file.data)
        names = [] if self.program == "rb" else [file.name for file in self.files()]
        with started(line[1], self.program, *self.flags, *names, folder=folder) as running:
            link = await open_link(line[0])
            try:
                await (self.take(link) if sends else self.give(link))
                assert await anyio.to_thread.run_sync(running.wait, LIMIT_S) == 0, self
            finally:
                await link.aclose()
        if not sends:
            self.compare(folder)

    async def give(self, link: ByteStream) -> None:
        """Send, and expect to be told so, or that it is not known."""
        files = self.files()
        machine: Machine = BatchSender(files, LIMITS, block=self.block)
        if self.program == "rx":
            machine = Sender(files[0].data, LIMITS, block=self.block)
        line: ByteStream = Deaf(link, CLOSING if self.program == "rb" else EOT) if self.deaf else link
        async for _ in drive(line, machine):
            pass
        assert machine.ending in ((Ending.UNKNOWN,) if self.deaf else (Ending.WHOLE, Ending.UNKNOWN))
        assert machine.done_bytes == sum(self.sizes)

    def compare(self, folder: Path) -> None:
        """Find on disk what was sent: by YMODEM to the byte, by XMODEM with padding."""
        for file in self.files():
            taken = (folder / file.name).read_bytes()
            length = len(file.data)
            assert taken[:length] == file.data
            assert set(taken[length:]) <= {0x1A}
            assert self.program == "rx" or len(taken) == length

    async def take(self, link: ByteStream) -> None:
        """Receive, and find to the byte what was sent."""
        kept = Kept()
        machine: Machine = BatchReceiver()
        if self.program == "sx":
            machine = Receiver(self.sizes[0])
            await kept.begin(FileHead(self.files()[0].name))
        async for _ in drive(link, machine, inbox=kept):
            pass
        if self.program == "sx":
            await kept.end()
        assert machine.ending is Ending.WHOLE
        assert kept.whole == {file.name: file.data for file in self.files()}


EOT = b"\x04"
CLOSING = x.block(0, END_OF_BATCH, crc=True)


class Deaf:
    """A line that carries nothing back once the last word has left."""

    def __init__(self, link: ByteStream, last: bytes) -> None:
        self._link, self._last, self._over = link, last, False

    async def send(self, item: bytes) -> None:
        self._over = self._over or item == self._last
        await self._link.send(item)

    async def receive(self, max_bytes: int = 65536) -> bytes:
        if self._over:
            await anyio.sleep_forever()
        return await self._link.receive(max_bytes)

    async def aclose(self) -> None:
        await self._link.aclose()


TRANSFERS = [
    *[Transfer("rx", ("-c",), (size,), block) for size in (1, 128, 1024, 100_055) for block in (128, 1024)],
    Transfer("rx", (), (5000,)),
    Transfer("rx", (), (100_055,)),
    Transfer("rx", ("-c",), (3000,), deaf=True),
    Transfer("rx", ("-c",), (3000,), 128, deaf=True),
    Transfer("sx", ("-k",), (70_001,)),
    Transfer("sx", (), (70_001,)),
    Transfer("rb", ("-b",), (5000, 128), 128),
    Transfer("rb", ("-b",), (0, 100_055)),
    Transfer("rb", ("-b",), (3000,), deaf=True),
    Transfer("sb", ("-k",), (5000, 0, 128, 100_055)),
    Transfer("sb", (), (5000, 0, 128)),
]
PACED = [replace(t, sizes=tuple(min(size, 6000) for size in t.sizes)) for t in TRANSFERS if sum(t.sizes) > 2000]


@contextmanager
def plain_lines(count: int) -> Iterator[list[Line]]:
    """Make pseudo-terminals."""
    with ExitStack() as all_of_them:
        ends = [all_of_them.enter_context(raw_pty()) for _ in range(count)]
        yield [(path, far) for far, path in ends]


async def all_at_once(transfers: list[Transfer], lines: list[Line], folder: Path) -> None:
    """Run them all."""
    with anyio.fail_after(LIMIT_S):
        async with anyio.create_task_group() as group:
            for n, (transfer, line) in enumerate(zip(transfers, lines, strict=True)):
                group.start_soon(transfer.run, line, folder / str(n))


@pytest.mark.asyncio
async def test_all_at_once(tmp_path: Path) -> None:
    """Content arrives, both ways, by every protocol, in both sizes of block, fast and at the pace of a line."""
    with plain_lines(len(TRANSFERS)) as plain, paced_lines(len(PACED)) as paced:
        await all_at_once([*TRANSFERS, *PACED], [*plain, *paced], tmp_path)


@pytest.mark.asyncio
@pytest.mark.parametrize("program", ["rx", "rb"])
async def test_they_are_told_to_stop(program: str, tmp_path: Path) -> None:
    """CAN CAN from us ends them; what comes just after their C they may throw away with everything else, unread."""
    with peer(program, *(["-c", "taken"] if program == "rx" else []), folder=tmp_path) as (path, running):
        with anyio.fail_after(LIMIT_S):
            link = await open_link(path)
            assert await link.receive() == b"C"
            while running.poll() is None:
                await link.send(b"\x18" * 5)
                await anyio.sleep(0.1)
            assert running.returncode != 0
            await link.aclose()


@pytest.mark.asyncio
@pytest.mark.parametrize("program", ["sx", "sb"])
async def test_they_tell_us_to_stop(program: str, tmp_path: Path) -> None:
    """A sender that is ended by its user cancels, and we hear it, or silence where its last words are lost with it."""
    (tmp_path / "given").write_bytes(bytes(3_000_000))
    soon = ReceiverLimits(block_us=500_000, inside_us=200_000, tries=2)
    machine: Machine = Receiver(3_000_000, soon) if program == "sx" else BatchReceiver(soon)
    with peer(program, "-k", "given", folder=tmp_path) as (path, running), anyio.fail_after(LIMIT_S):
        link = await open_link(path)
        told = False
        async for done in drive(link, machine):
            if done > 100_000 and not told:
                running.terminate()
                told = True
        await link.aclose()
    assert machine.ending in (Ending.CANCELLED, Ending.CUT)
