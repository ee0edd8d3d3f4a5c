"""What a change would buy: two days that meet the same chances, compared.

Ends are counted to the end of all work, closing or not: where closing leaves units out, a day that serves more of them
would else seem to be the worse one. What closing does is told as units begun.

The standard error of a difference of quantiles is that of sectioning: the difference is taken in each of 20 parts of
the replications, and their spread about the difference over all, divided by the root of their number, is its error
(Nakayama 2014, Confidence intervals for quantiles using sectioning when applying variance-reduction techniques). A
change that changes nothing has a gain of exactly 0, with an error of 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchday.domain.bench import Costs
from benchday.planning.forecast import engines
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prices import cost_of
from benchday.planning.forecast.spread import Spread
from benchday.planning.forecast.trying import promises_of
from benchday.planning.forecast.variants import Variant, open_ended
from benchday.planning.wording import MINUTE_US

REPLICATIONS = 400
SECTIONS = 20
NOTHING = 2.0
"""Standard errors within which a gain is called none."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Of one figure between two days that meet the same chances."""

    value: float
    error: float
    """Standard error; 0 if the days are the same."""

    @property
    def nothing(self) -> bool:
        """Tell whether it may as well be nothing."""
        return abs(self.value) <= NOTHING * self.error

    @property
    def gains(self) -> bool:
        """Tell whether it is more than nothing."""
        return self.value > 0 and not self.nothing


@dataclass(frozen=True, slots=True)
class Gain:
    """What a change would buy; what is gained is positive."""

    name: str
    p50: Difference
    """Minutes by which the day ends earlier as likely as not."""
    p80: Difference
    """The same in 80 of 100 days."""
    late: Difference
    """Minutes of lateness less, against all promises, the mean of the days."""
    begun: Difference
    """Units more that are begun before closing, the mean of the days."""
    crews: Mapping[str, Difference] = field(default_factory=dict)
    """Crew -> minutes by which it is ready earlier in 80 of 100 days; crews that both days have."""
    cost: float | None = None
    """Of the change, in the currency of the costs; None where no cost of it is known."""
    late_saved: float | None = None
    """What less lateness saves, in the same currency."""

    @property
    def minutes_per_money(self) -> float | None:
        """Minutes at 80 of 100 days for each unit of the currency; None where it costs nothing that is known."""
        return self.p80.value / self.cost if self.cost else None

    @property
    def buys_nothing(self) -> bool:
        """Tell whether it gains nothing that can be told from chance."""
        return not (self.p80.gains or self.begun.gains or self.late.gains)


def gains(
    compiled: Compiled,
    variants: Iterable[Variant],
    *,
    replications: int = REPLICATIONS,
    seed: int | None = None,
    engine: str = engines.Engine.AUTO,
    costs: Costs | None = None,
) -> tuple[Gain, ...]:
    """Return what each variant would buy, the most first: units begun, then the end in 80 of 100 days.

    The order in which units go stays as it is in the model.

    Args:
        compiled: the day as it is.
        variants: changes of it.
        replications: days drawn of each.
        seed: of the draws; the model's own where None.
        engine: a name of ``Engine``.
        costs: what things cost, to compare by money too.
    """
    running = _Running(replications, seed, engine)
    base = running.run(compiled)
    found = [_priced(_gain(v.name, base, running.run(v.change(compiled))), v, compiled, costs) for v in variants]
    return tuple(sorted(found, key=lambda gain: (-max(gain.begun.value, 0.0), -gain.p80.value)))


def against(
    compiled: Compiled, other: Compiled, *, name: str, replications: int = REPLICATIONS, seed: int | None = None
) -> Gain:
    """Return what another plan would buy against this one; units of both meet the same chances."""
    running = _Running(replications, compiled.model.seed if seed is None else seed, engines.Engine.AUTO)
    return _gain(name, running.run(compiled), running.run(other))


@dataclass(frozen=True, slots=True)
class _Days:
    """What came of a day's replications, on the clock of the day that it is compared with."""

    ends: Sequence[float]
    """Day time, minutes, by replication."""
    late: Sequence[float]
    left_out: Sequence[float]
    crews: Mapping[str, Sequence[float]]


@dataclass(frozen=True, slots=True)
class _Running:
    replications: int
    seed: int | None
    engine: str

    def run(self, compiled: Compiled) -> _Days:
        """Run a day to the end of all work, and where closing may leave units out, to closing too."""
        to_end = self._coming(open_ended(compiled))
        zero = compiled.at_us / MINUTE_US
        return _Days(
            ends=[zero + end for end in to_end.outcomes.makespans],
            late=_late(to_end, compiled),
            left_out=self._left_out(compiled, to_end),
            crews={title: [zero + end for end in _ready(to_end, units)] for title, units in compiled.crews.items()},
        )

    def _coming(self, compiled: Compiled) -> Coming:
        outcomes = engines.replicate(compiled.model, replications=self.replications, seed=self.seed, engine=self.engine)
        return Coming.of(outcomes, self.seed)

    def _left_out(self, compiled: Compiled, to_end: Coming) -> Sequence[float]:
        close = compiled.model.close
        guards = max((s.guard or 0.0 for u in compiled.model.units for s in u.stages), default=0.0)
        if close is None or max(to_end.outcomes.makespans, default=0.0) + guards <= close:
            return [0.0] * self.replications
        with_closing = engines.replicate(
            compiled.model, replications=self.replications, seed=self.seed, engine=self.engine
        )
        both = zip(_missing(with_closing), _missing(to_end.outcomes), strict=True)
        return [float(missing - away) for missing, away in both]


def _missing(outcomes: Outcomes) -> list[int]:
    """Return how many units have no end, by replication."""
    return [sum(map(math.isnan, outcomes.finish_in(number))) for number in range(outcomes.replications)]


def _ready(days: Coming, units: Sequence[str]) -> list[float]:
    """Return when the last of these that comes is ready, by replication; never counts as 0: nobody waits for it."""
    places = {name: place for place, name in enumerate(days.outcomes.unit_ids)}
    columns = [days.outcomes.finish_of(places[unit]) for unit in units]
    return [max((end for end in row if not math.isnan(end)), default=0.0) for row in zip(*columns, strict=True)]


def _late(days: Coming, compiled: Compiled) -> list[float]:
    promises = promises_of(compiled.model, compiled.crews)
    if not promises:
        return [0.0] * days.outcomes.replications
    finishes = (days.outcomes.finish_in(number) for number in range(days.outcomes.replications))
    return [sum(promise.late(finish) for promise in promises) for finish in finishes]


def _gain(name: str, base: _Days, other: _Days) -> Gain:
    return Gain(
        name=name,
        p50=quantile_difference(base.ends, other.ends, 0.5),
        p80=quantile_difference(base.ends, other.ends, 0.8),
        late=mean_difference(base.late, other.late),
        begun=mean_difference(base.left_out, other.left_out),
        crews={
            title: quantile_difference(ends, other.crews[title], 0.8)
            for title, ends in base.crews.items()
            if title in other.crews
        },
    )


def _priced(gain: Gain, variant: Variant, compiled: Compiled, costs: Costs | None) -> Gain:
    if costs is None:
        return gain
    hour = costs.late_hour
    return Gain(
        gain.name,
        gain.p50,
        gain.p80,
        gain.late,
        gain.begun,
        gain.crews,
        cost_of(variant.change, compiled, costs),
        None if hour is None else gain.late.value * float(hour) / 60,
    )


def quantile_difference(base: Sequence[float], other: Sequence[float], share: float) -> Difference:
    """Return by how much a quantile of the other values is lower, with its standard error by sectioning.

    Args:
        base: values by replication.
        other: of the same replications.
        share: which quantile.
    """
    whole = _quantile(base, share) - _quantile(other, share)
    count = min(SECTIONS, len(base))
    if count < 2:
        return Difference(whole, 0.0)
    parts = [_quantile(base[n::count], share) - _quantile(other[n::count], share) for n in range(count)]
    return Difference(whole, math.sqrt(math.fsum((p - whole) ** 2 for p in parts) / (count - 1) / count))


def _quantile(values: Sequence[float], share: float) -> float:
    return Spread.of(values).quantile(share) or 0.0


def mean_difference(base: Sequence[float], other: Sequence[float]) -> Difference:
    """Return by how much the mean of the other values is lower, with the standard error of paired values."""
    pairs = Spread.of(a - b for a, b in zip(base, other, strict=True))
    return Difference(pairs.mean or 0.0, pairs.mean_error)
