"""check-in: a unit arrives, or does not; condition, accessories and the owner's consent are written down."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from benchday.bench.serving import Tools
from benchday.bench.targeting import target_facts, target_for
from benchday.domain.cautions import Every, Moment, cautions_at
from benchday.domain.checks import Check
from benchday.domain.entries import Draft
from benchday.domain.items import Answered, Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import ChargeWanted, UnitAbsent, UnitArrived, UnitWalkedIn
from benchday.domain.kinds_unit import CheckedIn
from benchday.domain.playbook import Playbook
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability, Role
from benchday.planning.charging import percent_wanted
from benchday.planning.forecast.outlook import slips
from benchday.planning.power import FLOOR_PERCENT, LEAST_ERROR_PERCENT
from benchday.planning.wording import MINUTE_US

WALK_IN = "walk-in "
CONSENTS = (
    Wanted("consent_release", "the owner agrees to a new release", WantedKind.FLAG, required=False),
    Wanted("consent_erase", "and that the write erases the recordings on it", WantedKind.FLAG, required=False),
    Wanted("consent_copy", "and that they are copied to the shop's archive", WantedKind.FLAG, required=False),
    Wanted(
        "keep_days", "how long copies are kept", WantedKind.INTEGER, unit="days", lowest=0, highest=3650, required=False
    ),
)
WHAT_CAME = (
    Wanted("brought_by", "who brought it", required=False, personal=True),
    Wanted("condition", "its condition, in words", required=False, personal=True),
    Wanted("missing", "accessories that did not come, with commas between", required=False),
    *CONSENTS,
    Wanted(
        "charge_percent",
        "charge shown, if it shows one",
        WantedKind.INTEGER,
        unit="%",
        lowest=0,
        highest=100,
        required=False,
    ),
)


def units_to_check_in(tools: Tools) -> Iterator[str]:
    """Yield the expected units that are due, or were scanned before their time."""
    now = tools.book.clock.now()
    asked = {i.item.unit for i in tools.book.state.open_items() if i.item.topic == "check in"}
    for story in tools.book.state.units.values():
        due = story.arrives_us is None or story.arrives_us <= now
        if (story.state is State.EXPECTED and due) or story.serial in asked:
            yield story.serial


async def check_in(tools: Tools, unit: str) -> None:
    """Check an expected unit in, or mark it absent."""
    story = tools.book.state.units[unit]
    playbook = tools.plan.playbook_for(story.model)
    came = ", ".join(playbook.accessories) if playbook else "as the crew says"
    text = f"Check in unit {unit} ({story.model}) of crew {story.crew or story.customer}. With it should come: {came}."
    item = arrive_item(
        tools, text, playbook, unit, Wanted("here", "is it here", WantedKind.CHOICE, ("arrived", "absent"))
    )
    answered = await tools.queue.ask(item)
    if answered.text("here") == "absent":
        if story.state is State.ABSENT:
            return
        facts = UnitAbsent(reason="it was not brought in")
        await tools.book.append(facts.draft(unit=unit, operator=answered.operator))
        return
    arrived = UnitArrived(checked_in=written_down(answered))
    here = replace(story, state=State.WAITING, checked_in=arrived.checked_in.model_dump(mode="json"))
    await tools.book.append(arrived.draft(unit=unit, operator=answered.operator), *_first_look(tools, here))


def arrive_item(tools: Tools, text: str, playbook: Playbook | None, unit: str | None, *first: Wanted) -> Item:
    """Return the check-in item with the cautions of that moment."""
    named = cautions_at(Moment.CHECK_IN, tools.plan.cautions, playbook.cautions if playbook else ())
    shown = [c for c in named if c.every is Every.TIME]
    return Item(
        id="",
        kind=ItemKind.ARRIVE,
        topic="check in",
        text="\n".join([text, *(f"CAUTION {c.text}" for c in shown)]),
        unit=unit,
        wanted=(*first, *WHAT_CAME),
        ability=Ability.CHECK_IN,
        cautions=tuple(c.name for c in shown),
    )


def written_down(answered: Answered) -> CheckedIn:
    """Turn the answer into what stands in the entry; a person's own words are references already."""
    return CheckedIn(
        brought_by_ref=answered.text("brought_by") or None,
        condition_ref=answered.text("condition") or None,
        missing=[m.strip() for m in answered.text("missing").split(",") if m.strip()],
        consent_release=answered.flag("consent_release"),
        consent_erase=answered.flag("consent_erase"),
        consent_copy=answered.flag("consent_copy"),
        keep_days=answered.integer("keep_days") or 0,
        charge_percent=answered.integer("charge_percent"),
    )


def _first_look(tools: Tools, story: UnitStory) -> list[Draft]:
    """Say what the unit should get as far as is known, and send it to a charger if it plainly needs one.

    This stands in one append with its arrival: the dispatcher must not see a unit whose gates it cannot know.
    """
    target = target_for(tools, story)
    drafts = [target_facts(target).draft(unit=story.serial)]
    if target.route and (wanted := _charge_wanted(tools, story)) is not None:
        drafts.append(wanted.draft(unit=story.serial))
    return drafts


def _charge_wanted(tools: Tools, story: UnitStory) -> ChargeWanted | None:
    """Return the wish for a charger, if the charge shown is plainly too little and nothing at a station will help."""
    playbook, percent = tools.plan.playbook_for(story.model), story.checked_in.get("charge_percent")
    if playbook is None or percent is None:
        return None
    used = tools.book.state.packs_used
    packs = [p for p in tools.plan.bench.packs if story.model in p.fits and p.number not in used]
    needed = playbook.limit(Check.POWER, "floor_percent", FLOOR_PERCENT) + LEAST_ERROR_PERCENT
    pack = bool(packs) and playbook.power.pack_swap
    wanted = percent_wanted(percent, needed, external=playbook.power.external, pack=pack)
    if wanted is None:
        return None
    return ChargeWanted(percent=wanted, why=f"{percent} % is under the {needed} % that a write needs")


async def walk_in(tools: Tools, serial: str) -> None:
    """Accept a unit that no roster expected, with model, customer and consent; or find that the scan was a mistake."""
    models = tuple(m for p in tools.plan.playbooks for m in p.models)
    first = (
        Wanted("accept", "accept it, or a scan by mistake", WantedKind.CHOICE, ("accept", "mistake")),
        Wanted("model", "its model", WantedKind.CHOICE, models, required=False),
        Wanted("customer", "whose it is", required=False),
        Wanted("crew", "its crew, if any", required=False),
        Wanted("role", "its role", WantedKind.CHOICE, tuple(r.value for r in Role), required=False),
        Wanted("support_until", "last day of its support term", WantedKind.DATE, required=False),
    )
    text = f"Unit {serial} is on no roster. Whose is it, what is it, and does the owner agree to the service?"
    text = "\n".join([text, *await _what_it_costs(tools, serial, models)])
    asked = arrive_item(tools, text, None, None, *first)
    item = replace(asked, topic=f"{WALK_IN}{serial}", figures={"serial": serial})
    answered = await tools.queue.ask(item, verdict=_walk_in_lacks)
    if answered.text("accept") != "accept" or serial in tools.book.state.units:
        return
    facts = UnitWalkedIn(
        model=answered.text("model"),
        customer=answered.text("customer"),
        crew=answered.text("crew"),
        role=answered.text("role") or Role.NONE.value,
        support_until=answered.text("support_until") or None,
        position=len(tools.book.state.units),
        checked_in=written_down(answered),
    )
    came = facts.checked_in.model_dump(mode="json")
    story = UnitStory(
        serial=serial, model=facts.model, customer=facts.customer, crew=facts.crew, role=facts.role,
        position=facts.position, support_until=facts.support_until, state=State.WAITING, checked_in=came,
    )  # fmt: skip
    await tools.book.append(facts.draft(unit=serial, operator=answered.operator), *_first_look(tools, story))


async def _what_it_costs(tools: Tools, serial: str, models: Iterable[str]) -> list[str]:
    """Say for each model what accepting the unit does to the day's end and to the promises."""
    before = await tools.foreseer.with_changes() if tools.foreseer is not None else None
    if tools.foreseer is None or before is None:
        return []
    told = []
    for model in models:
        story = UnitStory(
            serial, model, "", "", Role.NONE.value, len(tools.book.state.units), state=State.WAITING,
            waiting_since_us=tools.book.clock.now(),
        )  # fmt: skip
        target = target_for(tools, story)
        story.target, story.route = target.release, target.route
        after = await tools.foreseer.with_changes(story)
        if after is not None:
            later = max(after.p80_us - before.p80_us, 0) // MINUTE_US
            effects = [f"the day ends {later} min later" if later else "the day ends no later", *slips(before, after)]
            told.append(f"- accepted as a {model}: {'; '.join(effects)} (in 80 of 100 drawn days)")
    return told


def open_walk_ins(tools: Tools) -> Iterator[str]:
    """Yield the serials of walk-ins whose item is open, asked by this program or by one that ended."""
    for state in tools.book.state.open_items():
        if state.item.topic.startswith(WALK_IN):
            yield state.item.topic.removeprefix(WALK_IN)


def _walk_in_lacks(value: Mapping[str, Any]) -> str | None:
    if value.get("accept") == "accept" and not value.get("model"):
        return "its model: a walk-in needs one, so that its playbook is known"
    return None
