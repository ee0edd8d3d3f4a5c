"""The state of a day is what its entries say, and nothing else."""

import pytest

from benchday.domain.entries import Draft
from benchday.domain.errors import IllegalMove
from benchday.domain.fold import DayState, fold
from benchday.domain.items import Item, ItemKind
from benchday.domain.kinds import (
    ChargeBegun,
    ChargeEnded,
    InterruptSettled,
    ItemAnswered,
    ItemAsked,
    ItemTaken,
    ItemVoided,
    LineLifted,
    StepBegun,
    UnitAbsent,
    UnitLifted,
    VerifyFailed,
)
from benchday.domain.steps import Move, State, move_of
from tests.domain.small_day import (
    BASE,
    IMAGE,
    MINUTE_US,
    PERMIT,
    ROVER,
    Telling,
    arrive,
    begin,
    finish,
    hold_and_stop,
    identified,
    to_confirm,
    write,
)


@pytest.fixture
def day() -> Telling:
    """A day with two units expected."""
    return begin()


def test_a_day_begins(day: Telling) -> None:
    """The roster is expected, the bench knows who acts, and the inputs are those that were read."""
    state = fold(day.entries)
    assert {serial: story.state for serial, story in state.units.items()} == {
        BASE: State.EXPECTED,
        ROVER: State.EXPECTED,
    }
    assert state.acting == "Ada"
    assert set(state.inputs) == {"bench.yaml"}
    assert (state.seq, state.at_us) == (len(day.entries), len(day.entries) * MINUTE_US)
    assert {story.outcome for story in state.units.values()} == {"absent"}


def test_a_unit_goes_all_the_way(day: Telling) -> None:
    """From check-in to hand-back: what it had, what it has, what was kept, and that its places are free again."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    at_confirm = fold(day.entries).units[BASE]
    assert (at_confirm.state, at_confirm.station, at_confirm.places["cable:round"]) == (State.CONFIRM, "1", "R1")
    write(day, BASE)
    finish(day, BASE)
    state = fold(day.entries)
    story = state.units[BASE]
    assert story.outcome == "handed-back"
    assert (story.had, story.has, story.target, story.writes) == ("2.9", "2.10", "2.10", ["2.10"])
    assert (story.permits, story.station, story.places) == (1, None, {})
    assert set(story.preserved) == {"0731A.obs"}
    assert (story.open_act, story.sent, story.was_cut) == (None, None, False)
    assert state.verified == {("Millrace", "2.10")}
    assert state.holder("station", "1") is None


def test_an_act_is_open_from_its_spending_to_its_end(day: Telling) -> None:
    """A crash between the two leaves the act open in the entries, so that recovery finds it."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE)
    open_act = fold(day.entries[:-1]).units[BASE].open_act
    assert open_act is not None
    assert (open_act.permit, open_act.verb, open_act.digest) == (PERMIT, "write image", IMAGE)
    story = fold(day.entries).units[BASE]
    assert story.open_act is None
    assert story.sent == open_act


@pytest.mark.parametrize(
    ("outcome", "sent", "cut"), [("whole", True, False), ("unknown", True, True), ("cut", False, True)]
)
def test_how_an_act_ended(day: Telling, outcome: str, sent: bool, cut: bool) -> None:
    """Only what may have arrived counts as sent; whatever is not known whole is to be settled."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE, outcome)
    story = fold(day.entries).units[BASE]
    assert (story.sent is not None, story.was_cut) == (sent, cut)
    assert story.writes == []


@pytest.mark.parametrize(("found", "sent"), [("written", True), ("untouched", False), ("broken", False)])
def test_reading_back_settles_an_interruption(day: Telling, found: str, sent: bool) -> None:
    """After the unit was read back nothing is open; it counts as sent only if it was found written."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE, "unknown")
    day.tell(InterruptSettled(found=found, release="2.10"), BASE)
    story = fold(day.entries).units[BASE]
    assert (story.sent is not None, story.open_act, story.was_cut) == (sent, None, False)


def test_a_hold_and_what_lifts_it(day: Telling) -> None:
    """A held unit says why and what would lift it; lifted it waits, and is identified anew."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE, "cut")
    hold_and_stop(day, BASE)
    state = fold(day.entries)
    story = state.units[BASE]
    assert (story.outcome, story.held_code, story.held_lifts) == ("held", "interrupted", "look at it anew")
    assert state.lines_stopped == {("Millrace", "2.10"): f"{BASE} was interrupted"}
    day.tell(UnitLifted(reason="looked at"), BASE, "Ada")
    day.tell(LineLifted(model="Millrace", release="2.10", reason="one cable was bad"), operator="Ada")
    state = fold(day.entries)
    assert (state.units[BASE].state, state.units[BASE].held_reason) == (State.WAITING, None)
    assert state.lines_stopped == {}


def test_identifying_anew_forgets_what_was_seen(day: Telling) -> None:
    """Findings, power and identity of before say nothing about the unit that is plugged in now."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    day.steps(BASE, ("identify",))
    story = fold(day.entries).units[BASE]
    assert (story.identity, story.power, story.findings) == (None, None, ())
    assert story.tries["identify"] == 2
    assert story.had == "2.9"


def test_what_it_had_is_what_it_came_with(day: Telling) -> None:
    """Identified again after the write, it has the new release, and had the old one."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE)
    day.tell(identified(BASE, "2.10"), BASE)
    story = fold(day.entries).units[BASE]
    assert (story.had, story.has) == ("2.9", "2.10")


def test_a_failed_verify_is_no_write(day: Telling) -> None:
    """What was sent and did not verify is not among the releases written today."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE)
    day.steps(BASE, ("restart", "verify"))
    day.tell(VerifyFailed(problems=["says 2.9"]), BASE)
    state = fold(day.entries)
    assert (state.units[BASE].sent, state.units[BASE].writes, state.verified) == (None, [], set())


def test_charging(day: Telling) -> None:
    """A charger holds it, and lets it wait again."""
    arrive(day, ROVER)
    day.tell(ChargeBegun(charger="left", ends_us=1), ROVER)
    assert fold(day.entries).units[ROVER].state is State.CHARGING
    day.tell(ChargeEnded(charger="left", percent=90), ROVER)
    assert fold(day.entries).units[ROVER].state is State.WAITING


def test_absent_and_late(day: Telling) -> None:
    """A unit that was given up may still arrive."""
    day.tell(UnitAbsent(reason="the crew is snowed in"), ROVER, "Ada")
    assert fold(day.entries).units[ROVER].outcome == "absent"
    arrive(day, ROVER)
    assert fold(day.entries).units[ROVER].outcome == "not-begun"


@pytest.mark.parametrize("step", ["write", "verify", "restart", "last look"])
def test_an_illegal_entry_changes_nothing(day: Telling, step: str) -> None:
    """A unit that waits cannot be written; the state stays as it was."""
    arrive(day, BASE)
    state = fold(day.entries)
    before = fold(day.entries)
    bad = day.tell(StepBegun(step=step, tries=1, expected_us=1), BASE)
    with pytest.raises(IllegalMove):
        state.apply(bad)
    assert state == before


def an_item(number: str) -> Item:
    """Make an item."""
    return Item(number, ItemKind.INSTRUCT, "connect", "Connect it", unit=BASE)


def test_items(day: Telling) -> None:
    """Asked, taken, answered or withdrawn: what is open is what still wants an answer."""
    for number in ("i1", "i2", "i3"):
        day.tell(ItemAsked(item=an_item(number).as_facts()), BASE)
    day.tell(ItemTaken(id="i1"), BASE, "Ada")
    day.tell(ItemAnswered(id="i2", value={"done": True}, by="person"), BASE, "Bo")
    day.tell(ItemVoided(id="i3", reason="the unit is held"), BASE)
    state = fold(day.entries)
    assert [i.item for i in state.open_items()] == [an_item("i1")]
    assert state.items["i1"].taken_by == "Ada"
    answered = state.items["i2"].answered
    assert answered is not None
    assert (answered.operator, answered.flag("done")) == ("Bo", True)
    assert state.items["i3"].voided == "the unit is held"


def test_a_new_day_begins_empty(day: Telling) -> None:
    """A record spans days; the state is that of the last one."""
    arrive(day, BASE)
    again = begin()
    for entry in again.entries:
        day.add(Draft(entry.kind, entry.facts, unit=entry.unit, operator=entry.operator))
    state = fold(day.entries)
    assert {story.state for story in state.units.values()} == {State.EXPECTED}
    assert state.seq == len(day.entries)


def test_one_by_one_or_all_at_once(day: Telling) -> None:
    """Taking entries in as they land gives the state that folding them all gives."""
    arrive(day, BASE)
    to_confirm(day, BASE)
    write(day, BASE)
    finish(day, BASE)
    state = DayState()
    for number, entry in enumerate(day.entries, start=1):
        state.apply(entry)
        assert state == fold(day.entries[:number])


def test_the_move_of_an_entry(day: Telling) -> None:
    """Steps move into themselves, kinds of their own by what they say, others not at all."""
    moves = {entry.kind: move_of(entry.kind, entry.facts) for entry in day.entries}
    assert moves["unit_expected"] is Move.EXPECT
    assert moves["input_read"] is None
    assert move_of("step_begun", {"step": "last look"}) is Move.LAST_LOOK
    assert move_of("from_a_newer_program", {}) is None
