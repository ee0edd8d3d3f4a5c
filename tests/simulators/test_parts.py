"""The parts of a unit by themselves: blocks, sentences, forms, images, battery, pace."""

from pathlib import Path

import pytest

from benchday_simulators.image_intake import ImageIntake
from benchday_simulators.images import BadHeader, build_image, header_length, read_header, version_key
from benchday_simulators.lines import Pace
from benchday_simulators.multipart import BadForm, FilePart, boundary_of
from benchday_simulators.physics import PhysicsClock
from benchday_simulators.power import settle
from benchday_simulators.prepare import prepare
from benchday_simulators.sentences import BadSentence, LineCutter, checksum, fields_of, frame
from benchday_simulators.state import Battery, load
from benchday_simulators.troubles import Troubles
from benchday_simulators.unit import Refused, Unit
from benchday_simulators.unit_log import UnitLog
from benchday_simulators.xmodem_blocks import Block, BlockReader, Sign, block
from tests.simulators.stranger import crc16, framed

DATA = bytes(range(256)) * 4


@pytest.mark.parametrize("data", [DATA, DATA[:128], b"123456789"])
def test_blocks_are_framed_as_a_stranger_frames_them(data: bytes) -> None:
    size = 128 if len(data) <= 128 else 1024
    assert block(257, data) == framed(257, data.ljust(size, b"\x1a"))


def test_the_strangers_crc_is_the_published_one() -> None:
    # CRC catalogue, CRC-16/XMODEM
    assert crc16(b"123456789") == 0x31C3


@pytest.mark.parametrize("step", [1, 7, 1029, 5000])
def test_blocks_are_read_however_they_come(step: int) -> None:
    stream = b"\x00noise" + framed(1, DATA) + framed(2, DATA[:128]) + b"\x04"
    reader, items = BlockReader(), []
    for begin in range(0, len(stream), step):
        reader.feed(stream[begin : begin + step])
        while (item := reader.take()) is not None:
            items.append(item)
    assert items == [Block(1, DATA), Block(2, DATA[:128]), Sign("end")]


@pytest.mark.parametrize(
    ("stream", "what"),
    [
        (b"\x18\x18", "cancel"),
        (b"$PQFN,ASK,ID*00\r\n", "sentence"),
        (framed(1, DATA)[:-1] + b"\x00", "broken"),
        (b"\x02\x01\x01" + DATA + b"\x00\x00", "broken"),
    ],
)
def test_what_is_no_block_is_told(stream: bytes, what: str) -> None:
    reader = BlockReader()
    reader.feed(stream)
    assert reader.take() == Sign(what)


def test_one_can_does_not_cancel() -> None:
    reader = BlockReader()
    reader.feed(b"\x18" + framed(1, DATA))
    assert reader.take() == Block(1, DATA)


def test_sentences_have_the_published_checksum() -> None:
    # Univ. Hohenheim teaching page
    body = "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    assert checksum(body) == "47"
    assert fields_of(frame(body))[1] == "123519"


def test_a_sentence_over_82_characters_is_never_sent() -> None:
    frame("A" * 76)
    with pytest.raises(ValueError, match="at most 82"):
        frame("A" * 77)


@pytest.mark.parametrize("line", [b"$PQFN,ASK,ID", b"$PQFN,ASK,ID*00", b"$PQFN,\xff*00", b"$"])
def test_a_line_without_its_checksum_is_refused(line: bytes) -> None:
    with pytest.raises(BadSentence):
        fields_of(line)


def test_lines_are_cut_byte_by_byte() -> None:
    cutter = LineCutter()
    lines = [line for byte in b"xx\n?$A*41\r\n$B*42\r\n$C" for line in cutter.feed(bytes((byte,)))]
    assert lines == [b"$A*41\r", b"$B*42\r"]


def _form(data: bytes) -> bytes:
    other = b'--q\r\nContent-Disposition: form-data; name="note"\r\n\r\n--q inside\r\n'
    ours = b'--q\r\nContent-Disposition: form-data; name="image"; filename="a.fen"\r\n\r\n' + data
    return other + ours + b"\r\n--q--\r\n"


@pytest.mark.parametrize("step", [1, 3, 64, 10_000])
@pytest.mark.parametrize("data", [b"", b"\r\n--", b"ab\r\n--p\r\n" + DATA])
def test_a_file_field_comes_whole_however_the_form_comes(step: int, data: bytes) -> None:
    part, form = FilePart(b"q", "image"), _form(data)
    got = b"".join(part.feed(form[begin : begin + step]) for begin in range(0, len(form), step))
    assert (got, part.seen, part.done) == (data, True, True)


def test_another_body_than_a_form_is_refused() -> None:
    assert boundary_of('multipart/form-data; boundary="a b"') == b"a b"
    with pytest.raises(BadForm):
        boundary_of("application/json")


def test_images_are_the_same_each_time_and_say_what_they_are() -> None:
    image = build_image("Millrace", "2.10", ("B", "C"), 5000, 1, "2.4")
    assert image == build_image("Millrace", "2.10", ("B", "C"), 5000, 1, "2.4")
    length = header_length(image)
    assert length is not None
    header = read_header(image[:length])
    assert (header.model, header.hardware, header.enter_from) == ("Millrace", ("B", "C"), "2.4")
    assert len(image) == length + 5000
    assert version_key("2.10") > version_key("2.9")


@pytest.mark.parametrize(
    "text",
    [
        b"FENIMAGE 1\nmodel: Millrace\n\n",
        b"FENIMAGE 1\nmodel Millrace\n\n",
        b"FENIMAGE 1\nmodel: A\nversion: x\nhardware: A\nbytes: 3\ncrc32: 00000000\n\n",
    ],
)
def test_a_header_that_lacks_something_is_told(text: bytes) -> None:
    with pytest.raises(BadHeader):
        read_header(text)


@pytest.mark.parametrize("data", [b"ELF", b"FENIMAGE 1\n" + b"x" * 600])
def test_what_is_no_image_is_told_early(data: bytes) -> None:
    with pytest.raises(BadHeader):
        header_length(data)


def test_lateness_of_timers_does_not_add_up() -> None:
    pace, now = Pace(1000.0), 0.0
    for _ in range(100):
        due = pace.passed(100, now, credit=max(0.0, now - pace._free_at))
        now = due + 0.002  # each timer comes 2 ms late
    assert due == pytest.approx(10.0)


def test_a_battery_keeps_within_its_pack() -> None:
    battery = Battery(full_mwh=1000, charge_mwh=500)
    settle(battery, -100, 3600)
    assert battery.charge_mwh == pytest.approx(400)
    settle(battery, -1000, 3600)
    assert battery.percent() == 0
    settle(battery, 9000, 3600)
    assert battery.percent() == 100


def _tiller(folder: Path, **overrides: object) -> Unit:
    prepare(folder, "Tiller", "7", 1, release="7.0", hardware="E", recordings=[2000], **overrides)  # type: ignore[arg-type]
    state = load(folder)
    assert state is not None
    log = UnitLog(folder / "log.jsonl")
    return Unit(folder, state, clock=PhysicsClock(1e6), log=log, troubles=Troubles([]), key=b"")


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("image", "code"),
    [
        (build_image("Osier", "8.0", ("E",), 2000, 1), "model"),
        (build_image("Tiller", "8.0", ("F",), 2000, 1), "hardware"),
        (build_image("Tiller", "8.0", ("E",), 2000, 1, "7.1"), "route"),
        (b"\x7fELF" + bytes(2000), "header"),
    ],
)
async def test_an_image_that_does_not_suit_erases_nothing(tmp_path: Path, image: bytes, code: str) -> None:
    unit = _tiller(tmp_path)
    with pytest.raises(Refused) as refusal:
        await ImageIntake(unit, len(image)).feed(image)
    unit.log.close()
    assert refusal.value.code == code
    stored = load(tmp_path)
    assert stored is not None
    assert (stored.mode, stored.release, len(stored.recordings)) == ("run", "7.0", 1)
    assert "image_begin" not in (tmp_path / "log.jsonl").read_text()


@pytest.mark.asyncio
async def test_from_boot_any_version_may_be_entered(tmp_path: Path) -> None:
    unit = _tiller(tmp_path, mode="boot")
    intake = ImageIntake(unit)
    await intake.feed(build_image("Tiller", "8.0", ("E",), 2000, 1, "7.1"))
    intake.finish()
    unit.log.close()
    assert intake.outcome == "whole"


def test_prepare_says_what_it_does_not_know(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="expected one of Millrace"):
        prepare(tmp_path, "Mill", "1", 1)
    with pytest.raises(ValueError, match="unknown override colour"):
        prepare(tmp_path, "Millrace", "1", 1, colour="red")  # type: ignore[call-arg]
