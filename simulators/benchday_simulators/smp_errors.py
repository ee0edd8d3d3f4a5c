"""The unit's refusals, as numbers. Source: Zephyr Project, "SMP Protocol Specification" and the pages of the groups."""

from .smp_cbor import Value

SYSTEM, IMAGES, SETTINGS, FILES, NO_SUCH_KEY, NO_SUCH_FILE = 0, 1, 3, 8, 3, 3
OF_WORDS = {"power": 6, "missing": 5, "unknown": 3, "nokey": 5, "busy": 10, "full": 2}
"""numbers of the protocol for what the unit's other parts refuse in words"""
EUNKNOWN, EINVAL, ENOTSUP = 1, 3, 8


class SmpRefusal(Exception):
    """The unit says no: a number of a group, or (None) of the protocol itself."""

    def __init__(self, group: int | None, number: int) -> None:
        super().__init__(group, number)
        self.group = group
        self.number = number

    def told(self, *, older: bool) -> dict[str, Value]:
        """Word it for the version of the protocol in which was asked."""
        if self.group is None:
            return {"rc": self.number}
        if older:  # that version has numbers of the protocol only
            return {"rc": EUNKNOWN}
        return {"err": {"group": self.group, "rc": self.number}}
