"""Who is due: units behind their newest release, terms that end soon, overdue services; whom to invite first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from benchday.domain.releases import Image, Version
from benchday.planning.register import Registered
from benchday.planning.terms import TERM_ENDS_SOON_DAYS, TermSource, days_left, ends_soon
from benchday.planning.wording import counted, listed

SERVICE_EVERY_DAYS = 365
"""A unit that was not served for so long is overdue (common practice, no source)."""
LISTS = ("behind", "after_renewal", "term_unknown", "ending", "overdue")


@dataclass(frozen=True, slots=True)
class DueUnit:
    """One unit, and why it is on a list."""

    serial: str
    model: str
    customer: str
    crew: str
    release: str | None
    term: str | None
    """Last day of its support term (ISO 8601)."""
    source: TermSource | None
    newest: str | None
    """Release that it is about: the newest within its term; where there is none, the newest of its model."""
    issued: str | None
    """Day on which that was issued (ISO 8601)."""
    days: int | None
    """Until the term ends, or since the last service."""
    reason: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class Invitation:
    """A crew of a customer, or what a customer has outside any crew, and what it would gain."""

    customer: str
    crew: str
    units: int
    gain: tuple[str, ...]
    """Serials of those that would get a newer release within their terms."""
    after_renewal: tuple[str, ...]
    """Serials of those that would gain only once their terms are renewed."""
    ending: tuple[str, ...]
    """Serials of those whose terms end soon."""
    overdue: tuple[str, ...]
    reason: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class Due:
    """All lists, each in the order of use."""

    on: str
    within_days: int
    behind: tuple[DueUnit, ...] = ()
    """A newer release than theirs was issued within their terms."""
    after_renewal: tuple[DueUnit, ...] = ()
    """Their terms ended before any newer release was issued."""
    term_unknown: tuple[DueUnit, ...] = ()
    """There is a newer release, and nobody says when their terms end."""
    ending: tuple[DueUnit, ...] = ()
    """Soonest first."""
    overdue: tuple[DueUnit, ...] = ()
    """Longest first."""
    invite: tuple[Invitation, ...] = ()
    """Most units first."""


def due(units: Iterable[Registered], images: Sequence[Image], on: str, within_days: int = TERM_ENDS_SOON_DAYS) -> Due:
    """Return who is due.

    Args:
        units: of the register.
        images: of the last image list that the record has seen.
        on: today (ISO 8601).
        within_days: terms that end within so many days are told.
    """
    newest = _Newest(images, on)
    lists: dict[str, list[DueUnit]] = {name: [] for name in LISTS}
    crews: dict[tuple[str, str], int] = defaultdict(int)
    for unit in units:
        crews[unit.customer, unit.crew] += 1
        for name, found in _of(unit, newest, on, within_days):
            lists[name].append(found)

    for found_there in lists.values():
        found_there.sort(key=lambda u: (u.customer, u.crew, u.serial))
    lists["ending"].sort(key=lambda u: (u.days or 0, u.serial))
    lists["overdue"].sort(key=lambda u: (-(u.days or 0), u.serial))
    invite = _invitations(crews, lists)
    return Due(on, within_days, **{name: tuple(found) for name, found in lists.items()}, invite=invite)


class _Newest:
    """The releases of each model and hardware revision, newest first, worked out once."""

    def __init__(self, images: Sequence[Image], on: str) -> None:
        self._images = [i for i in images if not i.trial and i.issued <= on]
        self._of: dict[tuple[str, str], tuple[Image, ...]] = {}

    def of(self, unit: Registered) -> tuple[Image, ...]:
        key = unit.model, unit.hardware
        if key not in self._of:
            suiting = [i for i in self._images if i.suits(unit.model, unit.hardware or None)]
            self._of[key] = tuple(sorted(suiting, key=lambda i: i.version, reverse=True))
        return self._of[key]


def _of(unit: Registered, newest: _Newest, on: str, within_days: int) -> Iterable[tuple[str, DueUnit]]:
    last_day, source = unit.term
    images = newest.of(unit)
    allowed = next((i for i in images if last_day is not None and i.issued <= last_day), None)
    now = _version(unit.release)

    def found(image: Image | None, days: int | None, reason: str) -> DueUnit:
        release, issued = (image.release, image.issued) if image is not None else (None, None)
        named = (unit.serial, unit.model, unit.customer, unit.crew, unit.release, last_day, source)
        return DueUnit(*named, release, issued, days, reason)

    if now is not None and allowed is not None and now < allowed.version:
        reason = f"on {unit.release}; {allowed.release}, issued on {allowed.issued}, is within its support term"
        yield "behind", found(allowed, None, f"{reason}, which {_ends(last_day or '', on)}")
    elif now is not None and images and now < images[0].version and last_day is None:
        reason = f"on {unit.release}; there is {images[0].release}, but its support term is not known: ask for it"
        yield "term_unknown", found(images[0], None, reason)
    elif now is not None and images and now < images[0].version and last_day is not None:
        reason = f"on {unit.release}; {images[0].release} was issued on {images[0].issued}, after its support term"
        yield "after_renewal", found(images[0], None, f"{reason}, which {_ends(last_day, on)}")
    if last_day is not None and ends_soon(last_day, on, within_days):
        left = days_left(last_day, on)
        reason = f"its support term ends on {last_day}, in {counted(left, 'day')}"
        yield "ending", found(allowed, left, reason)
    if unit.last_service is not None and (since := -days_left(unit.last_service, on)) > SERVICE_EVERY_DAYS:
        yield "overdue", found(allowed, since, f"last served on {unit.last_service}, {counted(since, 'day')} ago")


def _version(release: str | None) -> Version | None:
    """Return a release that has a place in the order; one with a suffix has none."""
    try:
        version = Version(release or "")
    except ValueError:
        return None
    return None if version.suffix else version


def _ends(last_day: str, on: str) -> str:
    return f"{'ended' if date.fromisoformat(last_day) < date.fromisoformat(on) else 'ends'} on {last_day}"


def _invitations(crews: dict[tuple[str, str], int], lists: dict[str, list[DueUnit]]) -> tuple[Invitation, ...]:
    of_crew: dict[tuple[str, str], dict[str, list[DueUnit]]] = defaultdict(lambda: defaultdict(list))
    for name, found in lists.items():
        for unit in found:
            of_crew[unit.customer, unit.crew][name].append(unit)

    made = [_invitation(key, crews[key], of_crew[key]) for key in of_crew if of_crew[key]["behind"]]
    return tuple(sorted(made, key=lambda i: (-len(i.gain), -len(i.ending), i.customer, i.crew)))


def _invitation(key: tuple[str, str], units: int, found: dict[str, list[DueUnit]]) -> Invitation:
    serials = {name: tuple(u.serial for u in found[name]) for name in ("behind", "after_renewal", "ending", "overdue")}
    return Invitation(
        customer=key[0],
        crew=key[1],
        units=units,
        gain=serials["behind"],
        after_renewal=serials["after_renewal"],
        ending=serials["ending"],
        overdue=serials["overdue"],
        reason=_why(units, found),
    )


def _why(units: int, found: dict[str, list[DueUnit]]) -> str:
    behind = found["behind"]
    releases = dict.fromkeys(f"{u.model} {u.newest}" for u in behind)
    parts = [f"{len(behind)} of {counted(units, 'unit')} would get a newer release ({listed(releases)})"]
    if found["ending"]:
        first = found["ending"][0]
        parts.append(
            f"the support term of {counted(len(found['ending']), 'unit')} ends soon, the first on {first.term}"
        )
    if found["after_renewal"]:
        parts.append(f"{counted(len(found['after_renewal']), 'more unit')} would once the support term is renewed")
    if found["overdue"]:
        parts.append(f"{counted(len(found['overdue']), 'unit')} overdue for service")
    return "; ".join(parts)
