"""Writing to standard output: one JSON document, or lines that fit the terminal."""

from __future__ import annotations

import json
import os
import shutil
import sys
import textwrap
from collections.abc import Mapping
from typing import Any

from benchday.domain.clean import plain_json


def print_document(command: str, facts: Mapping[str, Any]) -> None:
    """Print a command's one document."""
    print(json_text({"benchday": f"{command}/1", **facts}))


def json_text(facts: Mapping[str, Any]) -> str:
    """Return a document as JSON that a person's terminal can show, whatever stands in it."""
    return plain_json(json.dumps(facts, ensure_ascii=False, indent=2))


def colours_wanted() -> bool:
    """Tell whether standard output takes colours: a terminal that knows them, and nobody said no."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not plain


def width() -> int:
    """Return how wide lines may be: the terminal's width; without one, nothing is broken."""
    return shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 10_000


def wrapped(text: str, indent: str = "", first: str | None = None, columns: int | None = None) -> str:
    """Return a text broken to the terminal's width, further lines set in."""
    lines = textwrap.wrap(
        text,
        width=max(columns or width(), 40),
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(lines) or (indent if first is None else first).rstrip()
