"""Learning how long a step takes: what the playbook says, updated by what the shop's own records say.

The logarithm of a duration is taken as normal with unknown mean and variance. Before any record both are guessed from
the playbook's three points; records update the guess as in Gelman et al., "Bayesian Data Analysis", 3rd edition, 3.3
"Normal data with a conjugate prior distribution" (Normal-inverse-chi-squared). What a step takes next is then Student's
t on the logarithmic scale, moved and stretched. With no records it is wide, with many it is the shop's own spread.

The weights (one record for the mean, three for the variance, variance times 1.5) were chosen by trying several on
simulated shops whose playbooks are wrong by a fifth: ``python -m tests.speed.calibration`` tries the chosen ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, SupportsFloat

from benchday.planning.laws import Student
from benchday.planning.student import cdf, quantile

MEAN_WEIGHT = 1.0
"""Records that the playbook's mean counts for (kappa 0)."""
SPREAD_WEIGHT = 3.0
"""Records that the playbook's variance counts for (nu 0)."""
INFLATION = 1.5
"""What the playbook's variance is multiplied by: shops differ more from each other than one shop from itself."""
LEAST_MINUTES = 1 / 60
"""What takes less counts as a second: the logarithm of nothing does not exist."""
LEAST_SPREAD = 0.01
"""Three points that coincide are still believed to a hundredth only; common practice, no source."""
CAP_TIMES = 3.0
"""A draw is capped at so many times the larger of the playbook's longest and the worst seen."""


class Points(Protocol):
    """Three points of a duration, minutes."""

    @property
    def shortest(self) -> SupportsFloat:
        """Shortest."""
        ...

    @property
    def usual(self) -> SupportsFloat:
        """Usual."""
        ...

    @property
    def longest(self) -> SupportsFloat:
        """Longest."""
        ...


@dataclass(frozen=True, slots=True)
class Sums:
    """What a learner keeps of any number of values: their count, mean, squares about it, and the largest."""

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0
    """Sum of the squared distances from the mean, kept as Welford (1962) does."""
    largest: float = -math.inf

    @classmethod
    def of(cls, values: Iterable[float]) -> Sums:
        """Sum values up."""
        made = cls()
        for value in values:
            made = made.and_one(value)
        return made

    def and_one(self, value: float) -> Sums:
        """Return the sums with one more value."""
        count, off = self.count + 1, value - self.mean
        mean = self.mean + off / count
        return Sums(count, mean, self.squares + off * (value - mean), max(self.largest, value))


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of the logarithm of a step's minutes before any record."""

    location: float
    """m0"""
    variance: float
    """s0 squared, the variance once inflated."""
    largest: float
    """Logarithm of the longest."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.location) and 0 < self.variance < math.inf and math.isfinite(self.largest)):
            raise ValueError(f"a prior needs finite values and a variance above 0, got {self}")

    @classmethod
    def of(cls, points: Points) -> Prior:
        """Match a log-normal to the classic PERT moments of three points, minutes.

        mu = (a + 4 m + b) / 6, sd = (b - a) / 6 (Malcolm, Roseboom, Clark, Fazar 1959);
        s0^2 = 1.5 ln(1 + (sd / mu)^2), m0 = ln mu - ln(1 + (sd / mu)^2) / 2.
        """
        shortest, usual, longest = (float(p) for p in (points.shortest, points.usual, points.longest))
        mean = max((shortest + 4 * usual + longest) / 6, LEAST_MINUTES)
        spread = math.log1p(((longest - shortest) / 6 / mean) ** 2)
        variance = max(INFLATION * spread, LEAST_SPREAD**2)
        return cls(math.log(mean) - spread / 2, variance, math.log(max(longest, LEAST_MINUTES)))

    def each(self, log_units: float) -> Prior:
        """Return what it says of one unit of work, where its points speak of so many."""
        return Prior(self.location - log_units, self.variance, self.largest - log_units)


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is believed of a step's minutes after its records."""

    prior: Prior
    seen: Sums
    """Of the logarithms of what it took, or of what one unit of work took."""
    log_units: float = 0.0
    """Logarithm of the units of work that are asked about; 0: minutes were learnt, or one unit is asked about."""

    @property
    def weight(self) -> float:
        """kn = k0 + n"""
        return MEAN_WEIGHT + self.seen.count

    @property
    def location(self) -> float:
        """mn = (k0 m0 + n ybar) / kn, moved to the units that are asked about: the logarithm of the median."""
        mean = (MEAN_WEIGHT * self.prior.location + self.seen.count * self.seen.mean) / self.weight
        return mean + self.log_units

    @property
    def degrees(self) -> float:
        """nun = nu0 + n, degrees of freedom."""
        return SPREAD_WEIGHT + self.seen.count

    @property
    def variance(self) -> float:
        """sn^2 = (nu0 s0^2 + SS + k0 n (ybar - m0)^2 / kn) / nun"""
        off = self.seen.mean - self.prior.location if self.seen.count else 0.0
        between = MEAN_WEIGHT * self.seen.count * off * off / self.weight
        return (SPREAD_WEIGHT * self.prior.variance + self.seen.squares + between) / self.degrees

    @property
    def scale(self) -> float:
        """sn sqrt(1 + 1 / kn), of the next one."""
        return math.sqrt(self.variance * (1 + 1 / self.weight))

    @property
    def cap(self) -> float:
        """Longest that is drawn or shown, minutes: three times the larger of the longest and the worst seen."""
        return CAP_TIMES * math.exp(max(self.prior.largest, self.seen.largest) + self.log_units)

    @property
    def law(self) -> Student:
        """The law of the next one, minutes."""
        return Student(self.location, self.scale, self.degrees, self.cap)

    def quantile(self, share: float) -> float:
        """Return the minutes that the next one does not exceed with this probability, at most the cap."""
        # Compared as logarithms first: the exponential of a far quantile overflows.
        at = min(self.location + self.scale * quantile(share, self.degrees), math.log(self.cap) + 1)
        return min(math.exp(at), self.cap)

    def share_at(self, minutes: float) -> float:
        """Return the stated probability that the next one does not exceed so many minutes."""
        return cdf((math.log(counted(minutes)) - self.location) / self.scale, self.degrees)


def learnt(points: Points, records: Iterable[float]) -> Learnt:
    """Learn from a playbook's three points and what the step took before, minutes."""
    return Learnt(Prior.of(points), Sums.of(math.log(counted(minutes)) for minutes in records))


def counted(minutes: float) -> float:
    """Return minutes as they are learnt from."""
    return max(minutes, LEAST_MINUTES)
