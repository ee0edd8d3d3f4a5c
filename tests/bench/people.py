"""People who answer what a test does not answer itself: the plain way through a day, changed topic by topic."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.bench.desk import BenchDesk
from benchday.domain.errors import AlreadyRecorded
from benchday.domain.fold import ItemState
from benchday.domain.units import wanted_characters
from tests.bench.fake_unit import FakeUnit

Value = dict[str, Any]
Answer = Value | Callable[[BenchDesk, ItemState], Value | None] | None

ARRIVED: Value = {
    "here": "arrived", "consent_release": True, "consent_erase": True, "consent_copy": True, "keep_days": 30,
}  # fmt: skip


def read_off(desk: BenchDesk, asked: ItemState) -> Value:
    """Confirm as somebody does who reads the label."""
    present = frozenset(s.serial for s in desk.state.units.values() if s.present)
    return {"answer": "write", "label": wanted_characters(asked.item.unit or "", present)}


class People:
    """Answer each open item at once; ``None`` for a topic leaves its items open."""

    def __init__(self, units: Mapping[str, FakeUnit]) -> None:
        self._units = units
        self.answers: dict[str, Answer] = {
            "check in": ARRIVED,
            "confirm": read_off,
            "findings": {"answer": "go on", "reason": "agreed"},
            "bench pc": {"answer": "go on", "reason": "looked at"},
            "interrupted": {"answer": "identify anew"},
            "line": {"answer": "lift", "reason": "looked into"},
            "set": lambda _, asked: {"fix": "fixed", "base": asked.item.figures["base"]},
            "failed": {"answer": "hand back"},
            "charged": {"charge_percent": 95},
            "hand back": {"to": "the crew"},
            "recording": {"answer": "hold"},
            "inputs": {"answer": "accept"},
            "walk-in": {"accept": "mistake"},
        }
        """First word of a topic, a whole topic, or "topic SERIAL" -> the answer; the closest wins."""

    async def serve(self, desk: Any) -> None:
        """Answer until cancelled."""
        while True:
            for asked in desk.items():
                value = self._answer(desk, asked)
                if value is not None:
                    await self._give(desk, asked, value)
                    break
            else:
                await desk.changed()

    def _answer(self, desk: BenchDesk, asked: ItemState) -> Value | None:
        item = asked.item
        # What wants no value is named by its whole topic: "set aside" is no "set".
        families = (item.topic.split(" ")[0],) if item.wanted else ()
        for name in (f"{item.topic} {item.unit}", item.topic, *families):
            if name in self.answers:
                answer = self.answers[name]
                return answer(desk, asked) if callable(answer) else answer
        return {}

    async def _give(self, desk: BenchDesk, asked: ItemState, value: Value) -> None:
        self._hands(asked)
        wants = {w.name for w in asked.item.wanted}
        who = next(o.name for o in desk.plan.bench.operators if desk.may(o.name, asked))
        try:
            await desk.answer(asked.item.id, {n: v for n, v in value.items() if n in wants}, who, "person")
        except AlreadyRecorded:
            return

    def _hands(self, asked: ItemState) -> None:
        unit = self._units.get(asked.item.unit or "")
        if unit is None:
            return
        match asked.item.topic:
            case "fit pack" | "charged":
                unit.charge_percent = 95
            case "external power":
                unit.external = True
            case "set aside" | "send off" | "last look":
                unit.external = False
