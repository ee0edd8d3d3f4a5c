"""What must agree across the files of a day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.errors import Mistake
from benchday.domain.playbook import Playbook
from benchday.domain.releases import ImageList
from benchday.inputs.image_store import image_mistakes
from benchday.inputs.outcome import nearest, shown
from benchday.inputs.playbook_files import Playbooks
from benchday.inputs.roster_csv import Roster
from benchday.inputs.yaml_text import YamlText

BUILT_IN_DRIVERS = ("console", "web", "storage", "watch", "by-hand")
DRIVERS_GROUP = "benchday.drivers"
"""Entry points of this group name drivers that are plug-ins."""


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


def mistakes_across(read: Files) -> list[Mistake]:
    """Return what does not agree; parts that could not be read are left out."""
    mistakes = [*_day(read), *_playbooks(read), *_packs(read), *_roster(read)]
    if read.day is not None and read.images is not None:
        store = read.folder / read.day.image_store
        mistakes += image_mistakes(read.images, read.images_text, store, read.playbooks)
    return mistakes


def driver_names() -> tuple[str, ...]:
    """Return the drivers that a playbook may name: the built-in ones and the installed plug-ins."""
    return (*BUILT_IN_DRIVERS, *sorted(point.name for point in entry_points(group=DRIVERS_GROUP)))


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
    drivers = driver_names()
    known = read.playbooks.cautions.names if read.playbooks.cautions is not None else None
    for playbook, text in read.playbooks.read:
        if playbook.driver.name not in drivers:
            name = playbook.driver.name
            expected = "an installed driver: " + ", ".join(drivers)
            yield text.mistake(("driver", "name"), expected, name, nearest(name, drivers))
        for number, caution in enumerate(playbook.cautions):
            if known is not None and caution not in known:
                expected = "a caution that cautions.yaml has: " + ", ".join(sorted(known))
                yield text.mistake(("cautions", number), expected, caution, nearest(caution, known))

    needed = [(p, read.roster) for p, _ in read.playbooks.read if any(r.model in p.models for r in read.roster.rows)]
    if read.bench is not None:
        yield from _ways_in(read.bench, read.bench_text, [playbook for playbook, _ in needed], read)


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
