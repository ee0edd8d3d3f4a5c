"""Whatever happens in whatever order: no act twice, none without a permit, nothing lost."""

import asyncio
import shutil
import tempfile
from collections.abc import Coroutine
from pathlib import Path
from typing import Any, TypeVar

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, invariant, rule

from benchday.domain.entries import Draft
from benchday.domain.errors import AlreadyRecorded, PermitRefused
from benchday.domain.permits import Permit
from benchday.domain.seams import Journal
from benchday.record.journal import open_journal
from benchday.record.memory import MemoryJournal
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note, a_permit, a_reading, ended, given

UNITS = ("QM-1", "QM-2")
MODELS = ("Millrace", "Weirstone")
LINES = st.tuples(st.sampled_from(MODELS), st.sampled_from(("5.1", "5.2")))
Answer = TypeVar("Answer")


class _AnyOrder(RuleBasedStateMachine):
    """The model knows nothing of entries: what may be spent is said by sets and counts alone."""

    permits: Bundle[Permit] = Bundle("permits")

    def __init__(self) -> None:
        super().__init__()
        self.runner = asyncio.Runner()
        self.clock = ManualClock()
        self.count = 0
        self.claimed: set[str] = set()
        self.good: set[str] = set()
        self.of_unit: dict[str, set[str]] = {}
        self.known: dict[str, int] = {}
        """Permits given to the running program -> how many of their acts it has spent."""
        self.ever_spent: set[tuple[str, int]] = set()
        self.under_way: set[tuple[str, str, int]] = set()
        """Unit, permit, act."""
        self.stopped: set[tuple[str, str | None]] = set()
        self.journal = self.opened()

    def opened(self) -> Journal:
        raise NotImplementedError

    def reopened(self) -> Journal:
        raise NotImplementedError

    def do(self, work: Coroutine[Any, Any, Answer]) -> Answer:
        return self.runner.run(work)

    def append(self, *drafts: Draft) -> None:
        self.count += len(self.do(self.journal.append(drafts)))

    def forget_the_program(self) -> None:
        self.good.clear()
        self.known.clear()
        self.under_way.clear()

    @rule()
    def start(self) -> None:
        self.append(Draft("program_started", {"program": "benchday"}))
        self.forget_the_program()

    @rule()
    def restart(self) -> None:
        self.journal = self.reopened()
        self.forget_the_program()

    @rule(count=st.integers(1, 3), names=st.lists(st.sampled_from("abcd"), max_size=2))
    def claim(self, count: int, names: list[str]) -> None:
        try:
            self.count += len(self.do(self.journal.append([a_note()] * count, expect=names)))
        except AlreadyRecorded as error:
            assert error.name in self.claimed & set(names)  # noqa: PT017 - either outcome may be right
        else:
            assert not self.claimed & set(names)
            self.claimed |= set(names)

    @rule(target=permits, unit=st.sampled_from(UNITS), model=st.sampled_from(MODELS), acts=st.integers(1, 2))
    def confirm(self, unit: str, model: str, acts: int) -> Permit:
        return a_permit(self.clock, acts, unit=unit, model=model)

    @rule(permit=permits)
    def give(self, permit: Permit) -> None:
        self.append(given(permit))
        self.of_unit.setdefault(permit.unit, set()).add(permit.id)
        if permit.id not in self.known:
            self.known[permit.id] = 0
            self.good.add(permit.id)

    @rule(target=permits, unit=st.sampled_from(UNITS), acts=st.integers(1, 2))
    def confirm_and_give(self, unit: str, acts: int) -> Permit:
        permit = a_permit(self.clock, acts, unit=unit)
        self.give(permit)
        return permit

    @rule(permit=permits)
    def void(self, permit: Permit) -> None:
        self.append(Draft("permit_voided", {"id": permit.id, "reason": "the image changed"}))
        self.good.discard(permit.id)

    @rule(permit=permits)
    def hold(self, permit: Permit) -> None:
        facts = {"code": "dropped", "reason": "it fell", "lifts": "a look inside"}
        self.append(Draft("unit_held", facts, unit=permit.unit))
        self.good -= self.of_unit.get(permit.unit, set())

    @rule(line=LINES, lifted=st.booleans())
    def stop_or_lift(self, line: tuple[str, str], lifted: bool) -> None:
        facts = {"model": line[0], "release": line[1], "reason": "a verify failed"}
        self.append(Draft("line_lifted" if lifted else "line_stopped", facts))
        self.stopped = self.stopped - {line} if lifted else self.stopped | {line}

    @rule(permit=permits, number=st.integers(0, 1))
    def end(self, permit: Permit, number: int) -> None:
        number = min(number, len(permit.acts) - 1)
        self.append(ended(permit, number))
        self.under_way.discard((permit.unit, permit.id, number))

    @rule(seconds=st.sampled_from((1, 40)))
    def wait(self, seconds: int) -> None:
        self.clock.advance(seconds * 1_000_000)

    @rule(permit=permits, wrong=st.sampled_from(({}, {}, {}, {"serial": "another"}, {"digest": "ff" * 32})))
    def spend(self, permit: Permit, wrong: dict[str, str]) -> None:
        number = self.known.get(permit.id, 0)
        may = not wrong and self.may_spend(permit, number)
        self.count += 1
        try:
            act = self.do(self.journal.spend(permit, a_reading(permit, number, **wrong)))
        except PermitRefused:
            assert not may, "refused although everything allows it"
            return
        assert may, "handed out although something forbids it"
        assert act.number == number
        self.known[permit.id] += 1
        self.ever_spent.add((permit.id, number))
        self.under_way.add((permit.unit, permit.id, number))

    def may_spend(self, permit: Permit, number: int) -> bool:
        return (
            permit.id in self.good
            and number < len(permit.acts)
            and (permit.id, number) not in self.ever_spent
            and (permit.model, permit.acts[number].release) not in self.stopped
            and self.clock.monotonic() <= permit.expires_mono_us
            and permit.unit not in {unit for unit, _, _ in self.under_way}
        )

    @invariant()
    def nothing_is_lost_and_no_act_is_spent_twice(self) -> None:
        entries = self.journal.read()
        assert len(entries) == self.count
        spent = [(e.facts["permit"], e.facts["act"]) for e in entries if e.kind == "act_spent"]
        assert len(spent) == len(set(spent))
        assert set(spent) == self.ever_spent

    def teardown(self) -> None:
        self.do(self.journal.close())
        self.runner.close()


class InMemory(_AnyOrder):
    """The memory journal."""

    def opened(self) -> Journal:
        return MemoryJournal("b1", self.clock)

    def reopened(self) -> Journal:
        assert isinstance(self.journal, MemoryJournal)
        return self.journal.reopened()


class InSqlite(_AnyOrder):
    """The journal in SQLite, on a real disk."""

    def opened(self) -> Journal:
        self.folder = Path(tempfile.mkdtemp())
        return open_journal(self.folder, "b1", self.clock, simulated=True)

    def reopened(self) -> Journal:
        self.do(self.journal.close())
        return open_journal(self.folder, "b1", self.clock, simulated=True)

    def teardown(self) -> None:
        super().teardown()
        try:
            assert verify_chain(self.folder).faults == ()
        finally:
            shutil.rmtree(self.folder)


TestInMemory = InMemory.TestCase
TestInMemory.settings = settings(max_examples=250, stateful_step_count=50, deadline=None)
TestInSqlite = InSqlite.TestCase
TestInSqlite.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)
