"""The support term of a unit, from all that say one: a renewal, the unit itself, the supplier's list, the roster.

The unit's own reading counts first, because that is what the unit itself goes by. A renewal counts before it until the
unit is read again; the supplier's list counts before the roster, which somebody typed (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.plan import TermsList
from benchday.domain.story import UnitStory
from benchday.domain.words import is_date
from benchday.planning.wording import counted, listed

TERM_ENDS_SOON_DAYS = 90
"""A support term that ends within so many days is pointed out: time enough to renew it (common practice, no source)."""


class TermSource(StrEnum):
    """Who says when a support term ends."""

    UNIT = "unit"
    RENEWAL = "renewal"
    SUPPLIER = "supplier"
    ROSTER = "roster"
    IMPORTED = "imported"
    """A list that was read into the register."""


WHY = {
    TermSource.UNIT: "the unit's own reading, which is what the unit itself goes by",
    TermSource.RENEWAL: "the renewal, which was recorded with evidence and which the unit has not told otherwise",
    TermSource.SUPPLIER: "the supplier's list, since the unit tells none and no renewal was recorded",
    TermSource.ROSTER: "the roster, since nobody else says one",
    TermSource.IMPORTED: "the list that was read in, since nobody else says one",
}
"""Why a source is the one that is used."""


@dataclass(frozen=True, slots=True)
class Renewed:
    """A renewal recorded with evidence."""

    until: str
    """Last day of the renewed term (ISO 8601)."""
    read_since: bool = False
    """The unit was read again after the renewal was recorded."""


@dataclass(frozen=True, slots=True)
class Supplied:
    """What a supplier's list says of a unit."""

    last_day: str
    supplier: str
    as_of: str
    """Day of the list (ISO 8601)."""
    from_copy: bool = False
    """It could not be fetched; this is the last copy."""


@dataclass(frozen=True, slots=True)
class TermSources:
    """All that say a support term; days in ISO 8601, None where nothing is said."""

    renewed: Renewed | None = None
    unit_says: str | None = None
    supplier: Supplied | None = None
    roster: str | None = None
    made: str | None = None
    """Day on which the unit was made, from the register."""


@dataclass(frozen=True, slots=True)
class TermFound:
    """The support term that is used."""

    last_day: str | None
    """None if nobody says one."""
    source: TermSource | None
    finding: Finding
    """On the support term: what each source says, which is used and why."""
    disputed: bool = False
    """Those who say one do not agree."""


@dataclass(frozen=True, slots=True)
class _Said:
    source: TermSource
    last_day: str
    who: str
    """Subject of a sentence that ends in "says" and the day."""


def sources_of(story: UnitStory, terms: TermsList | None, made: str | None = None) -> TermSources:
    """Return what the day's entries and the supplier's list say of a unit's term.

    Args:
        story: of the unit.
        terms: the supplier's list; None where the day names none.
        made: day on which the unit was made, from the register.
    """
    renewed = Renewed(story.term_renewed, not story.renewal_unread) if story.term_renewed else None
    told = (story.identity or {}).get("term")
    # The first reading of today is older than a renewal that the unit was read after.
    if told is None and (renewed is None or not renewed.read_since):
        told = story.term_before
    told = told if is_date(told) else None  # a record of an older program may hold other words
    listed_day = terms.terms.get(story.serial) if terms is not None else None
    supplied = Supplied(listed_day, terms.supplier, terms.as_of, terms.from_copy) if terms and listed_day else None
    return TermSources(renewed, told, supplied, story.support_until, made)


def term_of(sources: TermSources, on: str, issue_dates: Sequence[str] = ()) -> TermFound:
    """Return the support term that is used, and what is to be said of it.

    Args:
        sources: all that say one.
        on: today (ISO 8601).
        issue_dates: of the releases that might be put on the unit; where the sources differ, a person is asked only if
            one of these would be allowed by one and not by another.
    """
    said = tuple(_said(sources))
    if not said:
        return TermFound(None, None, _unknown(issue_dates))
    used = said[0]
    finding = (
        _before_made(said, sources.made)
        or _renewal_not_shown(sources, said)
        or _differing(sources, said, issue_dates)
        or _agreed(said, on)
    )
    disputed = finding.answer is not Answer.CLEAR or len({s.last_day for s in said}) > 1
    return TermFound(used.last_day, used.source, finding, disputed)


def chosen(sources: TermSources) -> tuple[str, TermSource] | None:
    """Return the support term that is used and who says it, without judging it; None if nobody says one."""
    used = next(_said(sources), None)
    return (used.last_day, used.source) if used is not None else None


def ends_soon(last_day: str, on: str, days: int = TERM_ENDS_SOON_DAYS) -> bool:
    """Tell whether a term has not ended and ends within so many days."""
    return 0 <= days_left(last_day, on) <= days


def days_left(last_day: str, on: str) -> int:
    """Return the days from today to the last day of a term, negative once it has ended."""
    return (date.fromisoformat(last_day) - date.fromisoformat(on)).days


def _said(sources: TermSources) -> Iterator[_Said]:
    """Yield what is said, what is used first."""
    renewed, supplier = sources.renewed, sources.supplier
    renewal = _Said(TermSource.RENEWAL, renewed.until, "the renewal") if renewed is not None else None
    if renewal is not None and renewed is not None and not renewed.read_since:
        yield renewal
    if sources.unit_says is not None:
        yield _Said(TermSource.UNIT, sources.unit_says, "the unit itself")
    if renewal is not None and renewed is not None and renewed.read_since:
        yield renewal
    if supplier is not None:
        copy = ", the last copy" if supplier.from_copy else ""
        who = f"the list of {supplier.supplier} ({supplier.as_of}{copy})"
        yield _Said(TermSource.SUPPLIER, supplier.last_day, who)
    if sources.roster is not None:
        yield _Said(TermSource.ROSTER, sources.roster, "the roster")


def _unknown(issue_dates: Sequence[str]) -> Finding:
    if not issue_dates:
        return Finding(Check.SUPPORT_TERM, Answer.CLEAR, "the support term is not known: nobody says one")
    text = "the support term is not known: nobody says one; ask the customer or the maker for its last day"
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, clears="the last day of the support term is known")


def _before_made(said: Sequence[_Said], made: str | None) -> Finding | None:
    wrong = [s for s in said if made is not None and s.last_day < made]
    if not wrong:
        return None
    text = (
        f"{_telling(wrong)}, but the unit was made on {made}: a term cannot end before that; find out which day is "
        f"wrong. {_used(said[0])}"
    )
    figures = {**_figures(said), "made": made or ""}
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, figures, "it is known which of these days is wrong")


def _renewal_not_shown(sources: TermSources, said: Sequence[_Said]) -> Finding | None:
    renewed, told = sources.renewed, sources.unit_says
    if renewed is None or not renewed.read_since or told is None or told >= renewed.until:
        return None
    text = (
        f"the support term was renewed until {renewed.until}, but the unit, read again, still says {told}: see that "
        f"the renewal gets onto the unit, or ask who renewed it. {_used(said[0])}"
    )
    clears = f"the unit, read again, tells {renewed.until} or a later day"
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, _figures(said), clears)


def _differing(sources: TermSources, said: Sequence[_Said], issue_dates: Sequence[str]) -> Finding | None:
    if len({s.last_day for s in said}) == 1:
        return None
    text = f"the support term is told differently: {_telling(said)}. {_used(said[0])}"
    between = sorted(day for day in set(issue_dates) if _divides(day, _standing(sources, said)))
    if not between:
        note = "; no release that might be put on the unit depends on it" if issue_dates else ""
        return Finding(Check.SUPPORT_TERM, Answer.CLEAR, text + note, _figures(said))
    text += (
        f". By one of them a release issued on {listed(between)} may be put on the unit and by another not: ask the "
        "customer or the supplier which is right"
    )
    clears = "those who tell the support term agree, or a renewal is recorded with evidence"
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, _figures(said), clears)


def _standing(sources: TermSources, said: Sequence[_Said]) -> list[str]:
    """Return the days that can be right: what ends earlier than a renewal was said before it."""
    if sources.renewed is None:
        return [s.last_day for s in said]
    return [s.last_day for s in said if s is said[0] or s.last_day >= sources.renewed.until]


def _divides(issued: str, days: Iterable[str]) -> bool:
    return len({issued <= day for day in days}) > 1


def _agreed(said: Sequence[_Said], on: str) -> Finding:
    used = said[0]
    left = days_left(used.last_day, on)
    when = f"ended on {used.last_day}" if left < 0 else f"ends on {used.last_day}"
    soon = f", in {counted(left, 'day')}: tell the customer" if ends_soon(used.last_day, on) else ""
    text = f"the support term {when}, as {listed(s.who for s in said)} {'says' if len(said) == 1 else 'say'}{soon}"
    return Finding(Check.SUPPORT_TERM, Answer.CLEAR, text, {**_figures(said), "days_left": left})


def _telling(said: Iterable[_Said]) -> str:
    return listed(f"{s.who} says {s.last_day}" for s in said)


def _used(used: _Said) -> str:
    return f"Used is {used.last_day}: {WHY[used.source]}"


def _figures(said: Sequence[_Said]) -> dict[str, int | str]:
    return {"used": said[0].source.value, "term": said[0].last_day, **{s.source.value: s.last_day for s in said}}
