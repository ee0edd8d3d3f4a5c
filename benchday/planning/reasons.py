"""The sentences that say why a target is what it is, and what stands against it."""

from __future__ import annotations

from benchday.domain.checks import Answer, Check, Finding
from benchday.planning.catalogue import Way, releases_in
from benchday.planning.outlook import Outlook
from benchday.planning.places import as_version, below, each
from benchday.planning.target import ReasonCode
from benchday.planning.wording import listed


def alone(outlook: Outlook) -> str:
    """Say why a unit gets what it should get if no other had to work with it."""
    aim, now = outlook.aim, outlook.unit.release
    if aim.reason:
        return aim.reason
    match aim.code:
        case ReasonCode.NO_IMAGE:
            return _no_image(outlook)
        case ReasonCode.NO_ROUTE:
            return _no_route(outlook)
        case ReasonCode.TERM_ENDED if not outlook.allowed:
            return _nothing_allowed(outlook)
        case ReasonCode.AHEAD:
            best = _name(outlook, outlook.catalogue.newest(outlook.allowed))
            return f"{now} is past {best}, the newest that may be put on it; a way back is not taken"
        case ReasonCode.CURRENT:
            return f"already on {now}, {_rank(outlook)}"
    return f"{_goal(outlook)}{_first_through(aim.way)}"


def in_set(outlook: Outlook, end: int, with_whom: str) -> str:
    """Say why a unit ends on another release than it would alone.

    Args:
        outlook: of the unit.
        end: place on which it ends.
        with_whom: who has to work together, as the end of "so that ...".
    """
    name = outlook.unit.release if end == outlook.place else _name(outlook, end)
    over = _first_through(outlook.way(end))
    if outlook.backs >> end & 1:
        return f"goes back to {name} so that {with_whom}, as was decided"
    aim = outlook.aim
    if aim.code is ReasonCode.NO_ROUTE and best_of(outlook) >> end & 1:
        return f"{name} is the newest to which a way leads, and none leads to {_name(outlook, aim.end)}{over}"
    if aim.end is not None and aim.end != outlook.place and _same_day(outlook, end, aim.end):
        return f"{name} was issued on the same day as {_name(outlook, aim.end)} and is less to write{over}"
    return f"kept at {name} so that {with_whom}{over}"


def best_of(outlook: Outlook) -> int:
    """Return the latest of the releases on which a unit can end."""
    return outlook.latest(outlook.options)


def findings(outlook: Outlook, end: int | None, way: Way | None) -> tuple[Finding, ...]:
    """Return what stands against a target, the set aside.

    Args:
        outlook: of the unit.
        end: place on which it ends, where that is not where it would end alone; else None.
        way: the writes that lead there; None if no way does.
    """
    aim = outlook.aim
    found = [aim.stop] if aim.stop is not None else []
    if aim.code is ReasonCode.NO_IMAGE and not outlook.pinned:
        found.append(_image_missing(outlook))
    if aim.code is ReasonCode.NO_ROUTE and (end is None or best_of(outlook) >> end & 1):
        found.append(_route_missing(outlook, Answer.STOP if end is None else Answer.ASK))
    if not outlook.allowed and outlook.unit.in_boot and aim.code is ReasonCode.TERM_ENDED:
        found.append(_stuck_in_boot(outlook))
    if way is not None and way.images and outlook.unit.support_until is None:
        found.append(_term_unknown(way))
    if not outlook.known and aim.stop is None:
        found.append(_release_unknown(outlook))
    return tuple(found)


def _name(outlook: Outlook, place: int | None) -> str:
    return "none" if place is None else outlook.catalogue.images[place].release


def _same_day(outlook: Outlook, one: int, other: int) -> bool:
    return one != other and outlook.issued_on(one) == outlook.issued_on(other)


def _first_through(way: Way | None) -> str:
    return f"; must pass through {listed(way.releases[:-1])} first" if way is not None and way.releases[1:] else ""


def _goal(outlook: Outlook) -> str:
    """Say why the goal is the goal."""
    unit, catalogue, goal = outlook.unit, outlook.catalogue, outlook.aim.end
    best = catalogue.newest(outlook.allowed)
    name = _name(outlook, goal)
    if best != goal:
        lower = f"{_name(outlook, best)} was issued later, but a way back is not taken"
        term = f"; {_ended(outlook)}" if outlook.aim.code is ReasonCode.TERM_ENDED else ""
        return f"{name} is the newest above {unit.release}; {lower}{term}"
    if unit.support_until is None:
        return f"{name} is the newest release, but the support term is not known"
    if outlook.aim.code is ReasonCode.TERM_ENDED:
        return f"{_ended(outlook)}: newest allowed is {name}"
    return f"{name} is the newest release for {unit.model}"


def _rank(outlook: Outlook) -> str:
    if outlook.unit.support_until is None:
        return "the newest release"
    if outlook.allowed != outlook.catalogue.in_order:
        return f"the newest allowed: {_ended(outlook)}"
    return f"the newest release for {outlook.unit.model}"


def _ended(outlook: Outlook) -> str:
    newest = outlook.catalogue.images[outlook.catalogue.newest(outlook.catalogue.in_order)]
    return f"support ended {outlook.unit.support_until}, before {newest.release} was issued ({newest.issued})"


def _nothing_allowed(outlook: Outlook) -> str:
    oldest = min((outlook.catalogue.images[p] for p in each(outlook.catalogue.in_order)), key=lambda i: i.issued)
    return (
        f"support ended {outlook.unit.support_until}, before any release in the image store was issued "
        f"({oldest.release}: {oldest.issued}); nothing may be written"
    )


def _no_image(outlook: Outlook) -> str:
    unit, catalogue = outlook.unit, outlook.catalogue
    revision = f" revision {unit.hardware}" if unit.hardware else ""
    but = ""
    if catalogue.images:
        names = releases_in(catalogue.ways.all, catalogue)
        but = f" that may be written today ({listed(names)}: not issued yet, or a trial)"
    return f"the image store holds no release for {unit.model}{revision}{but}; add one to images.yaml or hold the unit"


def _image_missing(outlook: Outlook) -> Finding:
    unit = outlook.unit
    figures: dict[str, int | str] = {"model": unit.model, "hardware": unit.hardware or "not known"}
    clears = f"an image for {unit.model} is added to the store"
    return Finding(Check.IMAGE, Answer.STOP, _no_image(outlook), figures, clears)


def _no_route(outlook: Outlook) -> str:
    near = _nearest(outlook)
    way = (
        "no release in the image store can be reached"
        if near is None
        else f"the nearest release it can reach is {near}"
    )
    goal = _name(outlook, outlook.aim.end)
    missing = _missing(outlook)
    why = f", which demands {listed(missing)} first" if missing else ""
    return f"no way leads from {outlook.unit.release} to {goal}{why}: {way}; add the missing image or hold the unit"


def _nearest(outlook: Outlook) -> str | None:
    """Return the highest release under the goal that can be reached, else the lowest over it."""
    place, goal = outlook.place, outlook.aim.end
    if goal is None:
        return None
    reach = outlook.catalogue.ways.reach(place, outlook.allowed)
    under = reach & below(goal)
    names = releases_in(under or reach, outlook.catalogue)
    if not names:
        return None
    return names[-1] if under else names[0]


def _missing(outlook: Outlook) -> tuple[str, ...]:
    """Return the stepping stones to the goal that may not be written, or are not in the store."""
    place, goal = outlook.place, outlook.aim.end
    if place is None or goal is None:
        return ()
    wanted = outlook.catalogue.ways.wanted(place, goal) & ~outlook.allowed
    return tuple(str(outlook.catalogue.order.versions[p]) for p in each(wanted))


def _route_missing(outlook: Outlook, answer: Answer) -> Finding:
    goal, near = _name(outlook, outlook.aim.end), _nearest(outlook) or "none"
    figures: dict[str, int | str] = {"now": outlook.unit.release or "none", "goal": goal, "nearest": near}
    missing = _missing(outlook)
    clears = f"{listed(missing)} may be written" if missing else f"the image store holds a way to {goal}"
    return Finding(Check.ROUTE, answer, _no_route(outlook), figures, clears)


def _stuck_in_boot(outlook: Outlook) -> Finding:
    text = f"it sits in its boot loader and runs no release, but {_nothing_allowed(outlook)}"
    figures: dict[str, int | str] = {"support_until": outlook.unit.support_until or "not known"}
    return Finding(Check.SUPPORT_TERM, Answer.STOP, text, figures, "the support term is renewed")


def _term_unknown(way: Way) -> Finding:
    image = way.images[-1]
    text = (
        f"the support term is not known, and {image.release} was issued on {image.issued}: ask the customer or the "
        "maker for its last day before this release is written"
    )
    figures: dict[str, int | str] = {"release": image.release, "issued": image.issued}
    return Finding(Check.SUPPORT_TERM, Answer.ASK, text, figures, "the support term is known")


def _release_unknown(outlook: Outlook) -> Finding:
    unit = outlook.unit
    if unit.release is None:
        text = "the release on it now is not known: identify the unit, then the way to its target is worked out"
        return Finding(Check.ROUTE, Answer.ASK, text, {"now": "not known"}, "the unit is identified")
    why = f"the image store does not list it as a trial for {unit.model}"
    if as_version(unit.release) is None:
        why = "a release is numbers joined by dots, like 2.10"
    text = (
        f"it runs {unit.release}, which has no place in the order of releases, because {why}: ask the maker what it "
        "is, and decide whether the target may be written over it"
    )
    clears = f"{unit.release} is listed as a trial for {unit.model}"
    return Finding(Check.ROUTE, Answer.ASK, text, {"now": unit.release}, clears)
