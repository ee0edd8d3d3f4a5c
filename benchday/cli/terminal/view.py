"""What the screen shows, taken from desk and conversation at one moment."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchday.cli import day_view
from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.prompts import CautionPrompt, Idle, ItemPrompt, Question
from benchday.domain.clean import clean
from benchday.domain.fold import ItemState
from benchday.domain.items import Wanted
from benchday.domain.telling.figures import clock, figures
from benchday.domain.units import blanked

SLOW_RECORD_S = 3
"""Real seconds; an entry mostly takes a few thousandths of one."""


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One item of the queue."""

    id: str
    station: str
    unit: str
    text: str
    safety: bool
    taken_by: str
    mine: bool
    """The operator who acts may answer it."""


@dataclass(frozen=True, slots=True)
class View:
    """One moment."""

    day: str
    time: str
    closes: str
    ends: str
    """By when the day ends in 80 of 100 drawn days; empty while nobody foresees it."""
    free: dict[str, str]
    """Station -> local time at which its unit will probably leave it."""
    operator: str
    simulated: bool
    stations: tuple[day_view.StationView, ...]
    until: dict[str, str]
    """Station -> local time at which its step is expected to end."""
    waiting: tuple[day_view.AsideView, ...]
    held: tuple[day_view.AsideView, ...]
    stopped: tuple[str, ...]
    """Stopped lines, with the reasons."""
    queue: tuple[QueueRow, ...]
    selected: str | None
    opened: bool
    """An item is open: its text gets the room."""
    title: str
    text: str
    scroll: int
    question: Question
    message: str


def view_of(talk: Conversation) -> View:
    """Return what is to be shown now."""
    desk, state, zone = talk.desk, talk.desk.state, talk.desk.plan.zone
    begun, outlook, confirming = state.begun or {}, desk.outlook, talk.confirming()
    stations = tuple(
        replace(s, unit=blanked(s.unit)) if s.unit and s.unit in confirming else s
        for s in day_view.stations(state, desk.plan.bench, desk.ticks, desk.now())
    )
    title, text = _text(talk)
    return View(
        day=clean(str(begun.get("day", desk.plan.day.day))),
        time=clock(desk.now(), zone),
        closes=clock(begun["closes_us"], zone) if begun else "",
        ends=clock(outlook.p80_us, zone) if outlook is not None else "",
        free=_free(talk),
        operator=clean(talk.operator),
        simulated=bool(begun.get("simulated")),
        stations=stations,
        until={s.name: clock(s.until_us, zone) for s in stations if s.until_us},
        waiting=day_view.waiting(state, desk.waiting_reasons()),
        held=day_view.held(state),
        stopped=tuple(clean(f"{m} {r}: {why}") for (m, r), why in state.lines_stopped.items()),
        queue=tuple(_row(talk, i, confirming) for i in desk.items()),
        selected=talk.selected,
        opened=not isinstance(talk.prompt, Idle) or talk.sheet is not None,
        title=title,
        text=text,
        scroll=talk.scroll,
        question=talk.prompt.question(),
        message=_slow_record(desk.record_waits_s()) or talk.message,
    )


def _slow_record(seconds: int) -> str:
    if seconds < SLOW_RECORD_S:
        return ""
    return (
        f"The record has not taken an entry for {seconds} s, the bench waits: another program has it locked, or the "
        "disk is slow. Leave the units as they are."
    )


def _free(talk: Conversation) -> dict[str, str]:
    outlook, state, zone = talk.desk.outlook, talk.desk.state, talk.desk.plan.zone
    if outlook is None:
        return {}
    held = {s.name: state.holder("station", s.name) or "" for s in talk.desk.plan.bench.stations}
    return {name: clock(outlook.units_us[u], zone) for name, u in held.items() if u in outlook.units_us}


def _row(talk: Conversation, state: ItemState, confirming: frozenset[str | None]) -> QueueRow:
    item = state.item
    serial = clean(item.unit or str(item.figures.get("serial", "-")))
    first = item.text.split("\n", 1)[0]
    if item.unit:
        # The row names the unit already.
        first = first.replace(f" unit {item.unit}", "", 1)
    return QueueRow(
        id=item.id,
        station=clean(item.station or "-"),
        unit=blanked(serial) if serial in confirming else serial,
        text=clean(first),
        safety=item.safety,
        taken_by=clean(state.taken_by or ""),
        mine=talk.desk.may(talk.operator, state),
    )


def _text(talk: Conversation) -> tuple[str, str]:
    if isinstance(talk.prompt, CautionPrompt):
        caution = talk.prompt.cautions[0]
        return f"CAUTION: {caution.name}", clean(caution.text)
    if talk.sheet is not None:
        return talk.sheet.title, "\n".join(talk.sheet.lines)
    shown = talk.shown
    if shown is None:
        return "Nothing for hands", "Nothing needs your hands now. Scan a unit that comes in."
    item = shown.item
    parts = [f"Item {item.id}", item.kind.value, *([f"station {item.station}"] if item.station else [])]
    if shown.taken_by:
        parts.append(f"taken by {shown.taken_by}")
    told = [clean(item.text, keep_lines=True)]
    if item.figures:
        told.append(clean(figures(item.figures, talk.desk.plan.zone)))
    if isinstance(talk.prompt, ItemPrompt) and talk.prompt.values:
        told.append("")
        told += [f"  {w.label}: {_said(talk.prompt.values[w.name])}" for w in _asked(talk.prompt)]
    return clean(", ".join(parts)), "\n".join(told)


def _asked(prompt: ItemPrompt) -> list[Wanted]:
    return [w for w in prompt.item.wanted if w.name in prompt.values]


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return clean(str(value)) if value is not None else "left out"
