"""The laws of a model file's durations: what a stage may take, in minutes. Draws are independent."""

from __future__ import annotations

import math
import random
from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol, cast

from benchday.planning.durations import Pert

LEAST = 1e-6
"""A draw below this many minutes is raised to it."""


class Law(Protocol):
    """How long a stage takes."""

    @property
    def mean(self) -> float:
        """Mean of the law, minutes."""
        ...

    def draw(self, source: random.Random) -> float:
        """Draw one duration, minutes."""
        ...


@dataclass(frozen=True, slots=True)
class Fixed:
    """Always the same."""

    value: float

    @property
    def mean(self) -> float:
        """The value."""
        return self.value

    def draw(self, source: random.Random) -> float:  # noqa: ARG002 - a law's shape
        """Return the value."""
        return self.value


@dataclass(frozen=True, slots=True)
class Uniform:
    """Anything between two bounds alike."""

    least: float
    most: float

    @property
    def mean(self) -> float:
        """Half way."""
        return (self.least + self.most) / 2

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        return self.least + (self.most - self.least) * source.random()


@dataclass(frozen=True, slots=True)
class Triangular:
    """Rising to the usual, falling to the longest."""

    least: float
    usual: float
    most: float

    @property
    def mean(self) -> float:
        """(least + usual + most) / 3"""
        return (self.least + self.usual + self.most) / 3

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        return source.triangular(self.least, self.most, self.usual)


@dataclass(frozen=True, slots=True)
class LogNormal:
    """The logarithm is normal."""

    median: float
    sigma: float

    @property
    def mean(self) -> float:
        """Median times exp(sigma^2 / 2)"""
        return self.median * math.exp(self.sigma**2 / 2)

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        return self.median * math.exp(self.sigma * source.gauss())


@dataclass(frozen=True, slots=True)
class Scaled:
    """A base, and so much for each unit of work, spread log-normally."""

    base: float
    per_unit: float
    units: float
    sigma: float

    @property
    def mean(self) -> float:
        """Base plus the mean of the spread work."""
        return self.base + self.per_unit * self.units * math.exp(self.sigma**2 / 2)

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        return self.base + self.per_unit * self.units * math.exp(self.sigma * source.gauss())


@dataclass(frozen=True, slots=True)
class Student:
    """A learnt log-normal: the logarithm is Student's t, moved and stretched, and a draw is capped."""

    location: float
    scale: float
    degrees: float
    """Degrees of freedom."""
    cap: float
    """Longest duration that is drawn, minutes."""

    @property
    def mean(self) -> float:
        """The median, for the mean without the cap does not exist."""
        return min(math.exp(self.location), self.cap)

    def draw(self, source: random.Random) -> float:
        """Draw one duration: a normal over the root of a chi-squared over its degrees of freedom."""
        chi_squared = source.gammavariate(self.degrees / 2, 2)
        t = source.gauss() / math.sqrt(chi_squared / self.degrees)
        # Compared as logarithms: the exponential of a far draw overflows.
        return math.exp(min(self.location + self.scale * t, math.log(self.cap)))


@dataclass(frozen=True, slots=True)
class Retried:
    """A law with a chance of extra time."""

    first: Law
    probability: float
    extra: Law

    @property
    def mean(self) -> float:
        """First plus probability times extra."""
        return self.first.mean + self.probability * self.extra.mean

    def draw(self, source: random.Random) -> float:
        """Draw one duration."""
        first = self.first.draw(source)
        return first + self.extra.draw(source) if source.random() < self.probability else first


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is left of a stage that has run for a while, given that it is longer than that.

    What has outlived its law is expected to end soon: 5 % of the time elapsed, at least half a minute; ours, no source.
    """

    law: Law
    elapsed: float
    """Minutes since it began."""

    @property
    def mean(self) -> float:
        """Mean of what is left of those of some draws, always the same, that are longer."""
        left = [whole - self.elapsed for whole in _some_of(cast("Hashable", self.law)) if whole > self.elapsed]
        return sum(left) / len(left) if left else self.overdue

    @property
    def overdue(self) -> float:
        """What is left of one that should have ended."""
        return max(_OVERDUE * self.elapsed, _OVERDUE_LEAST)

    def draw(self, source: random.Random) -> float:
        """Draw what is left: draws of the law until one is longer than what has elapsed."""
        for _ in range(_TRIES):
            whole = self.law.draw(source)
            if whole > self.elapsed:
                return whole - self.elapsed
        return self.overdue


@lru_cache(maxsize=1024)
def _some_of(law: Hashable) -> tuple[float, ...]:
    """Draw from a law, all of which are frozen values."""
    source = random.Random(0)  # noqa: S311 - reproducible, not secret
    return tuple(cast("Law", law).draw(source) for _ in range(_MEAN_OF))


_MEAN_OF, _TRIES = 400, 200
_OVERDUE, _OVERDUE_LEAST = 0.05, 0.5
"""Share of the elapsed time, and minutes."""


def draw(law: Law, source: random.Random) -> float:
    """Draw one duration that a model's day can use, minutes."""
    return max(law.draw(source), LEAST)


__all__ = [
    "Fixed",
    "Law",
    "LogNormal",
    "Pert",
    "Remaining",
    "Retried",
    "Scaled",
    "Student",
    "Triangular",
    "Uniform",
    "draw",
]
