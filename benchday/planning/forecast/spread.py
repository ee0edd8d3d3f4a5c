"""What many values say: mean, spread, quantiles; a value that never comes is infinite."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Spread:
    """Values in order; infinite where the thing does not come about."""

    ordered: Sequence[float]

    @classmethod
    def of(cls, values: Iterable[float]) -> Spread:
        """Sort them; NaN counts as never."""
        told = list(values)
        # Few have any: one sum says so faster than a look at each. NaN is what is not equal to itself.
        if math.isnan(sum(told)):
            told = [value if value == value else math.inf for value in told]  # noqa: PLR0124
        told.sort()
        return cls(told)

    @property
    def came(self) -> Sequence[float]:
        """The values of those that come about."""
        return self.ordered[: bisect_right(self.ordered, 1e308)]

    @property
    def mean(self) -> float | None:
        """Mean of those that come about; None if none does."""
        came = self.came
        return math.fsum(came) / len(came) if came else None

    @property
    def sd(self) -> float:
        """Standard deviation of a sample (divided by one less than its size), 0 for a single value."""
        came, mean = self.came, self.mean
        if mean is None or len(came) < 2:
            return 0.0
        return math.sqrt(math.fsum((value - mean) ** 2 for value in came) / (len(came) - 1))

    @property
    def mean_error(self) -> float:
        """Standard error of the mean."""
        return self.sd / math.sqrt(len(self.came)) if self.came else 0.0

    def quantile(self, share: float) -> float | None:
        """Return a quantile by linear interpolation; None where it is never."""
        if not self.ordered:
            return None
        at = share * (len(self.ordered) - 1)
        below = math.floor(at)
        low, part = self.ordered[below], at - below
        if part == 0:
            return None if math.isinf(low) else low
        high = self.ordered[below + 1]
        return None if math.isinf(high) else low + (high - low) * part

    def quantile_error(self, share: float) -> float | None:
        """Return about one standard error of a quantile: half the way between those one binomial error to each side."""
        off = math.sqrt(share * (1 - share) / len(self.ordered)) if self.ordered else 0.0
        low, high = self.quantile(max(share - off, 0)), self.quantile(min(share + off, 1))
        return None if low is None or high is None else (high - low) / 2

    def share_by(self, limit: float) -> float:
        """Return the share of values that are not above a limit."""
        return bisect_right(self.ordered, limit) / len(self.ordered) if self.ordered else 0.0

    def share_error(self, limit: float) -> float:
        """Return the standard error of that share."""
        share = self.share_by(limit)
        return math.sqrt(share * (1 - share) / len(self.ordered)) if self.ordered else 0.0
