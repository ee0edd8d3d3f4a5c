"""Renewals: which terms are worth renewing."""

from __future__ import annotations

from benchday.domain.units import Role
from benchday.planning.renewals import renewals
from benchday.planning.target import UnitNow
from tests.planning.shop import image, unit_now

LINE = (image("2.6", "2024-09-01"), image("2.9", "2025-06-01"), image("2.10", "2026-05-01"))
ENDED = "2026-03-31"


def crew(name: str, *terms: str) -> list[UnitNow]:
    """A base and its rovers, each with its term."""
    return [
        unit_now(f"{name}{n}", "2.6", crew=name, support_until=term, role=Role.ROVER if n else Role.BASE)
        for n, term in enumerate(terms)
    ]


def test_one_term_brings_a_whole_crew() -> None:
    """The base's term keeps three units back."""
    (found,) = renewals(crew("Avocet", ENDED, "2030-01-01", "2030-01-01"), LINE)

    assert (found.name, found.renew, found.units, found.crews) == ("Avocet", ("Avocet0",), 3, 1)
    assert set(found.otherwise.values()) == {"2.9"}
    assert dict(found.then) == {"Avocet0": "2.10", "Avocet1": "2.10", "Avocet2": "2.10"}
    assert found.text == (
        "renewing the support term of Avocet0 brings 3 units of Avocet to the newest release, and with that the whole "
        "crew"
    )


def test_most_units_come_first_then_names() -> None:
    """Two crews of equal gain, one of more, one unit without a crew, and one crew that needs nothing."""
    units = [
        *crew("Dunlin", ENDED, ENDED),
        *crew("Curlew", ENDED, "2030-01-01"),
        *crew("Bittern", ENDED, ENDED, ENDED),
        *crew("Plover", "2030-01-01"),
        unit_now("lone", "2.6", crew="", support_until=ENDED),
    ]
    found = renewals(units, LINE)

    assert [(r.name, r.units, r.crews) for r in found] == [
        ("Bittern", 3, 1),
        ("Curlew", 2, 1),
        ("Dunlin", 2, 1),
        ("lone", 1, 0),
    ]
    assert found[1].renew == ("Curlew0",)


def test_what_no_term_would_help_is_not_told() -> None:
    """A unit that no way leads on, one on the newest already, one for which nothing newer is issued yet."""
    units = [
        unit_now("a", "2.1", crew="", support_until=ENDED),
        unit_now("b", "2.10", crew="", support_until=ENDED),
    ]
    images = (*LINE[:2], image("2.10", "2026-05-01", enter_from="2.9.5"))

    assert renewals(units, images) == ()
    assert renewals(crew("Avocet", ENDED, ENDED), LINE, "2026-04-30") == ()


def test_another_unit_may_hold_the_crew_back_all_the_same() -> None:
    """The pole's release has no way on, so that renewing the base's term brings it alone nowhere."""
    units = crew("Avocet", ENDED, "2030-01-01")
    images = (*LINE[:2], image("2.10", "2026-05-01", hardware=["B"]))
    held_back = [units[0], unit_now("Avocet1", "2.6", hardware="C", support_until="2030-01-01")]

    assert [(r.units, r.crews) for r in renewals(units, images)] == [(2, 1)]
    assert renewals(held_back, images) == ()
