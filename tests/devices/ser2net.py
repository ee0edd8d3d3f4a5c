"""ser2net, a serial server that other people wrote, in front of a port."""

from __future__ import annotations

import contextlib
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

LIMIT_S = 20.0
ACCEPTERS = {"rfc2217": "telnet(rfc2217),tcp", "socket": "tcp"}


@dataclass
class Server:
    """A running one."""

    popen: subprocess.Popen[bytes]
    where: str
    """As bench.yaml writes it."""

    def kill(self) -> None:
        """End it as a cut power line does, as far as a process can."""
        self.popen.kill()
        self.popen.wait()

    def freeze(self) -> None:
        """Stop it without its connections being closed: the system goes on acknowledging bytes for it."""
        self.popen.send_signal(signal.SIGSTOP)


def program() -> str:
    """Find the program."""
    found = shutil.which("ser2net") or shutil.which("ser2net", path="/usr/sbin:/usr/local/sbin")
    if found is None:
        pytest.fail("ser2net is missing: install ser2net (Debian: apt-get install ser2net)")
    return found


@contextmanager
def ser2net(port: str, folder: Path, scheme: str = "rfc2217", *, newest_wins: bool = True) -> Iterator[Server]:
    """Run it in front of a port until the block ends."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    file = folder / f"ser2net-{number}.yaml"
    file.write_text(
        f"connection: &one\n  accepter: {ACCEPTERS[scheme]},127.0.0.1,{number}\n"
        f"  connector: serialdev,{port},115200n81,local\n  options:\n    kickolduser: {str(newest_wins).lower()}\n"
    )
    command = [program(), "-n", "-u", "-c", str(file)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as popen:
        try:
            _until_it_listens(number, popen)
            yield Server(popen, f"{scheme}://127.0.0.1:{number}")
        finally:
            popen.kill()


def _until_it_listens(number: int, popen: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + LIMIT_S
    while not _listens(number):
        assert popen.poll() is None, "ser2net ended at once"
        assert time.monotonic() < until, "ser2net does not listen"
        time.sleep(0.02)


def _listens(number: int) -> bool:
    """Tell by the system's own list, since a connection of ours would occupy the port behind it (proc(5), net/tcp)."""
    wanted = f":{number:04X}"
    with contextlib.suppress(OSError):
        lines = Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]
        return any(line.split()[1].endswith(wanted) and line.split()[3] == "0A" for line in lines)
    return False
