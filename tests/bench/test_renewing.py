"""A support term that is renewed while the day runs: what shows it, the unit read again, a new target, a new permit."""

from __future__ import annotations

import pytest

from benchday.domain.errors import InputError
from benchday.domain.steps import State
from tests.bench.shop import INES, TOBIAS, Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
ENDED, RENEWED = "2026-03-31", "2027-03-31"
EVIDENCE = "order 5531, confirmed by letter"


def under_an_ended_term(shop: Shop) -> None:
    """Let one unit come, whose term ended before 2.10 was issued."""
    shop.only(UNIT, support_until=ENDED)
    shop.units[UNIT].release = "2.6"
    shop.people.answers |= {"renewal": None}


async def test_a_renewal_before_the_write_ends_the_confirmation_and_changes_the_target(shop: Shop) -> None:
    under_an_ended_term(shop)
    shop.people.answers |= {"confirm": None}
    async with shop.running() as day:
        first = await day.item("confirm", UNIT)
        assert day.unit(UNIT).target == "2.9"
        assert "See the new item" in await day.desk.renew(UNIT)
        asked = await day.item("renewal", UNIT)
        assert f"its support term until now is {ENDED}" in asked.item.text
        read = shop.units[UNIT].calls.count("identify")
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE)
        await day.until(lambda: day.unit(UNIT).target == "2.10" and bool(day.items("confirm", UNIT)))
        assert day.state.items[first.item.id].voided == "its support term was renewed: the unit is read again"
        assert shop.units[UNIT].calls.count("identify") == read + 1
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    (renewed,) = shop.entries("term_renewed", UNIT)
    assert (renewed.operator, renewed.facts["before"], renewed.facts["until"]) == (INES, ENDED, RENEWED)
    assert await shop.beside.look_up(renewed.facts["evidence_ref"]) == EVIDENCE
    assert EVIDENCE.encode() not in b"".join(e.body for e in shop.journal.read())
    (spent,) = shop.entries("act_spent", UNIT)
    assert spent.facts["release"] == "2.10"
    assert spent.seq > renewed.seq


async def test_a_permit_given_before_a_renewal_is_void(shop: Shop) -> None:
    """Between the confirmation and the spent act lie the last looks; a renewal there ends the permit."""
    under_an_ended_term(shop)
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        with pytest.raises(InputError, match="is being written; enter the renewal once it is verified"):
            await day.desk.renew(UNIT)
        day.go_on_writing(UNIT)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert len(shop.entries("permit_given", UNIT)) == 1


async def test_what_was_ready_may_be_served_again(shop: Shop) -> None:
    under_an_ended_term(shop)
    shop.people.answers |= {"hand back": None}
    async with shop.running() as day:
        back = await day.item("hand back", UNIT)
        assert day.unit(UNIT).writes == ["2.9"]
        await day.desk.renew(UNIT)
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE, again="serve it again")
        await day.until(lambda: day.unit(UNIT).writes == ["2.9", "2.10"])
        assert day.state.items[back.item.id].voided is not None
        await day.item("hand back", UNIT)
        assert day.unit(UNIT).state is State.READY
    assert [e.facts["why"] for e in shop.entries("unit_recalled", UNIT)] == [
        "its support term was renewed: the unit is read again"
    ]
    assert len({e.facts["permit"] for e in shop.entries("act_spent", UNIT)}) == 2


async def test_what_was_ready_may_be_left_as_it_is(shop: Shop) -> None:
    under_an_ended_term(shop)
    shop.people.answers |= {"hand back": None}
    async with shop.running() as day:
        await day.item("hand back", UNIT)
        await day.desk.renew(UNIT)
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE, again="leave it as it is")
        await day.settled()
        assert (day.unit(UNIT).state, day.unit(UNIT).writes) == (State.READY, ["2.9"])


@pytest.mark.parametrize("until", ["2026-03-31", "2025-01-01"])
async def test_a_renewal_ends_later_than_the_term_until_now(shop: Shop, until: str) -> None:
    under_an_ended_term(shop)
    shop.units[UNIT].term = ENDED
    shop.people.answers |= {"confirm": None}
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        await day.desk.renew(UNIT)
        with pytest.raises(InputError, match=f"expected a day after {ENDED}"):
            await day.answer("renewal", UNIT, until=until, evidence=EVIDENCE)
        with pytest.raises(InputError, match="a value is needed"):
            await day.answer("renewal", UNIT, until=RENEWED, evidence="")
        with pytest.raises(InputError, match=f"{TOBIAS} may not confirm"):
            await day.answer("renewal", UNIT, who=TOBIAS, until=RENEWED, evidence=EVIDENCE)
        assert shop.entries("term_renewed") == []


async def test_a_letter_may_show_what_the_roster_already_says(shop: Shop) -> None:
    """The unit was not read yet, so that nobody who goes by the day itself has said it."""
    shop.only(UNIT, support_until=RENEWED)
    shop.people.answers |= {"check in": None, "renewal": None}
    async with shop.running() as day:
        await day.item("check in", UNIT)
        await day.desk.renew(UNIT)
        asked = await day.item("renewal", UNIT)
        assert f"until now is {RENEWED}, says the roster" in asked.item.text
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE)
        await day.until(lambda: bool(shop.entries("term_renewed")))
        (renewed,) = shop.entries("term_renewed")
        assert (renewed.facts["before"], renewed.facts["until"]) == (RENEWED, RENEWED)


async def test_a_renewal_that_the_unit_does_not_show_is_put_to_a_person(shop: Shop) -> None:
    """Read again, it still tells the old day, and that is what it goes by itself."""
    under_an_ended_term(shop)
    shop.units[UNIT].term = ENDED
    shop.people.answers |= {"confirm": None, "findings": None}
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        await day.desk.renew(UNIT)
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE)
        asked = await day.item("findings", UNIT)
        assert f"renewed until {RENEWED}, but the unit, read again, still says {ENDED}" in asked.item.text
        assert day.unit(UNIT).target == "2.9"


async def test_an_open_renewal_survives_a_restart(shop: Shop) -> None:
    under_an_ended_term(shop)
    shop.people.answers |= {"confirm": None}
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        await day.desk.renew(UNIT)
        asked = await day.item("renewal", UNIT)
    async with shop.running() as day:
        await day.settled()
        assert [i.item.id for i in day.items("renewal", UNIT)] == [asked.item.id]
        await day.answer("renewal", UNIT, until=RENEWED, evidence=EVIDENCE)
        await day.until(lambda: day.unit(UNIT).target == "2.10")


async def test_there_is_nothing_to_renew_on_a_unit_that_is_not_here(shop: Shop) -> None:
    under_an_ended_term(shop)
    async with shop.running() as day:
        with pytest.raises(InputError, match="no unit 00999 today"):
            await day.desk.renew("00999")
