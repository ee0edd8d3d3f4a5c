"""try: a playbook tried on a real unit, reading only; what was said and heard, and what came out of it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import AbstractContextManager, aclosing, nullcontext
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, cast

import anyio

from benchday.at_hand.trials import FAILS, WORKS, Noted, Tried
from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.domain.clean import clean
from benchday.domain.errors import InputError
from benchday.domain.playbook import Playbook
from benchday.inputs.playbook_files import read_playbook
from benchday.wiring import trial

SHOWN_LINES = 6
"""Of the first and of the last stretches on the line, for each capability."""
LONGEST_SHOWN = 90
LONGEST_TRANSCRIPT = 64 * 1024 * 1024
"""Characters; a unit that never falls silent must not fill the disk."""
A_TRANSCRIPT = re.compile(rb"\s*[0-9]+\.[0-9]{3} s  (said|heard|note) |\Z")
"""How a file begins that may be written over."""


@dataclass(frozen=True, slots=True)
class TryOptions:
    """What is tried, and how it is told."""

    playbook: Path
    port: str
    transcript: Path | None = None
    serial: str = ""
    as_json: bool = False


@dataclass(slots=True)
class _Seen:
    """What was on the line while one capability was tried; bounded, however much came."""

    said_bytes: int = 0
    heard_bytes: int = 0
    count: int = 0
    first: list[Noted] = field(default_factory=list)
    last: list[Noted] = field(default_factory=list)

    def note(self, noted: Noted) -> None:
        """Take one stretch."""
        self.said_bytes += len(noted.data) if noted.who == "said" else 0
        self.heard_bytes += len(noted.data) if noted.who == "heard" else 0
        self.count += 1
        if len(self.first) < SHOWN_LINES:
            self.first.append(noted)
        else:
            self.last = [*self.last[-SHOWN_LINES + 1 :], noted]


def try_playbook(options: TryOptions) -> int:
    """Try a playbook.

    Raises:
        MistakesFound: the playbook holds mistakes.
        InputError: it cannot be tried, or the transcript cannot be written.
        LinkError: the port cannot be opened.
    """
    playbook = read_playbook(options.playbook)
    if playbook.driver.name == "by-hand":
        raise InputError(f"{options.playbook}: a unit served by hand has no line to try")
    try:
        with _opened(options.transcript) as file:
            tried = anyio.run(_run, options, playbook, file)
    except OSError as error:
        raise InputError(f"{options.transcript} cannot be written: {error.strerror or error}") from error
    works = not any(t.outcome == FAILS for t, _ in tried)
    if options.as_json:
        head = {"playbook": str(options.playbook), "driver": playbook.driver.name, "port": options.port}
        print_document("try", {**head, "works": works, "capabilities": [_part(t, seen) for t, seen in tried]})
    else:
        print(_summary(tried, options.transcript))
    return Exit.DONE if works else Exit.HELD


def _opened(path: Path | None) -> AbstractContextManager[IO[str] | None]:
    """Open the transcript, for its owner only, over nothing but an older one: it holds all that is said, secrets too.

    Raises:
        InputError: something else stands there.
        OSError
    """
    if path is None:
        return nullcontext(None)
    if path.exists() and not path.is_file():
        raise InputError(f"--transcript {path}: this is a folder, a pipe or a device; name a file")
    if path.exists():
        with path.open("rb") as before:
            if not A_TRANSCRIPT.match(before.read(200)):
                raise InputError(f"--transcript {path}: this file was there before and is no transcript; name another")
        path.unlink()
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    return os.fdopen(fd, "w", encoding="ascii")


async def _run(options: TryOptions, playbook: Playbook, file: IO[str] | None) -> list[tuple[Tried, _Seen]]:
    seen, tried = _Seen(), list[tuple[Tried, _Seen]]()
    room = LONGEST_TRANSCRIPT

    def note(noted: Noted) -> None:
        seen.note(noted)
        nonlocal room
        if file is not None and room > 0:
            room -= file.write(f"{noted.at_us / 1e6:10.3f} s  {noted.who:<5}  {noted.text}\n")
            if room <= 0:
                file.write("The transcript ends here: it has grown too long.\n")

    async with trial(playbook, options.port, options.serial, note) as running, aclosing(running.run()) as results:
        async for result in results:
            tried.append((result, seen))
            if not options.as_json:
                for line in _lines(result, seen):
                    print(line)
            seen = _Seen()
    return tried


def _lines(tried: Tried, seen: _Seen) -> Iterator[str]:
    took = f", {tried.took_us / 1e6:.2f} s" if tried.took_us else ""
    yield f"{tried.capability}: {tried.outcome}{took}"
    if tried.words:
        yield wrapped(tried.words, indent="  ")
    for noted in seen.first:
        yield _told(noted)
    left_out = seen.count - len(seen.first) - len(seen.last)
    if left_out:
        yield f"    ... {left_out} more stretches; {seen.said_bytes} bytes said, {seen.heard_bytes} heard"
    for noted in seen.last:
        yield _told(noted)
    for one in tried.fields:
        yield f"  {one.name}: {one.value}" + (f" {one.unit}" if one.unit else "")


def _told(noted: Noted) -> str:
    text = noted.text
    shown = text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}... ({len(noted.data)} bytes)"
    return f"    {noted.at_us / 1e6:8.3f} s  {noted.who:<5}  {clean(shown)}"


def _summary(tried: list[tuple[Tried, _Seen]], transcript: Path | None) -> str:
    failed = [t.capability for t, _ in tried if t.outcome == FAILS]
    working = sum(t.outcome == WORKS for t, _ in tried)
    said = f"\n{working} of {working + len(failed)} capabilities that were tried work"
    said += f"; these do not: {', '.join(failed)}" if failed else ""
    return said + (f". The transcript is in {transcript}" if transcript is not None else "")


def _part(tried: Tried, seen: _Seen) -> dict[str, object]:
    told = cast("dict[str, object]", asdict(tried))
    line = [{"at_us": n.at_us, "who": n.who, "text": n.text[:400]} for n in (*seen.first, *seen.last)]
    return told | {"said_bytes": seen.said_bytes, "heard_bytes": seen.heard_bytes, "line": line}
