"""What must agree across the files of a day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.drivers import DriverKnown
from benchday.domain.errors import Mistake
from benchday.domain.playbook import Playbook
from benchday.domain.releases import ImageList
from benchday.inputs.driver_choice import driver_mistakes, driver_names
from benchday.inputs.image_store import image_mistakes
from benchday.inputs.outcome import nearest, shown
from benchday.inputs.playbook_files import Playbooks
from benchday.inputs.roster_csv import Roster
from benchday.inputs.yaml_text import YamlText


@dataclass(frozen=True, slots=True)
class Files:
    """The files of a day as read; a part is None where it could not be."""

    folder: Path
    day: DayFile | None
    day_text: YamlText
    bench: BenchFile | None
    bench_text: YamlText
    images: ImageList | None
    images_text: YamlText
    roster: Roster
    playbooks: Playbooks
    drivers: tuple[DriverKnown, ...] = ()
    """Where that is known: what each driver takes, and what keeps one from being used."""


def mistakes_across(read: Files) -> list[Mistake]:
    """Return what does not agree; parts that could not be read are left out."""
    mistakes = [*_day(read), *_playbooks(read), *_packs(read), *_roster(read)]
    if read.day is not None and read.images is not None:
        store = read.folder / read.day.image_store
        mistakes += image_mistakes(read.images, read.images_text, store, read.playbooks)
    return mistakes


def _day(read: Files) -> Iterator[Mistake]:
    if read.day is None:
        return
    zone = read.day.time_zone
    try:
        ZoneInfo(zone)
    except (ValueError, OSError, KeyError):
        near = nearest(zone, available_timezones())
        expected = "a name from the IANA time zone database, like Europe/London"
        yield read.day_text.mistake(("time_zone",), expected, shown(zone), near)


def _playbooks(read: Files) -> Iterator[Mistake]:
    known = read.playbooks.cautions.names if read.playbooks.cautions is not None else None
    for playbook, text in read.playbooks.read:
        # That a driver cannot be used here is no matter for units that do not come.
        expected_one = any(row.model in playbook.models for row in read.roster.rows)
        yield from driver_mistakes(playbook, text, driver_names(), read.drivers, to_use=expected_one)
        if (playbook.driver.name == "page") != (playbook.page is not None):
            expected = "a page for the driver page, and for no other driver"
            at = ("page",) if playbook.page is not None else ("driver", "name")
            yield text.mistake(at, expected, "a page" if playbook.page is not None else "no page")
        for number, caution in enumerate(playbook.cautions):
            if known is not None and caution not in known:
                expected = "a caution that cautions.yaml has: " + ", ".join(sorted(known))
                yield text.mistake(("cautions", number), expected, caution, nearest(caution, known))

    if read.bench is not None:
        needed = [p for p, _ in read.playbooks.read if any(r.model in p.models for r in read.roster.rows)]
        yield from _ways_in(read.bench, read.bench_text, needed, read)


def _ways_in(bench: BenchFile, text: YamlText, needed: list[Playbook], read: Files) -> Iterator[Mistake]:
    """Yield the connectors without a cable, and cables that fit nothing any playbook knows."""
    connectors = {cable.connector for cable in bench.cables}
    for playbook in needed:
        if playbook.connector is not None and playbook.connector not in connectors:
            expected = f"a cable with the connector {playbook.connector}, which {', '.join(playbook.models)} needs"
            found = "cables with " + ", ".join(sorted(connectors)) if connectors else "no cable"
            yield text.mistake(("cables",), expected, found, nearest(playbook.connector, connectors))
        if playbook.wifi and not bench.adapters:
            expected = f"a Wi-Fi adapter, which {', '.join(playbook.models)} needs"
            yield text.mistake(("adapters",), expected, "none")

    known = {playbook.connector for playbook, _ in read.playbooks.read if playbook.connector is not None}
    for number, cable in enumerate(bench.cables):
        if known and cable.connector not in known and not read.playbooks.broken:
            expected = "a connector that a playbook names: " + ", ".join(sorted(known))
            yield text.mistake(
                ("cables", number, "connector"), expected, cable.connector, nearest(cable.connector, known)
            )


def _packs(read: Files) -> Iterator[Mistake]:
    if read.bench is None:
        return
    for number, pack in enumerate(read.bench.packs):
        for position, model in enumerate(pack.fits):
            if not read.playbooks.covers(model):
                expected = "a model that a playbook covers: " + ", ".join(read.playbooks.models)
                path = ("packs", number, "fits", position)
                yield read.bench_text.mistake(path, expected, model, nearest(model, read.playbooks.models))


def _roster(read: Files) -> Iterator[Mistake]:
    by_model = {model: playbook for playbook, _ in read.playbooks.read for model in playbook.models}
    columns = read.roster.columns
    for row in read.roster.rows:
        playbook = by_model.get(row.model)
        if playbook is None and not read.playbooks.covers(row.model):
            expected = "a model that a playbook covers: " + (", ".join(by_model) or "there is none")
            near = nearest(row.model, by_model)
            yield Mistake(read.roster.file, row.line, columns["model"], expected, row.model, near)
        elif playbook is not None and row.role not in playbook.roles:
            expected = f"a role of {row.model}: " + ", ".join(role.value for role in playbook.roles)
            yield Mistake(read.roster.file, row.line, columns["role"], expected, row.role.value)
        yield from _within_hours(read, row.line, "arrives", row.arrives)
        yield from _within_hours(read, row.line, "promised", row.promised)


def _within_hours(read: Files, line: int, column: str, clock_time: str | None) -> Iterator[Mistake]:
    if read.day is None or clock_time is None:
        return
    if any(hours.opens <= clock_time <= hours.closes for hours in read.day.hours):
        return
    expected = "a time within the hours, " + " or ".join(f"{h.opens} to {h.closes}" for h in read.day.hours)
    yield Mistake(read.roster.file, line, read.roster.columns[column], expected, clock_time)
