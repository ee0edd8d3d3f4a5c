"""The XMODEM machines without I/O: time is a number, the line a list of bytes."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.devices import xmodem_blocks as x
from benchday.devices.xmodem import Ending, Limits, Machine, Sender, Turn
from benchday.devices.xmodem_receiver import Receiver

ACK, NAK, CAN, EOT, C = b"\x06", b"\x15", b"\x18", b"\x04", b"C"
MS, S = 1_000, 1_000_000


@dataclass
class Played:
    """A machine with a clock; keeps everything that it sent."""

    machine: Machine
    now_us: int = 0
    sent: list[bytes] = field(default_factory=list)
    content: bytearray = field(default_factory=bytearray)

    def hear(self, data: bytes = b"") -> Turn:
        """Let it hear something now."""
        turn = self.machine.turn(data, self.now_us)
        self.content += b"".join(turn.content)
        if turn.send:
            self.sent.append(turn.send)
        return turn

    def wake(self, turn: Turn) -> Turn:
        """Let time pass until it wants to be woken."""
        self.now_us = turn.wake_us
        return self.hear()

    def answer(self, data: bytes) -> Turn:
        """Let it hear an answer and see it through its pause."""
        return self.wake(self.hear(data))


def begun(data: bytes, limits: Limits | None = None) -> Played:
    """A sender whose first block has left."""
    played = Played(Sender(data, limits))
    played.hear()
    played.answer(C)
    assert len(played.sent) == 1
    return played


def nothing_taken(played: Played) -> bool:
    """What the sender says of it."""
    assert isinstance(played.machine, Sender)
    return played.machine.nothing_taken


def test_crc_is_the_published_one() -> None:
    """CRC-16/XMODEM of 123456789 is 31C3 (CRC catalogue, as in docs.rs crc-catalog)."""
    assert x.check_of(b"123456789", crc=True) == b"\x31\xc3"
    assert x.check_of(b"123456789", crc=False) == bytes((sum(b"123456789") & 0xFF,))


def test_block_is_the_published_one() -> None:
    """The file header block of Forsberg 1988, figure 6, checks to CA56."""
    content = (b"bbcsched.txt\x006347 3314742513 100644").ljust(128, b"\0")
    assert x.block(0, content, crc=True) == b"\x01\x00\xff" + content + b"\xca\x56"


def test_numbers_wrap_to_zero() -> None:
    """Block numbers wrap FF to 00 and carry their ones' complement (Forsberg 1988, figure 9)."""
    assert x.block(255, bytes(128), crc=True)[:3] == b"\x01\xff\x00"
    assert x.block(256, bytes(1024), crc=True)[:3] == b"\x02\x00\xff"
    assert x.block(257, bytes(1024), crc=True)[:3] == b"\x02\x01\xfe"


def test_short_last_block() -> None:
    """What is left is sent as 128 if it fits, padded with 1A hex."""
    blocks = x.cut_into_blocks(bytes(1024 + 5), large=True)
    assert [len(b) for b in blocks] == [1024, 128]
    assert blocks[1] == bytes(5) + b"\x1a" * 123
    assert [len(b) for b in x.cut_into_blocks(bytes(1024 + 129), large=True)] == [1024, 1024]


def test_sends_everything_and_ends() -> None:
    """C, block, ACK, block, ACK, EOT, ACK."""
    played = begun(bytes(1500))
    assert played.sent[0][:3] == b"\x02\x01\xfe"
    played.answer(ACK)
    assert played.machine.done_bytes == 1024
    played.answer(ACK)
    assert [s[:1] for s in played.sent] == [b"\x02", b"\x02", EOT]
    played.hear(ACK + b"$next")
    assert played.machine.ending is Ending.WHOLE
    assert played.machine.done_bytes == 1500
    assert played.machine.rest == b"$next"


def test_pauses_before_blocks() -> None:
    """50 ms after C, 1 ms before each block, for receivers that throw input away after answering."""
    played = Played(Sender(bytes(3000)))
    played.hear()
    after_c = played.hear(C)
    assert (after_c.send, after_c.wake_us) == (b"", 50 * MS)
    played.wake(after_c)
    after_ack = played.hear(ACK)
    assert (after_ack.send, after_ack.wake_us - played.now_us, after_ack.listen) == (b"", MS, False)


def test_nak_asks_for_sums_and_small_blocks() -> None:
    """A receiver that starts with NAK gets 128 bytes and the sum (Forsberg 1988, 8.2)."""
    played = Played(Sender(b"abc"))
    played.hear()
    played.answer(NAK)
    content = b"abc".ljust(128, b"\x1a")
    assert played.sent == [b"\x01\x01\xfe" + content + bytes((sum(content) & 0xFF,))]


def test_c_within_text_does_not_start() -> None:
    """Console text before the start is thrown away, even if it holds or ends in C."""
    played = Played(Sender(b"abc"))
    played.hear()
    played.hear(b"CALIBRATED C")
    played.now_us += 20 * MS
    turn = played.hear(b"ONSOLE\r\n")
    played.now_us += S
    assert played.hear().send == b""
    assert turn.wake_us > 50 * S
    played.answer(C)
    assert len(played.sent) == 1


def test_start_is_limited() -> None:
    """Without C the sender gives up after a minute and tells the receiver."""
    played = Played(Sender(b"abc"))
    played.wake(played.hear())
    assert (played.machine.ending, played.now_us) == (Ending.NEVER_BEGAN, 60 * S)
    assert played.sent == [CAN + CAN]


@pytest.mark.parametrize("before", [b"", NAK, C, NAK + C], ids=repr)
def test_cancelled_at_the_first_block_nothing_was_taken(before: bytes) -> None:
    """Nor if the receiver asked for it again: by that it says that it has not got it."""
    played = begun(bytes(3000))
    for byte in before:
        played.answer(bytes((byte,)))
    played.hear(CAN + CAN)
    assert played.machine.ending is Ending.CANCELLED
    assert nothing_taken(played)


@pytest.mark.parametrize(
    "heard", [ACK, b"\xff", b"\xff" + NAK, NAK + b"\xff", NAK + ACK, b"\b", b"a line of text, say"], ids=repr
)
def test_cancelled_after_something_else_it_may_have_been_taken(heard: bytes) -> None:
    """An acknowledgement may have been among it."""
    played = begun(bytes(3000))
    played.hear(heard + CAN + CAN)
    assert played.machine.ending in (Ending.CANCELLED, Ending.CUT)
    assert not nothing_taken(played)


def test_cancelled_after_silence_it_may_have_been_taken() -> None:
    """The acknowledgement may have been lost."""
    played = begun(bytes(3000))
    played.wake(played.hear())
    played.hear(CAN + CAN)
    assert played.machine.ending is Ending.CANCELLED
    assert not nothing_taken(played)


def test_given_up_it_may_have_been_taken() -> None:
    """As whoever gives up has heard no answer to what it sent."""
    played = begun(bytes(3000))
    while played.machine.ending is None:
        played.wake(played.hear())
    assert played.machine.ending is Ending.CUT
    assert not nothing_taken(played)


@pytest.mark.parametrize("heard", [CAN + CAN, b"\xff\xff" + CAN + CAN, C + CAN + CAN], ids=repr)
def test_cancelled_before_a_block_left_nothing_was_taken(heard: bytes) -> None:
    """Whatever else is heard."""
    played = Played(Sender(bytes(3000)))
    played.hear()
    played.hear(heard)
    assert played.machine.ending is Ending.CANCELLED
    assert nothing_taken(played)


def test_nak_repeats_the_block_ten_times() -> None:
    """Ten repeats, then CAN CAN."""
    played = begun(bytes(1024))
    for _ in range(10):
        played.answer(NAK)
    assert len(set(played.sent)) == 1
    assert len(played.sent) == 11
    played.hear(NAK)
    assert played.machine.ending is Ending.CUT
    assert played.sent[-1] == CAN + CAN


def test_silence_repeats_the_block_and_lets_a_second_answer_pass() -> None:
    """A late answer and the answer to the repeat acknowledge one block, not two."""
    played = begun(bytes(3000))
    played.now_us += 4 * S
    played.hear()
    assert played.sent[0] == played.sent[1]
    quiet = played.hear(ACK)
    assert (quiet.listen, quiet.wake_us - played.now_us) == (True, 300 * MS)
    played.now_us += 100 * MS
    played.hear(ACK)
    assert (played.machine.done_bytes, len(played.sent)) == (1024, 2)
    played.wake(quiet)
    assert played.sent[-1][1] == 2


def test_silence_ends_it() -> None:
    """A dead line is given up after ten repeats."""
    played = begun(bytes(1024))
    turn = Turn(wake_us=played.now_us + 4 * S)
    while played.machine.ending is None:
        turn = played.wake(turn)
    assert played.machine.ending is Ending.CUT
    assert len(played.sent) == 12


def test_repeated_c_repeats_the_first_block_only() -> None:
    """A receiver that did not get the first block asks with C again."""
    played = begun(bytes(3000))
    played.answer(C)
    assert played.sent[0] == played.sent[1]
    played.answer(ACK)
    played.hear(C)
    assert len(played.sent) == 3


@pytest.mark.parametrize("asked", [C, NAK])
def test_a_receiver_that_asks_late_acknowledges_one_block(asked: bytes) -> None:
    """It asked again while the block was on the way: both copies are acknowledged, and that counts once."""
    played = begun(bytes(3000))
    played.answer(asked)
    assert len(played.sent) == 2
    quiet = played.hear(ACK)
    assert (quiet.listen, quiet.wake_us - played.now_us) == (True, 300 * MS)
    played.now_us += 90 * MS
    played.hear(ACK)
    assert (played.machine.done_bytes, len(played.sent)) == (1024, 2)
    played.wake(quiet)
    assert played.sent[-1][1] == 2


def test_blocks_of_128_where_told() -> None:
    """XMODEM-CRC: small blocks with CRC, numbered on."""
    played = Played(Sender(bytes(300), block=128))
    played.hear()
    played.answer(C)
    played.answer(ACK)
    played.answer(ACK)
    assert [(s[:3], len(s)) for s in played.sent] == [
        (b"\x01\x01\xfe", 133),
        (b"\x01\x02\xfd", 133),
        (b"\x01\x03\xfc", 133),
    ]
    with pytest.raises(ValueError, match="128 or 1024"):
        Sender(b"", block=512)


def test_a_receiver_naps_while_half_a_block_is_missing() -> None:
    """At the pace of the first two blocks; it never sleeps past half of what is missing, and wakes to listen."""
    data = bytes(4096)
    first, second, third, *_ = stream_of(data)
    played = received(data)
    for block in (first, second):
        played.now_us += 90 * MS
        assert played.hear(block).listen
    played.now_us += 6 * MS
    nap = played.hear(third[:69])
    assert (nap.listen, nap.wake_us - played.now_us) == (False, round((1029 - 69) * 90 * MS / 1024 / 2))
    listening = played.wake(nap)
    assert (listening.listen, listening.send) == (True, b"")
    assert listening.wake_us - played.now_us > 900 * MS
    played.hear(third[69:])
    assert played.machine.done_bytes == 3072


@pytest.mark.parametrize("before", [b"", ACK, b"\x18x"])
def test_two_cans_in_a_row_cancel(before: bytes) -> None:
    """CAN CAN ends it, wherever it stands; what follows is handed on."""
    played = begun(bytes(5000))
    played.hear(before + CAN + CAN + b"$PQFN,NO")
    assert played.machine.ending is Ending.CANCELLED
    assert played.machine.rest == b"$PQFN,NO"


def test_one_can_is_noise() -> None:
    """A single CAN, split from nothing, does not end it."""
    played = begun(bytes(5000))
    played.hear(CAN)
    played.answer(ACK)
    played.hear(CAN)
    assert played.machine.ending is None
    played.hear(CAN)
    assert played.machine.ending is Ending.CANCELLED


def test_text_means_the_receiver_left() -> None:
    """A receiver that went back to its console is noticed at once, and its words are handed on."""
    played = begun(bytes(5000))
    played.hear(b"$PQFN,HELLO,0074")
    assert played.machine.ending is Ending.CUT
    played.hear(b"21,\r\n")
    assert played.machine.rest == b"$PQFN,HELLO,007421,\r\n"


def test_end_is_repeated_after_nak_and_after_three_seconds() -> None:
    """EOT again after NAK at once, after silence not before 3 s; then the outcome is unknown."""
    played = begun(bytes(100))
    turn = played.answer(ACK)
    assert played.sent[1:] == [EOT]
    turn = played.hear(NAK)
    assert played.sent[1:] == [EOT, EOT]
    assert turn.wake_us - played.now_us == 3 * S
    played.now_us += 3 * S - 1
    assert played.hear().send == b""
    played.wake(played.wake(turn))
    assert played.sent[1:] == [EOT, EOT, EOT]
    assert played.machine.ending is Ending.UNKNOWN


def test_text_instead_of_the_last_answer() -> None:
    """The last acknowledgement is missing, but the unit speaks: unknown, with its words."""
    played = begun(bytes(100))
    played.answer(ACK)
    played.hear(b"$PQFN,OK,IMAGE*44\r\n")
    assert played.machine.ending is Ending.UNKNOWN
    assert played.machine.rest == b"$PQFN,OK,IMAGE*44\r\n"


def received(data: bytes, length: int | None = None) -> Played:
    """A receiver that has asked once."""
    played = Played(Receiver(len(data) if length is None else length))
    played.hear()
    assert played.sent == [C]
    return played


def stream_of(data: bytes) -> list[bytes]:
    """All blocks of data, and EOT."""
    return [x.block(n, b, crc=True) for n, b in enumerate(x.cut_into_blocks(data, large=True), 1)] + [EOT]


@pytest.mark.parametrize("size", [0, 1, 128, 129, 1024, 1025, 5000])
@pytest.mark.parametrize("piece", [1, 7, 100_000])
def test_receives_whole_split_and_with_a_tail(size: int, piece: int) -> None:
    """Whole, byte by byte and in odd pieces, with text before and after."""
    data = Random(size).randbytes(size)
    wire = b"OK then\r\n" + b"".join(stream_of(data)) + b"$tail"
    played = received(data)
    for at in range(0, len(wire), piece):
        played.hear(wire[at : at + piece])
    assert (played.machine.ending, bytes(played.content)) == (Ending.WHOLE, data)
    assert played.machine.rest == b"$tail"


def test_asks_anew_and_gives_up() -> None:
    """C every 3 s, ten times, then CAN CAN."""
    played = Played(Receiver(10))
    turn = played.hear()
    while played.machine.ending is None:
        turn = played.wake(turn)
    assert played.sent == [C] * 10 + [CAN + CAN]
    assert (played.machine.ending, played.now_us) == (Ending.NEVER_BEGAN, 30 * S)


def test_damaged_block_waits_for_quiet() -> None:
    """A wrong CRC: the line must fall quiet for a second; the first block is then asked for with C again."""
    data = bytes(range(128))
    good = x.block(1, data, crc=True)
    played = received(data)
    played.hear(good[:-1] + b"\x00")
    played.now_us += 500 * MS
    turn = played.hear(b"late bytes")
    assert turn.wake_us - played.now_us == S
    played.wake(turn)
    assert played.sent == [C, C]
    played.hear(good + EOT)
    assert (played.machine.ending, bytes(played.content)) == (Ending.WHOLE, data)


def test_repeated_block_is_acknowledged_once_more_and_not_taken() -> None:
    """Our acknowledgement was lost: the block comes again."""
    data = bytes(1024) + bytes(100)
    first, second, end = stream_of(data)
    played = received(data)
    played.hear(first)
    played.hear(first)
    played.hear(second)
    played.hear(end)
    assert played.sent == [C, ACK, ACK, ACK, ACK]
    assert bytes(played.content) == data


def test_strange_block_number_ends_it() -> None:
    """Any other number is a fatal loss of step (Forsberg 1988, 7.3.2)."""
    played = received(bytes(5000))
    played.hear(x.block(3, bytes(1024), crc=True))
    assert (played.machine.ending, played.sent[-1]) == (Ending.CUT, CAN + CAN)


def test_eot_before_the_announced_length_is_damage() -> None:
    """An EOT that comes too early is no end."""
    first, second, end = stream_of(bytes(2048))
    played = received(bytes(2048))
    played.hear(first)
    turn = played.hear(end)
    played.wake(turn)
    assert played.sent[-1] == NAK
    played.hear(second + end)
    assert played.machine.ending is Ending.WHOLE


def test_sender_cancels() -> None:
    """CAN CAN from the other side ends it, also split."""
    played = received(bytes(2048))
    played.hear(CAN)
    played.hear(CAN)
    assert played.machine.ending is Ending.CANCELLED


@given(
    data=st.binary(max_size=4000),
    lost=st.sets(st.integers(0, 12), max_size=4),
    garbled=st.sets(st.integers(0, 12), max_size=3),
)
def test_both_machines_together(data: bytes, lost: set[int], garbled: set[int]) -> None:
    """Whatever single messages are lost or garbled, what arrives is what was sent, or nobody claims that it is."""
    sender, receiver = Sender(data), Receiver(len(data))
    to_sender = to_receiver = b""
    now, number, got = 0, 0, b""
    for _ in range(400):
        turns = sender.turn(to_sender, now), receiver.turn(to_receiver, now)
        got += b"".join(turns[1].content)
        to_receiver, number = _spoilt(turns[0].send, number, lost, garbled)
        to_sender, number = _spoilt(turns[1].send, number, lost, garbled)
        if sender.ending and receiver.ending:
            break
        if not to_sender and not to_receiver:
            endings = (sender.ending, receiver.ending)
            now = max(now, min(t.wake_us for t, ended in zip(turns, endings, strict=True) if not ended))
    assert sender.ending is not None
    if sender.ending is Ending.WHOLE or receiver.ending is Ending.WHOLE:
        assert got == data
    if not lost and not garbled:
        assert sender.ending is receiver.ending is Ending.WHOLE


def _spoilt(message: bytes, number: int, lost: set[int], garbled: set[int]) -> tuple[bytes, int]:
    if not message:
        return b"", number
    if number in lost:
        return b"", number + 1
    if number in garbled:
        middle = len(message) // 2
        return message[:middle] + bytes((message[middle] ^ 0x40,)) + message[middle + 1 :], number + 1
    return message, number + 1
