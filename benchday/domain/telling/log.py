"""A unit's log: its entries as a story in chapters, with a head that sums it up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from benchday.domain.clean import clean
from benchday.domain.entries import Entry
from benchday.domain.telling import of_acts, of_days, of_readings, of_troubles, of_units
from benchday.domain.telling.figures import local
from benchday.domain.telling.head import head
from benchday.domain.telling.told import Chapter, Log, LookUp, Telling, Told

SENTENCES = {
    **of_days.SENTENCES,
    **of_units.SENTENCES,
    **of_readings.SENTENCES,
    **of_acts.SENTENCES,
    **of_troubles.SENTENCES,
}
"""Kind -> how it is told. A test holds the kinds complete."""

CONTEXT = frozenset(
    {"day_begun", "program_started", "input_read", "terms_read", "images_accepted", "record_restored", "clock_stepped"}
)
"""Kinds about the whole day that a unit's log rests on."""
_TOLD_TOO = frozenset({"day_begun", "record_restored", "clock_stepped"})
"""Those of them that a unit's log tells."""

_TITLES = {
    "unit_expected": "Expected",
    "unit_arrived": "Check-in",
    "unit_walked_in": "Check-in",
    "unit_absent": "Absent",
    "charge_begun": "Charging",
    "charge_ended": "Waiting",
    "unit_sent_off": "Sent off",
    "unit_held": "Held",
    "attempts_ended": "As it is",
    "taken_as_it_is": "As it is",
    "unit_lifted": "Lifted",
    "unit_ready": "Ready",
    "unit_recalled": "Recalled",
    "set_decided": "The set",
    "set_proved": "The set",
}
_OF_SETS = ("set_proved", "set_decided")
_TOPICS = {"check in": "Check-in", "hand back": "Hand-back", "hand back as it is": "As it is", "charge": "Charging"}


def about(entries: Iterable[Entry], serial: str) -> tuple[Entry, ...]:
    """Return a bench's entries that a unit's log is told from: its own, its set's, and those of its days."""
    found: list[Entry] = []
    context: list[Entry] = []
    for entry in entries:
        if entry.kind in CONTEXT:
            context = [entry] if entry.kind == "day_begun" else [*context, entry]
        elif entry.unit == serial or (entry.kind in _OF_SETS and serial in entry.facts["units"]):
            found += context
            context = []
            found.append(entry)
    return tuple(found)


def tell(entries: Sequence[Entry], look_up: LookUp, serial: str, *, simulated: bool) -> Log:
    """Tell what ``about`` found.

    Args:
        entries: of one bench, in chain order.
        look_up: finds personal texts, which stand beside the chain.
        serial: of the unit.
        simulated: whether the record is.
    """
    telling = Telling(look_up)
    chapters: list[tuple[str, list[Told]]] = []
    for entry in entries:
        _prepare(telling, entry)
        if entry.kind in CONTEXT and entry.kind not in _TOLD_TOO:
            continue
        title = _title(entry, chapters[-1][0] if chapters else "")
        if not chapters or chapters[-1][0] != title:
            chapters.append((title, []))
        chapters[-1][1].append(told(telling, entry))
    return Log(
        head(entries, telling, serial),
        tuple(Chapter(title, lines[0].at_us, tuple(lines)) for title, lines in chapters),
        simulated,
    )


def told(telling: Telling, entry: Entry) -> Told:
    """Tell one entry; what comes from outside is made safe to show."""
    make = SENTENCES.get(entry.kind)
    place = telling.place
    text, details, mark = make(telling, entry) if make else (f"{entry.kind} (of a newer benchday)", (), "")
    return Told(
        seq=entry.seq,
        at_us=entry.at_us,
        when=local(entry.at_us, telling.zone),
        text=clean(text),
        details=tuple(clean(d) for d in details),
        operator=clean(entry.operator) if entry.operator else None,
        station=clean(entry.station) if entry.station else None,
        place=clean(telling.place or place or "") or None,
        mark=mark,
    )


def _prepare(telling: Telling, entry: Entry) -> None:
    if entry.kind == "day_begun":
        try:
            telling.zone = ZoneInfo(entry.facts["time_zone"])
        except (ZoneInfoNotFoundError, ValueError):
            return
        telling.items.clear()
        telling.settings_before.clear()
    elif entry.kind == "input_read" and entry.facts["name"].startswith("playbook:"):
        telling.playbooks[entry.facts["sha256"]] = entry.facts["name"].removeprefix("playbook:")


def _title(entry: Entry, current: str) -> str:
    if entry.kind == "day_begun":
        return f"The day {entry.facts['date']}"
    if entry.kind == "step_begun":
        tries = entry.facts["tries"]
        at = f" on station {entry.station}" if entry.station else ""
        return f"{entry.facts['step'].capitalize()}{at}" + (f", try {tries}" if tries > 1 else "")
    if entry.kind == "place_granted" and entry.facts["pool"] == "station":
        return f"On station {entry.facts['place']}"
    if entry.kind == "item_asked":
        return _TOPICS.get(entry.facts["item"]["topic"], current or "Items")
    return _TITLES.get(entry.kind, current or "Entries")
