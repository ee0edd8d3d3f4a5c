"""Draws as blocks of rows, by the compiled loop."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING

from benchday.planning.forecast.compiled import kernel_draws, numpy
from benchday.planning.forecast.draws import Part, Plan, digest, own_draws, pieces
from benchday.planning.forecast.tables import WORD, Shape, lines

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchday.planning.forecast.kernel_draws import Laws

_Table = tuple[Shape, float, float]
AT_ONCE = 1 << 22
"""About so many durations are in memory at once."""


def _table_of(part: Part) -> _Table | None:
    """Return what a part's table of lines is made of; None for a fixed value."""
    return (part.shape, part.offset, part.factor) if part.shape is not None else None


def _ints(values: Iterable[int]) -> NDArray[np.int64]:
    return numpy().fromiter(values, dtype="int64")  # type: ignore[no-any-return]


def _floats(values: Iterable[float]) -> NDArray[np.float64]:
    return numpy().fromiter(values, dtype="float64")  # type: ignore[no-any-return]


def _sums(rows: Sequence[Sequence[object]]) -> NDArray[np.int64]:
    return _ints(accumulate(map(len, rows), initial=0))


class Drawing:
    """The draws of a plan, block by block, as rows of durations."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self._plan = plan
        self._seed = seed
        self._words: list[tuple[str, int, str]] = []
        """Of each column of words: unit, stage's position, part."""
        self._laws = self._arrays()

    def blocks(self, replications: int, first: int = 0) -> Iterator[NDArray[np.float64]]:
        """Draw replications from the first one on, so many rows at a time as memory allows."""
        for block, rows in pieces(first, replications, AT_ONCE // max(len(self._plan.parts), 1)):
            yield self._rows(block, rows)

    def _rows(self, block: int, rows: slice) -> NDArray[np.float64]:
        plan = self._plan
        skipped = 4 * rows.start
        texts = b"".join(digest(self._seed, *column, block, rows.stop)[skipped:] for column in self._words)
        count = rows.stop - rows.start
        words = numpy().frombuffer(texts, dtype="<u4").astype("uint32", copy=False).reshape(-1, count)
        drawn = numpy().empty((count, len(plan.parts)))
        for stage, parts in enumerate(plan.parts):
            if parts is None:
                drawn[:, stage] = own_draws(plan, stage, self._seed, block)[rows]
        kernel_draws().draw_block(self._laws, words, drawn)
        made: NDArray[np.float64] = drawn
        return made

    def _arrays(self) -> Laws:
        parts = [part for of_stage in self._plan.parts for part in of_stage or ()]
        tables = {key: None for part in parts if (key := _table_of(part)) is not None}
        made = [lines(*key) for key in tables]
        size = 2 * len(made[0].begins) if made else 0
        begins: dict[_Table | None, int] = {key: number * size for number, key in enumerate(tables)}
        columns = list(self._columns())
        laws: Laws = kernel_draws().Laws(
            part_first=_sums([of_stage or () for of_stage in self._plan.parts]),
            lines=_floats(number for m in made for pair in zip(m.begins, m.slopes, strict=True) for number in pair),
            table=_ints(begins.get(_table_of(part), -1) for part in parts),
            offset=_floats(part.offset for part in parts),
            cap=_floats(part.cap for part in parts),
            above=_ints(part.above for part in parts),
            elapsed=_floats(part.elapsed for part in parts),
            chance=_ints(part.chance for part in parts),
            spans=_ints(part.spans for part in parts),
            word=_ints(word for word, _ in columns),
            comes=_ints(comes for _, comes in columns),
        )
        return laws

    def _columns(self) -> Iterator[tuple[int, int]]:
        """Number the columns of words that each part needs, -1 for none."""
        for (unit, position), of_stage in zip(self._plan.places, self._plan.parts, strict=True):
            for number, part in enumerate(of_stage or ()):
                yield (
                    self._column(unit, position, f"{number}", needed=part.shape is not None),
                    self._column(unit, position, f"{number}?", needed=part.chance < WORD),
                )

    def _column(self, unit: str, position: int, part: str, *, needed: bool) -> int:
        if not needed:
            return -1
        self._words.append((unit, position, part))
        return len(self._words) - 1
