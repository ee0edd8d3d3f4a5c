"""What comes off lines: declared dialogues, patterns, telnet, SMP, watched streams."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache, partial
from typing import Any, cast

from smp.file_management import FileDownloadResponse, FileHashChecksumResponse, FileStatusResponse
from smp.image_management import ImageStatesReadResponse, ImageUploadWriteResponse
from smp.message import Response
from smp.os_management import EchoWriteResponse, MCUMgrParametersReadResponse
from smp.settings_management import ReadSettingResponse

from benchday.devices import nmea
from benchday.devices.drivers import dialogue_words as words
from benchday.devices.drivers.dialogue_line import LONGEST_LINE, DialogueLine
from benchday.devices.drivers.dialogue_talk import number_of, read_pattern
from benchday.devices.drivers.smp_frames import LONGEST_MESSAGE, FrameReader, framed
from benchday.devices.drivers.smp_words import header_of, reply_of, setting_text, shown, text_of
from benchday.devices.links import telnet
from benchday.devices.nmea_sky import Stream
from benchday.domain.dialogue import Dialogue
from benchday.domain.errors import DeviceError
from benchday.domain.patterns import pattern_of
from benchday.domain.readings import Settings
from benchday.domain.seams import Link
from benchday.domain.watch import Watch
from benchday.domain.words import Expected
from tests.devices.declared import gantry, millrace
from tests.fuzz.kept import kept, safe


@cache
def declared(name: str) -> Dialogue:
    """Return a declared dialogue: on a plain line, or in sentences."""
    dialogue = (gantry() if name == "plain" else millrace()).dialogue
    assert dialogue is not None
    return dialogue


@cache
def patterns(name: str) -> tuple[str, ...]:
    """Return every pattern that the dialogue listens for."""
    found: dict[str, None] = {}
    for key, value in _walk(declared(name).model_dump()):
        if key in ("hear", "misheard", "head", "until", "none", "each", "refused"):
            found |= dict.fromkeys([value] if isinstance(value, str) else value)
    return tuple(found)


def _walk(value: object) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if isinstance(inner, str) or (isinstance(inner, list | tuple) and all(isinstance(i, str) for i in inner)):
                yield str(key), inner
            else:
                yield from _walk(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _walk(inner)


def dialogue(name: str, data: bytes) -> None:
    """Take lines off a buffer, match each with all that is listened for, and read the fields in every way."""
    talk = declared(name)
    line = DialogueLine(cast("Link", None), talk.line, lambda: 0)
    for piece in (data[: len(data) // 2], data[len(data) // 2 :]):
        line.give_back(piece)
        for text in line._lines():
            assert len(text) <= LONGEST_LINE
            assert text.isascii()
            assert text.isprintable() or name != "plain"
            for pattern in patterns(name):
                fields = read_pattern(pattern).match(text)
                if fields:
                    _read(talk, fields)
    assert len(line.hand_over()) <= LONGEST_LINE + len(data)


def _read(talk: Dialogue, fields: Mapping[str, str]) -> None:
    readings = (
        (words.power_of, talk.power),
        (words.self_test_of, talk.self_test),
        (words.sky_of, talk.position),
    )
    asked = (
        partial(words.identity_of, talk.identify),
        *(partial(read, part) for read, part in readings if part is not None),
        lambda told: (words.recording_of(told),),
        lambda told: Settings({told["name"].strip(): told["value"].strip()}),
        lambda told: number_of(told["count"], "count"),
        lambda told: words.digest_of(told["sha256"]),
    )
    for read in asked:
        _kept(cast("Callable[[Mapping[str, str]], object]", read), fields)


def _kept(read: Callable[[Any], object], told: object) -> None:
    try:
        kept(read(told))
    except (DeviceError, KeyError):  # KeyError: this answer does not tell that at all, and is never read so
        return


def pattern(data: bytes) -> None:
    """Read a pattern, match a line with it, and count the comparisons: two for each character, and its own length."""
    text, _, line = data.decode("latin-1").partition("\n")
    try:
        made = pattern_of(text)
    except Expected:
        return
    steps = 0

    def step() -> None:
        nonlocal steps
        steps += 1

    found = made.match(line, step)
    assert steps <= 2 * len(line) + len(text)
    if found is not None:
        assert found.keys() == made.names


def telnet_stream(data: bytes) -> None:
    """Take a stream apart whole and in two pieces alike; what goes out comes back as it was."""
    whole = telnet.Decoder().feed(data)
    parts = telnet.Decoder()
    first, second = parts.feed(data[: len(data) // 3]), parts.feed(data[len(data) // 3 :])
    assert (first[0] + second[0], first[1] + second[1]) == whole
    for said in whole[1]:
        if isinstance(said, telnet.Told):
            assert len(said.value) <= telnet.MOST_SUBNEGOTIATION
    assert telnet.Decoder().feed(telnet.doubled(data)) == (data, [])


def smp_line(data: bytes) -> None:
    """Read frames off a line, whole and in two pieces alike; keep little; a frame after it all is still read."""
    whole, parts = FrameReader(), FrameReader()
    messages = whole.feed(data)
    assert parts.feed(data[: len(data) // 2]) + parts.feed(data[len(data) // 2 :]) == messages
    assert all(len(message) <= LONGEST_MESSAGE for message in messages)
    assert len(whole._line) + len(whole._message) <= 20_000
    assert whole.feed(b"\n" + framed(b"whole"))[-1:] == [b"whole"]
    for message in messages:
        smp_message(message)


_KINDS: tuple[type[Response], ...] = (
    ImageStatesReadResponse,
    ImageUploadWriteResponse,
    FileStatusResponse,
    FileDownloadResponse,
    FileHashChecksumResponse,
    ReadSettingResponse,
    EchoWriteResponse,
    MCUMgrParametersReadResponse,
)


def smp_message(data: bytes) -> None:
    """Read a message as the answer to every kind of request."""
    header_of(data)
    for kind in _KINDS:
        try:
            told = reply_of(data, kind, "what was asked")
        except DeviceError as error:
            safe(error)
            continue
        value = getattr(told, "val", None)
        if isinstance(value, bytes):
            setting_text(value)
            try:
                assert text_of(value, "serial").isprintable()
            except DeviceError:
                continue
    assert shown(data.decode("latin-1")).isprintable()


_WATCH = Watch.model_validate({"serial": "SN ", "release": "FW ", "model": "MD ", "hardware": "HW "})


def watched(data: bytes) -> None:
    """Put what a stream of sentences says together."""
    stream = Stream()
    for sentence in nmea.scan(data).sentences:
        stream.take(sentence)
    for read in (stream.sky, lambda: stream.identity(_WATCH, "")):
        _kept(lambda told: cast("Callable[[], object]", told)(), read)
