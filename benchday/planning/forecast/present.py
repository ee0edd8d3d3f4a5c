"""One unit that is in the house, as the model of the rest of the day has it: its places first, then what is left."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchday.domain.fold import DayState
from benchday.domain.items import ItemKind
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import StepName
from benchday.domain.releases import Image
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.planning.forecast.batteries import charging, least_percent, seen_to
from benchday.planning.forecast.gating import Candidate, Gates
from benchday.planning.forecast.stages import AT_ONCE, SET_ASIDE, TECHNICIAN, Service
from benchday.planning.gates import CHARGER, STATION
from benchday.planning.laws import Law, Remaining
from benchday.planning.model import ModelUnit, Stage
from benchday.planning.wording import MINUTE_US

_STEPS = list(StepName)


@dataclass(frozen=True, slots=True)
class Present:
    """A unit in the house that takes part in the rest of the day."""

    story: UnitStory
    service: Service
    begin: StepName | None
    """Step in which it is, or that comes next; None: it is only taken off its place."""
    elapsed: float
    """Minutes for which that step has run; 0 if it has not begun."""
    running: bool
    """Hands are at it already, in a break too."""
    priority: float

    @property
    def in_service(self) -> bool:
        """Tell whether it holds a station."""
        return STATION in self.story.places

    @property
    def order(self) -> tuple[int, int, int]:
        """Its place in the model: whose step runs, who holds something, who waits; each by since when."""
        story = self.story
        if not story.places:
            return (2, story.waiting_since_us, story.position)
        return (0 if self.elapsed and not self._lacks else 1, story.since_us, story.position)

    @property
    def _lacks(self) -> tuple[str, ...]:
        """What it needs for the step in which it is, and does not hold."""
        joined = self.service.joined_by
        if joined is None or self.begin in (None, StepName.CONNECT, StepName.LAST_LOOK) or not self.in_service:
            return ()
        return () if joined in self.story.places else (joined,)

    @property
    def attended(self) -> bool:
        """Tell whether hands are at it, as far as anybody can tell."""
        if self.begin is None or not self.elapsed:
            return False
        return TECHNICIAN in self.service.stages(self.begin)[0].takes

    def not_attended(self) -> Present:
        """Return it as one that waits for hands: its step has not begun."""
        return replace(self, elapsed=0.0, running=False)

    def candidate(self, now_us: int) -> Candidate | None:
        """It as one that may be first of its kind; None if nothing is to be written, or verified, any more."""
        if not self.service.images or self.begin is None:
            return None
        story, turn = self.story, (0.0, self.priority, (self.story.waiting_since_us - now_us) / MINUTE_US)
        if self.in_service:
            turn = (-math.inf, -_STEPS.index(self.begin), story.since_us)
        return Candidate(story.serial, story.model, tuple(i.release for i in self.service.images), turn)

    def unit(self, gates: Gates, now_us: int) -> ModelUnit:
        """Return it as the model has it."""
        service, candidate = self.service, self.candidate(now_us)
        if candidate is not None:
            service = replace(service, waits_for=gates.waits_for(candidate), opens=gates.opens(candidate))
        return ModelUnit(self.story.serial, 0.0, self.priority, _all_freed(self._stages(service, now_us)))

    def _stages(self, service: Service, now_us: int) -> tuple[Stage, ...]:
        held = tuple(self.story.places)
        if self.begin is None:
            off = Stage("set aside", (*held, TECHNICIAN), (TECHNICIAN, *held), SET_ASIDE)
            return (off, *self._charge(now_us, ()), *service.stages()) if self._comes_again else (off,)
        if not self.in_service:
            return (*self._charge(now_us, held), *service.stages())
        return self._under_way(service, held)

    @property
    def _comes_again(self) -> bool:
        return self.story.not_today is None and self.story.state is State.WAITING

    def _charge(self, now_us: int, held: tuple[str, ...]) -> tuple[Stage, ...]:
        """Return what is left of charging."""
        story, playbook = self.story, self.service.playbook
        if story.charge_ends_us is not None and CHARGER in held:
            left = seen_to(max(story.charge_ends_us - now_us, 0) / MINUTE_US)
            return (Stage("charge", (CHARGER,), (CHARGER,), left),)
        if story.charge_wanted_percent is None:
            return ()
        told = (story.power or {}).get("charge_percent") or story.checked_in.get("charge_percent")
        percent = told if told is not None else least_percent(playbook)
        return (charging(playbook, percent, max(story.charge_wanted_percent, percent)),)

    def _under_way(self, service: Service, held: tuple[str, ...]) -> tuple[Stage, ...]:
        """Return the rest of a service: what it holds is taken by the first stage, at once."""
        assert self.begin is not None  # noqa: S101 - asked before
        first, *rest = service.stages(self.begin)
        hands = () if self.running else tuple(pool for pool in first.takes if pool == TECHNICIAN)
        takes = (*held, *self._lacks)
        frees = tuple(pool for pool in first.frees if pool != TECHNICIAN or hands)
        law: Law = Remaining(first.law, self.elapsed) if self.elapsed > 0 else first.law
        first = replace(first, takes=(*takes, *hands), frees=frees, law=law, guard=None, waits_for=None)
        # What it holds it has now, whatever its next stage still waits for.
        rest = [replace(stage, takes=tuple(p for p in stage.takes if p not in takes)) for stage in rest]
        if service.waits_for is None:
            return (first, *rest)
        return _waiting_at_confirm(first, rest, takes, service.waits_for)


def _all_freed(stages: tuple[Stage, ...]) -> tuple[Stage, ...]:
    """Return the stages with everything given back in the end, whatever a step that was cut left with its unit."""
    held: Counter[str] = Counter()
    for stage in stages:
        held.update(stage.takes)
        held.subtract(stage.frees)
    left = tuple(held.elements())
    return (*stages[:-1], replace(stages[-1], frees=(*stages[-1].frees, *left))) if left else stages


def _waiting_at_confirm(first: Stage, rest: list[Stage], held: tuple[str, ...], gate: str) -> tuple[Stage, ...]:
    """Return the stages of one that may be confirmed only when the first of its kind is verified."""
    confirm = StepName.CONFIRM.value
    if first.name == confirm:
        takes = tuple(pool for pool in first.takes if pool not in held)
        return (Stage("here", held, (), AT_ONCE), replace(first, takes=takes, waits_for=gate), *rest)
    at = next((number for number, stage in enumerate(rest) if stage.name == confirm), None)
    if at is not None:
        rest[at] = replace(rest[at], waits_for=gate)
    return (first, *rest)


def present(
    plan: DayPlan, state: DayState, story: UnitStory, service: Service, now_us: int, *, priority: float, resting: bool
) -> Present:
    """Look at a unit in the house.

    Args:
        plan: the day's inputs.
        state: of the day.
        story: of the unit.
        service: what is still to be done on it.
        now_us: day time.
        priority: its own.
        resting: no attended stage may begin now.
    """
    begin, elapsed = _where(state, story, service, now_us)
    running = resting and elapsed > 0 and story.step_since_us < _rest_began_us(plan, now_us)
    return Present(story, service, begin, elapsed, running, priority)


def _where(state: DayState, story: UnitStory, service: Service, now_us: int) -> tuple[StepName | None, float]:
    """Return the step in which it is or that comes next, and the minutes for which it has run."""
    if story.state is State.HELD or (story.sent_off and STATION in story.places):
        return None, 0.0
    if not story.on_station:
        return StepName.CONNECT, 0.0
    step = StepName(story.state.value)
    topics = {i.item.topic: i.item.kind for i in state.open_items() if i.item.unit == story.serial}
    if step is StepName.CONNECT and "connect" not in topics and service.joined_by not in (None, *story.places):
        # Set up, and waiting for its cable.
        return StepName.IDENTIFY, 0.0
    if step is StepName.VERIFY and story.verified and service.joined_by not in story.places and not service.images:
        return StepName.LAST_LOOK, 0.0
    if step is StepName.CONFIRM and ItemKind.CONFIRM not in topics.values():
        return step, 0.0
    return step, max(now_us - story.step_since_us, 0) / MINUTE_US


def _rest_began_us(plan: DayPlan, now_us: int) -> int:
    """Return when the break began in which this instant lies; now if it lies in none."""
    breaks = [(plan.at_us(b.start), plan.at_us(b.end)) for b in plan.bench.breaks]
    return min((start for start, end in breaks if start <= now_us < end), default=now_us)


def images_left(plan: DayPlan, story: UnitStory) -> tuple[Image, ...]:
    """Return the images that are still to be written to a unit, in order."""
    hardware = (story.identity or {}).get("hardware") or None
    by_release: Mapping[str, Image] = {i.release: i for i in plan.images_for(story.model, hardware)}
    if story.state is State.LAST_LOOK:
        return ()
    route = story.route
    if story.state in (State.VERIFY, State.CHECK) and story.sent is None and story.writes:
        # The target stands as it was before the write that has been verified since.
        route = route[1:] if route[:1] == tuple(story.writes[-1:]) else route
    return tuple(by_release[release] for release in route if release in by_release)
