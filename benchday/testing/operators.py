"""Operators from a table, beside the real faces: the memory twin of the Operators seam."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from benchday.domain.errors import AlreadyRecorded
from benchday.domain.fold import ItemState
from benchday.domain.seams import Desk

Value = dict[str, Any]
Answer = Value | Callable[[Any, ItemState], Value | None] | None
"""What is answered; a function of desk and item makes it on the spot; None leaves the item open."""


class ScriptedOperators:
    """Answers each open item at once. What the table does not name is simply done, with no values."""

    def __init__(self, operator: str, answers: Mapping[str, Answer], by: str = "person") -> None:
        """Take the table.

        Args:
            operator: under whose name is answered.
            answers: "topic SERIAL", a topic, or the first word of one that wants values -> answer; the closest wins.
            by: the face that it passes for: person, pipe or simulated.
        """
        self.operator, self.by = operator, by
        self.answers: dict[str, Answer] = dict(answers)

    async def serve(self, desk: Desk) -> None:
        """Answer until cancelled."""
        while True:
            for asked in desk.items():
                value = self.answer_to(desk, asked)
                if value is not None:
                    await self.give(desk, asked, value)
                    break
            else:
                await desk.changed()

    def answer_to(self, desk: Desk, asked: ItemState) -> Value | None:
        """Return what the table says to an item."""
        item = asked.item
        # What wants no value is named by its whole topic: "set aside" is no "set".
        families = (item.topic.split(" ")[0],) if item.wanted else ()
        for name in (f"{item.topic} {item.unit}", item.topic, *families):
            if name in self.answers:
                answer = self.answers[name]
                return answer(desk, asked) if callable(answer) else answer
        return {}

    async def give(self, desk: Desk, asked: ItemState, value: Value) -> None:
        """Answer an item with those of the values that it wants; somebody else may have been first."""
        wants = {w.name for w in asked.item.wanted}
        try:
            await desk.answer(asked.item.id, {n: v for n, v in value.items() if n in wants}, self.operator, self.by)
        except AlreadyRecorded:
            return
