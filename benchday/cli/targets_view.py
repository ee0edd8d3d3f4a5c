"""The targets of a day as lines: per crew and unit, what renewals would buy, what needs a person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchday.cli.output import width, wrapped
from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.clean import clean
from benchday.domain.plan import DayPlan
from benchday.planning.before_day import Before
from benchday.planning.target import Target, UnitNow
from benchday.planning.wording import counted

CSV = (
    "crew", "serial", "model", "role", "now", "target", "route", "erases", "reason_code", "reason", "support_until",
    "support_term_source", "asks", "stops",
)  # fmt: skip
NO_CREW = "Without a crew"


def lines(plan: DayPlan, before: Before, *, simulated: bool, known: bool) -> Iterator[str]:
    """Yield the three tables.

    Args:
        plan: the day's inputs.
        before: what was worked out.
        simulated: the instruments do not exist.
        known: there is a record, so that releases may be known from earlier days.
    """
    mark = "  SIMULATED" if simulated else ""
    yield f"{clean(plan.day.day)}, {before.on}{mark}: {_summary(before)}"
    unread = sum(unit.release is None for unit in before.units)
    if unread:
        never = "no earlier day has read it" if known else "there is no record yet"
        yield wrapped(f"? on {counted(unread, 'unit')}: what runs on it is read on the day, {never}.", "  ", "")
    yield from _units(before)
    yield from _renewals(before)
    yield from _decisions(before)
    yield from _ending(before)


def rows(before: Before) -> Iterator[tuple[str, ...]]:
    """Yield a row of the CSV for each unit."""
    for unit, term, target in zip(before.units, before.terms, before.found, strict=True):
        yield (
            unit.crew,
            unit.serial,
            unit.model,
            unit.role.value,
            unit.release or "",
            target.release or "",
            " > ".join(target.route),
            "; ".join(target.erases),
            target.reason_code.value,
            target.reason,
            unit.support_until or "",
            term.source.value if term.source is not None else "",
            "; ".join(f.text for f in target.findings if f.answer is Answer.ASK),
            "; ".join(f.text for f in target.findings if f.answer is Answer.STOP),
        )


def _summary(before: Before) -> str:
    writes = sum(len(t.route) for t in before.found)
    stay = sum(not t.route for t in before.found)
    return f"{counted(len(before.units), 'unit')}, {counted(writes, 'write')}, {stay} to stay as they are"


def _units(before: Before) -> Iterator[str]:
    pairs = list(zip(before.units, before.found, strict=True))
    wide = [
        max((len(text(u, t)) for u, t in pairs), default=0)
        for text in (lambda u, _: u.serial, lambda u, _: u.model, lambda u, _: u.role.value, _way)
    ]
    for crew in dict.fromkeys(sorted((u.crew for u, _ in pairs), key=lambda c: (not c, c))):
        yield f"\n{clean(crew) or NO_CREW}"
        for unit, target in pairs:
            if unit.crew == crew:
                yield from _unit(unit, target, wide)


def _unit(unit: UnitNow, target: Target, wide: Sequence[int]) -> Iterator[str]:
    columns = (unit.serial, unit.model, unit.role.value, _way(unit, target))
    head = "  ".join(f"{clean(text):<{size}}" for text, size in zip(columns, wide, strict=True))
    erases = f" (erases {', '.join(target.erases)})" if target.route and target.erases else ""
    text = f"{clean(target.reason)}{erases}"
    indent = " " * (len(head) + 4)
    if len(indent) > width() // 2:
        yield f"  {head.rstrip()}"
        yield wrapped(text, "      ")
    else:
        yield wrapped(text, indent, f"  {head}  ")
    for finding in target.findings:
        if finding.answer is not Answer.CLEAR and not _read_on_the_day(unit, finding):
            yield wrapped(f"{finding.answer.value.upper()}: {clean(finding.text)}", "           ", "      ")


def _read_on_the_day(unit: UnitNow, finding: Finding) -> bool:
    """Tell whether a finding only says that a release is not known yet, which the question mark and the head say."""
    return finding.check is Check.ROUTE and finding.answer is Answer.ASK and unit.release is None


def _way(unit: UnitNow, target: Target) -> str:
    now = unit.release or ("boot loader" if unit.in_boot else "?")
    if not target.route:
        return f"{now} stays" if unit.release and target.release == unit.release else f"{now} -> nothing"
    return " -> ".join((now, *target.route)) + (" (BACK)" if target.back else "")


def _renewals(before: Before) -> Iterator[str]:
    yield "\nWhat renewing support terms would buy"
    if not before.renewals:
        yield "  nothing: no unit is kept back by its support term"
    for r in before.renewals:
        ends = "; ".join(f"{serial} {r.otherwise[serial] or '?'} -> {release}" for serial, release in r.then.items())
        whole = ", the whole crew" if r.crews else ""
        head = f"  {clean(r.name)}: {counted(r.units, 'unit')} more on the newest release{whole}, by renewing "
        yield wrapped(f"{', '.join(r.renew)} ({ends})", "      ", head)


def _decisions(before: Before) -> Iterator[str]:
    yield "\nWhat needs a person"
    if not before.decisions:
        yield "  nothing"
    for d in before.decisions:
        whose = "" if d.crew is not None else f" {clean(', '.join(d.units))}:"
        yield wrapped(f"{d.answer.value.upper()}{whose} {clean(d.question)}", "      ", "  ")
        if d.set_question is not None:
            for option in d.set_question.options:
                yield wrapped(f"- {option.choice.value}: {clean(option.text)}", "        ", "      ")
        elif d.clears:
            yield wrapped(f"until {clean(d.clears)}", "        ", "      ")


def _ending(before: Before) -> Iterator[str]:
    if before.ending:
        yield "\nSupport terms that end within 90 days: tell the customers"
        for unit, days in sorted(before.ending, key=lambda pair: (pair[1], pair[0].serial)):
            whose = clean(unit.crew) or "no crew"
            yield f"  {unit.support_until}  {clean(unit.serial)} ({whose}), in {counted(days, 'day')}"
