"""The conformance suite of the Journal seam: each check takes a maker and raises AssertionError for a broken promise.

Run every check of ``CHECKS`` over every implementation::

    for check in CHECKS:
        await check(make)
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from typing import Any, Protocol

import anyio
import anyio.lowlevel

from benchday.domain.entries import GENESIS, Draft, Entry, digest_of
from benchday.domain.errors import AlreadyRecorded, PermitRefused, RecordError
from benchday.domain.permits import Act, ConfirmedBy, Permit, Reading, Verb
from benchday.domain.readings import Proof
from benchday.domain.seams import Journal
from benchday.testing.clock import ManualClock

KEY = bytes(range(32))
"""The day's key that makers are asked to use."""


class MakeJournal(Protocol):
    """Makes an empty journal of bench "b1" whose day's key is ``KEY``."""

    async def __call__(self, clock: ManualClock) -> Journal: ...


Check = Callable[[MakeJournal], Awaitable[None]]


def a_permit(clock: ManualClock, acts: int = 1, **changed: Any) -> Permit:
    """Make a permit for some writes on one unit; valid for a minute."""
    written = tuple(Act(Verb.WRITE_IMAGE, f"{n:064x}", 4096, release=f"5.{n}") for n in range(1, acts + 1))
    permit = Permit(
        unit="QM-10442",
        model="Millrace",
        hardware="C",
        acts=written,
        losses=(),
        playbook_digest="ab" * 32,
        operator="Ada",
        confirmed_by=ConfirmedBy.PERSON,
        station="1",
        given_us=clock.now(),
        expires_mono_us=clock.monotonic() + 60_000_000,
        nonce=secrets.token_hex(16),
    )
    return replace(permit, **changed)


def a_reading(permit: Permit, number: int = 0, **changed: Any) -> Reading:
    """Make the reading that fits an act of the permit."""
    act = permit.acts[min(number, len(permit.acts) - 1)]
    fits = Reading(permit.unit, permit.model, permit.hardware, act.verb, act.digest, permit.playbook_digest)
    return replace(fits, **changed)


def given(permit: Permit) -> Draft:
    """Make the entry that gives a permit."""
    facts = {"permit": permit.as_facts(), "id": permit.id, "shown": "Write 5.1"}
    return Draft("permit_given", facts, unit=permit.unit, station=permit.station, operator=permit.operator)


def ended(permit: Permit, number: int = 0) -> Draft:
    """Make the entry that ends a spent act."""
    facts = {
        "permit": permit.id,
        "act": number,
        "outcome": "whole",
        "bytes": 4096,
        "sha256": permit.acts[number].digest,
    }
    return Draft("act_ended", facts, unit=permit.unit)


def a_note(words: str = "hello") -> Draft:
    """Make an entry that concerns no permit."""
    return Draft("input_read", {"name": "day.yaml", "sha256": "00" * 32, "says": words})


def expect(holds: object, promise: str) -> None:
    """Fail with the promise that was broken."""
    if not holds:
        raise AssertionError(promise)


async def refused(journal: Journal, permit: Permit, reading: Reading, *, because: str) -> None:
    """Check that spending is refused for this reason, and that the refusal is an entry."""
    before = journal.read()
    try:
        await journal.spend(permit, reading)
    except PermitRefused as error:
        expect(because in str(error), f"the refusal should say {because!r}, it says {str(error)!r}")
    else:
        raise AssertionError(f"an act was handed out although {because}")

    added = journal.read(len(before))
    expect([e.kind for e in added] == ["act_refused"], "a refusal is recorded as one entry")
    expect(because in added[0].facts["reason"], "the entry holds the reason")


async def chains_what_it_appends(make: MakeJournal) -> None:
    """Entries are numbered from 1, linked by digests over the stored bytes, and read back as they were answered."""
    clock = ManualClock()
    journal = await make(clock)
    answered = [*await journal.append([a_note("a"), a_note("b")])]
    clock.advance(5)
    answered += await journal.append([a_note("Ångström €")])
    expect(list(journal.read()) == answered, "what is read is what was appended")
    expect([e.seq for e in answered] == [1, 2, 3], "numbers count from 1 without a gap")
    _expect_linked(answered)
    expect(answered[2].at_us == clock.now() and answered[2].mono_us == clock.monotonic(), "times are the clock's")
    expect(journal.read(after=2) == (answered[2],), "read(after) leaves out what is not after")
    expect(journal.read(after=3) == (), "nothing follows the last entry")
    expect(await journal.append([]) == (), "appending nothing does nothing")
    await journal.close()


def _expect_linked(entries: Sequence[Entry]) -> None:
    prev = GENESIS
    for entry in entries:
        expect(entry.prev == prev, f"entry {entry.seq} points at the one before it")
        expect(entry.digest == digest_of(prev, entry.body), f"entry {entry.seq} is hashed over its stored bytes")
        prev = entry.digest


async def appends_all_or_none(make: MakeJournal) -> None:
    """A draft that cannot become an entry keeps the whole append out, and its claims with it."""
    journal = await make(ManualClock())
    floating = Draft("input_read", {"weight": 1.5})
    for bad in (floating, Draft("input_read", {"n": 2**53}), Draft("permit_given", {}), Draft("act_spent", {})):
        try:
            await journal.append([a_note(), bad], expect=["name"])
        except ValueError:
            continue
        raise AssertionError(f"{bad} was taken")

    expect(journal.read() == (), "nothing of a failed append is kept")
    expect(await journal.append([a_note()], expect=["name"]), "a failed append claims nothing")
    await journal.close()


async def gives_a_name_once(make: MakeJournal) -> None:
    """The first to claim a name wins; later ones are told in which entry, and append nothing."""
    journal = await make(ManualClock())
    first = await journal.append([a_note("first")], expect=["item:1:answer", "item:1:answer"])
    try:
        await journal.append([a_note("second")], expect=["item:2:answer", "item:1:answer"])
    except AlreadyRecorded as error:
        expect((error.name, error.seq) == ("item:1:answer", first[0].seq), "the error names the entry that won")
    else:
        raise AssertionError("a name was claimed twice")

    expect(journal.read() == first, "the loser appended nothing")
    expect(await journal.append([a_note()], expect=["item:2:answer"]), "the loser's other names stay free")
    await journal.close()


async def serves_many_callers(make: MakeJournal) -> None:
    """Of many callers at once each gets its own entries; those who lose a name do not harm the others."""
    journal = await make(ManualClock())
    answers: dict[int, int] = {}
    lost: list[int] = []

    async def call(number: int) -> None:
        try:
            entries = await journal.append([a_note(str(number))], expect=[f"pair:{number // 2}"])
            answers[number] = entries[0].seq
        except AlreadyRecorded:
            lost.append(number)

    async with anyio.create_task_group() as tasks:
        for number in range(20):
            tasks.start_soon(call, number)

    told = {e.seq: e.facts["says"] for e in journal.read()}
    expect(len(answers) == len(lost) == 10, "one of each pair wins")
    expect(all(told[seq] == str(number) for number, seq in answers.items()), "each caller gets its own entry")
    _expect_linked(journal.read())
    await journal.close()


async def keeps_what_a_cancelled_caller_handed_in(make: MakeJournal) -> None:
    """A cancelled caller leaves its entries whole, and still learns what was written."""
    journal = await make(ManualClock())
    learnt: list[Entry] = []

    async def hand_in() -> None:
        learnt.extend(await journal.append([a_note("a"), a_note("b")]))

    async with anyio.create_task_group() as tasks:
        tasks.start_soon(hand_in)
        await anyio.lowlevel.checkpoint()
        tasks.cancel_scope.cancel()

    await journal.append([a_note("c")])
    expect([e.facts["says"] for e in journal.read()] == ["a", "b", "c"], "both entries are there, in order")
    expect([e.seq for e in learnt] == [1, 2], "the cancelled caller learnt of both")
    await journal.close()


async def spends_each_act_once_and_in_order(make: MakeJournal) -> None:
    """Acts are spent one after another, each after the one before has ended, with the intent recorded first."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock, acts=2)
    await journal.append([given(permit)])
    for number in range(2):
        act = await journal.spend(permit, a_reading(permit, number))
        expect((act.number, act.act, act.unit) == (number, permit.acts[number], permit.unit), "acts come in order")
        intent = journal.read()[-1]
        expect((intent.kind, intent.unit, intent.station) == ("act_spent", permit.unit, "1"), "the intent is recorded")
        expect(intent.facts["digest"] == permit.acts[number].digest, "the intent names what is written")
        expect(intent.facts["simulated_proof"] is False, "no proof was given")
        await refused(
            journal, permit, a_reading(permit, number + 1), because="has been spent" if number else "not ended"
        )
        await journal.append([ended(permit, number)])

    await refused(journal, permit, a_reading(permit), because="every act of the permit has been spent")
    await journal.close()


async def refuses_what_was_not_given(make: MakeJournal) -> None:
    """A permit counts only as it was recorded, by the program that runs now."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock)
    await refused(journal, permit, a_reading(permit), because="not given")
    await journal.append([given(permit)])
    other = replace(permit, operator="Somebody else")
    await refused(journal, other, a_reading(other), because="not given")
    forged = Draft("permit_given", {"permit": permit.as_facts(), "id": other.id}, unit=permit.unit)
    await journal.append([forged])
    await refused(journal, other, a_reading(other), because="not given")
    await journal.append([Draft("program_started", {"program": "benchday"})])
    await refused(journal, permit, a_reading(permit), because="not given")
    await journal.close()


async def refuses_what_was_voided(make: MakeJournal) -> None:
    """A voided permit, or one whose unit was held since, is refused, even if it is given once more."""
    clock = ManualClock()
    journal = await make(clock)
    voided, held, another = a_permit(clock), a_permit(clock), a_permit(clock, unit="QM-1")
    await journal.append([given(voided), given(held), given(another)])
    await journal.append([Draft("permit_voided", {"id": voided.id, "reason": "the image changed"})])
    await journal.append([given(voided)])
    await refused(journal, voided, a_reading(voided), because="the image changed")
    hold = {"code": "dropped", "reason": "it fell", "lifts": "a look inside"}
    await journal.append([Draft("unit_held", hold, unit=held.unit)])
    await refused(journal, held, a_reading(held), because="it fell")
    after = a_permit(clock)
    await journal.append([given(after)])
    expect(await journal.spend(after, a_reading(after)), "a permit given after the hold is good")
    expect(await journal.spend(another, a_reading(another)), "a permit for another unit stays good")
    await journal.close()


async def refuses_while_the_line_is_stopped(make: MakeJournal) -> None:
    """A stopped line refuses its model and release only, until it is lifted; a restart does not lift it."""
    clock = ManualClock()
    journal = await make(clock)
    permit, other = a_permit(clock), a_permit(clock, model="Weirstone", unit="QW-1")
    line = {"model": "Millrace", "release": "5.1", "reason": "a verify failed"}
    await journal.append([Draft("line_stopped", line), Draft("program_started", {"program": "benchday"})])
    await journal.append([given(permit), given(other)])
    await refused(journal, permit, a_reading(permit), because="a verify failed")
    expect(await journal.spend(other, a_reading(other)), "another model goes on")
    await journal.append([Draft("line_lifted", line)])
    expect(await journal.spend(permit, a_reading(permit)), "a lifted line goes on")
    await journal.close()


async def refuses_another_reading(make: MakeJournal) -> None:
    """What the unit and the bench say now must be what was confirmed, and the permit must not have expired."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock)
    await journal.append([given(permit)])
    for changed, because in (
        ({"serial": "QM-10443"}, "serial is QM-10443"),
        ({"model": "Weirstone"}, "model is Weirstone"),
        ({"hardware": ""}, "hardware revision is not told"),
        ({"verb": Verb.RESTART}, "act is restart"),
        ({"digest": "ff" * 32}, "digest is"),
        ({"playbook_digest": "ff" * 32}, "playbook is"),
    ):
        await refused(journal, permit, a_reading(permit, **changed), because=because)

    clock.advance(60_000_001)
    await refused(journal, permit, a_reading(permit), because="expired")
    await journal.close()


async def lets_go_of_acts_of_the_program_before(make: MakeJournal) -> None:
    """An act that was under way when a program ended does not keep the next one from a new permit."""
    clock = ManualClock()
    journal = await make(clock)
    before, after = a_permit(clock), a_permit(clock)
    await journal.append([given(before)])
    await journal.spend(before, a_reading(before))
    await journal.append([Draft("program_started", {"program": "benchday"}), given(after)])
    expect(await journal.spend(after, a_reading(after)), "the new program's permit is good")
    await journal.close()


async def asks_a_simulator_for_proof(make: MakeJournal) -> None:
    """What no person confirmed needs the unit's own proof, for this serial and with the day's key."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock, confirmed_by=ConfirmedBy.SIMULATED)
    await journal.append([given(permit)])
    await refused(journal, permit, a_reading(permit), because="has not proved")
    for key, serial in ((bytes(32), permit.unit), (KEY, "another")):
        await refused(journal, permit, a_reading(permit, proof=a_proof(key, serial)), because="has not proved")

    await journal.spend(permit, a_reading(permit, proof=a_proof(KEY, permit.unit)))
    expect(journal.read()[-1].facts["simulated_proof"] is True, "the intent says that the unit proved it")
    await journal.close()


def a_proof(key: bytes, serial: str) -> Proof:
    """Answer as a simulator with this key would."""

    nonce = secrets.token_hex(16)
    return Proof(nonce, hmac.new(key, f"{nonce}:{serial}".encode(), hashlib.sha256).hexdigest())


async def lets_one_of_two_spend(make: MakeJournal) -> None:
    """Of two who spend the same act at once, one gets it."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock)
    await journal.append([given(permit)])
    won: list[int] = []

    async def spend() -> None:
        try:
            won.append((await journal.spend(permit, a_reading(permit))).number)
        except PermitRefused:
            return

    async with anyio.create_task_group() as tasks:
        for _ in range(5):
            tasks.start_soon(spend)

    expect(won == [0], "exactly one gets the act")
    expect([e.kind for e in journal.read()].count("act_spent") == 1, "and it is spent once")
    await journal.close()


async def takes_nothing_once_closed(make: MakeJournal) -> None:
    """A closed journal says so; closing twice does no harm."""
    clock = ManualClock()
    journal = await make(clock)
    permit = a_permit(clock)
    await journal.append([given(permit)])
    await journal.close()
    await journal.close()
    for attempt in (lambda: journal.append([a_note()]), lambda: journal.spend(permit, a_reading(permit))):
        try:
            await attempt()
        except RecordError as error:
            expect("closed" in str(error), "the error says that the journal is closed")
        else:
            raise AssertionError("a closed journal took something")


CHECKS: tuple[Check, ...] = (
    chains_what_it_appends,
    appends_all_or_none,
    gives_a_name_once,
    serves_many_callers,
    keeps_what_a_cancelled_caller_handed_in,
    spends_each_act_once_and_in_order,
    refuses_what_was_not_given,
    refuses_what_was_voided,
    refuses_while_the_line_is_stopped,
    refuses_another_reading,
    lets_go_of_acts_of_the_program_before,
    asks_a_simulator_for_proof,
    lets_one_of_two_spend,
    takes_nothing_once_closed,
)
"""Every promise of the seam."""
