"""Take an image into the other slot, piece by piece, as the image group's upload brings it."""

import hashlib

from . import boot_loop, slots
from .drawing import seconds_of
from .slot_images import BadSlotImage, hash_of, read_slot_header
from .smp_cbor import Value
from .smp_errors import IMAGES, SmpRefusal
from .state import RECORDINGS
from .unit import Refused, Unit

ERASE_S = (6.0, 12.0)
SLOT_BYTES = 4_194_304
BAD_MAGIC, TOO_LARGE, OVERRUN, OFFSET_MISSING, LENGTH_MISSING = 23, 30, 31, 20, 21


class SlotIntake:
    """The uploads of one unit between two starts. One that broke off goes on where it was, if its sum is given."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._data = bytearray()
        self._total = 0
        self._sum: bytes | None = None
        self._under_way = False

    async def take(self, request: dict[str, Value]) -> dict[str, Value]:
        """Take a piece; gives from where the next is wanted. Raises SmpRefusal, Refused."""
        offset, data = request.get("off"), request.get("data")
        if not isinstance(offset, int) or not isinstance(data, bytes):
            raise SmpRefusal(IMAGES, OFFSET_MISSING)
        if offset == 0 and not self._resumes(request.get("sha")):
            await self._begin(request, data)
        elif not self._under_way or offset != len(self._data):
            return {"off": len(self._data) if self._under_way else 0}
        if len(self._data) + len(data) > self._total:
            raise SmpRefusal(IMAGES, OVERRUN)
        self._data += data
        moved = len(self._data)
        await self._unit.meet("image", 100 * moved / self._total, begin=False, moved=moved)
        return {"off": len(self._data)} | (self._finished() if len(self._data) == self._total else {})

    def _resumes(self, told: Value) -> bool:
        return self._under_way and isinstance(told, bytes) and told == self._sum and bool(self._data)

    async def _begin(self, request: dict[str, Value], data: bytes) -> None:
        unit, total, told = self._unit, request.get("len"), request.get("sha")
        if not isinstance(total, int):
            raise SmpRefusal(IMAGES, LENGTH_MISSING)
        if slots.in_use(unit.state):
            raise SmpRefusal(IMAGES, slots.NO_FREE_SLOT)
        if not unit.power_suffices():
            raise Refused("power", "charge or connect external power")
        await unit.meet("image")
        try:
            read_slot_header(data)
        except BadSlotImage:
            raise SmpRefusal(IMAGES, BAD_MAGIC) from None
        if total > SLOT_BYTES:
            raise SmpRefusal(IMAGES, TOO_LARGE)
        self.cut()
        self._data, self._total, self._under_way = bytearray(), total, True
        self._sum = told if isinstance(told, bytes) else None
        self._erase(total)
        await unit.clock.sleep(seconds_of(ERASE_S, unit.state, "erase"))

    def _erase(self, total: int) -> None:
        """Lose the recordings and what stood in the other slot: first told, then done."""
        unit, state = self._unit, self._unit.state
        lost = [{"name": one.name, "bytes": one.bytes, "sha256": one.sha256} for one in state.recordings]
        unit.log.write("image_begin", bytes=total)
        unit.log.write("erased", recordings=lost, release="")
        state.recordings, state.writing = [], "taking"
        held = slots.slots_of(state)
        held.other_version = held.other_hash = ""
        unit.be("flash", "taking an image")
        unit.save()
        for one in lost:
            (unit.directory / RECORDINGS / str(one["name"])).unlink(missing_ok=True)

    def _finished(self) -> dict[str, Value]:
        state, data = self._unit.state, bytes(self._data)
        match = self._sum in {None, hashlib.sha256(data).digest()}
        try:
            digest = hash_of(data)
        except BadSlotImage:
            digest = b""
        self._end("whole" if match and digest else "refused")
        if digest and match:
            held = slots.slots_of(state)
            held.other_version, held.other_hash = read_slot_header(data).version, digest.hex()
            self._unit.log.write("flashed", version=held.other_version)
            boot_loop.end(self._unit)
            self._unit.save()
        return {"match": match}

    def cut(self) -> None:
        """The unit goes down, or another image begins: what has come is lost."""
        if self._under_way:
            self._end("cut")

    def _end(self, outcome: str) -> None:
        self._under_way = False
        digest = hashlib.sha256(self._data).hexdigest()
        self._unit.log.write("image_end", bytes=len(self._data), sha256=digest, outcome=outcome)
        self._unit.be("idle")
        self._unit.state.writing = ""
        self._unit.save()
