"""Write the table of mistakes in docs/faults.md anew: ``python -m tests.house.mistakes_page``."""

from __future__ import annotations

import sys
from pathlib import Path

import benchday
from tests.faults.mistakes import MISTAKES
from tests.faults.test_checker import SPOILT
from tests.house.mutants import MUTANTS
from tests.safety.test_bench_mutants import MUTANTS as BENCH_MUTANTS

PAGE = Path(benchday.__file__).parent / "docs" / "faults.md"
HEAD = "| mistake | in | noticed by |\n| --- | --- | --- |\n"


def table() -> str:
    """Return every mistake with what notices it, as it stands on the page."""
    rows = [(m.name, f"`{m.file}`", m.layer) for m in (*MUTANTS, *BENCH_MUTANTS, *MISTAKES)]
    rows += [(name, "a day's files", "checker") for name in SPOILT]
    return HEAD + "".join(f"| {' | '.join(row)} |\n" for row in sorted(rows, key=lambda row: (row[2], row[1], row[0])))


def page_with_table(text: str) -> str:
    """Return the page with the table as it should be."""
    before, _, _ = text.partition(HEAD)
    return before + table()


def main() -> int:
    """Write it."""
    PAGE.write_text(page_with_table(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
