"""Run one decoder, or all, over so many inputs, and tell how many were tried and how much memory that took."""

from __future__ import annotations

import argparse
import gc
import importlib
import importlib.util
import os
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any

from benchday.domain.errors import BenchdayError
from tests.fuzz.mutator import LONGEST, inputs

if TYPE_CHECKING:
    from tests.fuzz.decoders import Decoder


class Tried:
    """One decoder under way."""

    def __init__(self, name: str, decoder: Decoder, count: int, minutes: float) -> None:
        self._end = time.monotonic() + 60 * minutes
        self._name, self._decoder, self._count = name, decoder, count
        self._done, self._refused = 0, 0
        self._began, self._memory_before = time.monotonic(), largest_memory_mb()

    def __call__(self, data: bytes) -> None:
        """Try one input; any exception that is not an answer of ours is a finding."""
        try:
            self._decoder.run(data)
        except BenchdayError:
            self._refused += 1
        except BaseException:
            print(f"{self._name}: FOUND with {data.hex()}", flush=True)
            raise
        self._done += 1
        if self._done == self._count:
            self.tell()
        elif time.monotonic() > self._end:
            self.tell()
            os._exit(0)  # atheris has no other way out

    def tell(self) -> None:
        """Print the figures."""
        seconds = time.monotonic() - self._began
        print(
            f"{self._name}: {self._done} executions in {seconds:.0f} s, {self._refused} refused, nothing found; "
            f"largest memory {largest_memory_mb():.0f} MB, {self._memory_before:.0f} MB of it before the first",
            flush=True,
        )


def largest_memory_mb() -> float:
    """Return the most memory that this process has had."""
    if sys.platform == "win32":
        return 0.0
    import resource  # noqa: PLC0415  # not on Windows

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def decoders(engine: Any) -> dict[str, Decoder]:
    """Load the table, watched by atheris if that steers."""
    if engine is None:
        return dict(importlib.import_module("tests.fuzz.decoders").DECODERS)
    with engine.instrument_imports(include=["benchday.devices"]):
        return dict(importlib.import_module("tests.fuzz.decoders").DECODERS)


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("name", help="a decoder of the table, or all")
    parser.add_argument("count", type=int)
    parser.add_argument("--minutes", type=float, default=600.0, help="end after so long")
    parser.add_argument("--own", action="store_true", help="our own mutator, even where atheris is installed")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    engine: Any = importlib.import_module("atheris") if importlib.util.find_spec("atheris") and not given.own else None
    table = decoders(engine)
    if given.name == "all":
        command = [sys.executable, "-m", "tests.fuzz"]
        runs = [subprocess.run([*command, name, *sys.argv[2:]], check=False) for name in table]
        sys.exit(any(run.returncode for run in runs))
    if given.name not in table:
        parser.error(f"there is no {given.name}; there are: {', '.join(table)}, all")

    gc.freeze()  # what was imported is never garbage, and need not be looked at again and again
    tried = Tried(given.name, table[given.name], given.count, given.minutes)
    if engine is not None:
        options = [f"-runs={given.count}", f"-max_len={LONGEST}", f"-seed={given.seed}", "-verbosity=0"]
        engine.Setup([sys.argv[0], *options], tried)
        engine.Fuzz()  # ends the process
    for data in inputs(table[given.name].seeds, given.count, given.seed):
        tried(data)


if __name__ == "__main__":
    main()
