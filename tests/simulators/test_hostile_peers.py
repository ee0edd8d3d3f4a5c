"""Whoever else speaks with a simulated unit's page, and how: it goes on answering the bench."""

from __future__ import annotations

import json
import socket
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import httpx

from tests.simulators.stranger import SERIAL, unit

NONSENSE = (
    b"A" * 5_000_000,
    b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 500_000,
    b"POST /sign-in HTTP/1.1\r\nContent-Length: 99999999999\r\n\r\n" + b"a" * 2_000_000,
    b"POST /sign-in HTTP/1.1\r\nContent-Length: -5\r\n\r\n",
    b"POST /sign-in HTTP/1.1\r\nContent-Length: x\r\n\r\n",
    b"PUT /settings/role HTTP/1.1\r\nContent-Length: 500000\r\n\r\n" + b"[" * 500_000,
    b"\0" * 1000 + b"\r\n\r\n",
    b"GET /../../etc/hostname HTTP/1.1\r\n\r\n",
)
IDLE = 200


def answers(url: str) -> int:
    """Return the status that the page answers a plain question with."""
    return httpx.get(f"{url}/status", timeout=300, trust_env=False).status_code


def test_a_page_that_is_talked_nonsense_to_goes_on_answering(tmp_path: Path) -> None:
    """Lines, heads and bodies without end, lengths that lie, paths that lead out, and many who say nothing."""
    with unit("Osier", tmp_path / SERIAL) as process:
        process.hand(do="external power", on=True)
        process.wait_for("hands")
        url = json.loads(process.link.read_text(encoding="utf-8"))["url"]
        host, port = urlsplit(url).hostname, urlsplit(url).port
        for data in NONSENSE:
            with socket.create_connection((host, port), timeout=300) as peer, suppress(OSError):
                peer.sendall(data)
                peer.shutdown(socket.SHUT_WR)
                told = b""
                while piece := peer.recv(65536):
                    told += piece
                assert b"HTTP/1.1 2" not in told
            assert answers(url) == 401, data[:60]
        idle = [socket.create_connection((host, port), timeout=300) for _ in range(IDLE)]
        assert answers(url) == 401
        for peer in idle:
            peer.close()
