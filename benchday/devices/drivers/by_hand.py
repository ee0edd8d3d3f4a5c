"""The driver that asks a person: every capability but proof, each as one question with typed evidence."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import anyio
import anyio.to_thread

from benchday.devices.drivers import by_hand_questions as ask_for
from benchday.devices.drivers.by_hand_questions import Answer, Question, check_evidence
from benchday.devices.drivers.by_hand_work import as_wanted, pack_problem, serial_problem
from benchday.domain.by_hand import HandCapability, HandWork
from benchday.domain.errors import Garbled, LinkSilent, OutcomeUnknown, RecordingsMissing, Refused, TransferCut
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, PowerReading, Progress, Recording, SelfTest, Settings, Sky

Ask = Callable[[Question], Awaitable[Mapping[str, object]]]
"""Puts a question to an operator and returns what was answered."""

Problem = Callable[[Answer], str | None]
"""Says what is wrong with an answer whose form is right."""

_MOST_TRIES = 5
_PIECE = 1 << 18


@dataclass(frozen=True, slots=True)
class InHand:
    """What is known beforehand of the unit that a person has in hand."""

    unit: str = ""
    """Serial as checked in; empty where nobody knows it."""
    work: Mapping[HandCapability, HandWork] = field(default_factory=dict)
    """The playbook's section ``by_hand``."""
    packs: Mapping[str, int] = field(default_factory=dict)
    """Number of a charged pack of the shop that fits -> its charge in percent."""


class ByHandDriver:
    """Asks an operator who has the unit in hand."""

    def __init__(self, ask: Ask, in_hand: InHand | None = None) -> None:
        self._ask_operator = ask
        self._in_hand = in_hand or InHand()
        self._folder: Path | None = None

    async def aclose(self) -> None:
        """Nothing is open."""

    async def identify(self) -> Identity:
        unit = self._in_hand.unit
        answer = await self._ask(ask_for.IDENTIFY)
        if ask_for.shows_nothing(answer):
            raise LinkSilent("whoever has the unit in hand sees nothing on it")
        if (problem := serial_problem(answer, unit, self._in_hand.work)) is not None:
            # A slip of the keyboard is put right here. Told twice it is what the unit says, and the bench holds it.
            answer = await self._ask(ask_for.IDENTIFY, problem)
        return ask_for.identity_of(answer)

    async def power(self) -> PowerReading:
        packs = self._in_hand.packs
        answer = await self._ask(ask_for.POWER, also=lambda a: pack_problem(a, packs))
        return ask_for.power_of(answer, packs)

    async def recordings(self) -> tuple[Recording, ...]:
        count = ask_for.count_of(await self._ask(ask_for.RECORDINGS))
        if count == 0:
            return ()
        for _ in range(_MOST_TRIES):
            folder, files = await self._folder_with_files()
            if len(files) == count:
                self._folder = folder
                return files
            wrong = f"the unit lists {count} recordings, {folder} holds {len(files)} files"
            await self._ask(ask_for.look_again(wrong))
        if len(files) < count:
            self._folder = folder
            raise RecordingsMissing(count, files)
        raise Garbled(f"{wrong}, after {_MOST_TRIES} looks; count and copy them anew")

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        if self._folder is None:
            self._folder, _ = await self._folder_with_files()
        path = self._folder / recording.name
        done = 0
        try:
            async with await anyio.open_file(path, "rb") as file:
                while piece := await file.read(_PIECE):
                    await sink(piece)
                    done = min(done + len(piece), recording.bytes)
                    yield Progress(done, recording.bytes, "fetching")
                size = await file.tell()
        except OSError as error:
            gone = isinstance(error, FileNotFoundError)
            why = "is not there any more" if gone else f"cannot be read: {error.strerror or error}"
            raise Garbled(f"{path} {why}; copy it from the unit again") from error
        if size != recording.bytes:
            raise Garbled(f"{path} holds {size} bytes, {recording.bytes} were expected; copy it from the unit again")

    async def settings(self) -> Settings:
        return ask_for.settings_of(await self._ask(ask_for.SETTINGS))

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        answer = await self._ask(ask_for.put_settings(settings))
        if answer["done"] is not True:
            raise Refused("put settings", "not done", "the operator did not set all of them")

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        spent = use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._write(spent)

    async def _write(self, spent: SpentAct) -> AsyncIterator[Progress]:
        begun = await self._told_of_write(ask_for.begin_write(spent), photo=False)
        if begun["begun"] is not True:
            raise Refused("write", "not begun", "the operator did not begin; nothing was erased")
        yield Progress(0, 100, "writing")
        outcome = (await self._told_of_write(ask_for.write_ended(spent)))["outcome"]
        if outcome == ask_for.FAILED:
            raise TransferCut("the operator saw the write fail; the unit may be half written", 0)
        if outcome != ask_for.WHOLE:
            raise OutcomeUnknown("the operator could not tell how the write ended; read the unit back")
        yield Progress(100, 100, "writing")

    async def _told_of_write(self, question: Question, *, photo: bool = True) -> Answer:
        try:
            return await self._ask(question, photo=photo)
        except Garbled as error:
            # Whoever was asked to begin may have begun, whatever was typed.
            raise OutcomeUnknown(f"nobody could tell how far the write came ({error}); read the unit back") from error

    async def restart(self, act: SpentAct) -> None:
        spent = restart_covered(act)
        answer = await self._ask(ask_for.restart(spent.unit))
        if answer["up"] is not True:
            raise Refused("restart", "not up", "the operator says that the unit did not come up again")

    async def self_test(self) -> SelfTest:
        return ask_for.self_test_of(await self._ask(ask_for.SELF_TEST))

    async def sky(self) -> Sky:
        return ask_for.sky_of(await self._ask(ask_for.POSITION))

    async def _ask(
        self, question: Question, problem: str = "", *, also: Problem | None = None, photo: bool = True
    ) -> Answer:
        """Ask until the evidence will do, telling what was wrong with it."""
        question = as_wanted(question, self._in_hand.work, photo=photo)
        asked = _told(question, problem) if problem else question
        for _ in range(_MOST_TRIES):
            answer = ask_for.read_answer(question, await self._ask_operator(asked))
            problems = check_evidence(question, answer)
            if not problems and also is not None and (wrong := also(answer)) is not None:
                problems = (wrong,)
            if not problems:
                return answer
            asked = _told(question, "; ".join(problems))

        raise Garbled(f"no usable answer to {question.capability} after {_MOST_TRIES} tries: {'; '.join(problems)}")

    async def _folder_with_files(self) -> tuple[Path, tuple[Recording, ...]]:
        question = as_wanted(ask_for.FOLDER, self._in_hand.work)
        asked = question
        for _ in range(_MOST_TRIES):
            folder = Path(str((await self._ask(asked))["folder"]))
            try:
                return folder, await anyio.to_thread.run_sync(_files_in, folder)
            except OSError as error:
                asked = replace(question, text=f"{question.text}\n{folder} cannot be read: {error.strerror}")

        raise Garbled(f"no readable folder after {_MOST_TRIES} tries")


def _told(question: Question, problem: str) -> Question:
    return replace(question, text=f"{question.text}\nNot usable so far: {problem}")


def _files_in(folder: Path) -> tuple[Recording, ...]:
    files = sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))
    return tuple(Recording(path.name, path.stat().st_size) for path in files)
