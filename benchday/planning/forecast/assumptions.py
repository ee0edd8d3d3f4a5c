"""What a forecast supposes, in sentences: whoever reads a chance should know what it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.domain.plan import DayPlan
from benchday.planning.forecast.habits import NOT_COMING, USUALLY_LATE
from benchday.planning.forecast.modelling import Compiled, Known, crew_title
from benchday.planning.wording import counted, listed


def assumptions(plan: DayPlan, known: Known, compiled: Compiled, steps: int) -> tuple[str, ...]:
    """Return the assumptions.

    Args:
        plan: the day's inputs.
        known: what the forecast rests on.
        compiled: the model.
        steps: how many steps of earlier real days durations were learnt from.
    """
    operators = counted(len(plan.bench.operators), "operator")
    return (
        _durations(steps),
        *_coming(plan, known, compiled),
        *_units(plan, known),
        f"{operators} from opening to closing but for the breaks; whoever is free does what is next",
        "check-in, hand-back, and what a person decides take no hands; nothing fails, and nobody is held",
        *_gates(compiled),
    )


def _durations(steps: int) -> str:
    if not steps:
        return "durations by the playbooks alone: no earlier real day of this record tells any"
    return f"durations learnt from {counted(steps, 'step')} of earlier days, and by the playbooks"


def _coming(plan: DayPlan, known: Known, compiled: Compiled) -> Iterator[str]:
    coming = [row for row in plan.roster if row.serial in compiled.not_coming]
    if not coming:
        return
    own = sorted({crew_title(r.crew, r.customer) for r in coming if known.habits.known(r.customer, r.crew)})
    usual = f"{USUALLY_LATE.shortest:g} to {USUALLY_LATE.longest:g} min late, mostly about {USUALLY_LATE.usual:g}"
    if own:
        yield f"{listed(own)}: as late as they have been; other crews {usual} (common practice, no source)"
    else:
        yield f"crews come {usual} (common practice, no source: no crew has come on three days yet)"
    plain = all(known.habits.absent.get(r.customer, (0, 0))[1] == 0 for r in coming)
    per_cent = f"{100 * NOT_COMING.mean:g} of 100 units do not come"
    yield f"{per_cent} (common practice, no source)" if plain else f"{per_cent} or as many as before, by customer"
    if len(plan.roster) > sum(row.arrives is not None for row in plan.roster):
        yield "units without a time of arrival come when the day opens"


def _units(plan: DayPlan, known: Known) -> Iterator[str]:
    unread = sum(1 for row in plan.roster if (t := known.targets.get(row.serial)) is None or t.now is None)
    if unread:
        yield f"what {counted(unread, 'unit')} run is not known before they are read: one write each is reckoned with"
    charges = sum(1 for row in plan.roster if row.serial in known.percent)
    if charges < len(plan.roster):
        yield f"{_of(charges, 'charge')} from the last time; the others come with enough of it"
    sizes = sum(1 for row in plan.roster if known.recordings.expect(row) is not None)
    if sizes < len(plan.roster):
        yield f"{_of(sizes, 'size of recordings')} from earlier days; for the others by the playbook's minutes"


def _of(count: int, what: str) -> str:
    return f"{what} of {counted(count, 'unit')} known" if count else f"{what} of no unit known"


def _gates(compiled: Compiled) -> Iterator[str]:
    gates = sorted({s.opens for u in compiled.model.units for s in u.stages if s.opens is not None})
    if gates:
        yield f"the first of each model and release is as planned and comes: {listed(gates)}"
