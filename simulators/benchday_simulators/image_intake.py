"""Take an image piece by piece: check its header, lose what it overwrites, keep the rest for the flash."""

import hashlib
import zlib
from collections.abc import Awaitable, Callable

from . import boot_loop
from .drawing import ERASE_S, FLASH_S, seconds_of
from .images import LONGEST_HEADER, BadHeader, ImageHeader, header_length, read_header, version_key
from .state import RECORDINGS
from .unit import Refused, Unit

STEP_PERCENT = 5


class ImageIntake:
    """One image on its way into one unit. Use: `feed` until the end, `finish`, `flash`; `cut` if it ends before."""

    def __init__(self, unit: Unit, announced: int | None = None) -> None:
        """Expect an image of `announced` bytes; None: what its header says."""
        self.begun = False
        """recordings and release are lost"""
        self.outcome = ""
        """whole, refused or cut, once it has ended"""
        self._header: ImageHeader | None = None
        self._unit = unit
        self._announced = announced
        self._data = bytearray()
        self._payload_from = 0
        self._version = ""
        self._erased_at_s = 0.0

    def percent(self) -> float:
        """Say how much of it has come."""
        return min(100.0, 100 * len(self._data) / self._announced) if self._announced else 0.0

    async def feed(self, piece: bytes) -> None:
        """Take a piece; raises Refused for a header that does not suit, before anything is erased."""
        self._data += piece
        try:
            if not self.begun:
                self._try_header()
            await self._unit.meet("image", self.percent(), begin=False, moved=len(self._data))
        except Refused as refusal:
            self._refuse(refusal)
            raise

    def _try_header(self) -> None:
        try:
            length = header_length(bytes(self._data[:LONGEST_HEADER]))
            if length is None:
                return
            self._header = read_header(bytes(self._data[:length]))
        except BadHeader as bad:
            raise Refused("header", str(bad)) from None
        self._payload_from = length
        self._suits(self._header)
        self._version = self._header.version
        if self._announced is None:
            self._announced = length + self._header.payload_bytes
        self._begin()

    def _suits(self, header: ImageHeader) -> None:
        state = self._unit.state
        if header.model != state.model:
            raise Refused("model", f"image is for {header.model}")
        if state.hardware not in header.hardware:
            raise Refused("hardware", f"image suits revision {' '.join(header.hardware)}")
        if state.mode == "run" and version_key(state.release) < version_key(header.enter_from):
            raise Refused("route", f"enter from {header.enter_from} or later")

    def _begin(self) -> None:
        """Lose the recordings and the old release: first told, then done."""
        unit, state = self._unit, self._unit.state
        lost = [{"name": one.name, "bytes": one.bytes, "sha256": one.sha256} for one in state.recordings]
        unit.log.write("image_begin", bytes=self._announced)
        unit.log.write("erased", recordings=lost, release=state.release)
        names = [recording.name for recording in state.recordings]
        state.last_release = state.release or state.last_release
        state.mode, state.release, state.next_release, state.writing = "boot", "", "", "taking"
        state.recordings = []
        self.begun = True
        self._erased_at_s = unit.clock.now() + seconds_of(ERASE_S, state, "erase")
        unit.be("flash", "taking an image")
        unit.save()
        for name in names:
            (unit.directory / RECORDINGS / name).unlink(missing_ok=True)

    def finish(self) -> None:
        """Check the whole; raises Refused when it is not what was announced (the unit stays in boot)."""
        if self._announced is not None:
            del self._data[self._announced :]  # padding of the last block
        try:
            self._whole()
        except Refused as refusal:
            self._refuse(refusal)
            raise
        self._end("whole")
        boot_loop.end(self._unit)
        self._unit.state.writing = "flashing"
        self._unit.save()

    def _whole(self) -> None:
        payload = memoryview(self._data)[self._payload_from :]
        if self._header is None:
            raise Refused("header", "no header came")
        if len(self._data) != self._announced or len(payload) != self._header.payload_bytes:
            raise Refused("size", f"{len(payload)} bytes of {self._header.payload_bytes}")
        if zlib.crc32(payload) != self._header.crc32:
            raise Refused("crc", "payload is not what its crc32 says")

    def cut(self) -> None:
        """It ended before its end; without effect when it has come whole or was refused."""
        if self.outcome:
            return
        if self.begun:
            self._end("cut")
        else:
            self._unit.be("idle")

    def _refuse(self, refusal: Refused) -> None:
        self._unit.log.write("refused", request="image", code=refusal.code)
        self._end("refused")

    def _end(self, outcome: str) -> None:
        self.outcome = outcome
        digest = hashlib.sha256(self._data).hexdigest()
        self._unit.log.write("image_end", bytes=len(self._data), sha256=digest, outcome=outcome)
        if outcome != "whole":
            self._unit.be("idle")
            self._unit.state.writing = ""
            self._unit.save()

    async def flash(self, report: Callable[[int], Awaitable[None]]) -> None:
        """Flash what has come: `report` is awaited at each whole 5 %. What is left of the erasing counts in."""
        unit, state = self._unit, self._unit.state
        begins = unit.clock.now()
        ends = max(begins, self._erased_at_s) + seconds_of(FLASH_S, state, "flash")
        await unit.meet("flash")
        for percent in range(STEP_PERCENT, 101, STEP_PERCENT):
            unit.be("flash", f"flashing {percent - STEP_PERCENT} %")
            unit.save()
            await unit.clock.sleep_until(begins + (ends - begins) * percent / 100)
            await unit.meet("flash", percent, begin=False)
            await report(percent)
        state.next_release, state.writing = self._version, ""
        unit.be("idle", "restart to run the new release")
        unit.log.write("flashed", version=self._version)
        unit.save()

    def flash_ended(self) -> None:
        """The flashing was cut short: nothing runs until another image is taken."""
        if self._unit.state.writing:
            self._unit.state.writing = ""
            self._unit.be("idle")
            self._unit.save()
