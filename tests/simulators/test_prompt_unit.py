"""A simulated Gantry, driven by a stranger that was written from the page of dialogues alone."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import serial

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL, Process, framed, unit

IMAGE = build_image("Gantry", "3.9", ("F", "G"), 5000, 1)
NONCE, KEY = "0f" * 16, "ab" * 32


class Prompt:
    """Requests and lines over a serial port."""

    def __init__(self, port: Path) -> None:
        self.port = serial.Serial(str(port), 19200, timeout=10)

    def wake(self) -> None:
        """Say nothing until it is ready."""
        self.port.timeout = 1.0
        for _ in range(20):
            self.port.write(b"\r")
            if b"READY" in self.port.read_until(b">"):
                break
        else:
            raise AssertionError("it does not wake")
        while self.port.read_until(b">"):  # what was said to it while it woke
            pass
        self.port.timeout = 10.0

    def say(self, request: str) -> None:
        """Send a request and hear its echo."""
        self.port.write(request.encode() + b"\r")
        assert self.port.read_until(b"\r\n") == request.encode() + b"\r\n"

    def ask(self, request: str) -> list[str]:
        """Ask, and give the lines before the prompt."""
        self.say(request)
        return self.port.read_until(b">").decode().removesuffix(">").splitlines()

    def line(self) -> str:
        """Give the next line."""
        return self.port.read_until(b"\r\n").decode().strip()

    def block(self) -> bytes:
        """Take a block of either size and acknowledge it."""
        kind = self.port.read(1)
        rest = self.port.read(2 + {b"\x01": 128, b"\x02": 1024}[kind] + 2)
        assert kind + rest == framed(rest[0], rest[2:-2])
        self.port.write(b"\x06")
        return rest[2:-2]

    def fetch(self, name: str) -> tuple[str, bytes]:
        """Receive a recording by YMODEM; give its name and bytes."""
        self.say(f"SEND {name}")
        assert self.line().startswith("SENDING ")
        self.port.write(b"C")
        told, length = self.block().rstrip(b"\0").split(b"\0")
        self.port.write(b"C")
        got = b""
        while len(got) < int(length):
            got += self.block()
        assert self.port.read(1) == b"\x04"
        self.port.write(b"\x06C")
        assert self.block() == bytes(128)
        return told.decode(), got[: int(length)]

    def send(self, image: bytes) -> None:
        """Send an image by YMODEM, in small blocks."""
        self.say(f"LOAD {len(image)}")
        assert self.line() == "LOAD READY"
        assert self.port.read_until(b"C").endswith(b"C")
        self.port.write(framed(0, f"x.bin\0{len(image)} 0".encode().ljust(128, b"\0")))
        assert self.port.read_until(b"C")[-2:] == b"\x06C"
        for number, begin in enumerate(range(0, len(image), 128), 1):
            self.port.write(framed(number, image[begin : begin + 128].ljust(128, b"\x1a")))
            assert self.port.read(1) == b"\x06"
        self.port.write(b"\x04")
        assert self.port.read_until(b"C")[-2:] == b"\x06C"
        self.port.write(framed(0, bytes(128)))
        assert self.port.read(1) == b"\x06"


@contextmanager
def served(folder: Path, *more: str) -> Iterator[tuple[Process, Prompt]]:
    """Run a Gantry and wake it."""
    prepare(folder / SERIAL, "Gantry", SERIAL, 3, release="3.4", hardware="F", recordings=[3000, 0])
    with unit("Gantry", folder / SERIAL, *more) as process:
        prompt = Prompt(process.link)
        prompt.wake()
        yield process, prompt
        prompt.port.close()


def test_it_answers_as_the_page_says(tmp_path: Path) -> None:
    (tmp_path / "key").write_text(KEY)
    with served(tmp_path, "--key", str(tmp_path / "key")) as (process, prompt):
        assert prompt.ask("WHO") == [f"UNIT {SERIAL} Gantry REV F OPERATING"]
        assert prompt.ask("REL") == ["REL 3.4"]
        assert prompt.ask("OPT") == ["OPT reflectorless+servo"]
        assert prompt.ask("BATT")[0].endswith(" WH 21.95 C EXT OFF")
        assert prompt.ask("MEM")[-1] == "END 2"
        assert "edm_mode=prism" in prompt.ask("PARAMS")
        assert prompt.ask("SET edm_mode=none") == ["OK"]
        assert "edm_mode=none" in prompt.ask("PARAMS")
        assert prompt.ask("NONSENSE")[0].startswith("?1 ")
        assert prompt.ask("SUM none")[0].startswith("?3 ")
        mac = hmac.new(bytes.fromhex(KEY), f"{NONCE}:{SERIAL}".encode(), hashlib.sha256).hexdigest()
        assert prompt.ask(f"PROOF {NONCE}") == [f"PROOF {mac}"]
        assert process.wait_for("settings")["to"] == "none"


def test_a_recording_comes_by_ymodem(tmp_path: Path) -> None:
    with served(tmp_path) as (process, prompt):
        first = process.state()["recordings"][0]
        name, got = prompt.fetch(first["name"])
        assert (name, hashlib.sha256(got).hexdigest()) == (first["name"], first["sha256"])
        assert prompt.port.read_until(b">") == b">"
        assert prompt.ask("REL") == ["REL 3.4"]


def test_an_image_goes_in_by_ymodem_and_runs_after_the_restart(tmp_path: Path) -> None:
    with served(tmp_path) as (process, prompt):
        prompt.send(IMAGE)
        assert prompt.line() == "IMAGE WHOLE"
        assert prompt.line() == "BURN 5"
        assert prompt.port.read_until(b">").endswith(b"BURN 100\r\nBURN DONE\r\n>")
        assert prompt.ask("WHO")[0].endswith(" LOADER")
        assert prompt.ask("MEM")[0].startswith("?2 ")
        prompt.say("REBOOT")
        assert prompt.line() == "OK"
        assert prompt.line() == f"GANTRY {SERIAL} UP"
        prompt.wake()
        assert prompt.ask("REL") == ["REL 3.9"]
        ended = process.wait_for("image_end")
        assert (ended["outcome"], ended["sha256"]) == ("whole", hashlib.sha256(IMAGE).hexdigest())
        assert len(process.wait_for("erased")["recordings"]) == 2
