"""In lines for a manager: the order, what would help, what if, another plan, what can be promised."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from benchday.cli.forecast_options import Further
from benchday.cli.forecast_view import COLUMNS, table
from benchday.cli.output import width, wrapped
from benchday.domain.clean import clean
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.dropping import DropOffs
from benchday.planning.forecast.fitting import Fits
from benchday.planning.forecast.promises import Promises
from benchday.planning.forecast.search import Found
from benchday.planning.forecast.what_if import Difference, Gain
from benchday.planning.wording import counted, in_percent, listed

NEVER = "-"
EARLIER = "comes 30 min earlier"
"""How the names of changes end by which a crew comes earlier."""


def gain_lines(found: Further, zone: tzinfo, at_us: int) -> Iterator[str]:
    """Yield what was found besides.

    Args:
        found: all of it.
        zone: the day's.
        at_us: day time of the model's minute 0.
    """
    if found.order is not None:
        yield from _order(found.order, zone, at_us)
    if found.would_help:
        yield from _would_help(found)
    if found.what_if:
        yield from _what_if(found)
    if found.against is not None:
        yield from _against(found.against, found.replications)
    if found.promises is not None:
        yield from _promises(found.promises, zone)
    if found.drop_offs is not None:
        yield from _drop_offs(found.drop_offs, zone)
    if found.fits is not None:
        yield from _fits(found.fits)


def _order(found: Found, zone: tzinfo, at_us: int) -> Iterator[str]:
    yield "\nThe order in which units go first where they ask for the same"
    tried = f"{counted(found.evaluations, 'order')} tried, compared on {found.draws} drawn days"
    if not found.order:
        yield _wrapped(f"as they come: nothing better was found; {tried}")
        return
    ends = (clock(at_us + round(60e6 * minutes), zone) for minutes in (found.end_minutes, found.first_come_end_minutes))
    late = f"promises are missed by {found.late_minutes:.0f} min in the mean instead of {found.first_come.late:.0f}"
    left = ""
    if found.objective.left_out or found.first_come.left_out:
        left = (
            f", {found.objective.left_out:.1f} units are left out at closing instead of {found.first_come.left_out:.1f}"
        )
    yield _wrapped("{} in 80 of 100 days instead of {} as they come, {}{}; {}".format(*ends, late, left, tried))
    if found.gap is not None:
        yield _wrapped(f"its end is in the mean at most {100 * found.gap:.1f} % above the best possible, on those days")
    yield _wrapped(f"{', '.join(found.order)}")
    yield _wrapped("everything else here is told in this order")


def _would_help(found: Further) -> Iterator[str]:
    yield "\nWhat would help most: how much earlier everything is done"
    helps = [gain for gain in found.would_help if not gain.buys_nothing]
    if helps:
        yield from table(gain_rows(helps, found.currency))
    nothing = [clean(gain.name) for gain in found.would_help if gain.buys_nothing]
    if nothing:
        yield _wrapped(f"Buys nothing that can be told from chance: {listed(_shortened(nothing))}.")
    yield from _how(found.replications)


def _shortened(names: Sequence[str]) -> list[str]:
    """Return the names with those of several crews as one."""
    crews = [name for name in names if name.endswith(EARLIER)]
    if len(crews) < 3:
        return list(names)
    return [*(name for name in names if name not in crews), f"any of {len(crews)} crews 30 min earlier"]


def _what_if(found: Further) -> Iterator[str]:
    yield "\nWhat if: how much earlier everything is done"
    yield from table(gain_rows(found.what_if, found.currency))
    for gain in found.what_if:
        if gain.buys_nothing:
            yield _wrapped(f"{clean(gain.name)}: buys nothing that can be told from chance.")
    yield from _how(found.replications)


def _how(replications: int) -> Iterator[str]:
    yield _wrapped(
        f"Minutes at 50 and 80 of 100 days with twice their standard error, on {replications} days with the same "
        "chances, to the end of all work."
    )


def gain_rows(gains: Sequence[Gain], currency: str | None) -> list[tuple[str, ...]]:
    """Return what changes gain as rows, the heads first."""
    priced = currency is not None and any(gain.cost is not None for gain in gains)
    more = ("cost", f"min/{currency}") if priced else ()
    rows: list[tuple[str, ...]] = [("", "50 %", "80 %", "less late", "begun", *more)]
    for gain in gains:
        money = (_amount(gain.cost), _amount(gain.minutes_per_money)) if priced else ()
        cells = (_minutes(gain.p50), _minutes(gain.p80), _late(gain), _begun(gain), *money)
        rows.append((clean(gain.name), *cells))
    return rows


def _minutes(found: Difference) -> str:
    return f"{_rounded(found.value)} +-{2 * found.error:.0f}"


def _rounded(value: float) -> str:
    return f"{round(value) or 0:d}"


def _late(gain: Gain) -> str:
    return f"{_rounded(gain.late.value)}" if gain.late.value or gain.late.error else NEVER


def _begun(gain: Gain) -> str:
    return f"{gain.begun.value:+.1f}" if gain.begun.value else NEVER


def _amount(value: float | None) -> str:
    return NEVER if value is None else f"{value:.2f}".rstrip("0").rstrip(".")


def _against(gain: Gain, replications: int) -> Iterator[str]:
    yield "\nAgainst the other plan: how much earlier that one is done"
    yield _wrapped(clean(gain.name))
    rows: list[tuple[str, ...]] = [("", "50 %", "80 %")]
    rows.append(("everything", _minutes(gain.p50), _minutes(gain.p80)))
    rows += [(clean(title), "", _minutes(found)) for title, found in gain.crews.items()]
    yield from table(rows)
    if gain.begun.value:
        yield _wrapped(f"{gain.begun.value:+.1f} units are begun before closing.")
    if gain.late.value:
        yield _wrapped(f"Promises are missed by {abs(gain.late.value):.0f} min {_less(gain.late.value)}.")
    yield from _how(replications)


def _less(value: float) -> str:
    return "less" if value > 0 else "more"


def _promises(found: Promises, zone: tzinfo) -> Iterator[str]:
    yield f"\nWhat can be promised, each with {100 * found.probability:g} %"
    rows = [("", "ready by", "holds")]
    for crew in found.crews:
        by = "not today" if crew.at_us is None else clock(crew.at_us, zone)
        rows.append((clean(crew.title), by, in_percent(crew.holds)))
    yield from table(rows)
    yield _wrapped(f"All of these hold together in {100 * found.together:.0f} of 100 days.")


def _drop_offs(found: DropOffs, zone: tzinfo) -> Iterator[str]:
    yield "\nWhen crews might come instead"
    if not found.crews:
        yield "  as they do: later, something would be ready later"
        return
    for crew in found.crews:
        yield _wrapped(f"{clean(crew.title)} from {clock(crew.at_us, zone)} on, {crew.later:.0f} min later")
    yield _wrapped(
        f"Their units are then {found.saved:.0f} min less in the house, all together, and no crew is ready more than "
        "two minutes later, in 80 of 100 days."
    )


def _fits(found: Fits) -> Iterator[str]:
    yield "\nHow many units the day holds"
    sure = f"in at least {100 * found.probability:g} of 100 days"
    if not found.units:
        yield _wrapped(f"not one of this mix is done by closing {sure}")
        return
    more = " or more" if found.more else ""
    share = f"{100 * found.share:.0f} of 100 with just so many"
    yield _wrapped(f"{counted(found.units, 'unit')}{more} of this mix, all done by closing {sure} ({share})")


def _wrapped(text: str) -> str:
    return wrapped(text, "  ", "  ", columns=min(width(), COLUMNS))
