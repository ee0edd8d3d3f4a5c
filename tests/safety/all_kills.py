"""Kill the day at every point there is: ``python -m tests.safety.all_kills [FOLDER]``; about a quarter of an hour."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

from tests.safety.killing import Case, Ground, Result, run_cases


def main() -> int:
    """Run all cases, or those that the test suite runs; one JSON line for each, the last one counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="where what went wrong is kept")
    parser.add_argument("--chosen", type=int, metavar="SEED", help="only those beside acts and copies, and some others")
    parser.add_argument("--others", type=int, default=5, metavar="N", help="how many others")
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="kills-"))
    folder.mkdir(parents=True, exist_ok=True)

    began = time.monotonic()
    ground = Ground(folder)
    cases = ground.every_case() if asked.chosen is None else ground.chosen_cases(asked.chosen, asked.others)
    results = run_cases(cases, ground, folder)
    for result in results:
        _tell(asdict(result))
    _tell(_counted(cases, results, round(time.monotonic() - began)))
    return 1 if any(r.faults for r in results) else 0


def _counted(cases: list[Case], results: list[Result], seconds: int) -> dict[str, int]:
    return {
        "cases": len(cases),
        "kills": sum(r.runs.count("killed") for r in results),
        "never_reached": sum(r.runs.count("killed") < len(c.kills) for c, r in zip(cases, results, strict=True)),
        "at_fault": sum(bool(r.faults) for r in results),
        "seconds": seconds,
    }


def _tell(told: dict[str, object] | dict[str, int]) -> None:
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    sys.exit(main())
