"""What to lay out, in lines for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from benchday.cli.output import wrapped
from benchday.domain.bench import Instruments
from benchday.domain.checks import Answer
from benchday.domain.clean import clean
from benchday.domain.plan import DayPlan
from benchday.planning.disk_room import expectation
from benchday.planning.layout import Layout
from benchday.planning.wording import counted, in_bytes

HEADS = ("", "useful", "there", "short", "units", "which")


def layout_lines(plan: DayPlan, layout: Layout, page: Path | None) -> Iterator[str]:
    """Yield the lines.

    Args:
        plan: the day's inputs.
        layout: what to lay out for it.
        page: the page that was written.
    """
    simulated = "  SIMULATED" if plan.day.instruments is Instruments.SIMULATED else ""
    yield f"{clean(plan.day.day)}, {plan.hours.date}{simulated}"
    stations = counted(len(plan.bench.stations), "station")
    yield f"{counted(len(plan.roster), 'unit')} expected of {counted(len(layout.slips), 'crew')}; {stations}"
    yield "\nOn the bench"
    yield from _aligned([HEADS, *_things(layout)])
    if layout.by_hand:
        yield wrapped(f"by hand: {', '.join(layout.by_hand)}", "    ", "  ")
    yield f"\nImages: {len(layout.images)}, {in_bytes(layout.images_bytes)} together"
    yield from _aligned(list(_images(layout)), indent=4)
    room = layout.room
    free = "not known" if room.free_bytes is None else in_bytes(room.free_bytes)
    yield "\nRoom on the record's disk"
    yield wrapped(f"free: {free}; must stay free: {in_bytes(room.spare_bytes)}; {expectation(room)}", "  ")
    yield from _findings(layout)
    yield "\nWho comes"
    yield from _aligned([(s.arrives or "?", s.title, ", ".join(u.serial for u in s.units)) for s in layout.slips])
    if page is not None:
        yield f"\nTo print: {page} ({counted(len(layout.slips), 'slip')}, and what to lay out)"


def _things(layout: Layout) -> Iterator[tuple[str, ...]]:
    for thing in layout.joinings:
        figures = (str(thing.at_once), str(len(thing.owned)), str(thing.short or "-"), str(len(thing.units)))
        yield thing.one, *figures, ", ".join(thing.owned)
    charging = layout.charging
    owned = str(len(charging.owned))
    yield "charger", "-", owned, "-", str(len(charging.units)), ", ".join(charging.owned)
    for spares in layout.spares:
        packs = ", ".join(f"{pack.number} {pack.charge_percent} %" for pack in spares.packs)
        yield f"charged pack {spares.model}", "-", str(len(spares.packs)), "-", str(len(spares.units)), packs
    for supply in layout.external:
        yield f"external supply {supply.model}", str(supply.at_once), "?", "-", str(len(supply.units)), "count them"


def _images(layout: Layout) -> Iterator[tuple[str, ...]]:
    for need in layout.images:
        perhaps = f"perhaps {len(need.perhaps)}" if need.perhaps else ""
        units = counted(len(need.units), "unit") if need.units else ""
        uses = ", ".join(part for part in (units, perhaps) if part)
        yield need.image.file, need.image.release, f"{need.image.bytes:,}", uses, need.image.sha256


def _findings(layout: Layout) -> Iterator[str]:
    for answer, title in ((Answer.STOP, "Stops: put right before the day"), (Answer.ASK, "To look at")):
        found = [finding for finding in layout.findings if finding.answer is answer]
        if found:
            yield f"\n{title}"
        for finding in found:
            yield wrapped(f"{'!' if answer is Answer.STOP else '-'} {clean(finding.text)}", "    ", "  ")


def _aligned(rows: Sequence[Sequence[str]], indent: int | None = None) -> Iterator[str]:
    """Yield rows with their columns one below the other; a last one that is too long goes on in further lines.

    Args:
        rows: of equal length.
        indent: columns before further lines; None puts them below the last column.
    """
    cleaned = [[clean(cell) for cell in row] for row in rows]
    widths = [max(len(cell) for cell in column) for column in zip(*cleaned, strict=True)][:-1]
    for *cells, last in cleaned:
        head = "  " + "".join(f"{cell.ljust(width)}  " for cell, width in zip(cells, widths, strict=True))
        yield wrapped(last, " " * (len(head) if indent is None else indent), head)
