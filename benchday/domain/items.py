"""Items: whatever a person must do, journaled when asked and when answered."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from benchday.domain.units import Ability

LONGEST_TEXT = 2000
"""Characters of one value; more is no answer to anything."""
_SHOWN = 80


class ItemKind(StrEnum):
    """What sort of thing a person is asked for."""

    ARRIVE = "arrive"
    INSTRUCT = "instruct"
    EVIDENCE = "evidence"
    CONFIRM = "confirm"
    DECIDE = "decide"
    OVERRIDE = "override"
    CAUTION = "caution"


class WantedKind(StrEnum):
    """The type of one wanted value."""

    TEXT = "text"
    INTEGER = "integer"
    DATE = "date"
    CHOICE = "choice"
    FLAG = "flag"
    """yes or no"""
    FILE = "file"
    """path of a file on the bench PC, like a photo; the archive keeps it, and the entry names its digest"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One value that an item wants."""

    name: str
    label: str
    """What a person reads."""
    kind: WantedKind = WantedKind.TEXT
    choices: tuple[str, ...] = ()
    pattern: str | None = None
    """Bounded regular expression that a text must match in full."""
    unit: str | None = None
    """Unit of measure of an integer."""
    lowest: int | None = None
    highest: int | None = None
    required: bool = True
    personal: bool = False
    """Somebody's name, contact or own words: kept beside the chain, the entry carries a reference."""

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value; None if it will do."""
        if value is None or value == "":
            return f"{self.label}: a value is needed" if self.required else None
        if self.kind is WantedKind.FLAG:
            return None if isinstance(value, bool) else f"{self.label}: expected yes or no, got {_shown(value)}"
        if self.kind is WantedKind.INTEGER:
            return self._integer_problem(value)
        if not isinstance(value, str) or len(value) > LONGEST_TEXT:
            return f"{self.label}: expected a text of at most {LONGEST_TEXT} characters"
        if any("\ud800" <= c <= "\udfff" for c in value):
            return f"{self.label}: expected a text, got bytes or codes that are none"
        return self._text_problem(value)

    def _integer_problem(self, value: object) -> str | None:
        if isinstance(value, bool) or not isinstance(value, int):
            return (
                f"{self.label}: expected a whole number{f' of {self.unit}' if self.unit else ''}, got {_shown(value)}"
            )
        if (self.lowest is not None and value < self.lowest) or (self.highest is not None and value > self.highest):
            of_what = f" {self.unit}" if self.unit else ""
            return f"{self.label}: expected {self.lowest} to {self.highest}{of_what}, got {_shown(value)}"
        if abs(value) >= 2**53:  # no entry could hold it (RFC 8785, numbers are doubles)
            return f"{self.label}: expected a whole number of at most 15 digits"
        return None

    def _text_problem(self, value: str) -> str | None:
        if self.kind is WantedKind.CHOICE and value not in self.choices:
            return f"{self.label}: expected one of {', '.join(self.choices)}, got {_shown(value)}"
        if self.kind is WantedKind.DATE:
            try:
                date.fromisoformat(value)
            except ValueError:
                return f"{self.label}: expected a date like 2026-03-31, got {_shown(value)}"
        if self.pattern is not None and not re.fullmatch(self.pattern, value):
            return f"{self.label}: {_shown(value)} is not in the expected form"
        return None

    def read(self, text: str) -> str | int | bool | None:
        """Turn what a person typed into a value; others come back as they are."""
        if len(text) > LONGEST_TEXT:
            return text
        text = text.strip()
        if self.kind is WantedKind.FLAG:
            return {"y": True, "yes": True, "n": False, "no": False}.get(text.lower(), text or None)
        if self.kind is WantedKind.INTEGER and re.fullmatch(r"[+-]?\d{1,12}", text):
            return int(text)
        if self.kind is WantedKind.CHOICE and text.isdigit() and 1 <= int(text) <= len(self.choices):
            return self.choices[int(text) - 1]
        return text or None

    def as_facts(self) -> dict[str, Any]:
        """Return the value as it stands in an entry."""
        return {
            "name": self.name,
            "label": self.label,
            "kind": self.kind.value,
            "choices": list(self.choices),
            "pattern": self.pattern,
            "unit": self.unit,
            "lowest": self.lowest,
            "highest": self.highest,
            "required": self.required,
            "personal": self.personal,
        }

    @classmethod
    def from_facts(cls, facts: Mapping[str, Any]) -> Wanted:
        """Read it back from an entry."""
        return cls(**{**facts, "kind": WantedKind(facts["kind"]), "choices": tuple(facts["choices"])})


def _shown(value: object) -> str:
    """Show what was given instead, as much of it as anybody will read."""
    return repr(value[:_SHOWN] if isinstance(value, str) else value)[: _SHOWN + 2]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing for a person to do."""

    id: str
    kind: ItemKind
    topic: str
    """What it is about, in one of our words: connect, plug, confirm, battery ... one open item a unit and topic."""
    text: str
    """What the person reads."""
    unit: str | None = None
    station: str | None = None
    wanted: tuple[Wanted, ...] = ()
    """Empty: a plain done will do."""
    figures: Mapping[str, int | str] = field(default_factory=dict)
    ability: Ability | None = None
    """What the operator who answers must be allowed to do."""
    safety: bool = False
    """Comes before everything else."""
    expires_us: int | None = None
    """Day time after which it is withdrawn."""
    asked_us: int = 0
    """Day time at which it was asked."""
    cautions: tuple[str, ...] = ()
    """Names of the cautions shown with it, acknowledged by the answer."""

    def problems(self, value: Mapping[str, object]) -> tuple[str, ...]:
        """Say what is wrong with an answer; empty if it will do."""
        known = {w.name for w in self.wanted}
        unknown = [f"{name} was not asked for" for name in value if name not in known]
        found = [w.problem(value.get(w.name)) for w in self.wanted]
        return tuple(unknown + [p for p in found if p is not None])

    def as_facts(self) -> dict[str, Any]:
        """Return the item as it stands in an entry and on the pipe."""
        return {
            "id": self.id,
            "kind": self.kind.value,
            "topic": self.topic,
            "text": self.text,
            "unit": self.unit,
            "station": self.station,
            "wanted": [w.as_facts() for w in self.wanted],
            "figures": dict(self.figures),
            "ability": self.ability.value if self.ability else None,
            "safety": self.safety,
            "expires_us": self.expires_us,
            "asked_us": self.asked_us,
            "cautions": list(self.cautions),
        }

    @classmethod
    def from_facts(cls, facts: Mapping[str, Any]) -> Item:
        """Read it back from an entry."""
        return cls(
            **{
                **facts,
                "kind": ItemKind(facts["kind"]),
                "wanted": tuple(Wanted.from_facts(w) for w in facts["wanted"]),
                "cautions": tuple(facts["cautions"]),
                "ability": Ability(facts["ability"]) if facts["ability"] else None,
            }
        )


@dataclass(frozen=True, slots=True)
class Answered:
    """What a person answered."""

    value: Mapping[str, Any]
    operator: str
    by: str
    """person, pipe or simulated: through which face."""
    at_us: int

    def text(self, name: str) -> str:
        """Return a wanted text; empty if it was left out."""
        value = self.value.get(name)
        return value if isinstance(value, str) else ""

    def flag(self, name: str) -> bool:
        """Return a wanted yes or no; no if it was left out."""
        return self.value.get(name) is True

    def integer(self, name: str) -> int | None:
        """Return a wanted number; None if it was left out."""
        value = self.value.get(name)
        return value if isinstance(value, int) and not isinstance(value, bool) else None
