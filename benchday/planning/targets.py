"""Targets: the release each unit should get today, why, and the way there.

The newest release issued within the support term; for the receivers of one crew the newest on which all that are here
can work together. A way back is never chosen: what would go down stays where it is, and a person decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.releases import Image, Version
from benchday.domain.units import Role
from benchday.planning.routes import Start, newest_first, reachable, route
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import ReasonCode, Target, UnitNow
from benchday.planning.wording import listed

__all__ = ["ReasonCode", "Rules", "Target", "UnitNow", "targets"]


def targets(
    units: Sequence[UnitNow], images: Sequence[Image], on: str | None = None, rules: Rules = PLAIN
) -> tuple[Target, ...]:
    """Return a target for each unit, in the order of the units.

    Args:
        units: all units of the day, with what is known of them now.
        images: the image store's list.
        on: day for which it is asked (ISO 8601); a release issued after it does not exist yet.
        rules: times, what works together, pins and what was decided about sets.
    """
    issued = [i for i in images if on is None or i.issued_on <= date.fromisoformat(on)]
    outlooks = {unit.serial: _outlook(unit, issued) for unit in units}
    found = {serial: _alone(outlook) for serial, outlook in outlooks.items()}
    for crew in dict.fromkeys(unit.crew for unit in units if _in_set(unit)):
        members = [outlooks[unit.serial] for unit in units if unit.crew == crew and _in_set(unit)]
        if len(members) > 1:
            found.update(_together(members, found))

    return tuple(found[unit.serial] for unit in units)


@dataclass(frozen=True, slots=True)
class _Outlook:
    """One unit with the images that suit it, newest first."""

    unit: UnitNow
    suiting: tuple[Image, ...]
    allowed: tuple[Image, ...]
    """Those issued within the support term; all if the term is not known."""

    @property
    def now(self) -> Version | None:
        return Version(self.unit.release) if self.unit.release else None

    @property
    def known(self) -> bool:
        return self.now is not None or self.unit.in_boot

    def way(self, goal: Version) -> tuple[Image, ...] | None:
        """Return the images to write; with the release now unknown, the goal's alone, to be worked out later."""
        if not self.known:
            return tuple(i for i in self.allowed if i.version == goal)[:1] or None
        return route(Start(self.now), goal, self.allowed)

    def ends(self) -> set[Version]:
        """Return the releases on which this unit can end today: where it is, and where a way leads."""
        if not self.known:
            return {i.version for i in self.allowed}
        here = {self.now} if self.now is not None else set()
        return here | {i.version for i in reachable(Start(self.now), self.allowed)}


def _outlook(unit: UnitNow, images: Iterable[Image]) -> _Outlook:
    suiting = newest_first(i for i in images if i.suits(unit.model, unit.hardware))
    if unit.support_until is None:
        return _Outlook(unit, suiting, suiting)
    last_day = date.fromisoformat(unit.support_until)
    return _Outlook(unit, suiting, tuple(i for i in suiting if i.issued_on <= last_day))


def _in_set(unit: UnitNow) -> bool:
    return bool(unit.crew) and unit.role in (Role.BASE, Role.ROVER, Role.EITHER)


def _alone(outlook: _Outlook) -> Target:
    """Return the target of a unit that need not work with others."""
    unit, now = outlook.unit, outlook.now
    if not outlook.suiting:
        return _no_image(outlook)
    if not outlook.allowed:
        newest = outlook.suiting[0]
        reason = (
            f"the support term ended on {unit.support_until}, before any release in the image store was issued "
            f"({newest.release}: {newest.issued}); nothing may be written"
        )
        return Target(unit.serial, unit.release, unit.release, (), ReasonCode.TERM_ENDED, reason)

    best = outlook.allowed[0]
    if now is not None and now > best.version:
        reason = (
            f"{unit.release} is newer than {best.release}, the newest that may be put on it; a way back is not taken"
        )
        return Target(unit.serial, unit.release, unit.release, (), ReasonCode.AHEAD, reason)
    if now == best.version:
        return _stays(outlook, f"already on {best.release}, {_why_best(outlook)[1]}")
    return _goes(outlook, best, *_why_best(outlook))


def _stays(outlook: _Outlook, reason: str) -> Target:
    unit = outlook.unit
    return Target(unit.serial, unit.release, unit.release, (), ReasonCode.CURRENT, reason)


def _goes(outlook: _Outlook, image: Image, code: ReasonCode, why: str) -> Target:
    unit = outlook.unit
    way = outlook.way(image.version)
    if way is None:
        return _no_route(outlook, image)
    findings = tuple(f for f in (_term_unknown(outlook, way), _release_unknown(outlook)) if f is not None)
    releases = tuple(step.release for step in way)
    over = f", by way of {listed(releases[:-1])}" if len(releases) > 1 else ""
    reason = f"{why}{over}" if code is ReasonCode.SET else f"{image.release} is {why}{over}"
    return Target(unit.serial, unit.release, image.release, releases, code, reason, findings, way)


def _why_best(outlook: _Outlook) -> tuple[ReasonCode, str]:
    unit, newest = outlook.unit, outlook.suiting[0]
    if unit.support_until is None:
        return ReasonCode.TERM_UNKNOWN, "the newest release, but the support term is not known"
    if outlook.allowed[0].version < newest.version:
        return ReasonCode.TERM_ENDED, (
            f"the newest issued within the support term, which ends on {unit.support_until} "
            f"({newest.release} was issued on {newest.issued})"
        )
    return ReasonCode.NEWEST, f"the newest release for {unit.model}"


def _together(members: Sequence[_Outlook], alone: Mapping[str, Target]) -> dict[str, Target]:
    """Return the targets of a crew's receivers, so that those that are here end on the same release."""
    here = [m for m in members if m.unit.away is None and m.suiting]
    common = max(set.intersection(*(m.ends() for m in here)), default=None) if here else None
    found = {}
    for member in members:
        target = alone[member.unit.serial]
        if common is not None and common in member.ends():
            target = _kept(member, target, common)
        found[member.unit.serial] = target

    # Who is away is compared with what the others end on.
    noted = [_apart(members, found)] if common is None and len(here) > 1 else []
    if here:
        noted += [_away(m, here, found) for m in members if m.unit.away is not None and m.now != common]
    for member in here:
        target = found[member.unit.serial]
        found[member.unit.serial] = replace(target, findings=(*target.findings, *noted))

    return found


def _kept(outlook: _Outlook, alone: Target, common: Version) -> Target:
    """Return the target at the set's release, or the one alone where that is the same."""
    if alone.release is not None and Version(alone.release) == common and alone.reason_code is not ReasonCode.NO_ROUTE:
        return alone
    image = next((i for i in outlook.allowed if i.version == common), None)
    text = image.release if image else outlook.unit.release or str(common)
    why = f"kept at {text} so that base and rovers work together"
    if image is None or outlook.now == common:
        unit = outlook.unit
        return Target(unit.serial, unit.release, unit.release, (), ReasonCode.SET, why)
    return _goes(outlook, image, ReasonCode.SET, why)


def _apart(members: Sequence[_Outlook], found: Mapping[str, Target]) -> Finding:
    ends = [(m.unit.serial, found[m.unit.serial].release or "none") for m in members if m.unit.away is None]
    text = (
        f"no release can be reached by all receivers of crew {members[0].unit.crew}: "
        f"{listed(f'{serial} would end on {release}' for serial, release in ends)}; decide what to do with the set"
    )
    return Finding(Check.SET, Answer.ASK, text, dict(ends))


def _away(outlook: _Outlook, here: Sequence[_Outlook], found: Mapping[str, Target]) -> Finding:
    unit = outlook.unit
    release = unit.release or "a release that is not known"
    ends = dict.fromkeys(found[m.unit.serial].release or "none" for m in here)
    text = (
        f"{unit.serial} of crew {unit.crew} is {unit.away} and stays on {release} while the set ends on "
        f"{listed(ends)}; decide whether to go on without it"
    )
    return Finding(Check.SET, Answer.ASK, text, {"unit": unit.serial, "away": unit.away or "", "release": release})


def _no_image(outlook: _Outlook) -> Target:
    unit = outlook.unit
    revision = f" revision {unit.hardware}" if unit.hardware else ""
    reason = f"the image store holds no release for {unit.model}{revision}; add one to images.yaml or hold the unit"
    finding = Finding(Check.IMAGE, Answer.STOP, reason, {"model": unit.model, "hardware": unit.hardware or "not known"})
    return Target(unit.serial, unit.release, unit.release, (), ReasonCode.NO_IMAGE, reason, (finding,))


def _no_route(outlook: _Outlook, goal: Image) -> Target:
    unit = outlook.unit
    near = next(iter(reachable(Start(outlook.now), outlook.allowed)), None)
    way = (
        f"the nearest release it can reach is {near.release}"
        if near
        else "no release in the image store can be reached"
    )
    reason = f"no way leads from {unit.release} to {goal.release}: {way}; add the missing image or hold the unit"
    figures = {"now": unit.release or "none", "goal": goal.release, "nearest": near.release if near else "none"}
    finding = Finding(Check.ROUTE, Answer.STOP, reason, figures)
    return Target(unit.serial, unit.release, goal.release, (), ReasonCode.NO_ROUTE, reason, (finding,))


def _term_unknown(outlook: _Outlook, way: Sequence[Image]) -> Finding | None:
    if outlook.unit.support_until is not None or not way:
        return None
    text = (
        f"the support term is not known, and {way[-1].release} was issued on {way[-1].issued}: ask the customer or the "
        "maker for its last day before this release is written"
    )
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, {"release": way[-1].release, "issued": way[-1].issued})


def _release_unknown(outlook: _Outlook) -> Finding | None:
    if outlook.known:
        return None
    text = "the release on it now is not known: identify the unit, then the way to its target is worked out"
    return Finding(Check.ROUTE, Answer.ASK, text, {"now": "not known"})
