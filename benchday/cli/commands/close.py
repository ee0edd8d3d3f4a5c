"""close: the end of the day; every unit accounted for, packs off, cables counted."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import anyio

from benchday.cli.closing import Answers, against, day_closed, mistakes, never_came, overnight_of, stays, unanswered
from benchday.cli.commands.run import known_operator
from benchday.cli.conduct import complain
from benchday.cli.exits import Exit
from benchday.cli.output import print_document
from benchday.domain.clean import clean
from benchday.domain.errors import InputError, RecordError
from benchday.domain.fold import DayState, fold
from benchday.domain.kinds import ProgramStopped, UnitAbsent
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.record.place import record_folder
from benchday.record.reading import open_reader
from benchday.wiring import RunOptions, opened

DID_NOT_COME = "it did not come by the closing of the day"


@dataclass(frozen=True, slots=True)
class Said:
    """What was said on the command line."""

    overnight: tuple[str, ...]
    packs_off: bool | None
    missing_cables: tuple[str, ...]
    words: str | None
    cables_counted: bool


def close(folder: Path, operator: str, said: Said, record: Path | None, *, as_json: bool) -> int:
    """Close the day, asking for what was not said.

    Raises:
        InputError: what was said cannot be used.
        RecordError: the day was never begun, or another program runs it.
    """
    plan = load_day(folder)
    known_operator(operator, plan)
    answers = _answers(said)
    state = _state(record_folder(folder, plan.day.record, record), plan)
    if state.closed is not None:
        _tell([], state.closed["overnight"], as_json=as_json, text="The day is closed already; nothing was changed.")
        return Exit.DONE
    wrong = mistakes(state, plan, answers)
    if wrong:
        raise InputError("\n".join(wrong))
    standing = against(state)
    if standing:
        _tell(standing, [], as_json=as_json, text="The day cannot be closed:")
        return Exit.HELD
    if sys.stdin.isatty() and not as_json:
        _ask(state, plan, answers)
    missing = unanswered(state, plan, answers)
    if missing:
        _tell(missing, [], as_json=as_json, text="The day is not closed; this has to be said:")
        return Exit.NOBODY
    anyio.run(_close, folder, plan, record, operator, answers)
    overnight = [{"serial": serial, "where": where} for serial, where in answers.overnight.items()]
    _tell([], overnight, as_json=as_json, text=f"The day is closed by {operator}.")
    return Exit.DONE


def _answers(said: Said) -> Answers:
    overnight, wrong = overnight_of(said.overnight)
    if wrong:
        raise InputError("\n".join(wrong))
    counted = said.cables_counted or bool(said.missing_cables)
    return Answers(dict(overnight), said.packs_off, counted, frozenset(said.missing_cables), said.words)


def _state(record: Path, plan: DayPlan) -> DayState:
    with open_reader(record) as reader:
        state = fold(reader.read(plan.bench.bench))
    begun = state.begun
    if begun is None or (begun["day"], begun["date"]) != (plan.day.day, plan.hours.date):
        raise RecordError(f"the record at {record} holds no day {plan.day.day} of {plan.hours.date}; run it first")
    return state


async def _close(folder: Path, plan: DayPlan, record: Path | None, operator: str, answers: Answers) -> None:
    async with opened(folder, plan, RunOptions(record=record, watch=False)) as (tools, _):
        book = tools.book
        standing = against(book.state) + unanswered(book.state, plan, answers)
        if standing:
            raise RecordError("the day changed meanwhile: " + "; ".join(standing))
        drafts = [
            UnitAbsent(reason=DID_NOT_COME).draft(unit=s.serial, operator=operator) for s in never_came(book.state)
        ]
        drafts.append(day_closed(plan, answers).draft(operator=operator))
        drafts.append(ProgramStopped(why="closed").draft())
        await book.append(*drafts)


def _ask(state: DayState, plan: DayPlan, answers: Answers) -> None:
    """Ask a person at the terminal for what the command line left open."""
    for story in never_came(state):
        print(clean(f"Unit {story.serial} ({story.model}) did not come; it will be marked absent."))
    for story in stays(state):
        while not answers.overnight.get(story.serial):
            question = f"Unit {story.serial} ({story.model}, {story.state.value}) stays overnight. Where? "
            answers.overnight[story.serial] = input(clean(question)).strip()
    if answers.packs_off is None:
        answers.packs_off = _yes("All packs off the chargers, nothing charging?")
    if plan.bench.cables and not answers.cables_counted:
        numbers = ", ".join(c.number for c in plan.bench.cables)
        typed = input(f"Cables of this bench: {numbers}. Count them; which are missing (with commas, Enter for none)? ")
        answers.missing_cables = _numbers(typed, plan)
        answers.cables_counted = True
    if answers.words is None:
        answers.words = input("Anything to note (Enter for nothing)? ").strip()


def _numbers(typed: str, plan: DayPlan) -> frozenset[str]:
    said = frozenset(n.strip() for n in typed.split(",") if n.strip())
    unknown = said - {c.number for c in plan.bench.cables}
    if unknown:
        raise InputError(f"this bench has no cable {', '.join(sorted(unknown))}; nothing was closed")
    return said


def _yes(question: str) -> bool:
    while True:
        typed = input(f"{question} (y or n) ").strip().lower()
        if typed in ("y", "yes", "n", "no"):
            return typed.startswith("y")


def _tell(standing: list[str], overnight: list[dict[str, str]], *, as_json: bool, text: str) -> None:
    if as_json:
        print_document("close", {"closed": not standing, "against": standing, "overnight": overnight})
    elif standing:
        complain("\n  ".join([text, *standing]))
    else:
        print(text)
        for unit in overnight:
            print(clean(f"  unit {unit['serial']} stays overnight: {unit['where']}"))
