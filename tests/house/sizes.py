"""How long files and functions are: python -m tests.house.sizes"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[2]
SOURCES = ("benchday", "simulators", "playbooks")
FILE_CEILING = 400
BODY_CEILING = 40
LONGER = {"benchday/planning/forecast/loop.py:to_the_end": 100}
"""Bodies that may be longer: of this one, calls of its parts would take a fifth of the forecast's time."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


def modules(*folders: str) -> Iterator[Path]:
    """Yield every Python file below these folders."""
    for folder in folders:
        yield from sorted((ROOT / folder).rglob("*.py"))


def lines_of(path: Path) -> int:
    """Count the lines of a file."""
    return len(path.read_text(encoding="utf-8").splitlines())


def bodies(path: Path) -> Iterator[tuple[str, int]]:
    """Yield each function of a file with the lines of its body, its docstring not counted."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, Function):
            yield node.name, _body_lines(node)


def _body_lines(function: Function) -> int:
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def report() -> str:
    """Say in one line how big the house is, and whether the tests keep up with it."""
    sources = [lines_of(p) for p in modules(*SOURCES)]
    tests = sum(lines_of(p) for p in modules("tests"))
    functions = [lines for p in modules(*SOURCES) for _, lines in bodies(p)]
    return (
        f"{len(sources)} files, median {median(sources):g} lines, longest {max(sources)}; functions median "
        f"{median(functions):g}, longest {max(functions)}; {sum(sources)} lines of source, {tests} of tests"
    )


if __name__ == "__main__":
    sys.stdout.write(f"{report()}\n")
