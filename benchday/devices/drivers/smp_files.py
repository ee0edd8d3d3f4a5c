"""Recordings over SMP's file group. Needs the extra ``smp``.

The group lists no folders: which files are recordings stands in a text file on the unit, one name a line, beside which
they lie. Source: Zephyr Project, "File management".
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import AsyncGenerator, Awaitable, Callable

from smp.file_management import (
    FileDownloadRequest,
    FileDownloadResponse,
    FileHashChecksumRequest,
    FileHashChecksumResponse,
    FileStatusRequest,
    FileStatusResponse,
)

from benchday.devices.drivers.smp_line import SmpLine
from benchday.domain.errors import Garbled, Refused, TransferCut
from benchday.domain.readings import Progress, Recording

MOST_INDEX_BYTES = 65_536
MOST_RECORDINGS = 1000
"""More names are not asked about one by one."""
_NAME = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,63}")


class SmpFiles:
    """The recordings of one unit."""

    def __init__(self, line: SmpLine, index: str) -> None:
        """Take the path of the file that lists them, like ``/rec/index.txt``."""
        self._line, self._index = line, index
        self._folder = index[: index.rfind("/") + 1]

    async def recordings(self) -> tuple[Recording, ...]:
        """List them, with size and, where the unit can tell it, digest.

        Raises:
            LinkError, Garbled, Refused
        """
        listed = bytearray()
        async for piece in self._read(self._index, await self._size(self._index, MOST_INDEX_BYTES)):
            listed += piece
        try:
            names = [line.strip() for line in listed.decode("ascii").splitlines() if line.strip()]
        except UnicodeDecodeError:
            raise Garbled(f"{self._index} on the unit is no list of names") from None
        if len(names) > MOST_RECORDINGS:
            raise Garbled(f"{self._index} on the unit lists {len(names)} files; at most {MOST_RECORDINGS} are believed")
        for name in names:
            if not _NAME.fullmatch(name):
                raise Garbled(f"{self._index} on the unit lists something that is no name of a file beside it")
        return tuple([await self._recording(name) for name in names])

    async def _recording(self, name: str) -> Recording:
        size = await self._size(self._folder + name, None)
        return Recording(name, size, await self._digest(name) if size else hashlib.sha256().hexdigest())

    async def _size(self, path: str, most: int | None) -> int:
        request = FileStatusRequest(name=path, sequence=self._line.number())
        size = (await self._line.ask(request, FileStatusResponse, f"the size of {path}")).len
        if size < 0 or (most is not None and size > most):
            raise Garbled(f"the unit says that {path} holds {size} bytes; at most {most} were expected")
        return size

    async def _digest(self, name: str) -> str | None:
        request = FileHashChecksumRequest(name=self._folder + name, type="sha256", sequence=self._line.number())
        limit_s = self._line.limits.erase_s  # it reads the whole file first
        try:
            said = await self._line.ask(request, FileHashChecksumResponse, f"the sum of {name}", limit_s=limit_s)
        except Refused:
            return None
        return said.output.hex() if isinstance(said.output, bytes) and len(said.output) == 32 else None

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncGenerator[Progress]:
        """Copy one, piece by piece, and compare it with the unit's own sum.

        Raises:
            TransferCut: it came only in part.
            Garbled: the copy differs from what is on the unit.
        """
        digest, done = hashlib.sha256(), 0
        try:
            async for piece in self._read(self._folder + recording.name, recording.bytes):
                digest.update(piece)
                await sink(piece)
                done += len(piece)
                yield Progress(done, recording.bytes, "fetching")
        except Refused as refusal:
            raise TransferCut(f"{recording.name} came only in part ({refusal.words}); fetch it again", done) from None
        said = await self._digest(recording.name) if recording.bytes else recording.sha256
        if any(known not in (None, digest.hexdigest()) for known in (said, recording.sha256)):
            raise Garbled(f"the copy of {recording.name} differs from what is on the unit; fetch it again")

    async def _read(self, path: str, size: int) -> AsyncGenerator[bytes]:
        """Yield a file's bytes in order, as many as its size says and no more."""
        at = 0
        while at < size:
            request = FileDownloadRequest(off=at, name=path, sequence=self._line.number())
            said = await self._line.ask(request, FileDownloadResponse, f"a piece of {path}")
            if said.off != at or not 0 < len(said.data) <= size - at:
                raise TransferCut(f"the unit sends another piece of {path} than was asked for; fetch it again", at)
            at += len(said.data)
            yield said.data
