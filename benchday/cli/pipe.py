"""The pipe: open items as JSON Lines on standard output, answers as JSON Lines on standard input.

Out: an item's facts when it opens; ``{"closed": id, "why": ...}`` when it needs no answer any more; for each line in,
``{"accepted": id}`` or ``{"refused": id, "why": ...}``; ``{"said": ...}`` for what a scan was answered.
In: ``{"id", "value", "operator"}``; ``{"scan": code}``; ``{"lift": serial, "reason", "operator"}``; what
begins with a word of ``_TALKS``.
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.lines import LineReader
from benchday.cli.nobody import until_a_person_is_needed
from benchday.cli.stopping import bench_desk
from benchday.domain.clean import plain_json
from benchday.domain.errors import BenchdayError, InputError
from benchday.domain.items import Answered
from benchday.domain.seams import Desk

Write = Callable[[str], None]
LONGEST_TEXT = 2_000
"""Characters of one text that is said through the pipe, as of one value of an answer."""


def to_stdout(line: str) -> None:
    """Write a line and let it go at once."""
    print(line, flush=True)


class Pipe:
    """Serves a program in place of a person. What it confirms holds for proved simulators alone."""

    def __init__(self, operator: str, lines: LineReader, write: Write = to_stdout) -> None:
        self._operator = operator
        self._lines = lines
        self._write = write
        self._shown: set[str] = set()

    async def serve(self, desk: Desk) -> None:
        """Serve until cancelled, or until the input has ended and a person is needed."""
        bench = bench_desk(desk)
        for caution in await bench.act_as(self._operator, "pipe"):
            self._tell(caution=caution.name, text=caution.text)
        async with anyio.create_task_group() as both:
            both.start_soon(self._show, bench)
            await self._listen(bench)
            await until_a_person_is_needed(bench)
            both.cancel_scope.cancel()

    async def _show(self, desk: BenchDesk) -> None:
        while True:
            open_now = {state.item.id: state for state in desk.items()}
            for item_id, state in open_now.items():
                if item_id not in self._shown:
                    self._shown.add(item_id)
                    self._tell(**state.item.as_facts())
            for item_id in self._shown - open_now.keys():
                self._shown.discard(item_id)
                state = desk.state.items[item_id]
                self._tell(closed=item_id, why=_why(state.answered, state.voided))
            await desk.changed()

    async def _listen(self, desk: BenchDesk) -> None:
        while True:
            try:
                line = await self._lines.line()
            except InputError as too_long:
                self._tell(refused=None, why=str(too_long))
                continue
            if line is None:
                return
            if line.strip():
                await self._take(desk, line)

    async def _take(self, desk: BenchDesk, line: str) -> None:
        said: Any = None
        try:
            said = json.loads(line)
            if not isinstance(said, dict):
                raise InputError("expected an object")
            await self._do(desk, said)
        except RecursionError:
            self._tell(refused=None, why="no JSON that can be read: lists within lists without end")
        except (BenchdayError, ValueError) as refused:
            why = f"no JSON: {refused}" if isinstance(refused, json.JSONDecodeError) else str(refused)
            self._tell(refused=_about(said), why=why)

    async def _do(self, desk: BenchDesk, said: Mapping[str, Any]) -> None:
        operator = _text(said, "operator", self._operator)
        if "scan" in said:
            self._tell(said=await desk.scan(_text(said, "scan")), scan=said["scan"])
            return
        if "lift" in said:
            await desk.lift(_text(said, "lift"), _text(said, "reason"), operator)
            self._tell(accepted=said["lift"])
            return
        for word, begin in _TALKS:
            if word in said:
                self._tell(said=await begin(desk, _text(said, word)), **{word: said[word]})
                return
        value = said.get("value")
        if not isinstance(value, dict):
            raise InputError("value: expected an object with the wanted values, {} for a plain done")
        item = _text(said, "id")
        await desk.answer(item, value, operator, "pipe")
        self._tell(accepted=item)

    def _tell(self, **facts: Any) -> None:
        self._write(plain_json(json.dumps(facts, ensure_ascii=False)))


_TALKS: tuple[tuple[str, Callable[[BenchDesk, str], Awaitable[str]]], ...] = (
    ("renew", BenchDesk.renew),
    ("early", BenchDesk.want_back),
    ("next", BenchDesk.put_next),
    ("choose", BenchDesk.choose),
)
"""Word -> what it begins; the questions come as items."""


def _text(said: Mapping[str, Any], name: str, otherwise: str | None = None) -> str:
    value = said.get(name, otherwise)
    if not isinstance(value, str):
        raise InputError(f"{name}: expected a text, got {json.dumps(value)[:80]}")
    if len(value) > LONGEST_TEXT or any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError(f"{name}: expected a text of at most {LONGEST_TEXT} characters, without codes that are none")
    return value


def _about(said: Any) -> str | None:
    if not isinstance(said, dict):
        return None
    found = next((said[word] for word in ("id", "scan", "lift", *dict(_TALKS)) if word in said), None)
    return found if isinstance(found, str) else None


def _why(answered: Answered | None, voided: str | None) -> str:
    return f"answered by {answered.operator}" if answered is not None else f"withdrawn: {voided}"
