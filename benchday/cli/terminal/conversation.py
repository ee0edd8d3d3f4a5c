"""The conversation at the input line: what a line means, and what the terminal shows because of it.

A scanner is a keyboard that types a code and Enter. So a line is taken as what it is first: a command, another unit's
code, and only then as an answer; a confirmation is never answered by what was typed before it was shown.
"""

from __future__ import annotations

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.terminal.commands import COMMANDS, Sheet
from benchday.cli.terminal.prompts import CautionPrompt, Idle, ItemPrompt, NamePrompt, Prompt, ReasonPrompt
from benchday.domain.clean import clean
from benchday.domain.errors import BenchdayError, InputError
from benchday.domain.fold import ItemState
from benchday.domain.items import ItemKind, WantedKind
from benchday.domain.units import blanked
from benchday.inputs.outcome import nearest

SHORTEST_CODE = 4
"""Fewer digits are taken for the number of an item and not for a unit's code."""

ITEM_WITHIN_S = 2.0
"""Real seconds that an item which follows from a scan is waited for."""


class Conversation:
    """One input line at one desk."""

    def __init__(self, desk: BenchDesk, operator: str, by: str) -> None:
        self.desk = desk
        self.operator = operator
        self.prompt: Prompt = Idle()
        self.message = ""
        """What was last said to the person."""
        self.sheet: Sheet | None = None
        """Shown in place of the selected item."""
        self.selected: str | None = None
        """Id of the item that is shown while none is open."""
        self.scroll = 0
        """First line of the text that is shown."""
        self._by = by
        self._kept: dict[str, dict[str, str]] = {}
        self._withdrawn: Prompt | None = None
        self._insists: str | None = None

    async def begin(self) -> None:
        """Have the operator act, and read the cautions of the day.

        Raises:
            InputError: no such operator.
        """
        await self.act_as(self.operator)

    async def enter(self, line: str, typed_at: Prompt | None = None) -> None:
        """Take a line.

        Args:
            line: as typed or scanned, without its end.
            typed_at: the prompt at which its first character was typed.
        """
        late = typed_at is not None and typed_at is not self.prompt
        if late and (typed_at is self._withdrawn or (isinstance(self.prompt, ItemPrompt) and self.prompt.confirms)):
            self.say(f"The question changed while you typed; not used: {clean(line)}")
            return
        self.message = ""
        try:
            await self._take(line.strip())
        except BenchdayError as refused:
            self.say(str(refused))

    def back(self) -> None:
        """Leave what is open; what was typed is kept, except for a confirmation."""
        if self.sheet is not None:
            self.sheet, self.scroll = None, 0
        elif isinstance(self.prompt, CautionPrompt):
            self.say("Each operator reads the cautions of the day before acting.")
        elif not isinstance(self.prompt, Idle):
            self._idle("Left open; nothing was answered.")

    def select(self, by: int) -> None:
        """Select another item of the queue."""
        ids = [i.item.id for i in self.desk.items()]
        if ids and isinstance(self.prompt, Idle):
            at = ids.index(self.selected) if self.selected in ids else 0
            self.selected, self.sheet, self.scroll = ids[max(0, min(len(ids) - 1, at + by))], None, 0

    def refresh(self) -> None:
        """Look at what has happened meanwhile: an open item may have been answered elsewhere, or withdrawn."""
        prompt = self.prompt
        if isinstance(prompt, ItemPrompt):
            state = self.desk.state.items[prompt.item.id]
            if not state.open:
                self._withdrawn = prompt
                self._kept.pop(prompt.item.id, None)
                self._idle(_gone(state))
        ids = [i.item.id for i in self.desk.items()]
        if self.selected not in ids:
            self.selected = ids[0] if ids else None
            self.scroll = 0 if isinstance(self.prompt, Idle) and self.sheet is None else self.scroll

    @property
    def shown(self) -> ItemState | None:
        """The item whose text is shown: the open one, or the selected one."""
        if isinstance(self.prompt, ItemPrompt):
            return self.desk.state.items[self.prompt.item.id]
        return self.desk.state.items.get(self.selected or "")

    def naming(self, serial: str) -> str:
        """Return a serial as the screen may show it: blanked while a write of that unit is to be confirmed.

        The last characters are read off the unit's label; a screen that shows them would answer in its place.
        """
        return blanked(serial) if serial in self.confirming() else serial

    def confirming(self) -> frozenset[str | None]:
        """Return the units of which a write is to be confirmed."""
        return frozenset(i.item.unit for i in self.desk.state.open_items() if i.item.kind is ItemKind.CONFIRM)

    def say(self, text: str) -> None:
        """Say something to the person."""
        self.message = clean(text)

    def show(self, sheet: Sheet) -> None:
        """Show a text in place of the selected item."""
        self.sheet, self.scroll = sheet, 0

    async def act_as(self, operator: str) -> None:
        """Have somebody act from here on.

        Raises:
            InputError: no such operator.
        """
        cautions = await self.desk.act_as(operator, self._by)
        self.operator = operator
        self.prompt = CautionPrompt(operator, cautions) if cautions else Idle()
        self.sheet, self.scroll = None, 0
        if not cautions:
            self.say(f"{operator} acts from here on.")

    def ask(self, prompt: Prompt) -> None:
        """Ask for something else than an item's values."""
        self.prompt = prompt

    async def _take(self, line: str) -> None:
        prompt = self.prompt
        if line.startswith("/"):
            await self._command(line)
        elif isinstance(prompt, CautionPrompt):
            await self._read(prompt, line)
        elif isinstance(prompt, NamePrompt):
            await self._named(prompt, line)
        elif isinstance(prompt, ReasonPrompt) and self.desk.serial_in(line) in self.desk.state.units:
            # A scan is no reason.
            self._idle(f"The hold on {prompt.serial} stands.")
            await self.scanned(line)
        elif isinstance(prompt, ReasonPrompt):
            await self.desk.lift(prompt.serial, line, self.operator)
            self._idle(f"The hold on {prompt.serial} is lifted; it waits again.")
        elif isinstance(prompt, ItemPrompt):
            await self._value(prompt, line)
        elif line:
            await self._idle_line(line)

    async def _command(self, line: str) -> None:
        word, _, rest = line[1:].partition(" ")
        command = COMMANDS.get(word)
        if command is None:
            near = nearest(word, COMMANDS)
            raise InputError(f"there is no /{word}" + (f"; did you mean /{near}?" if near else "; /help lists them"))
        await command.do(self, rest.strip())

    async def _read(self, prompt: CautionPrompt, line: str) -> None:
        if line.lower() not in ("y", "yes"):
            self.say("Type y when you have read it.")
            return
        await self.desk.acknowledge(prompt.cautions[0], prompt.operator)
        rest, self.scroll = prompt.cautions[1:], 0
        self.prompt = CautionPrompt(prompt.operator, rest) if rest else Idle()

    async def _named(self, prompt: NamePrompt, line: str) -> None:
        name = prompt.name(line)
        if name is None:
            raise InputError(f"{line!r} is none of: {', '.join(prompt.names)}")
        self.prompt = Idle()
        await self.act_as(name)

    async def _idle_line(self, line: str) -> None:
        state = self.desk.state.items.get(line)
        if state is not None and state.open:
            await self._open(state)
        elif state is not None:
            self.say(_gone(state))
        elif line.isdigit() and len(line) < SHORTEST_CODE and line not in self.desk.state.units:
            self.say(f"There is no item {line}.")
        else:
            await self.scanned(line)

    async def scanned(self, code: str) -> None:
        """Move to a unit whose code was scanned or typed."""
        serial = self.desk.serial_in(code)
        self.say(await self.desk.scan(code))
        with anyio.move_on_after(ITEM_WITHIN_S if self._item_follows(serial) else 0):
            while self._item_of(serial) is None:
                await self.desk.changed()
        item = self._item_of(serial)
        if item is not None:
            if item.item.kind is ItemKind.CONFIRM:
                self.say("A write of that unit is to be confirmed.")
            await self._open(item)

    def _item_follows(self, serial: str) -> bool:
        story = self.desk.state.units.get(serial)
        return story is None or not story.present

    def _item_of(self, serial: str) -> ItemState | None:
        return next((i for i in self.desk.items() if serial in (i.item.unit, i.item.figures.get("serial"))), None)

    async def _open(self, state: ItemState) -> None:
        item = state.item
        if state.taken_by not in (None, self.operator) and self._insists != item.id:
            self._insists = item.id
            raise InputError(
                f"{state.taken_by} has taken item {item.id}; type {item.id} again to answer it all the same"
            )
        if not self.desk.may(self.operator, state):
            may = item.ability.value if item.ability else "answer it"
            raise InputError(f"{self.operator} may not {may}; /as NAME switches to somebody who may")
        if state.taken_by is None:
            await self.desk.take(item.id, self.operator)
        self._insists = None
        kept = {} if item.kind is ItemKind.CONFIRM else self._kept.setdefault(item.id, {})
        self.prompt = ItemPrompt(item, kept)
        self.selected, self.sheet, self.scroll = item.id, None, 0

    async def _value(self, prompt: ItemPrompt, line: str) -> None:
        other = self._other_unit(prompt, line)
        if other is not None:
            self._idle(f"Item {prompt.item.id} is left open: that is the code of {other}.")
            await self.scanned(line)
            return
        problem = prompt.take(line)
        if problem is not None:
            raise InputError(problem)
        if prompt.complete():
            await self._answer(prompt)

    def _other_unit(self, prompt: ItemPrompt, line: str) -> str | None:
        """Return the other unit whose code this is; a free text of an item that is no confirmation takes any code."""
        wanted = prompt.wanted
        if not prompt.confirms and wanted is not None and wanted.kind is WantedKind.TEXT:
            return None
        serial = self.desk.serial_in(line)
        story = self.desk.state.units.get(serial)
        return serial if story is not None and serial != prompt.item.unit else None

    async def _answer(self, prompt: ItemPrompt) -> None:
        item = prompt.item
        try:
            await self.desk.answer(item.id, prompt.answer(), self.operator, self._by)
        except BenchdayError:
            if not self.desk.state.items[item.id].open:
                self._idle("")
            else:
                prompt.step_back()
            raise
        self._kept.pop(item.id, None)
        self._idle(f"Item {item.id} is answered.")

    def _idle(self, message: str) -> None:
        self.prompt, self.sheet, self.scroll = Idle(), None, 0
        self.say(message)


def _gone(state: ItemState) -> str:
    item = state.item.id
    if state.answered is not None:
        return f"Item {item} was answered by {state.answered.operator}."
    return f"Item {item} was withdrawn: {state.voided}."
