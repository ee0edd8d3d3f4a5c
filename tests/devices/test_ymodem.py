"""The YMODEM machines without I/O: time is a number, the line a list of bytes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from random import Random

import pytest

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import END_OF_BATCH, FileHead, build_head, read_head, safe_name
from benchday.devices.xmodem import Ending, Limits
from benchday.devices.xmodem_receiver import ReceiverLimits
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from benchday.domain.errors import Garbled, InputError
from tests.devices.test_xmodem import ACK, CAN, EOT, MS, NAK, C, Played, S

FIGURE_6 = b"bbcsched.txt\x006347 3314742513 100644".ljust(128, b"\0")
"""Forsberg 1988, figure 6: what sz sends of ``-rw-r--r-- 6347 Jun 17 1984 20:34 bbcsched.txt``; its CRC is CA56."""


def test_head_is_the_published_one() -> None:
    """Built and read as in Forsberg 1988, figure 6, whose listing says Jun 17 1984 20:34, in a zone 7 h behind UTC."""
    head = FileHead("bbcsched.txt", 6347, 0o3314742513, 0o100644)
    assert build_head(head) == FIGURE_6
    assert read_head(FIGURE_6) == head
    assert datetime.fromtimestamp(head.modified_s or 0, UTC) == datetime(1984, 6, 18, 3, 34, 35, tzinfo=UTC)
    assert x.block(0, FIGURE_6, crc=True)[-2:] == b"\xca\x56"


def test_head_without_the_optional_figures() -> None:
    """Only the name is required (Forsberg 1988, chapter 5)."""
    assert read_head(b"foo.c".ljust(128, b"\0")) == FileHead("foo.c")
    assert read_head(b"foo.c\x00100".ljust(128, b"\0")) == FileHead("foo.c", 100)
    assert read_head(b"foo.c\x00100 0 0 77".ljust(128, b"\0")) == FileHead("foo.c", 100, None, 0)
    assert read_head(END_OF_BATCH) is None


def test_long_head_goes_into_a_large_block() -> None:
    """A head beyond 128 bytes is sent as 1k block (Forsberg 1988, chapter 5, note 4)."""
    head = FileHead("n" * 150, 7)
    assert len(build_head(head)) == 1024
    assert read_head(build_head(head)) == head


@pytest.mark.parametrize(
    "head",
    [
        FileHead(""),
        FileHead("n" * 201),
        FileHead("a\x1b[2Jb"),
        FileHead("a\0b"),
        FileHead("a", None, 5),
        FileHead("a", 1, None, 0o644),
        FileHead("a", -1),
    ],
)
def test_heads_that_cannot_be_sent(head: FileHead) -> None:
    """Nothing unprintable leaves, and fields may not be skipped."""
    with pytest.raises(InputError):
        build_head(head)


@pytest.mark.parametrize(
    ("told", "name"),
    [
        (b"0412A.25O", "0412A.25O"),
        (b"subdir/foo", "foo"),
        (b"../../etc/passwd", "passwd"),
        (b"C:\\WINDOWS\\system.ini", "system.ini"),
        (b"C:autoexec.bat", "C_autoexec.bat"),
        (b"/abs/olute", "olute"),
        (b"a\x1b[31mb\r\n\x7f", "a_[31mb___"),
        ("größe\u202etxt.exe".encode(), "größe_txt.exe"),
        (b"\xff\xfe.obs", "__.obs"),
        (b"-rf", "-rf"),
        (b".hidden", "hidden"),
        (b"con.txt", "_con.txt"),
        (b"COM1", "_COM1"),
        (b"trailing. .", "trailing"),
        (b"n" * 900, "n" * 200),
        ("é".encode() * 150, "é" * 100),
    ],
)
def test_names_are_made_safe(told: bytes, name: str) -> None:
    """Only the last part of a path, printable and bounded."""
    assert safe_name(told) == name


@pytest.mark.parametrize("told", [b"..", b".", b"a/..", b"dir/", b"\x01\x02", b"...", b" ", b"\\"])
def test_names_of_which_nothing_is_left(told: bytes) -> None:
    """They are refused."""
    with pytest.raises(Garbled):
        safe_name(told)


@pytest.mark.parametrize("told", [b"-5", b"1e3", b"12x", b"9" * 21, str((1 << 40) + 1).encode(), b"\xb2"])
def test_lengths_that_cannot_be(told: bytes) -> None:
    """A head whose length cannot be read is refused: it would not be known when the file is whole."""
    with pytest.raises(Garbled):
        read_head((b"a\0" + told).ljust(128, b"\0"))


TWO = (Outgoing("foo.c", bytes(356)), Outgoing("baz.c", bytes(100)))


def test_sends_as_in_the_sample_session() -> None:
    """Two files, block after block, with NAK to each first EOT (Forsberg 1988, figure 4; its misprints put right)."""
    played = Played(BatchSender(TWO, block=128))
    played.hear()
    for blocks in (3, 1):
        played.answer(C)
        played.hear(ACK)
        played.answer(C)
        for _ in range(blocks):
            played.answer(ACK)
        played.hear(NAK)
        played.hear(ACK)
    played.answer(C)
    played.hear(ACK + b"$next")
    heads = [s[:3] for s in played.sent]
    head, one, two, three = b"\x01\x00\xff", b"\x01\x01\xfe", b"\x01\x02\xfd", b"\x01\x03\xfc"
    assert heads == [head, one, two, three, EOT, EOT, head, one, EOT, EOT, head]
    assert read_head(played.sent[0][3:-2]) == FileHead("foo.c", 356)
    assert read_head(played.sent[6][3:-2]) == FileHead("baz.c", 100)
    assert played.sent[10] == x.block(0, END_OF_BATCH, crc=True)
    assert (played.machine.ending, played.machine.rest, played.machine.done_bytes) == (Ending.WHOLE, b"$next", 456)


def test_answers_in_one_piece_go_on_to_the_next_part() -> None:
    """ACK and C heard at once: the pause after C begins, and the content follows."""
    played = Played(BatchSender(TWO))
    played.hear()
    played.answer(C)
    turn = played.hear(ACK + C)
    assert turn.wake_us - played.now_us == 50 * MS
    played.wake(turn)
    assert played.sent[1][:3] == b"\x02\x01\xfe"


def test_no_files_is_no_error() -> None:
    """Transmission of no files is not necessarily an error (Forsberg 1988, chapter 5)."""
    played = Played(BatchSender([]))
    played.hear()
    played.answer(C)
    played.hear(ACK)
    assert (played.sent, played.machine.ending) == ([x.block(0, END_OF_BATCH, crc=True)], Ending.WHOLE)


def at_the_closing() -> tuple[BatchSender, Played]:
    """A sender whose one file was acknowledged."""
    sender = BatchSender([Outgoing("a", b"abc")])
    played = Played(sender)
    played.hear()
    played.answer(C)
    played.hear(ACK)
    played.answer(C)
    played.answer(ACK)
    assert played.sent[-1] == EOT
    played.hear(ACK)
    return sender, played


def test_a_receiver_that_leaves_after_its_file() -> None:
    """It never asks for another head: unknown after a limit, the file acknowledged; no byte into its console."""
    sender, played = at_the_closing()
    played.wake(played.hear(b"$ "))
    assert (sender.ending, sender.files_done, sender.done_bytes, played.now_us < 20 * S) == (Ending.UNKNOWN, 1, 3, True)
    assert played.sent[-1] == EOT
    sender, played = at_the_closing()
    played.hear(b"OK,IMAGE,taken whole\r\n")
    played.hear(b"more")
    assert (sender.ending, sender.rest) == (Ending.UNKNOWN, b"OK,IMAGE,taken whole\r\nmore")


def test_the_last_answer_of_a_batch_may_be_lost() -> None:
    """The closing block three times, 3 s apart; then unknown."""
    sender, played = at_the_closing()
    turn = played.answer(C)
    while sender.ending is None:
        turn = played.wake(turn)
    assert played.sent[-3:] == [x.block(0, END_OF_BATCH, crc=True)] * 3
    assert (sender.ending, sender.files_done) == (Ending.UNKNOWN, 1)


def test_a_lost_answer_in_the_middle_is_no_success() -> None:
    """A first file whose end is never acknowledged: cut; a last one: unknown."""
    for files, ending in ((TWO, Ending.CUT), (TWO[:1], Ending.UNKNOWN)):
        played = Played(BatchSender(files))
        played.hear()
        played.answer(C)
        played.hear(ACK)
        turn = played.answer(C)
        turn = played.answer(ACK)
        while played.machine.ending is None:
            turn = played.wake(turn)
        assert played.machine.ending is ending


@pytest.mark.parametrize("heard", [CAN + CAN, b"\x18" * 8 + b"\x08" * 8])
def test_the_receiver_refuses_a_head(heard: bytes) -> None:
    """A receiver that cannot open the file cancels (Forsberg 1988, chapter 5)."""
    played = Played(BatchSender(TWO))
    played.hear()
    played.answer(C)
    played.hear(heard)
    assert (played.machine.ending, played.machine.done_bytes) == (Ending.CANCELLED, 0)


def test_nobody_asks() -> None:
    """Without C nothing began; NAK is no start, YMODEM has CRC only."""
    played = Played(BatchSender(TWO))
    played.wake(played.hear(NAK))
    assert (played.machine.ending, played.sent) == (Ending.NEVER_BEGAN, [CAN + CAN])


def wire_of(*files: tuple[bytes, bytes], size: int = 1024) -> bytes:
    """All that a sender sends for files given by head and content."""
    sent = b""
    for head, data in files:
        blocks = x.cut_into_blocks(data, large=size == 1024)
        sent += x.block(0, head, crc=True) + b"".join(x.block(n, b, crc=True) for n, b in enumerate(blocks, 1)) + EOT
    return sent + x.block(0, END_OF_BATCH, crc=True)


def received(wire: bytes, piece: int, limits: ReceiverLimits | None = None) -> tuple[BatchReceiver, list[bytes]]:
    """Feed a receiver piece by piece; returns it and what it closed."""
    machine, whole, got = BatchReceiver(limits), [], b""
    now = 0
    machine.turn(b"", now)
    for at in range(0, len(wire), piece):
        heard = wire[at : at + piece]
        while machine.ending is None:
            turn = machine.turn(heard, now)
            got = (b"" if turn.opens else got) + b"".join(turn.content)
            whole += [got] if turn.closes else []
            heard = b""
            if turn.wake_us > now:
                break
    return machine, whole


@pytest.mark.parametrize("size", [128, 1024])
@pytest.mark.parametrize("piece", [1, 7, 200_000])
def test_receives_whole_in_any_pieces(size: int, piece: int) -> None:
    """Several files, an empty one among them, exact to the byte."""
    datas = [Random(n).randbytes(n) for n in (0, 1, 128, 1024, 5000)]
    wire = wire_of(*[(build_head(FileHead(f"f{len(d)}", len(d))), d) for d in datas], size=size)
    machine, whole = received(b"ready\r\n" + wire, piece)
    assert (machine.ending, whole) == (Ending.WHOLE, datas)
    assert [(f.name, f.length) for f in machine.files] == [(f"f{len(d)}", len(d)) for d in datas]
    assert machine.done_bytes == sum(map(len, datas))


def test_a_file_of_untold_length_keeps_its_padding() -> None:
    """Nothing says where the content ends; the first EOT is answered NAK, the second ACK."""
    played = Played(BatchReceiver())
    played.hear()
    played.hear(x.block(0, b"foo.c".ljust(128, b"\0"), crc=True))
    played.hear(x.block(1, b"abc".ljust(128, b"\x1a"), crc=True))
    played.hear(EOT)
    turn = played.hear(EOT)
    assert (played.sent, turn.closes) == ([C, ACK + C, ACK, NAK, ACK + C], True)
    assert bytes(played.content) == b"abc".ljust(128, b"\x1a")


def test_more_than_was_announced_is_never_whole() -> None:
    """A block beyond the length is padding or ends it."""
    head, data = build_head(FileHead("a", 128)), b"x" * 128
    machine, whole = received(wire_of((head, data + b"\x1a" * 128)), 1 << 20)
    assert (machine.ending, whole) == (Ending.WHOLE, [data])
    machine, whole = received(wire_of((head, data + b"surplus"), size=128), 1 << 20)
    assert (machine.ending, whole, machine.files) == (Ending.CUT, [], [])


@pytest.mark.parametrize("head", [b"..\0" + bytes(125), b"a\0x" + bytes(125), b"x" * 128, b"a\x00300" + bytes(123)])
def test_heads_that_are_refused(head: bytes) -> None:
    """No usable name, no readable length, no end, too long: CAN CAN."""
    played = Played(BatchReceiver(ReceiverLimits(most_bytes=299)))
    played.hear()
    played.hear(x.block(0, head, crc=True))
    assert (played.machine.ending, played.sent[-1]) == (Ending.CUT, CAN + CAN)


def test_too_many_files() -> None:
    """A batch that does not end is cancelled."""
    machine = BatchReceiver(most_files=3)
    wire = wire_of(*[(build_head(FileHead("a", 0)), b"")] * 4)
    while machine.ending is None:
        machine.turn(wire, 0)
        wire = b""
    assert (machine.ending, len(machine.files)) == (Ending.CUT, 3)


def test_answers_that_were_lost() -> None:
    """What comes twice is acknowledged twice; after a second EOT the next head is asked for anew."""
    data = bytes(100)
    head, block = x.block(0, build_head(FileHead("a", 100)), crc=True), x.block(1, data.ljust(128, b"\x1a"), crc=True)
    played = Played(BatchReceiver())
    played.hear()
    played.hear(head)
    played.hear(head)
    assert played.sent == [C, ACK + C, ACK]
    played.hear(block)
    assert played.hear(EOT).closes
    turn = played.hear(EOT)
    assert not turn.closes
    played.wake(turn)
    assert played.sent[3:] == [ACK, ACK + C, ACK, C]
    played.hear(x.block(0, END_OF_BATCH, crc=True))
    assert played.machine.ending is Ending.WHOLE


def test_a_cancellation_within_a_block_is_heard() -> None:
    """CAN CAN with backspaces at the end of a broken block, then silence."""
    played = Played(BatchReceiver())
    played.hear()
    played.hear(x.block(0, build_head(FileHead("a", 3000)), crc=True))
    turn = played.hear(x.block(1, bytes(1024), crc=True)[:500] + b"\x18" * 8 + b"\x08" * 8)
    while played.machine.ending is None:
        turn = played.wake(turn)
    assert (played.machine.ending, played.now_us) == (Ending.CANCELLED, S)


def test_noise_does_not_hold_it_for_ever() -> None:
    """A line that never falls quiet is given up after three minutes without a block."""
    played = Played(BatchReceiver())
    played.hear()
    played.hear(x.block(0, build_head(FileHead("a", 3000)), crc=True))
    while played.machine.ending is None:
        played.now_us += S // 2
        played.hear(b"\x01noise")
    assert played.machine.ending is Ending.CUT
    assert played.now_us < 200 * S


def test_a_sender_that_asks_for_quick_answers() -> None:
    """Limits are handed through to each part."""
    played = Played(BatchSender(TWO, replace(Limits(), after_start_us=5 * MS)))
    played.hear()
    assert played.hear(C).wake_us - played.now_us == 5 * MS


def test_what_may_have_been_taken_of_a_batch() -> None:
    """Nothing as long as no block of content has left, but for a head whose answer is in doubt."""
    sender = BatchSender(TWO)
    played = Played(sender)
    played.hear()
    played.answer(C)
    assert len(played.sent) == 1
    played.hear(ACK)
    assert sender.nothing_taken
    played.answer(C)
    assert len(played.sent) == 2
    played.hear(CAN + CAN)
    assert (sender.ending, sender.nothing_taken) == (Ending.CANCELLED, True)

    sender = BatchSender(TWO)
    played = Played(sender)
    played.hear()
    played.answer(C)
    played.wake(played.hear())
    played.hear(CAN + CAN)
    assert (sender.ending, sender.nothing_taken) == (Ending.CANCELLED, False)


def test_of_a_second_file_the_first_was_taken() -> None:
    """Whatever becomes of the second: head, content, end, head."""
    sender = BatchSender([Outgoing("a", b"one"), Outgoing("b", b"two")])
    played = Played(sender)
    played.hear()
    for answer, pauses in ((C, True), (ACK, False), (C, True), (ACK, True), (ACK, False), (C, True)):
        turn = played.hear(answer)
        if pauses:
            played.wake(turn)
    played.hear(CAN + CAN)
    assert (sender.files_done, sender.ending) == (1, Ending.CANCELLED)
    assert not sender.nothing_taken
