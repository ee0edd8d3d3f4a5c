"""The tutorial is followed to the letter: its files written, its commands run, and what it shows is what is seen."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

PAGE = (files("benchday") / "docs" / "new-instrument.md").read_text(encoding="utf-8")
BLOCKS: list[tuple[str, str]] = re.findall(r"^```(\w+)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)

_CAUGHT: dict[str, Any] = {"capture_output": True, "text": True, "timeout": 120}


def written(own: str, block: str) -> str:
    """Put a block into the file: all of it, in place of the part of the same name, or at the end."""
    if not block.startswith("  "):
        return block
    name = block.splitlines()[0]
    part = re.compile(rf"^{re.escape(name)}\n(?:    .*\n)*", re.MULTILINE)
    return part.sub(lambda _: block, own) if part.search(own) else own + block


def shown(line: str) -> re.Pattern[str]:
    """Return what a line of the page stands for; three dots are anything."""
    return re.compile(".*".join(map(re.escape, line.strip().split("..."))))


def command(line: str) -> list[str]:
    """Return a command as it is run here: by this Python."""
    word, *rest = line.split()
    programs = {"benchday": [sys.executable, "-m", "benchday.cli.main"], "python": [sys.executable]}
    return [*programs.get(word, [word]), *rest]


@contextmanager
def switched_on(line: str, folder: Path) -> Iterator[None]:
    """Run the instrument while the rest of the page is followed."""
    with subprocess.Popen(command(line), cwd=folder, stdout=subprocess.PIPE, text=True) as instrument:
        try:
            assert instrument.stdout is not None
            assert instrument.stdout.readline().startswith("{")
            yield
        finally:
            instrument.send_signal(signal.SIGINT)


def test_the_page_is_followed_to_the_letter(tmp_path: Path) -> None:
    (kind, serve), *blocks = BLOCKS
    assert kind == "sh"
    own, said, checked = "", "", 0
    environment = {**os.environ, "NO_COLOR": "1"}
    with switched_on(serve, tmp_path):
        for (kind, block), (after, _) in pairwise([*blocks, ("end", "")]):
            if kind == "yaml":
                own = written(own, block)
                (tmp_path / "own.yaml").write_text(own, encoding="utf-8")
            elif kind == "sh":
                runs = [
                    subprocess.run(command(line), cwd=tmp_path, env=environment, check=False, **_CAUGHT)
                    for line in block.splitlines()
                ]
                said = "".join(run.stdout + run.stderr for run in runs)
                assert after == "text", "every command's outcome is shown"
            else:
                for line in block.splitlines():
                    assert shown(line).search(said), f"{line!r} is not in\n{said}"
                    checked += 1
    assert checked > 25


def test_it_ends_with_the_shipped_dialogue() -> None:
    """What the page leads to says the same things as the playbook that is shipped."""
    shipped = (files("benchday_playbooks") / "gantry.yaml").read_text(encoding="utf-8")
    own = ""
    for kind, block in BLOCKS:
        own = written(own, block) if kind == "yaml" else own
    pattern = r"\bsay: (\"[^\"]*\"|\w+)"
    assert set(re.findall(pattern, own)) | {'"PROOF {nonce:hex}"'} == set(re.findall(pattern, shipped))
