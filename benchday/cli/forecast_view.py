"""A forecast in lines for a manager: when it ends, whom to promise what, what is waited for, what it supposes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import tzinfo

from benchday.cli.foreknown import Foreknown
from benchday.cli.output import width, wrapped
from benchday.domain.bench import Instruments
from benchday.domain.clean import clean
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.assumptions import assumptions
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.telling import Bottleneck, By, CannotBegin, CrewTold, Told, When, pool_words
from benchday.planning.wording import counted, in_percent, listed

HEADS = ("", "50 %", "80 %", "95 %", "promised", "kept")
NEVER = "-"
COLUMNS = 80


def lines(
    basis: Foreknown, compiled: Compiled, told: Told, drawn: Iterable[str] = (), further: Iterable[str] = ()
) -> Iterator[str]:
    """Yield the forecast of a day.

    Args:
        basis: what it rests on.
        compiled: the model.
        told: what came of it.
        drawn: the stations over time, as lines.
        further: what was found besides, as lines.
    """
    plan, zone = basis.plan, basis.plan.zone
    simulated = "  SIMULATED" if plan.day.instruments is Instruments.SIMULATED else ""
    yield f"{clean(plan.day.day)}, {plan.hours.date}{simulated}"
    under_way = f"under way, as it stood at {clock(told.at_us, zone)}; " if basis.state is not None else ""
    closed = "closed in the record, and forecast as if it had not begun; " if basis.closed else ""
    units = counted(len(compiled.model.units), "unit")
    yield _wrapped(f"{under_way}{closed}{units}, {told.replications} days drawn with seed {compiled.model.seed}")
    yield ""
    yield from _end(told, zone)
    yield ""
    yield from drawn
    yield from _crews(told.crews, zone)
    yield from _bottleneck(told.bottleneck, zone)
    yield from _cannot(told.cannot)
    yield from further
    yield "\nWhat this supposes"
    for text in assumptions(plan, basis.known, compiled, basis.steps):
        yield _wrapped(f"- {clean(text)}", "    ", "  ")


def model_lines(outcomes: Outcomes) -> Iterator[str]:
    """Yield what came of a model from a file, minutes."""
    spread = outcomes.makespan
    yield f"{counted(len(outcomes.model.units), 'unit')}, {counted(outcomes.replications, 'day')} run"
    yield f"makespan  mean {_minutes(spread.mean)}, sd {spread.sd:.1f} min"
    for share in outcomes.model.quantiles:
        yield f"          {100 * share:g} % by {_minutes(spread.quantile(share))}"
    yield f"late      {outcomes.late_units().mean or 0:.2f} units, {_minutes(outcomes.tardiness().mean)} together"
    rows: list[tuple[str, ...]] = [("unit", "50 %", "80 %", "95 %", "late", "not begun")]
    for unit in outcomes.units():
        quantiles = (_minutes(unit.finish.quantile(share)) for share in (0.5, 0.8, 0.95))
        rows.append((unit.id, *quantiles, in_percent(unit.late_probability), in_percent(unit.not_begun)))
    yield from table(rows)


def _end(told: Told, zone: tzinfo) -> Iterator[str]:
    fifty, eighty, ninety_five = _times(told.end, zone)
    without = "Without what cannot be begun, the" if told.cannot else "The"
    yield _wrapped(
        f"{without} day ends by {fifty} as likely as not, by {eighty} in 80 of 100 days, by {ninety_five} in 95 of 100."
    )
    for by in told.by:
        yield f"  {_by(by, zone)}"


def _by(by: By, zone: tzinfo) -> str:
    closing = ", when the day closes" if by.closing else ""
    return f"everything done by {clock(by.at_us, zone)}{closing}: {in_percent(by.share)}"


def _crews(crews: Sequence[CrewTold], zone: tzinfo) -> Iterator[str]:
    if not crews:
        return
    yield "\nAll units of a crew are ready, of those that come"
    rows = [HEADS]
    for crew in crews:
        promised = NEVER if crew.promised_us is None else clock(crew.promised_us, zone)
        kept = NEVER if crew.kept is None else in_percent(crew.kept)
        rows.append((f"{clean(crew.title)} ({len(crew.units)})", *_times(crew.ready, zone), promised, kept))
    yield from table(rows)


def _times(when: When, zone: tzinfo) -> tuple[str, str, str]:
    fifty, eighty, ninety_five = (
        NEVER if us is None else clock(us, zone) for us in (when.p50_us, when.p80_us, when.p95_us)
    )
    return fifty, eighty, ninety_five


def _bottleneck(found: Bottleneck | None, zone: tzinfo) -> Iterator[str]:
    yield "\nWhat is waited for"
    if found is None:
        yield "  nothing for long"
        return
    when = listed(f"{clock(start, zone)} to {clock(end, zone)}" for start, end in found.full_us)
    full = f"; nearly all in use from {when}" if found.full_us else ""
    waits = f"whoever asks waits {found.wait:.0f} min, all together {found.waiting:.0f} min in a day"
    yield _wrapped(f"{pool_words(found.pool, found.count)}: {waits}{full}", "  ", "  ")


def _cannot(cannot: Sequence[CannotBegin]) -> Iterator[str]:
    if not cannot:
        return
    yield "\nCannot be begun, or not brought to an end"
    for unit in cannot:
        often = "" if unit.share >= 1 else f" in {in_percent(unit.share)} of days"
        yield _wrapped(f"{'!' if unit.stops else '-'} {unit.serial}{often}: {clean(unit.reason)}", "    ", "  ")


def table(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield rows as lines of a table, figures to the right."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    # The first column gives way, so that the figures stay on one line.
    widths[0] = min(widths[0], COLUMNS - 2 - sum(w + 2 for w in widths[1:]))
    for first, *cells in rows:
        name = first if len(first) <= widths[0] else f"{first[: widths[0] - 3]}..."
        figures = "".join(f"  {cell.rjust(w)}" for cell, w in zip(cells, widths[1:], strict=True))
        yield f"  {name.ljust(widths[0])}{figures}".rstrip()


def _wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    return wrapped(text, indent, first, columns=min(width(), COLUMNS))


def _minutes(minutes: float | None) -> str:
    return NEVER if minutes is None else f"{minutes:.1f} min"
