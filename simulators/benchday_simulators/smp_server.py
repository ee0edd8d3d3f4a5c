"""What the unit answers by SMP. Source: Zephyr Project, "SMP Protocol Specification" and the pages of the groups."""

import struct
from collections.abc import Awaitable, Callable

from . import slots
from .slot_intake import SlotIntake
from .smp_cbor import BadCbor, Value, decode, encode
from .smp_errors import (
    EINVAL,
    ENOTSUP,
    EUNKNOWN,
    FILES,
    NO_SUCH_FILE,
    NO_SUCH_KEY,
    OF_WORDS,
    SETTINGS,
    SYSTEM,
    SmpRefusal,
)
from .unit import Refused, Unit

HEADER = struct.Struct(">BBHHBB")
BUFFER_BYTES = 1024
BUFFERS = 4
READ, WRITE = 0, 2
PIECE = 768
"""bytes of a file in one answer"""
FOLDER, INDEX = "/rec/", "/rec/index.txt"
READ_FAILED, BAD_FORMAT, NAME_TOO_LONG = 7, 2, 2

Map = dict[str, Value]


class SmpServer:
    """The answers of one unit between two starts."""

    def __init__(self, unit: Unit) -> None:
        self.restart = False
        """it was told to restart, and has answered"""
        self._unit = unit
        self._intake = SlotIntake(unit)
        self._acts: dict[tuple[int, int, int], Callable[[Map], Awaitable[Map]]] = {
            (READ, 0, 0): self._echo,
            (WRITE, 0, 0): self._echo,
            (WRITE, 0, 5): self._reset,
            (READ, 0, 6): self._parameters,
            (READ, 0, 7): self._info,
            (READ, 1, 0): self._images,
            (WRITE, 1, 0): self._mark,
            (WRITE, 1, 1): self._upload,
            (READ, 3, 0): self._setting,
            (WRITE, 3, 0): self._set,
            (WRITE, 3, 2): self._done,
            (WRITE, 3, 3): self._done,
            (READ, 8, 0): self._download,
            (READ, 8, 1): self._size,
            (READ, 8, 2): self._sum,
        }

    def close(self) -> None:
        """The unit goes down."""
        self._intake.cut()

    async def answer(self, message: bytes) -> bytes | None:
        """Answer a message; None: to what is none, or where the answer gets lost."""
        if len(message) < HEADER.size:
            return None
        first, _, length, group, number, command = HEADER.unpack_from(message)
        operation, version = first & 7, first >> 3 & 3
        if operation not in {READ, WRITE} or length != len(message) - HEADER.size:
            return None
        try:
            told = await self._act(operation, group, command, message[HEADER.size :])
        except SmpRefusal as refusal:
            code = f"{'' if refusal.group is None else refusal.group}:{refusal.number}"
            self._unit.log.write("refused", request=f"{group}.{command}", code=code)
            told = refusal.told(older=version == 0)
        data = encode(told)
        if (
            operation == WRITE
            and (group, command) == (1, 1)
            and "match" in told
            and self._unit.suffers("last acknowledgement lost")
        ):
            return None
        return HEADER.pack(version << 3 | operation + 1, 0, len(data), group, number, command) + data

    async def _act(self, operation: int, group: int, command: int, data: bytes) -> Map:
        act = self._acts.get((operation, group, command))
        if act is None:
            raise SmpRefusal(None, ENOTSUP)
        try:
            asked = decode(data) if data else {}
        except BadCbor:
            raise SmpRefusal(None, EINVAL) from None
        if not isinstance(asked, dict):
            raise SmpRefusal(None, EINVAL)
        try:
            return await act(asked)
        except Refused as refused:
            raise SmpRefusal(None, OF_WORDS.get(refused.code, EUNKNOWN)) from None

    # System

    async def _echo(self, asked: Map) -> Map:
        return {"r": _text(asked, "d")}

    async def _reset(self, _: Map) -> Map:
        await self._unit.meet("restart")
        self.restart = True
        return {}

    async def _parameters(self, _: Map) -> Map:
        return {"buf_size": BUFFER_BYTES, "buf_count": BUFFERS}

    async def _info(self, asked: Map) -> Map:
        state = self._unit.state
        fields = {"s": "Tarn", "n": f"wherry-{state.identity()}", "i": state.model}
        wanted = _text(asked, "format") if "format" in asked else "s"
        letters = "sni" if wanted == "a" else wanted
        if not letters or set(letters) - set(fields):
            raise SmpRefusal(SYSTEM, BAD_FORMAT)
        return {"output": " ".join(text for letter, text in fields.items() if letter in letters)}

    # Images

    async def _images(self, _: Map) -> Map:
        return {"images": slots.listed(self._unit.state), "splitStatus": 0}

    async def _mark(self, asked: Map) -> Map:
        digest = asked.get("hash")
        slots.mark(self._unit, digest if isinstance(digest, bytes) else None, confirm=asked.get("confirm") is True)
        return await self._images({})

    async def _upload(self, asked: Map) -> Map:
        return await self._intake.take(asked)

    # Settings

    async def _setting(self, asked: Map) -> Map:
        name, state = _text(asked, "name"), self._unit.state
        if name.startswith("proof/"):
            return {"val": self._unit.prove(name.removeprefix("proof/")).encode()}
        if name == "unit/serial":
            await self._unit.meet("identify")
            self._unit.log.write("identify", serial=state.identity(), mode=state.mode)
        own = {"serial": state.identity(), "model": state.model, "hardware": state.hardware, "term": state.term}
        value = {f"unit/{key}": text for key, text in own.items()} | state.settings
        if name not in value:
            raise SmpRefusal(SETTINGS, NO_SUCH_KEY)
        return {"val": value[name].encode()}

    async def _set(self, asked: Map) -> Map:
        name, value = _text(asked, "name"), asked.get("val")
        if not isinstance(value, bytes) or name not in self._unit.state.settings:
            raise SmpRefusal(SETTINGS, NO_SUCH_KEY)
        self._unit.change_setting(name, value.decode("utf-8", "replace"))
        return {}

    async def _done(self, _: Map) -> Map:
        return {}

    # Files

    async def _content(self, path: str) -> tuple[bytes, int]:
        """Give what can be read of a file, and its size."""
        unit = self._unit
        if path == INDEX:
            await unit.meet("recordings")
            listed = "".join(f"{one.name}\n" for one in unit.state.recordings).encode()
            return listed, len(listed)
        try:
            recording = unit.recording(path.removeprefix(FOLDER) if path.startswith(FOLDER) else "")
        except Refused:
            raise SmpRefusal(FILES, NO_SUCH_FILE) from None
        return unit.recorded_bytes(recording), recording.bytes

    async def _size(self, asked: Map) -> Map:
        return {"len": (await self._content(_text(asked, "name")))[1]}

    async def _sum(self, asked: Map) -> Map:
        path = _text(asked, "name")
        _, size = await self._content(path)
        recording = self._unit.recording(path.removeprefix(FOLDER))
        return {"type": "sha256", "len": size, "output": bytes.fromhex(recording.sha256)}

    async def _download(self, asked: Map) -> Map:
        path, offset = _text(asked, "name"), asked.get("off")
        data, size = await self._content(path)
        if not isinstance(offset, int) or not 0 <= offset <= size:
            raise SmpRefusal(None, EINVAL)
        if path != INDEX:
            if offset == 0:
                await self._unit.meet("send")
            await self._unit.meet("send", 100 * offset / size if size else 100, begin=False, moved=offset)
            data, size = await self._content(path)  # it may have vanished
        piece = data[offset : offset + PIECE]
        if not piece and offset < size:
            raise SmpRefusal(FILES, READ_FAILED)
        told: Map = {"off": offset, "data": piece}
        return told | ({"len": size} if offset == 0 else {})


def _text(asked: Map, name: str) -> str:
    value = asked.get(name)
    if not isinstance(value, str):
        raise SmpRefusal(None, EINVAL)
    return value
