"""How the rest of a day looks: what a face shows of a forecast while the day runs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.wording import MINUTE_US

AT_RISK = 0.8
"""A promise that holds in fewer of the drawn days is at risk: the share that the stated 80 % stands for."""


@dataclass(frozen=True, slots=True)
class CrewOutlook:
    """When a crew will be ready."""

    title: str
    units: tuple[str, ...]
    """Serials of its units that are still to be served."""
    ready_us: int | None
    """Day time by which it is ready in 80 of 100 drawn days; None if in fewer it is ready at all."""
    promised_us: int | None
    """Earliest promise to any of them; None if nothing was promised."""
    holds: float | None
    """Share of drawn days in which that promise holds."""

    @property
    def at_risk(self) -> bool:
        """Tell whether its promise will probably not hold."""
        return self.holds is not None and self.holds < AT_RISK


@dataclass(frozen=True, slots=True)
class Outlook:
    """How the day will end, as of one moment."""

    at_us: int
    p50_us: int
    """Day time by which everything is done in half of the drawn days."""
    p80_us: int
    p95_us: int
    by_closing: float
    """Share of drawn days in which everything is done by closing."""
    units_us: Mapping[str, int]
    """Unit -> day time at which it leaves its station in half of the drawn days."""
    crews: tuple[CrewOutlook, ...]
    not_begun: tuple[str, ...]
    """Units that closing keeps from their write in more than half of the drawn days."""

    def crew(self, title: str) -> CrewOutlook | None:
        """Return one crew's; None if nothing of it is left to serve."""
        return next((c for c in self.crews if c.title == title), None)


def outlook_of(compiled: Compiled, outcomes: Outcomes) -> Outlook:
    """Say what the drawn days show.

    Args:
        compiled: the rest of the day as a model; minute 0 is now.
        outcomes: of its replications.
    """
    units, close, coming = outcomes.units(), compiled.model.close, Coming.of(outcomes)
    ends = coming.all_done
    # Where something is not begun, the day ends with closing.
    last: list[float] = []
    for share in (0.5, 0.8, 0.95):
        end = ends.quantile(share)
        last.append(end if end is not None else max([close or 0.0, *last]))
    half, four_fifths, most = (compiled.clock_us(end) for end in last)
    return Outlook(
        at_us=compiled.at_us,
        p50_us=half,
        p80_us=four_fifths,
        p95_us=most,
        by_closing=ends.share_by(close) if close is not None else 1.0,
        units_us={u.id: compiled.clock_us(end) for u in units if (end := u.finish.quantile(0.5)) is not None},
        crews=tuple(_crew(compiled, coming, title, ids) for title, ids in compiled.crews.items() if ids),
        not_begun=tuple(u.id for u in units if u.not_begun > 0.5),
    )


def slips(before: Outlook, after: Outlook) -> Iterable[str]:
    """Yield a sentence for each crew that is ready later, or whose promise holds less often; none within a minute."""
    for crew in after.crews:
        was = before.crew(crew.title)
        if was is None:
            continue
        if crew.ready_us is None and was.ready_us is not None:
            yield f"{crew.title} is not ready before closing any more"
        elif crew.ready_us is not None and was.ready_us is not None and crew.ready_us - was.ready_us >= MINUTE_US:
            yield f"{crew.title} is ready {(crew.ready_us - was.ready_us) // MINUTE_US} min later{_promise(was, crew)}"


def _promise(was: CrewOutlook, now: CrewOutlook) -> str:
    if now.holds is None or was.holds is None or now.holds >= was.holds:
        return ""
    return f"; its promise then holds in {now.holds * 100:.0f} instead of {was.holds * 100:.0f} of 100 drawn days"


def _crew(compiled: Compiled, coming: Coming, title: str, ids: tuple[str, ...]) -> CrewOutlook:
    ready = coming.ready(ids)
    promises = [compiled.promised_us[u] for u in ids if u in compiled.promised_us]
    promised = min(promises, default=None)
    holds = None if promised is None else ready.share_by((promised - compiled.at_us) / MINUTE_US)
    ready_us = ready.quantile(0.8)
    return CrewOutlook(title, ids, None if ready_us is None else compiled.clock_us(ready_us), promised, holds)
