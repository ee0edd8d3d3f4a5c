"""All checks of one unit together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.checks import Answer, Check, worst
from benchday.domain.readings import PowerReading
from benchday.planning.all_checks import AtStation, all_findings, no_go, power_finding
from benchday.planning.bench_checks import BenchPc
from benchday.planning.checks import First, Kept
from benchday.planning.targets import targets
from benchday.planning.terms import TermFound, TermSources, term_of
from tests.planning.shop import held, image, playbook, unit_now
from tests.planning.test_checks import GOOD_PC, IDENTITY, MINUTE, kept, target


def until(last_day: str | None) -> TermFound:
    """Return a support term that the unit itself tells."""
    return term_of(TermSources(unit_says=last_day), "2026-06-16")


def at_station(**changed: Any) -> AtStation:
    facts: dict[str, Any] = {
        "serial": "00731",
        "model": "Millrace",
        "identity": IDENTITY,
        "playbook": playbook(),
        "target": target(),
        "held": {"millrace-2.10.fen": held("2.10")},
        "power": PowerReading(90, 1, 24_000, 2982, external=False),
        "kept": Kept((), {}),
        "connector": "round",
        "adapter": False,
        "free_bytes": 10**10,
        "bench_pc": GOOD_PC,
        "term": until("2030-12-31"),
        "on": "2026-06-16",
        "now_us": 0,
        "closes_us": 240 * MINUTE,
    }
    return AtStation(**(facts | changed))


def test_a_good_unit_is_clear_on_every_question() -> None:
    """Each check is answered once, in order."""
    found = all_findings(at_station())

    # What a driver remarks of the sign-in is told where it happens.
    assert [f.check for f in found] == [check for check in Check if check is not Check.SIGN_IN]
    assert worst(found) is Answer.CLEAR, [f.text for f in found if f.answer is not Answer.CLEAR]


def test_everything_wrong_is_found_at_once() -> None:
    """The first stop does not hide the others."""
    found = all_findings(
        at_station(
            identity=replace(IDENTITY, serial="00999", model="Osier"),
            held={},
            power=None,
            kept=Kept(None, {}),
            connector="usb",
            free_bytes=0,
            bench_pc=replace(GOOD_PC, on_mains=False, battery_minutes=1),
            term=until("2020-01-01"),
            closes_us=5 * MINUTE,
        )
    )
    stops = {f.check for f in found if f.answer is Answer.STOP}

    asks = {f.check for f in found if f.answer is Answer.ASK}

    assert asks == {Check.POWER}, "what is not known of the battery is never a go"
    assert stops == set(Check) - {Check.ROUTE, Check.SET, Check.POWER, Check.FIRST_OFF, Check.SIGN_IN}
    assert {f.check for f in found if no_go(f)} == stops | asks


FOR_C = targets([unit_now(hardware=None)], (image("2.10", hardware=["C"]),))[0]
WRONG: tuple[dict[str, Any], ...] = (
    {"identity": None},
    {"identity": replace(IDENTITY, serial="00999")},
    {"identity": replace(IDENTITY, model="Osier")},
    {"identity": replace(IDENTITY, hardware="Z"), "target": FOR_C},
    {"identity": replace(IDENTITY, hardware=""), "target": FOR_C},
    {"held": {}},
    {"held": {"millrace-2.10.fen": b"another"}},
    {"power": None},
    {"power": PowerReading(20, 1, 24_000, 2982, external=False)},
    {"power": PowerReading(90, 1, 24_000, 2400, external=False)},
    {"power": PowerReading(90, 1, 24_000, 2982, external=False), "playbook": playbook(draw_mw=None, pack_swap=False)},
    {"power": None, "playbook": playbook(draw_mw=None, external=False)},
    {
        "power": PowerReading(90, 1, 500, 2982, external=False),
        "playbook": playbook(external=False, pack_swap=False),
    },
    {"kept": Kept(None, {})},
    {"kept": kept({"a.obs": "aa"})},
    {"kept": kept({"a.obs": "ff", "b.obs": "bb"})},
    {"term": until("2020-01-01")},
    {"term": until(None)},
    {"term": until(None), "target": target(support_until=None)},
    {"target": target(release=None)},
    {"target": targets([unit_now()], (image("2.10", enter_from="2.8"),))[0]},
    {"target": targets([unit_now(hardware="Z")], (image("2.10", hardware=["C"]),))[0]},
    {"free_bytes": None},
    {"free_bytes": 0},
    {"connector": None},
    {"playbook": playbook(connector=None, wifi=True)},
    {"bench_pc": BenchPc(on_mains=None)},
    {"bench_pc": BenchPc(on_mains=False, battery_percent=5)},
    {"closes_us": 1},
)


@pytest.mark.parametrize("wrong", WRONG, ids=", ".join)
def test_whatever_is_not_clear_says_what_would_clear_it(wrong: dict[str, Any]) -> None:
    """In words that follow "held until": no capital, no full stop; what is clear says nothing."""
    found = all_findings(at_station(**wrong))

    assert worst(found) is not Answer.CLEAR
    for finding in found:
        assert bool(finding.clears) == (finding.answer is not Answer.CLEAR), finding
        assert finding.clears[:1] == finding.clears[:1].lower(), finding
        assert not finding.clears.endswith("."), finding


@settings(deadline=None, max_examples=200)
@given(st.lists(st.sampled_from(WRONG), max_size=6))
def test_so_does_everything_that_is_wrong_together(wrongs: list[dict[str, Any]]) -> None:
    """Whatever comes together, no answer but a clear one is without a way out, and no clear one has any."""
    together: dict[str, Any] = {}
    for wrong in wrongs:
        together |= wrong

    for finding in all_findings(at_station(**together)):
        assert bool(finding.clears) == (finding.answer is not Answer.CLEAR), finding


def test_what_would_clear_it_stands_in_the_entry() -> None:
    """Whoever reads the log sees what was wanted."""
    facts = next(f for f in all_findings(at_station(closes_us=1)) if f.check is Check.CLOSING).as_facts()

    assert facts["clears"] == "a day has time enough for it"


AHEAD = "00737 is the first Millrace on 2.10 and not verified yet"


@pytest.mark.parametrize(
    ("first", "text"),
    [
        (First(), "units need not wait for the first of their kind"),
        (First(wanted=True, verified=True), "a Millrace on 2.10 was verified today: this one need not wait"),
        (First(wanted=True), "the first write of a Millrace on 2.10 today: others wait until it is verified"),
        (First(wanted=True, ahead=AHEAD), f"{AHEAD}: this one waits at its confirmation until it is"),
    ],
)
def test_the_first_off_is_told_and_stops_nobody(first: First, text: str) -> None:
    """Waiting is the bench's: the finding only says who is first."""
    found = all_findings(at_station(first=first))[-1]

    assert (found.check, found.answer, found.text, found.clears) == (Check.FIRST_OFF, Answer.CLEAR, text, "")


def test_nothing_to_write_has_no_first() -> None:
    """A unit on its target holds nobody up."""
    found = all_findings(at_station(target=target(release="2.10"), first=First(wanted=True)))[-1]

    assert found.text == "nothing is to be written"


def test_power_alone_is_what_it_is_among_all() -> None:
    """Right before the write it is asked again by itself."""
    for reading in (None, PowerReading(20, 1, 24_000, 2982, external=False)):
        at = at_station(power=reading)
        assert power_finding(at) == next(f for f in all_findings(at) if f.check is Check.POWER)


def test_a_unit_on_its_target_needs_no_charge_and_no_time() -> None:
    """Nothing to write: an empty battery and a late hour do not stop it from being verified."""
    found = all_findings(
        at_station(
            target=target(release="2.10"),
            identity=replace(IDENTITY, release="2.10"),
            power=None,
            kept=Kept(None, {}),
            now_us=239 * MINUTE,
        )
    )

    assert worst(found) is Answer.CLEAR


def test_findings_hold_whole_numbers_and_text_only() -> None:
    """They go into entries, where no floating-point number may stand."""
    for finding in all_findings(at_station()):
        assert all(type(value) in (int, str) for value in finding.figures.values()), finding
        assert "\n" not in finding.text


def test_sources_that_disagree_about_the_term_are_told_beside_what_it_allows() -> None:
    """Asked only where a release hangs on it."""
    disagree = TermSources(unit_says="2026-12-31", roster="2025-12-31")
    found = all_findings(at_station(term=term_of(disagree, "2026-06-16", [image("2.10").issued, "2026-05-01"])))

    told = [f for f in found if f.check is Check.SUPPORT_TERM]
    assert [f.answer for f in told] == [Answer.CLEAR, Answer.ASK]
    assert "the unit itself says 2026-12-31 and the roster says 2025-12-31" in told[1].text


def test_what_is_wanted_back_is_not_begun_too_late() -> None:
    """The time that is left is told with what it is left until."""
    found = all_findings(at_station(closes_us=5 * MINUTE, wanted_back=True))

    (closing,) = (f for f in found if f.check is Check.CLOSING)
    assert (closing.answer, closing.text.split(",")[0]) == (Answer.STOP, "5 min are left until it is wanted back")
