"""How functions are compiled by numba; imported only where a forecast runs and numba is installed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def compiled(function: _F) -> _F:
    """Compile a function that Python calls, when it is first called; kept for the next program if that can be."""
    try:
        return cast("_F", numba.njit(function, nogil=True, cache=True))
    except RuntimeError:
        # No folder can be written.
        return cast("_F", numba.njit(function, nogil=True))


def inner(function: _F) -> _F:
    """Compile a function that only compiled ones call."""
    return cast("_F", numba.njit(function, nogil=True))


def inlined(function: _F) -> _F:
    """Compile a function into each of its callers: for those that are small, or called from one place."""
    return cast("_F", numba.njit(function, nogil=True, forceinline=True))
