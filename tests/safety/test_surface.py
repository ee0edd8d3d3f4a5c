"""What may confirm, spend and read the environment: told by the syntax tree, and tried with real simulators."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import benchday
from benchday.record.place import Place
from benchday.wiring import SIMULATOR_KEY
from tests.faults.checker import rows_of, violations
from tests.faults.days import ONE_WRITE, SPEED, Ground
from tests.faults.forked import serve
from tests.faults.points import Points

PACKAGE = Path(benchday.__file__).parent
ENVIRONMENT = {"environ", "environb", "getenv", "getenvb"}
MAY_LOOK = {"cli/main.py", "cli/output.py", "cli/terminal/screen.py", "cli/terminal/serve.py", "logs.py"}
"""They ask how to draw and how much to log, and nothing else."""
HARMLESS = {"NO_COLOR", "TERM", "BENCHDAY_LOG"}


def trees() -> Iterator[tuple[str, ast.Module]]:
    """Yield every module of the package with its path."""
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def words_in(tree: ast.AST) -> set[str]:
    """Return every name, attribute and imported name."""
    found: set[str] = set()
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name) | ast.alias(name=name):
                found.add(name.rpartition(".")[2])
    return found


def spends_on_a_journal(tree: ast.AST) -> bool:
    """Tell whether ``.spend`` is taken off anything but the permit desk."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr == "spend":
            of = node.value
            name = of.attr if isinstance(of, ast.Attribute) else of.id if isinstance(of, ast.Name) else ""
            if name.lstrip("_") != "desk":
                return True
    return False


def test_only_the_permit_desk_spends() -> None:
    """In the product one module takes a journal's spend; the suite of promises for journals is no part of a day."""
    who = {path for path, tree in trees() if spends_on_a_journal(tree)}
    assert who - {"testing/journals.py"} == {"bench/permit_desk.py"}


def test_the_commands_never_import_devices() -> None:
    """A face has no way to a unit."""
    for path, tree in trees():
        if path.startswith("cli/"):
            for node in ast.walk(tree):
                match node:
                    case ast.ImportFrom(module=str(module)):
                        named = [module, *(f"{module}.{a.name}" for a in node.names)]
                    case ast.Import():
                        named = [a.name for a in node.names]
                    case _:
                        continue
                assert not [n for n in named if n.startswith(("benchday.devices", "serial"))], path


def test_no_environment_variable_touches_a_confirmation() -> None:
    """Only what draws looks at the environment, and only for how to draw."""
    assert {path for path, tree in trees() if words_in(tree) & ENVIRONMENT} == MAY_LOOK
    for path, tree in trees():
        for node in ast.walk(tree):
            match node:
                case ast.Call(func=ast.Attribute(attr="get", value=ast.Attribute(attr="environ")), args=[name, *_]):
                    assert isinstance(name, ast.Constant), path
                    assert name.value in HARMLESS, path
                case ast.Subscript(value=ast.Attribute(attr="environ"), slice=name):
                    assert isinstance(name, ast.Constant), path
                    assert name.value in HARMLESS, path


@pytest.mark.asyncio
@pytest.mark.parametrize("by", ["simulated", "pipe"])
@pytest.mark.parametrize("key", ["none", "another", "the day's"])
async def test_without_a_person_only_a_proved_simulator_is_written(tmp_path: Path, key: str, by: str) -> None:
    """Real journal, real simulator process: without the day's key nothing reaches it."""
    folder = tmp_path / "day"
    ground = Ground.laid_out(folder, (ONE_WRITE,))
    process = begin_instrument(folder, key)
    try:
        assert await serve(ground, Points(folder), by) == "finished"
    finally:
        process.terminate()
        process.wait(20)
    kinds = [row.kind for row in rows_of(folder)]
    begun = [x for x in log_of(folder) if x["what"] == "image_begin"]
    permits = [row.facts["permit"]["confirmed_by"] for row in rows_of(folder) if row.kind == "permit_given"]
    assert permits == [by]
    if key == "the day's":
        assert violations(folder, finished=True) == []
        assert len(begun) == 1
    else:
        assert violations(folder) == []
        assert begun == []
        assert "act_spent" not in kinds
        assert "act_refused" in kinds
        assert kinds.count("unit_held") == 1


def begin_instrument(folder: Path, key: str) -> subprocess.Popen[bytes]:
    """Start the unit's process with this key, where the day will find it running."""
    home = folder / "instruments" / ONE_WRITE
    file = Place(folder / "record").keys / SIMULATOR_KEY
    if key == "another":
        file = folder / "another.key"
        file.write_text("5a" * 32, encoding="ascii")
    link = folder / "instruments" / "ports" / ONE_WRITE
    options: dict[str, object] = {"--serial": ONE_WRITE, "--state": home, "--speed": SPEED, "--link": link}
    if key != "none":
        options["--key"] = file
    words = [str(word) for pair in options.items() for word in pair]
    process = subprocess.Popen(
        [sys.executable, "-m", "benchday_simulators", "serve", "Millrace", *words], stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    with process.stdout:
        assert json.loads(process.stdout.readline())["serial"] == ONE_WRITE
    return process


def log_of(folder: Path) -> list[dict[str, Any]]:
    """Read the unit's own log."""
    path = folder / "instruments" / ONE_WRITE / "log.jsonl"
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
