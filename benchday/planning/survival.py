"""What must survive a write: settings, pairings, installed options and the support term, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from benchday.domain.checks import Answer
from benchday.domain.playbook import Playbook

OPTIONS = "options"
SUPPORT_TERM = "support term"
"""What a playbook calls the two that are no settings."""
NOT_THERE = "not there"
GONE = "gone"
LEFT_EMPTY = "left empty"

_RADIO = ("frequency", "bandwidth", "transmit")
_PAIRING = ("pairing", "paired")
_LICENCE = "local rules and the owner's licence say what may be set"


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a unit at one time; None is not known, and is not compared."""

    settings: Mapping[str, str] | None = field(default_factory=dict)
    options: tuple[str, ...] | None = None
    term: str | None = None
    """Last day of the support term (ISO 8601)."""
    by_hand: bool = False
    """A person read it off: what is left empty may be lost, or not have been looked for, and is asked about."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is not as it was."""

    field: str
    """Name of the setting, or the word options or support term."""
    before: str
    after: str
    answer: Answer
    """ask: a person may accept it; stop: it fails verify."""
    setting: bool = True

    @property
    def radio(self) -> bool:
        """It says what the unit transmits."""
        return self.setting and any(word in self.field for word in _RADIO)

    @property
    def text(self) -> str:
        """Word it for a technician."""
        if self.field == OPTIONS and not self.setting:
            return f"installed options are {self.after}, before {self.before}"
        if self.field == SUPPORT_TERM and not self.setting:
            if self.after == GONE:
                return f"the unit tells no support term any more; before the write it ended on {self.before}"
            if self.after == LEFT_EMPTY:
                return f"its support term was left empty; before the write it ended on {self.before}"
            return f"the support term it tells ends on {self.after}; before the write it ended on {self.before}"
        what = "pairing" if any(word in self.field for word in _PAIRING) else "setting"
        licence = f" ({_LICENCE})" if self.radio else ""
        return f"{what} {self.field} is {self.after}, before {self.before}{licence}"


def changes(before: Known, after: Known, playbook: Playbook) -> tuple[Change, ...]:
    """Return everything that did not survive, radio settings first: what a base transmits matters most."""
    found = [*_settings(before, after, playbook), *_options(before, after), *_term(before, after)]
    answered = [_answered(change, playbook) for change in found]
    return tuple(sorted(answered, key=lambda change: not change.radio))


def _settings(before: Known, after: Known, playbook: Playbook) -> Iterator[Change]:
    old, new = before.settings, after.settings
    if not old or new is None:
        return
    for name in sorted({*old, *new}):
        compared = not playbook.compare_settings or name in playbook.compare_settings
        if compared and old.get(name) != new.get(name):
            yield Change(name, old.get(name, NOT_THERE), new.get(name, GONE), Answer.STOP)


def _options(before: Known, after: Known) -> Iterator[Change]:
    if before.options is None or after.options is None or sorted(before.options) == sorted(after.options):
        return
    if after.by_hand and not (before.options and after.options):
        told = _joined(after.options) if after.options else LEFT_EMPTY
        yield Change(OPTIONS, _joined(before.options), told, Answer.ASK, setting=False)
        return
    yield Change(OPTIONS, _joined(before.options), _joined(after.options), Answer.STOP, setting=False)


def _term(before: Known, after: Known) -> Iterator[Change]:
    if before.term is None or before.term == after.term:
        return
    if after.term is None and after.by_hand:
        yield Change(SUPPORT_TERM, before.term, LEFT_EMPTY, Answer.ASK, setting=False)
        return
    yield Change(SUPPORT_TERM, before.term, after.term or GONE, Answer.STOP, setting=False)


def _answered(change: Change, playbook: Playbook) -> Change:
    may = change.field in playbook.ask_if_changed
    return Change(change.field, change.before, change.after, Answer.ASK, change.setting) if may else change


def _joined(options: tuple[str, ...]) -> str:
    return ", ".join(options) or "none"
