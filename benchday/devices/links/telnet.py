"""Telnet and its serial port option as pure values: bytes in, data and what the server said out.

Sources: RFC 854 (IAC, commands, doubling), RFC 855 (negotiation, subnegotiation), RFC 856 (binary), RFC 858 (suppress
go ahead), RFC 2217 (the option COM-PORT-OPTION; numbers of commands and values from its section 3).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

IAC, DONT, DO, WONT, WILL, SB, SE, NOP = 255, 254, 253, 252, 251, 250, 240, 241
BINARY, SUPPRESS_GO_AHEAD, COM_PORT = 0, 3, 44

SERVER_ADDS = 100
"""A server's answer carries the client's command number plus this (RFC 2217, section 3)."""
MOST_SUBNEGOTIATION = 512
"""Bytes kept of one subnegotiation; more of it is thrown away."""


class Command(IntEnum):
    """What a client may ask of the port."""

    BAUD = 1
    DATA_BITS = 2
    PARITY = 3
    STOP_BITS = 4
    CONTROL = 5
    NOTIFY_MODEM = 7
    MODEM_MASK = 11
    PURGE = 12


PARITIES = {"none": 1, "odd": 2, "even": 3}
NO_FLOW_CONTROL, DTR_ON, DTR_OFF, RTS_ON, RTS_OFF = 1, 8, 9, 11, 12
PURGE_INPUT = 1
"""What the server has received from the unit and not yet sent on."""
CTS, DSR, DCD = 0x10, 0x20, 0x80
"""Bits of a modem state."""


@dataclass(frozen=True, slots=True)
class Option:
    """The server does, or will not, have an option: DO, DONT, WILL or WONT."""

    verb: int
    option: int


@dataclass(frozen=True, slots=True)
class Told:
    """What the server says of its port, under the client's command number."""

    command: int
    value: bytes


@dataclass(slots=True)
class Decoder:
    """Takes a telnet stream apart, however it is cut into pieces."""

    _state: str = "data"
    _verb: int = 0
    _inside: bytearray = field(default_factory=bytearray)

    def feed(self, piece: bytes) -> tuple[bytes, list[Option | Told]]:
        """Return the data and what the server said in the next piece of the stream."""
        if self._state == "data" and IAC not in piece:
            return piece, []
        data, said = bytearray(), list[Option | Told]()
        for byte in piece:
            self._take(byte, data, said)

        return bytes(data), said

    def _take(self, byte: int, data: bytearray, said: list[Option | Told]) -> None:
        state, self._state = self._state, "data"
        if state == "data":
            if byte == IAC:
                self._state = "iac"
            else:
                data.append(byte)
        elif state == "iac":
            self._command(byte, data)
        elif state == "option":
            said.append(Option(self._verb, byte))
        elif state == "inside":
            self._state = "inside iac" if byte == IAC else "inside"
            if byte != IAC:
                self._keep(byte)
        elif byte == SE:
            said += _told(bytes(self._inside))
        else:  # a doubled IAC inside; anything else there is an error that ends with the next SE
            self._state = "inside"
            self._keep(byte)

    def _command(self, byte: int, data: bytearray) -> None:
        if byte == IAC:
            data.append(IAC)
        elif byte in (DO, DONT, WILL, WONT):
            self._verb, self._state = byte, "option"
        elif byte == SB:
            self._inside.clear()
            self._state = "inside"
        # Every other command (NOP, go ahead, ...) asks nothing of a client.

    def _keep(self, byte: int) -> None:
        if len(self._inside) < MOST_SUBNEGOTIATION:
            self._inside.append(byte)


def _told(inside: bytes) -> list[Told]:
    if len(inside) < 2 or inside[0] != COM_PORT or inside[1] < SERVER_ADDS:
        return []
    return [Told(inside[1] - SERVER_ADDS, inside[2:])]


def doubled(data: bytes) -> bytes:
    """Return data as it goes over the wire: each IAC twice (RFC 854)."""
    return data.replace(b"\xff", b"\xff\xff")


def option(verb: int, number: int) -> bytes:
    """Return a word of negotiation."""
    return bytes((IAC, verb, number))


def asking(command: Command, value: int, size: int = 1) -> bytes:
    """Return a request to the server's port; a baud rate has 4 bytes, highest first."""
    return bytes((IAC, SB, COM_PORT, command)) + doubled(value.to_bytes(size, "big")) + bytes((IAC, SE))


def baud(rate: int) -> bytes:
    """Return the request for a rate (bits a second); 0 asks which it is and changes nothing."""
    return asking(Command.BAUD, rate, 4)
