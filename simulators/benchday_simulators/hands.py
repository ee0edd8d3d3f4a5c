"""What a person does to the unit, told by lines of JSON in `hands.jsonl` (older lines are done with)."""

import asyncio
import json
from collections.abc import Awaitable, Callable, Coroutine
from pathlib import Path

from .image_intake import ImageIntake
from .unit import PACK_SWAP_S, Refused, Unit

LOOK_EVERY_S = 0.1
HANDS_FILE = "hands.jsonl"
PIECE = 65_536

Deed = dict[str, object]


class Hands:
    """Watch the file of one unit and do what it says, one after another."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._path = unit.directory / HANDS_FILE
        self._done_bytes = self._path.stat().st_size if self._path.exists() else 0
        self._writing: asyncio.Task[None] | None = None
        self._deeds: dict[str, Callable[[Deed], Awaitable[None]]] = {
            "external power": self._external_power,
            "fit pack": self._fit_pack,
            "antenna": self._antenna,
            "switch": self._switch,
            "setting": self._setting,
            "prove": self._prove,
        }
        if unit.model.line == "none":
            self._deeds |= {
                "write by card": self._write_by_card,
                "copy to card": self._copy_to_card,
                "restart": self._restart,
            }
        if unit.model.line == "drive":
            self._deeds |= {"unmount": self._unmount, "mount": self._mount, "restart": self._restart}

    async def work(self) -> None:
        """Do what is written, for ever."""
        while True:
            for line in self._new_lines():
                await self._do(line)
            await asyncio.sleep(LOOK_EVERY_S)

    def _new_lines(self) -> list[bytes]:
        if not self._path.exists() or self._path.stat().st_size <= self._done_bytes:
            return []
        with self._path.open("rb") as written:
            written.seek(self._done_bytes)
            data = written.read()
        whole = data[: data.rfind(b"\n") + 1]
        self._done_bytes += len(whole)
        return whole.splitlines()

    async def _do(self, line: bytes) -> None:
        try:
            deed = json.loads(line)
            act = self._deeds[deed["do"]]
        except (ValueError, KeyError, TypeError):
            self._unit.log.write("refused", request="hands", code="unknown", line=line.decode("utf-8", "replace"))
            return
        self._unit.log.write("hands", deed=deed)
        if act == self._write_by_card:  # takes long: hands are free meanwhile
            self._writing = asyncio.create_task(self._try(deed, act))
        else:
            await self._try(deed, act)

    async def _try(self, deed: Deed, act: Callable[[Deed], Awaitable[None]]) -> None:
        try:
            await act(deed)
        except Refused as refusal:
            self._unit.log.write("refused", request=deed["do"], code=refusal.code, words=refusal.words)
        except (KeyError, ValueError, OSError) as error:
            self._unit.log.write("refused", request=deed["do"], code="unknown", words=repr(error))

    async def _external_power(self, deed: Deed) -> None:
        self._unit.settle()
        self._unit.state.external_power = bool(deed["on"])
        self._unit.save()
        if deed["on"]:
            self._unit.power_on("external power")

    async def _fit_pack(self, deed: Deed) -> None:
        unit, charge = self._unit, float(str(deed["charge_percent"]))
        if not 0 <= charge <= 100:
            raise Refused("unknown", "charge_percent is 0 to 100")
        if not unit.state.external_power:
            unit.power_off("pack out")
            await unit.clock.sleep(PACK_SWAP_S)
        unit.settle()
        unit.state.battery.charge_mwh = unit.state.battery.full_mwh * charge / 100
        unit.save()
        unit.power_on("pack fitted")

    async def _antenna(self, deed: Deed) -> None:
        self._unit.state.antenna_fitted = bool(deed["fitted"])
        self._unit.save()

    async def _switch(self, deed: Deed) -> None:
        self._unit.state.switched_on = bool(deed["on"])
        if deed["on"]:
            self._unit.power_on("switched on")
        else:
            self._unit.power_off("switched off")

    async def _setting(self, deed: Deed) -> None:
        self._unit.change_setting(str(deed["name"]), str(deed["value"]))

    async def _prove(self, deed: Deed) -> None:
        self._unit.proof_shown = self._unit.prove(str(deed["nonce"]))
        self._unit.save()

    # A unit without a line

    async def _copy_to_card(self, deed: Deed) -> None:
        await self._while_lit(self._unit.meet("send"))
        if self._unit.lit.is_set():
            _copy(self._unit, Path(str(deed["to"])))

    async def _write_by_card(self, deed: Deed) -> None:
        data = _read(str(deed["file"]))
        if not self._unit.lit.is_set():
            raise Refused("off", "switch it on first")
        if self._unit.state.writing:
            raise Refused("busy", "an image is under way")
        if not self._unit.power_suffices():
            raise Refused("power", "charge or connect external power")
        writing = asyncio.create_task(self._write(data))
        ends = [asyncio.create_task(self._unit.dark.wait()), asyncio.create_task(self._unit.restart_asked.wait())]
        try:
            await asyncio.wait({writing, *ends}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (writing, *ends):
                task.cancel()
        await asyncio.gather(writing, return_exceptions=True)
        if not writing.cancelled():
            writing.result()

    async def _write(self, data: bytes) -> None:
        await self._unit.meet("image")
        intake = ImageIntake(self._unit, len(data))
        try:
            for begin in range(0, len(data), PIECE):
                await intake.feed(data[begin : begin + PIECE])
            intake.finish()
        finally:
            intake.cut()
        try:
            await intake.flash(_unseen)
        finally:
            intake.flash_ended()

    async def _unmount(self, _: Deed) -> None:
        self._unit.unmount_asked.set()

    async def _mount(self, _: Deed) -> None:
        self._unit.unmount_asked.clear()

    async def _restart(self, _: Deed) -> None:
        await self._while_lit(self._unit.meet("restart"))
        if self._unit.lit.is_set():
            self._unit.restart_asked.set()

    async def _while_lit(self, meeting: Coroutine[object, object, None]) -> None:
        """Wait for something that does not end where the unit goes dark over it: hands have other things to do."""
        tasks = [asyncio.create_task(meeting), asyncio.create_task(self._unit.dark.wait())]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
        for ended in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(ended, Exception):
                raise ended


def _copy(unit: Unit, card: Path) -> None:
    card.mkdir(parents=True, exist_ok=True)
    for recording in unit.state.recordings:
        (card / recording.name).write_bytes(unit.recorded_bytes(recording))


def _read(file: str) -> bytes:
    return Path(file).read_bytes()


async def _unseen(_: int) -> None:
    """Nobody but the display is told."""
