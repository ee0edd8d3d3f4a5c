"""Short inputs that begin with a slash, at any prompt."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchday.cli import day_view
from benchday.cli.terminal.prompts import NamePrompt, ReasonPrompt
from benchday.domain.clean import clean
from benchday.domain.errors import InputError
from benchday.domain.fold import ItemState
from benchday.domain.telling.figures import clock, local
from benchday.inputs.outcome import nearest

if TYPE_CHECKING:
    from benchday.cli.terminal.conversation import Conversation


@dataclass(frozen=True, slots=True)
class Sheet:
    """A text to read."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Command:
    """One short input."""

    usage: str
    what: str
    do: Callable[[Conversation, str], Awaitable[None]]


async def _as(talk: Conversation, rest: str) -> None:
    names = tuple(o.name for o in talk.desk.plan.bench.operators)
    prompt = NamePrompt(names)
    name = prompt.name(rest) if rest else None
    if name is not None:
        await talk.act_as(name)
    elif rest:
        raise InputError(f"{rest!r} is none of: {', '.join(names)}")
    else:
        talk.ask(prompt)


async def _lift(talk: Conversation, rest: str) -> None:
    serial = _unit(talk, rest)
    story = talk.desk.state.units[serial]
    if story.held_reason is None:
        raise InputError(f"{serial} is not held")
    talk.show(
        Sheet(f"Held: {serial}", (f"Reason: {clean(story.held_reason)}", f"Lifts it: {clean(story.held_lifts or '')}"))
    )
    talk.ask(ReasonPrompt(serial))


async def _find(talk: Conversation, rest: str) -> None:
    serial = _unit(talk, rest)
    story, zone = talk.desk.state.units[serial], talk.desk.plan.zone
    items = [f"item {i.item.id}: {_first(i.item.text)}" for i in talk.desk.items() if i.item.unit == serial]
    places = ", ".join(f"{pool} {place}" for pool, place in story.places.items()) or "no place"
    lines = [
        f"{story.model} of {story.customer}, crew {story.crew or 'none'}, role {story.role}",
        f"state: {story.state.value} since {local(story.since_us, zone)}; {places}",
        f"release: {story.had or '-'} before, {story.has or '-'} now, target {story.target or '-'}",
        *([f"why: {story.target_reason}"] if story.target_reason else []),
        *([f"held: {story.held_reason}. Lifts it: {story.held_lifts}"] if story.held_reason else []),
        *(items or ["no open item"]),
    ]
    talk.show(Sheet(f"Unit {talk.naming(clean(serial))}", tuple(clean(line) for line in lines)))


async def _renew(talk: Conversation, rest: str) -> None:
    talk.say(await talk.desk.renew(_unit(talk, rest)))


async def _early(talk: Conversation, rest: str) -> None:
    crews = {u.crew for u in talk.desk.state.units.values() if u.crew}
    talk.say(await talk.desk.want_back(rest if rest in crews else _unit(talk, rest)))


async def _next(talk: Conversation, rest: str) -> None:
    talk.say(await talk.desk.put_next(_unit(talk, rest)))


async def _outlook(talk: Conversation, _: str) -> None:
    outlook, zone = talk.desk.outlook, talk.desk.plan.zone
    if outlook is None:
        talk.say("The rest of the day is not foreseen yet.")
        return
    talk.show(
        Sheet(f"How the day will end, as of {clock(outlook.at_us, zone)}", tuple(day_view.foreseen(outlook, zone)))
    )


async def _choose(talk: Conversation, rest: str) -> None:
    if not rest:
        raise InputError("which crew? Type its name after the command")
    talk.say(await talk.desk.choose(rest))


async def _stop(talk: Conversation, _: str) -> None:
    talk.say(talk.desk.stop())


async def _help(talk: Conversation, _: str) -> None:
    talk.show(Sheet("Help", (*HELP, *(f"/{c.usage:<14} {c.what}" for c in COMMANDS.values()))))


async def _items(talk: Conversation, _: str) -> None:
    lines = [_listed(talk, i) for i in talk.desk.items()]
    talk.show(Sheet(f"All {len(lines)} items for hands", tuple(lines) or ("none",)))


def _listed(talk: Conversation, state: ItemState) -> str:
    item = state.item
    mark = "! SAFETY " if item.safety else ""
    who = f" (taken by {state.taken_by})" if state.taken_by else ""
    unit = talk.naming(clean(item.unit or "-"))
    return f"{item.id:>4}  {item.station or '-':<4} {unit:<14} {mark}{_first(item.text)}{who}"


async def _waiting(talk: Conversation, _: str) -> None:
    units = day_view.waiting(talk.desk.state, talk.desk.waiting_reasons())
    talk.show(Sheet(f"All {len(units)} waiting", _asides(units)))


async def _held(talk: Conversation, _: str) -> None:
    units = day_view.held(talk.desk.state)
    stopped = [
        f"line {model} {release} is stopped: {clean(why)}"
        for (model, release), why in talk.desk.state.lines_stopped.items()
    ]
    talk.show(Sheet(f"All {len(units)} held", (*_asides(units), *stopped)))


async def _stations(talk: Conversation, _: str) -> None:
    desk = talk.desk
    lines = []
    for s in day_view.stations(desk.state, desk.plan.bench, desk.ticks, desk.now()):
        progress = f" {s.what} {s.percent} %" if s.percent is not None else ""
        until = f", until {clock(s.until_us, desk.plan.zone)}" if s.until_us else ""
        ends_us = desk.outlook.units_us.get(desk.state.holder("station", s.name) or "") if desk.outlook else None
        until += f", free about {clock(ends_us, desk.plan.zone)}" if ends_us else ""
        hands = f", waits for hands: item {s.item}" if s.item else ""
        lines.append(
            f"{s.name}: {talk.naming(s.unit)} {s.model}, {s.step}{progress}{until}{hands}"
            if s.unit
            else f"{s.name}: free"
        )
    talk.show(Sheet("All stations", tuple(lines)))


async def _back(talk: Conversation, _: str) -> None:
    talk.back()


def _asides(units: Iterable[day_view.AsideView]) -> tuple[str, ...]:
    lines = [
        f"{u.serial} {u.model}, crew {u.crew or 'none'}: {u.reason}" + (f". Lifts it: {u.lifts}" if u.lifts else "")
        for u in units
    ]
    return tuple(lines) or ("none",)


def _first(text: str) -> str:
    return clean(text.splitlines()[0] if text else "")


def _unit(talk: Conversation, code: str) -> str:
    if not code:
        raise InputError("which unit? Type its serial after the command")
    serial = talk.desk.serial_in(code)
    if serial not in talk.desk.state.units:
        near = nearest(serial, talk.desk.state.units)
        raise InputError(f"no unit {clean(code)} today" + (f"; did you mean {near}?" if near else ""))
    return serial


COMMANDS: Mapping[str, Command] = {
    "as": Command("as [NAME]", "switch to another operator, by name or number", _as),
    "find": Command("find SERIAL", "how a unit stands", _find),
    "lift": Command("lift SERIAL", "lift a hold, with a reason", _lift),
    "renew": Command("renew SERIAL", "enter a renewed support term, with what shows it", _renew),
    "early": Command("early SERIAL", "enter by when a unit, or a crew's whole set, is wanted back", _early),
    "next": Command("next SERIAL", "let a unit go before all others, and see what that costs", _next),
    "forecast": Command("forecast", "when the day ends, and each crew against its promise", _outlook),
    "choose": Command("choose CREW", "choose anew what a set does that does not come along whole", _choose),
    "items": Command("items", "all items for hands", _items),
    "stations": Command("stations", "all stations", _stations),
    "waiting": Command("waiting", "all waiting units, with the reasons", _waiting),
    "held": Command("held", "all held units and stopped lines", _held),
    "back": Command("back", "leave what is open, as Esc does", _back),
    "stop": Command("stop", "stop the day: no new step begins, running writes are let finish", _stop),
    "help": Command("help", "this text", _help),
}
"""Word -> what it does."""

HELP = (
    "A scanned or typed code moves to that unit's item; an unknown one may be a walk-in.",
    "The number of an item opens it. Its values are asked for one after the other; Enter gives each.",
    "Up and Down select an item to read, PgUp and PgDn scroll its text, Esc leaves what is open.",
    "Ctrl-C stops the day, as /stop does.",
    "",
)
