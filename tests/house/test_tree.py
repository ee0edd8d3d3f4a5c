"""The tree speaks of the project alone, and every exception to a rule says which rule."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from tests.house.sizes import ROOT, SOURCES, modules

LEFT_OUT = {".git", ".venv", ".virtualenv", "__pycache__", "dist", "benchday-demo"}
TEXT = {".py", ".md", ".toml", ".yaml", ".yml", ".csv", ".json", ".sql", ".txt", ""}
HOME_PATH = re.compile(r"(?<![\w.~}])/(?:home|root|work|Users|opt|srv)/\w")
"""A path of somebody's own computer."""
UNFINISHED = re.compile(r"\b(?:TODO|FIXME|XXX)\b")


def texts() -> Iterator[tuple[Path, str]]:
    """Yield every text file of the tree but this one, which must name what it looks for."""
    for path in sorted(ROOT.rglob("*")):
        parts = path.relative_to(ROOT).parts
        hidden = any(part in LEFT_OUT or (part.startswith(".") and part != ".ci") for part in parts)
        if not hidden and path.suffix in TEXT and path.is_file() and path != Path(__file__):
            yield path, path.read_text(encoding="utf-8")


def found(pattern: re.Pattern[str]) -> list[str]:
    """Say where a pattern stands."""
    return [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path, text in texts()
        for number, line in enumerate(text.splitlines(), start=1)
        if pattern.search(line)
    ]


def test_no_paths_of_somebodys_computer() -> None:
    """Nothing depends on where it was written."""
    assert found(HOME_PATH) == []
    assert HOME_PATH.search("see /home/ada/notes")


def test_nothing_built_or_packed_lies_about() -> None:
    """What is made from something else, or fetched, is no part of the tree."""
    packed = {".whl", ".zip", ".gz", ".tar", ".xz", ".so", ".pyd"}
    paths = [p for p in ROOT.rglob("*") if p.suffix in packed and not LEFT_OUT & set(p.relative_to(ROOT).parts)]
    assert [str(p.relative_to(ROOT)) for p in paths if not p.relative_to(ROOT).parts[0].startswith(".")] == []


def test_nothing_is_left_for_later() -> None:
    """What is missing stands in DEVELOPERS.md, under what is weak."""
    assert found(UNFINISHED) == []


def test_every_noqa_names_its_rule() -> None:
    """An exception to every rule at once hides what it was made for."""
    bare = re.compile(r"#\s*noqa(?!: [A-Z]+[0-9]+)|#\s*type: ignore(?!\[)")
    assert found(bare) == []
    assert bare.search("x = 1  # noqa")


def test_no_test_is_passed_over() -> None:
    """A test runs or fails: none is skipped or expected to fail."""
    passed_over = re.compile(r"pytest\.(?:skip|xfail|importorskip)|mark\.(?:skip|xfail)")
    assert found(passed_over) == []


def test_names_say_what_things_are() -> None:
    """No class or module is named for helping or managing."""
    vague = re.compile(r"^\s*class \w*(?:Manager|Helper)\b")
    assert found(vague) == []
    assert [p for p in modules(*SOURCES) if p.stem in ("utils", "helpers", "common", "misc")] == []


def test_every_package_is_typed() -> None:
    """Each of the three packages ships py.typed."""
    for package in ("benchday", "simulators/benchday_simulators", "playbooks/benchday_playbooks"):
        assert (ROOT / package / "py.typed").is_file()


def test_public_suites_know_no_test_framework() -> None:
    """Whoever writes a plug-in runs them with the framework of their choice, or with none."""
    named = re.compile(r"^\s*(?:import|from) (?:pytest|unittest|tests)\b", re.MULTILINE)
    suites = list(modules("benchday/testing"))
    assert suites
    assert [p.name for p in suites if named.search(p.read_text(encoding="utf-8"))] == []
    assert named.search("import pytest")
