"""What the compiled loop is handed: a prepared model as two arrays. Numba and numpy are loaded when they are used."""

from __future__ import annotations

import importlib
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from importlib.metadata import version
from itertools import accumulate, chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from platformdirs import user_cache_path

from benchday.planning.forecast.kernel_places import (
    ACTIVE,
    ARRIVE,
    BREAK_ENDS,
    BREAK_Y,
    DURATION,
    FIXED,
    FREED,
    GATE,
    GRANTED,
    OPENER,
    POOL,
    QUEUE,
    STRETCH,
    STRETCH_Y,
    TAKE,
    TIMES,
    TOGETHER,
    UNIT,
    UNIT_Y,
)
from benchday.planning.forecast.prepared import Prepared

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchday.planning.forecast.kernel import Fresh


_SOURCES = ("compiling.py", "kernel.py", "kernel_draws.py", "kernel_places.py", "kernel_watch.py")


@lru_cache(maxsize=1)
def kernel() -> Any:
    """Load numba and the loop; what it compiles is kept in the user's cache folder, if that can be written."""
    return _loaded_with_cache("benchday.planning.forecast.kernel")


@lru_cache(maxsize=1)
def kernel_draws() -> Any:
    """Load numba and the draws."""
    return _loaded_with_cache("benchday.planning.forecast.kernel_draws")


def _loaded_with_cache(module: str) -> Any:
    numba = importlib.import_module("numba")
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = before or str(kept_in())
    try:
        return importlib.import_module(module)
    finally:
        numba.config.CACHE_DIR = before


@lru_cache(maxsize=1)
def kept_in() -> Path:
    """Return the folder in which compiled code is kept; each version has its own, for another's may not be readable."""
    texts = b"".join(Path(__file__).with_name(name).read_bytes() for name in _SOURCES)
    return user_cache_path("benchday") / f"compiled-{sha256(texts + version('numba').encode()).hexdigest()[:16]}"


def there_is() -> str:
    """Tell what there is of the compiled loop: "loaded", "kept" from an earlier program, or "absent"."""
    if kernel.cache_info().currsize:
        return "loaded"
    return "kept" if any(kept_in().glob("**/kernel.run_block*.nbc")) else "absent"


def numpy() -> Any:
    """Load numpy."""
    return importlib.import_module("numpy")


@dataclass(frozen=True, slots=True)
class DayArrays:
    """A prepared day for the compiled loop, with room for a day under way."""

    x: NDArray[np.int64]
    y: NDArray[np.float64]
    fresh: Fresh
    """What both begin with before a day."""


def day_arrays(prepared: Prepared) -> DayArrays:
    """Return a prepared day as the compiled loop takes it."""
    ends = sorted({end for breaks in prepared.breaks for _, end in breaks})
    x: list[int] = [prepared.units, len(prepared.counts), prepared.stages, len(ends)]
    x += [0] * (FIXED - len(x))
    y: list[float] = [0.0, prepared.close]
    for place, table in _changing(prepared).items():
        x[place] = len(x)
        x += table
    changing = len(x)
    for place, table in _still(prepared).items():
        x[place] = len(x)
        x += table
    for place, doubles in _changing_doubles(prepared).items():
        x[place] = len(y)
        y += doubles
    changing_y = len(y)
    for place, doubles in _still_doubles(prepared, ends).items():
        x[place] = len(y)
        y += doubles
    whole, whole_y = numpy().array(x, dtype="int64"), numpy().array(y, dtype="float64")
    return DayArrays(whole, whole_y, kernel().Fresh(whole[:changing].copy(), whole_y[:changing_y].copy()))


def _rows(*columns: Iterable[Any]) -> list[Any]:
    """Lay columns side by side, row after row."""
    return list(chain.from_iterable(zip(*columns, strict=True)))


def _spans(rows: Sequence[Sequence[object]]) -> tuple[list[int], list[int]]:
    """Return where each row begins and where it ends, once they are laid one after the other."""
    bounds = list(accumulate(map(len, rows), initial=0))
    return bounds[:-1], bounds[1:]


def _changing(prepared: Prepared) -> dict[int, list[int]]:
    """Tables in x that change in a day, as they are before one."""
    takes = Counter(chain.from_iterable(prepared.table.takes))
    begins = list(accumulate((takes[pool] for pool in range(len(prepared.counts))), initial=0))[:-1]
    hands = [int(hands) for hands in prepared.hands]
    firsts, pasts = prepared.stretch_first[:-1], prepared.stretch_first[1:]
    none = [0] * prepared.units
    openers = Counter(chain.from_iterable(prepared.opened_by))
    return {
        POOL: _rows(prepared.counts, begins, begins, hands, *_spans(prepared.breaks)),
        UNIT: _rows(firsts, none, [-1] * prepared.units, firsts, pasts, *_spans(prepared.opened_by)),
        GATE: list(chain.from_iterable((0, openers[gate]) for gate in range(len(prepared.gates)))),
    }


def _still(prepared: Prepared) -> dict[int, list[int]]:
    """Tables in x that do not change, or whose content before a day does not matter."""
    table = prepared.table
    takes, none = list(chain.from_iterable(table.takes)), [0] * prepared.units
    spans = (table.firsts, table.pasts, *_spans(table.takes), *_spans(table.frees))
    return {
        STRETCH: _rows(*spans, table.opens, table.waits_for),
        TAKE: takes,
        FREED: list(chain.from_iterable(table.frees)),
        OPENER: list(chain.from_iterable(prepared.opened_by)),
        QUEUE: [0] * len(takes),
        ACTIVE: none,
        TOGETHER: none,
        ARRIVE: sorted(range(prepared.units), key=lambda unit: prepared.arrivals[unit]),
    }


def _changing_doubles(prepared: Prepared) -> dict[int, list[float]]:
    zeros, nans = [0.0] * prepared.units, [math.nan] * prepared.units
    return {
        UNIT_Y: _rows(prepared.priorities, prepared.arrivals, zeros, zeros, nans, nans),
        GRANTED: [math.nan] * prepared.table.take_first[-1],
    }


def _still_doubles(prepared: Prepared, break_ends: Sequence[float]) -> dict[int, list[float]]:
    return {
        STRETCH_Y: _rows(prepared.table.guards, [0.0] * len(prepared.table.guards)),
        TIMES: [0.0] * prepared.units,
        BREAK_Y: list(chain.from_iterable(chain.from_iterable(prepared.breaks))),
        BREAK_ENDS: list(break_ends),
        DURATION: [0.0] * prepared.stages,
    }


def given(rows: Sequence[Sequence[float]]) -> list[NDArray[np.float64]]:
    """Return given durations as one block."""
    return [numpy().array(rows, dtype="float64")] if rows else []
