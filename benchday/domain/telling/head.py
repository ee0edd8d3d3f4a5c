"""The head of a unit's log: who it is, what it had and has, and how it ended."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchday.domain.account import account
from benchday.domain.clean import clean
from benchday.domain.entries import Entry
from benchday.domain.errors import IllegalMove
from benchday.domain.fold import DayState
from benchday.domain.story import UnitStory
from benchday.domain.telling.figures import local, short, size
from benchday.domain.telling.of_units import pool_in_words
from benchday.domain.telling.told import Telling


def head(entries: Sequence[Entry], telling: Telling, serial: str) -> tuple[tuple[str, str], ...]:
    """Return the summary of the last day in which the unit was there."""
    state = _fold(entries)
    story = state.units.get(serial)
    if story is None:
        return (("unit", clean(serial)),)
    rows = [*_who(story, state), *_releases(story), *_joined(entries), *_programs(entries, telling), *_kept(story)]
    rows += _times(story, telling)
    bench = entries[-1].bench
    rows += [("account", line) for line in account(story, telling.zone, bench)]
    return tuple((label, clean(value)) for label, value in rows)


def _fold(entries: Iterable[Entry]) -> DayState:
    state = DayState()
    for entry in entries:
        try:
            state.apply(entry)
        except (IllegalMove, KeyError):
            # A log tells what stands in the record, also where that should never have come about.
            continue
    return state


def _who(story: UnitStory, state: DayState) -> list[tuple[str, str]]:
    reason = f": {story.held_reason}" if story.held_reason else f": {story.not_today}" if story.not_today else ""
    begun = state.begun or {}
    return [
        ("unit", f"{story.serial}, {story.model}, {story.customer or 'no customer'}"),
        ("set", f"crew {story.crew or 'none'}, role {story.role}"),
        ("day", f"{begun.get('day', '')} ({begun.get('date', '')})"),
        ("outcome", story.state.value + reason),
    ]


def _joined(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """Tell by which cable or adapter the unit was served on its last day."""
    last = max((n for n, e in enumerate(entries) if e.kind == "day_begun"), default=0)
    granted = [e.facts for e in entries[last:] if e.kind == "place_granted"]
    by = [f"{pool_in_words(f['pool'])} {f['place']}" for f in granted if f["pool"] not in ("station", "charger")]
    return [("joined by", ", then ".join(dict.fromkeys(by)))] if by else []


def _releases(story: UnitStory) -> list[tuple[str, str]]:
    wrote = f"written: {', then '.join(story.writes)}" if story.writes else "not written"
    rows = [("release", f"{story.had or 'none'} before, {story.has or 'none'} now; {wrote}")]
    if story.target is not None or story.target_reason:
        rows.append(("target", f"{story.target or 'none'}: {story.target_reason}"))
    rows.append(("permits", str(story.permits)))
    return rows


def _programs(entries: Sequence[Entry], telling: Telling) -> list[tuple[str, str]]:
    rows = []
    started = [e.facts for e in entries if e.kind == "program_started"]
    programs = list(dict.fromkeys(f"{f['program']}, SHA-256 {short(f['sha256'])}" for f in started))
    if programs:
        rows.append(("program", "; ".join(programs)))
    used = dict.fromkeys(e.facts["permit"]["playbook_digest"] for e in entries if e.kind == "permit_given")
    rows += [("playbook", f"{telling.playbooks.get(d, '')} SHA-256 {short(d)}".strip()) for d in used]
    images = {e.facts["digest"]: e.facts for e in entries if e.kind == "act_spent" and e.facts["release"]}
    rows += [("image", f"release {f['release']}, {size(f['bytes'])}, SHA-256 {short(d)}") for d, f in images.items()]
    return rows


def _kept(story: UnitStory) -> list[tuple[str, str]]:
    rows = [
        ("preserved", f"{name}, {size(kept['bytes'])}, SHA-256 {short(kept['sha256'])}")
        for name, kept in story.preserved.items()
    ]
    rows += [("let go", f"{name}, {size(gone['bytes'])}: LOST FOR GOOD") for name, gone in story.let_go.items()]
    return rows or [("preserved", "nothing")]


def _times(story: UnitStory, telling: Telling) -> list[tuple[str, str]]:
    named = (("arrived", story.arrived_us), ("first on a station", story.begun_us), ("ready", story.ready_us))
    return [(label, local(at, telling.zone)) for label, at in named if at is not None]
