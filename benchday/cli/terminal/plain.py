"""Plain lines, where there is no terminal for a full screen: items are printed as they come, answers are read."""

from __future__ import annotations

from collections.abc import Callable

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.lines import LineReader
from benchday.cli.nobody import until_a_person_is_needed
from benchday.cli.stopping import bench_desk
from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.prompts import CautionPrompt, Idle, ItemPrompt
from benchday.domain.clean import clean
from benchday.domain.seams import Desk
from benchday.domain.telling.figures import clock

Write = Callable[[str], None]


class PlainLines:
    """Serves people line by line."""

    def __init__(self, operator: str, lines: LineReader, by: str, write: Write) -> None:
        """Make it.

        Args:
            operator: who acts first.
            lines: what they type.
            by: person at a terminal; pipe where a program types, whose confirmations hold for simulators alone.
            write: prints a line.
        """
        self._operator, self._lines, self._by, self._write = operator, lines, by, write
        self._told: set[str] = set()

    async def serve(self, desk: Desk) -> None:
        """Serve until cancelled, or until the input has ended and a person is needed."""
        bench = bench_desk(desk)
        talk = Conversation(bench, self._operator, self._by)
        await talk.begin()
        simulated = "  SIMULATED" if (bench.state.begun or {}).get("simulated") else ""
        self._write(clean(f"{bench.plan.day.day}{simulated}"))
        async with anyio.create_task_group() as both:
            both.start_soon(self._follow, talk)
            while True:
                self._ask(talk)
                line = await self._lines.line()
                if line is None:
                    break
                await talk.enter(line, None)
                self._answered(talk)
            await until_a_person_is_needed(bench)
            both.cancel_scope.cancel()

    async def _follow(self, talk: Conversation) -> None:
        while True:
            was_open = isinstance(talk.prompt, ItemPrompt)
            talk.refresh()
            self._new_items(talk.desk)
            if was_open and isinstance(talk.prompt, Idle):
                self._answered(talk)
            await talk.desk.changed()

    def _new_items(self, desk: BenchDesk) -> None:
        self._told &= desk.state.unanswered.keys()
        for state in desk.items():
            item = state.item
            if item.id not in self._told:
                self._told.add(item.id)
                mark = "! SAFETY " if item.safety else ""
                when = clock(desk.now(), desk.plan.zone)
                self._write(
                    f"{when} {mark}item {item.id}: {clean(item.text.splitlines()[0] if item.text else item.topic)}"
                )

    def _ask(self, talk: Conversation) -> None:
        prompt = talk.prompt
        if isinstance(prompt, CautionPrompt):
            self._write(f"CAUTION {prompt.cautions[0].name}: {clean(prompt.cautions[0].text)}")
        if isinstance(prompt, ItemPrompt) and not prompt.values:
            self._write(clean(prompt.item.text, keep_lines=True))
        if not isinstance(prompt, Idle):
            question = prompt.question()
            kept = f" [{question.kept}]" if question.kept else ""
            self._write(f"{talk.operator}> {question.label}{kept} ({question.hint})")

    def _answered(self, talk: Conversation) -> None:
        if talk.sheet is not None:
            self._write("\n".join([talk.sheet.title, *talk.sheet.lines]))
            talk.sheet = None
        if talk.message:
            self._write(talk.message)
            talk.message = ""
