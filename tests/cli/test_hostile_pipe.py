"""A program at the pipe that talks nonsense, floods, or never ends a line: answered line by line, nothing is lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import anyio

from benchday.cli.lines import LONGEST_BYTES, LineReader
from benchday.domain.errors import InputError
from benchday.inputs.sample import write_sample
from benchday_simulators.images import build_image
from tests.safety.hostile import steering

OPERATOR = "Ines Halloran"
FLOOD = 500
COMMAND = [sys.executable, "-m", "benchday.cli.main"]
NONSENSE: tuple[bytes, ...] = (
    b"no JSON",
    b"[" * 200_000,
    b"\xff\xfe\x00\x1b[2J",
    b"[]",
    b'"x"',
    b"null",
    b'{"id": "no such", "value": {}}',
    b'{"id": 5, "value": {}}',
    b'{"id": "1", "value": {"nothing": "asked"}, "operator": "nobody"}',
    b'{"scan": "\\ud800\\u001b[2J"}',
    b'{"scan": "' + b"s" * 100_000 + b'"}',
    b'{"lift": "007421530018", "reason": "\\ud800"}',
    b'{"renew": {"deep": ' + b"[" * 5_000 + b"]" * 5_000 + b"}}",
    b'{"next": "\\u202e"}',
    b'{"value": {"a": 1e999}}',
    b"x" * (LONGEST_BYTES + 100_000),
)


def test_nonsense_is_refused_line_by_line_and_no_item_is_lost(tmp_path: Path) -> None:
    """The real program at a real pipe: each line is answered, nothing that comes back steers, no item is lost."""
    folder = tmp_path / "day"
    write_sample(folder, 3, build_image=build_image, units=1)
    arguments = ["run", str(folder), "--operator", OPERATOR, "--pipe", "--speed", "600"]
    with subprocess.Popen(
        [*COMMAND, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        said: list[dict[str, Any]] = []
        written = threading.Thread(target=_write, args=(process,))
        written.start()
        for line in process.stdout:
            assert steering(line.decode()) == []
            said.append(json.loads(line))
        written.join(300)
        assert process.wait(300) == 4, process.stderr.read() if process.stderr else ""
    refused = [told for told in said if "refused" in told or "said" in told]
    assert len(refused) == len(NONSENSE) + FLOOD
    assert any("thrown away" in told.get("why", "") for told in refused)
    assert any("without end" in told.get("why", "") for told in refused)
    items = [told for told in said if "topic" in told]
    assert [item["topic"] for item in items] == ["check in"]
    assert said[-1]["ended"] == "nobody"


def _write(process: subprocess.Popen[bytes]) -> None:
    assert process.stdin is not None
    with process.stdin as pipe:
        for line in (*NONSENSE, *(b'{"id": "%d", "value": {}}' % n for n in range(FLOOD))):
            pipe.write(line + b"\n")


def test_whoever_writes_without_end_waits_while_nobody_reads() -> None:
    """No more is held than a few pieces, however much is written; then it goes on where it was."""
    read, write = os.pipe()
    most = 4 << 20
    sent = 0

    def flood() -> None:
        nonlocal sent
        with os.fdopen(write, "wb", buffering=0) as pipe:
            while sent < most:
                sent += pipe.write(b"line\n" * 10_000) or 0

    async def slowly() -> int:
        lines = LineReader(read)
        assert await lines.line() == "line"
        flooding = threading.Thread(target=flood, daemon=True)
        flooding.start()
        before = -1
        while before != sent or not sent:  # until the writer stands still: then nothing more goes in
            before = sent
            await anyio.sleep(0.5)
        held, count = sent, 0
        while await lines.line() is not None:
            count += 1
        flooding.join(300)
        assert count == sent // 5
        return held

    os.write(write, b"line\n")
    assert 0 < anyio.run(slowly) < 1 << 20
    os.close(read)


def test_a_line_without_an_end_is_thrown_away_once() -> None:
    """And the next one is read."""
    read, write = os.pipe()

    def flood() -> None:
        with os.fdopen(write, "wb") as pipe:
            pipe.write(b"x" * (3 * LONGEST_BYTES) + b"\nnext\n" + b"y" * (2 * LONGEST_BYTES))

    async def lines() -> list[str | None]:
        reader, told = LineReader(read), list[str | None]()
        threading.Thread(target=flood, daemon=True).start()
        while None not in told:
            try:
                told.append(await reader.line())
            except InputError as too_long:
                told.append(str(too_long)[:4])
        return told

    assert anyio.run(lines) == ["a li", "next", "a li", None]
    os.close(read)
