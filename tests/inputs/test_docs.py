"""The page about the files names every key of every file, and every word of every closed list."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import pytest

from benchday.domain.playbook import LIMITS
from benchday.inputs.roster_csv import COLUMNS
from benchday.inputs.schemas import FILES, schema

DOCS = files("benchday") / "docs"
# Declared pages have a page of their own.
PAGE = "".join((DOCS / name).read_text(encoding="utf-8") for name in ("files.md", "pages.md"))
LATER = frozenset({"TroubleWhen", "TroubleWhat"})
"""Closed lists that the page of dialogues explains."""


def keys(part: Any) -> Iterator[str]:
    """Yield every key that a JSON Schema knows."""
    if isinstance(part, dict):
        for name, inner in part.get("properties", {}).items():
            yield name
            yield from keys(inner)
        for inner in part.get("$defs", {}).values():
            yield from keys(inner)


@pytest.mark.parametrize("name", FILES)
def test_every_key_is_explained(name: str) -> None:
    assert [key for key in keys(schema(name)) if f"`{key}`" not in PAGE] == []


@pytest.mark.parametrize("name", FILES)
def test_every_word_of_a_closed_list_is_there(name: str) -> None:
    lists = {title: part["enum"] for title, part in schema(name).get("$defs", {}).items() if "enum" in part}

    missing = [
        w for title, words in lists.items() if title not in LATER for w in words if not re.search(rf"\b{w}\b", PAGE)
    ]
    assert missing == []


def test_every_column_and_limit_is_explained() -> None:
    names = [*COLUMNS, *(limit for limits in LIMITS.values() for limit in limits)]

    assert [name for name in names if f"`{name}`" not in PAGE] == []
