"""How long a command takes to begin: `python -m tests.speed.startup`.

`--help` against `import typer` in the same run, at most 1.5 times. The least of many runs of each, taken in turn, so
that what else the machine does falls on all alike.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

RUNS = 25
LIMIT = 1.5


def main() -> int:
    """Measure and tell."""
    program = Path(sys.executable).with_name("benchday")
    commands = {
        "bare Python": [sys.executable, "-c", "pass"],
        "import typer": [sys.executable, "-c", "import typer"],
        "benchday --help": [str(program), "--help"],
        "benchday --version": [str(program), "--version"],
        "benchday schema": [str(program), "schema"],
    }
    least = dict.fromkeys(commands, float("inf"))
    for _ in range(RUNS):
        for name, command in commands.items():
            began = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            least[name] = min(least[name], time.perf_counter() - began)
    for name, seconds in least.items():
        print(f"{name:<20} {1000 * seconds:7.1f} ms  {seconds / least['import typer']:5.2f} of import typer")
    ratio = least["benchday --help"] / least["import typer"]
    print(f"--help against import typer: {ratio:.2f}, at most {LIMIT}: {'met' if ratio <= LIMIT else 'NOT met'}")
    return 0 if ratio <= LIMIT else 1


if __name__ == "__main__":
    raise SystemExit(main())
