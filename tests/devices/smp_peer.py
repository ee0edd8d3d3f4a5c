"""The far end of SMP as a stranger: framing and headers by the message library, on a line in memory, with faults."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cbor2
from smp.header import OP, Flag, Header, Version
from smp.packet import decode, encode

from benchday.devices.links.memory import MemoryLink
from benchday.domain.errors import LinkGone
from tests.devices.slot_images import slot_image

OLD = b"\x01" * 32
Told = dict[str, Any] | None


@dataclass
class Peer:
    """One unit. Uploads are counted from 1; the faults name them."""

    link: MemoryLink
    buffer: int = 512
    lose: set[int] = field(default_factory=set)
    """Uploads whose answer is lost."""
    lose_end: bool = False
    """The answer to the last piece is lost, however often it comes."""
    double: bool = False
    """Each answer comes twice."""
    misnumber: set[int] = field(default_factory=set)
    """Uploads that are first answered with another number."""
    noise: bytes = b""
    """Stands before each answer."""
    vanish_at: int = 0
    silent_from: int = 10**9
    forget_at: int = 0
    """Before this upload it starts anew, and knows of none."""
    forgets_end: bool = False
    """It knows of no transfer any more once one has ended."""
    match: bool | None = True
    lists_all: bool = False
    """It lists an image even where the sum differs."""
    refuse: dict[tuple[int, int, int], dict[str, Any]] = field(default_factory=dict)
    """(operation, group, command) -> what is answered instead."""
    ignore_resets: int = 0
    takes: bool = True
    """It changes to what is marked, when it starts."""
    settings: dict[str, bytes] = field(default_factory=lambda: {"unit/serial": b"1"})
    files: dict[str, bytes] = field(default_factory=dict)
    uploads: int = 0
    resets: int = 0
    confirms: int = 0
    largest: int = 0
    data: bytes = b""
    whole: bytes = b""
    total: int = -1
    running: tuple[str, bytes, bool] = ("1.0.0", OLD, True)
    other: tuple[str, bytes] | None = None
    marked: bool = False

    async def serve(self) -> None:
        """Answer until the line is gone."""
        waiting, frame = b"", decode()
        next(frame)
        try:
            while True:
                waiting += await self.link.receive()
                *lines, waiting = waiting.split(b"\n")
                for line in lines:
                    try:
                        frame.send(line + b"\n")
                    except StopIteration as whole:
                        frame = decode()
                        next(frame)
                        await self._answer(whole.value)
        except LinkGone:
            return

    async def _answer(self, message: bytes) -> None:
        self.largest = max(self.largest, len(message))
        asked = Header.loads(message[: Header.SIZE])
        request = cbor2.loads(message[Header.SIZE :])
        upload = (asked.group_id, asked.command_id) == (1, 1)
        self.uploads += upload
        instead = self.refuse.get((asked.op, asked.group_id, asked.command_id))
        told = instead if instead is not None else self._told(asked, request)
        if self.uploads >= self.silent_from or told is None or (upload and self.uploads in self.lose):
            return
        if upload and self.lose_end and told.get("off") == self.total:
            return
        if upload and self.uploads == self.vanish_at:
            self.link.abort()
            return
        if upload and self.uploads in self.misnumber:
            await self._send(asked, {"off": 7}, (asked.sequence + 100) % 256)
        for _ in range(2 if self.double else 1):
            await self._send(asked, told, asked.sequence)

    async def _send(self, asked: Header, told: dict[str, Any], number: int) -> None:
        data, op = cbor2.dumps(told), OP(asked.op + 1)
        header = Header(op, Version.V2, Flag(0), len(data), asked.group_id, number, asked.command_id)
        await self.link.send(self.noise + b"".join(encode(bytes(header) + data)))

    def _told(self, asked: Header, request: dict[str, Any]) -> Told:
        if asked.group_id == 1:
            return self._upload(request) if asked.command_id == 1 else self._images(asked, request)
        if asked.group_id == 3:
            return self._setting(asked, request)
        if asked.group_id == 8:
            return self._file(asked, request)
        if asked.command_id == 6:
            return {"buf_size": self.buffer, "buf_count": 2, "rc": 0, "newer": [1]}
        return self._reset() if asked.command_id == 5 else {"output": "Stranger"}

    def _upload(self, request: dict[str, Any]) -> Told:
        if self.uploads == self.forget_at or (request["off"] == 0 and not self.data):
            self.data, self.other = b"", None
        if request["off"] == 0 and not self.data:
            self.total = request["len"]
        if request["off"] != len(self.data):
            return {"off": len(self.data)}
        self.data += request["data"]
        if len(self.data) < self.total:
            return {"off": len(self.data)}
        self.whole, length = self.data, len(self.data)
        self.data = b"" if self.forgets_end else self.data
        if self.match is not False or self.lists_all:
            self.other = ("9.9.0", self.whole[-32:] if self.whole[-36:-32] == b"\x10\x00\x20\x00" else b"\x09" * 32)
        return {"off": length} if self.match is None else {"off": length, "match": self.match}

    def _images(self, asked: Header, request: dict[str, Any]) -> Told:
        if asked.op is OP.WRITE and request["confirm"]:
            self.confirms += 1
            self.running = (*self.running[:2], True)
        elif asked.op is OP.WRITE:
            self.marked = True
        version, digest, confirmed = self.running
        images = [{"slot": 0, "version": version, "hash": digest, "active": True, "confirmed": confirmed, "new": 1}]
        if self.other is not None:
            images.append({"slot": 1, "version": self.other[0], "hash": self.other[1], "pending": self.marked})
            images[1]["confirmed"] = not confirmed
        return {"images": images}

    def _reset(self) -> Told:
        self.resets += 1
        if self.resets <= self.ignore_resets:
            return None
        if self.marked and self.other is not None and self.takes:
            self.running, self.other = (*self.other, False), self.running[:2]
        elif not self.running[2] and self.other is not None:
            self.running, self.other = (*self.other, True), self.running[:2]
        self.marked = False
        return {}

    def _setting(self, asked: Header, request: dict[str, Any]) -> Told:
        if asked.command_id != 0:
            return {}
        if asked.op is OP.WRITE:
            self.settings[request["name"]] = request["val"]
            return {}
        value = self.settings.get(request["name"])
        return {"val": value} if value is not None else {"err": {"group": 3, "rc": 3}}

    def _file(self, asked: Header, request: dict[str, Any]) -> Told:
        data = self.files.get(request["name"])
        if data is None:
            return {"err": {"group": 8, "rc": 3}}
        if asked.command_id == 1:
            return {"len": len(data)}
        if asked.command_id == 2:
            return {"rc": 8}
        return {"off": request["off"], "data": data[request["off"] : request["off"] + 100], "len": len(data)}


IMAGE, HASH = slot_image()
