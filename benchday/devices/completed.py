"""A driver completed by a person: what the machine cannot do, an operator does."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from types import MappingProxyType
from typing import Any

from benchday.domain.recordable import usable
from benchday.domain.seams import CAPABILITIES

DRIVER, BY_HAND = "driver", "by hand"

METHODS: Mapping[str, str] = {
    name: next(word for word in vars(protocol) if not word.startswith("_")) for name, protocol in CAPABILITIES.items()
}
"""Capability -> the one method of its Protocol."""
METHODS_BY_KEY: Mapping[str, str] = {
    name.replace(" ", "_").replace("-", "_"): method for name, method in METHODS.items()
}
"""The same by the key under which a playbook declares the capability."""
READ_WHOLE = frozenset({"identify", "power", "recordings", "settings", "self-test", "position", "prove"})
"""Capabilities whose one answer is a reading."""


class Completed:
    """Has each capability from the driver where it has it, else from the by-hand driver, and no other.

    What is read can be recorded, or it was garbled: nothing that a unit, a plug-in or a person says ends the day.
    """

    sources: Mapping[str, str]
    """Capability -> "driver" or "by hand"."""

    def __init__(self, driver: object, by_hand: object) -> None:
        self._parts = (driver, by_hand)
        sources = {}
        for name, protocol in CAPABILITIES.items():
            for part, source in ((driver, DRIVER), (by_hand, BY_HAND)):
                if isinstance(part, protocol):
                    method = getattr(part, METHODS[name])
                    setattr(self, METHODS[name], _usable(method) if name in READ_WHOLE else method)
                    sources[name] = source
                    break
        self.sources = MappingProxyType(sources)

    @property
    def by_hand(self) -> frozenset[str]:
        """Names of the capabilities that a person fills in."""
        asked = isinstance(self._parts[0], type(self._parts[1]))
        return frozenset(name for name, source in self.sources.items() if asked or source == BY_HAND)

    async def aclose(self) -> None:
        """Close both."""
        for part in self._parts:
            close = getattr(part, "aclose", None)
            if close is not None:
                await close()


def _usable(method: Callable[..., Awaitable[Any]]) -> Callable[..., Awaitable[Any]]:
    async def read(*given: object) -> Any:
        return usable(await method(*given))

    return read


def completed(driver: object, by_hand: object) -> Completed:
    """Complete a driver by hand."""
    return Completed(driver, by_hand)
