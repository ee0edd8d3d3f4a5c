"""The upload of an image: multipart/form-data (RFC 7578) from memory, counted as it leaves."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable

import anyio

from benchday.devices.drivers.web_session import Reply

_PIECE = 1 << 14


class Upload:
    """One image on its way."""

    def __init__(self, image: bytes) -> None:
        boundary = secrets.token_hex(16)
        self._image = image
        self._head = (
            f'--{boundary}\r\nContent-Disposition: form-data; name="image"; filename="image.fen"\r\n'
            "Content-Type: application/octet-stream\r\n\r\n"
        ).encode()
        self._tail = f"\r\n--{boundary}--\r\n".encode()
        self._moved = anyio.Event()
        self.sent_bytes = 0
        self.begun = False
        """Something has left."""
        self.whole = False
        """Everything has left."""
        self.headers = {
            "Content-Type": f"multipart/form-data; boundary={boundary}",
            "Content-Length": str(len(self._head) + len(image) + len(self._tail)),
        }

    async def body(self) -> AsyncIterator[bytes]:
        """Yield the body; a piece counts as sent when the next one is asked for."""
        self.begun = True
        yield self._head
        rest = memoryview(self._image)
        while rest:
            yield bytes(rest[:_PIECE])
            self.sent_bytes += len(rest[:_PIECE])
            rest = rest[_PIECE:]
            self._stir()
        yield self._tail
        self.whole = True
        self._stir()

    async def carried_by(self, post: Callable[[], Awaitable[Reply]]) -> AsyncGenerator[int | Reply]:
        """Run ``post`` beside, yielding how many bytes have left, and last the unit's answer.

        The request runs in a task of its own, not in a task group: a group must not stay open across a yield.
        """
        task = asyncio.ensure_future(self._until_done(post))
        told = 0
        try:
            while not task.done():
                await self._moved.wait()
                self._moved = anyio.Event()
                if self.sent_bytes > told:
                    told = self.sent_bytes
                    yield told
            yield await task
        finally:
            task.cancel()
            with anyio.CancelScope(shield=True), contextlib.suppress(asyncio.CancelledError, Exception):
                await task

    async def _until_done(self, post: Callable[[], Awaitable[Reply]]) -> Reply:
        try:
            return await post()
        finally:
            asyncio.get_running_loop().call_soon(self._stir)

    def _stir(self) -> None:
        self._moved.set()
