"""The people of the demo: each operator takes the first item they may do, spends the time it takes, and answers."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

import anyio
from anyio.abc import TaskGroup

from benchday.bench.desk import BenchDesk
from benchday.demo.answers import Answers
from benchday.demo.hands import SimulatedHands
from benchday.demo.instruments import Bench, read_state
from benchday.domain.bench import Operator
from benchday.domain.errors import AlreadyRecorded, InputError, OurFault
from benchday.domain.fold import ItemState
from benchday.domain.items import Item
from benchday.domain.playbook import StepName
from benchday.domain.scenario import Coming, Renewal, Scenario, ScenarioUnit

MINUTE_US = 60_000_000
FIX_WITHIN_S = 4.0
_USUAL = (0.5, 1.0, 2.0)
"""Shortest, usual and longest minutes for what no playbook gives times for."""


class DemoPeople:
    """Serves the operators of a bench without anybody there; its confirmations hold only for proved simulators."""

    def __init__(self, bench: Bench, scenario: Scenario, seed: int, hands: SimulatedHands) -> None:
        self._bench = bench
        self._hands = hands
        self._scenario = scenario
        self._answers = Answers(bench, scenario)
        self._seed = seed
        self._busy: set[str] = set()
        self._aside: set[str] = set()

    async def serve(self, desk: Any) -> None:
        """Work until cancelled."""
        async with anyio.create_task_group() as people:
            for operator in desk.plan.bench.operators:
                people.start_soon(self._work, people, desk, operator)
            for unit in self._scenario.units:
                if unit.coming is Coming.WALKS_IN:
                    people.start_soon(self._bring, desk, unit)
            for renewal in self._scenario.renewals:
                people.start_soon(self._renew, desk, renewal)

    async def _work(self, people: TaskGroup, desk: BenchDesk, operator: Operator) -> None:
        for caution in await desk.act_as(operator.name, "simulated"):
            await desk.acknowledge(caution, operator.name)
        while True:
            await self._rest(desk)
            asked = self._next(desk, operator)
            if asked is None:
                await desk.changed()
                continue
            self._busy.add(asked.item.id)
            try:
                await self._do(people, desk, operator, asked)
            finally:
                self._busy.discard(asked.item.id)

    def _next(self, desk: BenchDesk, operator: Operator) -> ItemState | None:
        for asked in desk.items():
            if asked.item.id not in self._busy | self._aside and asked.open and desk.may(operator.name, asked):
                return asked
        return None

    async def _do(self, people: TaskGroup, desk: BenchDesk, operator: Operator, asked: ItemState) -> None:
        item = asked.item
        if (wait := self._answers.minutes_before(item)) or any(w.name == "outcome" for w in item.wanted):
            # What takes long is not stood beside: the hands are free for others meanwhile.
            self._aside.add(item.id)
            people.start_soon(self._answer_later, desk, operator, asked, wait)
            return
        await desk.wait_until(desk.now() + self._takes_us(desk, item))
        await self._answer(desk, operator, asked)

    async def _answer_later(self, desk: BenchDesk, operator: Operator, asked: ItemState, minutes: int) -> None:
        await desk.wait_until(desk.now() + minutes * MINUTE_US)
        if any(w.name == "outcome" for w in asked.item.wanted):
            await self._until_written(asked.item)
        await self._answer(desk, operator, asked)

    async def _answer(self, desk: BenchDesk, operator: Operator, asked: ItemState) -> None:
        if any(w.name == "serial" and w.required for w in asked.item.wanted) and asked.item.topic.startswith("hand:"):
            await self._hands.look(asked.item)
        if asked.item.topic == "hand:prove":
            await self._hands.press_for_proof(asked.item)
        if asked.item.topic.startswith("set ") and asked.item.wanted:
            await self._until_fixed(asked.item)
        try:
            await desk.answer(asked.item.id, self._answers.to(desk.state, asked), operator.name, "simulated")
        except AlreadyRecorded:
            return
        except InputError as refused:
            # Withdrawn or answered meanwhile is no matter: the queue says what is next.
            if desk.state.items[asked.item.id].open:
                raise OurFault(f"the demo's answer to item {asked.item.id} was refused: {refused}") from refused

    async def _until_written(self, item: Item) -> None:
        while read_state(self._bench, item.unit or "")["writing"]:  # noqa: ASYNC110 - the unit is another process
            await anyio.sleep(0.05)

    async def _until_fixed(self, item: Item) -> None:
        """Wait for a fix as a person would; the radio between two simulators takes up to a real second."""
        with anyio.move_on_after(FIX_WITHIN_S):
            while read_state(self._bench, item.unit or "")["display"].get("fix") != "fixed":  # noqa: ASYNC110
                await anyio.sleep(0.05)

    async def _rest(self, desk: BenchDesk) -> None:
        now = desk.now()
        for pause in desk.plan.bench.breaks:
            start, end = desk.plan.at_us(pause.start), desk.plan.at_us(pause.end)
            if start <= now < end:
                await desk.wait_until(end)

    async def _bring(self, desk: BenchDesk, unit: ScenarioUnit) -> None:
        """Bring a walk-in to the bench at its time; somebody scans its label."""
        await desk.wait_until(desk.plan.at_us(unit.arrives or desk.plan.hours.opens))
        if unit.serial not in desk.state.units:
            await desk.scan(unit.serial)

    async def _renew(self, desk: BenchDesk, renewal: Renewal) -> None:
        """Say at its time that a support term was renewed; what shows it is entered with the item."""
        await desk.wait_until(desk.plan.at_us(renewal.at))
        story = desk.state.units.get(renewal.unit)
        if story is not None and story.term_renewed is None:
            await desk.renew(renewal.unit)

    def _takes_us(self, desk: BenchDesk, item: Item) -> int:
        """Draw how long an item takes; equal seeds draw equal times for equal items."""
        source = random.Random(f"{self._seed}:{item.unit}:{item.topic}")  # noqa: S311 - reproducible, not secret
        shortest, usual, longest = self._points(desk, item)
        return int(source.triangular(shortest, longest, usual) * MINUTE_US)

    def _points(self, desk: BenchDesk, item: Item) -> tuple[float, float, float]:
        story = desk.state.units.get(item.unit or "")
        playbook = desk.plan.playbook_for(story.model) if story else None
        steps: Mapping[str, StepName] = {
            "connect": StepName.CONNECT,
            "confirm": StepName.CONFIRM,
            "last look": StepName.LAST_LOOK,
        }
        if playbook is None or item.topic not in steps:
            return _USUAL
        minutes = playbook.step(steps[item.topic]).minutes
        return float(minutes.shortest), float(minutes.usual), float(minutes.longest)
