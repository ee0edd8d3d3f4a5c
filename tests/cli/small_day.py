"""A small day at a real desk: one unit being written, one to confirm, others expected. Runs as a program too."""

from __future__ import annotations

import re
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import anyio

from benchday.bench.conversations import Conversations
from benchday.bench.desk import BenchDesk
from benchday.bench.permit_desk import Confirmation
from benchday.bench.serving import Tools
from benchday.bench.ticks import Tick
from benchday.cli.terminal.serve import face_for
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import PlaceGranted, StepBegun, UnitArrived
from benchday.domain.kinds_unit import CheckedIn
from benchday.domain.permits import Act, Loss, Verb
from benchday.domain.playbook import StepName
from benchday.domain.units import Ability
from benchday.inputs.day import load_day
from benchday.wiring import RunOptions, opened

OPERATOR = "Ines Halloran"
WRITTEN, CONFIRMED, EXPECTED = "007421530018", "WS-41-00297", "007421530104"
EVIL = "\x1b[2J\x1b]0;owned\x07"
"""What a unit might say to steer the terminal."""
STEPS = ("connect", "identify", "check", "preserve", "confirm", "write")


@dataclass(slots=True)
class SmallDay:
    """The day and what a test looks at."""

    tools: Tools
    desk: BenchDesk
    stops: int = 0

    def stop(self) -> str:
        """Count a stop."""
        self.stops += 1
        return f"No new step begins (stop {self.stops})."


@asynccontextmanager
async def small_day(folder: Path, *, more_items: int = 0) -> AsyncIterator[SmallDay]:
    """Begin the day of a folder and bring it to its interesting moment."""
    _all_come_late(folder / "roster.csv")
    plan = load_day(folder)
    async with opened(folder, plan, RunOptions(speed_milli=1000, watch=False)) as (tools, _):
        talks = Conversations(tools)
        day = SmallDay(tools, BenchDesk(tools, talks, lambda: ""))
        day.desk = BenchDesk(tools, talks, day.stop)
        await _on_station(tools, WRITTEN, "S1", STEPS)
        await _on_station(tools, CONFIRMED, "S2", STEPS[:-1])
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(talks.run)
            tasks.start_soon(tools.desk.confirm, _confirmation())
            for number in range(more_items):
                tasks.start_soon(tools.queue.ask, _item(number))
            await tools.book.until(lambda: len(day.desk.items()) >= more_items + 1)
            yield day
            tasks.cancel_scope.cancel()


def _all_come_late(roster: Path) -> None:
    """Let nobody be due, so that a test knows which items there are."""
    text = roster.read_text(encoding="utf-8")
    roster.write_text(re.sub(r",\d\d:\d\d,(\d\d:\d\d)?,", ",16:00,,", text), encoding="utf-8")


async def _on_station(tools: Tools, unit: str, station: str, steps: tuple[str, ...]) -> None:
    came = CheckedIn(
        brought_by_ref=None,
        condition_ref=None,
        missing=[],
        consent_release=True,
        consent_erase=True,
        consent_copy=True,
        keep_days=30,
        charge_percent=80,
    )
    drafts = [UnitArrived(checked_in=came).draft(unit=unit)]
    drafts.append(PlaceGranted(pool="station", place=station).draft(unit=unit, station=station))
    drafts += [StepBegun(step=s, tries=1, expected_us=960_000_000).draft(unit=unit, station=station) for s in steps]
    await tools.book.append(*drafts)


def _confirmation() -> Confirmation:
    return Confirmation(
        unit=CONFIRMED,
        station="S2",
        model="Weirstone",
        hardware="B",
        acts=(Act(Verb.WRITE_IMAGE, "ab" * 32, 400_000, "2.10"),),
        losses=(Loss(f"SITE001{EVIL}.rnx", 62_000, "cd" * 32), Loss("SITE002.rnx", 41_000, None)),
        playbook_digest="ef" * 32,
        lines=("From 2.9 to 2.10: the newest release.", "CAUTION Do not disturb it."),
        cautions=(),
    )


def _item(number: int) -> Item:
    return Item(
        id="",
        kind=ItemKind.EVIDENCE,
        topic=f"look {number}",
        text=f"Look at shelf {number} and say what is there.",
        wanted=(
            Wanted("count", "how many packs", WantedKind.INTEGER, unit="packs", lowest=0, highest=40),
            Wanted("sort", "what sort", WantedKind.CHOICE, ("large", "small")),
            Wanted("note", "anything to note", required=False),
        ),
        ability=Ability.LAST_LOOK,
        safety=number == 0,
    )


async def _tick(day: SmallDay) -> None:
    """Tell progress ten times a second, with news each time, as a busy bench does."""
    ticks, first, done = day.tools.ticks, day.desk.now(), 0
    while True:
        done = (done + 1) % 1000
        ticks.now[WRITTEN] = Tick(StepName.WRITE, "sending", done, 1000, day.desk.now(), first)
        day.tools.book.nudge()
        await anyio.sleep(0.1)


async def _main(folder: Path, more_items: int) -> None:
    async with small_day(folder, more_items=more_items) as day:
        for caution in await day.desk.act_as(OPERATOR, "person"):
            await day.desk.acknowledge(caution, OPERATOR)
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(_tick, day)
            await face_for(OPERATOR, quiet=False).serve(day.desk)
            tasks.cancel_scope.cancel()


if __name__ == "__main__":
    anyio.run(_main, Path(sys.argv[1]), int(sys.argv[2]))
