"""Units and the roster: who is expected, whose it is, when it was promised."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a unit does in its set."""

    BASE = "base"
    ROVER = "rover"
    EITHER = "either"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class RosterRow:
    """One line of roster.csv: a unit expected on the day."""

    serial: str
    """As it stands on the unit's label."""
    model: str
    customer: str
    contact: str
    """Personal data: kept beside the journal, never in it."""
    crew: str
    role: Role
    arrives: str | None
    """Local time of day, HH:MM; None if not known."""
    promised: str | None
    """Local time of day, HH:MM; None if nothing was promised."""
    support_until: str | None
    """Last day of the support term (ISO 8601); None if not known."""
    note: str = ""
    line: int = 0
    """Line of the file, counted from 1, for messages."""


class Ability(StrEnum):
    """What an operator may be allowed to do."""

    CHECK_IN = "check in"
    PRESERVE = "preserve"
    CONFIRM = "confirm"
    LAST_LOOK = "last look"


def blanked(serial: str) -> str:
    """Return the serial with its last four characters blanked, as the confirmation shows it."""
    return serial[:-4] + "····" if len(serial) > 4 else "·" * len(serial)


def wanted_characters(serial: str, present: frozenset[str]) -> str:
    """Return what an operator must read off the label: the last four, or the whole serial if they are shared.

    Args:
        serial: of the unit to confirm.
        present: serials of all units present.
    """
    tail = serial[-4:]
    shared = any(other != serial and other.endswith(tail) for other in present)
    return serial if shared or len(serial) <= 4 else tail
