"""Tries mistakes in a copy of the package: each in a child of a process that has the third-party packages already.

What costs time otherwise is starting Python and importing what no mistake is made in, once for each of them.
"""

from __future__ import annotations

import importlib
import json
import os
import select
import shutil
import subprocess
import sys
import traceback
from pathlib import Path
from typing import Any, NamedTuple

import benchday

ROOT = Path(__file__).parents[2]
IGNORED = shutil.ignore_patterns(".hypothesis", ".venv", ".git", "*.pyc.*")
WITHIN_S = 240.0
"""Real seconds in which tests of one mistake end, on a computer that does much else."""
THIRD_PARTY = (
    "anyio._backends._asyncio",
    "hypothesis",
    "httpx",
    "prompt_toolkit",
    "pydantic",
    "pytest_asyncio.plugin",
    "rfc8785",
    "rich.table",
    "ruamel.yaml",
    "selectolax.lexbor",
    "serial",
    "structlog",
    "typer",
    "cryptography.hazmat.primitives.asymmetric.ed25519",
)


class Done(NamedTuple):
    """How a run of tests ended."""

    returncode: int
    stdout: str


class Copy:
    """A copy of package and tests, and the process whose children run tests in it."""

    def __init__(self, folder: Path) -> None:
        """Make the copy; the copies are what the tests in it import."""
        self.folder = folder
        # With what Python has compiled of it: only the file with the mistake is compiled anew.
        shutil.copytree(Path(benchday.__file__).parent, folder / "benchday", ignore=IGNORED)
        for name in ("tests", "simulators", "playbooks"):
            shutil.copytree(ROOT / name, folder / name, ignore=IGNORED)
        shutil.copy(ROOT / "pyproject.toml", folder)
        paths = os.pathsep.join(str(folder / part) for part in ("", "simulators", "playbooks"))
        self._server = subprocess.Popen(
            [sys.executable, "-B", str(Path(__file__)), str(folder)],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": paths},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str) -> Done:
        """Run tests of the copy against the package of the copy; the first failure ends them."""
        # That plug-ins were imported before is what makes it quick.
        quiet = ("-W", "ignore::pytest.PytestAssertRewriteWarning")
        return self._ask({"pytest": ["-x", "-q", "--no-header", "-p", "no:cacheprovider", *quiet, *words]})

    def module(self, name: str, *words: str) -> Done:
        """Run a module of the copy as a program."""
        return self._ask({"module": name, "words": list(words)})

    def _ask(self, what: dict[str, Any]) -> Done:
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        self._server.stdin.write(json.dumps(what) + "\n")
        self._server.stdin.flush()
        status = int(self._server.stdout.readline())
        return Done(status, (self.folder / "said.txt").read_text(encoding="utf-8", errors="replace"))

    def close(self) -> None:
        """End the process."""
        self._server.communicate()


def serve(folder: Path) -> None:
    """Do what each line of standard input asks for in a child, and say how it ended."""
    for name in THIRD_PARTY:
        importlib.import_module(name)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            _in_child(json.loads(line), folder / "said.txt")
        descriptor = os.pidfd_open(child)
        ended, _, _ = select.select([descriptor], [], [], WITHIN_S)
        os.close(descriptor)
        if not ended:
            os.kill(child, 9)
        _, status = os.waitpid(child, 0)
        sys.stdout.write(f"{os.waitstatus_to_exitcode(status)}\n")
        sys.stdout.flush()


def _in_child(what: dict[str, Any], said: Path) -> None:
    with said.open("w", encoding="utf-8") as out, Path(os.devnull).open(encoding="utf-8") as nothing:
        for descriptor, to in ((0, nothing), (1, out), (2, out)):
            os.dup2(to.fileno(), descriptor)
    status = 70
    try:
        if "pytest" in what:
            import pytest  # noqa: PLC0415

            status = int(pytest.main(what["pytest"]))
        else:
            sys.argv = [what["module"], *what["words"]]
            status = importlib.import_module(what["module"]).main()
    except BaseException:  # noqa: BLE001 - told in the file, whatever it is
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


if __name__ == "__main__":
    # Its own folder is no place to import from.
    del sys.path[0]
    serve(Path(sys.argv[1]))
