"""Hands on simulated units: what a person says they did is done to the instrument before the answer is recorded."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import anyio

from benchday.demo.instruments import Bench, read_state
from benchday.domain.items import Item

SETTLES_WITHIN_S = 20.0
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

    async def __call__(self, item: Item, value: Mapping[str, Any]) -> None:
        """Do what the answer to this item says was done."""
        if item.unit is None or not (self._bench.of(item.unit) / "state.json").exists():
            return
        match item.topic:
            case "connect":
                await self._up(item.unit)
            case topic if topic.startswith("set up "):
                for unit in (item.unit, str(item.figures["base"])):
                    await self._up(unit)
            case "fit pack":
                percent = self._packs.get(str(item.figures.get("pack")), 90)
                await self._do(item.unit, {"do": "fit pack", "charge_percent": percent})
                await self._until(item.unit, lambda told: _percent(told) >= percent - 1)
            case "external power":
                await self._power(item.unit, on=True)
            case "charge":
                await self._power(item.unit, on=True)
            case "charged":
                await self._power(item.unit, on=False)
            case "last look" | "set aside" | "send off" | "hand back":
                await self._power(item.unit, on=False)
                await self._do(item.unit, {"do": "switch", "on": False})
            case "hand:write" if value.get("begun") is True:
                await self._write_by_card(item)
            case "hand:restart" if value.get("up") is True:
                await self._do(item.unit, {"do": "restart"})
                await self._until(item.unit, lambda told: told["display"].get("doing") in (None, "", "idle"))
            case "hand:fetch":
                await self._do(item.unit, {"do": "copy to card", "to": str(value.get("folder"))})
                await anyio.sleep(0.3)

    async def _up(self, unit: str) -> None:
        """Fit the antenna first, then switch the unit on and wait until it shows something."""
        await self._do(unit, {"do": "antenna", "fitted": True})
        await self._do(unit, {"do": "switch", "on": True})
        await self._until(unit, lambda told: bool(told["display"]["lit"]) and bool(told["display"].get("serial")))

    async def press_for_proof(self, item: Item) -> None:
        """Press the keys that make the display show the unit's proof; the answer is read off it afterwards."""
        unit = item.unit or ""
        await self._do(unit, {"do": "prove", "nonce": str(item.figures["nonce"])})
        await self._until(unit, lambda told: bool(told["display"].get("proof")))

    async def _write_by_card(self, item: Item) -> None:
        image = self._images.get(str(item.figures.get("image_sha256")))
        if image is not None and item.unit is not None:
            await self._do(item.unit, {"do": "write by card", "file": str(image.resolve())})
            await anyio.sleep(0.3)

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


def _holds(bench: Bench, unit: str, condition: Callable[[Mapping[str, Any]], bool]) -> bool:
    try:
        return condition(read_state(bench, unit))
    except (OSError, ValueError, KeyError):
        return False


def _percent(told: Mapping[str, Any]) -> int:
    return int(told["display"].get("battery_percent", 0))
