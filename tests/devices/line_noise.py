"""A machine on a line that says anything at any time, and what must hold all the same."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import END_OF_BATCH
from benchday.devices.xmodem import Machine, Turn

MOST_TURNS = 400
"""In silence: ten tries of ten seconds, each a few turns, for a head, a content and the end of a batch."""
MOST_SILENCE_US = 400_000_000
MOST_KEPT = 200_000
"""Bytes that a machine may hold beside what it was given to send: two pieces of what was heard, and blocks."""


def listen(machine: Machine, heard: Iterable[tuple[int, bytes]]) -> bytes:
    """Let a machine hear pieces, each so many microseconds after the one before, then silence until it ends.

    Returns what it handed over.
    """
    now, content = 0, bytearray()

    def turn(data: bytes) -> Turn:
        turn = machine.turn(data, now)
        content.extend(b"".join(turn.content))
        assert len(turn.send) <= 2 * x.LARGE
        return turn

    for wait_us, data in heard:
        now += wait_us
        turn(data)
        assert kept(machine) <= MOST_KEPT
    begun, turns = now, 0
    while machine.ending is None:
        now = max(now, turn(b"").wake_us)
        turns += 1
        assert turns <= MOST_TURNS, "it does not end"
        assert now - begun <= MOST_SILENCE_US, "it waits too long"
    return bytes(content)


def kept(thing: object) -> int:
    """Return how many bytes a machine and its parts hold in what they have heard."""
    total = 0
    for name in ("rest", "_buffer", "_beyond", "_text"):
        total += len(getattr(thing, name, b""))
    part = getattr(thing, "_part", None)
    return total + (kept(part) if hasattr(part, "turn") else 0)


def message(random: Random) -> bytes:
    """Draw something of what either side may say, whole, broken or mere noise."""
    content = random.choice([bytes(128), b"a\x0012".ljust(128, b"\0"), END_OF_BATCH, bytes([x.PAD]) * 1024])
    whole = x.block(random.choice([0, 1, 1, 2, 3, 255]), content, crc=random.random() < 0.95)
    kinds = [
        whole,
        whole,
        bytes([random.choice([x.ACK, x.NAK, x.EOT, x.CAN, x.CRC_PLEASE])]) * random.choice([1, 1, 1, 2, 20]),
        bytes([x.ACK, x.CRC_PLEASE]),
        whole[: random.randrange(len(whole))],
        random.randbytes(random.randrange(40)),
        b"$PQFN,NO,IMAGE,cut,the receiver left*00\r\n",
    ]
    return random.choice(kinds)
