"""check: everything that must hold before a write, all findings together."""

from __future__ import annotations

from collections.abc import Sequence

from benchday.bench.aside.choosing import choose, stands_in_the_way
from benchday.bench.gathering import find_all, hold_images, in_boot, list_recordings, read_power
from benchday.bench.holds import Met, SendOff, lifts_of, stopped_by
from benchday.bench.remedying import remedy
from benchday.bench.saved import save_settings
from benchday.bench.serving import Serving
from benchday.bench.targeting import target_facts, target_of
from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.happenings import Happening
from benchday.domain.items import Answered, Item, ItemKind, Wanted, WantedKind
from benchday.domain.playbook import StepName
from benchday.domain.sets import SetChoice
from benchday.domain.units import Ability
from benchday.planning.all_checks import no_go

BENCH_TOPIC = "bench pc"
_GO_ON = (Wanted("answer", "go on or hold", WantedKind.CHOICE, ("go on", "hold")), Wanted("reason", "why"))
MOST_LOOKS = 5
"""How often power may be remedied in one visit before the unit is held."""


async def check(at: Serving) -> StepName:
    """Ask every question; remedy too little charge, hold on a stop, have a person decide what is open."""
    if at.story.renewal_unread:
        return StepName.IDENTIFY
    if at.story.settings_before is None and not in_boot(at):
        await save_settings(at, "before")
    recordings = await list_recordings(at)
    for _ in range(MOST_LOOKS):
        power = await read_power(at)
        await _aim(at)
        found = await find_all(at, power, recordings, StepName.PRESERVE)
        stops = {f.check: f for f in found if no_go(f)}
        if set(stops) != {Check.POWER}:
            break
        await remedy(at, stops[Check.POWER])
    _hold_on(stops)
    if at.target is None or not at.target.route:
        return StepName.VERIFY
    if stands_in_the_way(at.tools, at.story):
        return await _with_its_set(at)
    _hold_without_consent(at)
    await _decide(at, [f for f in found if f.answer is Answer.ASK])
    return StepName.PRESERVE


async def _aim(at: Serving) -> None:
    at.target = target_of(at.tools, at.unit)
    await at.record(at.draft(target_facts(at.target)))
    await hold_images(at)


async def _with_its_set(at: Serving) -> StepName:
    """Have it chosen what the set does, before anything of it is written; then look anew, for the target may differ."""
    crew = at.story.crew
    await choose(at.tools, crew)
    decided = at.tools.book.state.sets_decided.get(crew, {})
    if decided.get("choice") == SetChoice.WAIT:
        raise SendOff(f"the set of crew {crew} waits: {decided['why']}")
    return await check(at)


def _hold_on(stops: dict[Check, Finding]) -> None:
    if not stops:
        return
    # Neither charge nor time will do, and tomorrow both can: that is no reason to hold it.
    late = Check.CLOSING in stops and set(stops) <= {Check.CLOSING, Check.POWER}
    others = [] if late else [f for c, f in stops.items() if c is not Check.CLOSING]
    if not others:
        raise SendOff(stops[Check.CLOSING].text, for_today=True)
    raise stopped_by(others)


def _hold_without_consent(at: Serving) -> None:
    came = at.story.checked_in
    if not came.get("consent_release"):
        raise Met(Happening.NO_CONSENT, "the owner has not agreed to a new release")
    if at.story.recordings and not came.get("consent_erase"):
        raise Met(Happening.NO_CONSENT, "the owner has not agreed that the write erases recordings")


async def _decide(at: Serving, asks: Sequence[Finding]) -> None:
    """Have a person decide what no rule can; what concerns the bench alone is decided once a day, not once a unit."""
    about_unit = [f for f in asks if f.check is not Check.BENCH_PC]
    about_bench = [f for f in asks if f.check is Check.BENCH_PC and not _decided_before(at, f)]
    if about_bench:
        # An item of no unit: two stations that ask at once ask the same one.
        text = " ".join(_sentence(f) for f in about_bench)
        item = Item("", ItemKind.DECIDE, BENCH_TOPIC, text, wanted=_GO_ON, ability=Ability.CONFIRM)
        _hold_if_told(await at.tools.queue.ask(item), about_bench)
    if about_unit:
        text = f"Unit {at.unit} on station {at.station}. " + " ".join(_sentence(f) for f in about_unit)
        answered = await at.ask(ItemKind.DECIDE, "findings", text, *_GO_ON, ability=Ability.CONFIRM)
        _hold_if_told(answered, about_unit)


def _decided_before(at: Serving, finding: Finding) -> bool:
    return any(
        i.item.topic == BENCH_TOPIC and _sentence(finding) in i.item.text
        for i in at.tools.book.state.items.values()
        if i.answered is not None and i.answered.text("answer") == "go on"
    )


def _sentence(finding: Finding) -> str:
    return f"{finding.text[:1].upper()}{finding.text[1:]}."


def _hold_if_told(answered: Answered, asks: Sequence[Finding]) -> None:
    if answered.text("answer") == "hold":
        reason = f"{answered.operator} decided: {answered.text('reason')}"
        said = f"{'; '.join(f.text for f in asks)}; {reason}"
        raise Met(Happening.DECIDED, said, code=asks[0].check.value, lifts=lifts_of(asks))
