"""Pins: which is in force for a unit, and what it demands. Besides a decision the only rule that sends a unit back."""

from __future__ import annotations

from collections.abc import Sequence

from benchday.domain.bench import Pin
from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.releases import Version
from benchday.planning.catalogue import STAYS
from benchday.planning.outlook import Aim, Outlook
from benchday.planning.places import Order
from benchday.planning.target import ReasonCode, UnitNow


class Pins:
    """The pins in force on a day: that of a unit goes before that of its crew, of several the first."""

    def __init__(self, pins: Sequence[Pin], on: str | None) -> None:
        """Leave out what has expired.

        Args:
            pins: of the day.
            on: day for which it is asked (ISO 8601); None: all are in force.
        """
        in_force = [pin for pin in reversed(pins) if on is None or on <= pin.until]
        self._units = {pin.unit: pin for pin in in_force if pin.unit is not None}
        self._crews = {pin.crew: pin for pin in in_force if pin.crew is not None}

    def of(self, unit: UnitNow) -> Pin | None:
        """Return the pin in force for a unit, None if there is none."""
        return self._units.get(unit.serial) or (self._crews.get(unit.crew) if unit.crew else None)


def words_of(pin: Pin) -> str:
    """Name a pin with its reason, its last day and who decided it."""
    whose = f"unit {pin.unit}" if pin.unit is not None else f"crew {pin.crew}"
    return f"the pin of {whose} ({pin.reason}, until {pin.until}, {pin.decided_by})"


def put(pin: Pin, outlook: Outlook, order: Order) -> None:
    """Let a pin decide about a unit, unless it is its crew's and speaks of a release that its model never had.

    Args:
        pin: in force for the unit.
        outlook: of the unit.
        order: of all releases that are spoken of, that of the pin among them.
    """
    if pin.release is None:
        outlook.fix(_stay(pin, outlook))
        return
    goal = order.place(Version(pin.release))
    others = pin.unit is None and not outlook.kind.receiver
    if others and goal not in outlook.catalogue.images and goal != outlook.place:
        return
    outlook.fix(_demand(pin, outlook, goal))


def _stay(pin: Pin, outlook: Outlook) -> Aim:
    unit = outlook.unit
    if unit.in_boot:
        text = (
            f"it sits in the boot loader, and {words_of(pin)} demands the release that it had: say in day.yaml which "
            "that is"
        )
        return _stop(outlook, outlook.place, Check.ROUTE, text, "the pin names a release")
    reason = f"stays on {unit.release or 'what it has'}, as {words_of(pin)} demands"
    return Aim(ReasonCode.PINNED, outlook.place, STAYS, reason)


def _demand(pin: Pin, outlook: Outlook, goal: int) -> Aim:
    if goal == outlook.place:
        return Aim(ReasonCode.PINNED, goal, STAYS, f"already on {pin.release}, which {words_of(pin)} demands")
    unwritable = _unwritable(pin, outlook, goal)
    if unwritable is not None:
        return unwritable
    if outlook.place is not None and goal < outlook.place:
        return _back(pin, outlook, goal)

    catalogue = outlook.catalogue
    way = catalogue.way(outlook.place, goal, outlook.allowed | 1 << goal)
    if way is None:
        text = f"no way leads from {outlook.unit.release} to {pin.release}, which {words_of(pin)} demands"
        return _stop(outlook, goal, Check.ROUTE, text, f"the image store holds a way to {pin.release}")
    return Aim(ReasonCode.PINNED, goal, way, f"goes to {pin.release}, which {words_of(pin)} demands")


def _unwritable(pin: Pin, outlook: Outlook, goal: int) -> Aim | None:
    """Return the stop if the release may not be put on the unit at all."""
    image = outlook.catalogue.images.get(goal)
    if image is None:
        text = (
            f"the image store does not list {pin.release} for {outlook.unit.model}, which {words_of(pin)} demands: "
            "add it to images.yaml, or change the pin"
        )
        return _stop(outlook, goal, Check.IMAGE, text, f"image {pin.release} is added to the store")
    if outlook.catalogue.not_yet >> goal & 1:
        text = f"{pin.release} is issued on {image.issued} only, and {words_of(pin)} demands it: change the pin"
        return _stop(outlook, goal, Check.IMAGE, text, f"{pin.release} is issued")
    until = outlook.unit.support_until
    if until is not None and image.issued > until:
        text = (
            f"support ended {until}, before {pin.release} was issued ({image.issued}), which {words_of(pin)} demands: "
            "renew the support term, or change the pin"
        )
        return _stop(outlook, goal, Check.SUPPORT_TERM, text, "the support term is renewed, or the pin is changed")
    return None


def _back(pin: Pin, outlook: Outlook, goal: int) -> Aim:
    catalogue, now = outlook.catalogue, outlook.unit.release
    if outlook.place is not None and catalogue.ways.back(outlook.place) >> goal & 1:
        reason = f"goes back to {pin.release}, which {words_of(pin)} demands"
        return Aim(ReasonCode.BACK, goal, catalogue.writes((goal,)), reason)

    image = catalogue.images.get(outlook.place) if outlook.place is not None else None
    if image is None:
        why = f"the image store does not list {now}, which it has, so that nobody knows how far back it may return"
    elif image.back_to is None:
        why = f"from {now} no way leads back"
    else:
        why = f"from {now} a unit may return to {image.back_to} at the oldest"
    text = f"{words_of(pin)} demands {pin.release}, but {why}: change the pin, or hold the unit"
    return _stop(outlook, goal, Check.ROUTE, text, "the pin is changed")


def _stop(outlook: Outlook, goal: int | None, check: Check, text: str, clears: str) -> Aim:
    finding = Finding(check, Answer.STOP, text, {"now": outlook.unit.release or "none"}, clears)
    return Aim(ReasonCode.PINNED, goal, None, text, finding)
