"""How long a register of a hundred thousand units takes, and in how much memory: `python -m tests.speed.register`.

Each command is a process of its own, and its greatest resident size (getrusage of the child) must stay below 500 MB.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

UNITS = 100_000
LIMIT_MB = 500
MODELS = ("Millrace", "Sluice", "Weir", "Culvert", "Penstock")


def write_list(path: Path) -> None:
    """Write a list like a shop's: several models, five units a crew, most cells filled."""
    rng = random.Random(11)
    with path.open("w", encoding="utf-8") as out:
        out.write("serial,model,customer,crew,role,release,support_until,serviced,made\n")
        for number in range(UNITS):
            crew = number // 5
            role = "base" if number % 5 == 0 else "rover"
            cells = (
                *(f"{74_000_000 + number:012d}", MODELS[crew % len(MODELS)], f"Customer {crew // 40}", f"Crew {crew}"),
                *(role, f"2.{rng.randrange(14)}", f"20{rng.randrange(25, 30)}-{rng.randrange(1, 13):02d}-28"),
                *(f"2025-{rng.randrange(1, 13):02d}-{rng.randrange(1, 29):02d}", f"2021-{rng.randrange(1, 13):02d}-01"),
            )
            out.write(",".join(cells) + "\n")


def run(arguments: list[str], out: Path) -> tuple[float, float]:
    """Run the command; return its seconds and its greatest resident size in MB (10**6 bytes)."""
    program = str(Path(sys.executable).with_name("benchday"))
    began = time.perf_counter()
    with out.open("wb") as file:
        process = subprocess.Popen([program, *arguments], stdout=file)
        _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"benchday {' '.join(arguments)} ended with {process.returncode}")
    # Linux counts in units of 1024 bytes, macOS in bytes (getrusage(2) of each).
    size = usage.ru_maxrss if sys.platform == "darwin" else usage.ru_maxrss * 1024
    return time.perf_counter() - began, size / 1e6


def main() -> int:
    """Print the figures; return 1 if a goal is missed."""
    missed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        listed, record = folder / "list.csv", ["--record", str(folder / "record")]
        write_list(listed)
        for what, arguments in {
            "import": ["units", *record, "--import", str(listed), "--operator", "Ines Okafor"],
            "import again": ["units", *record, "--import", str(listed), "--operator", "Ines Okafor"],
            "list": ["units", *record],
            "list as JSON": ["units", *record, "--json"],
            "export": ["units", *record, "--export", str(folder / "out.csv")],
            "due": ["due", *record],
        }.items():
            seconds, size = run(arguments, folder / "shown")
            missed += size >= LIMIT_MB
            print(f"{what:<14} {UNITS} units: {seconds:5.1f} s, {size:4.0f} MB resident (goal below {LIMIT_MB} MB)")
        lines = (folder / "out.csv").read_text(encoding="utf-8").count("\n")
        print(f"written: {lines - 1} rows")
        missed += lines != UNITS + 1
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
