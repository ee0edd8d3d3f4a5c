"""What the record teaches: which steps, how long, how much was moved, what was lost before."""

from __future__ import annotations

import pytest

from benchday.domain.entries import Entry
from benchday.domain.kinds import PcSlept
from benchday.domain.playbook import StepName
from benchday.planning.learning_records import DayBegins, PlaybookRead, Served, records_of, told
from benchday.planning.records import durations_of
from tests.planning.shop import playbook
from tests.planning.taught import MINUTE_US, MODEL, Teaching


def served(entries: list[Entry], *, simulated: bool = False) -> list[Served]:
    """Return the steps done."""
    return [one for one in told(entries, simulated=simulated) if isinstance(one, Served)]


@pytest.fixture
def shop() -> Teaching:
    """Begin a real day with two units."""
    made = Teaching()
    made.day("U1", "U2")
    return made


def test_a_step_done(shop: Teaching) -> None:
    """Its model, step and time."""
    shop.step("identify", 0.5)
    assert served(shop.entries) == [Served(1, MODEL, StepName.IDENTIFY, MINUTE_US // 2)]


def test_sizes_of_what_is_moved(shop: Teaching) -> None:
    """All recordings of a preserve, the image of a write, nothing; units do not mix."""
    shop.begin("preserve", "U2")
    shop.preserve(3, 700, 500)
    shop.end("preserve", 1, "U2")
    shop.write(16, 4_000)
    assert [(s.step, s.moved_bytes) for s in served(shop.entries)] == [
        (StepName.PRESERVE, 1200),
        (StepName.PRESERVE, 0),
        (StepName.WRITE, 4000),
    ]


def test_a_step_cut_and_tried_again(shop: Teaching) -> None:
    """The time of the try that ended well, its own bytes, and all that passed since the first try began."""
    shop.step("identify", 1)
    shop.begin("preserve")
    shop.end("preserve", 2, outcome="cut")
    shop.step("identify", 1.5)
    shop.step("check", 0.5)
    shop.preserve(3, 700)
    found = served(shop.entries)
    assert [s.step.value for s in found] == ["identify", "identify", "check", "preserve"]
    assert (found[-1].minutes, found[-1].moved_bytes, found[-1].lost_us) == (3, 700, 4 * MINUTE_US)
    assert [s.lost_us for s in found[:-1]] == [None, None, None]
    assert records_of(found)[MODEL][StepName.PRESERVE].lost == (4.0,)


def test_a_step_of_a_longer_route_is_no_second_try(shop: Teaching) -> None:
    """Done twice, it is two steps."""
    shop.step("verify", 1)
    shop.step("verify", 2)
    assert [(s.minutes, s.lost_us) for s in served(shop.entries)] == [(1, None), (2, None)]


@pytest.mark.parametrize("outcome", ["held", "refused", "withdrawn", "sent off", "full"])
def test_what_did_not_end_well_teaches_nothing(shop: Teaching, outcome: str) -> None:
    """Nor is what follows its second try."""
    shop.step("confirm", 9, outcome=outcome)
    shop.step("confirm", 1)
    assert [(s.minutes, s.lost_us) for s in served(shop.entries)] == [(1, None)]


def test_a_hold_ends_the_tries(shop: Teaching) -> None:
    """What a person did meanwhile is no time lost to a cut."""
    shop.step("check", 2, outcome="cut")
    shop.held()
    shop.step("check", 1)
    assert [s.lost_us for s in served(shop.entries)] == [None]


def test_a_program_that_ended_amid_a_step(shop: Teaching) -> None:
    """What it left open has no length."""
    shop.begin("preserve")
    shop.at_us += 600 * MINUTE_US
    shop.started()
    shop.preserve(3, 700)
    assert [(s.minutes, s.lost_us) for s in served(shop.entries)] == [(3, None)]


@pytest.mark.parametrize(("simulated", "speed"), [(True, 1.0), (False, 2.0), (True, 1200.0)])
def test_only_real_days_at_speed_1_teach(simulated: bool, speed: float) -> None:
    """A simulated day teaches if asked for, and then no real one does."""
    shop = Teaching()
    shop.day("U1", simulated=simulated, speed=speed)
    shop.step("check", 2)
    assert served(shop.entries) == []
    assert len(served(shop.entries, simulated=True)) == (1 if simulated else 0)


def test_a_day_taken_up_at_another_speed(shop: Teaching) -> None:
    """From there on it teaches no more."""
    shop.anchored(1.0)
    shop.step("check", 2)
    shop.anchored(60.0)
    shop.step("check", 3)
    assert [s.minutes for s in served(shop.entries)] == [2]


def test_a_real_day_teaches_no_simulated_one(shop: Teaching) -> None:
    """The two never mix."""
    shop.step("check", 2)
    assert served(shop.entries, simulated=True) == []


def test_benches_take_turns() -> None:
    """Units of the same serial at two benches, and days that overlap."""
    one, other = Teaching("b1"), Teaching("b2")
    one.day("U1")
    other.day("U1")
    one.begin("check")
    other.begin("check")
    one.end("check", 1)
    other.end("check", 2)
    turns = [entry for pair in zip(one.entries, other.entries, strict=True) for entry in pair]
    assert [(s.day, s.minutes) for s in served(turns)] == [(1, 1), (2, 2)]
    assert [o for o in told(turns) if isinstance(o, DayBegins)] == [DayBegins("b1", 1), DayBegins("b2", 2)]


def test_a_unit_of_yesterday_is_forgotten(shop: Teaching) -> None:
    """A step of a unit that no entry of the day names teaches nothing."""
    shop.day("U2")
    shop.step("check", 2, "U1")
    assert served(shop.entries) == []


def test_playbooks_are_told_as_they_were_read() -> None:
    """One that this version cannot read is left out."""
    shop = Teaching()
    shop.day(says=playbook())
    broken = playbook().model_copy(update={"playbook": "NO"})
    shop.day(says=broken)
    assert [o.playbook for o in told(shop.entries) if isinstance(o, PlaybookRead)] == [playbook()]


def test_a_step_in_which_the_bench_pc_slept_teaches_nothing(shop: Teaching) -> None:
    """An hour's sleep is no hour's work."""
    shop.begin("identify")
    shop.tell(PcSlept(how="slept", lasted_us=3_600_000_000, writing=[]))
    shop.end("identify", 60)
    shop.step("check", 0.5)
    assert [s.step for s in served(shop.entries)] == [StepName.CHECK]
    assert durations_of(shop.entries) == {MODEL: {"check": [MINUTE_US // 2]}}
