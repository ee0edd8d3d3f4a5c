"""How a bench's day stands, as a document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from benchday.bench.ticks import Tick
from benchday.cli.day_view import counts, held, stations, waiting
from benchday.domain.fold import DayState, ItemState
from benchday.domain.plan import DayPlan
from benchday.planning.gates import waiting_reasons


def bench_document(
    state: DayState,
    plan: DayPlan,
    items: Iterable[ItemState],
    ticks: Mapping[str, Tick] | None = None,
    now_us: int | None = None,
) -> dict[str, Any]:
    """Return a bench's day as it stands in the documents of status and run."""
    begun = state.begun or {}
    return {
        "bench": plan.bench.bench,
        "day": begun.get("day"),
        "date": begun.get("date"),
        "simulated": bool(begun.get("simulated")),
        "as_of_us": state.at_us,
        "closes_us": begun.get("closes_us"),
        "acting": state.acting,
        "closed": state.closed is not None,
        "counts": counts(state),
        "stations": [asdict(s) for s in stations(state, plan.bench, ticks, now_us)],
        "waiting": [asdict(w) for w in waiting(state, waiting_reasons(state, plan))],
        "held": [asdict(h) for h in held(state)],
        "items": [{**i.item.as_facts(), "taken_by": i.taken_by} for i in items],
        "lines_stopped": [
            {"model": model, "release": release, "reason": reason}
            for (model, release), reason in state.lines_stopped.items()
        ],
    }
