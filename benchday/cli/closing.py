"""Closing a day: what stands against it, and what has to be said; pure functions of the state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchday.domain.fold import DayState
from benchday.domain.kinds import DayClosed
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.story import UnitStory

_GONE = (State.HANDED_BACK, State.ABSENT, State.EXPECTED, State.UNKNOWN)


@dataclass(slots=True)
class Answers:
    """What a person says at closing."""

    overnight: dict[str, str] = field(default_factory=dict)
    """Serial -> where it stays."""
    packs_off: bool | None = None
    cables_counted: bool = False
    missing_cables: frozenset[str] = frozenset()
    words: str | None = None


def against(state: DayState) -> list[str]:
    """Return what stands against closing, whatever is answered: units on stations, writes that have not ended."""
    found = []
    for story in state.units.values():
        if story.open_act is not None:
            found.append(
                f"unit {story.serial}: its {story.open_act.verb} has begun and not ended; run the day and settle it"
            )
        elif story.station is not None or story.on_station:
            where = f"on station {story.station}" if story.station else f"in {story.state.value}"
            found.append(
                f"unit {story.serial} is {where} ({story.state.value}); run the day and finish it or set it aside"
            )
        elif story.state is State.CHARGING:
            found.append(f"unit {story.serial} is on a charger; run the day and take it off")
    return found


def stays(state: DayState) -> list[UnitStory]:
    """Return the units that are in the house and will stay overnight."""
    return [s for s in state.units.values() if s.state not in _GONE and not s.taken]


def never_came(state: DayState) -> list[UnitStory]:
    """Return the expected units that were neither checked in nor marked absent."""
    return [s for s in state.units.values() if s.state is State.EXPECTED]


def unanswered(state: DayState, plan: DayPlan, answers: Answers) -> list[str]:
    """Return what has still to be said, and how."""
    missing = [
        f"where does unit {s.serial} ({s.model}, {s.state.value}) stay overnight? (--overnight {s.serial}=WHERE)"
        for s in stays(state)
        if not answers.overnight.get(s.serial)
    ]
    if answers.packs_off is None:
        missing.append("are all packs off the chargers? (--packs-off)")
    elif not answers.packs_off:
        missing.append("packs are still on chargers: nothing charges overnight; take them off, then --packs-off")
    if plan.bench.cables and not answers.cables_counted:
        missing.append(
            "are the cables counted? (--cables-counted, and --missing-cable NUMBER for each that is not there)"
        )
    return missing


def mistakes(state: DayState, plan: DayPlan, answers: Answers) -> list[str]:
    """Return what was said of units and cables that are not there."""
    here = {s.serial for s in stays(state)}
    numbers = {c.number for c in plan.bench.cables}
    found = [
        f"--overnight {serial}: no such unit stays in the house" for serial in answers.overnight if serial not in here
    ]
    return found + [
        f"--missing-cable {number}: bench.yaml has no such cable; cables: {', '.join(sorted(numbers))}"
        for number in sorted(answers.missing_cables - numbers)
    ]


def day_closed(plan: DayPlan, answers: Answers) -> DayClosed:
    """Return the entry that closes the day."""
    return DayClosed(
        overnight=[{"serial": serial, "where": where} for serial, where in answers.overnight.items()],
        packs_off_chargers=bool(answers.packs_off),
        cables_counted=[
            {"number": c.number, "present": c.number not in answers.missing_cables} for c in plan.bench.cables
        ],
        words=answers.words or "",
    )


def overnight_of(pairs: tuple[str, ...]) -> tuple[Mapping[str, str], list[str]]:
    """Read SERIAL=WHERE pairs; returns what they say, and what is wrong with the others."""
    read, wrong = {}, []
    for pair in pairs:
        serial, equals, where = pair.partition("=")
        if equals and serial.strip() and where.strip():
            read[serial.strip()] = where.strip()
        else:
            wrong.append(f"--overnight {pair}: expected SERIAL=WHERE, like 007421530018=hold shelf")
    return read, wrong
