"""One unit on one station: what the steps of its service share."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Protocol, cast

import anyio

from benchday.bench.book import Book
from benchday.bench.bounded import bounded, within
from benchday.bench.pauses import Pauses
from benchday.bench.permit_desk import PermitDesk
from benchday.bench.places import Places
from benchday.bench.queue import ItemQueue
from benchday.bench.ticks import Ticks
from benchday.domain.cautions import Caution, Every, Moment, cautions_at
from benchday.domain.entries import Draft
from benchday.domain.happenings import Stage, stage_of
from benchday.domain.items import Answered, Item, ItemKind, Wanted
from benchday.domain.limits import Limits
from benchday.domain.permits import Permit, SpentAct
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook, StepName
from benchday.domain.readings import Progress
from benchday.domain.seams import Archive, BenchPc, Images, OpenDriver, Personal, Question, ServedBy
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability
from benchday.planning.decisions import SetQuestion
from benchday.planning.forecast.outlook import Outlook
from benchday.planning.power import Measured
from benchday.planning.target import Target, UnitNow


class Foresees(Protocol):
    """Knows how the rest of the day looks, and would look."""

    @property
    def outlook(self) -> Outlook | None:
        """The latest; None where there is none."""
        ...

    async def with_changes(
        self, story: UnitStory | None = None, turns: Mapping[str, float] | None = None
    ) -> Outlook | None:
        """Return how it would look with another story of a unit, or with other turns; None where nobody can tell."""
        ...


def _no_page(unit: str, fingerprint: str) -> None:
    """Keep nothing: nothing here has a page."""


@dataclass(slots=True)
class Tools:
    """What every station of the day uses."""

    book: Book
    queue: ItemQueue
    places: Places
    desk: PermitDesk
    archive: Archive
    personal: Personal
    images: Images
    pc: BenchPc
    open_driver: OpenDriver
    ticks: Ticks
    seed: int
    plan: DayPlan
    """Replaced when edited inputs are accepted."""
    records: Mapping[str, Mapping[str, Sequence[int]]] = field(default_factory=dict)
    """Model -> step -> durations in microseconds, from the shop's own real days."""
    questions: dict[str, tuple[tuple[UnitNow, ...], DayPlan, SetQuestion | None]] = field(default_factory=dict)
    """Crew -> what its set's question was worked out from, and the question; only to spare working it out again."""
    asked_about: dict[str, str] = field(default_factory=dict)
    """Crew -> digest of the situation about which its open choice was asked by this program."""
    foreseer: Foresees | None = None
    """None where nothing is foreseen; then nothing is said of what a decision costs."""
    limits: Limits = field(default_factory=Limits)
    """How long a call to a unit may last."""
    pause: Callable[[float], Awaitable[None]] = anyio.sleep
    """Waits so many real seconds."""
    no_safe_stop: dict[str, list[anyio.CancelScope]] = field(default_factory=dict)
    """Station -> the shields around what must not be stopped; taken away only by the third request to stop."""
    trust: Callable[[str, str], None] = _no_page
    """Keeps another fingerprint of the certificate of a unit's page (serial, fingerprint), once somebody confirmed it.

    Raises:
        RecordError
    """
    pauses: Pauses = field(init=False)

    def __post_init__(self) -> None:
        self.pauses = Pauses(self.pc.asleep_us)

    def take_over(self, plan: DayPlan) -> None:
        """Go on with edited inputs."""
        self.plan = self.places.plan = plan
        self.desk.policy = plan.day.policy
        self.queue.abilities = {o.name: frozenset(o.may) for o in plan.bench.operators}

    def open_permits(self) -> tuple[tuple[str, str], ...]:
        """Return (permit, unit) of the permits that have been given and not yet spent."""
        return tuple((permit.id, permit.unit) for permit in self.desk.given.values())


@dataclass(slots=True)
class Serving:
    """A unit being served."""

    tools: Tools
    unit: str
    station: str
    playbook: Playbook
    driver: ServedBy | None = None
    target: Target | None = None
    held_images: dict[str, bytes] = field(default_factory=dict)
    """File name -> bytes, read once; the same bytes are hashed, held and sent."""
    permit: Permit | None = None
    act: SpentAct | None = None
    log: Any = None
    """Bound to unit and station; facts only, what people read stands in the entries."""
    powered: bool = False
    """External power was connected in this visit."""
    measured: Measured | None = None
    """What a person measured in this visit because the unit does not tell it."""
    certificate_shown: str | None = None
    """Fingerprint of the other certificate that its page showed in this visit."""
    restoring: bool = False
    """A person wants the settings put back that were saved before the write."""
    round_trip_us: int | None = None
    """Shortest time from a question over the line to its answer so far, less the bytes of both; None: not measured."""

    @property
    def story(self) -> UnitStory:
        """What the entries say of the unit now."""
        return self.tools.book.state.units[self.unit]

    def stage(self, step: StepName) -> Stage:
        """Return where in its service the unit is, as the table of what follows has it."""
        return stage_of(step, half_written=self.story.half_written, sent=self.story.sent is not None)

    @property
    def pool(self) -> str | None:
        """The pool of its cable or adapter; None if it is joined by nothing."""
        if self.playbook.connector is not None:
            return f"cable:{self.playbook.connector}"
        return "adapter" if self.playbook.wifi else None

    @property
    def place(self) -> str | None:
        """The cable or adapter that joins it now."""
        return self.story.places.get(self.pool) if self.pool else None

    @property
    def image_bytes(self) -> bytes:
        """The bytes of the next image of the route, as held in memory."""
        if self.target is None or not self.target.images:
            return b""
        return self.held_images.get(self.target.images[0].file, b"")

    async def record(self, *drafts: Draft) -> None:
        """Append entries about this unit at this station."""
        await self.tools.book.append(*drafts)

    def draft(self, facts: Any, operator: str | None = None) -> Draft:
        """Make an entry to be about this unit at this station."""
        made: Draft = facts.draft(unit=self.unit, station=self.station, operator=operator)
        return made

    async def ask(
        self,
        kind: ItemKind,
        topic: str,
        text: str,
        *wanted: Wanted,
        ability: Ability | None = None,
        moment: Moment | None = None,
        figures: Mapping[str, int | str] | None = None,
        safety: bool = False,
    ) -> Answered:
        """Put an item about this unit into the queue, with the cautions of that moment, and return the answer.

        Raises:
            Withdrawn
        """
        cautions = self.cautions(moment) if moment else ()
        words = "\n".join([text, *(f"CAUTION {c.text}" for c in cautions)])
        item = Item(
            id="",
            kind=kind,
            topic=topic,
            text=words,
            unit=self.unit,
            station=self.station,
            wanted=wanted,
            figures=figures or {},
            ability=ability,
            safety=safety,
            cautions=tuple(c.name for c in cautions),
        )
        return await self.tools.queue.ask(item)

    def cautions(self, moment: Moment) -> tuple[Caution, ...]:
        """Return the cautions that belong to a moment of this unit's service and are acknowledged every time."""
        named = cautions_at(moment, self.tools.plan.cautions, self.playbook.cautions)
        return tuple(c for c in named if c.every is Every.TIME)

    async def ask_hand(self, question: Question) -> Mapping[str, str | int | bool | None]:
        """Put what a missing capability wants into the queue; the by-hand driver calls this."""
        # It names the unit, which the driver's question need not know.
        text = f"Unit {self.unit} on station {self.station}, by hand: {question.text}"
        topic = f"hand:{question.capability}"
        answered = await self.ask(ItemKind.EVIDENCE, topic, text, *question.wanted, figures=question.figures)
        return cast("Mapping[str, str | int | bool | None]", answered.value)

    async def line(self) -> ServedBy:
        """Return the open driver, opening the line if need be.

        Raises:
            LinkError: the line cannot be opened.
        """
        if self.driver is None:
            opening = self.tools.open_driver(self.playbook, self.unit, self.place, self.ask_hand)
            limits = self.tools.limits
            driver = await within(limits.reading_s, f"the line of unit {self.unit} to open", opening)
            self.driver = bounded(driver, limits, self.playbook)
        return self.driver

    def away_since(self, total_us: int) -> int:
        """Return how long the bench PC slept, or the program stood still, since ``pauses.total_us()`` gave this."""
        return self.tools.pauses.total_us() - total_us

    @contextmanager
    def undisturbed(self) -> Iterator[None]:
        """Shield what has no safe stop from being cancelled."""
        shields = self.tools.no_safe_stop.setdefault(self.station, [])
        with anyio.CancelScope(shield=True) as shield:
            shields.append(shield)
            try:
                yield
            finally:
                shields.remove(shield)

    async def let_go(self) -> None:
        """Close the line, whatever state it is in."""
        driver, self.driver = self.driver, None
        if driver is not None:
            with anyio.move_on_after(5, shield=True):
                await driver.aclose()

    async def follow(self, step: StepName, progress: AsyncIterator[Progress]) -> None:
        """Run a long operation to its end, showing its progress as ticks and milestones."""
        async for tick in progress:
            milestone = self.tools.ticks.show(self.unit, step, tick)
            if milestone is not None:
                await self.record(self.draft(milestone))
