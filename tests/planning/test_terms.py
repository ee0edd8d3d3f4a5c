"""Which of several support terms is used, what is said of it, and when a person is asked."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.checks import Answer, Check
from benchday.domain.plan import TermsList
from benchday.domain.story import UnitStory
from benchday.planning.terms import Renewed, Supplied, TermSource, TermSources, chosen, ends_soon, sources_of, term_of

ON = "2026-11-25"
LIST = Supplied("2027-03-31", "Fenmark Supplies", "2026-11-20")
RELEASES = ("2026-05-11", "2026-10-01")


def test_the_unit_itself_counts_first() -> None:
    """It goes by what it says, whatever the papers say."""
    found = term_of(TermSources(unit_says="2026-12-31", supplier=LIST, roster="2026-06-30"), ON)
    assert (found.last_day, found.source) == ("2026-12-31", TermSource.UNIT)


def test_the_list_counts_before_the_roster() -> None:
    """The supplier knows better than who typed the roster."""
    found = term_of(TermSources(supplier=LIST, roster="2026-06-30"), ON)
    assert (found.last_day, found.source) == ("2027-03-31", TermSource.SUPPLIER)
    assert term_of(TermSources(roster="2026-06-30"), ON).source is TermSource.ROSTER


def test_a_renewal_counts_until_the_unit_is_read_again() -> None:
    """What the unit told before the renewal does not count against it, and nobody is asked twice."""
    sources = TermSources(Renewed("2027-12-31"), unit_says="2026-03-31", supplier=None, roster="2026-03-31")
    found = term_of(sources, ON, RELEASES)
    assert (found.last_day, found.source) == ("2027-12-31", TermSource.RENEWAL)
    assert found.finding.answer is Answer.CLEAR
    assert "the unit itself says 2026-03-31" in found.finding.text


def test_a_renewal_that_the_unit_does_not_show_is_asked_about() -> None:
    """Read again, the unit counts; that it does not show the renewal is for a person."""
    found = term_of(TermSources(Renewed("2027-12-31", read_since=True), unit_says="2026-03-31"), ON)
    assert (found.last_day, found.source) == ("2026-03-31", TermSource.UNIT)
    assert found.finding.answer is Answer.ASK
    assert found.finding.text == (
        "the support term was renewed until 2027-12-31, but the unit, read again, still says 2026-03-31: see that the "
        "renewal gets onto the unit, or ask who renewed it. Used is 2026-03-31: the unit's own reading, which is what "
        "the unit itself goes by"
    )
    assert found.finding.clears == "the unit, read again, tells 2027-12-31 or a later day"


@pytest.mark.parametrize("told", ["2027-12-31", "2028-06-30"])
def test_a_renewal_that_the_unit_shows_is_clear(told: str) -> None:
    """The roster still has the old day, which is no question any more."""
    sources = TermSources(Renewed("2027-12-31", read_since=True), unit_says=told, roster="2026-03-31")
    found = term_of(sources, ON, RELEASES)
    assert (found.last_day, found.source, found.finding.answer) == (told, TermSource.UNIT, Answer.CLEAR)


def test_a_unit_that_tells_no_term_leaves_the_renewal_in_force() -> None:
    """Read again or not: it says nothing against it."""
    found = term_of(TermSources(Renewed("2027-12-31", read_since=True), roster="2026-03-31"), ON, RELEASES)
    assert (found.last_day, found.source, found.finding.answer) == ("2027-12-31", TermSource.RENEWAL, Answer.CLEAR)


def test_a_difference_that_matters_is_asked_about() -> None:
    """A release lies between the two days: allowed by one, not by the other."""
    found = term_of(TermSources(unit_says="2026-08-31", supplier=LIST), ON, RELEASES)
    assert found.finding.answer is Answer.ASK
    assert found.finding.text == (
        "the support term is told differently: the unit itself says 2026-08-31 and the list of Fenmark Supplies "
        "(2026-11-20) says 2027-03-31. Used is 2026-08-31: the unit's own reading, which is what the unit itself goes "
        "by. By one of them a release issued on 2026-10-01 may be put on the unit and by another not: ask the customer "
        "or the supplier which is right"
    )
    assert dict(found.finding.figures) == {
        "used": "unit",
        "term": "2026-08-31",
        "unit": "2026-08-31",
        "supplier": "2027-03-31",
    }
    assert found.finding.clears


def test_a_difference_that_does_not_matter_is_noted() -> None:
    """Both allow all releases, or neither any: nobody is asked."""
    found = term_of(TermSources(unit_says="2026-12-31", supplier=LIST), ON, RELEASES)
    assert found.finding.answer is Answer.CLEAR
    assert "no release that might be put on the unit depends on it" in found.finding.text
    assert not found.finding.clears


def test_a_release_issued_on_the_last_day_is_allowed() -> None:
    """The last day belongs to the term."""
    sources = TermSources(unit_says="2026-10-01", roster="2026-12-31")
    assert term_of(sources, ON, ["2026-10-01"]).finding.answer is Answer.CLEAR
    assert term_of(sources, ON, ["2026-10-02"]).finding.answer is Answer.ASK


def test_a_term_before_the_unit_was_made() -> None:
    """One of the days must be wrong."""
    found = term_of(TermSources(roster="2019-12-31", unit_says="2026-12-31", made="2021-02-01"), ON)
    assert (found.last_day, found.finding.answer) == ("2026-12-31", Answer.ASK)
    assert "the roster says 2019-12-31, but the unit was made on 2021-02-01" in found.finding.text


def test_nobody_says_one() -> None:
    """Asked only where something might be put on the unit."""
    assert term_of(TermSources(), ON).finding.answer is Answer.CLEAR
    found = term_of(TermSources(), ON, RELEASES)
    assert (found.last_day, found.source, found.finding.answer) == (None, None, Answer.ASK)
    assert found.finding.check is Check.SUPPORT_TERM


def test_a_term_that_ends_soon_is_pointed_out() -> None:
    """Ninety days before, not ninety-one, and not once it has ended."""
    assert [ends_soon(day, ON) for day in ("2026-11-24", ON, "2027-02-23", "2027-02-24")] == [False, True, True, False]
    assert ends_soon("2026-12-05", ON, 10)
    assert not ends_soon("2026-12-06", ON, 10)
    assert "in 36 days: tell the customer" in term_of(TermSources(roster="2026-12-31"), ON).finding.text
    assert "ended on 2026-11-24" in term_of(TermSources(roster="2026-11-24"), ON).finding.text


def test_the_last_copy_is_said_to_be_one() -> None:
    """Who reads the finding knows how old the list is."""
    copy = Supplied("2027-03-31", "Fenmark Supplies", "2026-08-01", from_copy=True)
    assert (
        "the list of Fenmark Supplies (2026-08-01, the last copy)"
        in term_of(TermSources(supplier=copy), ON).finding.text
    )


def test_sources_of_a_story() -> None:
    """The first reading counts while the unit is identified anew, but not once the unit was read after a renewal."""
    story = UnitStory("A1", "Millrace", "Fen Trust", "Avocet", "rover", 0, support_until="2026-06-30")
    story.term_before = "2026-03-31"
    terms = TermsList("Fenmark Supplies", "2026-11-20", {"A1": "2027-03-31"})
    assert sources_of(story, terms) == TermSources(None, "2026-03-31", LIST, "2026-06-30")
    assert sources_of(story, None).supplier is None

    story.term_renewed, story.renewal_unread = "2027-12-31", True
    assert sources_of(story, None).renewed == Renewed("2027-12-31")
    story.renewal_unread = False
    assert sources_of(story, None).unit_says is None
    story.identity = {"term": "2027-12-31"}
    assert sources_of(story, None).unit_says == "2027-12-31"


DAYS = st.dates(min_value=date(2020, 1, 1)).map(date.isoformat)
SOURCES = st.builds(
    TermSources,
    renewed=st.none() | st.builds(Renewed, DAYS, st.booleans()),
    unit_says=st.none() | DAYS,
    supplier=st.none() | st.builds(Supplied, DAYS, st.just("Fenmark Supplies"), DAYS),
    roster=st.none() | DAYS,
)


@given(SOURCES, st.lists(DAYS, max_size=3))
def test_any_sources(sources: TermSources, issued: list[str]) -> None:
    """What is used is what somebody says, the figures name all of it, and whoever agrees is not asked about."""
    found = term_of(sources, ON, issued)
    renewed, listed = sources.renewed, sources.supplier
    told = (renewed and renewed.until, sources.unit_says, listed and listed.last_day, sources.roster)
    said = {day for day in told if day}
    assert found.last_day in said if said else found.last_day is None
    assert chosen(sources) == (None if found.source is None else (found.last_day, found.source))
    if len(said) == 1:
        assert found.finding.answer is Answer.CLEAR
    assert said <= set(found.finding.figures.values())
    assert bool(found.finding.clears) is (found.finding.answer is not Answer.CLEAR)
