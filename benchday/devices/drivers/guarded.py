"""A plugged-in driver behind a guard: whatever a stranger's code raises becomes an error of a unit, and ends no day.

Errors of ours pass as they are. Anything else in a call that can change the unit leaves its outcome unknown.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing
from functools import partial
from inspect import isasyncgen
from typing import Any

import structlog

from benchday.devices.drivers.place import Place
from benchday.domain.errors import BenchdayError, DeviceError, OutcomeUnknown
from benchday.domain.seams import CAPABILITIES

_CHANGES = frozenset({"put settings", "write", "restart"})
_log = structlog.get_logger("benchday.drivers")


class Guarded:
    """Has the capabilities of the driver inside, and no other."""

    def __init__(self, name: str, driver: object) -> None:
        self.driver = driver
        self._name = name
        for capability, protocol in CAPABILITIES.items():
            if isinstance(driver, protocol):
                method = next(word for word in vars(protocol) if not word.startswith("_"))
                call = partial(self._call, capability, getattr(driver, method))
                setattr(self, method, call)

    async def aclose(self) -> None:
        """Close the driver inside, if it can be closed."""
        close = getattr(self.driver, "aclose", None)
        if close is None:
            return
        try:
            await close()
        except BenchdayError:
            raise
        except Exception as error:
            raise self._failed("close", error) from error

    def _call(self, capability: str, method: Callable[..., Any], *arguments: object) -> Any:
        try:
            begun = method(*arguments)
        except BenchdayError:
            raise
        except Exception as error:
            raise self._failed(capability, error) from error

        return self._piecewise(capability, begun) if hasattr(begun, "__aiter__") else self._whole(capability, begun)

    async def _whole(self, capability: str, begun: Awaitable[object]) -> object:
        try:
            return await begun
        except BenchdayError:
            raise
        except Exception as error:
            raise self._failed(capability, error) from error

    async def _piecewise(self, capability: str, begun: AsyncIterator[object]) -> AsyncIterator[object]:
        try:
            if isasyncgen(begun):
                async with aclosing(begun):
                    async for piece in begun:
                        yield piece
            else:
                async for piece in begun:
                    yield piece
        except BenchdayError:
            raise
        except Exception as error:
            raise self._failed(capability, error) from error

    def _failed(self, capability: str, error: Exception) -> DeviceError:
        _log.error("driver failed", driver=self._name, capability=capability, exc_info=error)
        words = f"the driver {self._name} failed in {capability} ({type(error).__name__}: {error})"
        if capability in _CHANGES:
            return OutcomeUnknown(f"{words}; what the unit did is unknown: read it back")

        return DeviceError(words)


async def guarded(name: str, make: Callable[[Place], Awaitable[object]], place: Place) -> Guarded:
    """Make a plugged-in driver and stand guard over it.

    Raises:
        InputError, LinkError: as the maker says.
        DeviceError: the maker failed.
    """
    try:
        return Guarded(name, await make(place))
    except BenchdayError:
        raise
    except Exception as error:
        raise DeviceError(f"the driver {name} could not be made ({type(error).__name__}: {error})") from error
