"""An operator who answers by script, with a unit in hand that exists on paper only."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from benchday.devices.drivers.by_hand_questions import Question


class ScriptedOperator:
    """Answers each question truthfully; ``said`` overrides single answers."""

    def __init__(self, serial: str, folder: Path, count: int, release_after: str) -> None:
        self.asked: list[Question] = []
        self.said: dict[str, Mapping[str, object]] = {}
        self._serial, self._folder, self._count = serial, folder, count
        self._release, self._release_after = "1.0", release_after

    async def __call__(self, question: Question) -> Mapping[str, object]:
        self.asked.append(question)
        if "up" in {wanted.name for wanted in question.wanted}:
            self._release = self._release_after
        answers = self._answers() | self.said
        return {wanted.name: answers.get(question.capability, {}).get(wanted.name) for wanted in question.wanted}

    def _answers(self) -> dict[str, Mapping[str, object]]:
        return {
            "identify": {
                "serial": self._serial,
                "model": "Tiller",
                "hardware": "E",
                "mode": "run",
                "release": self._release,
                "options": "tracking; remote",
            },
            "power": {"charge_percent": "80", "external": "no", "full_mwh": 24000, "temperature_c": "21"},
            "recordings": {"count": self._count, "done": True},
            "fetch": {"folder": str(self._folder)},
            "settings": {"settings": "edm_mode=prism; angle_unit=gon"},
            "put settings": {"done": "yes"},
            "write": {"begun": "yes", "outcome": "whole"},
            "restart": {"up": "yes"},
            "self-test": {"result": "pass"},
            "position": {"fix": "none", "satellites": 0, "latitude": "-12.5", "longitude": "23.25"},
        }
