"""How a line is set: rate, framing, control lines."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.domain.errors import InputError

OPEN_LIMIT_S = 10.0
"""How long opening a port may take; a broken adapter can hang in open (seconds)."""
CLOSE_LIMIT_S = 2.0
"""How long closing may take before the port is left to its thread (seconds)."""

_PARITIES = ("none", "even", "odd")


@dataclass(frozen=True, slots=True)
class LineSettings:
    """What both ends of a serial line must agree on."""

    baud: int = 115200
    """Bits a second."""
    data_bits: int = 8
    parity: str = "none"
    """none, even or odd."""
    stop_bits: int = 1
    dtr: bool = True
    """Data terminal ready as it stands from the opening on; some adapters reset the unit when it changes."""
    rts: bool = True
    """Request to send, likewise."""
    settle_ms: int = 0
    """How long the unit needs after the port was opened (milliseconds)."""

    def __post_init__(self) -> None:
        for name, value, allowed in (
            ("data_bits", self.data_bits, (5, 6, 7, 8)),
            ("parity", self.parity, _PARITIES),
            ("stop_bits", self.stop_bits, (1, 2)),
        ):
            if value not in allowed:
                raise InputError(f"line setting {name} is {value!r}; possible: {', '.join(map(str, allowed))}")
        if self.baud <= 0 or self.settle_ms < 0:
            raise InputError("line settings baud and settle_ms are whole numbers, baud above 0")
