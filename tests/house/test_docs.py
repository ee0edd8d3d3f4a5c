"""The papers are true: every command, option, kind and state is in them, and no link is broken."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from benchday.cli.app import app
from benchday.cli.exits import MEANINGS
from benchday.domain import errors
from benchday.domain.facts import KINDS
from benchday.domain.seams import CAPABILITIES
from benchday.domain.steps import diagram
from tests.house.entries_page import PAGE, page
from tests.house.sizes import ROOT, SOURCES, modules

DOCS = ROOT / "benchday" / "docs"
COMMANDS = (DOCS / "commands.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAPERS = sorted([*ROOT.glob("*.md"), *DOCS.glob("**/*.md")])


def _commands(group: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every command as it is typed, those of groups too."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


def options() -> Iterator[tuple[str, str]]:
    """Yield every command with each of its long options."""
    group: Any = typer.main.get_command(app)
    for name, command in sorted(_commands(group)):
        for parameter in command.params:
            for option in (*parameter.opts, *parameter.secondary_opts):
                if option.startswith("--") and option != "--help":
                    yield name, option


def test_every_command_is_explained() -> None:
    """Each command stands on the page about them, as it is typed."""
    assert [name for name in {n for n, _ in options()} if f"`benchday {name}" not in COMMANDS] == []


def test_every_option_is_explained() -> None:
    """Each long option of each command is on that page."""
    missing = {option for _, option in options() if not re.search(rf"{option}\b", COMMANDS)}
    assert missing == set()


def test_every_exit_status_is_listed() -> None:
    """With the same words in the README, on the page and in the help."""
    for status, meaning in MEANINGS.items():
        for paper in (README, COMMANDS):
            assert f"| {status.value} | {meaning} |" in paper


def test_every_environment_variable_is_explained() -> None:
    """Whatever begins with BENCHDAY_ in the source or the scripts is in some paper."""
    texts = [p.read_text(encoding="utf-8") for p in [*modules(*SOURCES), *(ROOT / ".ci").iterdir()]]
    names = {name for text in texts for name in re.findall(r"BENCHDAY_[A-Z]+", text)}
    papers = "".join(p.read_text(encoding="utf-8") for p in PAPERS)
    assert [name for name in sorted(names) if name not in papers] == []


def test_the_picture_is_the_table() -> None:
    """The diagram on the page is drawn from the moves."""
    text = (DOCS / "way-of-a-unit.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{diagram()}```" in text, "paste what steps.diagram() draws into way-of-a-unit.md"


def test_every_kind_is_explained() -> None:
    """The page about entries is written from the kinds."""
    assert PAGE.read_text(encoding="utf-8") == page(), "write it anew: python -m tests.house.entries_page"
    assert set(re.findall(r"^### (.+)$", page(), re.MULTILINE)) == set(KINDS)


def test_every_capability_is_named() -> None:
    """Who adds a driver finds each capability in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [name for name in CAPABILITIES if name not in text] == []


def anchors(text: str) -> set[str]:
    """Return the anchors of a page's headings, as common renderers make them (common practice, no source)."""
    heads = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.name)
def test_no_broken_links(paper: Path) -> None:
    """Every relative link leads to a file, and to a heading in it."""
    text = paper.read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = (paper.parent / name).resolve() if name else paper
        assert target.exists(), f"{paper.name} links to {link}, which is not there"
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), f"{paper.name}: no heading for {link}"


def test_the_index_leads_to_every_page() -> None:
    """No page of the docs is lost."""
    index = (DOCS / "index.md").read_text(encoding="utf-8")
    assert [p.name for p in DOCS.glob("*.md") if p.name != "index.md" and f"({p.name})" not in index] == []


def drawn() -> dict[str, str]:
    """Read the tree on the first page of the errors: error -> what it stands under."""
    parents: dict[str, str] = {}
    above: list[str] = []
    for line in (errors.__doc__ or "").splitlines():
        match = re.match(r"^([│├└─ ]*)([A-Z]\w+)(\s|$)", line)
        if match and (match[1] or match[2] == "BenchdayError"):
            depth = len(match[1]) // 4
            above[depth:] = [match[2]]
            parents[match[2]] = above[depth - 1] if depth else "Exception"
    return parents


def test_the_tree_of_errors_is_the_classes() -> None:
    """Every error is drawn, under the one that it is a kind of."""
    classes = {
        name: kind.__bases__[0].__name__
        for name, kind in vars(errors).items()
        if isinstance(kind, type) and issubclass(kind, Exception)
    }
    assert drawn() == classes
