"""What operators, faults, time and restarts can do to a bench, in any order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import anyio

from benchday.bench.editing import Edit
from benchday.domain.errors import (
    BenchdayError,
    LinkGone,
    LinkSilent,
    OutcomeUnknown,
    PermitRefused,
    Refused,
    TransferCut,
)
from benchday.domain.fold import ItemState
from benchday.domain.permits import Act, ConfirmedBy, Loss, Permit, Reading, Verb
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.units import wanted_characters
from benchday.testing.clock import ManualClock
from tests.bench.shop import INES, MINUTE_US, TOBIAS, OpenDay
from tests.safety.watched import WatchedShop

FAULTS: dict[str, Callable[[], Exception]] = {
    "before write": lambda: Refused("busy", "try again later"),
    "write": lambda: TransferCut("the line vanished", 100),
    "after write": lambda: OutcomeUnknown("the last word is missing"),
    "restart": lambda: LinkGone("gone"),
    "identify": lambda: LinkSilent("nothing came"),
    "recordings": lambda: LinkGone("gone"),
    "fetch": lambda: TransferCut("half of it", 10),
    "power": lambda: LinkGone("gone"),
}
"""Method of a unit -> what befalls its next call."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing done: a name of ``DEEDS``, the unit it is about and a detail."""

    name: str
    unit: int
    detail: str = ""


class Doing:
    """A shop with a day that runs, and what can be done to it."""

    def __init__(self, shop: WatchedShop, serials: tuple[str, ...]) -> None:
        self.shop, self.serials = shop, serials
        self.day: OpenDay | None = None
        self.edits: list[Edit] = []
        shop.look = self._look
        for topic in ("confirm", "interrupted", "line"):
            shop.people.answers[topic] = None

    async def do(self, deed: Deed) -> None:
        """Do it, then let everybody go on as far as they can."""
        assert self.day is not None
        unit = self.serials[deed.unit % len(self.serials)]
        await _DEEDS[deed.name](self, self.day, unit, deed.detail)
        await settled()
        self.check()

    def check(self) -> None:
        """Everything that must hold after each deed."""
        assert self.shop.faults == []
        assert len(set(self.shop.spent())) == len(self.shop.spent()), "an act was spent twice"
        assert len(set(self.shop.begun)) == len(self.shop.begun), "two writes under one act"
        assert set(self.shop.begun) <= set(self.shop.spent()), "a write without an act"

    async def _look(self, _: DayPlan) -> Edit:
        while not self.edits:
            assert self.day is not None
            await self.day.desk.changed()
        return self.edits.pop()

    def items(self, topic: str, unit: str | None = None) -> list[ItemState]:
        """Open items whose topic begins so."""
        assert self.day is not None
        return [i for i in self.day.desk.items() if i.item.topic.startswith(topic) and unit in (None, i.item.unit)]


async def settled() -> None:
    """Return once nobody can go on without an answer or time."""
    # A clock for which nobody waits: its jump is the wait for everybody else.
    await ManualClock().jump()


async def _answer(day: OpenDay, asked: ItemState, value: dict[str, Any], who: str = INES, by: str = "person") -> None:
    try:
        await day.desk.answer(asked.item.id, value, who, by)
    except BenchdayError:
        return


async def _confirm(doing: Doing, day: OpenDay, unit: str, how: str) -> None:
    for asked in doing.items("confirm", unit)[:1]:
        here = frozenset(s.serial for s in day.state.units.values() if s.present)
        others = [s for s in doing.serials if s != unit]
        label = {"wrong": "0000", "other": others[0] if others else "1111", "whole": unit, "nothing": ""}
        value = {"answer": "write", "label": label.get(how, wanted_characters(unit, here))}
        await _answer(day, asked, value, TOBIAS if how == "helper" else INES, "pipe" if how == "pipe" else "person")


async def _not_now(doing: Doing, day: OpenDay, unit: str, _: str) -> None:
    for asked in doing.items("confirm", unit)[:1]:
        await _answer(day, asked, {"answer": "not now"})


async def _decide(doing: Doing, day: OpenDay, unit: str, how: str) -> None:
    for asked in doing.items("interrupted", unit)[:1]:
        await _answer(day, asked, {"answer": how, "reason": "looked at"})


async def _lift_line(doing: Doing, day: OpenDay, _: str, __: str) -> None:
    for asked in doing.items("line ")[:1]:
        await _answer(day, asked, {"answer": "lift", "reason": "looked into"})


async def _lift(_: Doing, day: OpenDay, unit: str, __: str) -> None:
    if day.unit(unit).state is State.HELD and day.unit(unit).station is None:
        await day.desk.lift(unit, "put right", INES)


async def _void(doing: Doing, day: OpenDay, unit: str, _: str) -> None:
    await day.tools.queue.void_for(unit, "for the sake of it")


async def _edit(doing: Doing, day: OpenDay, _: str, detail: str) -> None:
    digests = {**day.tools.plan.digests, "playbook:millrace": detail * 64}
    doing.edits.append(Edit(replace(doing.shop.plan, digests=digests), ("the playbook was edited",)))
    day.tools.book.nudge()


async def _scan(doing: Doing, day: OpenDay, unit: str, _: str) -> None:
    await day.desk.scan(unit)


async def _befall(doing: Doing, _: OpenDay, unit: str, what: str) -> None:
    doing.shop.units[unit].befalls[what].append(FAULTS[what]())


async def _swap(doing: Doing, _: OpenDay, unit: str, __: str) -> None:
    fake = doing.shop.units[unit]
    fake.serial = "999999999999" if fake.serial == unit else unit


async def _record(doing: Doing, _: OpenDay, unit: str, name: str) -> None:
    doing.shop.units[unit].recordings[name] = f"{name} of {unit} at {doing.shop.clock.now()}".encode()


async def _stand_still(doing: Doing, _: OpenDay, unit: str, __: str) -> None:
    doing.shop.units[unit].half_way = doing.shop.units[unit].half_way or anyio.Event()


async def _go_on(_: Doing, day: OpenDay, unit: str, __: str) -> None:
    day.go_on_writing(unit)


async def _pass(doing: Doing, _: OpenDay, __: str, minutes: str) -> None:
    doing.shop.clock.advance(int(minutes) * MINUTE_US)


async def _use_old(doing: Doing, day: OpenDay, unit: str, _: str) -> None:
    """Try every permit that was given before this program began, voided, or spent: none may work."""
    entries = doing.shop.journal.read()
    began = max(e.seq for e in entries if e.kind == "program_started")
    dead = {e.facts["id"] for e in entries if e.kind == "permit_voided"} | {p for p, _ in doing.shop.spent()}
    for entry in entries:
        if entry.kind == "permit_given" and (entry.seq < began or entry.facts["id"] in dead):
            await _must_be_refused(doing, day, _permit(entry.facts["permit"]))


async def _must_be_refused(doing: Doing, day: OpenDay, permit: Permit) -> None:
    act = permit.acts[0]
    reading = Reading(permit.unit, permit.model, permit.hardware, act.verb, act.digest, permit.playbook_digest)
    try:
        async with day.tools.book.beside() as journal:
            await journal.spend(permit, reading)
    except PermitRefused:
        return
    doing.shop.faults.append(f"an old permit for {permit.unit} was spent")


def _permit(told: dict[str, Any]) -> Permit:
    acts = tuple(Act(Verb(a["verb"]), a["digest"], a["bytes"], a["release"]) for a in told["acts"])
    losses = tuple(Loss(**x) for x in told["losses"])
    return Permit(**{**told, "acts": acts, "losses": losses, "confirmed_by": ConfirmedBy(told["confirmed_by"])})


_DEEDS: dict[str, Callable[[Doing, OpenDay, str, str], Any]] = {
    "confirm": _confirm,
    "not now": _not_now,
    "decide": _decide,
    "lift line": _lift_line,
    "lift": _lift,
    "void": _void,
    "edit": _edit,
    "scan": _scan,
    "befall": _befall,
    "swap": _swap,
    "record": _record,
    "stand still": _stand_still,
    "go on": _go_on,
    "pass": _pass,
    "use old": _use_old,
}
