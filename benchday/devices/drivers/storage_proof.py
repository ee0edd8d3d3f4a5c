"""How a simulated unit whose memory shows as a drive is asked for its proof: beside the drive, not on it.

Nothing is put on a drive without a permit's act. So the nonce goes over a loopback connection, to the port that the
demo's own place file names beside the drive; the simulator answers on its drive, and the answer is read there. A real
unit's drive is named by its folder or its label: there is no such file, nobody is asked, and there is no proof.
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping

import anyio

from benchday.devices.links.drive import Drive
from benchday.devices.links.place import PlaceRead
from benchday.domain.errors import Garbled, LinkGone
from benchday.domain.readings import Proof

ADDRESS = "127.0.0.1"
"""Nobody else is ever asked, whatever a place file says."""
_LARGEST_ANSWER = 1024

AskProof = Callable[[str], Awaitable[bool]]
"""Hands a nonce to the simulator; tells whether it has answered."""


def asking_at(read: Callable[[], PlaceRead], limit_s: float) -> AskProof:
    """Return what asks the simulator of a place.

    Args:
        read: reads the place, anew each time: a simulator that was started again listens elsewhere.
        limit_s: real seconds.
    """

    async def ask(nonce: str) -> bool:
        host, _, port = read().told.get("proof", "").rpartition(":")
        if host != ADDRESS or not port.isdigit():
            return False
        try:
            with anyio.fail_after(limit_s):
                async with await anyio.connect_tcp(ADDRESS, int(port)) as asked:
                    await asked.send(f"{nonce}\n".encode("ascii"))
                    return (await asked.receive(64)).strip() == b"answered"
        except (OSError, TimeoutError, anyio.EndOfStream, anyio.BrokenResourceError):
            return False

    return ask


def proof_on(drive: Drive, folder: str, nonce: str) -> Proof | None:
    """Read the answer to a nonce off the drive; None if there is none."""
    told = _read(drive, folder)
    mac = told.get("mac")
    return Proof(nonce, mac) if told.get("nonce") == nonce and isinstance(mac, str) else None


def _read(drive: Drive, folder: str) -> Mapping[str, object]:
    try:
        told = json.loads(drive.read_small(f"{folder}/answer.json", _LARGEST_ANSWER))
    except (Garbled, LinkGone, ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}
