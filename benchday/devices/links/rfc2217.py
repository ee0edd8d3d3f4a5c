"""A line behind a serial server that lets its port be set: telnet with the serial port option (RFC 2217).

What the server acknowledges is waited for, within limits, and not insisted upon: a pseudo-terminal or a plain server
has no control lines to set. What it says of a setting that differs is logged. While nothing comes, the server is asked
for its rate now and then; one that answered once and then does not is gone, although its connection may look open.
"""

from __future__ import annotations

from typing import Never

import anyio
import anyio.abc
import anyio.lowlevel

from benchday.devices.links import telnet
from benchday.devices.links.alive import Alive, acknowledge_at_once
from benchday.devices.links.line import CLOSE_LIMIT_S, LineSettings
from benchday.devices.links.tcp import GONE, connected, drop, raw_socket
from benchday.devices.links.telnet import Command, Option, Told
from benchday.domain.errors import LinkBusy, LinkError, LinkGone, LinkNotFound
from benchday.domain.seams import ModemLines
from benchday.logs import logger

AGREE_S = 3.0
"""For the server's word on whether it has the option at all (real seconds)."""
ANSWER_S = 1.0
"""For an acknowledgement of rate, framing or purge (real seconds)."""
BEAT_S = 1.5
"""After so long a silence the server is asked whether it is there (real seconds)."""
BEAT_ANSWER_S = 10.0
"""For its answer (real seconds). Longer than most interruptions of a network, which must not end a write that goes on
all the same; both together shorter than a question to a unit that is asked twice."""
LATE_S = 0.2
QUIET_S = 0.02
DISCARD_S = 0.1
"""For throwing input away where the server does not: a device that never stops must not hold whoever wants to speak."""
MOST_OWED = 300
MOST_INPUT = 1 << 20
"""What is kept while somebody waits for an acknowledgement; a server that sends more then is broken."""

_BOTH_WAYS = (telnet.BINARY, telnet.SUPPRESS_GO_AHEAD)
_ASKED = (*_BOTH_WAYS, telnet.COM_PORT)


class Rfc2217Link:
    """One connection."""

    def __init__(self, stream: anyio.abc.SocketStream, where: str) -> None:
        self._stream, self._where = stream, where
        self._raw = raw_socket(stream)
        self._decoder = telnet.Decoder()
        self._sending = anyio.Lock()
        self._input = bytearray()
        self._over: str | None = None
        self._told: dict[int, bytes] = {}
        self._options: set[tuple[int, int]] = set()
        self._heard_s = anyio.current_time()
        self._asked_s: float | None = None
        self._owed = b""
        self._beats = False
        self._purges = True

    async def receive(self, max_bytes: int = 65536) -> bytes:
        await anyio.lowlevel.checkpoint()
        self._check()
        while not self._input:
            await self._beat()
            with anyio.move_on_after(max(self._beat_due_s() - anyio.current_time(), 0)):
                await self._hear()
        data = bytes(self._input[:max_bytes])
        del self._input[:max_bytes]
        return data

    async def send(self, item: bytes) -> None:
        await self._say(telnet.doubled(item))

    async def set_baud(self, baud: int) -> None:
        self._check()
        if self._has(telnet.DO, telnet.COM_PORT):
            await self._set({Command.BAUD: telnet.baud(baud)}, ANSWER_S)

    def modem_lines(self) -> ModemLines:
        state = self._told.get(Command.NOTIFY_MODEM, b"")
        # A server without control lines, or one that was told nothing of them, reports none up: that says nothing.
        if self._over is not None or not state or not state[0]:
            return ModemLines()
        bits = state[0]
        return ModemLines(cts=bool(bits & telnet.CTS), dsr=bool(bits & telnet.DSR), dcd=bool(bits & telnet.DCD))

    async def discard_input(self) -> None:
        """Have the server throw away what it holds; what came before its word on that was old."""
        await anyio.lowlevel.checkpoint()
        self._check()
        if self._purges and self._has(telnet.DO, telnet.COM_PORT):
            purge = telnet.asking(Command.PURGE, telnet.PURGE_INPUT)
            self._purges = await self._set({Command.PURGE: purge}, ANSWER_S)
            if self._purges:
                self._input.clear()
                return
        quiet = False
        with anyio.move_on_after(DISCARD_S):
            while not quiet:
                with anyio.move_on_after(QUIET_S) as waiting:
                    await self._hear()
                quiet = waiting.cancelled_caught
                self._input.clear()
        self._input.clear()

    def abort(self) -> None:
        if self._over is None:
            self._over = "the line was dropped"
            self._input.clear()
            drop(self._stream)

    async def aclose(self) -> None:
        self._over = self._over or "the line was closed"
        self._input.clear()
        with anyio.move_on_after(CLOSE_LIMIT_S, shield=True):
            await anyio.aclose_forcefully(self._stream)

    async def agree(self) -> None:
        """Agree with the server on binary data and the serial port option.

        Raises:
            LinkNotFound: it speaks no telnet.
        """
        asked = b"".join(telnet.option(verb, o) for o in _BOTH_WAYS for verb in (telnet.WILL, telnet.DO))
        await self._say(asked + telnet.option(telnet.WILL, telnet.COM_PORT))
        with anyio.move_on_after(AGREE_S):
            while not any(self._has(verb, telnet.COM_PORT) for verb in (telnet.DO, telnet.DONT)):
                await self._hear()
        if not self._options:
            raise LinkNotFound(
                f"{self._where} took the connection but does not speak RFC 2217; if it offers the line as plain "
                f"bytes, write socket://{self._where}; if it did before, it hangs and has to be started anew"
            )

    def insist_on_binary(self) -> None:
        """Refuse a server that has said, by now, that it will not pass every byte unchanged.

        Raises:
            LinkNotFound
        """
        if self._has(telnet.DONT, telnet.BINARY) or self._has(telnet.WONT, telnet.BINARY):
            raise LinkNotFound(f"{self._where} refuses binary data, which would damage images; set its port to binary")

    async def settings(self, line: LineSettings) -> None:
        """Ask for rate, framing and control lines; what is not acknowledged, or not so, is logged."""
        if not self._has(telnet.DO, telnet.COM_PORT):
            logger().warning("serial server keeps its own line settings", where=self._where)
            return
        framing = {
            Command.BAUD: telnet.baud(line.baud),
            Command.DATA_BITS: telnet.asking(Command.DATA_BITS, line.data_bits),
            Command.PARITY: telnet.asking(Command.PARITY, telnet.PARITIES[line.parity]),
            Command.STOP_BITS: telnet.asking(Command.STOP_BITS, line.stop_bits),
        }
        await self._set(framing, ANSWER_S)
        self._beats = Command.BAUD in self._told
        self._note_differences(line)
        await self._say(telnet.asking(Command.MODEM_MASK, telnet.CTS | telnet.DSR | telnet.DCD))
        for control in (
            telnet.NO_FLOW_CONTROL,
            telnet.DTR_ON if line.dtr else telnet.DTR_OFF,
            telnet.RTS_ON if line.rts else telnet.RTS_OFF,
        ):
            await self._say(telnet.asking(Command.CONTROL, control))
        if self._beats:
            # Many servers never acknowledge control lines, but all answer in order: after this they are set.
            await self._set({Command.BAUD: telnet.baud(0)}, ANSWER_S)

    def _note_differences(self, line: LineSettings) -> None:
        wanted = {
            Command.BAUD: line.baud,
            Command.DATA_BITS: line.data_bits,
            Command.PARITY: telnet.PARITIES[line.parity],
            Command.STOP_BITS: line.stop_bits,
        }
        for command, value in wanted.items():
            said = self._told.get(command)
            if said is None or int.from_bytes(said, "big") != value:
                has = "does not say" if said is None else int.from_bytes(said, "big")
                facts = {"where": self._where, "setting": command.name.lower(), "wanted": value, "has": has}
                logger().warning("serial server did not confirm a line setting", **facts)

    async def _set(self, requests: dict[Command, bytes], limit_s: float) -> bool:
        """Send requests and wait for all their acknowledgements; tell whether they came."""
        for command in requests:
            self._told.pop(command, None)
        await self._say(b"".join(requests.values()))
        with anyio.move_on_after(limit_s):
            while not requests.keys() <= self._told.keys():
                await self._hear()
        return requests.keys() <= self._told.keys()

    async def _hear(self) -> None:
        """Take the next piece: data into the buffer, what the server says into what is known of it."""
        try:
            # From here to the return nothing else is awaited, so that being cancelled never loses a byte.
            piece = await self._stream.receive(65536)
        except GONE as error:
            self._lost(error)
        acknowledge_at_once(self._raw)
        data, said = self._decoder.feed(piece)
        self._input += data
        self._heard_s, self._asked_s = anyio.current_time(), None
        if len(self._input) > MOST_INPUT:
            self.abort()
            raise LinkGone(f"{self._where} sends without end; it was dropped")
        for one in said:
            if isinstance(one, Told):
                self._told[one.command] = one.value
            else:
                self._options.add((one.verb, one.option))
                self._decline(one)

    def _decline(self, asked: Option) -> None:
        """Decline an option that nobody here asked for, with what is sent next; to the others we agreed at first."""
        if asked.option not in _ASKED and asked.verb in (telnet.DO, telnet.WILL):
            no = telnet.WONT if asked.verb == telnet.DO else telnet.DONT
            self._owed = (self._owed + telnet.option(no, asked.option))[:MOST_OWED]

    def _beat_due_s(self) -> float:
        if self._asked_s is not None:
            return self._asked_s + BEAT_ANSWER_S
        return self._heard_s + BEAT_S

    async def _beat(self) -> None:
        """Ask the server whether it is there, once the line has been silent long enough."""
        now = anyio.current_time()
        if now < self._beat_due_s():
            return
        if self._asked_s is not None and self._beats:
            with anyio.move_on_after(LATE_S):  # its answer may have come while nobody read
                await self._hear()
                return
            self.abort()
            raise LinkGone(
                f"the serial server at {self._where} does not answer any more, although the connection stands: "
                "is it on, and in this network?"
            )
        if self._sending.locked():  # whoever sends notices for us
            self._heard_s = now
            return
        self._asked_s = now
        await self._say(telnet.baud(0) if self._beats else bytes((telnet.IAC, telnet.NOP)))
        if not self._beats:
            self._heard_s, self._asked_s = now, None

    async def _say(self, data: bytes) -> None:
        self._check()
        async with self._sending:
            data, self._owed = self._owed + data, b""
            try:
                await self._stream.send(data)
            except GONE as error:
                self._lost(error)

    def _has(self, verb: int, option: int) -> bool:
        return (verb, option) in self._options

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"{self._where}: {self._over}")

    def _lost(self, error: Exception) -> Never:
        self._check()
        self._over = "the connection was lost"
        raise LinkGone(
            f"the serial server at {self._where} has ended the connection: is it on, its network there, and the unit's "
            "cable seated in it?"
        ) from error


async def _agreed(link: Rfc2217Link, where: str, line: LineSettings) -> None:
    try:
        await link.agree()
        await link.settings(line)
        link.insist_on_binary()  # servers answer in order, so that a refusal has come before the last acknowledgement
    except LinkGone as gone:
        raise LinkBusy(
            f"the serial server at {where} ended the connection at once: another program may have its port, or had it "
            "and was cut off; end that program, or set the server to let the newest client in"
        ) from gone


async def open_rfc2217(where: str, line: LineSettings, alive: Alive | None = None) -> Rfc2217Link:
    """Connect to ``host:port`` and set the line there.

    Raises:
        LinkNotFound: nobody listens there, it is no address, or no such server.
        LinkSilent: no answer.
        LinkBusy: it ended the connection at once.
    """
    link = Rfc2217Link(await connected("rfc2217", where, alive or Alive()), where)
    try:
        await _agreed(link, where, line)
        await anyio.sleep(line.settle_ms / 1000)
    except (LinkError, anyio.get_cancelled_exc_class()):
        link.abort()
        await link.aclose()
        raise
    return link
