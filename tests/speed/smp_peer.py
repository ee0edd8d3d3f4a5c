"""The far end of one line as a process: takes an image by SMP at an emulated 115200 baud. Used by ``smp``."""

from __future__ import annotations

import hashlib
import json
import os
import select
import sys
import time
import tty
from typing import Any

import cbor2
from smp.header import OP, Flag, Header, Version
from smp.packet import decode, encode

BYTES_A_SECOND = 11_520
OLD = {"slot": 0, "version": "1.0.0", "hash": bytes(32), "active": True, "confirmed": True}


class Unit:
    """What it has taken."""

    def __init__(self) -> None:
        self.data = bytearray()
        self._marked = False

    def answer(self, message: bytes) -> bytes:
        """Answer a message."""
        asked = Header.loads(message[: Header.SIZE])
        request = cbor2.loads(message[Header.SIZE :])
        data = cbor2.dumps(self._told(asked, request))
        header = Header(
            OP(asked.op + 1), Version.V2, Flag(0), len(data), asked.group_id, asked.sequence, asked.command_id
        )
        return b"".join(encode(bytes(header) + data))

    def _told(self, asked: Header, request: dict[str, Any]) -> dict[str, Any]:
        if asked.command_id == 1:
            if request["off"] == len(self.data):
                self.data += request["data"]
            return {"off": len(self.data), "match": True}
        self._marked = self._marked or asked.op is OP.WRITE
        other = {"slot": 1, "version": "2.0.0", "hash": b"\x01" * 32, "pending": self._marked}
        return {"images": [OLD, other] if self.data else [OLD]}


def serve() -> None:
    """Make a line, print its name, and answer until standard input ends."""
    far, near = os.openpty()
    tty.setraw(near)
    print(json.dumps(os.ttyname(near)), flush=True)
    unit, frame, waiting, free_at = Unit(), decode(), b"", 0.0
    next(frame)
    while True:
        ready, _, _ = select.select([far, sys.stdin], [], [])
        if sys.stdin in ready:
            print(json.dumps({"sha256": hashlib.sha256(unit.data).hexdigest()}), flush=True)
            return
        came = os.read(far, 65536)
        free_at = max(free_at, time.monotonic()) + len(came) / BYTES_A_SECOND
        *lines, waiting = (waiting + came).split(b"\n")
        for line in lines:
            try:
                frame.send(line + b"\n")
            except StopIteration as whole:
                frame = decode()
                next(frame)
                told = unit.answer(whole.value)
                free_at += len(told) / BYTES_A_SECOND
                time.sleep(max(free_at - time.monotonic(), 0))
                os.write(far, told)


if __name__ == "__main__":
    serve()
