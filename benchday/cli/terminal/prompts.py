"""What the input line can be asking for: nothing, a value of an item, a caution read, a reason, a name."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchday.domain.cautions import Caution
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind

ENDS_AT_ONCE = frozenset({"not now", "absent", "mistake"})
"""Answers after which the rest of an item has no meaning."""


OFF_THE_LABEL = "Read them off the unit itself, not off a screen. Esc leaves it unconfirmed."


@dataclass(frozen=True, slots=True)
class Question:
    """What stands above the input line."""

    label: str
    hint: str = ""
    kept: str = ""
    """What was typed here before; Enter takes it."""


@dataclass(slots=True)
class Idle:
    """Waits for a code, a number or a command."""

    def question(self) -> Question:
        """Return what stands above the input line."""
        return Question("Scan or type a code, or the number of an item.", "/help says what else can be typed.")


@dataclass(slots=True)
class ItemPrompt:
    """Asks for the wanted values of an item, one after the other."""

    item: Item
    kept: dict[str, str] = field(default_factory=dict)
    """What was typed for each value before; never for a confirmation."""
    values: dict[str, object] = field(default_factory=dict)

    @property
    def confirms(self) -> bool:
        """Tell whether a permit hangs on it."""
        return self.item.kind is ItemKind.CONFIRM

    @property
    def wanted(self) -> Wanted | None:
        """The value that is asked for now; None when a plain done will do."""
        return self.item.wanted[len(self.values)] if len(self.values) < len(self.item.wanted) else None

    def question(self) -> Question:
        """Return what stands above the input line."""
        wanted = self.wanted
        if wanted is None:
            return Question(f"Item {self.item.id}: done?", "Type y when it is done. Esc leaves it.")
        number = f", {len(self.values) + 1} of {len(self.item.wanted)}" if len(self.item.wanted) > 1 else ""
        hint = OFF_THE_LABEL if self.confirms and wanted.kind is WantedKind.TEXT else _hint(wanted)
        return Question(f"Item {self.item.id}{number}: {wanted.label}", hint, self.kept.get(wanted.name, ""))

    def take(self, typed: str) -> str | None:
        """Take what was typed for the value asked for; return what is wrong with it."""
        wanted = self.wanted
        if wanted is None:
            return (
                None if typed.strip().lower() in ("y", "yes", "done", "ok") else "type y when it is done; Esc leaves it"
            )
        if not typed.strip():
            typed = self.kept.get(wanted.name, "")
        value = wanted.read(_word(wanted, typed))
        problem = wanted.problem(value)
        if problem is not None:
            return problem
        self.values[wanted.name] = value
        if not self.confirms:
            self.kept[wanted.name] = typed
        return None

    def complete(self) -> bool:
        """Tell whether it can be answered: everything was asked, or an answer makes the rest meaningless."""
        return len(self.values) == len(self.item.wanted) or any(v in ENDS_AT_ONCE for v in self._texts())

    def answer(self) -> dict[str, object]:
        """Return the values that were given."""
        return {name: value for name, value in self.values.items() if value is not None}

    def step_back(self) -> None:
        """Ask for the last value again: the answer was refused."""
        if self.values:
            self.values.popitem()

    def _texts(self) -> list[str]:
        return [v for v in self.values.values() if isinstance(v, str)]


@dataclass(slots=True)
class CautionPrompt:
    """Shows the day's general cautions to an operator, one after the other."""

    operator: str
    cautions: tuple[Caution, ...]

    def question(self) -> Question:
        """Return what stands above the input line."""
        left = f" ({len(self.cautions)} to read)" if len(self.cautions) > 1 else ""
        return Question(f"{self.operator}: have you read this caution?{left}", "Type y when you have read it.")


@dataclass(slots=True)
class ReasonPrompt:
    """Asks why a hold is lifted."""

    serial: str

    def question(self) -> Question:
        """Return what stands above the input line."""
        return Question(f"Lift the hold on {self.serial}: why?", "The reason stands in its log. Esc leaves it held.")


@dataclass(slots=True)
class NamePrompt:
    """Asks who acts from here on."""

    names: tuple[str, ...]

    def question(self) -> Question:
        """Return what stands above the input line."""
        listed = "  ".join(f"{n} {name}" for n, name in enumerate(self.names, 1))
        return Question("Who acts from here on?", listed)

    def name(self, typed: str) -> str | None:
        """Return the name that was meant, by number, by name or by its beginning."""
        typed = typed.strip()
        if typed.isdigit() and 1 <= int(typed) <= len(self.names):
            return self.names[int(typed) - 1]
        meant = [n for n in self.names if n.casefold() == typed.casefold()]
        meant = meant or [n for n in self.names if typed and n.casefold().startswith(typed.casefold())]
        return meant[0] if len(meant) == 1 else None


Prompt = Idle | ItemPrompt | CautionPrompt | ReasonPrompt | NamePrompt


def _word(wanted: Wanted, typed: str) -> str:
    """Return the choice that was meant by its word in any case, or by its beginning if that is one choice's alone."""
    if wanted.kind is not WantedKind.CHOICE:
        return typed
    low = typed.strip().casefold()
    exact = [c for c in wanted.choices if c.casefold() == low]
    meant = exact or [c for c in wanted.choices if low and c.casefold().startswith(low)]
    return meant[0] if len(meant) == 1 else typed


def _hint(wanted: Wanted) -> str:
    hints = []
    if wanted.kind is WantedKind.CHOICE:
        hints.append("   ".join(f"{n} {choice}" for n, choice in enumerate(wanted.choices, 1)))
    elif wanted.kind is WantedKind.FLAG:
        hints.append("y or n")
    elif wanted.kind is WantedKind.DATE:
        hints.append("a date like 2026-03-31")
    elif wanted.kind is WantedKind.FILE:
        hints.append("the path of a file on this computer; the archive keeps a copy")
    elif wanted.kind is WantedKind.INTEGER:
        bounds = f", {wanted.lowest} to {wanted.highest}" if wanted.lowest is not None else ""
        hints.append(f"a whole number{f' of {wanted.unit}' if wanted.unit else ''}{bounds}")
    if not wanted.required:
        hints.append("Enter leaves it out")
    return "; ".join(hints)
