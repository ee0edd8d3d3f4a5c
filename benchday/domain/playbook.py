"""Playbooks: what servicing one family of models means, as a person writes it. Data only: no conditions, no code."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from benchday.domain.by_hand import HandWorks
from benchday.domain.checks import Check
from benchday.domain.dialogue import Dialogue
from benchday.domain.page import Page
from benchday.domain.releases import VersionText
from benchday.domain.storage import Storage
from benchday.domain.units import Role
from benchday.domain.watch import Watch
from benchday.domain.words import Expected, FileModel, Minutes, Name


class StepName(StrEnum):
    """The steps of a service, in the order in which they come."""

    CONNECT = "connect"
    IDENTIFY = "identify"
    CHECK = "check"
    PRESERVE = "preserve"
    CONFIRM = "confirm"
    WRITE = "write"
    RESTART = "restart"
    VERIFY = "verify"
    LAST_LOOK = "last look"


class Occupies(StrEnum):
    """What a step needs besides the station."""

    CABLE = "cable"
    ADAPTER = "adapter"
    HANDS = "hands"


class ThreePoints(FileModel):
    """A duration: shortest, usual and longest, in minutes."""

    shortest: Minutes
    usual: Minutes
    longest: Minutes

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.shortest <= self.usual <= self.longest:
            found = f"shortest {self.shortest}, usual {self.usual}, longest {self.longest}"
            raise Expected("minutes in order, shortest first", found=found)
        return self


class Step(FileModel):
    """One step of the service."""

    step: StepName
    minutes: ThreePoints
    occupies: tuple[Occupies, ...] = ()
    """What the step needs besides the station."""
    hands: str | None = None
    """What a person does in it, in words; only for steps that occupy hands."""
    erases: tuple[Name, ...] = ()
    """What is gone afterwards."""
    tries: Annotated[int, Field(ge=1, le=5)] = 1
    """How often it is begun before the unit is held; a write is never tried again by itself."""
    own_minutes: ThreePoints | None = None
    """Of a write: what the unit itself takes to erase and program. With it the transfer is reckoned from the image's
    size and the line wherever the line is known, and added; minutes then holds where it is not."""

    @model_validator(mode="after")
    def _hands_have_words(self) -> Self:
        if (self.hands is not None) != (Occupies.HANDS in self.occupies):
            found = "words, but no hands in occupies" if self.hands is not None else "hands in occupies without words"
            raise Expected("hands in occupies, and what a person does under hands", found=found)
        return self

    @model_validator(mode="after")
    def _own_minutes_of_a_write(self) -> Self:
        if self.own_minutes is not None and self.step is not StepName.WRITE:
            raise Expected("own_minutes in the step write alone", found=f"in {self.step.value}", at=("own_minutes",))
        return self

    @model_validator(mode="after")
    def _write_once(self) -> Self:
        if self.step is StepName.WRITE and self.tries != 1:
            found = f"{self.tries}: a second write needs a new permit"
            raise Expected("1, because a write is tried once", found=found, at=("tries",))
        return self


class Works(FileModel):
    """Releases of one model that work together with those named beside it."""

    model: Name
    oldest: VersionText
    newest: VersionText | None = None
    """None means every later one."""


class Together(FileModel):
    """Releases of several models that work together as one set. Without any, a set has one release throughout."""

    together: Annotated[tuple[Works, ...], Field(min_length=1)]


class DriverChoice(FileModel):
    """Which driver talks to the unit, and how it is set."""

    name: Name
    """console, dialogue, web, page, storage, watch, smp, by-hand, or a plug-in's name."""
    settings: dict[str, str | int | bool] = Field(default_factory=dict)


class Label(FileModel):
    """How a label's code contains the serial."""

    separator: Annotated[str, Field(min_length=1, max_length=1)] | None = None
    """Character between the fields of the code; none if the code is the serial alone."""
    field: Annotated[int, Field(ge=1, le=20)] = 1
    """Which field holds the serial, counted from 1."""
    prefix: str = ""
    """What stands before the serial in that field."""


class Power(FileModel):
    """What the unit draws and stores."""

    draw_mw: Annotated[int, Field(gt=0)] | None
    """Measured draw while it is written, milliwatts; none if nobody did: then it is never written on battery."""
    full_mwh: Annotated[int, Field(gt=0)]
    """Energy of a full pack by design, milliwatt-hours."""
    charge_mw: Annotated[int, Field(gt=0)]
    """What charging puts back, milliwatts."""
    pack_swap: bool
    """A shop pack can be fitted."""
    external: bool
    """It can run from external power while it is written."""


class CheckLimits(FileModel):
    """One check and its limits."""

    check: Check
    limits: dict[str, int] = Field(default_factory=dict)
    """Whole numbers, with the unit in the name."""

    @model_validator(mode="after")
    def _known_limits(self) -> Self:
        known = LIMITS.get(self.check, frozenset())
        for name in self.limits:
            if name not in known:
                has = f"one of the limits {', '.join(sorted(known))}" if known else "no limits"
                raise Expected(f"{has} for the check {self.check.value}", found=name, at=("limits", name))
        return self


LIMITS = {
    Check.POWER: frozenset({"floor_percent", "reserve_percent", "margin_percent"}),
    Check.SUPPORT_TERM: frozenset({"warn_days"}),
    Check.ROOM: frozenset({"spare_bytes"}),
    Check.BENCH_PC: frozenset({"battery_percent", "clock_seconds"}),
}
"""Which limits each check knows."""


class Playbook(FileModel):
    """One playbook."""

    playbook: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
    """Its short name."""
    title: Name
    maker: Name
    models: Annotated[tuple[Name, ...], Field(min_length=1)]
    roles: Annotated[tuple[Role, ...], Field(min_length=1)]
    connector: Name | None
    """Type of the cable's connector; none for Wi-Fi or by hand."""
    wifi: bool = False
    """Served over the unit's own Wi-Fi: takes an adapter."""
    driver: DriverChoice
    dialogue: Dialogue | None = None
    """What is said and heard on its serial line, for the driver dialogue."""
    label: Label = Label()
    accessories: tuple[Name, ...] = ()
    """What comes with a unit and goes back with it."""
    power: Power
    checks: tuple[CheckLimits, ...]
    cautions: tuple[Name, ...] = ()
    """Names of the cautions that belong to units of this kind."""
    service: Annotated[tuple[Step, ...], Field(min_length=1)]
    compare_settings: tuple[Name, ...] = ()
    """Settings that must be the same after the write; empty means all."""
    ask_if_changed: tuple[Name, ...] = ()
    """Settings whose change a person may accept, and the words options and support term; any other fails verify."""
    works_together: tuple[Together, ...] = ()
    """Which releases may stand in one set, besides equal ones."""
    page: Page | None = None
    """The unit's own page, for the driver page."""
    by_hand: HandWorks = Field(default_factory=dict)
    """What a person does for each capability that the driver lacks, and what shows that it was done."""
    watch: Watch | None = None
    """Which text sentences say who a unit is; for the driver watch."""
    storage: Storage | None = None
    """Where on its drive a unit keeps what; for the driver storage."""

    @model_validator(mode="after")
    def _steps_in_order(self) -> Self:
        order = list(StepName)
        numbers = [order.index(step.step) for step in self.service]
        if numbers != list(range(len(order))):
            expected = "each step once, in this order: " + ", ".join(s.value for s in order)
            found = ", ".join(s.step.value for s in self.service)
            raise Expected(expected, found=found, at=("service",))
        return self

    @model_validator(mode="after")
    def _dialogue_with_its_driver(self) -> Self:
        if (self.driver.name == "dialogue") != (self.dialogue is not None):
            found = f"the driver {self.driver.name}" + (" and a dialogue" if self.dialogue else " without one")
            raise Expected("the driver dialogue together with a dialogue", found=found, at=("driver", "name"))
        return self

    @model_validator(mode="after")
    def _one_way_in(self) -> Self:
        if self.wifi and self.connector is not None:
            raise Expected("no connector for a unit served over Wi-Fi", found=self.connector, at=("connector",))

        ways = {Occupies.HANDS} | ({Occupies.CABLE} if self.connector is not None else set())
        ways |= {Occupies.ADAPTER} if self.wifi else set()
        for number, step in enumerate(self.service):
            for place, occupied in enumerate(step.occupies):
                if occupied not in ways:
                    why = "connector" if occupied is Occupies.CABLE else "wifi"
                    found = f"{occupied}, but the playbook has no {why}"
                    at = ("service", number, "occupies", place)
                    raise Expected("one of " + ", ".join(sorted(ways)), found=found, at=at)
        return self

    @property
    def line_baud(self) -> int | None:
        """Return the rate (bits a second) of a line that carries blocks of 1024 bytes; None where that is not known."""
        if self.dialogue is not None:
            return self.dialogue.line.baud if self.dialogue.carries_large_blocks else None
        if self.driver.name != "console":
            return None
        told = self.driver.settings.get("baud")
        return told if isinstance(told, int) and told > 0 else 115_200

    def step(self, name: StepName) -> Step:
        """Return the step of that name."""
        return self.service[list(StepName).index(name)]

    def limit(self, check: Check, name: str, usual: int) -> int:
        """Return a check's limit, or the usual one where the playbook is silent."""
        for entry in self.checks:
            if entry.check is check:
                return entry.limits.get(name, usual)
        return usual

    def serial_in(self, code: str) -> str:
        """Return the serial that a scanned code contains; the code itself if it is not in the label's form."""
        fields = code.split(self.label.separator) if self.label.separator else [code]
        if len(fields) < self.label.field:
            return code.strip()
        found = fields[self.label.field - 1].strip()
        return found.removeprefix(self.label.prefix).strip()
