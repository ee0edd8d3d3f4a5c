"""lrzsz, which other people wrote, sends an image to a simulated unit and receives a recording from it."""

import hashlib
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from benchday_simulators.images import build_image
from benchday_simulators.prepare import prepare
from tests.simulators.stranger import SERIAL, Console, unit

pytestmark = pytest.mark.peer
IMAGE = build_image("Millrace", "2.10", ("B",), 60_001, 1)


def program(name: str) -> str:
    """Find one of lrzsz's programs."""
    found = shutil.which(name)
    assert found, f"{name} is missing: install lrzsz (Debian: apt-get install lrzsz)"
    return found


def run_on(port: Path, *command: str) -> subprocess.CompletedProcess[bytes]:
    """Run a program with the port as its standard input and output."""
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY)
    try:
        return subprocess.run(command, stdin=fd, stdout=fd, stderr=subprocess.PIPE, timeout=50, check=False)
    finally:
        os.close(fd)


@pytest.mark.parametrize("option", [["-k"], []], ids=["blocks of 1024", "blocks of 128"])
def test_sx_feeds_an_image(tmp_path: Path, option: list[str]) -> None:
    file = tmp_path / "image.fen"
    file.write_bytes(IMAGE)
    prepare(tmp_path / "u", "Millrace", SERIAL, 3, release="2.6", hardware="B", charge_percent=80)
    with unit("Millrace", tmp_path / "u", speed=200) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        assert console.ask(f"TAKE,{len(IMAGE)}") == "OK,TAKE"
        sent = run_on(process.link, program("sx"), *option, str(file))
        assert sent.returncode == 0, sent.stderr
        end = process.wait_for("image_end", outcome="whole")
        assert end["sha256"] == hashlib.sha256(IMAGE).hexdigest()


def test_rx_fetches_a_recording(tmp_path: Path) -> None:
    prepare(tmp_path / "u", "Millrace", SERIAL, 3, charge_percent=80, recordings=[30_000])
    # At the line's rate: above it, rx throws the beginnings of blocks away with its own acknowledgements.
    with unit("Millrace", tmp_path / "u", speed=1) as process, Console(process.link) as console:
        assert console.ask("STREAM,0") == "OK,STREAM"
        [[name, size]] = console.ask_all("ASK,RECORDINGS")
        assert console.ask(f"SEND,{name}") == f"OK,SEND,{size}"
        got = tmp_path / "got"
        received = run_on(process.link, program("rx"), "-c", str(got))
        assert received.returncode == 0, received.stderr
        digest = hashlib.sha256(got.read_bytes()[: int(size)]).hexdigest()
        assert digest == process.state()["recordings"][0]["sha256"]
