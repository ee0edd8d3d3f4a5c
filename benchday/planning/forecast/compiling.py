"""How functions are compiled by numba; imported only where a forecast runs and numba is installed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

_F = TypeVar("_F", bound=Callable[..., Any])
_NJIT: Any = numba.njit
"""One of the options below is not among those it publishes."""
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def _njit(function: _F, **options: Any) -> _F:
    try:
        # No function here makes an array, so none needs to count who holds it, which costs a fifth of the time.
        return cast("_F", _NJIT(function, nogil=True, _nrt=False, **options))
    except (KeyError, TypeError, ValueError):
        # A numba that does not know the option counts.
        return cast("_F", _NJIT(function, nogil=True, **options))


def compiled(function: _F) -> _F:
    """Compile a function that Python calls, when it is first called; kept for the next program if that can be."""
    try:
        return _njit(function, cache=True)
    except RuntimeError:
        # No folder can be written.
        return _njit(function)


def inner(function: _F) -> _F:
    """Compile a function that only compiled ones call."""
    return _njit(function)


def inlined(function: _F) -> _F:
    """Compile a function into each of its callers: for those that are small, or called from one place."""
    return _njit(function, forceinline=True)
