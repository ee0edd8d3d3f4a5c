"""Who is due, and whom it is worth inviting first."""

from __future__ import annotations

from typing import Any

from benchday.planning.due import Due, due
from benchday.planning.register import Registered
from benchday.planning.terms import TermSource
from tests.planning.shop import image

ON = "2026-11-25"
IMAGES = [
    image("2.8", issued="2025-02-01"),
    image("2.10", issued="2026-01-10"),
    image("3.1", issued="2026-05-11"),
    image("3.2-trial1", issued="2026-11-01"),
    image("4.0", issued="2026-12-24"),
]


def unit(serial: str, **changed: Any) -> Registered:
    """Return a unit of the register that is due for nothing."""
    facts: dict[str, Any] = {"model": "Millrace", "customer": "Fen Trust", "crew": "Avocet", "release": "3.1"}
    return Registered(serial, **{**facts, "unit_term": "2028-12-31", "last_service": "2026-06-16", **changed})


def asked(*units: Registered, within: int = 90) -> Due:
    """Ask on the day of these tests."""
    return due(units, IMAGES, ON, within)


def test_nothing_due() -> None:
    """A unit on its newest release; trials and what is issued later do not count."""
    assert asked(unit("A1")) == Due(ON, 90)


def test_behind_within_its_term() -> None:
    """The newest that its term allows is newer than what it has: 2.8 comes before 2.10."""
    (found,) = asked(unit("A1", release="2.8", unit_term="2026-03-31")).behind
    assert (found.newest, found.issued, found.term, found.source) == (
        "2.10",
        "2026-01-10",
        "2026-03-31",
        TermSource.UNIT,
    )
    assert found.reason == "on 2.8; 2.10, issued on 2026-01-10, is within its support term, which ended on 2026-03-31"


def test_behind_beyond_its_term() -> None:
    """Only a renewal would bring it further."""
    found = asked(unit("A1", release="2.10", unit_term="2026-03-31"))
    assert not found.behind
    assert not found.invite
    (kept,) = found.after_renewal
    assert kept.reason == "on 2.10; 3.1 was issued on 2026-05-11, after its support term, which ended on 2026-03-31"


def test_behind_and_nobody_knows_the_term() -> None:
    """Ask for it."""
    (found,) = asked(unit("A1", release="2.10", unit_term=None)).term_unknown
    assert found.reason == "on 2.10; there is 3.1, but its support term is not known: ask for it"


def test_what_cannot_be_compared() -> None:
    """A release unknown or without a place in the order, a model without images, hardware that no image suits."""
    units = (
        unit("A1", release=None),
        unit("A2", release="2.8-special"),
        unit("A3", release="2.8", model="Weir"),
        unit("A4", release="ROM"),
    )
    assert asked(*units) == Due(ON, 90)
    assert due([unit("A5", release="2.8", hardware="C")], [image("3.1", hardware=["A"])], ON) == Due(ON, 90)


def test_terms_that_end_soon() -> None:
    """Soonest first; what has ended is not soon."""
    units = [unit(f"A{n}", unit_term=day) for n, day in enumerate(("2027-02-23", "2027-02-24", "2026-11-24", ON))]
    found = asked(*units)
    assert [(u.serial, u.days) for u in found.ending] == [("A3", 0), ("A0", 90)]
    assert found.ending[1].reason == "its support term ends on 2027-02-23, in 90 days"
    assert [u.serial for u in asked(*units, within=91).ending] == ["A3", "A0", "A1"]


def test_overdue_for_service() -> None:
    """More than a year ago, longest first."""
    units = (
        unit("A1", last_service="2025-11-25"),
        unit("A2", last_service="2025-11-24"),
        unit("A3", last_service="2024-01-01"),
    )
    found = asked(*units, unit("A4", last_service=None))
    assert [(u.serial, u.days) for u in found.overdue] == [("A3", 1059), ("A2", 366)]
    assert found.overdue[1].reason == "last served on 2025-11-24, 366 days ago"


def test_whom_to_invite_first() -> None:
    """Where most units would gain; a crew of another customer is another crew."""
    units = (
        unit("A1", release="2.8"),
        unit("K1", crew="Knot", release="2.8", unit_term="2026-12-31"),
        unit("K2", crew="Knot", release="2.10", last_service="2025-01-01"),
        unit("K3", crew="Knot", release="2.10", unit_term="2026-03-31"),
        unit("K4", crew="Knot"),
        unit("B1", customer="Levels Board", release="2.8"),
    )
    found = asked(*units).invite
    assert [(i.customer, i.crew, i.gain) for i in found] == [
        ("Fen Trust", "Knot", ("K1", "K2")),
        ("Fen Trust", "Avocet", ("A1",)),
        ("Levels Board", "Avocet", ("B1",)),
    ]
    assert found[0].reason == (
        "2 of 4 units would get a newer release (Millrace 3.1); the support term of 1 unit ends soon, the first on "
        "2026-12-31; 1 more unit would once the support term is renewed; 1 unit overdue for service"
    )
    assert found[1].reason == "1 of 1 unit would get a newer release (Millrace 3.1)"
