"""People who answer what a test does not answer itself: the plain way through a day, changed topic by topic."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchday.bench.desk import BenchDesk
from benchday.domain.fold import ItemState
from benchday.domain.units import wanted_characters
from benchday.testing.operators import Answer, ScriptedOperators, Value
from tests.bench.fake_unit import FakeUnit

ARRIVED: Value = {
    "here": "arrived", "consent_release": True, "consent_erase": True, "consent_copy": True, "keep_days": 30,
}  # fmt: skip


def read_off(desk: BenchDesk, asked: ItemState) -> Value:
    """Confirm as somebody does who reads the label."""
    present = frozenset(s.serial for s in desk.state.units.values() if s.present)
    return {"answer": "write", "label": wanted_characters(asked.item.unit or "", present)}


class People(ScriptedOperators):
    """Answer as the people of a plain day do, each item by somebody who may, once their hands have done it."""

    def __init__(self, units: Mapping[str, FakeUnit]) -> None:
        self._units = units
        answers: dict[str, Answer] = {
            "check in": ARRIVED,
            "confirm": read_off,
            "choice": {"answer": "split", "reason": "agreed"},
            "findings": {"answer": "go on", "reason": "agreed"},
            "bench pc": {"answer": "go on", "reason": "looked at"},
            "interrupted": {"answer": "identify anew"},
            "settings lost": {"answer": "leave held"},
            "as it is": {"answer": "hand back as it is", "reason": "its maker's service is asked"},
            "line": {"answer": "lift", "reason": "looked into"},
            "set": lambda _, asked: {"fix": "fixed", "base": asked.item.figures["base"]},
            "changed": {"answer": "accept", "reason": "agreed with the owner"},
            "failed": {"answer": "hand back"},
            "charged": {"charge_percent": 95},
            "hand back": {"to": "the crew"},
            "hand back as it is": {"to": "the crew"},
            "recording": {"answer": "hold"},
            "refused": {"answer": "leave held"},
            "recordings gone": {"answer": "hold"},
            "inputs": {"answer": "accept"},
            "walk-in": {"accept": "mistake"},
        }
        super().__init__("", answers)

    async def give(self, desk: Any, asked: ItemState, value: Value) -> None:
        """Do it, then answer."""
        self._hands(asked)
        self.operator = next(o.name for o in desk.plan.bench.operators if desk.may(o.name, asked))
        await super().give(desk, asked, value)

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
