"""layout: on the terminal, as a document, as a page; exit statuses; nothing from outside is taken for markup."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from benchday.cli.commands.layout import layout
from benchday.cli.conduct import status_of
from benchday.cli.documents_layout import LayoutDocument
from benchday.cli.layout_page import layout_page
from benchday.cli.layout_style import STYLE
from benchday.domain.kinds_unit import RecordingsListed
from benchday.inputs.day import load_day
from benchday.planning.layout import layout_of
from benchday.wiring import RunOptions, opened
from tests.planning.bench_day import aims, bench_day, row

Told = pytest.CaptureFixture[str]


def put(path: Path, old: str, new: str) -> None:
    """Put one text in place of another in a file."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def document(day: Path, capsys: Told, **asked: Path) -> LayoutDocument:
    """Run the command; return its document."""
    layout(day, asked.get("html"), asked.get("record"), as_json=True)
    return LayoutDocument.model_validate_json(capsys.readouterr().out)


def test_the_terminal_says_what_to_lay_out_and_where_the_page_is(day: Path, capsys: Told) -> None:
    assert layout(day, None, None, as_json=False) == 0
    told = capsys.readouterr().out
    assert "SIMULATED" in told.splitlines()[0]
    assert re.search(r"cable with connector round +5 +2 +3 +8 +R1, R2", told)
    assert "To look at" in told
    assert "Stops" not in told
    assert f"To print: {day / 'layout.html'} (9 slips" in told
    assert (day / "layout.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert all(unit.serial in told for unit in load_day(day).roster)


def test_the_document_holds_all_and_no_personal_data(day: Path, capsys: Told) -> None:
    told = document(day, capsys)
    assert (told.benchday, told.simulated, told.page) == ("layout/1", True, None)
    assert not (day / "layout.html").exists()
    assert sum(len(crew.units) for crew in told.crews) == 19
    assert {image.sha256 for image in told.images} <= {i.sha256 for i in load_day(day).images.images}
    assert told.images_bytes == sum(image.bytes for image in told.images)
    assert told.room.free_bytes is not None
    assert told.room.record == str(day / "record")
    said = told.model_dump_json()
    assert "0555" not in said
    assert "came back from the maker" not in said


def test_every_code_is_read_as_its_unit_by_the_playbooks_of_the_day(day: Path, capsys: Told) -> None:
    plan = load_day(day)
    for crew in document(day, capsys).crews:
        for unit in crew.units:
            assert unit.code is not None
            assert [p.serial_in(unit.code) for p in plan.playbooks if unit.model in p.models] == [unit.serial]


def test_a_model_without_an_image_stops_with_status_3(day: Path, capsys: Told) -> None:
    images = day / "images" / "images.yaml"
    head, *blocks = re.split(r"(?=  - file)", images.read_text(encoding="utf-8"))
    images.write_text(head + "".join(b for b in blocks if "osier" not in b), encoding="utf-8")
    assert layout(day, None, None, as_json=False) == 3
    told = capsys.readouterr().out
    assert "Stops: put right before the day" in told
    assert "OS8812-0417" in told.split("Stops")[1]
    page = (day / "layout.html").read_text(encoding="utf-8")
    assert "<strong>STOP</strong> (image)" in page


def test_a_connector_without_a_cable_is_a_mistake_of_the_files(day: Path, capsys: Told) -> None:
    put(day / "bench.yaml", "{connector: usb, number: U1}", "{connector: round, number: R3}")
    put(day / "bench.yaml", "{connector: usb, number: U2}", "{connector: round, number: R4}")
    assert status_of(lambda: layout(day, None, None, as_json=False)) == 2
    assert "a cable with the connector usb" in capsys.readouterr().err


def test_only_its_own_older_page_is_written_over(day: Path, capsys: Told) -> None:
    page = day / "slips.html"
    for _ in range(2):
        assert layout(day, page, None, as_json=False) == 0
    mine = day / "mine.html"
    mine.write_text("<!DOCTYPE html><title>mine</title>", encoding="utf-8")
    assert status_of(lambda: layout(day, mine, None, as_json=False)) == 2
    assert status_of(lambda: layout(day, day / "nowhere" / "x.html", None, as_json=False)) == 2
    told = capsys.readouterr().err
    assert f"{mine}: this file was there before" in told
    assert "name another file with --html FILE" in told
    assert mine.read_text(encoding="utf-8") == "<!DOCTYPE html><title>mine</title>"
    assert [p.name for p in day.iterdir() if p.name.endswith(".part")] == []


@pytest.mark.asyncio
async def test_a_record_says_what_recordings_to_reckon_with(day: Path, capsys: Told) -> None:
    unit = "007421530018"
    async with opened(day, load_day(day), RunOptions(speed_milli=1000, watch=False)) as (tools, _):
        listed = [{"name": "a", "bytes": 5000, "sha256": None}, {"name": "b", "bytes": 7000, "sha256": None}]
        await tools.book.append(RecordingsListed(recordings=listed).draft(unit=unit))
    room = document(day, capsys).room
    found = {part.unit: (part.bytes, part.basis) for part in room.units}
    assert found[unit] == (12_000, "what it had the last time")
    assert {bytes_ for bytes_, _ in found.values()} == {12_000}
    assert room.not_known == []
    put(day / "day.yaml", "instruments: simulated", "instruments: real")
    put(day / "bench.yaml", "number: R1}", "number: R1, port: /dev/ttyUSB0}")
    assert document(day, capsys).room.units == [], "a simulated record says nothing of a real day"


class _Seen(HTMLParser):
    """Notes what a browser would make of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def seen(text: str) -> list[tuple[str, dict[str, str | None]]]:
    """Return the elements of a page with their attributes."""
    parser = _Seen()
    parser.feed(text)
    parser.close()
    return parser.tags


def test_nothing_from_outside_becomes_markup() -> None:
    evil = '</p><script>alert(1)</script><img src=x onerror=alert(1)> \x1b[2J \u202e & "'
    rows = [row("A1", evil, customer=evil, contact=evil, note=evil)]
    plan = bench_day(rows, name=evil[:70].replace("\x1b", ""), cables=[{"connector": "round", "number": "<b>R1</b>"}])
    text = layout_page(plan, layout_of(plan, aims(plan)))
    tags = {tag for tag, _ in seen(text)}
    assert tags & {"script", "img", "b", "link", "iframe"} == set()
    assert not any(name.startswith("on") for _, attributes in seen(text) for name in attributes)
    assert not {"\x1b", "\u202e"} & set(text)
    assert "&lt;script&gt;" in text


def test_the_page_stands_alone_and_can_be_read_aloud(day: Path) -> None:
    plan = load_day(day)
    text = layout_page(plan, layout_of(plan, aims(plan)))
    elements = seen(text)
    assert not re.search(r"https?:|url\(|@import|src=|href=", text)
    assert dict(elements[0][1]) == {"lang": "en-GB"}
    assert {"title", "main", "h1", "h2", "caption"} <= {tag for tag, _ in elements}
    assert {attributes.get("scope") for tag, attributes in elements if tag == "th"} == {"row", "col"}
    assert [a["aria-label"] for tag, a in elements if tag == "svg"] == [
        f"code of unit {unit.serial}" for slip in layout_of(plan, aims(plan)).slips for unit in slip.units
    ]
    assert text.count('<p class="simulated">SIMULATED</p>') == text.count("<section>") == 11


def test_a_day_of_real_instruments_never_says_simulated() -> None:
    plan = bench_day([row("A1")])
    assert "SIMULATED" not in layout_page(plan, layout_of(plan, aims(plan)))


def test_no_type_is_smaller_than_ten_points() -> None:
    sizes = [float(size) for size in re.findall(r"([\d.]+)pt", STYLE)]
    assert min(sizes) >= 10
    assert len(sizes) > 5


def test_slips_hold_neither_contact_nor_note(day: Path) -> None:
    plan = load_day(day)
    text = layout_page(plan, layout_of(plan, aims(plan)))
    lists, slips = text.split("<h1>Crew Avocet</h1>")
    assert "0555 0101" in lists
    assert "came back from the maker" in lists
    assert "0555" not in slips
    assert "came back from the maker" not in slips
