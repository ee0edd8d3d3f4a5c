"""Inverse distribution functions as tables of 1024 intervals, so that a draw is one look and one multiplication.

A law is a shape, moved and stretched; shapes are few, and each is computed once. A share is a whole number of 32 bits.
The first and the last interval, where laws without bounds are far from straight, are divided once more, into 64. In the
outermost part such a law ends where its last 2^-19 begin; drawn evenly up to there, the part has the right mean if the
law falls there like an exponential, as all of these nearly do.

Beta and Student's t are one integral: with x = sin^2(angle), Beta(a, b) has the density sin^(2a-1) cos^(2b-1), and t =
sqrt(v) tan(angle) has cos^(v-1) (Abramowitz, Stegun 1964, 26.5 and 26.7). It is summed over 256 cells by the trapezoid
rule with its end correction, and inverted in the cell.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

INTERVALS, PARTS = 1024, 64
WORD = 1 << 32
"""Shares are counted in 2^-32."""
BROAD, FINE = 22, 16
"""Bits of a share within an interval, and within a part of an outermost one."""
LOW, HIGH = INTERVALS + 1, INTERVALS + PARTS + 2
"""Where the nodes of the first and of the last interval's parts begin."""
LOW_LINES, HIGH_LINES = INTERVALS, INTERVALS + PARTS
"""Where their lines begin."""
BROAD_BITS, LAST = (1 << BROAD) - 1, INTERVALS - 1
OUTERMOST = 2.0**-19
CELLS = 256
MANY_DEGREES = 100.0
"""From here on Student's t is computed from the normal law."""
MOST_EXPONENT = 600.0
"""Exponents are cut off here, where a double still holds their exponential; every law that needs it has a cap."""

Nodes = Sequence[float]


def _shares() -> tuple[float, ...]:
    broad = [k / INTERVALS for k in range(INTERVALS + 1)]
    fine = [k / (INTERVALS * PARTS) for k in range(PARTS + 1)]
    return (*broad, *fine, *(1 - INTERVALS**-1 + share for share in fine))


SHARES = _shares()
"""Share of each node."""


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A table: nodes and the step from each to the next."""

    nodes: array[float]
    steps: array[float]

    @classmethod
    def of(cls, nodes: Sequence[float]) -> Shape:
        """Add the steps."""
        return cls(array("d", nodes), array("d", [b - a for a, b in zip(nodes, [*nodes[1:], nodes[-1]], strict=True)]))


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """A shape, moved and stretched, as straight lines: a share's value is the sum of one and the share's multiple.

    Of each interval one, then of the parts of the first and of the last interval.
    """

    begins: list[float]
    slopes: list[float]

    def at(self, share: int) -> float:
        """Return the value below which this share of draws lies.

        Args:
            share: in 2^-32; what it stands for is its middle.
        """
        line = share >> BROAD
        if line == 0:
            line = LOW_LINES + (share >> FINE)
        elif line == LAST:
            line = HIGH_LINES + ((share & BROAD_BITS) >> FINE)
        return self.begins[line] + self.slopes[line] * share


@lru_cache(maxsize=512)
def lines(shape: Shape, offset: float, factor: float) -> Lines:
    """Move and stretch a shape."""
    made = Lines([], [])
    for nodes, first, width in (
        (range(INTERVALS), 0, 1 << BROAD),
        (range(LOW, LOW + PARTS), 0, 1 << FINE),
        (range(HIGH, HIGH + PARTS), LAST << BROAD, 1 << FINE),
    ):
        for number, node in enumerate(nodes):
            begin, slope = offset + factor * shape.nodes[node], factor * shape.steps[node] / width
            made.slopes.append(slope)
            made.begins.append(begin - slope * (first + number * width - 0.5))

    return made


@lru_cache(maxsize=4096)
def flat_shape() -> Shape:
    """Uniform from 0 to 1."""
    return Shape.of(SHARES)


@lru_cache(maxsize=4096)
def triangle(usual: float) -> Shape:
    """Triangular from 0 to 1 with this mode; the inverse is in closed form."""
    rest = 1 - usual
    return Shape.of([math.sqrt(s * usual) if s < usual else 1 - math.sqrt((1 - s) * rest) for s in SHARES])


@lru_cache(maxsize=4096)
def beta(a: float, b: float) -> Shape:
    """Beta from 0 to 1; both parameters at least 1/2."""
    low = [s for s in SHARES if s <= 0.5]
    high = [1 - s for s in SHARES if s > 0.5]
    from_low = dict(zip(low, _angles(2 * a - 1, 2 * b - 1, low), strict=True))
    from_high = dict(zip(high, _angles(2 * b - 1, 2 * a - 1, high), strict=True))
    return Shape.of([math.sin(from_low[s]) ** 2 if s <= 0.5 else math.cos(from_high[1 - s]) ** 2 for s in SHARES])


@lru_cache(maxsize=4096)
def exponential_of_normal(sigma: float) -> Shape:
    """Log-normal with median 1."""
    normal = NormalDist()
    return Shape.of([math.exp(min(sigma * normal.inv_cdf(_inside(s)), MOST_EXPONENT)) for s in SHARES])


@lru_cache(maxsize=4096)
def exponential_of_student(degrees: float, scale: float) -> Shape:
    """The exponential of a stretched Student's t."""
    return Shape.of([math.exp(min(scale * t, MOST_EXPONENT)) for t in _student(degrees)])


@lru_cache(maxsize=512)
def _student(degrees: float) -> tuple[float, ...]:
    if degrees > MANY_DEGREES:
        return tuple(_nearly_normal(NormalDist().inv_cdf(_inside(s)), degrees) for s in SHARES)
    tails = [2 * min(_inside(s), 1 - _inside(s)) for s in SHARES]
    root = math.sqrt(degrees)
    angles = dict(zip(tails, _angles(degrees - 1, 0, tails), strict=True))
    return tuple(
        math.copysign(root / math.tan(angles[tail]), s - 0.5) if tail < 1 else 0.0
        for s, tail in zip(SHARES, tails, strict=True)
    )


def _nearly_normal(z: float, degrees: float) -> float:
    """Abramowitz, Stegun 1964, 26.7.5, three terms."""
    return (
        z
        + (z**3 + z) / (4 * degrees)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * degrees**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * degrees**3)
    )


def _inside(share: float) -> float:
    return min(max(share, OUTERMOST), 1 - OUTERMOST)


def _angles(p: float, q: float, shares: Sequence[float]) -> list[float]:
    """Return the angles below which these shares of the density sin^p cos^q on (0, pi/2) lie."""
    step = math.pi / 2 / CELLS
    density, summed = _summed(p, q, step)
    ends = summed[-1]
    found: dict[float, float] = {}
    cell = 0
    for share in sorted(set(shares)):
        wanted = share * ends
        while cell < CELLS - 1 and summed[cell + 1] < wanted:
            cell += 1
        if cell == 0 and p != 0:
            found[share] = step * (wanted / summed[1]) ** (1 / (p + 1))
        elif cell == CELLS - 1 and q != 0:
            left = max(ends - wanted, 0) / (ends - summed[cell])
            found[share] = math.pi / 2 - step * left ** (1 / (q + 1))
        else:
            within = _within(wanted - summed[cell], summed[cell + 1] - summed[cell], density[cell : cell + 2], step)
            found[share] = step * (cell + within)

    return [found[share] for share in shares]


def _summed(p: float, q: float, step: float) -> tuple[list[float], list[float]]:
    """Return the density at the cells' ends and the sum up to each; where it begins as a power, by the power's sum."""
    density, slope = [1.0 if p == 0 else 0.0], [0.0]
    for cell in range(1, CELLS):
        sin, cos = math.sin(cell * step), math.cos(cell * step)
        # As logarithms, for a high power of a small number.
        density.append(math.exp(p * math.log(sin) + q * math.log(cos)))
        slope.append(density[-1] * (p * cos / sin - q * sin / cos))
    density.append(1.0 if q == 0 else 0.0)
    slope.append(0.0)
    summed = [0.0]
    for cell in range(CELLS):
        more = step / 2 * (density[cell] + density[cell + 1]) + step**2 / 12 * (slope[cell] - slope[cell + 1])
        if cell == 0 and p != 0:
            more = step * density[1] / (p + 1)
        elif cell == CELLS - 1 and q != 0:
            more = step * density[cell] / (q + 1)
        summed.append(summed[-1] + more)

    return density, summed


def _within(wanted: float, whole: float, density: Sequence[float], step: float) -> float:
    """Return how far into a cell the sum reaches what is wanted, on the cubic through both ends: Newton's steps."""
    if whole <= 0:
        return 0.0
    begins, ends = density[0] * step, density[1] * step
    bend, twist = 3 * whole - 2 * begins - ends, begins + ends - 2 * whole
    at = wanted / whole
    for _ in range(3):
        slope = begins + at * (2 * bend + 3 * twist * at)
        if slope <= 0:
            break
        at = min(max(at - (at * (begins + at * (bend + twist * at)) - wanted) / slope, 0.0), 1.0)

    return at
