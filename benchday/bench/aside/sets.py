"""set: once a crew's receivers are ready, they are proved to work together."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.serving import Tools
from benchday.domain.cautions import Every, Moment, cautions_at
from benchday.domain.fold import DayState
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import SetProved
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability

_BASES, _ROVERS = ("base", "either"), ("rover", "either")
DONE = (State.READY, State.HELD, State.ABSENT, State.HANDED_BACK)


def set_of(state: DayState, crew: str) -> tuple[UnitStory, UnitStory] | None:
    """Return a base and a rover of a crew that are ready and can be proved together; None if there are none."""
    ready = [u for u in state.of_crew(crew) if u.state is State.READY]
    for base in (u for u in ready if u.role in _BASES):
        for rover in (u for u in ready if u.role in _ROVERS and u is not base):
            return base, rover
    return None


def crew_done(tools: Tools, crew: str) -> bool:
    """Tell whether nothing more is to be done today on any unit of a crew; after closing none is begun any more."""
    state = tools.book.state
    closed = tools.book.clock.now() >= (state.begun or {}).get("closes_us", 0)
    return all(
        u.state in DONE or u.not_today or (closed and u.state is State.WAITING and u.station is None)
        for u in state.of_crew(crew)
    )


def needs_proof(state: DayState, crew: str) -> bool:
    """Tell whether a crew's set has still to be proved."""
    return crew not in state.sets_proved and set_of(state, crew) is not None


def sets_to_prove(tools: Tools) -> Iterator[str]:
    """Yield the crews whose set can be proved now."""
    state = tools.book.state
    for crew in [*state.by_crew]:
        if crew and crew_done(tools, crew) and needs_proof(state, crew):
            yield crew


async def prove_set(tools: Tools, crew: str) -> None:
    """Have base and rover brought up together and the rover read off; what fails is decided by a person."""
    pair = set_of(tools.book.state, crew)
    if pair is None:
        return
    base, rover = pair
    while True:
        await tools.queue.ask(_bring_up(tools, crew, base, rover))
        answered = await tools.queue.ask(_read_off(crew, base, rover))
        heard, fix = answered.text("base"), answered.text("fix")
        works = heard == base.serial and fix in ("fixed", "float")
        facts = SetProved(crew=crew, units=[base.serial, rover.serial], fix=fix, base_heard=heard, works=works)
        decided = (
            None if works else await tools.queue.ask(_decision(crew, base, rover, f"fix {fix}, base {heard or 'none'}"))
        )
        if decided is None or decided.text("answer") == "hand back":
            # Only now: the proof, good or stated as failed, is what hand-back waits for.
            await tools.book.append(facts.draft(operator=(decided or answered).operator))
            return


def _read_off(crew: str, base: UnitStory, rover: UnitStory) -> Item:
    text = (
        f"Set of crew {crew}: rover {rover.serial} ({rover.has}) should hear base {base.serial} ({base.has}). "
        "Wait for a fix, then read off the rover's display."
    )
    return Item(
        id="",
        kind=ItemKind.EVIDENCE,
        topic=f"set {crew}",
        text=text,
        unit=rover.serial,
        wanted=(
            Wanted("fix", "fix shown by the rover", WantedKind.CHOICE, ("fixed", "float", "single", "none")),
            Wanted("base", "serial of the base it hears", required=False),
        ),
        figures={"base": base.serial},
        ability=Ability.LAST_LOOK,
    )


def _decision(crew: str, base: UnitStory, rover: UnitStory, seen: str) -> Item:
    text = (
        f"The set of crew {crew} does not work together: rover {rover.serial} shows {seen}, expected a fix from base "
        f"{base.serial}. Compare frequency, bandwidth and release of both, then try again; or hand it back as it is."
    )
    return Item(
        id="",
        kind=ItemKind.DECIDE,
        topic=f"failed set {crew}",
        text=text,
        unit=rover.serial,
        wanted=(
            Wanted("answer", "try again, or hand back as it is", WantedKind.CHOICE, ("try again", "hand back")),
            Wanted("reason", "why", required=False),
        ),
        ability=Ability.CONFIRM,
    )


def _bring_up(tools: Tools, crew: str, base: UnitStory, rover: UnitStory) -> Item:
    shown = [c for c in cautions_at(Moment.RESTART, tools.plan.cautions, _named(tools, base)) if c.every is Every.TIME]
    text = (
        f"Set of crew {crew}: fit antenna or load to base {base.serial} and rover {rover.serial}, then switch both on."
    )
    return Item(
        id="",
        kind=ItemKind.INSTRUCT,
        topic=f"set up {crew}",
        text="\n".join([text, *(f"CAUTION {c.text}" for c in shown)]),
        unit=rover.serial,
        figures={"base": base.serial},
        cautions=tuple(c.name for c in shown),
    )


def _named(tools: Tools, base: UnitStory) -> tuple[str, ...]:
    playbook = tools.plan.playbook_for(base.model)
    return playbook.cautions if playbook else ()
