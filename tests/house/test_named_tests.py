"""The pages that name tests tell the truth: each test that they name is there and is run."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from tests.house.sizes import ROOT

PAGES = ("threats.md", "requirements.md")
NAMED = re.compile(r"`([\w/]+\.py)::(\w+)`")
DOCS = ROOT / "benchday" / "docs"


def named(page: str) -> set[tuple[str, str]]:
    """Return the tests that a page names: file below tests/, and name."""
    return set(NAMED.findall((DOCS / page).read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def collected() -> set[tuple[str, str]]:
    """Ask pytest itself which tests there are in the files that are named."""
    files = sorted({f"tests/{file}" for page in PAGES for file, _ in named(page)})
    missing = [file for file in files if not (ROOT / file).is_file()]
    assert missing == []
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider", *files]
    made = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=600, check=False)
    assert made.returncode == 0, made.stdout[-2000:] + made.stderr[-2000:]
    return set(re.findall(r"^tests/([\w/]+\.py)::(\w+)", made.stdout, re.MULTILINE))


@pytest.mark.parametrize("page", PAGES)
def test_every_test_that_a_page_names_is_collected(page: str, collected: set[tuple[str, str]]) -> None:
    """A test that was renamed or left out is told here."""
    assert len(named(page)) > 30
    assert sorted(named(page) - collected) == []


def rows(page: str) -> list[list[str]]:
    """Return the cells of a page's tables, without their heads."""
    lines = (DOCS / page).read_text(encoding="utf-8").splitlines()
    rules = {n for n, line in enumerate(lines) if line.startswith("| ---")}
    told = [n for n, line in enumerate(lines) if line.startswith("| ") and n not in rules and n + 1 not in rules]
    return [[cell.strip() for cell in lines[n].strip("|").split("|")] for n in told]


@pytest.mark.parametrize("page", PAGES)
def test_every_row_names_a_test_or_says_why_there_is_none(page: str) -> None:
    """No threat and no requirement stands there without either."""
    assert len(rows(page)) > 30
    bare = [row[0] for row in rows(page) if not NAMED.search(row[-1]) and not row[-1].startswith("not covered: ")]
    assert bare == []


def test_a_lie_is_seen() -> None:
    """The test itself can fail."""
    assert NAMED.findall("`a/test_b.py::test_c`, `x.py`") == [("a/test_b.py", "test_c")]
