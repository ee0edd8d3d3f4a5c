"""Durations drawn so that days can be compared: what a unit draws depends on nothing but itself.

The random words of one stage of one unit are SHAKE-128 (FIPS 202) of a text: seed, stage's position, part of its law,
number of the block of 256 replications, unit's id. Neither other units, nor pools, order or priorities, nor how many
replications are run, change what a unit draws: two variants of a day meet the same chances. Both loops take these same
words and tables, so equal seeds give equal days, whichever runs.
"""

from __future__ import annotations

import math
import random
import sys
from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import singledispatch
from hashlib import shake_128

from benchday.planning import laws
from benchday.planning.forecast import tables
from benchday.planning.forecast.tables import BROAD, LAST, WORD, Shape
from benchday.planning.laws import LEAST, Law
from benchday.planning.model import Model

BLOCK = 256
"""Replications whose words are one digest."""
WHOLE, BLOCK_ROWS = slice(0, BLOCK), range(BLOCK)
AT_ONCE = 1 << 18
"""About so many durations are in memory at once."""


@dataclass(frozen=True, slots=True)
class Part:
    """One draw of a law: a shape, moved and stretched, or a fixed value where the shape is None."""

    shape: Shape | None
    offset: float
    factor: float = 0.0
    cap: float = math.inf
    """Longest that is drawn, minutes."""
    above: int = 0
    """Shares are drawn between this one and 1, in 2^-32: draws are longer than what has elapsed."""
    elapsed: float = 0.0
    """Taken off each draw, minutes."""
    chance: int = WORD
    """How often this part comes, in 2^-32."""
    spans: int = 1
    """How many parts, this one and those that follow it, come or do not come together."""

    def whole(self, share: int) -> float:
        """Return the duration at a share, nothing taken off."""
        value = self.offset if self.shape is None else tables.lines(self.shape, self.offset, self.factor).at(share)
        return min(value, self.cap)


Parts = tuple[Part, ...]
"""A law as the sum of its parts."""


@singledispatch
def parts_of(law: object) -> Parts | None:
    """Return a law as parts; None for one that no table tells, which then draws for itself."""
    del law
    return None


@parts_of.register
def _(law: laws.Fixed) -> Parts:
    return (Part(None, law.value),)


@parts_of.register
def _(law: laws.Uniform) -> Parts:
    return (Part(tables.flat_shape(), law.least, law.most - law.least),)


@parts_of.register
def _(law: laws.Triangular) -> Parts:
    span = law.most - law.least
    return (Part(tables.triangle((law.usual - law.least) / span), law.least, span) if span else Part(None, law.usual),)


@parts_of.register
def _(law: laws.Pert) -> Parts:
    span = law.longest - law.shortest
    return (Part(tables.beta(law.alpha, law.beta), law.shortest, span) if span else Part(None, law.usual),)


@parts_of.register
def _(law: laws.LogNormal) -> Parts:
    return (Part(tables.exponential_of_normal(law.sigma), 0.0, law.median),)


@parts_of.register
def _(law: laws.Scaled) -> Parts:
    return (Part(tables.exponential_of_normal(law.sigma), law.base, law.per_unit * law.units),)


@parts_of.register
def _(law: laws.Student) -> Parts:
    shape = tables.exponential_of_student(law.degrees, law.scale)
    return (Part(shape, 0.0, math.exp(min(law.location, tables.MOST_EXPONENT)), law.cap),)


@parts_of.register
def _(law: laws.Retried) -> Parts | None:
    first, extra = parts_of(law.first), parts_of(law.extra)
    if first is None or extra is None:
        return None
    # The first of the extra's parts comes always by itself, so its chance is free to be the whole extra's.
    head = changed(extra[0], chance=_chance(law.probability), spans=len(extra))
    return (*first, head, *extra[1:])


@parts_of.register
def _(law: laws.Remaining) -> Parts | None:
    whole = parts_of(law.law)
    if whole is None or len(whole) != 1 or whole[0].elapsed:
        return None
    part = whole[0]
    above = _above(part, law.elapsed)
    if above >= WORD - (1 << 10):
        return (Part(None, law.overdue),)
    return (changed(part, above=above, elapsed=law.elapsed),)


def changed(part: Part, **values: float) -> Part:
    """Return the part with some values replaced."""
    fields = {name: getattr(part, name) for name in Part.__slots__}
    return Part(**{**fields, **values})


def _chance(probability: float) -> int:
    return round(probability * WORD)


def _above(part: Part, elapsed: float) -> int:
    """Return the least share whose duration is longer than what has elapsed; all of them if none is."""
    low, high = 0, WORD
    while low < high:
        middle = (low + high) // 2
        if part.whole(middle) > elapsed:
            high = middle
        else:
            low = middle + 1

    return low


def remaining(law: Law, elapsed: float, source: random.Random) -> float:
    """Draw what is left of a stage that has run for so long, minutes.

    It is the law given that it is longer; whoever has outlived the law ends in 5 % of the time elapsed, at least half a
    minute.
    """
    return laws.draw(laws.Remaining(law, elapsed), source)


@dataclass(frozen=True, slots=True)
class Plan:
    """What has to be drawn for one replication of a model: of each stage its law as parts."""

    places: tuple[tuple[str, int], ...]
    """Unit's id and stage's position, of each stage, one unit after the other."""
    parts: tuple[Parts | None, ...]
    """None where the law draws for itself."""
    laws: tuple[Law, ...]


def plan(model: Model) -> Plan:
    """Look up the table of each stage's law."""
    known: dict[Law, Parts | None] = {}
    of_stages = [stage.law for unit in model.units for stage in unit.stages]
    for law in of_stages:
        if law not in known:
            known[law] = parts_of(law)
    places = tuple((unit.id, position) for unit in model.units for position in range(len(unit.stages)))
    return Plan(places, tuple(known[law] for law in of_stages), tuple(of_stages))


def _counted(texts: bytes) -> array[int]:
    made = array("I", texts)
    if sys.byteorder == "big":
        made.byteswap()
    return made


def digest(seed: int, unit: str, stage: int, part: str, block: int, count: int) -> bytes:  # noqa: PLR0917 - what the text is made of
    """Return the first random 32-bit words of one part of one stage as bytes, the least significant first.

    Fewer are the beginning of more.
    """
    # The id comes last: it may hold any sign.
    return shake_128(f"{seed}/{stage}/{part}/{block}/{unit}".encode()).digest(4 * count)


def days(plan: Plan, seed: int, replications: int, first: int = 0) -> Iterator[Sequence[float]]:
    """Draw day after day: the durations of all stages, one unit after the other, minutes.

    Args:
        plan: what is drawn.
        seed: equal seeds draw equal days.
        replications: how many.
        first: number of the first of them, so that others may be drawn elsewhere.
    """
    for block, rows in pieces(first, replications, AT_ONCE // max(len(plan.parts), 1)):
        columns = [column(plan, stage, seed, block, rows) for stage in range(len(plan.parts))]
        yield from zip(*columns, strict=True) if columns else [()] * (rows.stop - rows.start)


def pieces(first: int, replications: int, at_once: int) -> Iterator[tuple[int, slice]]:
    """Cut replications into rows of one block each.

    Args:
        first: number of the first replication.
        replications: how many.
        at_once: about so many rows at most; one at least.
    """
    most = BLOCK
    while most > max(at_once, 1):
        most //= 2
    start, past = first, first + replications
    while start < past:
        block, row = divmod(start, BLOCK)
        count = min(most - start % most, past - start)
        yield block, slice(row, row + count)
        start += count


def column(plan: Plan, stage: int, seed: int, block: int, rows: slice = WHOLE) -> list[float]:
    """Draw one stage's durations for these replications of a block."""
    unit, position = plan.places[stage]
    parts = plan.parts[stage]
    if parts is None:
        return own_draws(plan, stage, seed, block)[rows]

    def of(part: str) -> array[int]:
        return _counted(digest(seed, unit, position, part, block, rows.stop))[rows]

    first = parts[0]
    if first.chance == WORD:
        # The first part comes always, in most laws it is the only one.
        shape, count = first.shape, len(BLOCK_ROWS[rows])
        drawn = _values(first, shape, of("0")) if shape is not None else [first.offset] * count
        if len(parts) > 1:
            _add(drawn, parts[1:], range(len(drawn)), of, 1)
    else:
        drawn = [0.0] * len(BLOCK_ROWS[rows])
        _add(drawn, parts, range(len(drawn)), of)
    return drawn if min(drawn) >= LEAST else [max(minutes, LEAST) for minutes in drawn]


def own_draws(plan: Plan, stage: int, seed: int, block: int) -> list[float]:
    """Draw one stage's durations of a block from a law that draws for itself."""
    unit, position = plan.places[stage]
    source = random.Random(f"{seed}/{position}/{block}/{unit}")  # noqa: S311 - reproducible, not secret
    return [laws.draw(plan.laws[stage], source) for _ in range(BLOCK)]


def _add(
    drawn: list[float], parts: Parts, rows: Sequence[int], of: Callable[[str], array[int]], number: int = 0
) -> None:
    """Add the parts to these rows, those with a chance only where they come."""
    place = 0
    while place < len(parts):
        part, name = parts[place], f"{number + place}"
        if part.chance < WORD:
            chances = of(name + "?")
            coming = [row for row in rows if chances[row] < part.chance]
            together = (changed(part, chance=WORD, spans=1), *parts[place + 1 : place + part.spans])
            _add(drawn, together, coming, of, number + place)
            place += part.spans
            continue
        if part.shape is None:
            values = [part.offset] * len(rows)
        else:
            drawn_words = of(name)
            values = _values(
                part, part.shape, drawn_words if len(rows) == len(drawn) else [drawn_words[r] for r in rows]
            )
        for row, value in zip(rows, values, strict=True):
            drawn[row] += value
        place += 1


def _values(part: Part, shape: Shape, shares: Sequence[int]) -> list[float]:
    if part.above:
        shares = [part.above + ((WORD - part.above) * share >> 32) for share in shares]
    lines = tables.lines(shape, part.offset, part.factor)
    begins, slopes, at = lines.begins, lines.slopes, lines.at
    # As Lines.at has it, written out: this line is where a forecast without a compiler spends a third of its time.
    values = [
        begins[line] + slopes[line] * share if 0 < (line := share >> BROAD) < LAST else at(share) for share in shares
    ]
    if part.cap < math.inf:
        cap = part.cap
        values = [value if value < cap else cap for value in values]  # noqa: FURB136 - min() takes four times as long
    return [value - part.elapsed for value in values] if part.elapsed else values
