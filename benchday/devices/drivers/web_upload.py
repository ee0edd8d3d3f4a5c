"""The upload of an image: multipart/form-data (RFC 7578) or the bytes alone, from memory, counted as it leaves."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import secrets
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass

import anyio

from benchday.devices.drivers.web_session import Reply

_PIECE = 1 << 14


_BYTES = "application/octet-stream"


@dataclass(frozen=True, slots=True)
class Form:
    """The form that an image travels in."""

    field: str = "image"
    file_name: str = "image.fen"
    fields: Mapping[str, str] = dataclasses.field(default_factory=dict)
    """What stands before the image."""

    def around(self) -> tuple[bytes, bytes, str]:
        """Return what stands before and behind the image, and the content type."""
        boundary = secrets.token_hex(16)
        head = "".join(
            f'--{boundary}\r\nContent-Disposition: form-data; name="{_quoted(name)}"\r\n\r\n{value}\r\n'
            for name, value in self.fields.items()
        )
        head += (
            f'--{boundary}\r\nContent-Disposition: form-data; name="{_quoted(self.field)}"; '
            f'filename="{_quoted(self.file_name)}"\r\nContent-Type: {_BYTES}\r\n\r\n'
        )
        return head.encode(), f"\r\n--{boundary}--\r\n".encode(), f"multipart/form-data; boundary={boundary}"


def _quoted(name: str) -> str:
    """Return a name as it stands between quotes (RFC 7578 2, as browsers do it)."""
    return name.replace('"', "%22").replace("\r", "%0D").replace("\n", "%0A")


class Upload:
    """One image on its way."""

    def __init__(self, image: bytes, form: Form | None = None, *, raw: bool = False) -> None:
        """Prepare the body.

        Args:
            image: what is sent.
            form: how the form around it looks.
            raw: the bytes alone, without a form.
        """
        self._image = image
        self._head, self._tail, kind = (b"", b"", _BYTES) if raw else (form or Form()).around()
        self._moved = anyio.Event()
        self.sent_bytes = 0
        self.begun = False
        """Something has left."""
        self.whole = False
        """Everything has left."""
        self.headers = {
            "Content-Type": kind,
            "Content-Length": str(len(self._head) + len(image) + len(self._tail)),
        }

    async def body(self) -> AsyncIterator[bytes]:
        """Yield the body; a piece counts as sent when the next one is asked for."""
        self.begun = True
        if self._head:
            yield self._head
        rest = memoryview(self._image)
        while rest:
            yield bytes(rest[:_PIECE])
            self.sent_bytes += len(rest[:_PIECE])
            rest = rest[_PIECE:]
            self._stir()
        if self._tail:
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
