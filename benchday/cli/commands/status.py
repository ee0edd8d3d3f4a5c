"""status: the day on one screen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import tzinfo
from pathlib import Path
from typing import Any

from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.cli.reading import opened, source_of
from benchday.cli.standing import bench_document
from benchday.domain.clean import clean
from benchday.domain.errors import RecordError
from benchday.domain.fold import DayState, ItemState, fold
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of
from benchday.domain.telling.figures import clock, local


def status(folder: Path, record: Path | None, *, as_json: bool) -> int:
    """Show how the day stands, from what is recorded.

    Raises:
        RecordError: no day was begun in the record.
    """
    source = source_of(folder if folder != Path() else None, record)
    with opened(source) as (reader, benches):
        states = {bench: fold(reader.read(bench)) for bench in benches}
        simulated = reader.simulated
    days = [(state, plan_of(state.inputs)) for state in states.values() if state.begun is not None]
    if not days:
        raise RecordError(f"no day was begun in the record at {source.record}; begin one with `benchday run`")
    told = [bench_document(state, plan, by_urgency(state)) for state, plan in days]
    if as_json:
        print_document("status", {"record": str(source.record), "simulated": simulated, "benches": told})
        return Exit.DONE
    for (state, plan), bench in zip(days, told, strict=True):
        for line in _lines(state, plan, bench):
            print(line)
    return Exit.DONE


def by_urgency(state: DayState) -> list[ItemState]:
    """Return the open items: safety first, then as they were asked."""
    return sorted(state.open_items(), key=lambda i: (not i.item.safety, i.item.asked_us))


def _lines(state: DayState, plan: DayPlan, bench: Mapping[str, Any]) -> Iterator[str]:
    zone = plan.zone
    simulated = "  SIMULATED" if bench["simulated"] else ""
    yield f"{clean(bench['day'])}, {bench['date']}{simulated}"
    closed = "closed" if bench["closed"] else f"open until {clock(bench['closes_us'], zone)}"
    yield f"as of {local(state.at_us, zone)}, {closed}; acting: {bench['acting'] or 'nobody'}"
    yield "units: " + (", ".join(f"{n} {name}" for name, n in bench["counts"].items()) or "none")
    yield "\nStations"
    for s in bench["stations"]:
        yield f"  {s['name']:<4} {_at_station(s, zone)}".rstrip()
    yield from _asides("Waiting", bench["waiting"])
    yield from _asides("Held", bench["held"])
    if bench["lines_stopped"]:
        yield "\nStopped lines"
        for line in bench["lines_stopped"]:
            yield wrapped(f"{line['model']} {line['release']}: {clean(line['reason'])}", "      ", "  ")
    yield f"\nItems for hands: {len(bench['items']) or 'none'}"
    for item in bench["items"]:
        yield wrapped(_item(item), "        ", f"  {item['id']:>4}  ")


def _at_station(s: Mapping[str, Any], zone: tzinfo) -> str:
    if s["unit"] is None:
        return "free"
    until = f"until {clock(s['until_us'], zone)}" if s["until_us"] else ""
    waits = f"waits for hands, item {s['item']}" if s["item"] else until
    return f"{s['unit']:<14} {s['model']:<10} {s['step']:<10} {s['place']:<4} {waits}".rstrip()


def _asides(title: str, units: list[Mapping[str, Any]]) -> Iterator[str]:
    if units:
        yield f"\n{title}"
    for u in units:
        lifts = f" Lifts it: {u['lifts']}" if u["lifts"] else ""
        at = f", still on station {u['station']}" if u["station"] else ""
        yield wrapped(f"{u['serial']} {u['model']}{at}: {u['reason']}.{lifts}", "      ", "  ")


def _item(item: Mapping[str, Any]) -> str:
    first = clean(str(item["text"]).splitlines()[0] if item["text"] else item["topic"])
    safety = "! SAFETY " if item["safety"] else ""
    taken = f" (taken by {item['taken_by']})" if item["taken_by"] else ""
    return f"{safety}{first}{taken}"
