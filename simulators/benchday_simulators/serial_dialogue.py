"""The serial dialogue: one request, one answer; and the standard sentences that stream between answers."""

import asyncio
from collections.abc import Awaitable, Callable

from .channel import Channel
from .position import sentences
from .sentences import PREFIX, BadSentence, LineCutter, answer, fields_of, plain
from .serial_transfers import SerialTransfers
from .unit import Refused, Unit

STREAM_EVERY_S = 1.0
MOST_UNREAD = 1_024
"""bytes the host may leave unread before streaming stops"""
IN_BOOT = {"ID", "RELEASE", "POWER", "PROOF", "TAKE", "RESTART", "STREAM"}
"""what the boot loader answers"""

Fields = list[str]
Answers = list[bytes]


class Restart(Exception):
    """The host asked for a restart."""


class SerialDialogue:
    """Talk to whoever is at the other end of a line, until a restart."""

    def __init__(self, unit: Unit, line: Channel) -> None:
        self._unit = unit
        self._line = line
        self._cutter = LineCutter()
        self._transfers = SerialTransfers(unit, line)
        self._streaming = True
        self._busy = False
        self._asks: dict[str, Callable[[Fields], Awaitable[Answers]]] = {
            "ID": self._id,
            "RELEASE": self._release,
            "OPTIONS": self._options,
            "TERM": self._term,
            "POWER": self._power,
            "SETTINGS": self._settings,
            "RECORDINGS": self._recordings,
            "SUM": self._sum,
            "TEST": self._test,
            "AIR": self._air,
            "PROOF": self._proof,
        }
        self._verbs: dict[str, Callable[[Fields], Awaitable[Answers]]] = {
            "STREAM": self._stream,
            "SEND": self._send,
            "TAKE": self._take,
            "PUT": self._put,
            "RESTART": self._restart,
        }

    async def talk(self) -> None:
        """Answer requests until one asks for a restart."""
        stream = asyncio.create_task(self._keep_streaming())
        try:
            while True:
                for line in self._cutter.feed(await self._line.read(3600.0)):
                    await self._answer(line)
        except Restart:
            return
        finally:
            stream.cancel()

    async def hello(self) -> None:
        """Say unasked that the unit has started."""
        await self._line.write(answer("HELLO", self._unit.state.identity(), self._unit.state.release))

    async def _keep_streaming(self) -> None:
        while True:
            await asyncio.sleep(STREAM_EVERY_S)
            if self._streaming and not self._busy and self._unit.state.mode == "run":
                await self._line.write_if_read(b"".join(sentences(self._unit.air())), MOST_UNREAD)

    async def _answer(self, line: bytes) -> None:
        try:
            prefix, *fields = fields_of(line)
        except BadSentence:
            await self._line.write(answer("NO", "LINE", "checksum"))
            return
        if prefix != PREFIX or not fields:
            return
        asked = fields[0] == "ASK" and len(fields) > 1
        name = fields[1] if asked else fields[0]
        act = (self._asks if asked else self._verbs).get(name)
        try:
            if act is None:
                await self._refuse(name, Refused("unknown"))
            elif self._unit.state.mode == "boot" and name not in IN_BOOT:
                await self._refuse(name, Refused("boot", "no valid release"))
            else:
                await self._line.write(b"".join(await act(fields[2:] if asked else fields[1:])))
        except Refused as refusal:
            await self._refuse(name, refusal)

    async def _refuse(self, name: str, refusal: Refused) -> None:
        request = plain(name, 16)
        self._unit.log.write("refused", request=request, code=refusal.code)
        words = [plain(refusal.words, 40)] if refusal.words else []
        await self._line.write(answer("NO", request, refusal.code, *words))

    # Asked

    async def _id(self, _: Fields) -> Answers:
        await self._unit.meet("identify")
        state = self._unit.state
        self._unit.log.write("identify", serial=state.identity(), mode=state.mode)
        return [answer("ID", state.identity(), state.model, state.hardware, state.mode)]

    async def _release(self, _: Fields) -> Answers:
        return [answer("RELEASE", self._unit.state.release)]

    async def _options(self, _: Fields) -> Answers:
        return [answer("OPTIONS", ";".join(self._unit.state.options))]

    async def _term(self, _: Fields) -> Answers:
        return [answer("TERM", self._unit.state.term)]

    async def _power(self, _: Fields) -> Answers:
        return [answer("POWER", *(int(value) for value in self._unit.power_reading().values()))]

    async def _settings(self, _: Fields) -> Answers:
        return _numbered("SETTING", list(self._unit.state.settings.items()))

    async def _recordings(self, _: Fields) -> Answers:
        await self._unit.meet("recordings")
        return _numbered("RECORDING", [(one.name, str(one.bytes)) for one in self._unit.state.recordings])

    async def _sum(self, fields: Fields) -> Answers:
        return [answer("SUM", self._unit.recording(_first(fields)).sha256)]

    async def _test(self, _: Fields) -> Answers:
        failed = await self._unit.self_test()
        return [answer("TEST", "fail", failed) if failed else answer("TEST", "pass")]

    async def _air(self, _: Fields) -> Answers:
        air = self._unit.air()
        return [answer("AIR", air.fix, air.base, air.satellites)]

    async def _proof(self, fields: Fields) -> Answers:
        return [answer("PROOF", self._unit.prove(_first(fields)))]

    # Told

    async def _stream(self, fields: Fields) -> Answers:
        self._streaming = _first(fields) == "1"
        return [answer("OK", "STREAM")]

    async def _put(self, fields: Fields) -> Answers:
        if len(fields) != 2:
            raise Refused("unknown", "a name and a value are needed")
        self._unit.change_setting(fields[0], fields[1])
        return [answer("OK", "PUT")]

    async def _restart(self, _: Fields) -> Answers:
        await self._unit.meet("restart")
        await self._line.write(answer("OK", "RESTART"))
        raise Restart

    async def _send(self, fields: Fields) -> Answers:
        recording = self._unit.recording(_first(fields))
        await self._quietly(self._transfers.send(recording))
        return []

    async def _take(self, fields: Fields) -> Answers:
        if not _first(fields).isdigit():
            raise Refused("size", "the number of bytes is needed")
        await self._quietly(self._transfers.take(int(fields[0])))
        return []

    async def _quietly(self, transfer: Awaitable[None]) -> None:
        self._busy = True
        try:
            await transfer
        finally:
            self._busy = False


def _first(fields: Fields) -> str:
    return fields[0] if fields else ""


def _numbered(name: str, pairs: list[tuple[str, str]]) -> Answers:
    if not pairs:
        return [answer(name, 0, 0, "", "")]
    return [answer(name, number, len(pairs), *pair) for number, pair in enumerate(pairs, 1)]
