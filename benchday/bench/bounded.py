"""An open driver whose every call ends in bounded real time: a driver that hangs must not hold a station for ever.

What a person does by hand is not bounded: people come back when they come back, and the item shows what waits.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing
from typing import Any, TypeVar, cast

import anyio

from benchday.domain.errors import TookTooLong
from benchday.domain.limits import Limits
from benchday.domain.playbook import Playbook, StepName
from benchday.domain.readings import Progress
from benchday.domain.seams import ServedBy

T = TypeVar("T")

_WAITS_FOR = {
    "identify": "the unit to say who it is",
    "power": "the unit to tell its charge",
    "recordings": "the unit to list its recordings",
    "settings": "the unit to tell its settings",
    "put_settings": "the unit to take its settings",
    "sky": "the unit to tell its position",
    "self_test": "the unit to end its own test",
    "restart": "the unit to come back from its restart",
    "prove": "the unit to answer whether it is a simulator",
}
"""Method -> what is waited for."""
_CAPABILITY = {"self_test": "self-test", "sky": "position", "put_settings": "put settings"}
"""Method -> its capability, where the two have different names."""
_TRANSFERS = {
    "fetch": (StepName.PRESERVE, "the next piece of a recording"),
    "write": (StepName.WRITE, "the write to go on"),
}


async def within(limit_s: float, what: str, coming: Awaitable[T]) -> T:
    """Return what comes within the limit.

    Raises:
        TookTooLong: it says how long it was waited for, and for what.
    """
    with anyio.move_on_after(limit_s):
        return await coming
    raise TookTooLong(what, limit_s)


def bounded(driver: ServedBy, limits: Limits, playbook: Playbook) -> ServedBy:
    """Bound every capability that the driver itself has."""
    return cast("ServedBy", _Bounded(driver, limits, playbook))


class _Bounded:
    """Has the capabilities of the driver inside, and no other."""

    def __init__(self, driver: ServedBy, limits: Limits, playbook: Playbook) -> None:
        self._driver, self._limits, self._playbook = driver, limits, playbook
        for name, what in _WAITS_FOR.items():
            method = getattr(driver, name, None)
            if method is not None:
                by_hand = _CAPABILITY.get(name, name) in driver.by_hand
                setattr(self, name, method if by_hand else self._call(method, self._limit_s(name), what))
        for name, (step, what) in _TRANSFERS.items():
            method = getattr(driver, name)
            setattr(self, name, method if name in driver.by_hand else self._transfer(method, step, what))

    @property
    def by_hand(self) -> frozenset[str]:
        """Names of the capabilities that a person fills in."""
        return self._driver.by_hand

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._driver.aclose()

    def _limit_s(self, name: str) -> float:
        special = {"self_test": self._limits.test, "restart": self._limits.restart}
        return special[name](self._playbook) if name in special else self._limits.reading_s

    def _call(self, method: Callable[..., Awaitable[Any]], limit_s: float, what: str) -> Callable[..., Awaitable[Any]]:
        async def called(*arguments: object) -> Any:
            return await within(limit_s, what, method(*arguments))

        return called

    def _transfer(
        self, method: Callable[..., AsyncIterator[Progress]], step: StepName, what: str
    ) -> Callable[..., AsyncIterator[Progress]]:
        nothing_s, whole_s = self._limits.nothing(self._playbook, step), self._limits.transfer(self._playbook, step)

        async def followed(*arguments: object) -> AsyncIterator[Progress]:
            until = anyio.current_time() + whole_s
            pieces = method(*arguments)
            async with aclosing(cast("Any", pieces)):
                while True:
                    left_s = until - anyio.current_time()
                    if left_s <= 0:
                        raise TookTooLong(f"{what} to its end", whole_s)
                    try:
                        piece = await within(min(nothing_s, left_s), what, anext(pieces))
                    except StopAsyncIteration:
                        return
                    yield piece

        return followed
