"""A driver completed by a person: what the machine cannot do, an operator does."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

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


class Completed:
    """Has each capability from the driver where it has it, else from the by-hand driver, and no other."""

    sources: Mapping[str, str]
    """Capability -> "driver" or "by hand"."""

    def __init__(self, driver: object, by_hand: object) -> None:
        self._parts = (driver, by_hand)
        sources = {}
        for name, protocol in CAPABILITIES.items():
            for part, source in ((driver, DRIVER), (by_hand, BY_HAND)):
                if isinstance(part, protocol):
                    setattr(self, METHODS[name], getattr(part, METHODS[name]))
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


def completed(driver: object, by_hand: object) -> Completed:
    """Complete a driver by hand."""
    return Completed(driver, by_hand)
