"""Cautions: safety texts, shown where they matter and acknowledged."""

from __future__ import annotations

from collections import Counter
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from benchday.domain.words import Expected, FileModel, Name


class Moment(StrEnum):
    """When a caution is shown."""

    START_OF_DAY = "start of day"
    CHECK_IN = "check in"
    CHARGE = "charge"
    CONNECT = "connect"
    CONFIRM = "confirm"
    RESTART = "restart"
    INTERRUPTED = "interrupted"
    """A write was cut short."""
    LAST_LOOK = "last look"


class Every(StrEnum):
    """How often a caution is acknowledged."""

    DAY = "day"
    """Once by each operator on each day."""
    TIME = "time"
    """Every time, for the unit in hand."""


class Caution(FileModel):
    """One safety text."""

    name: Name
    """What playbooks call it."""
    when: Annotated[tuple[Moment, ...], Field(min_length=1)]
    """The moments at which it is shown."""
    every: Every
    """day: once by each operator and day; time: every time, for the unit in hand."""
    general: bool = False
    """Belongs to every day, whatever its playbooks name."""
    text: Annotated[str, Field(min_length=1, max_length=600)]
    """What a person reads and acknowledges."""


class CautionFile(FileModel):
    """cautions.yaml"""

    cautions: Annotated[tuple[Caution, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        counted = Counter(caution.name for caution in self.cautions)
        for number, caution in enumerate(self.cautions):
            if counted[caution.name] > 1:
                raise Expected("each caution once", found=f"{caution.name} again", at=("cautions", number, "name"))
        return self

    @property
    def names(self) -> frozenset[str]:
        """The names that playbooks may use."""
        return frozenset(caution.name for caution in self.cautions)


def cautions_at(
    moment: Moment, cautions: tuple[Caution, ...], named: tuple[str, ...] | None = None
) -> tuple[Caution, ...]:
    """Return the cautions to show at a moment, in the order of their file.

    Args:
        moment: what happens now.
        cautions: all that the day has.
        named: those of the unit's playbook; None where no unit is in hand (then only general ones are shown).
    """
    return tuple(c for c in cautions if moment in c.when and (c.general or (named is not None and c.name in named)))
