"""What reading the files of a day gives: a plan, or mistakes; notices either way."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from benchday.domain.errors import Mistake, MistakesFound
from benchday.domain.plan import DayPlan


@dataclass(frozen=True, slots=True)
class Notice:
    """Something worth knowing that is no mistake."""

    file: str
    """Path relative to the day's folder where possible."""
    line: int
    """Line, counted from 1; 0 where the whole file is meant."""
    text: str
    """One sentence for a person."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.text}" if self.line else f"{self.file}: {self.text}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the files of a day say."""

    plan: DayPlan | None
    """None where there are mistakes."""
    mistakes: tuple[Mistake, ...]
    """Every mistake of every file, by file, line and column."""
    notices: tuple[Notice, ...] = ()

    def required(self) -> DayPlan:
        """Return the plan.

        Raises:
            MistakesFound: there are mistakes.
        """
        if self.plan is None or self.mistakes:
            raise MistakesFound(self.mistakes)
        return self.plan


def nearest(word: str, words: Iterable[str]) -> str | None:
    """Return the known word that is nearest to the one written, if any is near."""
    known = {w.casefold(): w for w in words}
    close = difflib.get_close_matches(word.casefold()[:200], known, n=1, cutoff=0.6)
    return known[close[0]] if close else None


def shown(text: str, longest: int = 60) -> str:
    """Return text as it is shown in a mistake: on one line, printable, not too long."""
    plain = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[: longest + 1])
    return plain if len(text) <= longest else plain[:longest] + "..."
