"""Beginning a day, or taking one up: the entries that stand at its head."""

from __future__ import annotations

import os
import platform
import socket
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from benchday import __version__
from benchday.bench.book import Book
from benchday.domain.entries import Draft
from benchday.domain.errors import InputError
from benchday.domain.fold import DayState
from benchday.domain.image_lists import NOTHING_SEEN, SeenList, accepted, newest_seen, older_in
from benchday.domain.kinds import ClockAnchored, DayBegun, ProgramStarted, UnitExpected
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import IMAGES, says_of, terms_of
from benchday.domain.seams import Personal
from benchday.domain.units import RosterRow


@dataclass(frozen=True, slots=True)
class Running:
    """How a day is run."""

    simulated: bool
    seed: int
    speed_milli: int
    program_sha256: str = ""
    """Digest over the program's own files."""


def is_under_way(state: DayState, plan: DayPlan) -> bool:
    """Tell whether the record holds this day, begun and not closed."""
    begun = state.begun
    return (
        begun is not None and state.closed is None and (begun["day"], begun["date"]) == (plan.day.day, plan.hours.date)
    )


def is_closed(state: DayState, plan: DayPlan) -> bool:
    """Tell whether the record holds this day, closed."""
    begun = state.begun or {}
    return state.closed is not None and (begun.get("day"), begun.get("date")) == (plan.day.day, plan.hours.date)


async def begin_or_take_up(
    book: Book, personal: Personal, plan: DayPlan, running: Running, others: SeenList = NOTHING_SEEN
) -> bool:
    """Record that a program runs the day; tell whether the day was under way already.

    Every permit given before is void from here on.

    Args:
        others: the newest image list that other benches of the same record have seen.

    Raises:
        InputError: the day was closed, or its image list is older than one that the record has seen.
    """
    if is_closed(book.state, plan):
        raise InputError(
            f"{plan.day.day} of {plan.hours.date} is closed already; for another day write its date into day.yaml"
        )
    under_way = is_under_way(book.state, plan)
    drafts: list[Draft] = []
    if not under_way:
        _refuse_older_images(book, plan, others)
        drafts.append(_day_begun(plan, running).draft())
    drafts += [_program(running).draft(), _anchor(book, running).draft()]
    if not under_way:
        drafts += [facts.draft() for facts in says_of(plan)]
        drafts += [facts.draft() for facts in (terms_of(plan),) if facts is not None]
        drafts.append(accepted(plan).draft())
        drafts += await expected_units(personal, plan, plan.roster, first=0)
    await book.append(*drafts)
    return under_way


def _refuse_older_images(book: Book, plan: DayPlan, others: SeenList) -> None:
    refused = older_in(plan, newest_seen(book.entries()).newer_of(others))
    if refused is not None:
        raise InputError(f"{plan.day.image_store}/{IMAGES}: {refused}")


async def expected_units(personal: Personal, plan: DayPlan, rows: Sequence[RosterRow], first: int) -> list[Draft]:
    """Return the entries for units on the roster; contacts and notes go beside the chain."""
    return [
        UnitExpected(
            model=row.model,
            customer=row.customer,
            crew=row.crew,
            role=row.role.value,
            arrives_us=plan.at_us(row.arrives) if row.arrives else None,
            promised_us=plan.at_us(row.promised) if row.promised else None,
            support_until=row.support_until,
            contact_ref=await personal.keep(row.contact) if row.contact else None,
            note_ref=await personal.keep(row.note) if row.note else None,
            position=first + number,
        ).draft(unit=row.serial)
        for number, row in enumerate(rows)
    ]


def _day_begun(plan: DayPlan, running: Running) -> DayBegun:
    return DayBegun(
        day=plan.day.day,
        date=plan.hours.date,
        opens_us=plan.at_us(plan.hours.opens),
        closes_us=plan.at_us(plan.hours.closes),
        time_zone=plan.day.time_zone,
        simulated=running.simulated,
        seed=running.seed,
        speed_milli=running.speed_milli,
    )


def _program(running: Running) -> ProgramStarted:
    return ProgramStarted(
        program=f"benchday {__version__}",
        sha256=running.program_sha256,
        python=platform.python_version(),
        sqlite=sqlite3.sqlite_version,
        pid=os.getpid(),
        host=socket.gethostname(),
    )


def _anchor(book: Book, running: Running) -> ClockAnchored:
    return ClockAnchored(at_us=book.clock.now(), wall_us=book.clock.wall(), speed_milli=running.speed_milli)
