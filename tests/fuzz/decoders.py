"""The table of decoders: what is tried, and what it may raise. A new one is one line in ``DECODERS``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from benchday.devices import nmea
from benchday.devices import xmodem_blocks as x
from benchday.devices.drivers import console_words as words
from benchday.devices.drivers import web_words as web
from benchday.devices.drivers.web_session import Reply
from benchday.devices.file_head import END_OF_BATCH, FileHead, build_head, read_head
from benchday.devices.xmodem import Ending, Machine, Sender
from benchday.devices.xmodem_receiver import Receiver
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from benchday.domain.errors import DeviceError
from tests.devices.line_noise import listen
from tests.fuzz import of_files, of_lines, of_pages, seeds
from tests.fuzz.kept import kept

HEAD = build_head(FileHead("a.bin", 200))
WAITS_US = (0, 1_000, 60_000, 400_000, 1_100_000, 4_100_000, 11_000_000, 100)
CONTENTS = (b"x" * 128, b"y" * 72 + b"\x1a" * 56, HEAD, END_OF_BATCH, b"z" * 1024, bytes([x.PAD]) * 128)


def script(data: bytes, *, blocks: bool) -> list[tuple[int, bytes]]:
    """Read input as what a line says and when; whole blocks and answers are found without guessing."""
    said, at = [], 0
    while at + 1 < len(data):
        wait_us, kind, count = WAITS_US[data[at] & 7], data[at] >> 3, data[at + 1]
        at += 2
        if kind < 16:
            piece = data[at : at + count % 64]
            at += len(piece)
        elif kind < 28 and blocks:
            piece = x.block(count, CONTENTS[kind % len(CONTENTS)], crc=True)
        else:
            piece = bytes((x.ACK, x.CRC_PLEASE, x.EOT, x.NAK)[kind & 3 :][:1]) * (1 + count // 200)
        said.append((wait_us, piece))
    return said


def machine(make: Callable[[], Machine], data: bytes) -> None:
    """Let a transfer machine hear it all; it must end, stay small, and be whole only with what was announced."""
    played = make()
    receives = isinstance(played, Receiver | BatchReceiver)
    content = listen(played, script(data, blocks=receives))
    if played.ending is Ending.WHOLE and isinstance(played, Receiver):
        assert len(content) == played.done_bytes == 200
    if played.ending is Ending.WHOLE and isinstance(played, BatchReceiver):
        assert len(content) == played.done_bytes
        told = [head.length for head in played.files]
        assert None in told or sum(length or 0 for length in told) == len(content)


def file_head(data: bytes) -> None:
    """Read a head; what is read can be built and is read the same."""
    head = read_head(data)
    if head is None:
        return
    assert head.name
    assert head.name.isprintable()
    assert not set(head.name) & set("/\\")
    assert head.name not in (".", "..")
    if head.length is not None and (head.mode is None or head.modified_s is not None):
        assert read_head(build_head(head)) == head


def sentences(data: bytes) -> None:
    """Scan a stream in two pieces as in one; read each sentence's place."""
    scanned = nmea.scan(data)
    assert 0 <= scanned.used <= len(data)
    assert len(data) - scanned.used <= nmea.LONGEST_READ
    for sentence in scanned.sentences:
        assert all(field.isascii() for field in sentence.fields)
        if sentence.address.endswith("GGA"):
            nmea.sky_of_gga(sentence)


def console(data: bytes) -> None:
    """Put one sentence around the input and read it with every reader of the serial dialogue."""
    body = bytes(byte for byte in data if byte not in b"$*\r\n")
    framed = b"$" + body + b"*%02X\r\n" % nmea.checksum(body)
    for sentence in nmea.scan(framed).sentences:
        fields = sentence.fields
        for read in READERS:
            _tried(read, fields)


def _tried(read: Callable[[Sequence[str]], object], fields: Sequence[str]) -> None:
    try:
        kept(read(fields))
    except DeviceError:
        return


READERS: tuple[Callable[[Sequence[str]], object], ...] = (
    words.identity_of,
    words.power_of,
    words.recording_of,
    words.digest_of,
    words.setting_of,
    words.self_test_of,
    words.air_of,
    words.percent_of,
    lambda fields: words.count_of(fields, "SEND"),
)


def page(data: bytes) -> None:
    """Read a page's answer as every kind there is."""
    reply = Reply(200, data)
    kinds = (web.StatusSaid, web.ImageSaid, web.TestSaid, web.AirSaid, web.PositionSaid, web.ProofSaid)
    for kind in (*kinds, web.RECORDINGS):
        try:
            said: object = web.said(kind, reply)  # type: ignore[misc]
            if isinstance(said, web.StatusSaid):
                for read in (said.identity(), said.power.reading(), said.all_settings()):
                    kept(read)
            elif isinstance(said, web.PositionSaid):
                kept(web.sky_of(web.AirSaid(fix="none", satellites=0), said))
            elif isinstance(said, web.AirSaid):
                kept(web.sky_of(said, None))
            elif isinstance(said, tuple):
                kept(tuple(one.reading() for one in said))
        except DeviceError:
            continue
    _tried(lambda _: reply.json(), ())
    of_pages.refusal(data)


@dataclass(frozen=True)
class Decoder:
    """What is tried."""

    run: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    """Where mutation begins."""


_TALK = bytes((0, 3)) + b"\x06\x06C" + bytes((0xE2, 0, 0xEA, 0, 0xF2, 0, 0xFA, 0, 0x80, 1, 0x88, 2, 0x90, 0, 0x98, 0))
_BATCH = bytes((0x90, 0, 0x90, 0, 0xA1, 1, 0xA8, 2, 0xF0, 0, 0xF2, 0, 0x98, 0))
_GGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
_POWER = (
    b'{"charge_percent":80,"max_error_percent":2,"full_10mwh":2400,'
    b'"mv":1,"ma":-1,"temperature_dk":2930,"external":true}'
)
_STATUS = b'{"serial":"1","model":"Osier","hardware":"A","mode":"run","power":%s,"settings":{"a":"b"}}' % _POWER
_LISTED = b'[{"name":"a.obs","bytes":5,"sha256":"%s"}]' % (b"0" * 64)

_SKY = b"".join(
    b"$" + body + b"*%02X\r\n" % nmea.checksum(body)
    for body in (
        b"GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1",
        b"GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
        b"GPGST,195959.00,0.30,0.35,0.20,292.62,0.23,0.33,0.71",
        b"GPTXT,01,01,02,SN 007 FW 2.10 MD Weirstone HW B",
    )
)

DECODERS: dict[str, Decoder] = {
    "xmodem-receiver": Decoder(partial(machine, lambda: Receiver(200)), (_TALK, _BATCH)),
    "xmodem-sender": Decoder(partial(machine, lambda: Sender(b"x" * 1500)), (_TALK,)),
    "xmodem-sender-128": Decoder(partial(machine, lambda: Sender(b"x" * 300, block=128)), (_TALK,)),
    "ymodem-receiver": Decoder(partial(machine, BatchReceiver), (_BATCH, _TALK)),
    "ymodem-sender": Decoder(
        partial(machine, lambda: BatchSender([Outgoing("a", b"x" * 1500), Outgoing("b", b"")])), (_TALK,)
    ),
    "file-head": Decoder(file_head, (HEAD, b"../a\x0012 7 100644\0", END_OF_BATCH)),
    "sentences": Decoder(sentences, (_GGA, b"$PQFN,OK,SEND,1200*5A\r\n")),
    "console-words": Decoder(
        console, (b"1,Millrace,B,run", b"80,2,2400,7400,-12,2930,0", b"fixed,00,12", b"a.obs,99999")
    ),
    "web-words": Decoder(page, (_STATUS, _LISTED, b'{"gga":"%s"}' % _GGA[:-2], b'{"state":"flashing","percent":5}')),
    "watched": Decoder(of_lines.watched, (_GGA, _SKY)),
    "dialogue-plain": Decoder(partial(of_lines.dialogue, "plain"), seeds.PLAIN),
    "dialogue-nmea": Decoder(partial(of_lines.dialogue, "nmea"), seeds.SENTENCES),
    "patterns": Decoder(of_lines.pattern, seeds.PATTERNS),
    "telnet": Decoder(of_lines.telnet_stream, seeds.TELNET),
    "smp-frames": Decoder(of_lines.smp_line, seeds.FRAMES),
    "smp-words": Decoder(of_lines.smp_message, seeds.MESSAGES),
    "page-json": Decoder(partial(of_pages.page, "json"), (_STATUS, _LISTED, *seeds.JSON)),
    "page-html": Decoder(partial(of_pages.page, "html"), seeds.HTML),
    "sign-in": Decoder(of_pages.sign_in, seeds.CHALLENGES),
    "json-path": Decoder(of_pages.json_path, seeds.PATHS),
    "own-file": Decoder(of_pages.own_file, seeds.OWN_FILES),
    "yaml": Decoder(of_files.yaml, seeds.YAML),
    "tables": Decoder(of_files.tables, seeds.TABLES),
    "models": Decoder(of_files.model, seeds.MODELS),
    "pipe": Decoder(of_files.pipe, seeds.LINES),
}
