"""A Teasel for tests, on TCP as behind a device server; written from the dialogue, sharing no code with the driver."""

from __future__ import annotations

import asyncio
import binascii
import hashlib
from dataclasses import dataclass, field


@dataclass
class TeaselUnit:
    """One unit, and what happened to it."""

    serial: str
    release: str = "1.0"
    mode: str = "run"
    kept: bytes = b""
    settings: dict[str, str] = field(default_factory=lambda: {"height_unit": "metre", "beeper": "on"})
    begun: int = 0
    taken: list[str] = field(default_factory=list)
    starts: int = 0

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer one host until it leaves."""
        try:
            while line := await reader.readline():
                body, _, crc = line.strip().rpartition(b" ")
                if crc.decode("latin-1") == f"{binascii.crc32(body):08x}":
                    number, *words = body.decode().split(" ")
                    await self._do(number, words, reader, writer)
        except (ConnectionError, TimeoutError, asyncio.IncompleteReadError, ValueError):
            pass
        finally:
            writer.close()

    def restored(self) -> None:
        """What a person does: switch it off and on; the old release stands until an image was taken."""
        self.mode = "run"
        self.starts += 1

    async def _do(
        self, number: str, words: list[str], reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        answer = "no such-request"
        match words:
            case ["who"]:
                answer = f"teasel {self.serial} A {self.mode} {self.release}"
            case ["get", name] if name in self.settings:
                answer = f"value {self.settings[name]}"
            case ["put", name, *rest] if name in self.settings:
                self.settings[name] = " ".join(rest)
                answer = "done"
            case ["image", count]:
                await self._say(writer, number, "go")
                answer = await self._take(int(count), reader)
            case ["restart"]:
                answer = "done"
                self.restored()
                if self.kept:
                    self.release, self.kept = self.kept[:8].decode("latin-1").strip(), b""
        await self._say(writer, number, answer)

    async def _take(self, count: int, reader: asyncio.StreamReader) -> str:
        if count > 1 << 20:
            return "no too-large"
        self.begun += 1
        self.mode = "boot"
        image = await asyncio.wait_for(reader.readexactly(count), 0.5)
        self.kept = image
        self.taken.append(hashlib.sha256(image).hexdigest())
        return f"taken {self.taken[-1]}"

    async def _say(self, writer: asyncio.StreamWriter, number: str, words: str) -> None:
        text = f"{number} {words}".encode()
        writer.write(text + f" {binascii.crc32(text):08x}\n".encode())
        await writer.drain()
