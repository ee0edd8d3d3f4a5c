"""Every transfer machine on lines that say, lose and repeat anything: it ends, stays small, claims no more than is so."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.devices.xmodem import Ending, Machine, Sender, Turn
from benchday.devices.xmodem_receiver import Receiver
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from tests.devices.line_noise import listen, message

MACHINES: dict[str, Callable[[], Machine]] = {
    "xmodem sender": lambda: Sender(bytes(3000)),
    "xmodem sender of small blocks": lambda: Sender(bytes(300), block=128),
    "xmodem receiver": lambda: Receiver(1500),
    "xmodem receiver of untold length": lambda: Receiver(None),
    "ymodem sender": lambda: BatchSender([Outgoing("a", bytes(1500)), Outgoing("b", b"")]),
    "ymodem receiver": BatchReceiver,
}

WAITS = st.sampled_from([0, 1, 1000, 60_000, 400_000, 1_100_000, 4_100_000, 11_000_000])
SAID = st.one_of(st.binary(max_size=60), st.builds(lambda seed: message(Random(seed)), st.integers(0, 1 << 32)))


@pytest.mark.parametrize("name", MACHINES)
@given(heard=st.lists(st.tuples(WAITS, SAID), max_size=40))
def test_it_ends_and_stays_small(name: str, heard: list[tuple[int, bytes]]) -> None:
    """Whatever comes in whatever pieces: no exception, an end within a few minutes of silence, little kept."""
    machine = MACHINES[name]()
    content = listen(machine, heard)
    assert machine.ending is not None
    if isinstance(machine, Receiver) and machine.ending is Ending.WHOLE and name == "xmodem receiver":
        assert len(content) == 1500
    if isinstance(machine, BatchReceiver) and machine.ending is Ending.WHOLE:
        assert len(content) == machine.done_bytes


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("noise", [b"\x00", b"\x15", b"C", b"C ", b"\x01\x00", b"\x18", b"\x04", b"\x06", b"x\r\n"])
def test_endless_noise_ends_it(name: str, noise: bytes) -> None:
    """The same thing said without end, ten times a second, holds nobody for more than a few minutes."""
    machine, now = MACHINES[name](), 0
    while machine.ending is None:
        machine.turn(noise, now)
        now += 100_000
        assert now < 400_000_000


Spoiler = tuple[int, str]
"""Number of a message, and what happens to it."""
SPOILT = st.dictionaries(st.integers(0, 30), st.sampled_from(["lost", "garbled", "twice", "late", "cut"]), max_size=5)


@pytest.mark.parametrize("block", [128, 1024])
@given(files=st.lists(st.binary(max_size=1300), max_size=3), spoilt=SPOILT)
def test_both_ymodem_machines_together(block: int, files: list[bytes], spoilt: dict[int, str]) -> None:
    """What is whole at either end is what was sent, whatever messages are lost, garbled, doubled, late or cut."""
    sender = BatchSender([Outgoing(f"f{n}", data) for n, data in enumerate(files)], block=block)
    receiver = BatchReceiver()
    got = play(sender, receiver, spoilt)
    assert got == files[: len(got)]
    assert len(receiver.files) == len(got)
    assert sender.files_done <= len(got)
    if sender.ending is Ending.WHOLE or receiver.ending is Ending.WHOLE:
        assert got == files
    if not spoilt:
        assert sender.ending is receiver.ending is Ending.WHOLE


@given(data=st.binary(max_size=1300), spoilt=SPOILT)
def test_both_xmodem_machines_together(data: bytes, spoilt: dict[int, str]) -> None:
    """The same for a file of told length in blocks of 128."""
    sender, receiver = Sender(data, block=128), Receiver(len(data))
    got = play(sender, receiver, spoilt)
    if sender.ending is Ending.WHOLE or receiver.ending is Ending.WHOLE:
        assert got == [data]


def play(sender: Machine, receiver: Machine, spoilt: dict[int, str]) -> list[bytes]:
    """Let two machines talk over a line that spoils some messages; returns the files that came whole."""
    now, number = 0, 0
    on_the_way: list[tuple[int, int, bool, bytes]] = []
    wakes = {True: 0, False: 0}
    whole: list[bytes] = []
    coming = bytearray()
    for _ in range(3000):
        if sender.ending and receiver.ending:
            break
        times = [t for t, _, _, _ in on_the_way] + [
            w for side, w in wakes.items() if not _of(side, sender, receiver).ending
        ]
        now = max(now, min(times))
        for to_receiver in (True, False):
            machine = _of(to_receiver, sender, receiver)
            arrived = [m for m in sorted(on_the_way) if m[0] <= now and m[2] is to_receiver]
            on_the_way = [m for m in on_the_way if m not in arrived]
            turn = machine.turn(b"".join(m[3] for m in arrived), now)
            wakes[to_receiver] = turn.wake_us
            if to_receiver:
                _keep(turn, coming, whole)
            if turn.send:
                for at, data in _spoil(turn.send, now, spoilt.get(number, "")):
                    on_the_way.append((at, number, not to_receiver, data))
                number += 1
    assert sender.ending is not None
    if receiver.ending is Ending.WHOLE and isinstance(receiver, Receiver):
        whole.append(bytes(coming))
    return whole


def _of(to_receiver: bool, sender: Machine, receiver: Machine) -> Machine:
    return receiver if to_receiver else sender


def _keep(turn: Turn, coming: bytearray, whole: list[bytes]) -> None:
    if turn.opens is not None:
        coming.clear()
    coming += b"".join(turn.content)
    if turn.closes:
        whole.append(bytes(coming))


def _spoil(data: bytes, now: int, how: str) -> list[tuple[int, bytes]]:
    at = now + 10_000 + 87 * len(data)
    if how == "lost":
        return []
    if how == "garbled":
        middle = len(data) // 2
        return [(at, data[:middle] + bytes((data[middle] ^ 0x40,)) + data[middle + 1 :])]
    if how == "cut":
        return [(at, data[: len(data) // 2])] if len(data) > 1 else []
    return [(at + (4_200_000 if how == "late" else 0), data)] * (2 if how == "twice" else 1)
