"""What can go wrong where a person is the line: unusable evidence, a thing not done, copies that are not there.

A person may take all day, so that silence is no fault here; and what is false but plausible nobody can tell.
"""

from __future__ import annotations

import shutil
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from benchday.testing.faults import Fault

Answer = Mapping[str, Any]
Ask = Callable[[Any], Awaitable[Answer]]
"""Answers a question; what is asked has ``wanted``, each of them a ``name``."""


class HandFault(Fault):
    """Answers as a person does who does what is asked."""

    does = True
    """Whether what is asked is done at all."""

    def spoil(self, answer: dict[str, Any]) -> Answer:
        """Return what is typed in instead."""
        return answer

    def spoil_copies(self, folder: Path) -> None:
        """Do something to the copies on the bench PC."""


class NothingTyped(HandFault):
    """Every value is left out."""

    name = "nothing typed"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return dict.fromkeys(answer, "")


class NoAnswer(HandFault):
    """Nothing that was asked for is in the answer at all."""

    name = "empty answer"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        del answer
        return {}


class Gibberish(HandFault):
    """Words where anything is asked for."""

    name = "gibberish"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return dict.fromkeys(answer, "?! =;= , * $")


class ControlCharacters(HandFault):
    """Characters that no key of a keyboard types."""

    name = "control characters"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return {name: f"\x00\x1b[2J{value}\x00" for name, value in answer.items()}


class OtherKinds(HandFault):
    """Values of kinds that nobody types, as a program at the pipe may send them."""

    name = "values of other kinds"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return {name: [{"is": [value, 1.5]}] for name, value in answer.items()}


class TooLong(HandFault):
    """A book where a word is asked for."""

    name = "far too long"
    endless = True
    book = "so many words " * 200_000

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return dict.fromkeys(answer, self.book)


class BeyondEverything(HandFault):
    """Numbers beyond everything."""

    name = "numbers beyond everything"

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return dict.fromkeys(answer, 10**60)


class NotDone(HandFault):
    """The person says no, and does nothing."""

    name = "not done"
    does = False

    def spoil(self, answer: dict[str, Any]) -> Answer:
        # Of several values the first may be yes for another reason.
        return dict.fromkeys(answer, "no") if set(answer.values()) == {"yes"} else answer


class CopiesGone(HandFault):
    """The folder with the copies is not there."""

    name = "copies gone"

    def spoil_copies(self, folder: Path) -> None:
        shutil.rmtree(folder, ignore_errors=True)


class CopiesFewer(HandFault):
    """One copy is not there, however often it is asked for."""

    name = "a copy less"

    def spoil_copies(self, folder: Path) -> None:
        first = min((path for path in folder.iterdir() if path.is_file()), default=None)
        if first is not None:
            first.unlink()


class CopiesCut(HandFault):
    """The copies hold half of what they held when they were listed; whether that was whole nobody can tell."""

    name = "copies cut"
    only = ("fetch",)

    def spoil_copies(self, folder: Path) -> None:
        for path in folder.iterdir():
            if path.is_file():
                path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


class CopiesNoFiles(HandFault):
    """Folders stand where the copies were."""

    name = "folders for copies"

    def spoil_copies(self, folder: Path) -> None:
        for path in tuple(folder.iterdir()):
            if path.is_file():
                path.unlink()
                path.mkdir()


class AnotherInHand(HandFault):
    """The person reads another unit's serial off its display."""

    name = "another unit"
    other = True
    only = ("identify", "restart")

    def spoil(self, answer: dict[str, Any]) -> Answer:
        return answer | ({"serial": OTHER_SERIAL} if "serial" in answer else {})


OTHER_SERIAL = "0099"

HAND_FAULTS: tuple[HandFault, ...] = (
    NothingTyped(),
    NoAnswer(),
    Gibberish(),
    ControlCharacters(),
    OtherKinds(),
    TooLong(),
    BeyondEverything(),
    NotDone(),
    CopiesGone(),
    CopiesFewer(),
    CopiesCut(),
    CopiesNoFiles(),
    AnotherInHand(),
)
"""What befalls a hand. A new fault is one more class and one more line here."""


class Hand:
    """Stands between a driver and a person who does what is asked; ``begin`` and ``end`` a fault at any time."""

    visits = 0
    knows_another = True

    def __init__(self, person: Callable[[Any, bool], Answer], copies: Path) -> None:
        """Take a person.

        Args:
            person: does what a question asks, if told to (True), and answers with a value for each name.
            copies: folder on the bench PC into which the recordings were copied.
        """
        self._person, self._copies = person, copies
        self._kept = copies.with_name(f".{copies.name}.kept")
        self._fault: HandFault | None = None
        self._left = 0

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None:
        """Let a fault begin at once, or with the second question."""
        assert isinstance(fault, HandFault)
        self._fault, self._left = fault, 1 if after_bytes else 0
        shutil.copytree(self._copies, self._kept)
        if not after_bytes:
            fault.spoil_copies(self._copies)

    async def end(self) -> None:
        """Let the fault end; the copies are as they were."""
        self._fault = None
        if self._kept.exists():
            with suppress(FileNotFoundError):
                shutil.rmtree(self._copies)
            self._kept.rename(self._copies)

    async def __call__(self, question: Any) -> Answer:
        """Ask."""
        fault = self._fault if not self._left else None
        if self._left:
            self._left -= 1
        answer = dict(self._person(question, fault is None or fault.does))
        return answer if fault is None else fault.spoil(answer)
