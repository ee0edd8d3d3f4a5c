"""A stranger's way to a simulated unit, written from the page of dialogues alone."""

from __future__ import annotations

import json
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import serial

SERIAL = "007421530018"


@dataclass
class Process:
    """One running unit."""

    popen: subprocess.Popen[str]
    ready: dict[str, Any]
    folder: Path
    link: Path

    def state(self) -> dict[str, Any]:
        """Read `state.json`."""
        state: dict[str, Any] = json.loads((self.folder / "state.json").read_text())
        return state

    def log(self, what: str = "") -> list[dict[str, Any]]:
        """Read the lines of `log.jsonl` of one kind."""
        lines = [json.loads(line) for line in (self.folder / "log.jsonl").read_text().splitlines()]
        return [line for line in lines if what in ("", line["what"])]

    def hand(self, **deed: object) -> None:
        """Do something to the unit by hand."""
        with (self.folder / "hands.jsonl").open("a") as hands:
            hands.write(json.dumps(deed) + "\n")

    def wait_for(self, what: str, count: int = 1, **facts: object) -> dict[str, Any]:
        """Wait until the log has so many lines with these facts; gives the last."""

        def found() -> list[dict[str, Any]]:
            return [line for line in self.log(what) if facts.items() <= line.items()]

        until(lambda: len(found()) >= count, f"{count} lines {what} {facts} in {self.log()}")
        return found()[-1]

    def end(self) -> int:
        """End it politely."""
        self.popen.terminate()
        return self.popen.wait(10)


def until(true: Any, what: str, within_s: float = 10.0) -> None:
    """Wait until something is so: the unit is another process, its clock cannot be handed in."""
    given_up = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < given_up, f"waited {within_s} s for {what}"
        time.sleep(0.01)


def arguments(model: str, folder: Path, *more: str, serial_number: str = SERIAL, speed: float = 3000) -> list[str]:
    """Give the command that serves a unit."""
    return [
        *(sys.executable, "-m", "benchday_simulators", "serve", model, "--serial", serial_number),
        *(
            "--state",
            str(folder),
            "--speed",
            str(speed),
            "--seed",
            "3",
            "--link",
            str(folder.parent / f"{folder.name}.port"),
        ),
        *more,
    ]


@contextmanager
def unit(
    model: str, folder: Path, *more: str, serial_number: str = SERIAL, speed: float = 3000, trouble: Any = None
) -> Iterator[Process]:
    """Run a unit for the length of a block."""
    if trouble is not None:
        file = folder.parent / f"{folder.name}.trouble.yaml"
        file.write_text(json.dumps([{"unit": serial_number, **entry} for entry in trouble]))
        more = (*more, "--trouble", str(file))
    command = arguments(model, folder, *more, serial_number=serial_number, speed=speed)
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as popen:
        try:
            assert popen.stdout is not None
            line = popen.stdout.readline()
            assert line, "the unit ended instead of saying that it is ready"
            yield Process(popen, json.loads(line), folder, folder.parent / f"{folder.name}.port")
        finally:
            popen.kill()


def crc16(data: bytes) -> int:
    """Give CRC-16/XMODEM, bit by bit on purpose (check: 31C3 for 123456789)."""
    crc = 0
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
    return crc & 0xFFFF


def framed(number: int, data: bytes) -> bytes:
    """Frame an XMODEM block of 128 or 1024 bytes (Forsberg 1988)."""
    kind = b"\x01" if len(data) == 128 else b"\x02"
    return kind + bytes((number & 0xFF, ~number & 0xFF)) + data + crc16(data).to_bytes(2, "big")


class Console:
    """Sentences over a serial port."""

    def __init__(self, port: str | Path, timeout: float = 5.0) -> None:
        self.port = serial.Serial(str(port), 115200, timeout=timeout)
        # pyserial leaves VMIN at 0: a read that finds nothing then looks like a port that has vanished.
        attributes = termios.tcgetattr(self.port)
        attributes[6][termios.VMIN] = 1
        termios.tcsetattr(self.port, termios.TCSANOW, attributes)

    def __enter__(self) -> Console:
        return self

    def __exit__(self, *_: object) -> None:
        self.port.close()

    def say(self, body: str) -> None:
        """Send one sentence."""
        total = 0
        for character in body:
            total ^= ord(character)
        self.port.write(f"${body}*{total:02X}\r\n".encode())

    def hear(self) -> str:
        """Give the unit's next own sentence without prefix and checksum, empty when none comes."""
        while line := self.port.readline():
            text = line.decode("ascii", "replace").strip()
            at = text.find("$PQFN,")
            if at >= 0:
                assert len(text) - at + 2 <= 82
                return text[at + 6 : -3]
        return ""

    def ask(self, request: str) -> str:
        """Ask and give the first sentence of the answer."""
        self.say(f"PQFN,{request}")
        return self.hear()

    def ask_all(self, request: str) -> list[list[str]]:
        """Ask and give the fields of a numbered answer."""
        first = self.ask(request).split(",")
        return [first[3:], *(self.hear().split(",")[3:] for _ in range(int(first[2]) - 1))] if first[2] != "0" else []

    def byte(self) -> bytes:
        """Give the next byte that is no C."""
        while (byte := self.port.read(1)) == b"C":
            pass
        return byte

    def until_asked(self) -> None:
        """Wait for the receiver's first C."""
        assert self.port.read_until(b"C").endswith(b"C")

    def send_blocks(self, data: bytes, size: int = 1024, most: int = 1_000_000) -> bytes:
        """Send blocks until one is not acknowledged; gives the last reply."""
        reply = b""
        for number, begin in enumerate(range(0, min(len(data), most * size), size), 1):
            self.port.write(framed(number, data[begin : begin + size].ljust(size, b"\x1a")))
            reply = self.byte()
            if reply != b"\x06":
                return reply
        return reply

    def take(self, image: bytes, size: int = 1024) -> str:
        """Send a whole image; gives the sentence that follows it."""
        assert self.ask("STREAM,0") == "OK,STREAM"
        assert self.ask(f"TAKE,{len(image)}") == "OK,TAKE"
        self.until_asked()
        if self.send_blocks(image, size) == b"\x06":
            self.port.write(b"\x04")
        return self.hear()

    def flash(self) -> list[str]:
        """Listen to a flash to its end."""
        heard = [self.hear()]
        while heard[-1].startswith("FLASH"):
            heard.append(self.hear())
        return heard

    def fetch(self, name: str) -> bytes:
        """Receive a recording as XMODEM brings it, padding included."""
        assert self.ask(f"SEND,{name}").startswith("OK,SEND,")
        self.port.write(b"C")
        got = b""
        while (kind := self.port.read(1)) == b"\x02":
            rest = self.port.read(2 + 1024 + 2)
            assert crc16(rest[2:]) == 0
            got += rest[2:-2]
            self.port.write(b"\x06")
        if kind == b"\x04":
            self.port.write(b"\x06")
        return got
