"""What telling gives: a log of chapters, each with its lines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from benchday.domain.entries import Entry

LookUp = Callable[[str], str | None]
"""Reference -> the personal text that it stands for; None if it was erased."""


@dataclass(frozen=True, slots=True)
class Told:
    """One entry in words."""

    seq: int
    at_us: int
    """Day time."""
    when: str
    """The same as local time with its UTC offset (ISO 8601)."""
    text: str
    """One sentence."""
    details: tuple[str, ...] = ()
    """Further lines, to be set in."""
    operator: str | None = None
    station: str | None = None
    place: str | None = None
    """Cable or adapter that joined the unit then."""
    mark: str = ""
    """A word where the line stands out: STOP, ASK, HELD, CAUTION."""


@dataclass(frozen=True, slots=True)
class Chapter:
    """A part of the story: a step, a stay, the check-in."""

    title: str
    at_us: int
    lines: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class Log:
    """A unit's log."""

    head: tuple[tuple[str, str], ...]
    """Label and value, for the summary."""
    chapters: tuple[Chapter, ...]
    simulated: bool


@dataclass(slots=True)
class Telling:
    """What the sentences need to know besides the entry in hand; brought up to date while the entries pass."""

    look_up: LookUp
    zone: tzinfo = UTC
    place: str | None = None
    """Cable or adapter that joins the unit now."""
    items: dict[str, Entry] = field(default_factory=dict)
    """Id of an item of this day -> the entry that asked it."""
    settings_before: dict[str, str] = field(default_factory=dict)
    playbooks: dict[str, str] = field(default_factory=dict)
    """Digest of a playbook read this day -> its name."""

    def personal(self, reference: object) -> str:
        """Return what a person said, or that it was erased."""
        if not reference:
            return "not told"
        found = self.look_up(str(reference))
        return found if found is not None else "(erased)"


Sentence = tuple[str, tuple[str, ...], str]
"""Text, details, mark."""


def sentence(text: str, *details: str, mark: str = "") -> Sentence:
    """Make a sentence with its details."""
    return text, details, mark
