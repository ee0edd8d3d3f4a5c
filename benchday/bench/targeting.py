"""The target of a unit: from what is known of it and of its crew's units now, and what was chosen for their set."""

from __future__ import annotations

from collections.abc import Iterable

from benchday.bench.serving import Tools
from benchday.domain.fold import DayState
from benchday.domain.kinds import TargetSet
from benchday.domain.playbook import StepName
from benchday.domain.sets import SetChoice
from benchday.domain.steps import ON_STATION, State
from benchday.domain.story import UnitStory
from benchday.domain.units import Role
from benchday.planning.decisions import SetQuestion, set_question
from benchday.planning.durations import Load, rest_of_way, steps_to_verify
from benchday.planning.rules import rules_of
from benchday.planning.target import Target, UnitNow
from benchday.planning.targets import targets
from benchday.planning.terms import TermFound, chosen, sources_of, term_of
from benchday.planning.wording import MINUTE_US

LATE_US = 15 * MINUTE_US
"""After its time of arrival by so much a unit that nobody checked in is late."""
LATE_REAL_S = 10
"""... but never within so many real seconds: at high speed an answer takes its real time all the same."""

_AWAY = {State.ABSENT: "absent", State.HELD: "held", State.HANDED_BACK: "handed back"}
_TOO_LATE_TO_STOP = (State.WRITE, State.RESTART, State.VERIFY, State.LAST_LOOK, State.READY)


def target_of(tools: Tools, unit: str) -> Target:
    """Return what a unit should get today."""
    return target_for(tools, tools.book.state.units[unit])


def target_for(tools: Tools, story: UnitStory) -> Target:
    """Return what a unit should get today by this story, which need not stand in the entries yet."""
    state = tools.book.state
    if not story.crew:
        crew = [story]
    else:
        crew = [*{**{s.serial: s for s in state.of_crew(story.crew)}, story.serial: story}.values()]
    units = tuple(_now(tools, s) for s in crew)
    choices = _chosen(tools, story.crew, units)
    found = targets(units, tools.plan.images.images, _today(state), rules_of(tools.plan, choices))
    return next(t for t in found if t.unit == story.serial)


def targets_now(tools: Tools, state: DayState) -> dict[str, Target]:
    """Return what each unit of the day should get, by this state, which need not be the one of the entries."""
    units = tuple(_now(tools, story) for story in state.units.values())
    crews = {unit.crew for unit in units if unit.crew}
    choices: dict[str, SetChoice] = {}
    for crew in crews:
        choices |= _chosen(tools, crew, (u for u in units if u.crew == crew))
    found = targets(units, tools.plan.images.images, _today(state), rules_of(tools.plan, choices))
    return {target.unit: target for target in found}


def target_facts(target: Target) -> TargetSet:
    """Return the target as it stands in an entry."""
    return TargetSet(
        release=target.release,
        route=list(target.route),
        reason_code=target.reason_code.value,
        reason=target.reason,
        back=target.back,
    )


def term_now(tools: Tools, story: UnitStory) -> TermFound:
    """Return the support term that is used for a unit, and what is to be said of it."""
    images = tools.plan.images_for(story.model, (story.identity or {}).get("hardware") or None)
    today = _today(tools.book.state) or ""
    return term_of(sources_of(story, tools.plan.terms), today, [i.issued for i in images if not i.trial])


def question_about(tools: Tools, crew: str) -> SetQuestion | None:
    """Return what a person has to decide about a crew's set, also if it is decided; None if there is nothing."""
    members = tools.book.state.of_crew(crew)
    if len(members) <= 1:
        return None
    return _question(tools, crew, tuple(_now(tools, s) for s in members))


def choice_in_force(tools: Tools, question: SetQuestion) -> SetChoice | None:
    """Return what was chosen about exactly this; None if nothing was, or something has changed since."""
    decided = tools.book.state.sets_decided.get(question.crew)
    if decided is None or decided["situation"] != question.situation:
        return None
    return SetChoice(decided["choice"])


def late_from_us(state: DayState, story: UnitStory) -> int | None:
    """Return the day time from which an expected unit is late; None if nobody knows when it comes."""
    if story.arrives_us is None:
        return None
    speed = int((state.begun or {}).get("speed_milli", 1000))
    return story.arrives_us + max(LATE_US, LATE_REAL_S * speed * 1000)


def _question(tools: Tools, crew: str, units: tuple[UnitNow, ...]) -> SetQuestion | None:
    """Work it out once for each standing of the crew: it is looked at after every entry."""
    known = tools.questions.get(crew)
    if known is not None and known[0] == units and known[1] is tools.plan:
        return known[2]
    found = set_question(crew, units, tools.plan.images.images, _today(tools.book.state), rules_of(tools.plan))
    tools.questions[crew] = (units, tools.plan, found)
    return found


def _chosen(tools: Tools, crew: str, units: Iterable[UnitNow]) -> dict[str, SetChoice]:
    if crew not in tools.book.state.sets_decided:
        return {}
    question = _question(tools, crew, tuple(units))
    choice = choice_in_force(tools, question) if question is not None else None
    return {crew: choice} if choice is not None else {}


def _today(state: DayState) -> str | None:
    return (state.begun or {}).get("date")


def _now(tools: Tools, story: UnitStory) -> UnitNow:
    identity = story.identity or {}
    return UnitNow(
        serial=story.serial,
        model=story.model,
        crew=story.crew,
        role=Role(story.role) if story.role else Role.NONE,
        hardware=identity.get("hardware") or None,
        release=story.has,
        in_boot=identity.get("mode") == "boot",
        support_until=_last_day(tools, story),
        away=_away(tools, story),
        written_today=bool(story.writes),
    )


def _last_day(tools: Tools, story: UnitStory) -> str | None:
    """Return the last day of the term that is used; it is looked at after every entry, so nothing is worded here."""
    found = chosen(sources_of(story, tools.plan.terms))
    return found[0] if found is not None else None


def _away(tools: Tools, story: UnitStory) -> str | None:
    """Say why a unit does not come along with its set; None if it does."""
    if story.state in _AWAY:
        return _AWAY[story.state]
    if story.state is State.EXPECTED:
        late_us = late_from_us(tools.book.state, story)
        return "late" if late_us is not None and tools.book.clock.now() >= late_us else None
    if story.not_today is not None:
        return "not served today"
    return "wanted back early" if _no_time_before_it_leaves(tools, story) else None


def _no_time_before_it_leaves(tools: Tools, story: UnitStory) -> bool:
    """Tell whether a unit that is wanted back can not be verified by then, in 99 of 100 cases."""
    playbook = tools.plan.playbook_for(story.model)
    if story.wanted_back_us is None or playbook is None or story.state in _TOO_LATE_TO_STOP:
        return False
    step = StepName(story.state.value) if story.state in ON_STATION else StepName.CONNECT
    # Its image is not chosen yet: the playbook's minutes hold for any.
    load, records = Load((1,), 0, None), tools.records.get(story.model, {})
    rest = rest_of_way(steps_to_verify(playbook, step, load, records), tools.seed)
    return tools.book.clock.now() + rest.p99_us > story.wanted_back_us
