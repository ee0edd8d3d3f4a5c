"""Hands on simulated units: what a person says they did is done to the instrument before the answer is recorded."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

import anyio

from benchday.bench.silence import SWITCH
from benchday.demo.instruments import Bench, read_state
from benchday.domain.items import Item

SETTLES_WITHIN_S = 20.0
HANDS_WITHIN_S = 0.3
"""How long a simulated unit takes to notice what was done to it."""
_LOOK_S = 0.02


class SimulatedHands:
    """Works the instruments of a simulated bench."""

    def __init__(self, bench: Bench, images: Mapping[str, Path], packs: Mapping[str, int]) -> None:
        """Take the bench in hand.

        Args:
            bench: where the instruments are.
            images: SHA-256 -> file, for the memory card of a unit that takes its image from one.
            packs: number of a shop pack -> its charge in percent.
        """
        self._bench = bench
        self._images = images
        self._packs = packs
        self._deeds: Mapping[str, Callable[[str, Item, Mapping[str, Any]], Awaitable[None]]] = {
            "connect": self._connect,
            "plug": self._plug,
            "set up": self._set_up,
            "fit pack": self._fit_pack,
            "silence": self._look_at_it,
            "interrupted": self._look_for_power,
            "external power": self._supply,
            "charge": self._supply,
            "charged": self._no_supply,
            "last look": self._put_away,
            "set aside": self._put_away,
            "send off": self._put_away,
            "hand back": self._put_away,
            "hand:write": self._begin_write,
            "hand:restart": self._restart,
            "hand:unmount": self._unmount,
            "hand:fetch": self._copy,
        }

    async def __call__(self, item: Item, value: Mapping[str, Any]) -> None:
        """Do what the answer to this item says was done."""
        if item.unit is None or not (self._bench.of(item.unit) / "state.json").exists():
            return
        topic = "set up" if item.topic.startswith("set up ") else item.topic
        deed = self._deeds.get(topic)
        if deed is not None:
            await deed(item.unit, item, value)

    async def _connect(self, unit: str, *_: Any) -> None:
        await self._do(unit, {"do": "antenna", "fitted": True})
        # The others are switched on once they are plugged in: waiting for a cable need not run a battery down.
        if _line(read_state(self._bench, unit)) == "none":
            await self._up(unit)

    async def _plug(self, unit: str, *_: Any) -> None:
        await self._up(unit)

    async def _set_up(self, unit: str, item: Item, _: Mapping[str, Any]) -> None:
        for member in (unit, str(item.figures["base"])):
            await self._up(member)

    async def _look_at_it(self, unit: str, item: Item, _: Mapping[str, Any]) -> None:
        """Mount its drive again; switch it off and on where that is what helps, never what may be half written."""
        line = _line(read_state(self._bench, unit))
        if line == "drive":
            await self._do(unit, {"do": "mount"})
        if SWITCH in item.text and line != "none":
            await self._do(unit, {"do": "switch", "on": False})
            await anyio.sleep(HANDS_WITHIN_S)
            await self._up(unit)

    async def _look_for_power(self, unit: str, *_: Any) -> None:
        """Connect external power to what is dark; nothing is pressed on it."""
        if not read_state(self._bench, unit)["display"]["lit"]:
            await self._power(unit, on=True)

    async def _fit_pack(self, unit: str, item: Item, _: Mapping[str, Any]) -> None:
        percent = self._packs.get(str(item.figures.get("pack")), 90)
        await self._do(unit, {"do": "fit pack", "charge_percent": percent})
        await self._until(unit, lambda told: _percent(told) >= percent - 1)

    async def _supply(self, unit: str, *_: Any) -> None:
        await self._power(unit, on=True)

    async def _no_supply(self, unit: str, *_: Any) -> None:
        await self._power(unit, on=False)

    async def _put_away(self, unit: str, *_: Any) -> None:
        await self._power(unit, on=False)
        await self._do(unit, {"do": "switch", "on": False})

    async def _begin_write(self, unit: str, item: Item, value: Mapping[str, Any]) -> None:
        image = self._images.get(str(item.figures.get("image_sha256")))
        if value.get("begun") is True and image is not None:
            await self._do(unit, {"do": "write by card", "file": str(image.resolve())})
            await anyio.sleep(HANDS_WITHIN_S)

    async def _restart(self, unit: str, _: Item, value: Mapping[str, Any]) -> None:
        if value.get("up") is True:
            await self._do(unit, {"do": "restart"})
            await self._until(unit, lambda told: told["display"].get("doing") in (None, "", "idle"))

    async def _unmount(self, unit: str, *_: Any) -> None:
        await self._do(unit, {"do": "unmount"})

    async def _copy(self, unit: str, _: Item, value: Mapping[str, Any]) -> None:
        await self._do(unit, {"do": "copy to card", "to": str(value.get("folder"))})
        await anyio.sleep(HANDS_WITHIN_S)

    async def _up(self, unit: str) -> None:
        """Fit the antenna first, then switch the unit on and wait until it shows something."""
        await self._do(unit, {"do": "antenna", "fitted": True})
        await self._do(unit, {"do": "switch", "on": True})
        await self._until(unit, _shows_itself)

    async def press_for_proof(self, item: Item) -> None:
        """Press the keys that make the display show the unit's proof; the answer is read off it afterwards."""
        unit = item.unit or ""
        # What it still shows may be its answer to an earlier nonce.
        before = read_state(self._bench, unit)["display"].get("proof")
        await self._do(unit, {"do": "prove", "nonce": str(item.figures["nonce"])})
        await self._until(unit, lambda told: told["display"].get("proof") not in (None, "", before))

    async def look(self, item: Item) -> None:
        """Look at the display until it shows something, as whoever is to read it would."""
        await self._until(item.unit or "", _shows_itself)

    async def _power(self, unit: str, *, on: bool) -> None:
        await self._do(unit, {"do": "external power", "on": on})
        await self._until(unit, lambda told: bool(told["external_power"]) is on)

    async def _do(self, unit: str, deed: dict[str, object]) -> None:
        async with await anyio.open_file(self._bench.of(unit) / "hands.jsonl", "a", encoding="utf-8") as file:
            await file.write(json.dumps(deed) + "\n")

    async def _until(self, unit: str, condition: Callable[[Mapping[str, Any]], bool]) -> None:
        """Wait until the instrument shows it; after a while go on all the same, as a person would."""
        with anyio.move_on_after(SETTLES_WITHIN_S):
            while not _holds(self._bench, unit, condition):  # noqa: ASYNC110 - the unit is another process
                await anyio.sleep(_LOOK_S)


def _shows_itself(told: Mapping[str, Any]) -> bool:
    return bool(told["display"]["lit"]) and bool(told["display"].get("serial"))


def _holds(bench: Bench, unit: str, condition: Callable[[Mapping[str, Any]], bool]) -> bool:
    try:
        return condition(read_state(bench, unit))
    except (OSError, ValueError, KeyError):
        return False


def _line(told: Mapping[str, Any]) -> str:
    """Return how a host reaches it."""
    from benchday_simulators.models import MODELS  # noqa: PLC0415 - only where there are simulators

    return MODELS[str(told["model"])].line


def _percent(told: Mapping[str, Any]) -> int:
    return int(told["display"].get("battery_percent", 0))
